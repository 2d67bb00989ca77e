//! Opening a bench, and what every write goes through.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};

use crate::error::RegisterError;
use crate::schema;

/// How long a writer waits for another one.
const PATIENCE: Duration = Duration::from_secs(10);

/// An open bench. Several programs may have it open at once; each write waits for its turn.
///
/// What a call has acknowledged survives the end of the program or of the power at any moment: every transaction is
/// synchronised to the disk before the call returns (`synchronous = FULL`, write-ahead log).
#[derive(Debug)]
pub struct Register {
    pub(crate) db: Connection,
    opening: Opening,
}

/// How to open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OpenMode {
    /// Read and write; make the file (not its folder) if there is none.
    Create,
    /// Read and write a file that is there.
    Existing,
    /// Only read.
    ReadOnly,
}

/// What opening did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Opening {
    /// Nothing but open it.
    Opened,
    /// It was made.
    Created,
    /// It was brought to a newer version.
    Migrated {
        /// The version before.
        from: i64,
        /// The version now.
        to: i64,
        /// Where the file as it was lies.
        backup: PathBuf,
    },
}

impl Register {
    /// Opens a bench.
    ///
    /// # Errors
    /// No file, no bench, a version that cannot be used, or a file that cannot be read or written.
    pub fn open(path: &Path, mode: OpenMode) -> Result<Self, RegisterError> {
        let name = || path.display().to_string();
        let exists = path.exists();
        if mode != OpenMode::Create && !exists {
            return Err(RegisterError::NoFile { path: name() });
        }
        let flags = match mode {
            OpenMode::Create => OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE,
            OpenMode::Existing => OpenFlags::SQLITE_OPEN_READ_WRITE,
            OpenMode::ReadOnly => OpenFlags::SQLITE_OPEN_READ_ONLY,
        } | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let not_a_bench = |error: RegisterError| match error {
            RegisterError::Database(e)
                if e.sqlite_error_code() == Some(rusqlite::ErrorCode::NotADatabase) =>
            {
                RegisterError::NotABench { path: name() }
            }
            RegisterError::Database(e) if e.sqlite_error_code() == Some(rusqlite::ErrorCode::CannotOpen) => {
                RegisterError::CannotOpen { path: name(), detail: e.to_string() }
            }
            other => other,
        };
        let db = Connection::open_with_flags(path, flags).map_err(|e| not_a_bench(e.into()))?;
        Self::prepare(db, path, mode).map_err(not_a_bench)
    }

    fn prepare(mut db: Connection, path: &Path, mode: OpenMode) -> Result<Self, RegisterError> {
        db.busy_timeout(PATIENCE)?;
        db.pragma_update(None, "foreign_keys", "ON")?;
        db.pragma_update(None, "recursive_triggers", "ON")?;
        if !schema::is_bench_or_new(&db)? {
            return Err(RegisterError::NotABench { path: path.display().to_string() });
        }
        let found = schema::version(&db)?;
        if schema::VERSION < found {
            return Err(RegisterError::Newer { found, known: schema::VERSION });
        }
        if mode == OpenMode::ReadOnly {
            if found < schema::VERSION {
                return Err(RegisterError::Older { found, known: schema::VERSION });
            }
            return Ok(Self { db, opening: Opening::Opened });
        }
        if mode == OpenMode::Existing && found == 0 {
            return Err(RegisterError::NotABench { path: path.display().to_string() });
        }
        write_ahead(&db)?;
        db.pragma_update(None, "synchronous", "FULL")?;
        let opening = if found == schema::VERSION {
            Opening::Opened
        } else {
            let backup = if found > 0 { Some(back_up(&db, path, found)?) } else { None };
            schema::migrate(&mut db)?;
            match backup {
                Some(backup) => Opening::Migrated { from: found, to: schema::VERSION, backup },
                None => Opening::Created,
            }
        };
        Ok(Self { db, opening })
    }

    /// What opening did.
    pub fn opening(&self) -> &Opening {
        &self.opening
    }

    /// Version of the file.
    pub fn version(&self) -> i64 {
        schema::VERSION
    }

    /// Copies the whole bench, logbook and captures included, into a new file, while others go on writing.
    ///
    /// # Errors
    /// The file is there already, or cannot be written.
    pub fn back_up_to(&self, path: &Path) -> Result<(), RegisterError> {
        vacuum_into(&self.db, path)
    }

