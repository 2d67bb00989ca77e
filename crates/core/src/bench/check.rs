//! What a value may be. Every store and every import asks here, so that a bench is never wrong by itself.

use thiserror::Error;

use super::entities::{GroundAccessory, Input, Moment, Oscilloscope, Pairing, Probe, Range, Toleranced};
use crate::chain::ResponseShape;
use crate::rating::{Rating, RatingError, ValueKind};

/// Longest label, serial number or name of a person, in letters.
const LONGEST_LINE: usize = 200;
/// Longest remark, in letters.
const LONGEST_NOTE: usize = 10_000;
/// Hundred years.
const MOST_DAYS: u32 = 36_525;
/// The years 0001 to 9999, which RFC 3339 can write, less a day at each end for the offset.
const TIMES_MS: std::ops::Range<i64> = -62_135_510_400_000..253_402_214_400_000;

/// Why an entity cannot be what it says. `key` is the field's name as people type it.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum EntityError {
    /// Not above zero, or not finite.
    #[error("{key} is {value}: give a finite value above zero, or leave it out when it is not known")]
    NotPositive {
        /// The field.
        key: &'static str,
        /// Its value, SI.
        value: f64,
    },
    /// Below zero, or not finite.
    #[error(
        "{key} is {value}: give a finite value that is not below zero, or leave it out when it is not known"
    )]
    Negative {
        /// The field.
        key: &'static str,
        /// Its value, SI.
        value: f64,
    },
    /// Outside its limits.
    #[error("{key} is {value}: give a value from {least} to {most}")]
    Outside {
        /// The field.
        key: &'static str,
        /// Its value.
        value: f64,
        /// Least.
        least: f64,
        /// Most.
        most: f64,
    },
    /// A tolerance as large as the value.
    #[error("the tolerance of {key} is {tolerance} on a value of {value}: give one below the value itself")]
    Tolerance {
        /// The field.
        key: &'static str,
        /// The value, SI.
        value: f64,
        /// The tolerance, SI.
        tolerance: f64,
    },
    /// The ends the wrong way round.
    #[error("{key} runs from {low} to {high}: write the smaller end first")]
    Order {
        /// The field.
        key: &'static str,
        /// The first end.
        low: f64,
        /// The second end.
        high: f64,
    },
    /// A table that is no rating.
    #[error(transparent)]
    Rating(#[from] RatingError),
    /// Two things of one name.
    #[error("{key} \"{name}\" is there twice: give each its own name")]
    Twice {
        /// The field.
        key: &'static str,
        /// The name.
        name: String,
    },
    /// Text that cannot be kept.
    #[error("{key} holds {problem}: {remedy}")]
    Text {
        /// The field.
        key: &'static str,
        /// What is wrong.
        problem: String,
        /// What to do.
        remedy: &'static str,
    },
    /// A time that RFC 3339 cannot write.
    #[error("{key} is outside the years 1 to 9999 or its offset is beyond 23:59: give a time in RFC 3339")]
    Time {
        /// The field.
        key: &'static str,
    },
}

impl EntityError {
    /// The field that it is about.
    pub fn key(&self) -> &'static str {
        match self {
            Self::NotPositive { key, .. }
            | Self::Negative { key, .. }
            | Self::Outside { key, .. }
            | Self::Tolerance { key, .. }
            | Self::Order { key, .. }
            | Self::Twice { key, .. }
            | Self::Text { key, .. }
            | Self::Time { key } => key,
            Self::Rating(_) => "voltage_rating",
        }
    }
}

impl Oscilloscope {
    /// Whether every value is possible, those of its inputs included.
    ///
    /// # Errors
    /// The first one that is not.
    pub fn check(&self) -> Result<(), EntityError> {
        line("label", &self.label)?;
        line("serial", &self.serial)?;
        note("note", &self.note)?;
        names("input", self.inputs.iter().map(|i| i.name.as_str()))?;
        self.inputs.iter().try_for_each(Input::check)
    }
}

impl Input {
    /// Whether every value is possible.
    ///
    /// # Errors
    /// The first one that is not.
    pub fn check(&self) -> Result<(), EntityError> {
        line("label", &self.label)?;
        toleranced("resistance", self.resistance_ohm)?;
        toleranced("capacitance", self.capacitance_f)?;
        positive("bandwidth", self.bandwidth_hz)?;
        if let Some(ResponseShape::MaximallyFlat(order)) = self.response {
            outside("response", f64::from(order), 1.0, 10.0)?;
        }
        positive("rated_voltage", self.rated_voltage_v)?;
        note("note", &self.note)
    }
}

