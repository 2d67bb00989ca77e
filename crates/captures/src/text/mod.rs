//! Delimited text: the head tells how lines are built, then whole blocks of lines are read side by side.
//!
//! The time column is not kept: each block sums its times against a provisional interval, and the sums prove the axis
//! (see [`crate::axis`]). Only when they do not is the time column read again by itself, to find the fault or to accept
//! coarsely printed times.

mod block;
mod columns;
mod decode;
mod faults;
mod header;
mod layout;
pub(crate) mod line;
mod memory;
mod notes;
mod number;
mod source;
mod template;

use flattop_core::finding::Finding;

use self::block::{Missing, Plan};
use self::columns::Columns;
use self::layout::{HeadLine, Layout};
use self::line::Separator;
use self::source::Parsed;
use crate::axis::{self, Quantum};
use crate::capture::{Column, Contents, Samples};
use crate::error::ReadError;
use crate::select;
use crate::units::{Quantity, Unit};
use crate::widen::{Build, TextBuild};
use crate::{ReadOptions, units};

pub(crate) use self::faults::in_words as time_fault_words;
pub(crate) use self::notes::value_unit;
pub(crate) use self::source::{Input, Source};

/// Bytes from the start in which the numbers must begin.
const HEAD_BYTES: usize = 1 << 20;

/// Reads delimited text.
pub(crate) fn read(
    file: &str,
    input: Input<'_>,
    options: &ReadOptions,
    progress: &(dyn Fn(u64) + Sync),
) -> Result<Contents, ReadError> {
    let given = select::given_interval(file, options)?;
    let mut source = Source::start(file, input)?;
    let head = source.head(HEAD_BYTES)?;
    let whole = head.whole;
    refuse_binary(file, &head.bytes)?;
    let eol = line_end(&head.bytes);
    let lines = head_lines(&head.bytes, eol, whole);
    let layout = layout::find(&lines)
        .map_err(|fault| faults::layout_error(file, fault, &lines, &head.bytes, whole))?;
    let columns = columns::find(&layout);
    let mut findings = columns.findings.clone();
    let names: Vec<_> = columns.headings.iter().map(|h| h.name.clone()).collect();
    faults::one_line_only(file, &layout, whole)?;
    faults::decimal_comma_suspected(file, &layout, &columns)?;
    if columns.time().is_none() && given.is_none() {
        return Err(faults::no_interval(file, &columns));
    }
    let chosen = select::select(file, options, &columns.kinds, &names)?;
    if options.column.is_none() {
        notes::passed_over(&columns, layout.sample.len(), chosen.probe, &mut findings);
    }
    if given.is_some() && columns.time().is_some() {
        let message = "the file has a time column, but the given interval is used";
        findings.push(Finding::warning(
            "interval-overrides-time",
            message,
            "leave out --interval to use the file's own",
        ));
    }
    let mut plan = Plan {
        separator: layout.build.separator,
        mark: layout.build.mark,
        eol,
        columns: columns.kinds.len(),
        trailing: columns.trailing,
        time: columns.time().filter(|_| given.is_none()),
        probe: chosen.probe,
        reference: chosen.reference,
        provisional: 0.0,
    };
    let first_time;
    (first_time, plan.provisional) = first_interval(&layout, &plan);
    let begin = source::Begin {
        at: layout.sample.first().map_or(0, |l| l.start),
        line: layout.sample.first().map_or(1, |l| l.number),
        last_printed: last_field_print(&layout),
        first_time,
    };
    let parsed = source.parse(&mut plan, begin, true, progress)?;
    select::enough_points(file, parsed.points)?;
    notes::blank_lines(file, &parsed, &columns, &mut findings)?;
    let (start_s, interval_s) = match given {
        Some(interval_s) => (0.0, interval_s),
        None => time_axis(file, &mut source, &plan, begin, &parsed, &columns, &mut findings)?,
    };
    if let Some(line) = parsed.cut {
        let message = format!("line {line}, the last one, is cut short and was left out");
        findings.push(Finding::warning(
            "last-line-cut",
            message,
            "export again if the end of the record matters",
        ));
    }
    let mut column = |at: usize, samples: Samples, missing: Missing| {
        notes::missing_samples(at, missing, begin.line, &mut findings);
        let heading = columns.headings.get(at).cloned().unwrap_or_default();
        let scale = notes::value_unit(at, heading.name.as_deref(), heading.unit.as_deref(), &mut findings);
        Column { number: at + 1, name: heading.name, unit: heading.unit, samples, scale }
    };
    let probe = column(chosen.probe, parsed.probe, parsed.probe_missing);
    let reference = match (chosen.reference, parsed.reference) {
        (Some(at), Some(samples)) => Some(column(at, samples, parsed.reference_missing)),
        _ => None,
    };
    let filled = layout.preamble.iter().filter(|l| !l.text.trim_ascii().is_empty());
    let mut heading_lines = [0; 2];
    let last = filled.rev().take(columns.heading_lines).map(|l| l.number);
    heading_lines[..columns.heading_lines].iter_mut().rev().zip(last).for_each(|(place, line)| *place = line);
    // One column stands alone; what comes to it has to be separated by something that is seen.
    let alone = if plan.mark == b',' { b';' } else { b',' };
    let build = TextBuild {
        separator: if columns.kinds.len() == 1 { Separator::Byte(alone) } else { plan.separator },
        mark: plan.mark,
        eol,
        trailing: columns.trailing,
        first_line: begin.line,
        headings: columns.heading_lines,
        heading_lines,
        cut: parsed.cut,
    };
    let (build, columns) = (Build::Text(build), columns.kinds.len());
    Ok(Contents { start_s, interval_s, points: parsed.points, columns, probe, reference, findings, build })
}

