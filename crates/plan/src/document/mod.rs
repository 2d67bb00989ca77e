//! A small reading layer over TOML: tables with typed getters that record what is wrong, where, and which keys are known.
//!
//! A reader asks each [`Table`] for the keys it knows. What it asks for is known; what stands in the text and was never
//! asked for is reported by [`Document::finish`], with the nearest known key. All problems are collected, none is the
//! last word. Settings laid over the text (`probe.cable.length=1.2 m`) are looked up before it, so that their errors
//! point at them; values laid [below](Below) it hold where neither says anything.

mod below;
mod kind;
mod nearest;
mod number;
mod problem;
mod table;

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use flattop_core::finding::Finding;
use toml_edit::{Item, TableLike};

pub use below::{Below, Lack};
pub use kind::{Kind, Word};
pub use nearest::nearest;
pub use number::{Dimension, Limits, Quantity};
pub use problem::{Place, Problem, Problems};
pub use table::{Grid, Table};

/// Most elements of one array of tables that settings can add to.
const MOST_ELEMENTS: usize = 10_000;

/// One document being read.
pub struct Document<'t> {
    name: &'t str,
    text: &'t str,
    root: toml_edit::Table,
    /// Path and value, as typed.
    settings: Vec<(&'t str, &'t str)>,
    below: Vec<Below>,
    lacks: Vec<Lack>,
    /// Paths of the tables that something was laid below.
    found: BTreeSet<String>,
    log: RefCell<Log>,
}

/// What reading has met so far.
#[derive(Default)]
struct Log {
    /// With the byte or the number of the setting, for sorting.
    problems: Vec<(Sort, Problem)>,
    findings: Vec<Finding>,
    /// Kinds of the keys asked for, by path; tables have none.
    asked: BTreeMap<String, Option<Kind>>,
}

/// The text first, then what lies below it, then the settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Sort {
    Byte(usize),
    Below(usize),
    Setting(usize),
}

impl<'t> Document<'t> {
    /// Takes the text apart. `name` stands for it in messages; `settings` are laid over it in order, the last one of a
    /// path holds. An empty value takes the key away. Elements of `[[arrays]]` count from 1: `measured.1.file`.
    ///
    /// # Errors
    /// The text is no TOML.
    pub fn parse(name: &'t str, text: &'t str, settings: &[(&'t str, &'t str)]) -> Result<Self, Problems> {
        match toml_edit::Document::parse(text) {
            Ok(document) => Ok(Self {
                name,
                text,
                root: document.as_table().clone(),
                settings: settings.iter().map(|&(path, value)| (path.trim(), value.trim())).collect(),
                below: Vec::new(),
                lacks: Vec::new(),
                found: BTreeSet::new(),
                log: RefCell::default(),
            }),
            Err(error) => {
                let at = error.span().map_or(0, |span| span.start);
                Err(Problems {
                    name: name.to_owned(),
                    problems: vec![Problem {
                        place: text_place(text, at),
                        key: String::new(),
                        expected: "TOML".to_owned(),
                        found: format!("a fault: {}", error.message().trim().replace('\n', ", ")),
                        remedy: "write tables as [name] and keys as name = \"value\"".to_owned(),
                    }],
                })
            }
        }
    }

