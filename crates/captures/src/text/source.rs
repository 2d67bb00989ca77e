//! Where the text comes from: bytes in memory, read by blocks side by side, or a stream, read while it is unpacked.

use std::io::Read;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

use rayon::prelude::*;

use super::block::{self, Block, BlockFault, Missing, Plan};
use super::decode::{self, Encoding, Utf16Reader};
use super::{faults, line, number};
use crate::axis::Stretch;
use crate::capture::Samples;
use crate::error::ReadError;

/// A stream from its start.
pub(crate) type Reader<'a> = Box<dyn Read + Send + 'a>;

/// A text to read.
#[derive(Clone, Copy)]
pub(crate) enum Input<'a> {
    /// All of it in memory.
    Whole(&'a [u8]),
    /// To be unpacked; each call starts again from the beginning.
    Stream(&'a (dyn Fn() -> Result<Reader<'a>, ReadError> + Sync)),
}

/// Size of the blocks of a text in memory: large enough that the cost of starting one does not show, small enough that
/// all cores end together.
const BLOCK_BYTES: usize = 2 << 20;
/// Size of the blocks of a stream.
const STREAM_BYTES: usize = 4 << 20;
/// Longest line.
const LONGEST_LINE: usize = 16 << 20;

/// Where the numbers begin.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Begin {
    /// Byte in the head.
    pub(crate) at: usize,
    /// Line number, from 1.
    pub(crate) line: u64,
    /// Digits after the mark and exponent length of the last field, when they are always the same.
    pub(crate) last_printed: Option<(u32, u32)>,
    /// First time, when there is a time column.
    pub(crate) first_time: f64,
}

/// The start of the text.
#[derive(Clone)]
pub(crate) struct Head {
    pub(crate) bytes: Vec<u8>,
    /// Whether this is all of the text.
    pub(crate) whole: bool,
}

/// All samples and what was seen on the way.
#[derive(Debug)]
pub(crate) struct Parsed {
    pub(crate) points: usize,
    pub(crate) probe: Samples,
    pub(crate) reference: Option<Samples>,
    pub(crate) stretches: Vec<Stretch>,
    pub(crate) probe_missing: Missing,
    pub(crate) reference_missing: Missing,
    /// Numbers of blank lines between samples.
    pub(crate) blank: Vec<u64>,
    /// Number of the last line when it is cut short.
    pub(crate) cut: Option<u64>,
}

/// A text in one of its two forms.
pub(crate) struct Source<'a> {
    file: String,
    kind: SourceKind<'a>,
}

enum SourceKind<'a> {
    Whole(&'a [u8]),
    Stream(&'a (dyn Fn() -> Result<Reader<'a>, ReadError> + Sync)),
    Utf16 { bytes: &'a [u8], low_first: bool },
}

impl<'a> Source<'a> {
    pub(crate) fn start(file: &str, input: Input<'a>) -> Result<Self, ReadError> {
        let kind = match input {
            Input::Whole(bytes) => match decode::encoding(bytes) {
                Encoding::Bytes { skip } => SourceKind::Whole(&bytes[skip..]),
                Encoding::Utf16 { low_first } => SourceKind::Utf16 { bytes, low_first },
            },
            Input::Stream(open) => SourceKind::Stream(open),
        };
        Ok(Self { file: file.to_owned(), kind })
    }

