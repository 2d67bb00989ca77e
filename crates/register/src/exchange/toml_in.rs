//! A bench read from TOML, with the line and the key of whatever is wrong.

use std::ops::Range;

use flattop_core::bench::{Id, IdError, InputId, Oscilloscope, Pairing, Probe, Voided};
use toml_edit::{Document, Item, Table, Value};

use super::{FORMAT, ImportError};
use crate::devices::{unknown_ground, unknown_input, unknown_oscilloscope, unknown_probe};
use crate::field::{Fields, Kind, read as read_value};
use crate::time;

/// What a text holds, each with its line.
#[derive(Default)]
pub(super) struct Bench {
    /// Whether inputs are added to an oscilloscope that is on the bench already.
    pub(super) oscilloscopes_may_be_there: bool,
    pub(super) oscilloscopes: Vec<(usize, Oscilloscope)>,
    pub(super) probes: Vec<(usize, Probe)>,
    pub(super) pairings: Vec<(usize, Option<i64>, Pairing)>,
}

pub(super) fn read(text: &str) -> Result<Bench, ImportError> {
    let document = Document::parse(text).map_err(|error| ImportError::Syntax {
        line: line_of(text, error.span()),
        problem: error.message().lines().collect::<Vec<_>>().join(", "),
    })?;
    let root = Section { text, table: document.as_table(), path: "" };
    root.known(&["format", "oscilloscope", "probe", "pairing"])?;
    match root.text("format")? {
        Some(FORMAT) => {}
        Some(other) => {
            let problem = format!("\"{other}\" is not known here: write format = \"{FORMAT}\"");
            return Err(root.wrong("format", problem));
        }
        None => {
            let problem = format!("missing: start the text with format = \"{FORMAT}\"");
            return Err(root.wrong("format", problem));
        }
    }
    let mut bench = Bench::default();
    for section in root.tables("oscilloscope", "oscilloscope")? {
        bench.oscilloscopes.push((section.line(), oscilloscope(&section)?));
    }
    for section in root.tables("probe", "probe")? {
        bench.probes.push((section.line(), probe(&section)?));
    }
    for section in root.tables("pairing", "pairing")? {
        let (number, pairing) = pairing(&section)?;
        bench.pairings.push((section.line(), number, pairing));
    }
    Ok(bench)
}

fn oscilloscope(section: &Section<'_>) -> Result<Oscilloscope, ImportError> {
    let mut one = unknown_oscilloscope(section.id("id")?);
    section.fill(&mut one, "", &["id", "retired", "input"])?;
    one.retired = section.flag("retired")?;
    for inner in section.tables("input", "oscilloscope.input")? {
        let mut input = unknown_input(inner.id("name")?);
        inner.fill(&mut input, "", &["name", "retired"])?;
        input.retired = inner.flag("retired")?;
        input.check().map_err(|e| inner.wrong("", e.to_string()))?;
        one.inputs.push(input);
    }
    one.inputs.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(one)
}

fn probe(section: &Section<'_>) -> Result<Probe, ImportError> {
    let mut one = unknown_probe(section.id("id")?);
    section.fill(&mut one, "", &["id", "retired", "cable", "box", "ground"])?;
    one.retired = section.flag("retired")?;
    for (group, path) in [("cable", "probe.cable"), ("box", "probe.box")] {
        if let Some(inner) = section.table(group, path)? {
            inner.fill(&mut one, group, &[])?;
        }
    }
    for inner in section.tables("ground", "probe.ground")? {
        let mut accessory = unknown_ground(inner.id("name")?);
        inner.fill(&mut accessory, "", &["name"])?;
        accessory.check().map_err(|e| inner.wrong("", e.to_string()))?;
        one.ground_accessories.push(accessory);
    }
    one.ground_accessories.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(one)
}

fn pairing(section: &Section<'_>) -> Result<(Option<i64>, Pairing), ImportError> {
    let own = ["number", "probe", "input", "made_at", "made_by", "voided_at", "voided_why"];
    let moment = |key: &str| {
        let text = section.text(key)?;
        text.map(time::read).transpose().map_err(|e| section.wrong(key, e.to_string()))
    };
    let missing = |key: &str, remedy: &str| section.wrong(key, format!("missing: {remedy}"));
    let number = section.whole("number")?;
    if number.is_some_and(|n| !(1..=1_000_000_000).contains(&n)) {
        return Err(
            section.wrong("number", "must be above zero: leave it out to get the next one".to_owned())
        );
    }
    let input = section.text("input")?.ok_or_else(|| missing("input", "name it as oscilloscope/input"))?;
    let voided = match (moment("voided_at")?, section.text("voided_why")?) {
        (Some(at), Some(why)) => Some(Voided { at, why: why.to_owned() }),
        (None, None) => None,
        (Some(_), None) => return Err(missing("voided_why", "say why the pairing ended")),
        (None, Some(_)) => return Err(missing("voided_at", "say when the pairing ended")),
    };
    let mut one = Pairing {
        number: number.unwrap_or(0),
        probe: section.id("probe")?,
        input: InputId::new(input).map_err(|e| section.wrong("input", e.to_string()))?,
        tolerance: None,
        recheck_interval_days: None,
        made_at: moment("made_at")?.ok_or_else(|| missing("made_at", "say when the pairing was made"))?,
        made_by: section.text("made_by")?.map(str::to_owned),
        voided,
    };
    section.fill(&mut one, "", &own)?;
    one.check().map_err(|e| section.wrong("", e.to_string()))?;
    Ok((number, one))
}

