//! Data of commands: numbers with suffixes, words, lists of channels; errors are numbers of SCPI-1999, volume 2, 21.8.9.

use flattop_scpi::message::Datum;

/// Number of an error.
pub(super) type Error = i32;

pub(super) const DATA_TYPE: Error = -104;
pub(super) const NOT_ALLOWED: Error = -108;
pub(super) const MISSING: Error = -109;
pub(super) const INVALID_SUFFIX: Error = -131;
pub(super) const SUFFIX_NOT_ALLOWED: Error = -138;
pub(super) const OUT_OF_RANGE: Error = -222;
pub(super) const ILLEGAL_VALUE: Error = -224;

/// What a number may be.
#[derive(Clone, Copy, Debug)]
pub(super) struct Numeric {
    pub(super) least: f64,
    pub(super) most: f64,
    pub(super) default: f64,
    /// Whether it is a time, with suffixes of seconds.
    pub(super) is_time: bool,
}

impl Numeric {
    /// A number, or MINimum, MAXimum, DEFault.
    pub(super) fn read(&self, datum: &Datum) -> Result<f64, Error> {
        let value = match datum {
            Datum::Number(value) => *value,
            Datum::Word(word) => match self.word(word) {
                Some(value) => value,
                None => self.with_suffix(word)?,
            },
            _ => return Err(DATA_TYPE),
        };
        if (self.least..=self.most).contains(&value) { Ok(value) } else { Err(OUT_OF_RANGE) }
    }

    fn word(&self, word: &str) -> Option<f64> {
        [("MINimum", self.least), ("MAXimum", self.most), ("DEFault", self.default)]
            .into_iter()
            .find(|(print, _)| is_word(word, print))
            .map(|(_, value)| value)
    }

    fn with_suffix(&self, word: &str) -> Result<f64, Error> {
        let letters = word.bytes().rev().take_while(u8::is_ascii_alphabetic).count();
        let (number, suffix) = word.split_at(word.len() - letters);
        let value = flattop_scpi::numbers::number(number.as_bytes()).ok_or(DATA_TYPE)?;
        if !self.is_time {
            return Err(SUFFIX_NOT_ALLOWED);
        }
        let factor = match suffix.to_ascii_uppercase().as_str() {
            "S" => 1.0,
            "MS" => 1e-3,
            "US" => 1e-6,
            "NS" => 1e-9,
            _ => return Err(INVALID_SUFFIX),
        };
        Ok(value * factor)
    }
}

/// Whether a word is a printed one, in its long or short form.
pub(super) fn is_word(word: &str, print: &str) -> bool {
    let short: String = print.chars().filter(|c| !c.is_ascii_lowercase()).collect();
    word.eq_ignore_ascii_case(print) || word.eq_ignore_ascii_case(&short)
}

/// The only datum.
pub(super) fn one(data: &[Datum]) -> Result<&Datum, Error> {
    match data {
        [] => Err(MISSING),
        [one] => Ok(one),
        _ => Err(NOT_ALLOWED),
    }
}

/// No data at all.
pub(super) fn none(data: &[Datum]) -> Result<(), Error> {
    if data.is_empty() { Ok(()) } else { Err(NOT_ALLOWED) }
}

/// A whole number.
pub(super) fn whole(data: &[Datum], least: u32, most: u32) -> Result<u32, Error> {
    let numeric =
        Numeric { least: f64::from(least), most: f64::from(most), default: f64::from(least), is_time: false };
    // Within the range by now, so that nothing is cut.
    Ok(numeric.read(one(data)?)?.round() as u32)
}

/// The only channel of a list, `(@2)`.
pub(super) fn channel(data: &[Datum], most: usize) -> Result<usize, Error> {
    let Datum::Expression(text) = one(data)? else { return Err(DATA_TYPE) };
    let inside = text.strip_prefix("(@").and_then(|rest| rest.strip_suffix(')')).ok_or(ILLEGAL_VALUE)?;
    let number: usize = inside.trim().parse().map_err(|_| ILLEGAL_VALUE)?;
    if (1..=most).contains(&number) { Ok(number) } else { Err(OUT_OF_RANGE) }
}