    /// A transaction that holds the lock for writing from its start, so that what it reads stays true.
    pub(crate) fn write(&mut self) -> Result<Transaction<'_>, RegisterError> {
        Ok(self.db.transaction_with_behavior(TransactionBehavior::Immediate)?)
    }

    /// A transaction that sees one state of the bench.
    pub(crate) fn read(&self) -> Result<Transaction<'_>, RegisterError> {
        Ok(self.db.unchecked_transaction()?)
    }

    /// Limits the file to its present size plus `pages`, as a full disk would.
    #[cfg(test)]
    pub(crate) fn limit_pages(&self, pages: i64) {
        let now: i64 = self.db.pragma_query_value(None, "page_count", |r| r.get(0)).unwrap();
        let limit = format!("PRAGMA max_page_count = {}", now + pages);
        self.db.query_row(&limit, [], |_| Ok(())).unwrap();
    }
}

/// Switches to the write-ahead log. The switch needs the file for itself and does not wait by its own.
fn write_ahead(db: &Connection) -> Result<(), RegisterError> {
    let pause = Duration::from_millis(20);
    let mut left = PATIENCE.as_millis() / pause.as_millis();
    loop {
        let switched: Result<String, _> =
            db.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0));
        match switched.map_err(RegisterError::from) {
            // In memory, or on a file system that cannot share memory, another mode stays: as durable, only slower.
            Ok(_) => return Ok(()),
            Err(RegisterError::Locked) if left > 0 => {
                left -= 1;
                std::thread::sleep(pause);
            }
            Err(error) => return Err(error),
        }
    }
}

/// Copies the file as it is beside itself, under a name that is free.
fn back_up(db: &Connection, path: &Path, version: i64) -> Result<PathBuf, RegisterError> {
    for number in 1..1000 {
        let mut name = path.as_os_str().to_owned();
        name.push(format!(".version-{version}.backup"));
        if number > 1 {
            name.push(format!("-{number}"));
        }
        let backup = PathBuf::from(name);
        if backup.exists() {
            continue;
        }
        match vacuum_into(db, &backup) {
            // Another program took the name in between.
            Err(_) if backup.exists() => {}
            Err(error) => return Err(error),
            Ok(()) => return Ok(backup),
        }
    }
    Err(RegisterError::CannotOpen {
        path: path.display().to_string(),
        detail: "a thousand backups lie beside it".to_owned(),
    })
}

fn vacuum_into(db: &Connection, path: &Path) -> Result<(), RegisterError> {
    db.execute("VACUUM INTO ?1", [path.to_string_lossy()])?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use flattop_core::bench::Moment;

    use super::*;
    use crate::logbook::{Act, Subject};

    fn act(note: &str) -> Act {
        Act {
            at: Moment { unix_ms: 1_790_000_000_000, offset_minutes: 0 },
            by: None,
            program: "test".to_owned(),
            note: Some(note.to_owned()),
        }
    }

    #[test]
    fn a_full_disk_changes_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let mut register = Register::open(&folder.path().join("b"), OpenMode::Create).unwrap();
        let head = register.log_note(&Subject::default(), &act("fits")).unwrap();
        register.limit_pages(2);
        let large = "x".repeat(9_900);
        let refused = (0..10).find_map(|_| register.log_note(&Subject::default(), &act(&large)).err());
        assert!(matches!(refused, Some(RegisterError::Full)), "{refused:?}");
        let last = register.head().unwrap();
        let found = register.verify(Some(head)).unwrap();
        assert_eq!((found.head, found.problems.len()), (last, 0));
    }

    #[test]
    fn a_locked_bench_is_said_to_be_locked() {
        let folder = tempfile::tempdir().unwrap();
        let mut one = Register::open(&folder.path().join("b"), OpenMode::Create).unwrap();
        let mut other = Register::open(&folder.path().join("b"), OpenMode::Existing).unwrap();
        other.db.busy_timeout(Duration::from_millis(20)).unwrap();
        let held = one.write().unwrap();
        let refused = other.log_note(&Subject::default(), &act("x")).unwrap_err();
        assert!(matches!(refused, RegisterError::Locked), "{refused:?}");
        drop(held);
        other.log_note(&Subject::default(), &act("x")).unwrap();
    }

    /// What the promise of durability rests on: `synchronous` 2 is FULL.
    #[test]
    fn every_commit_is_synchronised() {
        let folder = tempfile::tempdir().unwrap();
        let register = Register::open(&folder.path().join("b"), OpenMode::Create).unwrap();
        let value = |name: &str| -> String {
            register
                .db
                .pragma_query_value(None, name, |r| r.get::<_, rusqlite::types::Value>(0))
                .map(|v| format!("{v:?}"))
                .unwrap()
        };
        assert_eq!(value("synchronous"), "Integer(2)");
        assert_eq!(value("foreign_keys"), "Integer(1)");
        assert_eq!(value("journal_mode"), "Text(\"wal\")");
    }
}