    /// A reader from the start of the text, in UTF-8 without byte order mark.
    pub(crate) fn reader(&self) -> Result<Reader<'a>, ReadError> {
        let open = match self.kind {
            SourceKind::Whole(bytes) => return Ok(Box::new(bytes)),
            SourceKind::Utf16 { bytes, low_first } => {
                return Ok(Box::new(Utf16Reader::new(bytes, low_first)));
            }
            SourceKind::Stream(open) => open,
        };
        let mut reader = open()?;
        let mut mark = [0; 3];
        let got = fill(&mut reader, &mut mark).map_err(|e| self.io_error(e))?;
        Ok(match decode::encoding(&mark[..got]) {
            Encoding::Bytes { skip } => {
                Box::new(std::io::Cursor::new(mark[skip..got].to_vec()).chain(reader))
            }
            Encoding::Utf16 { low_first } => {
                let all = std::io::Cursor::new(mark[..got].to_vec()).chain(reader);
                Box::new(Utf16Reader::new(all, low_first))
            }
        })
    }

    fn io_error(&self, error: std::io::Error) -> ReadError {
        crate::packed::io_error(&self.file, &error)
    }

    /// The first `limit` bytes.
    pub(crate) fn head(&mut self, limit: usize) -> Result<Head, ReadError> {
        if let SourceKind::Whole(bytes) = self.kind {
            return Ok(Head { bytes: bytes[..limit.min(bytes.len())].to_vec(), whole: bytes.len() <= limit });
        }
        let mut bytes = vec![0; limit + 1];
        let got = fill(&mut self.reader()?, &mut bytes).map_err(|e| self.io_error(e))?;
        bytes.truncate(got.min(limit));
        Ok(Head { bytes, whole: got <= limit })
    }

    /// Reads all lines from `begin` on. `refine` lets the provisional interval be improved from the ends of the text.
    pub(crate) fn parse(
        &mut self,
        plan: &mut Plan,
        begin: Begin,
        refine: bool,
        progress: &(dyn Fn(u64) + Sync),
    ) -> Result<Parsed, ReadError> {
        match self.kind {
            SourceKind::Whole(bytes) => self.parse_whole(bytes, plan, begin, refine, progress),
            _ => self.parse_stream(plan, begin),
        }
    }

    fn parse_whole(
        &self,
        bytes: &[u8],
        plan: &mut Plan,
        begin: Begin,
        refine: bool,
        progress: &(dyn Fn(u64) + Sync),
    ) -> Result<Parsed, ReadError> {
        let end = memchr::memrchr(plan.eol, bytes).map_or(begin.at, |n| n + 1).max(begin.at);
        let ranges = split_blocks(bytes, begin.at, end, plan.eol);
        let eol = plan.eol;
        let counts: Vec<usize> =
            ranges.par_iter().map(|&(from, to)| memchr::memchr_iter(eol, &bytes[from..to]).count()).collect();
        let total: usize = counts.iter().sum();
        if refine && plan.time.is_some() {
            refine_interval(plan, bytes, begin, end, total);
        }
        let mut gathered = Gathered::new(total + 1, plan.reference.is_some());
        let (mut probe, mut reference) = (gathered.probe.doubles_mut(), gathered.reference.doubles_mut());
        let mut tasks = Vec::with_capacity(ranges.len());
        for (&range, &count) in ranges.iter().zip(&counts) {
            let (own, rest) = probe.split_at_mut(count);
            let (own_reference, rest_reference) = reference.split_at_mut(count.min(reference.len()));
            (probe, reference) = (rest, rest_reference);
            tasks.push((range, own, own_reference));
        }
        let done = AtomicU64::new(begin.at as u64);
        let failed = AtomicUsize::new(usize::MAX);
        let plan = &*plan;
        let blocks: Vec<Option<Result<Block, BlockFault>>> = tasks
            .into_par_iter()
            .enumerate()
            .map(|(index, (range, own, own_reference))| {
                if failed.load(Ordering::Relaxed) < index {
                    return None; // an earlier block has a fault, this one does not matter any more
                }
                let result = block::read(plan, bytes, range, own, own_reference);
                if result.is_err() {
                    failed.fetch_min(index, Ordering::Relaxed);
                }
                let size = (range.1 - range.0) as u64;
                progress(done.fetch_add(size, Ordering::Relaxed) + size);
                Some(result)
            })
            .collect();
        for (result, &count) in blocks.into_iter().zip(&counts) {
            match result {
                Some(Ok(block)) => gathered.place(&block, begin.line, count),
                Some(Err(fault)) => return Err(self.fault(plan, bytes, begin.line + gathered.lines, fault)),
                None => {}
            }
        }
        self.finish(plan, begin, gathered, &bytes[end..])
    }

    fn parse_stream(&self, plan: &Plan, begin: Begin) -> Result<Parsed, ReadError> {
        let mut reader = self.reader()?;
        let mut gathered = Gathered::new(0, plan.reference.is_some());
        let mut pieces: Vec<(Vec<f64>, Vec<f64>)> = Vec::new();
        let mut current = vec![0; STREAM_BYTES];
        let mut held = fill(&mut reader, &mut current).map_err(|e| self.io_error(e))?;
        let mut from = begin.at.min(held);
        loop {
            let Some(end) = memchr::memrchr(plan.eol, &current[from..held]).map(|n| from + n + 1) else {
                // No whole line: the end of the text, or a line longer than a block.
                if held < current.len() {
                    break;
                }
                if held - from > LONGEST_LINE {
                    return Err(self.line_too_long(begin.line + gathered.lines));
                }
                let old = current.len();
                current.resize(2 * old, 0);
                held += fill(&mut reader, &mut current[old..]).map_err(|e| self.io_error(e))?;
                continue;
            };
            let mut next = vec![0; current.len().max(held - end + STREAM_BYTES)];
            let carried = held - end;
            next[..carried].copy_from_slice(&current[end..held]);
            let count = memchr::memchr_iter(plan.eol, &current[from..end]).count();
            let (parsed, filled) = rayon::join(
                || {
                    let mut probe = vec![0.0; count];
                    let mut reference = vec![0.0; if plan.reference.is_some() { count } else { 0 }];
                    let block = block::read(plan, &current[..held], (from, end), &mut probe, &mut reference)?;
                    probe.truncate(block.kept);
                    reference.truncate(block.kept);
                    Ok((block, probe, reference))
                },
                || fill(&mut reader, &mut next[carried..]),
            );
            let (block, probe, reference) =
                parsed.map_err(|fault| self.fault(plan, &current, begin.line + gathered.lines, fault))?;
            gathered.note(&block, begin.line);
            pieces.push((probe, reference));
            held = carried + filled.map_err(|e| self.io_error(e))?;
            current = next;
            from = 0;
        }
        let (probes, references): (Vec<_>, Vec<_>) = pieces.into_iter().unzip();
        gathered.probe = join(probes);
        gathered.reference = join(references);
        self.finish(plan, begin, gathered, &current[from..held])
    }

    fn line_too_long(&self, line: u64) -> ReadError {
        ReadError::Line {
            file: self.file.clone(),
            line,
            expected: "one sample for each line".into(),
            found: format!("a line of more than {} MiB", LONGEST_LINE >> 20),
            remedy: "export with one sample for each line".into(),
        }
    }

    fn fault(&self, plan: &Plan, bytes: &[u8], first_line: u64, fault: BlockFault) -> ReadError {
        let rest = &bytes[fault.at..];
        let text = &rest[..memchr::memchr(plan.eol, rest).unwrap_or(rest.len())];
        faults::on_line(&self.file, plan, first_line + fault.line, text.trim_ascii_end(), fault.fault)
    }

    /// Takes the last line, which has no line end, and closes the record.
    fn finish(
        &self,
        plan: &Plan,
        begin: Begin,
        mut gathered: Gathered,
        tail: &[u8],
    ) -> Result<Parsed, ReadError> {
        let line = begin.line + gathered.lines;
        let mut cut = None;
        let tail = tail.trim_ascii_end();
        // Ctrl-Z ends a text on some systems.
        let tail = tail.strip_suffix(&[0x1a]).unwrap_or(tail);
        if !tail.is_empty() {
            let shorter = begin.last_printed.is_some_and(|usual| shorter_than(tail, plan, usual));
            match block::careful(plan, tail) {
                Ok(Some(fields)) if !shorter => gathered.push(fields, plan),
                Ok(None) => {}
                Err(fault) if !looks_cut(tail) => {
                    return Err(faults::on_line(&self.file, plan, line, tail, fault));
                }
                _ => cut = Some(line),
            }
        }
        let mut last = line.saturating_sub(u64::from(tail.is_empty() || cut.is_some()));
        while gathered.blank.last() == Some(&last) {
            gathered.blank.pop();
            last -= 1;
        }
        let Gathered {
            points,
            mut probe,
            mut reference,
            stretches,
            probe_missing,
            reference_missing,
            blank,
            ..
        } = gathered;
        probe.truncate(points);
        reference.truncate(points);
        let reference = plan.reference.is_some().then_some(reference);
        Ok(Parsed { points, probe, reference, stretches, probe_missing, reference_missing, blank, cut })
    }
}

