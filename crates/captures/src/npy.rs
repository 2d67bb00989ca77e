//! NPY arrays: one column, or rows of columns, of real numbers.
//!
//! Layout after the NumPy 2.4 format manual: 93 4E 55 4D 50 59, major and minor version, length of the header text in two
//! bytes (version 1) or four (2 and 3), little-endian, then a Python dictionary with `descr`, `fortran_order`, `shape`.

use std::sync::Arc;

use flattop_core::finding::Finding;

use crate::axis::{self, Fault, Quantum};
use crate::bytes::Bytes;
use crate::capture::{Column, Contents};
use crate::columns::{self, Number, Strided};
use crate::error::ReadError;
use crate::select::{self, Kind};
use crate::units::{self, Unit};
use crate::widen::{ArrayBuild, Build};
use crate::{ReadOptions, text};

mod header;

/// First bytes of an NPY file.
pub(crate) const MAGIC: &[u8] = b"\x93NUMPY";
/// A first axis of at most this length may be the columns.
const FEW_COLUMNS: usize = 16;

/// Bytes of the array that `start` begins, header included; `None` while the header is not whole.
///
/// # Errors
/// The header is none.
pub(crate) fn length(file: &str, start: &[u8]) -> Result<Option<u64>, ReadError> {
    let announced = match start.get(MAGIC.len()..) {
        Some([1, 0, a, b, ..]) => Some(10 + usize::from(u16::from_le_bytes([*a, *b]))),
        Some([2 | 3, 0, a, b, c, d, ..]) => Some(12 + u32::from_le_bytes([*a, *b, *c, *d]) as usize),
        Some([1..=3, 0, ..] | [1..=3] | []) | None => None,
        // Another version: the reader says so.
        Some(_) => Some(0),
    };
    // A header that claims to be endless is refused at once, not waited for.
    if announced.is_none_or(|n| n > start.len() && n <= header::LONGEST + 12) {
        return Ok(None);
    }
    let header = header::read(file, start)?;
    let size = header.number.size() as u64;
    let data = header.shape.iter().try_fold(size, |n, d| n.checked_mul(*d as u64));
    // What no machine holds is as long as can be said.
    Ok(Some(data.unwrap_or(u64::MAX).saturating_add(header.data_at as u64)))
}

/// Reads an NPY file.
pub(crate) fn read(file: &str, bytes: &Arc<Bytes>, options: &ReadOptions) -> Result<Contents, ReadError> {
    let given = select::given_interval(file, options)?;
    let header = header::read(file, bytes)?;
    let mut findings = Vec::new();
    let size = header.number.size();
    // The product of the shape is never trusted for an allocation: it must agree with the bytes that are there.
    let data = &bytes[header.data_at..];
    let wanted = header.shape.iter().try_fold(size, |n, d| n.checked_mul(*d));
    if wanted.is_none_or(|w| w > data.len()) {
        let shape = header.shape.iter().map(usize::to_string).collect::<Vec<_>>().join(" × ");
        return Err(ReadError::Byte {
            file: file.to_owned(),
            byte: bytes.len() as u64,
            expected: format!("{shape} numbers of {size} bytes from byte {} on", header.data_at),
            found: format!("the end of the file after {} bytes of them", data.len()),
            remedy: "the file is cut short; save or copy it again".into(),
        });
    }
    if wanted.is_some_and(|w| w < data.len()) {
        let message = format!("{} bytes behind the array are not used", data.len() - wanted.unwrap_or(0));
        findings.push(Finding::warning("trailing-bytes", message, "save each array in a file of its own"));
    }
    let (points, columns, along) = match *header.shape {
        [n] => (n, 1, 1),
        [a, b] => {
            let across = a <= FEW_COLUMNS && b > 4 * a.max(1);
            if across {
                let message =
                    format!("the array is {a} × {b}; its second axis is taken as time, its first as columns");
                findings.push(Finding::note("second-axis-is-time", message, ""));
            }
            let (points, columns) = if across { (b, a) } else { (a, b) };
            // In memory the last axis runs fastest, in Fortran order the first.
            let time_is_fast = across != header.fortran_order;
            (points, columns, if time_is_fast { 1 } else { columns })
        }
        _ => {
            return Err(header::fault(
                file,
                header.shape_at,
                "a shape of one or two axes",
                format!("{} axes", header.shape.len()),
                "save samples as an array of N values or of N rows and one column for each channel",
            ));
        }
    };
    if columns == 0 {
        return Err(ReadError::TooFewPoints {
            file: file.to_owned(),
            expected: select::LEAST_POINTS,
            found: 0,
            remedy: "the array has no column; save it again".into(),
        });
    }
    select::enough_points(file, points)?;
    let strided = |column: usize| {
        let first = if along == 1 { column * points } else { column };
        Strided {
            at: header.data_at + first * size,
            step: along * size,
            count: points,
            number: header.number,
        }
    };
    let mut kinds = vec![Kind::Value; columns];
    let axis = match (columns > 1, given) {
        (false, None) => {
            let found = "an array of one column holds no time".to_owned();
            return Err(ReadError::NoInterval { file: file.to_owned(), found });
        }
        (false, Some(_)) => None,
        (true, given) => time_axis(file, bytes, &strided(0), columns, given, &mut kinds, &mut findings)?,
    };
    let chosen = select::select(file, options, &kinds, &[])?;
    let mut column = |at: usize| -> Column {
        let loaded = columns::load(bytes, &strided(at));
        columns::note(at, &loaded, &mut findings);
        let scale = text::value_unit(at, None, None, &mut findings);
        Column { number: at + 1, name: None, unit: None, samples: loaded.samples, scale }
    };
    let probe = column(chosen.probe);
    let reference = chosen.reference.map(&mut column);
    let (start_s, interval_s) = match (given, axis) {
        (Some(interval_s), _) => (0.0, interval_s),
        (None, Some(axis)) => (axis.start, axis.interval),
        (None, None) => {
            let found = format!("the first of the {columns} columns does not rise evenly as time does");
            return Err(ReadError::NoInterval { file: file.to_owned(), found });
        }
    };
    let across = matches!(*header.shape, [a, b] if (a, b) != (points, columns));
    let build = ArrayBuild {
        at: header.data_at,
        number: header.number,
        scale: 1.0,
        planar: along == 1 && (columns > 1 || header.shape.len() == 1),
        across,
    };
    let build = Build::Array(build);
    Ok(Contents { start_s, interval_s, points, columns, probe, reference, findings, build })
}

