//! Columns of binary samples: used in place where they are stored as the core reads them, converted otherwise.

use std::sync::Arc;

use flattop_core::finding::Finding;
use rayon::prelude::*;

use crate::bytes::Bytes;
use crate::capture::{Samples, Stored};

/// How one number is stored. `big` is high byte first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Number {
    F32 {
        big: bool,
    },
    F64 {
        big: bool,
    },
    I8,
    U8,
    I16 {
        big: bool,
    },
    U16 {
        big: bool,
    },
    /// 24 bits, low byte first.
    I24,
    I32 {
        big: bool,
    },
    U32 {
        big: bool,
    },
    I64 {
        big: bool,
    },
    U64 {
        big: bool,
    },
    /// Unsigned byte with zero at 128, as in WAV.
    Offset8,
}

impl Number {
    /// Bytes for each number.
    pub(crate) fn size(self) -> usize {
        match self {
            Self::I8 | Self::U8 | Self::Offset8 => 1,
            Self::I16 { .. } | Self::U16 { .. } => 2,
            Self::I24 => 3,
            Self::F32 { .. } | Self::I32 { .. } | Self::U32 { .. } => 4,
            Self::F64 { .. } | Self::I64 { .. } | Self::U64 { .. } => 8,
        }
    }
}

/// `count` numbers, `step` bytes apart, from byte `at` on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Strided {
    pub(crate) at: usize,
    pub(crate) step: usize,
    pub(crate) count: usize,
    pub(crate) number: Number,
}

/// A loaded column.
pub(crate) struct Loaded {
    pub(crate) samples: Samples,
    /// Samples that are NaN (infinite ones were made NaN), and the first of them, from 0.
    pub(crate) missing: usize,
    pub(crate) first_missing: usize,
    /// Whether integers beyond 2^53 lost digits.
    pub(crate) inexact: bool,
}

/// Numbers for each task when a column is scanned or converted.
const PIECE: usize = 1 << 18;

/// Loads a column. All bytes of it must be there.
pub(crate) fn load(bytes: &Arc<Bytes>, column: &Strided) -> Loaded {
    let native = cfg!(target_endian = "big");
    let stored = match column.number {
        Number::F32 { big } if big == native => Some(Stored::F32),
        Number::F64 { big } if big == native => Some(Stored::F64),
        Number::I16 { big } if big == native => Some(Stored::I16),
        _ => None,
    };
    if column.step == column.number.size()
        && let Some(stored) = stored
        && let Some(samples) =
            Samples::in_place(bytes, column.at..column.at + column.count * column.step, stored)
    {
        let odd = scan(&samples);
        if odd.infinite == 0 {
            return Loaded { samples, missing: odd.nan, first_missing: odd.first, inexact: false };
        }
    }
    convert(bytes, column)
}

/// A column in double precision.
pub(crate) fn doubles(bytes: &[u8], column: &Strided) -> Vec<f64> {
    let mut all = vec![0.0; column.count];
    each(bytes, column, &mut all, value);
    all
}

fn convert(bytes: &[u8], column: &Strided) -> Loaded {
    let finite = |v: f64| if v.is_finite() { v } else { f64::NAN };
    let samples = match column.number {
        Number::I8 | Number::U8 | Number::Offset8 | Number::I16 { .. } => {
            let mut all = vec![0i16; column.count];
            each(bytes, column, &mut all, |number, b| value(number, b) as i16); // all of these fit in 16 bits
            Samples::I16(all)
        }
        Number::U16 { .. } | Number::I24 | Number::F32 { .. } => {
            let mut all = vec![0f32; column.count];
            each(bytes, column, &mut all, |number, b| finite(value(number, b)) as f32); // exact: at most 24 bits
            Samples::F32(all)
        }
        _ => {
            let mut all = Samples::zeroed(column.count);
            each(bytes, column, all.doubles_mut(), |number, b| finite(value(number, b)));
            all
        }
    };
    let odd = scan(&samples);
    let wide = matches!(column.number, Number::I64 { .. } | Number::U64 { .. });
    let beyond = |v: &f64| v.abs() > 9_007_199_254_740_992.0;
    let inexact = wide && matches!(samples.raw(), flattop_core::samples::Raw::F64(s) if s.iter().any(beyond));
    Loaded { samples, missing: odd.nan, first_missing: odd.first, inexact }
}

