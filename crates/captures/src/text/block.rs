//! A block of whole lines to samples: fast while lines are plain, careful on any other line.

use super::line::{self, Separator, Value};
use super::memory::{self, Memory};
use super::number::{self, END, OVERRANGE, WINDOW};
use super::template::Template;
use crate::axis::Stretch;

/// How to read the lines of one text.
#[derive(Clone, Debug)]
pub(crate) struct Plan {
    pub(crate) separator: Separator,
    pub(crate) mark: u8,
    /// Byte that ends a line.
    pub(crate) eol: u8,
    pub(crate) columns: usize,
    /// Whether a separator may stand at the end of a line.
    pub(crate) trailing: bool,
    /// Column of time, when it is to be checked.
    pub(crate) time: Option<usize>,
    pub(crate) probe: usize,
    pub(crate) reference: Option<usize>,
    /// Interval against which times are summed.
    pub(crate) provisional: f64,
}

/// What a line gives. Missing values are NaN.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fields {
    pub(crate) time: f64,
    pub(crate) probe: f64,
    pub(crate) reference: f64,
}

/// What is wrong on a line; columns from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum LineFault {
    Count(usize),
    Words(usize),
    NoTime(usize),
}

/// A fault and where it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct BlockFault {
    /// Lines before it in the block.
    pub(crate) line: u64,
    /// Byte position of the line in the bytes handed in.
    pub(crate) at: usize,
    pub(crate) fault: LineFault,
}

/// Missing samples of one column.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Missing {
    pub(crate) count: u64,
    /// Lines before the first one.
    pub(crate) first: u64,
}

impl Missing {
    fn add(&mut self, line: u64) {
        if self.count == 0 {
            self.first = line;
        }
        self.count += 1;
    }

    /// Joins what was found in later lines, `before` lines behind the start of this one.
    pub(crate) fn join(&mut self, later: Missing, before: u64) {
        if self.count == 0 {
            self.first = later.first + before;
        }
        self.count += later.count;
    }
}

