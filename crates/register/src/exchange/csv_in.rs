//! Lists of probes and of inputs read back from CSV (RFC 4180), with the line and the column of whatever is wrong.

use flattop_core::bench::{Id, Input, InputId, Oscilloscope, Probe};

use super::ImportError;
use crate::devices::{unknown_ground, unknown_input, unknown_oscilloscope, unknown_probe};
use crate::error::RegisterError;
use crate::field::Fields;

/// What a list holds, each with its line.
pub(super) enum List {
    Probes(Vec<(usize, Probe)>),
    /// Oscilloscopes with the inputs that the list names; the oscilloscopes may be on the bench already.
    Inputs(Vec<(usize, Oscilloscope)>),
}

/// Reads a list; its head line tells which. A column that is left out, and an empty cell, mean "not known".
pub(super) fn read(text: &str) -> Result<List, ImportError> {
    let table = Table::read(text)?;
    let named = |key: &str| table.head.iter().any(|k| k == key);
    let is_inputs = named("oscilloscope_label")
        || table.rows.iter().any(|(_, cells)| table.cell(cells, "id").is_some_and(|id| id.contains('/')));
    if is_inputs {
        table.known::<Input>(&["id", "oscilloscope_label", "retired"])?;
        inputs(&table).map(List::Inputs)
    } else {
        probes_of(&table).map(List::Probes)
    }
}

/// Reads a list of probes.
pub(super) fn probes(text: &str) -> Result<Vec<(usize, Probe)>, ImportError> {
    probes_of(&Table::read(text)?)
}

fn probes_of(table: &Table) -> Result<Vec<(usize, Probe)>, ImportError> {
    table.known::<Probe>(&["id", "ground_accessories", "retired"])?;
    let mut all = Vec::new();
    for (line, cells) in &table.rows {
        let mut probe = unknown_probe(table.id(*line, cells, Id::new)?);
        table.fill(*line, cells, &mut probe)?;
        for name in table.cell(cells, "ground_accessories").unwrap_or_default().split_whitespace() {
            let name = Id::new(name).map_err(|e| at(*line, "ground_accessories", e))?;
            probe.ground_accessories.push(unknown_ground(name));
        }
        probe.retired = table.flag(*line, cells, "retired")?;
        probe.check().map_err(|e| at(*line, "probe", e))?;
        all.push((*line, probe));
    }
    Ok(all)
}

fn inputs(table: &Table) -> Result<Vec<(usize, Oscilloscope)>, ImportError> {
    let mut all: Vec<(usize, Oscilloscope)> = Vec::new();
    for (line, cells) in &table.rows {
        let id: InputId = table.id(*line, cells, InputId::new)?;
        let mut input = unknown_input(id.name);
        table.fill(*line, cells, &mut input)?;
        input.retired = table.flag(*line, cells, "retired")?;
        input.check().map_err(|e| at(*line, "input", e))?;
        let known = all.iter().position(|(_, o)| o.id == id.oscilloscope);
        let index = known.unwrap_or_else(|| {
            all.push((*line, unknown_oscilloscope(id.oscilloscope)));
            all.len() - 1
        });
        if let Some(label) = table.cell(cells, "oscilloscope_label") {
            all[index].1.label = Some(harmful(label));
        }
        all[index].1.inputs.push(input);
    }
    Ok(all)
}

/// Head and rows, each with its line.
struct Table {
    head: Vec<String>,
    rows: Vec<(usize, Vec<String>)>,
}

impl Table {
    fn read(text: &str) -> Result<Self, ImportError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut reader =
            csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
        let mut lines = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|e| {
                let line = e.position().map_or(0, |p| p.line() as usize);
                ImportError::At {
                    line,
                    key: "list".to_owned(),
                    problem: format!("{e}: save it as CSV in UTF-8"),
                }
            })?;
            let line = record.position().map_or(0, |p| p.line() as usize);
            lines.push((line, record.iter().map(str::to_owned).collect::<Vec<_>>()));
        }
        let mut lines = lines.into_iter();
        let Some((_, head)) = lines.next() else {
            return Err(at(1, "list", "empty: start with a head line such as id,label,ratio"));
        };
        let head: Vec<String> = head.into_iter().map(|key| key.trim().to_owned()).collect();
        for (index, key) in head.iter().enumerate() {
            if head[..index].contains(key) {
                return Err(at(1, key, "this column is there twice: keep one of them"));
            }
        }
        if !head.iter().any(|key| key == "id") {
            return Err(at(1, "id", "there is no such column: give each line a short name such as probe-07"));
        }
        let rows: Vec<_> = lines.filter(|(_, cells)| cells.iter().any(|c| !c.trim().is_empty())).collect();
        for (line, cells) in &rows {
            if cells.len() != head.len() {
                let problem = format!(
                    "the line has {} cells, the head line {}: give it as many, and quote a cell that holds a comma",
                    cells.len(),
                    head.len()
                );
                return Err(at(*line, "list", problem));
            }
        }
        Ok(Self { head, rows })
    }

    fn known<E: Fields>(&self, more: &[&str]) -> Result<(), ImportError> {
        let known = || E::FIELDS.iter().map(|f| f.key).chain(more.iter().copied());
        match self.head.iter().find(|key| !known().any(|k| k == *key)) {
            None => Ok(()),
            Some(key) => {
                let all: Vec<_> = known().collect();
                let problem =
                    format!("no such column for a list of {}s: it may have {}", E::KIND, all.join(", "));
                Err(at(1, key, problem))
            }
        }
    }

    fn cell<'a>(&self, cells: &'a [String], key: &str) -> Option<&'a str> {
        let index = self.head.iter().position(|k| k == key)?;
        cells.get(index).map(String::as_str).filter(|c| !c.trim().is_empty())
    }

    fn id<T, X: std::fmt::Display>(
        &self,
        line: usize,
        cells: &[String],
        read: fn(&str) -> Result<T, X>,
    ) -> Result<T, ImportError> {
        read(self.cell(cells, "id").unwrap_or_default().trim()).map_err(|e| at(line, "id", e))
    }

    fn flag(&self, line: usize, cells: &[String], key: &str) -> Result<bool, ImportError> {
        match self.cell(cells, key).map(str::trim) {
            None | Some("no") => Ok(false),
            Some("yes") => Ok(true),
            Some(other) => Err(at(line, key, format!("\"{other}\" is neither yes nor no"))),
        }
    }

    fn fill<E: Fields>(&self, line: usize, cells: &[String], entity: &mut E) -> Result<(), ImportError> {
        for field in E::FIELDS {
            if let Some(text) = self.cell(cells, field.key) {
                crate::devices::set(entity, field, Some(&harmful(text)))
                    .map_err(|e: RegisterError| at(line, field.key, e))?;
            }
        }
        Ok(())
    }
}

/// Undoes the apostrophe that keeps a spreadsheet from calculating.
fn harmful(text: &str) -> String {
    match text.strip_prefix('\'') {
        Some(rest) if rest.starts_with(['=', '+', '-', '@', '\t']) => rest.to_owned(),
        _ => text.to_owned(),
    }
}

fn at(line: usize, key: &str, problem: impl std::fmt::Display) -> ImportError {
    ImportError::At { line, key: key.to_owned(), problem: problem.to_string() }
}