    /// The table that holds all others.
    pub fn root(&self) -> Table<'_> {
        Table::new(self, String::new(), Some(&self.root), 0..0)
    }

    /// Ends the reading: `value` with the remarks if nothing was wrong.
    ///
    /// # Errors
    /// All problems, unknown keys among them.
    pub fn finish<T>(self, value: Option<T>) -> Result<(T, Vec<Finding>), Problems> {
        self.unknown_in(&self.root, "");
        self.unknown_settings();
        let log = self.log.into_inner();
        let mut problems = log.problems;
        problems.sort_by_key(|(sort, _)| *sort);
        let mut problems: Vec<Problem> = problems.into_iter().map(|(_, problem)| problem).collect();
        problems.dedup();
        match value {
            Some(value) if problems.is_empty() => Ok((value, log.findings)),
            _ => Err(Problems { name: self.name.to_owned(), problems }),
        }
    }

    /// Paths of all keys that were asked for, elements of arrays as `[]`, with what they take.
    pub fn asked(&self) -> BTreeMap<String, Kind> {
        let log = self.log.borrow();
        let keys = log.asked.iter().filter_map(|(path, kind)| Some((path.clone(), (*kind)?)));
        keys.map(|(path, kind)| (general(&path), kind)).collect()
    }

    fn ask(&self, path: &str, kind: Option<Kind>) {
        self.log.borrow_mut().asked.insert(path.to_owned(), kind);
    }

    fn is_asked(&self, path: &str) -> bool {
        self.log.borrow().asked.contains_key(path)
    }

    /// The setting that holds for a path, with its number.
    fn setting(&self, path: &str) -> Option<(usize, &'t str)> {
        let at = self.settings.iter().rposition(|(p, _)| *p == path)?;
        Some((at, self.settings[at].1))
    }

    /// Whether a setting lies below a table and takes nothing away.
    fn has_settings_in(&self, table: &str) -> bool {
        let below = |path: &str| path.strip_prefix(table).is_some_and(|rest| rest.starts_with('.'));
        self.settings.iter().any(|(path, value)| !value.is_empty() && below(path))
    }

    fn add(&self, sort: Sort, problem: Problem) {
        self.log.borrow_mut().problems.push((sort, problem));
    }

    fn place(&self, sort: Sort) -> Place {
        match sort {
            Sort::Byte(at) => text_place(self.text, at),
            Sort::Below(at) => {
                let Below { origin, text, .. } = &self.below[at];
                Place::Below { origin: origin.clone(), value: text.clone() }
            }
            Sort::Setting(at) => {
                let (path, value) = self.settings[at];
                Place::Setting { path: path.to_owned(), value: value.to_owned() }
            }
        }
    }

    /// Walks what stands in the text. The parser limits how deep that can be.
    fn unknown_in(&self, table: &dyn TableLike, path: &str) {
        for (key, item) in table.iter() {
            let inner = join(path, key);
            if !self.is_asked(&inner) {
                let span = table.get_key_value(key).and_then(|(key, _)| key.span());
                let at = span.or_else(|| item.span()).map_or(0, |span| span.start);
                self.unknown(Sort::Byte(at), path, key);
                continue;
            }
            let is_table = self.log.borrow().asked.get(&inner).is_some_and(Option::is_none);
            if !is_table {
                continue;
            }
            if let Some(below) = item.as_table_like() {
                self.unknown_in(below, &inner);
            } else {
                for (index, (below, _)) in elements(item).into_iter().enumerate() {
                    self.unknown_in(below, &join(&inner, &(index + 1).to_string()));
                }
            }
        }
    }

    fn unknown_settings(&self) {
        for (at, (path, _)) in self.settings.iter().enumerate() {
            let asked = self.log.borrow().asked.get(*path).copied();
            match asked {
                Some(Some(_)) => {}
                Some(None) => self.add(
                    Sort::Setting(at),
                    Problem {
                        place: self.place(Sort::Setting(at)),
                        key: String::new(),
                        expected: "the path of a key".to_owned(),
                        found: format!("the table [{path}]"),
                        remedy: format!("set one of its keys: {}", list(&self.keys_of(path))),
                    },
                ),
                None if self.beyond_array(at, path) => {}
                None => {
                    let (table, key) = path.rsplit_once('.').unwrap_or(("", path));
                    self.unknown(Sort::Setting(at), table, key);
                }
            }
        }
    }

    /// Reports a setting for an element that an array does not have, and that is not the next one.
    fn beyond_array(&self, at: usize, path: &str) -> bool {
        let parts: Vec<&str> = path.split('.').collect();
        let Some(number_at) = parts.iter().position(|part| part.parse::<usize>().is_ok()) else {
            return false;
        };
        let array = parts[..number_at].join(".");
        let has = |number: usize| self.is_asked(&join(&array, &number.to_string()));
        if !self.is_asked(&array) || has(parts[number_at].parse().unwrap_or(0)) {
            return false;
        }
        let given = (1..).take_while(|&number| has(number)).count();
        self.add(
            Sort::Setting(at),
            Problem {
                place: self.place(Sort::Setting(at)),
                key: format!("[[{array}]]"),
                expected: format!("an element from no. 1 to no. {}, the next one", given + 1),
                found: format!("no. {}", parts[number_at]),
                remedy: "elements count from 1 without gaps".to_owned(),
            },
        );
        true
    }

    /// Last parts of the asked paths right below `table`.
    fn keys_of(&self, table: &str) -> Vec<String> {
        let log = self.log.borrow();
        let below = log.asked.keys().filter_map(|path| match path.rsplit_once('.') {
            Some((parent, key)) => (parent == table).then(|| key.to_owned()),
            None => table.is_empty().then(|| path.clone()),
        });
        below.filter(|key| key.parse::<usize>().is_err()).collect()
    }

    fn unknown(&self, sort: Sort, table: &str, key: &str) {
        let known = self.keys_of(table);
        let everywhere: Vec<String> = self
            .log
            .borrow()
            .asked
            .iter()
            .filter(|(_, kind)| kind.is_some())
            .map(|(path, _)| path.clone())
            .collect();
        let elsewhere =
            everywhere.iter().find(|path| path.rsplit_once('.').is_some_and(|(_, last)| last == key));
        let remedy = if let Some(near) = nearest(key, known.iter().map(String::as_str)) {
            format!("did you mean \"{near}\"?")
        } else if let Some(path) = elsewhere {
            format!("it belongs to {}", shown(path))
        } else if known.is_empty() {
            "take it out".to_owned()
        } else {
            format!("known here: {}", list(&known))
        };
        let found = format!("\"{}\"", short(key));
        let expected = if table.is_empty() { "a known table or key" } else { "a known key" };
        self.add(
            sort,
            Problem {
                place: self.place(sort),
                key: shown(&join(table, &short(key))),
                expected: expected.to_owned(),
                found,
                remedy,
            },
        );
    }
}