/// Samples while they are put together.
struct Gathered {
    points: usize,
    /// Samples before the blocks' own places; differs from `points` once blank lines were passed.
    room: usize,
    lines: u64,
    probe: Samples,
    reference: Samples,
    stretches: Vec<Stretch>,
    probe_missing: Missing,
    reference_missing: Missing,
    blank: Vec<u64>,
}

impl Gathered {
    fn new(room: usize, with_reference: bool) -> Self {
        Self {
            points: 0,
            room: 0,
            lines: 0,
            probe: Samples::zeroed(room),
            reference: Samples::zeroed(if with_reference { room } else { 0 }),
            stretches: Vec::new(),
            probe_missing: Missing::default(),
            reference_missing: Missing::default(),
            blank: Vec::new(),
        }
    }

    /// Takes over what a block noted.
    fn note(&mut self, block: &Block, first_line: u64) {
        self.probe_missing.join(block.probe, self.lines);
        self.reference_missing.join(block.reference, self.lines);
        self.blank.extend(block.blank.iter().map(|b| first_line + self.lines + b));
        self.stretches.push(block.stretch);
        self.lines += block.lines;
        self.points += block.kept;
    }

    /// As [`Gathered::note`], for a block that wrote its samples in place; closes up room left by blank lines.
    fn place(&mut self, block: &Block, first_line: u64, count: usize) {
        if self.room != self.points {
            let range = self.room..self.room + block.kept;
            self.probe.doubles_mut().copy_within(range.clone(), self.points);
            if !self.reference.doubles_mut().is_empty() {
                self.reference.doubles_mut().copy_within(range, self.points);
            }
        }
        self.room += count;
        self.note(block, first_line);
    }

