//! Walking the chain: is every entry, and every capture, what it was when it was written?

use std::collections::BTreeMap;
use std::fmt;

use rusqlite::Connection;
use rusqlite::types::{Value as Cell, ValueRef};

use super::{Digest, Head, canonical, captures};
use crate::error::RegisterError;
use crate::schema;
use crate::store::Register;

/// What a walk through the logbook found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verification {
    /// Entries seen.
    pub entries: usize,
    /// Captures seen.
    pub captures: usize,
    /// The last entry. An end that was cut off cannot be told from the file alone: note this elsewhere, and hand it in
    /// at the next walk.
    pub head: Option<Head>,
    /// What is wrong, in order; empty when all is as it was written.
    pub problems: Vec<Problem>,
}

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Problem {
    /// The file itself is damaged.
    File {
        /// What SQLite says.
        detail: String,
    },
    /// A guard of the logbook was taken out of the file.
    Guard {
        /// Its name.
        name: &'static str,
    },
    /// The entry is not what its digest says.
    Changed {
        /// Its number.
        seq: i64,
    },
    /// The entry is as it was, but stands in another place.
    Moved {
        /// Where it stands.
        seq: i64,
        /// Where it was written.
        written_as: i64,
    },
    /// Entries are not there.
    Missing {
        /// The first of them.
        first: i64,
        /// The last of them.
        last: i64,
    },
    /// The entry does not follow the one before it.
    Unlinked {
        /// Its number.
        seq: i64,
    },
    /// The logbook does not hold what was noted as its last entry.
    NotedHead {
        /// Number that was noted.
        seq: i64,
    },
    /// The capture of an entry is not there.
    CaptureMissing {
        /// The entry.
        seq: i64,
        /// The capture.
        digest: String,
    },
    /// A capture is not what its digest says.
    CaptureChanged {
        /// Its name.
        digest: String,
        /// Entries that rest on it.
        entries: Vec<i64>,
    },
    /// No entry rests on the capture.
    CaptureOrphan {
        /// Its name.
        digest: String,
    },
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Problem::File { detail } => write!(f, "the file is damaged: {detail}"),
            Problem::Guard { name } => write!(f, "the guard {name} was taken out of the file"),
            Problem::Changed { seq } => write!(f, "entry {seq} was changed after it was written"),
            Problem::Moved { seq, written_as } => {
                write!(f, "entry {seq} was written as entry {written_as}: the order was changed")
            }
            Problem::Missing { first, last } if first == last => write!(f, "entry {first} is missing"),
            Problem::Missing { first, last } => write!(f, "entries {first} to {last} are missing"),
            Problem::Unlinked { seq } => {
                write!(f, "entry {seq} does not follow the entry before it: one of them was replaced")
            }
            Problem::NotedHead { seq } => {
                write!(f, "entry {seq} is not the one that was noted: the end was cut off or written anew")
            }
            Problem::CaptureMissing { seq, digest } => {
                write!(f, "the capture {digest} of entry {seq} is missing")
            }
            Problem::CaptureChanged { digest, entries } => {
                write!(f, "the capture {digest} was changed (entries {entries:?} rest on it)")
            }
            Problem::CaptureOrphan { digest } => write!(f, "no entry rests on the capture {digest}"),
        }
    }
}

impl Register {
    /// Walks through logbook and captures. `noted` is a head that was noted elsewhere.
    ///
    /// # Errors
    /// The file cannot be read at all; what is wrong in it is no error but a [`Problem`].
    pub fn verify(&self, noted: Option<Head>) -> Result<Verification, RegisterError> {
        let tx = self.read()?;
        let mut problems = file(&tx)?;
        let mut walk = Walk::default();
        walk.entries(&tx, noted)?;
        problems.append(&mut walk.problems);
        let captures = walk.captures(&tx)?;
        problems.append(&mut walk.problems);
        Ok(Verification { entries: walk.seen, captures, head: walk.head, problems })
    }
}

fn file(db: &Connection) -> Result<Vec<Problem>, RegisterError> {
    let mut problems = Vec::new();
    let mut statement = db.prepare("PRAGMA quick_check(10)")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let detail: String = row.get(0)?;
        if detail != "ok" {
            problems.push(Problem::File { detail });
        }
    }
    for name in schema::GUARDS {
        let sql = "SELECT EXISTS (SELECT 1 FROM sqlite_master WHERE type = 'trigger' AND name = ?1)";
        let there: bool = db.query_row(sql, [name], |row| row.get(0))?;
        if !there {
            problems.push(Problem::Guard { name });
        }
    }
    Ok(problems)
}

#[derive(Default)]
struct Walk {
    seen: usize,
    head: Option<Head>,
    problems: Vec<Problem>,
    /// Entries by the capture they rest on.
    uses: BTreeMap<String, Vec<i64>>,
}

