//! What each column of a text is: time, a sample number, a voltage; decided from the headings, else from the numbers.

use flattop_core::finding::Finding;

use super::header::{self, Heading};
use super::layout::Layout;
use super::line::{self, Value};
use super::number;
use crate::axis::{self, JITTER, Quantum};
use crate::select::Kind;
use crate::units::{self, Quantity, Unit};

/// The columns of a text.
#[derive(Debug)]
pub(crate) struct Columns {
    pub(crate) headings: Vec<Heading>,
    pub(crate) kinds: Vec<Kind>,
    /// How the time column is written, as far as the first lines show.
    pub(crate) quantum: Quantum,
    /// Whether every line ends with a separator that is followed by nothing.
    pub(crate) trailing: bool,
    /// Number of names that stand above the data and do not match it.
    pub(crate) mismatch: Option<usize>,
    /// Whether no heading says which column is time.
    pub(crate) by_numbers: bool,
    /// Columns that have a name or something written in them, but no number in the first lines.
    pub(crate) without_numbers: Vec<usize>,
    pub(crate) findings: Vec<Finding>,
    /// How many lines the headings take.
    pub(crate) heading_lines: usize,
}

impl Columns {
    pub(crate) fn time(&self) -> Option<usize> {
        self.kinds.iter().position(|k| *k == Kind::Time)
    }

    pub(crate) fn unit(&self, column: usize, quantity: Quantity) -> Option<Unit> {
        let written = self.headings.get(column)?.unit.as_deref()?;
        units::unit(written).filter(|u| u.quantity == quantity)
    }
}

/// Looks at headings and first lines.
pub(crate) fn find(layout: &Layout<'_>) -> Columns {
    let table = Table::read(layout);
    let all = layout.build.fields;
    let last_empty = all > 1 && table.columns.last().is_some_and(|c| c.iter().all(|f| f.text.is_empty()));
    let (headings, used, mismatch, trailing) = headings(layout, all, last_empty);
    let count = headings.len();
    let mut findings = Vec::new();
    note_preamble(layout, used, &mut findings);
    if let Some(names) = mismatch {
        let message = format!(
            "the line above the data names {names} columns, the data has {count}; the names are not used"
        );
        findings.push(Finding::warning("header-not-matched", message, "check which column is which"));
    }
    let mut kinds: Vec<Kind> =
        table.columns[..count].iter().map(|c| if is_empty(c) { Kind::Empty } else { Kind::Value }).collect();
    let mut has_time = false;
    let mut voltages = Vec::new();
    for (kind, heading) in kinds.iter_mut().zip(&headings) {
        let unit = heading.unit.as_deref().and_then(units::unit);
        let voltage = unit.is_some_and(|u| u.quantity == Quantity::Voltage);
        voltages.push(voltage);
        let by_name = heading.name.as_deref().is_some_and(units::names_time) && !voltage;
        if *kind != Kind::Value {
            continue;
        }
        if count > 1 && (by_name || unit.is_some_and(|u| u.quantity == Quantity::Time)) {
            *kind = if has_time { Kind::ExtraTime } else { Kind::Time };
            has_time = true;
        } else if heading.name.as_deref().is_some_and(units::names_index)
            && heading.unit.is_none()
            && count > 1
        {
            *kind = Kind::Index;
        }
    }
    if kinds.contains(&Kind::ExtraTime) {
        let message = "more than one column holds time; the first one is taken for all columns";
        let remedy = "make sure that all channels were sampled together";
        findings.push(Finding::warning("extra-time-column", message, remedy));
    }
    let by_numbers = !has_time;
    if by_numbers {
        time_by_numbers(&table, &mut kinds, &voltages, &mut findings);
    }
    if kinds.contains(&Kind::Index) {
        let at = kinds.iter().position(|k| *k == Kind::Index).unwrap_or(0) + 1;
        let message = format!("column {at} counts the samples; it is not used");
        findings.push(Finding::note("index-column", message, ""));
    }
    let quantum = kinds.iter().position(|k| *k == Kind::Time).map_or(Quantum::NONE, |i| table.quantum(i));
    if layout.build.separator == line::Separator::Byte(b',')
        && mismatch.is_none()
        && !voltages.contains(&true)
    {
        let named = headings.iter().any(|h| h.name.is_some());
        if !named
            && count % 2 == 0
            && table.columns[..count]
                .iter()
                .flatten()
                .all(|f| f.printed.is_some_and(|p| p.mark.is_none() && p.exponent_len == 0))
        {
            let message = "all fields are whole numbers separated by commas; the comma was taken as separator, not as decimal mark";
            let remedy = "if the comma is the decimal mark, export with semicolon or tab as separator";
            findings.push(Finding::warning("comma-may-be-decimal", message, remedy));
        }
    }
    let written = |at: usize| {
        headings[at].name.is_some() || table.columns[at].iter().any(|field| !field.text.is_empty())
    };
    let without_numbers = (0..count).filter(|&at| kinds[at] == Kind::Empty && written(at)).collect();
    Columns {
        headings,
        kinds,
        quantum,
        trailing,
        mismatch,
        by_numbers,
        without_numbers,
        findings,
        heading_lines: used,
    }
}

/// Headings, lines they take, mismatch, and whether the last, empty field is only a trailing separator.
fn headings(layout: &Layout<'_>, all: usize, last_empty: bool) -> (Vec<Heading>, usize, Option<usize>, bool) {
    if last_empty {
        let (shorter, used, mismatch) = header::find(&layout.preamble, layout.build, all - 1);
        if used > 0 || mismatch != Some(all) {
            return (shorter, used, mismatch, true);
        }
    }
    let (headings, used, mismatch) = header::find(&layout.preamble, layout.build, all);
    (headings, used, mismatch, false)
}

