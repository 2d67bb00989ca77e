//! Which columns are the probe and the reference.

use crate::ReadOptions;
use crate::error::ReadError;

/// What a column is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Time,
    /// Another time column besides the one that is used.
    ExtraTime,
    Index,
    /// Nothing but missing values in the first lines.
    Empty,
    Value,
}

/// Positions, from 0, of the chosen columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Chosen {
    pub(crate) probe: usize,
    pub(crate) reference: Option<usize>,
}

/// Picks the columns that `options` ask for. `names` may be shorter than `kinds`.
pub(crate) fn select(
    file: &str,
    options: &ReadOptions,
    kinds: &[Kind],
    names: &[Option<String>],
) -> Result<Chosen, ReadError> {
    let listing = || {
        let one = |(i, kind): (usize, &Kind)| {
            let name = names.get(i).cloned().flatten().map(|n| format!(" \"{n}\"")).unwrap_or_default();
            let what = match kind {
                Kind::Time | Kind::ExtraTime => " (time)",
                Kind::Index => " (sample number)",
                Kind::Empty => " (empty)",
                Kind::Value => "",
            };
            format!("{}{name}{what}", i + 1)
        };
        let mut shown: Vec<String> = kinds.iter().enumerate().take(20).map(one).collect();
        if kinds.len() > 20 {
            shown.push(format!("… {}", kinds.len()));
        }
        shown.join(", ")
    };
    let check = |option: &'static str, asked: usize| {
        let fail = |reason: String| ReadError::Column {
            file: file.to_owned(),
            option,
            asked,
            reason,
            listing: listing(),
        };
        let kind = asked.checked_sub(1).and_then(|i| kinds.get(i));
        match kind {
            None if kinds.len() == 1 => Err(fail("the file has one column only".into())),
            None => Err(fail(format!("the file has columns 1 to {}", kinds.len()))),
            Some(Kind::Time | Kind::ExtraTime) => Err(fail("this is a time column, not a voltage".into())),
            Some(Kind::Index) => Err(fail("this column counts samples, it is not a voltage".into())),
            Some(Kind::Empty) => Err(fail("this column has no values".into())),
            Some(Kind::Value) => Ok(asked - 1),
        }
    };
    let reference = options.reference.map(|asked| check("--reference", asked)).transpose()?;
    let probe = match options.column {
        Some(asked) => check("--column", asked)?,
        None => {
            let first = |skip: Option<usize>| {
                kinds.iter().enumerate().position(|(i, k)| *k == Kind::Value && Some(i) != skip)
            };
            let found = first(reference).or_else(|| first(None));
            found.ok_or_else(|| ReadError::Column {
                file: file.to_owned(),
                option: "--column",
                asked: 1,
                reason: "the file has no column of voltages".into(),
                listing: listing(),
            })?
        }
    };
    if let Some(asked) = options.reference.filter(|_| reference == Some(probe)) {
        return Err(ReadError::Column {
            file: file.to_owned(),
            option: "--reference",
            asked,
            reason: "the reference is the probe's own column".into(),
            listing: listing(),
        });
    }
    Ok(Chosen { probe, reference })
}

/// The interval given by the caller, checked.
pub(crate) fn given_interval(file: &str, options: &ReadOptions) -> Result<Option<f64>, ReadError> {
    match options.interval_s {
        Some(s) if !(s > 0.0 && s.is_finite()) => {
            Err(ReadError::BadInterval { file: file.to_owned(), found: format!("{s} s") })
        }
        given => Ok(given),
    }
}

/// Least number of points that is of any use.
pub(crate) const LEAST_POINTS: usize = 16;

/// Fails when there are fewer than [`LEAST_POINTS`].
pub(crate) fn enough_points(file: &str, found: usize) -> Result<(), ReadError> {
    if found < LEAST_POINTS {
        return Err(ReadError::TooFewPoints {
            file: file.to_owned(),
            expected: LEAST_POINTS,
            found,
            remedy: "export a longer part of the record".into(),
        });
    }
    Ok(())
}