impl Walk {
    fn entries(&mut self, db: &Connection, noted: Option<Head>) -> Result<(), RegisterError> {
        let columns = canonical::COLUMNS.len();
        let place = |column| canonical::COLUMNS.iter().position(|c| *c == column).unwrap_or(0);
        let named = [place("capture"), place("captures")];
        let sql = format!("SELECT {}, digest FROM log ORDER BY seq", canonical::COLUMNS.join(", "));
        let mut statement = db.prepare(&sql)?;
        let mut rows = statement.query([])?;
        let (mut last_seq, mut last_digest) = (0_i64, Digest::NONE.to_string().into_bytes());
        let mut noted_seen = false;
        let mut suspects: Vec<(i64, Vec<Cell>, Vec<u8>)> = Vec::new();
        while let Some(row) = rows.next()? {
            let values = (0..columns).map(|at| row.get_ref(at)).collect::<Result<Vec<_>, _>>()?;
            let seq: i64 = row.get(0)?;
            let stored = bytes_of(row.get_ref(columns)?);
            let found = canonical::digest_of(values.iter().copied());
            if last_seq + 1 < seq {
                self.problems.push(Problem::Missing { first: last_seq + 1, last: seq - 1 });
            }
            let intact = stored == found.to_string().as_bytes();
            if !intact {
                let cells = values.iter().map(|v| (*v).try_into()).collect::<Result<Vec<Cell>, _>>();
                // Text that is no text cannot be anything but changed.
                suspects.push((seq, cells.unwrap_or_default(), stored.clone()));
            } else if last_seq + 1 == seq && bytes_of(values[1]) != last_digest {
                self.problems.push(Problem::Unlinked { seq });
            }
            if let Some(head) = noted.filter(|head| head.seq == seq) {
                noted_seen = stored == head.digest.to_string().as_bytes();
            }
            for column in named {
                if let ValueRef::Text(names) = values[column] {
                    for name in String::from_utf8_lossy(names).split(' ') {
                        self.uses.entry(name.to_owned()).or_default().push(seq);
                    }
                }
            }
            self.seen += 1;
            self.head = Some(Head { seq, digest: found });
            (last_seq, last_digest) = (seq, stored);
        }
        self.sort_out(suspects);
        if let Some(head) = noted.filter(|_| !noted_seen) {
            self.problems.push(Problem::NotedHead { seq: head.seq });
        }
        Ok(())
    }

    /// An entry that stands elsewhere is right again under its old number.
    fn sort_out(&mut self, suspects: Vec<(i64, Vec<Cell>, Vec<u8>)>) {
        let numbers: Vec<i64> = suspects.iter().map(|s| s.0).collect();
        // With every entry suspect a comparison of each with each would take for ever; near misses are told first.
        let near = |seq: i64| numbers.iter().copied().filter(move |n| (n - seq).abs() <= 50 && *n != seq);
        let mut told: Vec<Problem> = Vec::new();
        for (seq, mut cells, stored) in suspects {
            let mut written_as = None;
            if !cells.is_empty() {
                written_as = near(seq).find(|number| {
                    cells[0] = Cell::Integer(*number);
                    canonical::digest(&cells).to_string().as_bytes() == stored
                });
            }
            told.push(match written_as {
                Some(written_as) => Problem::Moved { seq, written_as },
                None => Problem::Changed { seq },
            });
        }
        self.problems.append(&mut told);
        self.problems.sort_by_key(|p| match p {
            Problem::Changed { seq } | Problem::Moved { seq, .. } | Problem::Unlinked { seq } => *seq,
            Problem::Missing { first, .. } => *first,
            _ => i64::MAX,
        });
    }

    fn captures(&mut self, db: &Connection) -> Result<usize, RegisterError> {
        let sql = "SELECT sha256, encoding, bytes, stored FROM captures ORDER BY sha256";
        let mut statement = db.prepare(sql)?;
        let mut rows = statement.query([])?;
        let mut seen = 0;
        while let Some(row) = rows.next()? {
            seen += 1;
            let name = String::from_utf8_lossy(&bytes_of(row.get_ref(0)?)).into_owned();
            let encoding = String::from_utf8_lossy(&bytes_of(row.get_ref(1)?)).into_owned();
            let length = row.get_ref(2)?.as_i64().unwrap_or(-1);
            let raw = captures::unpack(&encoding, length, &bytes_of(row.get_ref(3)?));
            let entries = self.uses.remove(&name);
            if raw.is_none_or(|raw| Digest::of(&raw).to_string() != name) {
                let entries = entries.clone().unwrap_or_default();
                self.problems.push(Problem::CaptureChanged { digest: name.clone(), entries });
            }
            if entries.is_none() {
                self.problems.push(Problem::CaptureOrphan { digest: name });
            }
        }
        for (digest, entries) in std::mem::take(&mut self.uses) {
            let missing = |seq| Problem::CaptureMissing { seq, digest: digest.clone() };
            self.problems.extend(entries.into_iter().map(missing));
        }
        Ok(seen)
    }
}

/// The bytes of text or of a blob; none of anything else.
fn bytes_of(value: ValueRef<'_>) -> Vec<u8> {
    match value {
        ValueRef::Text(bytes) | ValueRef::Blob(bytes) => bytes.to_vec(),
        _ => Vec::new(),
    }
}
