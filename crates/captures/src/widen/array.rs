//! Arrays with two columns more, written block by block.

use std::fs::File;
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use bytemuck::NoUninit;
use flattop_core::correction::{Stored, Written};

use super::{Added, ArrayBuild, CHANGED, create};
use crate::bytes::Bytes;
use crate::capture::{Capture, Packing};
use crate::columns::{self, Number};
use crate::packed;

/// Samples of a block. Large enough that a write costs more than asking for it, small enough for the cache.
const BLOCK: usize = 1 << 16;

/// Blocks on their way to the second writer.
const UNDER_WAY: usize = 4;

pub(super) fn write<A: Added>(
    capture: &Capture,
    build: &ArrayBuild,
    half: &Path,
    added: &mut A,
) -> io::Result<()> {
    let unpacked;
    let bytes: &[u8] = match capture.format.packing {
        Packing::Plain => &capture.bytes,
        packing => {
            let all = packed::unpack(&capture.file, packing, &capture.bytes, &|_| {});
            unpacked = Bytes::Held(all.map_err(|_| io::Error::from(CHANGED))?);
            &unpacked
        }
    };
    // All readers have checked that the numbers are there.
    let size = capture.points * capture.columns * build.number.size();
    let data = bytes.get(build.at..build.at + size).ok_or_else(|| io::Error::from(CHANGED))?;
    if single_holds(build.number) {
        typed::<f32, A>(capture, build, data, half, added, "<f4")
    } else {
        typed::<f64, A>(capture, build, data, half, added, "<f8")
    }
}

/// Whether single precision holds every number of a kind exactly.
fn single_holds(number: Number) -> bool {
    !matches!(
        number,
        Number::F64 { .. }
            | Number::I32 { .. }
            | Number::U32 { .. }
            | Number::I64 { .. }
            | Number::U64 { .. }
    )
}

/// A number written low byte first.
trait Low: Stored + Written + NoUninit + Send {
    const SIZE: usize = size_of::<Self>();
}

impl Low for f32 {}
impl Low for f64 {}

fn typed<T: Low, A: Added>(
    capture: &Capture,
    build: &ArrayBuild,
    data: &[u8],
    half: &Path,
    added: &mut A,
    kind: &str,
) -> io::Result<()> {
    let header = header(kind, capture.points, capture.columns + 2, build);
    let mut file = create(half)?;
    file.write_all(&header)?;
    if build.planar {
        planar::<T, A>(capture, build, data, half, (file, header.len()), added)
    } else {
        interleaved::<T, A>(capture, build, data, file, added)
    }
}

/// NPY version 1.0 (NumPy 2.4 format manual): magic, version, length of the text, the text padded so that the data begin at a multiple of 64.
fn header(kind: &str, points: usize, columns: usize, build: &ArrayBuild) -> Vec<u8> {
    // In memory the last axis runs fastest, in Fortran order the first.
    let fortran = build.planar != build.across;
    let shape = if build.across { (columns, points) } else { (points, columns) };
    let order = if fortran { "True" } else { "False" };
    let mut text =
        format!("{{'descr': '{kind}', 'fortran_order': {order}, 'shape': ({}, {}), }}", shape.0, shape.1);
    while !(10 + text.len() + 1).is_multiple_of(64) {
        text.push(' ');
    }
    text.push('\n');
    let mut header = b"\x93NUMPY\x01\x00".to_vec();
    header.extend((text.len() as u16).to_le_bytes());
    header.extend(text.as_bytes());
    header
}