/// The byte that ends lines: line feed where there is one, else carriage return.
fn line_end(head: &[u8]) -> u8 {
    if memchr::memchr(b'\n', head).is_none() && memchr::memchr(b'\r', head).is_some() { b'\r' } else { b'\n' }
}

/// The lines of the head; a last one without end only when the head is the whole text.
fn head_lines(head: &[u8], eol: u8, whole: bool) -> Vec<HeadLine<'_>> {
    let mut lines = Vec::new();
    let mut start = 0;
    let mut line_at = |start: usize, end: usize| {
        let mut text = &head[start..end];
        while let [rest @ .., b'\r'] = text {
            text = rest;
        }
        lines.push(HeadLine { number: lines.len() as u64 + 1, text, start });
    };
    for end in memchr::memchr_iter(eol, head) {
        line_at(start, end);
        start = end + 1;
    }
    if whole && start < head.len() {
        line_at(start, head.len());
    }
    lines
}

/// Text has no control characters besides blanks and line ends.
fn refuse_binary(file: &str, head: &[u8]) -> Result<(), ReadError> {
    if head.is_empty() {
        return Err(ReadError::Empty { file: file.to_owned() });
    }
    let odd = |b: &u8| *b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0b | 0x0c | 0x1a);
    match head.iter().take(1 << 16).position(odd) {
        Some(at) => {
            if let [_, 0, _, 0, ..] | [0, _, 0, _, ..] = head {
                return Err(ReadError::Byte {
                    file: file.to_owned(),
                    byte: at as u64,
                    expected: "text in UTF-8".to_owned(),
                    found: "text in UTF-16 without its byte order mark".to_owned(),
                    remedy: "save the text as UTF-8".to_owned(),
                });
            }
            let found = format!("the byte 0x{:02X}, which does not belong in text", head[at]);
            Err(ReadError::UnknownFormat { file: file.to_owned(), byte: at as u64, found })
        }
        None => Ok(()),
    }
}

/// First time, and interval over the first lines as a start for summing.
fn first_interval(layout: &Layout<'_>, plan: &Plan) -> (f64, f64) {
    let times: Vec<f64> = layout
        .sample
        .iter()
        .filter_map(|l| block::careful(plan, l.text).ok().flatten())
        .map(|f| f.time)
        .collect();
    match (times.first(), times.last()) {
        (Some(first), Some(last)) if times.len() > 1 => (*first, (last - first) / (times.len() - 1) as f64),
        _ => (0.0, 0.0),
    }
}

/// Digits after the mark and length of the exponent of the last field, when all first lines agree on them.
fn last_field_print(layout: &Layout<'_>) -> Option<(u32, u32)> {
    let mut fields = Vec::new();
    let mut common = None;
    for line in layout.sample.iter().take(64).take(layout.sample.len().saturating_sub(1)) {
        line::split(line.text, layout.build.separator, &mut fields);
        let found = number::printed(fields.iter().rev().find(|f| !f.is_empty())?)?;
        let own = (found.decimals, found.exponent_len);
        if *common.get_or_insert(own) != own {
            return None;
        }
    }
    common
}

/// Start and interval in seconds from the time column.
fn time_axis(
    file: &str,
    source: &mut Source<'_>,
    plan: &Plan,
    begin: source::Begin,
    parsed: &Parsed,
    columns: &Columns,
    findings: &mut Vec<Finding>,
) -> Result<(f64, f64), ReadError> {
    let Some(time) = plan.time else {
        return Err(faults::no_interval(file, columns));
    };
    let heading = columns.headings.get(time).cloned().unwrap_or_default();
    let unit = columns.unit(time, Quantity::Time).or_else(|| {
        heading
            .name
            .as_deref()
            .and_then(units::unit)
            .filter(|u| u.quantity == Quantity::Time && heading.unit.is_none())
    });
    let known = unit;
    let unit = known.unwrap_or(Unit::SECOND);
    let proven = axis::from_stretches(&parsed.stretches, begin.first_time, plan.provisional, columns.quantum);
    let (axis, quantum) = match proven {
        Some(axis) => (axis, columns.quantum),
        None => {
            let mut again = Plan { time: None, probe: time, reference: None, ..plan.clone() };
            let times = source.parse(&mut again, begin, false, &|_| {})?;
            let mut times = times.probe;
            let times = &times.doubles_mut()[..parsed.points];
            let quantum = printed_quantum(times, columns.quantum);
            let axis = axis::axis(times, quantum).map_err(|fault| {
                let doubt = columns.by_numbers.then_some(time);
                faults::time(file, begin.line, &parsed.blank, fault, unit, doubt)
            })?;
            (axis, quantum)
        }
    };
    notes::note_axis(axis, unit, quantum, parsed.points, findings);
    if known.is_none() {
        let column = time + 1;
        findings.push(match &heading.unit {
            Some(written) => Finding::warning(
                "time-unit-unknown",
                format!("column {column} is time in \"{written}\", which is no unit of time that is known; taken as seconds"),
                "pass the interval with --interval",
            ),
            None => Finding::note("time-unit-assumed", format!("column {column} is time and states no unit; taken as seconds"), ""),
        });
    }
    Ok((unit.to_si(axis.start), unit.to_si(axis.interval)))
}

/// How finely times are printed, from the first lines and from values all over the record.
fn printed_quantum(times: &[f64], first_lines: Quantum) -> Quantum {
    let mut quantum = first_lines;
    let stride = (times.len() / 10_000).max(1);
    for time in times.iter().step_by(stride) {
        if let Some(found) = number::printed(format!("{time:e}").as_bytes()) {
            quantum.see(found.significant, found.last_power);
        }
    }
    quantum
}
