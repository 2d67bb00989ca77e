//! Things with fields, in and out of their tables.

use rusqlite::types::Value as Cell;
use rusqlite::{Connection, Row, params_from_iter};

use crate::error::{RegisterError, corrupt};
use crate::field::{Fields, from_cells, to_cells};

/// Columns of all fields of `E`, in order.
pub(crate) fn columns<E: Fields>() -> Vec<&'static str> {
    E::FIELDS.iter().flat_map(|f| f.columns.iter().copied()).collect()
}

/// Adds a row with the key cells and the fields of `entity`.
pub(crate) fn insert<E: Fields>(
    db: &Connection,
    table: &str,
    keys: &[(&str, Cell)],
    entity: &E,
) -> Result<(), RegisterError> {
    let names: Vec<&str> = keys.iter().map(|k| k.0).chain(columns::<E>()).collect();
    let marks = vec!["?"; names.len()].join(", ");
    let sql = format!("INSERT INTO {table} ({}) VALUES ({marks})", names.join(", "));
    let cells = keys.iter().map(|k| k.1.clone()).chain(cells(entity));
    db.prepare(&sql)?.execute(params_from_iter(cells))?;
    Ok(())
}

/// Writes the fields of `entity` over those of the row with these keys.
pub(crate) fn update<E: Fields>(
    db: &Connection,
    table: &str,
    keys: &[(&str, Cell)],
    entity: &E,
) -> Result<(), RegisterError> {
    let set: Vec<String> = columns::<E>().iter().map(|c| format!("{c} = ?")).collect();
    let on: Vec<String> = keys.iter().map(|k| format!("{} = ?", k.0)).collect();
    let sql = format!("UPDATE {table} SET {} WHERE {}", set.join(", "), on.join(" AND "));
    db.prepare(&sql)?.execute(params_from_iter(cells(entity).chain(keys.iter().map(|k| k.1.clone()))))?;
    Ok(())
}

fn cells<E: Fields>(entity: &E) -> impl Iterator<Item = Cell> {
    E::FIELDS.iter().flat_map(|f| to_cells((f.get)(entity), f.kind))
}

/// Fills the fields of `entity` from a row whose columns from `first` on are those of [`columns`].
pub(crate) fn fill<E: Fields>(entity: &mut E, row: &Row<'_>, first: usize) -> Result<(), RegisterError> {
    let mut at = first;
    for field in E::FIELDS {
        let mut cells = Vec::with_capacity(field.columns.len());
        for _ in field.columns {
            cells.push(row.get::<_, Cell>(at)?);
            at += 1;
        }
        let wrong = || corrupt(format!("{} of a {} holds something else", field.key, E::KIND));
        let value = from_cells(&cells, field.kind).map_err(|()| wrong())?;
        (field.set)(entity, value).ok_or_else(wrong)?;
    }
    Ok(())
}

/// A name from a row; only a damaged file holds one that will not do.
pub(crate) fn id(text: &str) -> Result<flattop_core::bench::Id, RegisterError> {
    flattop_core::bench::Id::new(text)
        .map_err(|_| corrupt(format!("\"{text}\" stands where an id should be")))
}