/// Tables of an array of tables, or of an array of inline tables, with their places.
fn elements(item: &Item) -> Vec<(&dyn TableLike, Range<usize>)> {
    if let Some(array) = item.as_array_of_tables() {
        return array.iter().map(|table| (table as &dyn TableLike, table.span().unwrap_or(0..0))).collect();
    }
    let inline = item.as_array().into_iter().flat_map(|array| array.iter());
    inline
        .filter_map(|value| Some((value.as_inline_table()? as &dyn TableLike, value.span().unwrap_or(0..0))))
        .collect()
}

fn text_place(text: &str, at: usize) -> Place {
    let at = (0..=at.min(text.len())).rev().find(|&at| text.is_char_boundary(at)).unwrap_or(0);
    let before = &text[..at];
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    Place::Text { line: 1 + before.matches('\n').count(), column: 1 + before[line_start..].chars().count() }
}

fn join(table: &str, key: &str) -> String {
    if table.is_empty() { key.to_owned() } else { format!("{table}.{key}") }
}

/// `probe.2.cable.length` → `probe.[].cable.length`.
fn general(path: &str) -> String {
    let part = |part: &str| if part.parse::<usize>().is_ok() { "[]".to_owned() } else { part.to_owned() };
    path.split('.').map(part).collect::<Vec<_>>().join(".")
}

/// A path as people read it: `[probe.cable] length`, `[[measured]] file (no. 1)`.
fn shown(path: &str) -> String {
    let Some((table, key)) = path.rsplit_once('.') else { return path.to_owned() };
    let parts: Vec<&str> = table.split('.').collect();
    let Some(at) = parts.iter().position(|part| part.parse::<usize>().is_ok()) else {
        return format!("[{table}] {key}");
    };
    let (array, number) = (parts[..at].join("."), parts[at]);
    if at + 1 == parts.len() {
        format!("[[{array}]] {key} (no. {number})")
    } else {
        format!("[{array}.{}] {key} ({array} no. {number})", parts[at + 1..].join("."))
    }
}

fn list(words: &[String]) -> String {
    words.join(", ")
}

/// Enough of a text to know it again.
fn short(text: &str) -> String {
    let clean = |c: char| if c.is_control() { '\u{fffd}' } else { c };
    let mut out: String = text.chars().take(60).map(clean).collect();
    if text.chars().count() > 60 {
        out.push('…');
    }
    out
}
