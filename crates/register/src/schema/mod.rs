//! The versions of the file and the way from one to the next.

use rusqlite::{Connection, TransactionBehavior};

use crate::error::RegisterError;

/// "FLTB": what tells a bench from any other SQLite file.
pub(crate) const APPLICATION_ID: i64 = 0x464C_5442;
/// The version this program writes.
pub(crate) const VERSION: i64 = STEPS.len() as i64;

/// What makes version n+1 of version n.
const STEPS: [&str; 3] = [include_str!("v1.sql"), include_str!("v2.sql"), include_str!("v3.sql")];

/// Names of the triggers that guard logbook and captures.
pub(crate) const GUARDS: [&str; 6] = [
    "captures_are_not_changed",
    "captures_are_not_removed",
    "captures_are_not_replaced",
    "log_is_not_changed",
    "log_is_not_shortened",
    "log_only_grows",
];

/// The version of an open file; 0 for a new one.
pub(crate) fn version(db: &Connection) -> Result<i64, RegisterError> {
    Ok(db.pragma_query_value(None, "user_version", |row| row.get(0))?)
}

/// Whether the file is a bench, or empty.
pub(crate) fn is_bench_or_new(db: &Connection) -> Result<bool, RegisterError> {
    let id: i64 = db.pragma_query_value(None, "application_id", |row| row.get(0))?;
    if id == APPLICATION_ID {
        return Ok(true);
    }
    let things: i64 = db.query_row("SELECT count(*) FROM sqlite_master", [], |row| row.get(0))?;
    Ok(id == 0 && things == 0 && version(db)? == 0)
}

/// Brings the file to [`VERSION`] in one transaction.
pub(crate) fn migrate(db: &mut Connection) -> Result<(), RegisterError> {
    let transaction = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another program may have been quicker: what counts is the version under the lock.
    let from = version(&transaction)?;
    if from < 0 {
        return Err(RegisterError::Corrupt { detail: format!("its version is {from}") });
    }
    if VERSION < from {
        return Err(RegisterError::Newer { found: from, known: VERSION });
    }
    for step in STEPS.iter().skip(from as usize) {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", VERSION)?;
    transaction.commit()?;
    Ok(())
}