fn note_preamble(layout: &Layout<'_>, used: usize, findings: &mut Vec<Finding>) {
    let filled = layout.preamble.iter().filter(|l| !l.text.trim_ascii().is_empty()).count();
    if filled > used {
        let message = format!(
            "{} of text before the data, up to line {}, not used",
            if filled - used == 1 { "1 line".to_owned() } else { format!("{} lines", filled - used) },
            layout.preamble.last().map_or(0, |l| l.number),
        );
        findings.push(Finding::note("preamble-skipped", message, ""));
    }
    if layout.beside > 0 {
        let message = format!("text beside the samples on the first {} lines is not used", layout.beside);
        findings.push(Finding::note("text-beside-samples", message, ""));
    }
    if let (Some(first), n) = (layout.numeric_preamble.first(), layout.numeric_preamble.len()) {
        let message = format!(
            "line {first}{} before the data hold{} numbers only; taken as settings, not as samples",
            if n > 1 { format!(" and {} more", n - 1) } else { String::new() },
            if n > 1 { "" } else { "s" },
        );
        findings.push(Finding::warning(
            "preamble-numbers",
            message,
            "if these are samples, remove the text after them",
        ));
    }
}

/// Without headings: the first filled column is time when it rises evenly, a sample number when it counts by ones.
fn time_by_numbers(table: &Table<'_>, kinds: &mut [Kind], voltages: &[bool], findings: &mut Vec<Finding>) {
    let filled: Vec<usize> =
        kinds.iter().enumerate().filter(|(_, k)| **k == Kind::Value).map(|(i, _)| i).collect();
    let (Some(&first), true) = (filled.first(), filled.len() > 1) else { return };
    if voltages[first] || !table.rises_evenly(first) {
        return;
    }
    let second_rises = filled.len() > 2 && !voltages[filled[1]] && table.rises_evenly(filled[1]);
    let time = if table.counts(first) {
        kinds[first] = Kind::Index;
        if !second_rises {
            return;
        }
        filled[1]
    } else {
        first
    };
    kinds[time] = Kind::Time;
    let message = format!("column {} is taken as time: it rises evenly", time + 1);
    findings.push(Finding::note("time-column-by-numbers", message, ""));
}

fn is_empty(column: &[Field<'_>]) -> bool {
    column.iter().all(|f| !matches!(f.value, Value::Number(_)))
}

#[derive(Clone, Copy, Debug)]
struct Field<'a> {
    text: &'a [u8],
    value: Value,
    printed: Option<number::Printed>,
}

/// The first lines, by column.
struct Table<'a> {
    columns: Vec<Vec<Field<'a>>>,
}

impl<'a> Table<'a> {
    fn read(layout: &Layout<'a>) -> Self {
        let build = layout.build;
        let mut columns = vec![Vec::with_capacity(layout.sample.len()); build.fields];
        let mut fields = Vec::new();
        // What stands beside the first samples says nothing about the columns.
        for line in &layout.sample[layout.beside.min(layout.sample.len())..] {
            line::split(line.text, build.separator, &mut fields);
            if fields.len() != build.fields {
                continue; // reported with its line when the data is read
            }
            for (column, text) in columns.iter_mut().zip(&fields) {
                let value = line::value(text, build.mark);
                column.push(Field { text, value, printed: number::printed(text) });
            }
        }
        Self { columns }
    }

    fn quantum(&self, column: usize) -> Quantum {
        let mut quantum = Quantum::NONE;
        for found in self.columns[column].iter().filter_map(|f| f.printed) {
            quantum.see(found.significant, found.last_power);
        }
        quantum
    }

    fn numbers(&self, column: usize) -> Vec<f64> {
        let number = |f: &Field<'_>| if let Value::Number(v) = f.value { Some(v) } else { None };
        self.columns[column].iter().filter_map(number).collect()
    }

    /// Whether the column is 0, 1, 2 … or 1, 2, 3 … written as whole numbers.
    fn counts(&self, column: usize) -> bool {
        let whole = self.columns[column]
            .iter()
            .all(|f| f.printed.is_some_and(|p| p.mark.is_none() && p.exponent_len == 0));
        let numbers = self.numbers(column);
        let from = numbers.first().copied().unwrap_or(f64::NAN);
        whole
            && (from.abs() < 0.5 || (from - 1.0).abs() < 0.5)
            && numbers.windows(2).all(|w| (w[1] - w[0] - 1.0).abs() < 0.5)
    }

    /// Whether at least nine tenths of the steps agree with an even rise, so that a fault in the rest is reported as
    /// a fault of the time column and not as the lack of one.
    fn rises_evenly(&self, column: usize) -> bool {
        let numbers = self.numbers(column);
        if numbers.len() < 4 || numbers.len() * 10 < self.columns[column].len() * 9 {
            return false;
        }
        let quantum = self.quantum(column);
        if axis::axis(&numbers, quantum).is_ok() {
            return true;
        }
        let mut steps: Vec<f64> = numbers.windows(2).map(|w| w[1] - w[0]).collect();
        let middle = steps.len() / 2;
        let median = *steps.select_nth_unstable_by(middle, f64::total_cmp).1;
        let grain = numbers.iter().fold(0.0, |g: f64, t| g.max(quantum.at(*t)));
        let even = steps.iter().filter(|s| (**s - median).abs() <= JITTER * median + grain).count();
        median > 0.0 && grain < median && even * 10 >= steps.len() * 9
    }
}
