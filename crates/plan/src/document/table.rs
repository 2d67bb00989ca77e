//! One table of a document, with a getter for each kind of value.

use std::ops::Range;

use toml_edit::{Item, TableLike, Value};

use super::kind::{Kind, Word};
use super::number::{self, Dimension, Limits, Quantity};
use super::{Document, MOST_ELEMENTS, Problem, Sort, elements, join, nearest, short, shown};

/// Points on an axis.
#[derive(Clone, Debug, PartialEq)]
pub enum Grid {
    /// Each point.
    Points(Vec<f64>),
    /// From one point to another. Frequencies are spread evenly on a logarithmic scale, times on a linear one.
    Span {
        /// First point.
        start: f64,
        /// Last point.
        stop: f64,
        /// How many, both ends included; at least 2.
        count: u32,
    },
}

/// Most points of a [`Grid::Span`].
const MOST_POINTS: u32 = 10_000_000;

/// A table that may be there or not; getters of one that is not find nothing but what settings give, and what lies
/// below.
pub struct Table<'d> {
    document: &'d Document<'d>,
    path: String,
    item: Option<&'d dyn TableLike>,
    span: Range<usize>,
}

/// A value before it is understood.
enum Raw<'d> {
    Toml(&'d Value),
    /// From a setting, or from below the text.
    Text(&'d str),
}

impl<'d> Table<'d> {
    pub(super) fn new<'t: 'd>(
        document: &'d Document<'t>,
        path: String,
        item: Option<&'d dyn TableLike>,
        span: Range<usize>,
    ) -> Self {
        Self { document, path, item, span }
    }

    /// Its path.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Whether the table stands in the text, or something is put into it by a setting or from below.
    pub fn is_present(&self) -> bool {
        self.item.is_some()
            || self.document.has_settings_in(&self.path)
            || self.document.has_below_in(&self.path)
    }

    /// Whether what lies below the text was looked up for this table: see [`Document::lay_below`].
    pub fn is_looked_up(&self) -> bool {
        self.document.is_looked_up(&self.path)
    }

    /// Whether text or settings speak of the key, be it to take it away.
    pub fn is_typed(&self, key: &str) -> bool {
        self.document.setting(&join(&self.path, key)).is_some() || self.in_text(key)
    }

    /// Whether the key is given.
    pub fn has(&self, key: &str) -> bool {
        match self.document.setting(&join(&self.path, key)) {
            Some((_, value)) => !value.is_empty(),
            None => self.in_text(key) || self.document.below(&join(&self.path, key)).is_some(),
        }
    }

    fn in_text(&self, key: &str) -> bool {
        self.item.is_some_and(|item| item.contains_key(key))
    }

    /// The number of the value below the text that holds for the key.
    fn held_below(&self, key: &str) -> Option<usize> {
        let (at, _) = self.document.below(&join(&self.path, key))?;
        (!self.is_typed(key)).then_some(at)
    }

    /// A table within this one.
    pub fn table(&self, key: &str) -> Table<'d> {
        let path = join(&self.path, key);
        self.document.ask(&path, None);
        let item = self.item.and_then(|item| item.get(key));
        let below = item.and_then(Item::as_table_like);
        if item.is_some() && below.is_none() {
            self.problem(key, "a table", "something else", &format!("write [{path}] and its keys below it"));
        }
        let span = item.and_then(Item::span).unwrap_or_else(|| self.span.clone());
        Table::new(self.document, path, below, span)
    }

    /// The elements of `[[key]]`.
    pub fn tables(&self, key: &str) -> Vec<Table<'d>> {
        let path = join(&self.path, key);
        self.document.ask(&path, None);
        let item = self.item.and_then(|item| item.get(key));
        let found = item.map(elements).unwrap_or_default();
        let all_tables = item.is_none_or(|item| {
            item.as_array_of_tables().is_some()
                || item.as_array().is_some_and(|array| array.len() == found.len())
        });
        if !all_tables {
            self.problem(key, "a list of tables", "something else", &format!("begin each with [[{path}]]"));
        }
        let mut tables = Vec::new();
        for index in 0..MOST_ELEMENTS.max(found.len()) {
            let path = join(&path, &(index + 1).to_string());
            let (item, span) = match found.get(index) {
                Some((item, span)) => (Some(*item), span.clone()),
                None if self.document.has_settings_in(&path) || self.document.has_below_in(&path) => {
                    (None, self.span.clone())
                }
                None => break,
            };
            self.document.ask(&path, None);
            tables.push(Table::new(self.document, path, item, span));
        }
        tables
    }

    /// A quantity, in SI units.
    pub fn quantity(&self, key: &str, dimension: Dimension, limits: Limits) -> Option<Quantity> {
        let kind = Kind::Quantity(dimension, limits);
        let read = match self.raw(key, kind)? {
            Raw::Toml(value) => self.read_value(key, value, dimension),
            Raw::Text(text) => self.read_text(key, text, dimension),
        };
        self.accept(key, kind, limits, read)
    }

    /// A text that is not empty.
    pub fn text(&self, key: &str) -> Option<String> {
        let text = self.string(key, Kind::Text)?;
        if text.trim().is_empty() {
            self.problem(key, "a text that is not empty", "an empty text", "");
            return None;
        }
        Some(text)
    }

    /// A text, or a list of texts, none of them empty.
    pub fn texts(&self, key: &str) -> Option<Vec<String>> {
        let texts = match self.raw(key, Kind::Texts)? {
            Raw::Text(text) => vec![text.to_owned()],
            Raw::Toml(Value::String(text)) => vec![text.value().clone()],
            Raw::Toml(Value::Array(array)) if array.iter().all(Value::is_str) => {
                array.iter().filter_map(Value::as_str).map(str::to_owned).collect()
            }
            Raw::Toml(other) => {
                self.problem(key, &Kind::Texts.expected(), &describe(other), "");
                return None;
            }
        };
        if texts.is_empty() || texts.iter().any(|text| text.trim().is_empty()) {
            self.problem(key, "texts that are not empty", "an empty one", "leave the key out for none");
            return None;
        }
        Some(texts)
    }

    /// A text or a number, as text; `expected` says what it is to be.
    pub fn written(&self, key: &str, expected: &'static str) -> Option<String> {
        let kind = Kind::Written(expected);
        match self.raw(key, kind)? {
            Raw::Text(text) => Some(text.to_owned()),
            Raw::Toml(Value::String(text)) => Some(text.value().clone()),
            Raw::Toml(Value::Integer(number)) => Some(number.value().to_string()),
            Raw::Toml(Value::Float(number)) => Some(number.value().to_string()),
            Raw::Toml(other) => {
                self.problem(key, &kind.expected(), &describe(other), "");
                None
            }
        }
    }

    /// A whole number from `least` to `most`.
    pub fn whole(&self, key: &str, least: u32, most: u32) -> Option<u32> {
        let kind = Kind::Whole(least, most);
        let (found, number) = match self.raw(key, kind)? {
            Raw::Toml(value) => (describe(value), value.as_integer().and_then(|n| u32::try_from(n).ok())),
            Raw::Text(text) => (format!("\"{}\"", short(text)), text.parse().ok()),
        };
        let number = number.filter(|n| (least..=most).contains(n));
        if number.is_none() {
            self.problem(key, &kind.expected(), &found, "");
        }
        number
    }

    /// One of the words of `T`.
    pub fn word<T: Word>(&self, key: &str) -> Option<T> {
        let kind = Kind::Word(T::WORDS);
        let text = self.string(key, kind)?;
        let at = T::WORDS.iter().position(|word| *word == text);
        if at.is_none() {
            let near = nearest(&text, T::WORDS.iter().copied());
            let remedy = near.map_or_else(String::new, |near| format!("did you mean \"{near}\"?"));
            self.problem(key, &kind.expected(), &format!("\"{}\"", short(&text)), &remedy);
        }
        T::ALL.get(at?).copied()
    }

    /// A list of numbers, in SI units.
    pub fn list(&self, key: &str, dimension: Dimension, limits: Limits) -> Option<Vec<f64>> {
        let kind = Kind::List(dimension, limits);
        match self.raw(key, kind)? {
            Raw::Toml(value) => self.toml_list(key, value, kind, dimension, limits),
            Raw::Text(text) => self.text_list(key, text, kind, dimension, limits),
        }
    }

    /// Points of an axis: a list, or `"START:STOP:COUNT"`.
    pub fn grid(&self, key: &str, dimension: Dimension, limits: Limits) -> Option<Grid> {
        let kind = Kind::Grid(dimension, limits);
        let text = match self.raw(key, kind)? {
            Raw::Toml(Value::String(text)) => text.value().as_str(),
            Raw::Toml(value) => return self.toml_list(key, value, kind, dimension, limits).map(Grid::Points),
            Raw::Text(text) => text,
        };
        let parts: Vec<&str> = text.split(':').collect();
        let [start, stop, count] = parts[..] else {
            return self.text_list(key, text, kind, dimension, limits).map(Grid::Points);
        };
        let mut ends = [0.0; 2];
        for (end, text) in ends.iter_mut().zip([start, stop]) {
            let read = self.read_text(key, text, dimension);
            *end = self.accept(key, kind, limits, read)?.value;
        }
        let count = count.trim().parse().ok().filter(|count| (2..=MOST_POINTS).contains(count));
        match count {
            Some(count) if ends[0] < ends[1] => Some(Grid::Span { start: ends[0], stop: ends[1], count }),
            _ => {
                let found = format!("\"{}\"", short(text));
                let remedy = format!("STOP must lie above START, and COUNT from 2 to {MOST_POINTS}");
                self.problem(key, &kind.expected(), &found, &remedy);
                None
            }
        }
    }

    /// `value`, or a problem when the key is not there at all. Ask for the key before.
    pub fn required<T>(&self, key: &str, value: Option<T>, why: &str) -> Option<T> {
        if value.is_none() && !self.has(key) {
            if let Some(lack) = self.document.lack(&join(&self.path, key)) {
                self.problem(lack.named_by, &lack.expected, &lack.found, &lack.remedy);
                return None;
            }
            let kind = self.document.log.borrow().asked.get(&join(&self.path, key)).copied().flatten();
            let expected = kind.map_or_else(|| "a value".to_owned(), Kind::expected);
            self.problem(key, &expected, "nothing", why);
        }
        value
    }

    /// Reports something wrong with a key: at its value, or at the table where there is none.
    pub fn problem(&self, key: &str, expected: &str, found: &str, remedy: &str) {
        let path = join(&self.path, key);
        let below = self.held_below(key);
        let sort = match (self.document.setting(&path), below) {
            (Some((at, _)), _) => Sort::Setting(at),
            (None, Some(at)) => Sort::Below(at),
            (None, None) => {
                let item = self.item.and_then(|item| item.get(key));
                Sort::Byte(item.and_then(Item::span).unwrap_or_else(|| self.span.clone()).start)
            }
        };
        let problem = Problem {
            place: self.document.place(sort),
            key: shown(&path),
            expected: expected.to_owned(),
            found: found.to_owned(),
            remedy: match below {
                Some(at) if remedy.is_empty() => self.document.below[at].remedy.clone(),
                _ => remedy.to_owned(),
            },
        };
        self.document.add(sort, problem);
    }

    /// Reports each of `keys` that is given though it has no place here.
    pub fn refuse(&self, keys: &[&str], expected: &str, found: &str) {
        for key in keys.iter().filter(|key| self.has(key)) {
            self.problem(key, expected, found, "take it out");
        }
    }

    /// Adds a remark.
    pub fn remark(&self, finding: flattop_core::finding::Finding) {
        self.document.log.borrow_mut().findings.push(finding);
    }

    fn raw(&self, key: &str, kind: Kind) -> Option<Raw<'d>> {
        let path = join(&self.path, key);
        self.document.ask(&path, Some(kind));
        if let Some((_, text)) = self.document.setting(&path) {
            return (!text.is_empty()).then_some(Raw::Text(text));
        }
        match self.item.and_then(|item| item.get(key)) {
            None => self.document.below(&path).map(|(_, below)| Raw::Text(below.text.as_str())),
            Some(Item::Value(value)) => Some(Raw::Toml(value)),
            Some(Item::None) => None,
            Some(_) => {
                self.problem(key, &kind.expected(), "a table", "");
                None
            }
        }
    }

    fn string(&self, key: &str, kind: Kind) -> Option<String> {
        match self.raw(key, kind)? {
            Raw::Text(text) => Some(text.to_owned()),
            Raw::Toml(Value::String(text)) => Some(text.value().clone()),
            Raw::Toml(other) => {
                self.problem(key, &kind.expected(), &describe(other), "");
                None
            }
        }
    }

    fn read_value(&self, key: &str, value: &Value, dimension: Dimension) -> Result<Quantity, number::Fault> {
        let number = match value {
            Value::String(text) => return self.read_text(key, text.value(), dimension),
            Value::Integer(number) => *number.value() as f64,
            Value::Float(number) => *number.value(),
            other => return Err((describe(other), String::new())),
        };
        if !number.is_finite() {
            return Err((number.to_string(), "leave the key out where there is no limit".to_owned()));
        }
        self.note(key, &number.to_string(), number, dimension);
        Ok(Quantity::exact(number))
    }

    fn read_text(&self, key: &str, text: &str, dimension: Dimension) -> Result<Quantity, number::Fault> {
        let read = number::quantity(text, dimension)?;
        let value_text = text.split("±").next().and_then(|t| t.split("+-").next()).unwrap_or(text);
        self.note(key, value_text, read.value, dimension);
        Ok(read)
    }

    fn note(&self, key: &str, text: &str, value: f64, dimension: Dimension) {
        // Nobody typed it here.
        if self.held_below(key).is_some() {
            return;
        }
        if let Some(finding) = number::remarks(&shown(&join(&self.path, key)), text, value, dimension) {
            self.remark(finding);
        }
    }

    fn accept(
        &self,
        key: &str,
        kind: Kind,
        limits: Limits,
        read: Result<Quantity, number::Fault>,
    ) -> Option<Quantity> {
        match read {
            Ok(quantity) => {
                let lowest = quantity.value - quantity.half_width.unwrap_or(0.0);
                if !limits.contain(quantity.value) {
                    self.problem(key, &kind.expected(), &plain_number(quantity.value), "");
                    return None;
                }
                if limits != Limits::Any && lowest < 0.0 {
                    let found = format!("a tolerance that reaches down to {}", plain_number(lowest));
                    self.problem(key, &kind.expected(), &found, "make the tolerance narrower");
                    return None;
                }
                Some(quantity)
            }
            Err((found, remedy)) => {
                self.problem(key, &kind.expected(), &short(&found), &remedy);
                None
            }
        }
    }

    fn toml_list(
        &self,
        key: &str,
        value: &Value,
        kind: Kind,
        dimension: Dimension,
        limits: Limits,
    ) -> Option<Vec<f64>> {
        let array = match value {
            Value::Array(array) => array,
            Value::String(text) => return self.text_list(key, text.value(), kind, dimension, limits),
            other => {
                self.problem(key, &kind.expected(), &describe(other), "");
                return None;
            }
        };
        let read: Vec<Option<f64>> = array
            .iter()
            .map(|v| self.element(key, kind, limits, self.read_value(key, v, dimension)))
            .collect();
        self.not_empty(key, kind, read)
    }

    /// Elements between commas, with or without brackets.
    fn text_list(
        &self,
        key: &str,
        text: &str,
        kind: Kind,
        dimension: Dimension,
        limits: Limits,
    ) -> Option<Vec<f64>> {
        let inner = text.trim().trim_start_matches('[').trim_end_matches(']');
        let read: Vec<Option<f64>> = inner
            .split(',')
            .map(|part| part.trim().trim_matches('"'))
            .map(|part| self.element(key, kind, limits, self.read_text(key, part, dimension)))
            .collect();
        self.not_empty(key, kind, read)
    }

    fn element(
        &self,
        key: &str,
        kind: Kind,
        limits: Limits,
        read: Result<Quantity, number::Fault>,
    ) -> Option<f64> {
        let quantity = self.accept(key, kind, limits, read)?;
        if quantity.half_width.is_some() {
            self.problem(key, &kind.expected(), "a tolerance", "leave the tolerance out");
            return None;
        }
        Some(quantity.value)
    }

    fn not_empty(&self, key: &str, kind: Kind, read: Vec<Option<f64>>) -> Option<Vec<f64>> {
        if read.is_empty() {
            self.problem(key, &kind.expected(), "an empty list", "");
            return None;
        }
        read.into_iter().collect()
    }
}

/// A number in SI units, without long runs of noughts.
fn plain_number(value: f64) -> String {
    if value.abs() >= 1e7 || (value != 0.0 && value.abs() < 1e-3) {
        format!("{value:e}")
    } else {
        value.to_string()
    }
}

/// A value of the wrong kind, for messages.
fn describe(value: &Value) -> String {
    match value {
        Value::String(text) => format!("\"{}\"", short(text.value())),
        Value::Integer(number) => number.value().to_string(),
        Value::Float(number) => number.value().to_string(),
        Value::Boolean(flag) => format!("{}, which is yes or no", flag.value()),
        Value::Datetime(_) => "a date or time".to_owned(),
        Value::Array(_) => "a list".to_owned(),
        Value::InlineTable(_) => "a table".to_owned(),
    }
}