/// Whether the first column is time; then its kind is set.
fn time_axis(
    file: &str,
    bytes: &Arc<Bytes>,
    first: &Strided,
    columns: usize,
    given: Option<f64>,
    kinds: &mut [Kind],
    findings: &mut Vec<Finding>,
) -> Result<Option<axis::Axis>, ReadError> {
    // A look at the start spares reading a column that is none of time.
    let quantum = match first.number {
        Number::F32 { .. } => Quantum::SINGLE,
        Number::F64 { .. } => Quantum::DOUBLE,
        _ => Quantum { most_significant: 19, least_power: 0 },
    };
    let few = Strided { count: first.count.min(1000), ..*first };
    let start = columns::doubles(bytes, &few);
    let rising = start.windows(2).filter(|w| w[0] < w[1]).count();
    let looks_like_time = rising * 4 >= (start.len() - 1) * 3 && start.iter().all(|t| t.is_finite());
    if !looks_like_time {
        return Ok(None);
    }
    if given.is_some() {
        if axis::axis(&start, quantum).is_ok() {
            kinds[0] = Kind::Time;
            findings.push(Finding::note(
                "time-column-by-numbers",
                format!("column 1 of {columns} is taken as time: it rises evenly"),
                "",
            ));
            findings.push(Finding::warning(
                "interval-overrides-time",
                "the file has a time column, but the given interval is used",
                "leave out --interval to use the file's own",
            ));
        }
        return Ok(None);
    }
    let times = columns::doubles(bytes, first);
    match axis::axis(&times, quantum) {
        Ok(found) => {
            kinds[0] = Kind::Time;
            findings.push(Finding::note(
                "time-column-by-numbers",
                format!("column 1 of {columns} is taken as time in seconds: it rises evenly"),
                "",
            ));
            if found.rounded {
                let message = format!(
                    "time is stored more coarsely than the interval; the interval {} comes from the whole record",
                    units::seconds(found.interval, 7)
                );
                findings.push(Finding::note("time-rounded", message, "save time in double precision"));
            }
            Ok(Some(found))
        }
        Err(Fault::Uneven { .. }) => Ok(None),
        Err(fault) => {
            let (index, expected, found, remedy) =
                text::time_fault_words(fault, Unit::SECOND, &|index| format!("sample {}", index + 1));
            Err(ReadError::Sample {
                file: file.to_owned(),
                sample: index as u64 + 1,
                expected,
                found,
                remedy,
            })
        }
    }
}

#[cfg(test)]
mod tests;
