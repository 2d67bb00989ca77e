//! How a reader checks a record against the logbook it was made from.

use flattop_register::Entry;

use super::{Source, counted, head_words};
use crate::document::{Block, Fact, Level};

/// Digests, the state of the logbook, and what to do. `entry` is the one that the record is about.
pub(super) fn blocks(source: &Source<'_>, entry: Option<&Entry>) -> Vec<Block> {
    let mut facts = Vec::new();
    let mut command = "flattop log verify".to_owned();
    if let Some(entry) = entry {
        facts.push(Fact::text("Entry", format!("{} of the logbook", entry.seq)));
        facts.push(Fact::code("Digest of the entry", entry.digest.to_string()));
        facts.push(Fact::code("Digest of the one before", entry.previous.to_string()));
        if let Some(record) = super::assessment_of(entry) {
            if record.captures.is_empty() {
                facts.push(Fact::text("Digest of the capture", "none: no capture is kept with this entry"));
            }
            let labels = super::numbered("Digest of the capture", record.captures.len());
            let digests = record.captures.iter().zip(labels);
            facts.extend(digests.map(|(digest, label)| Fact::code(&label, digest.to_string())));
        }
    }
    match source.head {
        Some(head) => {
            facts.push(Fact::text("Head of the logbook", head_words(head)));
            facts.push(Fact::code("Digest of the head", head.digest.to_string()));
            command = format!("flattop log verify --noted {}:{}", head.seq, head.digest);
        }
        None => facts.push(Fact::text("Head of the logbook", "none: the logbook is empty")),
    }
    let found = source.verification;
    let walked = format!(
        "{} and {}",
        counted(found.entries, "entry", "entries"),
        counted(found.captures, "capture", "captures")
    );
    let state = if found.problems.is_empty() {
        format!("{walked} checked when this record was made: all as they were written")
    } else {
        let problems: Vec<String> = found.problems.iter().map(ToString::to_string).collect();
        format!("{walked} checked when this record was made, NOT in order: {}", problems.join("; "))
    };
    facts.push(Fact::text("State of the logbook", state));
    facts.push(Fact::code("Command", command));
    let how = "The logbook is a chain: each entry carries the SHA-256 digest of the one before it, and a capture is kept \
               under the SHA-256 digest of its bytes. Run the command on the bench the record came from; it walks the \
               chain and the captures and names whatever is not as it was written. An end that was cut off shows only \
               against a head that was noted elsewhere, such as the one printed here. LOGBOOK.md, which comes with the \
               program, describes the digested bytes, so that other programs can check them too.";
    vec![
        Block::Heading(Level::Section, "How to verify this record".into()),
        Block::Facts(facts),
        Block::Paragraph(how.into()),
    ]
}
