//! Rated voltage against frequency, and the cautions that go with a signal.
//!
//! A rating is a table of points. Between them it is a straight line over log frequency and log voltage, below the first it is
//! flat, and **above the last there is none**: nothing here extends a rating upwards.
//!
//! [`survey`] checks a signal against the ratings of probe and input, and says what is dangerous about the measurement. Nothing
//! here replaces local codes and the judgement of people licensed for such work; the messages say so where it matters.
//!
//! Limits of what is hazardous live: IEC 61010-031, 2nd edition (publisher's abstract): 30 V rms, 42.4 V peak, 60 V dc.

mod cautions;
pub mod derating;
mod facts;
mod survey;

pub use facts::{Basis, Component, SignalFacts, SignalFault, signal_facts};
pub use survey::{
    CategoryRating, Check, Circuit, MeasurementCategory, NEAR_RATING, Quantity, RatedPart, Supply, Survey,
    survey,
};

/// What the voltages of a rating mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ValueKind {
    /// Largest magnitude, dc included.
    Peak,
    /// Root mean square, dc included.
    Rms,
    /// A steady voltage only: nothing is said of any frequency above zero.
    Dc,
}

impl ValueKind {
    /// The value that a rating of this kind is compared with, for a sine of `amplitude_v`.
    pub fn of_sine(self, amplitude_v: f64) -> f64 {
        match self {
            ValueKind::Peak | ValueKind::Dc => amplitude_v,
            ValueKind::Rms => amplitude_v * std::f64::consts::FRAC_1_SQRT_2,
        }
    }

    /// As written behind the unit.
    pub fn word(self) -> &'static str {
        match self {
            ValueKind::Peak => "peak",
            ValueKind::Rms => "rms",
            ValueKind::Dc => "dc",
        }
    }
}

/// One point of a rating.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatingPoint {
    /// Hz; 0 is allowed for the first point.
    pub frequency_hz: f64,
    /// Rated voltage there, V.
    pub voltage_v: f64,
}

/// Rated voltage against frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct Rating {
    kind: ValueKind,
    points: Vec<RatingPoint>,
}

/// A table that is no rating.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum RatingError {
    /// No points.
    #[error("the voltage rating has no points: give at least one frequency with its rated voltage")]
    Empty,
    /// A voltage that is not above zero.
    #[error("rated voltage {voltage_v} V at {frequency_hz} Hz is not above zero: correct it")]
    Voltage {
        /// Hz.
        frequency_hz: f64,
        /// V.
        voltage_v: f64,
    },
    /// Frequencies that do not rise, are negative or not finite.
    #[error(
        "frequency {frequency_hz} Hz of the voltage rating does not rise from the point before: sort the points and keep each once"
    )]
    Frequency {
        /// Hz.
        frequency_hz: f64,
    },
    /// A dc rating with points above 0 Hz.
    #[error(
        "a dc rating holds at 0 Hz only, not at {frequency_hz} Hz: give peak or rms values for frequencies"
    )]
    DcAboveZero {
        /// Hz.
        frequency_hz: f64,
    },
}

/// What a rating says at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Allowed {
    /// This much, V.
    UpTo(f64),
    /// Nothing: the table ends before.
    NotRated {
        /// Frequency of the last point, Hz.
        last_hz: f64,
    },
}

impl Rating {
    /// A rating from its points, in the order of rising frequency.
    ///
    /// # Errors
    /// Tables without points, with frequencies that do not rise, or with voltages that are not above zero.
    pub fn new(kind: ValueKind, points: Vec<RatingPoint>) -> Result<Self, RatingError> {
        if points.is_empty() {
            return Err(RatingError::Empty);
        }
        let mut before = -1.0;
        for &RatingPoint { frequency_hz, voltage_v } in &points {
            if !(voltage_v > 0.0 && voltage_v.is_finite()) {
                return Err(RatingError::Voltage { frequency_hz, voltage_v });
            }
            if !(frequency_hz >= 0.0 && frequency_hz > before && frequency_hz.is_finite()) {
                return Err(RatingError::Frequency { frequency_hz });
            }
            if kind == ValueKind::Dc && frequency_hz > 0.0 {
                return Err(RatingError::DcAboveZero { frequency_hz });
            }
            before = frequency_hz;
        }
        Ok(Self { kind, points })
    }

    /// What the voltages mean.
    pub fn kind(&self) -> ValueKind {
        self.kind
    }

    /// The points.
    pub fn points(&self) -> &[RatingPoint] {
        &self.points
    }

    /// Frequency of the last point, Hz.
    pub fn last_hz(&self) -> f64 {
        self.points.last().map_or(0.0, |p| p.frequency_hz)
    }

    /// Lowest voltage of the table, V.
    pub fn lowest_v(&self) -> f64 {
        self.points.iter().map(|p| p.voltage_v).fold(f64::INFINITY, f64::min)
    }

    /// What is allowed at a frequency in Hz.
    ///
    /// A point at 0 Hz has no place on a log scale: between it and the next point the lower of the two voltages holds.
    pub fn at(&self, frequency_hz: f64) -> Allowed {
        let last_hz = self.last_hz();
        if !(frequency_hz <= last_hz) {
            return Allowed::NotRated { last_hz };
        }
        let above = self.points.partition_point(|p| p.frequency_hz < frequency_hz);
        let high = self.points[above];
        let Some(low) = above.checked_sub(1).map(|i| self.points[i]) else {
            return Allowed::UpTo(high.voltage_v);
        };
        #[expect(clippy::float_cmp, reason = "a point itself, and the one at zero")]
        if frequency_hz == high.frequency_hz {
            return Allowed::UpTo(high.voltage_v);
        } else if low.frequency_hz == 0.0 {
            return Allowed::UpTo(low.voltage_v.min(high.voltage_v));
        }
        let share = (frequency_hz / low.frequency_hz).ln() / (high.frequency_hz / low.frequency_hz).ln();
        Allowed::UpTo(low.voltage_v * (share * (high.voltage_v / low.voltage_v).ln()).exp())
    }
}

#[cfg(test)]
mod tests;