/// One table of the text.
struct Section<'a> {
    text: &'a str,
    table: &'a Table,
    path: &'a str,
}

impl<'a> Section<'a> {
    fn line(&self) -> usize {
        line_of(self.text, self.table.span())
    }

    /// An error at a key, or at the head of the table where the key is empty or missing.
    fn wrong(&self, key: &str, problem: String) -> ImportError {
        let span = self.table.key(key).and_then(toml_edit::Key::span).or_else(|| self.table.span());
        let name = match (self.path, key) {
            ("", key) => key.to_owned(),
            (path, "") => path.to_owned(),
            (path, key) => format!("{path}.{key}"),
        };
        ImportError::At { line: line_of(self.text, span), key: name, problem }
    }

    fn known(&self, keys: &[&str]) -> Result<(), ImportError> {
        match self.table.iter().find(|(key, _)| !keys.contains(key)) {
            None => Ok(()),
            Some((key, _)) => {
                let problem = format!("no such key: the keys here are {}", keys.join(", "));
                Err(self.wrong(key, problem))
            }
        }
    }

    fn text(&self, key: &str) -> Result<Option<&'a str>, ImportError> {
        match self.table.get(key) {
            None => Ok(None),
            Some(item) => item
                .as_str()
                .map(Some)
                .ok_or_else(|| self.wrong(key, "must be text: put it in quotation marks".to_owned())),
        }
    }

    fn flag(&self, key: &str) -> Result<bool, ImportError> {
        match self.table.get(key) {
            None => Ok(false),
            Some(item) => {
                item.as_bool().ok_or_else(|| self.wrong(key, "must be true or false: write one".to_owned()))
            }
        }
    }

    fn whole(&self, key: &str) -> Result<Option<i64>, ImportError> {
        match self.table.get(key) {
            None => Ok(None),
            Some(item) => item
                .as_integer()
                .map(Some)
                .ok_or_else(|| self.wrong(key, "must be a whole number: write it without quotes".to_owned())),
        }
    }

    fn id(&self, key: &str) -> Result<Id, ImportError> {
        let text = self
            .text(key)?
            .ok_or_else(|| self.wrong(key, "missing: give a short name such as \"probe-07\"".to_owned()))?;
        Id::new(text).map_err(|e: IdError| self.wrong(key, e.to_string()))
    }

    fn table(&self, key: &str, path: &'a str) -> Result<Option<Section<'a>>, ImportError> {
        match self.table.get(key) {
            None => Ok(None),
            Some(Item::Table(table)) => Ok(Some(Section { text: self.text, table, path })),
            Some(_) => Err(self.wrong(key, format!("must be a table: write [{path}]"))),
        }
    }

    fn tables(&self, key: &str, path: &'a str) -> Result<Vec<Section<'a>>, ImportError> {
        match self.table.get(key) {
            None => Ok(Vec::new()),
            Some(Item::ArrayOfTables(all)) => {
                Ok(all.iter().map(|table| Section { text: self.text, table, path }).collect())
            }
            Some(_) => {
                Err(self.wrong(key, format!("must be a list of tables: write [[{path}]] before each")))
            }
        }
    }

    /// Sets the fields of one group from this table; `own` are keys that somebody else reads.
    fn fill<E: Fields>(&self, entity: &mut E, group: &str, own: &[&str]) -> Result<(), ImportError> {
        let name = |key: &'static str| match key.split_once('.') {
            Some((of, name)) if of == group => Some(name),
            None if group.is_empty() => Some(key),
            _ => None,
        };
        let fields: Vec<_> = E::FIELDS.iter().filter_map(|f| Some((name(f.key)?, f))).collect();
        let keys: Vec<&str> = own.iter().copied().chain(fields.iter().map(|(name, _)| *name)).collect();
        self.known(&keys)?;
        for (name, field) in fields {
            let Some(item) = self.table.get(name) else { continue };
            let text = match item {
                Item::Value(Value::String(text)) => text.value().clone(),
                // A plain number where a quantity stands would hide its unit; where there is none it is welcome.
                Item::Value(Value::Integer(n)) if !matches!(field.kind, Kind::Text) => n.value().to_string(),
                Item::Value(Value::Float(v)) if !matches!(field.kind, Kind::Text) => v.value().to_string(),
                _ => {
                    return Err(self.wrong(name, "must be text: put it in quotation marks".to_owned()));
                }
            };
            let value = read_value(&text, field.kind).map_err(|e| self.wrong(name, e.to_string()))?;
            (field.set)(entity, Some(value))
                .ok_or_else(|| self.wrong(name, "cannot be kept: leave it out".to_owned()))?;
        }
        Ok(())
    }
}

fn line_of(text: &str, span: Option<Range<usize>>) -> usize {
    let at = span.map_or(0, |s| s.start).min(text.len());
    text.as_bytes()[..at].iter().filter(|b| **b == b'\n').count() + 1
}
