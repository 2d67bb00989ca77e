//! Who, for whom, where, when; and what the record does not claim.

use super::Issue;
use crate::document::{Block, Fact, Level, Notice, NoticeKind};
use crate::when;

/// Names of facts that the table of clauses refers to.
pub(crate) mod name {
    pub(crate) const LABORATORY: &str = "Laboratory";
    pub(crate) const ADDRESS: &str = "Address";
    pub(crate) const LOCATION: &str = "Place of the work";
    pub(crate) const IDENTIFICATION: &str = "Record";
    pub(crate) const REFERENCE: &str = "Laboratory’s number";
    pub(crate) const CUSTOMER: &str = "Customer";
    pub(crate) const METHOD: &str = "Method";
    pub(crate) const ITEM: &str = "Item";
    pub(crate) const CONDITION: &str = "Condition of the item";
    pub(crate) const RECEIVED: &str = "Item received";
    pub(crate) const PERFORMED: &str = "Work done";
    pub(crate) const ISSUED: &str = "Date of issue";
    pub(crate) const SAMPLING: &str = "Sampling";
    pub(crate) const DEVIATIONS: &str = "Deviations from the method";
    pub(crate) const ISSUED_BY: &str = "Issued by";
    pub(crate) const EXTERNAL: &str = "Results of others";
    pub(crate) const CONDITIONS: &str = "Temperature of the room";
    pub(crate) const TRACEABILITY: &str = "Traceability";
    pub(crate) const OPINIONS: &str = "Opinions and interpretations";
    pub(crate) const END: &str = "End of the record";
}

/// Headings that the table of clauses refers to.
pub(crate) mod heading {
    pub(crate) const RESULT: &str = "Result";
    pub(crate) const RULE: &str = "Decision rule";
    pub(crate) const BUDGET: &str = "Uncertainty budget";
    pub(crate) const BEFORE_AFTER: &str = "Before and after adjustment";
    pub(crate) const LIMITS: &str = "What this record says and does not say";
}

/// The facts about the record itself. `performed` says when the work was done.
pub(super) fn identification(issue: &Issue, identification: &str, performed: &str) -> Vec<Block> {
    vec![
        Block::Heading(Level::Section, "Identification".into()),
        Block::Facts(vec![
            Fact::text(name::IDENTIFICATION, identification),
            Fact::maybe(name::REFERENCE, issue.reference.as_deref()),
            Fact::maybe(name::LABORATORY, issue.laboratory.as_deref()),
            Fact::maybe(name::ADDRESS, issue.address.as_deref()),
            Fact::maybe(name::LOCATION, issue.location.as_deref()),
            Fact::maybe(name::CUSTOMER, issue.customer.as_deref()),
            Fact::maybe(name::RECEIVED, issue.received.as_deref()),
            Fact::text(name::PERFORMED, performed),
            Fact::text(name::ISSUED, when::minute(issue.at)),
            Fact::maybe(name::ISSUED_BY, issue.issued_by.as_deref()),
        ]),
    ]
}

/// What a reader must not take it for, and the line that ends it.
pub(super) fn limits(identification: &str, own: &str) -> Vec<Block> {
    let paragraphs = vec![
        own.to_owned(),
        "No accreditation is claimed, neither for the laboratory nor for this record. Its fields follow what \
         ISO/IEC 17025:2017, clause 7.8, asks of a report; that alone does not make it one under an accreditation."
            .to_owned(),
        "Names, addresses, the condition of the item and other words about the circumstances are printed as they were \
         entered and were not checked; the same holds for values of data sheets. What nobody entered is printed as \
         “not stated”."
            .to_owned(),
        "Hand this record on as a whole only.".to_owned(),
    ];
    vec![
        Block::Heading(Level::Section, heading::LIMITS.into()),
        Block::Notice(Notice { kind: NoticeKind::Remark, title: "Limits".into(), paragraphs }),
        Block::End(format!("{}: {identification}", name::END)),
    ]
}