/// What a block gave beside the samples.
#[derive(Debug)]
pub(crate) struct Block {
    /// Samples written.
    pub(crate) kept: usize,
    /// Lines read.
    pub(crate) lines: u64,
    pub(crate) stretch: Stretch,
    pub(crate) probe: Missing,
    pub(crate) reference: Missing,
    /// Lines before each blank line.
    pub(crate) blank: Vec<u64>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Role {
    Time,
    Probe,
    Reference,
    Skip,
}

/// Reads the whole lines in `bytes[from..to]` into `probe` and `reference` (empty when there is none), which must have
/// room for as many samples as there are line ends. Bytes behind `to` only help the fast path.
pub(crate) fn read(
    plan: &Plan,
    bytes: &[u8],
    (from, to): (usize, usize),
    probe: &mut [f64],
    reference: &mut [f64],
) -> Result<Block, BlockFault> {
    // The usual builds get a loop of their own, in which the roles are constants.
    match (plan.time, plan.probe, plan.reference, plan.columns) {
        (Some(0), 1, None, 2) => {
            const ROLES: [Role; 2] = [Role::Time, Role::Probe];
            let (mut template, mut memory) = (Template::new(), Memory::new());
            run(plan, bytes, (from, to), probe, reference, |p, b, at| {
                lean_line::<true>(p, b, at, &mut template, &mut memory)
                    .or_else(|| fast_line(p, &ROLES, b, at))
            })
        }
        (None, 0, None, 1) => {
            const ROLES: [Role; 1] = [Role::Probe];
            let (mut template, mut memory) = (Template::new(), Memory::new());
            run(plan, bytes, (from, to), probe, reference, |p, b, at| {
                lean_line::<false>(p, b, at, &mut template, &mut memory)
                    .or_else(|| fast_line(p, &ROLES, b, at))
            })
        }
        _ => {
            let role = |column| match column {
                c if plan.time == Some(c) => Role::Time,
                c if plan.probe == c => Role::Probe,
                c if plan.reference == Some(c) => Role::Reference,
                _ => Role::Skip,
            };
            let roles: Vec<Role> = (0..plan.columns).map(role).collect();
            run(plan, bytes, (from, to), probe, reference, |p, b, at| fast_line(p, &roles, b, at))
        }
    }
}

#[inline(always)]
fn run(
    plan: &Plan,
    bytes: &[u8],
    (from, to): (usize, usize),
    probe: &mut [f64],
    reference: &mut [f64],
    mut fast: impl FnMut(&Plan, &[u8], usize) -> Option<(Fields, usize)>,
) -> Result<Block, BlockFault> {
    let mut at = from;
    let mut kept = 0;
    let mut lines = 0u64;
    let mut stretch = Stretch::EMPTY;
    let (mut probe_missing, mut reference_missing) = (Missing::default(), Missing::default());
    let mut blank = Vec::new();
    let provisional = plan.provisional;
    while at < to {
        let fields = if let Some((fields, next)) = fast(plan, bytes, at) {
            at = next;
            fields
        } else {
            let end = memchr::memchr(plan.eol, &bytes[at..to]).map_or(to, |n| at + n);
            match careful(plan, &bytes[at..end]) {
                Ok(Some(fields)) => {
                    if fields.probe.is_nan() {
                        probe_missing.add(lines);
                    }
                    if plan.reference.is_some() && fields.reference.is_nan() {
                        reference_missing.add(lines);
                    }
                    at = end + 1;
                    fields
                }
                Ok(None) => {
                    blank.push(lines);
                    lines += 1;
                    at = end + 1;
                    continue;
                }
                Err(fault) => return Err(BlockFault { line: lines, at, fault }),
            }
        };
        if let Some(place) = probe.get_mut(kept) {
            *place = fields.probe;
        }
        if let Some(place) = reference.get_mut(kept) {
            *place = fields.reference;
        }
        if plan.time.is_some() {
            stretch.push(fields.time, provisional);
        }
        kept += 1;
        lines += 1;
    }
    Ok(Block { kept, lines, stretch, probe: probe_missing, reference: reference_missing, blank })
}

/// A line of nothing but time and probe, or the probe alone, with one byte between and none to spare; `None` when it is
/// any other.
#[inline(always)]
fn lean_line<const TIME: bool>(
    plan: &Plan,
    bytes: &[u8],
    from: usize,
    template: &mut Template,
    memory: &mut Memory,
) -> Option<(Fields, usize)> {
    let window: &[u8; WINDOW] = bytes.get(from..)?.first_chunk()?;
    let mut at = 0;
    let mut fields = Fields { time: 0.0, probe: 0.0, reference: f64::NAN };
    if TIME {
        (fields.time, at) = match template.read(window) {
            Some(found) => found,
            None => {
                let (time, end) = number::near(window, 0, plan.mark)?;
                if end > END || Separator::Byte(window[end]) != plan.separator {
                    return None;
                }
                template.learn(window, end, time);
                (time, end + 1)
            }
        };
    }
    let mut keep = None;
    if memory.is_on() {
        let words = [number::word_at(window, at), number::word_at(window, at + 8)];
        if let Some((key, count)) = memory::key(words, plan.eol) {
            if let Some(probe) = memory.get(key) {
                fields.probe = probe;
                return Some((fields, from + at + count + 1));
            }
            keep = Some((key, at + count));
        }
    }
    let (probe, end) = number::fast(window, at, plan.mark)?;
    fields.probe = probe;
    if let Some((key, stop)) = keep
        && (end == stop || (end + 1 == stop && window[end] == b'\r'))
    {
        memory.keep(key, probe);
    }
    if end > END {
        return None;
    }
    if window[end] == plan.eol {
        return Some((fields, from + end + 1));
    }
    (window[end] == b'\r' && window[end + 1] == plan.eol).then_some((fields, from + end + 2))
}

/// One plain line at `at`, and where the next one starts; `None` when it needs care.
#[inline(never)]
fn fast_line(plan: &Plan, roles: &[Role], bytes: &[u8], mut at: usize) -> Option<(Fields, usize)> {
    let mut fields = Fields { time: 0.0, probe: 0.0, reference: f64::NAN };
    let (separator, blanks) = match plan.separator {
        Separator::Byte(b) => (b, false),
        Separator::Blanks => (b' ', true),
    };
    let last = roles.len() - 1;
    for (column, role) in roles.iter().enumerate() {
        let mut window: &[u8; WINDOW] = bytes.get(at..)?.first_chunk()?;
        while window[0] == b' ' || (window[0] == b'\t' && separator != b'\t') {
            at += 1;
            window = bytes.get(at..)?.first_chunk()?;
        }
        let len = if *role == Role::Skip {
            let ends = |b: &u8| *b == separator || *b == plan.eol || *b == b'"' || (blanks && *b == b'\t');
            bytes[at..].iter().position(ends)?
        } else {
            let plain = if *role == Role::Time {
                number::near(window, 0, plan.mark)
            } else {
                number::fast(window, 0, plan.mark)
            };
            let (value, len) = match plain {
                Some(found) if found.1 <= END => found,
                _ => long_number(&bytes[at..], plan.mark)?,
            };
            match role {
                Role::Time => fields.time = value,
                Role::Probe => fields.probe = value,
                Role::Reference => fields.reference = value,
                Role::Skip => {}
            }
            len
        };
        at += len;
        let stop = *bytes.get(at)?;
        if column == last {
            if stop == plan.eol {
                return Some((fields, at + 1));
            }
            return line_end(plan, bytes, at).map(|next| (fields, next));
        }
        if stop == separator {
            at += 1;
        } else if stop == b' ' || stop == b'\t' {
            while matches!(bytes.get(at), Some(b' ' | b'\t')) && bytes[at] != separator {
                at += 1;
            }
            if !blanks {
                if *bytes.get(at)? != separator {
                    return None;
                }
                at += 1;
            }
        } else {
            return None;
        }
    }
    None
}

/// Numbers with more digits than the fast path takes.
#[inline]
fn long_number(text: &[u8], mark: u8) -> Option<(f64, usize)> {
    if mark != b'.' || !matches!(text.first(), Some(b'0'..=b'9' | b'-' | b'+' | b'.')) {
        return None;
    }
    let (value, len): (f64, usize) = fast_float2::parse_partial(text).ok()?;
    (value.abs() < OVERRANGE).then_some((value, len))
}

/// What may stand between the last number and the line end; returns where the next line starts.
#[inline]
fn line_end(plan: &Plan, bytes: &[u8], mut at: usize) -> Option<usize> {
    let mut separators = usize::from(plan.trailing);
    loop {
        match *bytes.get(at)? {
            b if b == plan.eol => return Some(at + 1),
            b'\r' if plan.eol == b'\n' => {}
            b if Separator::Byte(b) == plan.separator && separators > 0 => separators -= 1,
            b' ' | b'\t' if Separator::Byte(bytes[at]) != plan.separator => {}
            _ => return None,
        }
        at += 1;
    }
}

/// One line without its end, taken apart with care; `Ok(None)` when it is blank.
pub(crate) fn careful(plan: &Plan, text: &[u8]) -> Result<Option<Fields>, LineFault> {
    if text.trim_ascii().is_empty() {
        return Ok(None);
    }
    let mut text = text;
    while let [rest @ .., b'\r'] = text {
        text = rest;
    }
    let mut parts = Vec::with_capacity(plan.columns + 1);
    line::split(text, plan.separator, &mut parts);
    if plan.trailing && parts.len() == plan.columns + 1 && parts.last().is_some_and(|p| p.is_empty()) {
        parts.pop();
    }
    if parts.len() != plan.columns {
        // Words are the better explanation where there are any.
        let wordy = parts.iter().position(|p| line::value(p, plan.mark) == Value::Words);
        return Err(wordy.map_or(LineFault::Count(parts.len()), LineFault::Words));
    }
    let number = |column: usize| match line::value(parts[column], plan.mark) {
        Value::Number(v) => Ok(v),
        Value::Missing => Ok(f64::NAN),
        Value::Words => Err(LineFault::Words(column)),
    };
    let time = plan.time.map_or(Ok(0.0), number)?;
    let probe = number(plan.probe)?;
    let reference = plan.reference.map_or(Ok(f64::NAN), number)?;
    match plan.time {
        Some(column) if time.is_nan() => Err(LineFault::NoTime(column)),
        _ => Ok(Some(Fields { time, probe, reference })),
    }
}
