//! Which field of a record answers which clause of ISO/IEC 17025:2017.
//!
//! The clauses are put in our own words and from memory: the text of the standard was not at hand. No accreditation is
//! claimed. `docs/records.md` holds the same table for readers, and tests find every field in both forms of a record.

use crate::compose::field::{heading, name};

/// One row of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clause {
    /// Number of the clause.
    pub number: &'static str,
    /// What it asks for, in our words.
    pub asks: &'static str,
    /// The label or heading that answers it.
    pub field: &'static str,
}

const fn clause(number: &'static str, asks: &'static str, field: &'static str) -> Clause {
    Clause { number, asks, field }
}

/// The table, in the order of the standard.
pub const CLAUSES: [Clause; 26] = [
    clause("7.8.2.1 a", "a title", "Record of"),
    clause("7.8.2.1 b", "name and address of the laboratory", name::LABORATORY),
    clause("7.8.2.1 b", "address of the laboratory", name::ADDRESS),
    clause("7.8.2.1 c", "where the work was done", name::LOCATION),
    clause("7.8.2.1 d", "an identification of its own", name::IDENTIFICATION),
    clause("7.8.2.1 d", "the end can be seen", name::END),
    clause("7.8.2.1 e", "customer and how to reach them", name::CUSTOMER),
    clause("7.8.2.1 f", "the method", name::METHOD),
    clause("7.8.2.1 g", "the item, described and identified", name::ITEM),
    clause("7.8.2.1 g", "its condition, where that matters", name::CONDITION),
    clause("7.8.2.1 h", "when the item was received", name::RECEIVED),
    clause("7.8.2.1 i", "when the work was done", name::PERFORMED),
    clause("7.8.2.1 j", "date of issue", name::ISSUED),
    clause("7.8.2.1 k", "sampling plan, where there is one", name::SAMPLING),
    clause("7.8.2.1 l", "that the results hold for these items only", heading::LIMITS),
    clause("7.8.2.1 m", "results with their units", heading::RESULT),
    clause("7.8.2.1 n", "deviations from the method", name::DEVIATIONS),
    clause("7.8.2.1 o", "who answers for it", name::ISSUED_BY),
    clause("7.8.2.1 p", "which results come from others", name::EXTERNAL),
    clause("7.8.2.2", "which data came from the customer", heading::LIMITS),
    clause(
        "7.8.4.1 a",
        "measurement uncertainty, in the unit of the result or relative to it",
        heading::BUDGET,
    ),
    clause("7.8.4.1 b", "conditions that bear on the result", name::CONDITIONS),
    clause("7.8.4.1 c", "how the results are traceable", name::TRACEABILITY),
    clause("7.8.4.1 d", "results before and after an adjustment", heading::BEFORE_AFTER),
    clause("7.8.6", "statement of conformity with its decision rule", heading::RULE),
    clause("7.8.7", "opinions and interpretations, told apart", name::OPINIONS),
];