impl Probe {
    /// Whether every value is possible.
    ///
    /// # Errors
    /// The first one that is not.
    pub fn check(&self) -> Result<(), EntityError> {
        line("label", &self.label)?;
        line("serial", &self.serial)?;
        if let Some(ratio) = self.ratio {
            outside("ratio", ratio, 1.0, 1e6)?;
        }
        toleranced("tip_resistance", self.tip_resistance_ohm)?;
        toleranced("tip_capacitance", self.tip_capacitance_f)?;
        not_negative("series_resistance", self.series_resistance_ohm)?;
        not_negative("body_capacitance", self.body_capacitance_f)?;
        range("compensation_range", self.compensation_range_f)?;
        positive("bandwidth", self.bandwidth_hz)?;
        not_negative("cable.length", self.cable.length_m)?;
        not_negative("cable.capacitance_per_metre", self.cable.capacitance_f_per_m)?;
        not_negative("cable.inductance_per_metre", self.cable.inductance_h_per_m)?;
        not_negative("cable.resistance_per_metre", self.cable.resistance_ohm_per_m)?;
        not_negative("box.series_resistance", self.compensation_box.series_resistance_ohm)?;
        not_negative("box.capacitance", self.compensation_box.capacitance_f)?;
        if !self.voltage_rating.is_empty() {
            // Where the kind is not known, only the form of the table is checked.
            let kind = self.voltage_rating_kind.unwrap_or(ValueKind::Peak);
            Rating::new(kind, self.voltage_rating.clone())?;
        }
        positive("category_voltage", self.category_voltage_v)?;
        names("ground", self.ground_accessories.iter().map(|g| g.name.as_str()))?;
        self.ground_accessories.iter().try_for_each(GroundAccessory::check)?;
        note("note", &self.note)
    }
}

impl GroundAccessory {
    /// Whether every value is possible.
    ///
    /// # Errors
    /// The first one that is not.
    pub fn check(&self) -> Result<(), EntityError> {
        line("ground label", &self.label)?;
        positive("ground length", self.length_m)?;
        positive("ground inductance", self.inductance_h)
    }
}

impl Pairing {
    /// Whether every value is possible.
    ///
    /// # Errors
    /// The first one that is not.
    pub fn check(&self) -> Result<(), EntityError> {
        if let Some(tolerance) = self.tolerance {
            positive("tolerance", Some(tolerance))?;
            outside("tolerance", tolerance, 0.0, 1.0)?;
        }
        if let Some(days) = self.recheck_interval_days {
            outside("recheck_interval", f64::from(days), 1.0, f64::from(MOST_DAYS))?;
        }
        line("made_by", &self.made_by)?;
        self.made_at.check("made_at")?;
        match &self.voided {
            None => Ok(()),
            Some(voided) => {
                voided.at.check("voided_at")?;
                note("voided_why", &Some(voided.why.clone()))
            }
        }
    }
}

impl Moment {
    /// Whether RFC 3339 can write it.
    ///
    /// # Errors
    /// Year outside 1 to 9999, or offset of a day and more.
    pub fn check(&self, key: &'static str) -> Result<(), EntityError> {
        if TIMES_MS.contains(&self.unix_ms) && self.offset_minutes.abs() < 24 * 60 {
            Ok(())
        } else {
            Err(EntityError::Time { key })
        }
    }
}

fn positive(key: &'static str, value: Option<f64>) -> Result<(), EntityError> {
    match value {
        Some(value) if !(value > 0.0 && value.is_finite()) => Err(EntityError::NotPositive { key, value }),
        _ => Ok(()),
    }
}

fn not_negative(key: &'static str, value: Option<f64>) -> Result<(), EntityError> {
    match value {
        // A negative nil would not survive being written and read.
        Some(value) if !(value >= 0.0 && value.is_finite() && value.is_sign_positive()) => {
            Err(EntityError::Negative { key, value })
        }
        _ => Ok(()),
    }
}

fn outside(key: &'static str, value: f64, least: f64, most: f64) -> Result<(), EntityError> {
    if (least..=most).contains(&value) {
        Ok(())
    } else {
        Err(EntityError::Outside { key, value, least, most })
    }
}

fn toleranced(key: &'static str, quantity: Option<Toleranced>) -> Result<(), EntityError> {
    let Some(Toleranced { value, tolerance }) = quantity else { return Ok(()) };
    positive(key, Some(value))?;
    not_negative(key, tolerance)?;
    match tolerance {
        Some(tolerance) if value <= tolerance => Err(EntityError::Tolerance { key, value, tolerance }),
        _ => Ok(()),
    }
}

fn range(key: &'static str, range: Option<Range>) -> Result<(), EntityError> {
    let Some(Range { low, high }) = range else { return Ok(()) };
    not_negative(key, Some(low))?;
    positive(key, Some(high))?;
    if low <= high { Ok(()) } else { Err(EntityError::Order { key, low, high }) }
}

fn line(key: &'static str, text: &Option<String>) -> Result<(), EntityError> {
    checked(key, text, LONGEST_LINE, |c| c.is_control())
}

fn note(key: &'static str, text: &Option<String>) -> Result<(), EntityError> {
    checked(key, text, LONGEST_NOTE, |c| c.is_control() && c != '\n' && c != '\t')
}

fn checked(
    key: &'static str,
    text: &Option<String>,
    longest: usize,
    refused: fn(char) -> bool,
) -> Result<(), EntityError> {
    let Some(text) = text else { return Ok(()) };
    let wrong = |problem, remedy| Err(EntityError::Text { key, problem, remedy });
    if text.trim().is_empty() {
        return wrong("nothing but blanks".to_owned(), "leave it out when there is nothing to say");
    }
    if let Some(letter) = text.chars().find(|c| refused(*c)) {
        return wrong(format!("the control character {letter:?}"), "write plain text");
    }
    let length = text.chars().count();
    if longest < length {
        return wrong(format!("{length} letters, more than {longest}"), "shorten it");
    }
    Ok(())
}

fn names<'a>(key: &'static str, names: impl Iterator<Item = &'a str>) -> Result<(), EntityError> {
    let mut seen = std::collections::BTreeSet::new();
    for name in names {
        if !seen.insert(name) {
            return Err(EntityError::Twice { key, name: name.to_owned() });
        }
    }
    Ok(())
}