/// Fills `out` from the column, piece by piece on all cores.
fn each<T: Send>(bytes: &[u8], column: &Strided, out: &mut [T], read: impl Fn(Number, &[u8]) -> T + Sync) {
    let size = column.number.size();
    out.par_chunks_mut(PIECE).enumerate().for_each(|(piece, out)| {
        let from = column.at + piece * PIECE * column.step;
        for (k, place) in out.iter_mut().enumerate() {
            let at = from + k * column.step;
            *place = read(column.number, &bytes[at..at + size]);
        }
    });
}

/// One stored number; `b` has its size.
#[inline(always)]
pub(crate) fn value(number: Number, b: &[u8]) -> f64 {
    fn fixed<const N: usize>(b: &[u8], big: bool) -> [u8; N] {
        let mut bytes = [0; N];
        bytes.copy_from_slice(b);
        if big {
            bytes.reverse();
        }
        bytes
    }
    match number {
        Number::F32 { big } => f64::from(f32::from_le_bytes(fixed(b, big))),
        Number::F64 { big } => f64::from_le_bytes(fixed(b, big)),
        Number::I8 => f64::from(b[0] as i8),
        Number::U8 => f64::from(b[0]),
        Number::Offset8 => f64::from(b[0]) - 128.0,
        Number::I16 { big } => f64::from(i16::from_le_bytes(fixed(b, big))),
        Number::U16 { big } => f64::from(u16::from_le_bytes(fixed(b, big))),
        Number::I24 => f64::from(i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8),
        Number::I32 { big } => f64::from(i32::from_le_bytes(fixed(b, big))),
        Number::U32 { big } => f64::from(u32::from_le_bytes(fixed(b, big))),
        Number::I64 { big } => i64::from_le_bytes(fixed(b, big)) as f64,
        Number::U64 { big } => u64::from_le_bytes(fixed(b, big)) as f64,
    }
}

/// Samples that are no finite numbers.
#[derive(Clone, Copy, Debug)]
struct Odd {
    nan: usize,
    infinite: usize,
    first: usize,
}

fn scan(samples: &Samples) -> Odd {
    use flattop_core::samples::Raw;
    /// `x - x` is zero for finite numbers only, and the sum of zeros vectorises.
    fn piece<T: Copy>(index: usize, part: &[T], wide: impl Fn(T) -> f64, all_finite: bool) -> Odd {
        let mut odd = Odd { nan: 0, infinite: 0, first: usize::MAX };
        if all_finite {
            return odd;
        }
        for (k, v) in part.iter().map(|v| wide(*v)).enumerate() {
            if !v.is_finite() {
                odd.first = odd.first.min(index * PIECE + k);
                odd.nan += usize::from(v.is_nan());
                odd.infinite += usize::from(v.is_infinite());
            }
        }
        odd
    }
    let join = |a: Odd, b: Odd| Odd {
        nan: a.nan + b.nan,
        infinite: a.infinite + b.infinite,
        first: a.first.min(b.first),
    };
    let none = || Odd { nan: 0, infinite: 0, first: usize::MAX };
    match samples.raw() {
        Raw::I16(_) => none(),
        Raw::F32(s) => s
            .par_chunks(PIECE)
            .enumerate()
            .map(|(i, p)| {
                // The exponent bits are all ones for infinity and NaN (IEEE 754).
                let finite = p.iter().fold(true, |ok, v| ok & (v.to_bits() & 0x7f80_0000 != 0x7f80_0000));
                piece(i, p, f64::from, finite)
            })
            .reduce(none, join),
        Raw::F64(s) => s
            .par_chunks(PIECE)
            .enumerate()
            .map(|(i, p)| {
                let finite = p
                    .iter()
                    .fold(true, |ok, v| ok & (v.to_bits() & 0x7ff0_0000_0000_0000 != 0x7ff0_0000_0000_0000));
                piece(i, p, |v| v, finite)
            })
            .reduce(none, join),
    }
}

/// Findings about a loaded column; `at` counts columns from 0.
pub(crate) fn note(at: usize, loaded: &Loaded, findings: &mut Vec<Finding>) {
    if loaded.missing > 0 {
        let (count, first) = (loaded.missing, loaded.first_missing + 1);
        let (s, verb) = if count == 1 { ("", "is") } else { ("s", "are") };
        let message = format!(
            "{count} sample{s} of column {} {verb} missing (not a number or infinite), first sample {first}",
            at + 1
        );
        findings.push(Finding::warning(
            "missing-samples",
            message,
            "if the screen was overdriven, use a coarser range",
        ));
    }
    if loaded.inexact {
        let message =
            format!("whole numbers beyond 2^53 in column {} were rounded to double precision", at + 1);
        findings.push(Finding::note("integers-rounded", message, ""));
    }
}