/// Column behind column. The added ones are made here; a second writer takes the old ones and the last one.
fn planar<T: Low, A: Added>(
    capture: &Capture,
    build: &ArrayBuild,
    data: &[u8],
    half: &Path,
    (mut own, start): (File, usize),
    added: &mut A,
) -> io::Result<()> {
    let column = capture.points * T::SIZE;
    let at = |number: usize| (start + number * column) as u64;
    own.set_len(at(capture.columns + 2))?;
    let mut old = File::options().write(true).open(half)?;
    let mut second = File::options().write(true).open(half)?;
    own.seek(SeekFrom::Start(at(capture.columns)))?;
    old.seek(SeekFrom::Start(at(0)))?;
    second.seek(SeekFrom::Start(at(capture.columns + 1)))?;
    let (full, take): (SyncSender<Vec<T>>, Receiver<Vec<T>>) = sync_channel(UNDER_WAY);
    let (give_back, empty) = sync_channel(UNDER_WAY + 2);
    std::thread::scope(|scope| {
        let beside = scope.spawn(move || {
            let mut pieces = old_columns::<T>(build, data);
            loop {
                // Whatever is ready goes first, so that neither side waits for the other for long.
                let more = pieces.write_next(&mut old)?;
                let block = if more { take.try_recv().ok() } else { take.recv().ok() };
                match block {
                    Some(block) => {
                        second.write_all(bytes_of(&block).as_ref())?;
                        // Nobody takes it back at the end.
                        let _ = give_back.try_send(block);
                    }
                    None if !more => return Ok(()),
                    None => {}
                }
            }
        });
        #[allow(clippy::useless_vec)] // too long for the stack
        let mut first = vec![T::default(); BLOCK];
        let made = (|| {
            for from in (0..capture.points).step_by(BLOCK) {
                let count = BLOCK.min(capture.points - from);
                let mut uncertain: Vec<T> = empty.try_recv().unwrap_or_default();
                uncertain.resize(count, T::default());
                added.next(from..from + count, &mut first[..count], &mut uncertain);
                scaled(&mut first[..count], build.scale);
                scaled(&mut uncertain, build.scale);
                own.write_all(bytes_of(&first[..count]).as_ref())?;
                if full.send(uncertain).is_err() {
                    // The other side has failed and tells why.
                    break;
                }
            }
            Ok(())
        })();
        drop(full);
        let beside = beside.join().unwrap_or_else(|_| Err(io::Error::other("a writer ended early")));
        made.and(beside)
    })
}

/// The old columns in pieces: as they stand where they are stored as they are written, converted otherwise.
struct Pieces<'a, T> {
    data: &'a [u8],
    number: Number,
    scale: f64,
    same: bool,
    buffer: Vec<T>,
}

fn old_columns<'a, T: Low>(build: &ArrayBuild, data: &'a [u8]) -> Pieces<'a, T> {
    let same =
        matches!((build.number, T::SIZE), (Number::F32 { big: false }, 4) | (Number::F64 { big: false }, 8));
    Pieces { data, number: build.number, scale: build.scale, same, buffer: Vec::new() }
}

impl<T: Low> Pieces<'_, T> {
    /// Writes the next piece; tells whether there was one.
    fn write_next(&mut self, out: &mut File) -> io::Result<bool> {
        if self.data.is_empty() {
            return Ok(false);
        }
        let size = self.number.size();
        let (piece, rest) = self.data.split_at(self.data.len().min(BLOCK * size));
        self.data = rest;
        if self.same {
            out.write_all(piece)?;
        } else {
            self.buffer.clear();
            let numbers =
                piece.chunks_exact(size).map(|b| T::narrow(self.scale * columns::value(self.number, b)));
            self.buffer.extend(numbers);
            out.write_all(bytes_of(&self.buffer).as_ref())?;
        }
        Ok(true)
    }
}

/// Row by row.
fn interleaved<T: Low, A: Added>(
    capture: &Capture,
    build: &ArrayBuild,
    data: &[u8],
    file: File,
    added: &mut A,
) -> io::Result<()> {
    let mut out = BufWriter::with_capacity(1 << 18, file);
    let size = build.number.size();
    let block = BLOCK.div_ceil(capture.columns);
    let (mut first, mut second) = (vec![T::default(); block], vec![T::default(); block]);
    let mut rows = Vec::new();
    for from in (0..capture.points).step_by(block) {
        let count = block.min(capture.points - from);
        added.next(from..from + count, &mut first[..count], &mut second[..count]);
        scaled(&mut first[..count], build.scale);
        scaled(&mut second[..count], build.scale);
        rows.clear();
        for k in 0..count {
            let row = (from + k) * capture.columns * size;
            let numbers = data[row..row + capture.columns * size].chunks_exact(size);
            rows.extend(numbers.map(|b| T::narrow(build.scale * columns::value(build.number, b))));
            rows.extend([first[k], second[k]]);
        }
        out.write_all(bytes_of(&rows).as_ref())?;
    }
    out.flush()
}

/// WAV counts in shares of full scale, powers of two: nothing is rounded by it.
fn scaled<T: Low>(values: &mut [T], scale: f64) {
    if (scale - 1.0).abs() > 0.0 {
        values.iter_mut().for_each(|v| *v = T::narrow(scale * v.wide()));
    }
}

/// The bytes of numbers, low byte first whatever the machine does.
fn bytes_of<T: Low>(numbers: &[T]) -> std::borrow::Cow<'_, [u8]> {
    let bytes: &[u8] = bytemuck::cast_slice(numbers);
    if cfg!(target_endian = "little") {
        return bytes.into();
    }
    bytes.chunks_exact(T::SIZE).flat_map(|number| number.iter().rev().copied()).collect()
}