    /// Adds the last line.
    fn push(&mut self, fields: block::Fields, plan: &Plan) {
        push(&mut self.probe, self.points, fields.probe);
        let missing = |m: &mut Missing| m.join(Missing { count: 1, first: 0 }, self.lines);
        if fields.probe.is_nan() {
            missing(&mut self.probe_missing);
        }
        if plan.reference.is_some() {
            push(&mut self.reference, self.points, fields.reference);
            if fields.reference.is_nan() {
                missing(&mut self.reference_missing);
            }
        }
        if plan.time.is_some() {
            let mut one = Stretch::EMPTY;
            one.push(fields.time, plan.provisional);
            self.stretches.push(one);
        }
        self.points += 1;
    }
}

fn push(samples: &mut Samples, at: usize, value: f64) {
    match samples.doubles_mut().get_mut(at) {
        Some(place) => *place = value,
        None => samples.append(value),
    }
}

/// One run of samples out of many, given back piece by piece so that the pieces do not all stay beside it.
fn join(pieces: Vec<Vec<f64>>) -> Samples {
    let total: usize = pieces.iter().map(Vec::len).sum();
    let mut all = Samples::zeroed(total);
    let mut room = all.doubles_mut();
    for piece in pieces {
        let (own, rest) = room.split_at_mut(piece.len());
        own.copy_from_slice(&piece);
        room = rest;
    }
    all
}

/// Blocks of whole lines in `bytes[from..end]`, which ends with a line end.
fn split_blocks(bytes: &[u8], from: usize, end: usize, eol: u8) -> Vec<(usize, usize)> {
    let mut blocks = Vec::with_capacity((end - from) / BLOCK_BYTES + 1);
    let mut at = from;
    while at < end {
        let aim = (at + BLOCK_BYTES).min(end);
        let to = memchr::memchr(eol, &bytes[aim - 1..end]).map_or(end, |n| aim + n);
        blocks.push((at, to));
        at = to;
    }
    blocks
}

/// Takes the provisional interval from the first and the last line.
fn refine_interval(plan: &mut Plan, bytes: &[u8], begin: Begin, end: usize, lines: usize) {
    let body = &bytes[begin.at..end];
    let first = &body[..memchr::memchr(plan.eol, body).unwrap_or(body.len())];
    let trimmed = body.trim_ascii_end();
    let last = &trimmed[memchr::memrchr(plan.eol, trimmed).map_or(0, |n| n + 1)..];
    let blank = memchr::memchr_iter(plan.eol, &body[trimmed.len()..]).count().saturating_sub(1);
    let time = |text: &[u8]| block::careful(plan, text).ok().flatten().map(|f| f.time);
    if let (Some(a), Some(b)) = (time(first), time(last))
        && lines > blank + 1
    {
        plan.provisional = (b - a) / (lines - blank - 1) as f64;
    }
}

/// Whether the last field has fewer digits than all others have.
fn shorter_than(tail: &[u8], plan: &Plan, usual: (u32, u32)) -> bool {
    let mut fields = Vec::new();
    line::split(tail, plan.separator, &mut fields);
    let Some(last) = fields.iter().rev().find(|f| !f.is_empty()) else { return false };
    number::printed(last).is_some_and(|p| p.decimals < usual.0 || p.exponent_len < usual.1)
}

/// Whether a last line that cannot be read consists of pieces of numbers only.
fn looks_cut(tail: &[u8]) -> bool {
    tail.iter().all(|b| b.is_ascii_digit() || b"+-.,;eE \t\"NnAa".contains(b))
}

/// Reads until `out` is full or the reader ends.
fn fill(reader: &mut dyn Read, out: &mut [u8]) -> std::io::Result<usize> {
    let mut held = 0;
    while held < out.len() {
        match reader.read(&mut out[held..]) {
            Ok(0) => break,
            Ok(n) => held += n,
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(held)
}
