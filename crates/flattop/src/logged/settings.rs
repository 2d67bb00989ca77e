//! The settings of an assessment as the logbook keeps them: JSON with SI units, enough to work it out again.

use flattop_captures::ReadOptions;
use flattop_core::assessment::AdjustedAt;
use flattop_core::divider::Divider;
use flattop_report::subject::{Assumptions, Subject, adjusted_at_code};
use serde::{Deserialize, Serialize};

use crate::assess::{self, Levels, Request};
use crate::values::{Reading, Scale};

/// Everything that an assessment depends on, besides the capture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Settings {
    /// Name of the capture, as it was named then.
    pub(crate) file: Option<String>,
    pub(crate) column: Option<usize>,
    reference: Option<usize>,
    interval_s: Option<f64>,
    tip_resistance_ohm: f64,
    shunt_resistance_ohm: f64,
    resistor_tolerance: f64,
    adjusted_at: String,
    source_amplitude_v: Option<f64>,
    tolerance: f64,
    /// Names of the captures, where they were sines of several frequencies.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) sines: Vec<String>,
    /// Readings off a screen, where there was no capture.
    by_eye: Option<ByEye>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct ByEye {
    in_divisions: bool,
    start: Typed,
    end: Typed,
    resolution: Option<f64>,
    frequency_hz: Option<f64>,
    time_to_37_s: Option<Typed>,
}

/// A value with the last digit that was read.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Typed {
    value: f64,
    last_digit: f64,
}

impl Typed {
    fn of(reading: Reading) -> Self {
        Self { value: reading.value, last_digit: reading.last_digit }
    }

    fn reading(self, scale: Scale) -> Reading {
        Reading { value: self.value, last_digit: self.last_digit, scale }
    }
}

impl Settings {
    /// The settings of a request.
    pub(crate) fn of(request: &Request) -> Self {
        let (read, by_eye) = match &request.evidence {
            assess::Evidence::Squares(_, read) | assess::Evidence::Sines(_, read) => (read.clone(), None),
            assess::Evidence::ByEye(levels) => (ReadOptions::default(), Some(ByEye::of(levels))),
        };
        Self { by_eye, ..Self::of_capture(None, &read, &request.assumptions, request.tolerance) }
    }

    /// The settings of readings by eye.
    pub(crate) fn of_levels(levels: &Levels, assumptions: &Assumptions, tolerance: f64) -> Self {
        let by_eye = Some(ByEye::of(levels));
        Self { by_eye, ..Self::of_capture(None, &ReadOptions::default(), assumptions, tolerance) }
    }

    /// The settings for one capture of a square wave.
    pub(crate) fn of_capture(
        file: Option<String>,
        read: &ReadOptions,
        assumptions: &Assumptions,
        tolerance: f64,
    ) -> Self {
        Self {
            file,
            column: read.column,
            reference: read.reference,
            interval_s: read.interval_s,
            tip_resistance_ohm: assumptions.divider.tip_resistance_ohm,
            shunt_resistance_ohm: assumptions.divider.shunt_resistance_ohm,
            resistor_tolerance: assumptions.resistor_tolerance,
            adjusted_at: adjusted_at_code(assumptions.adjusted_at).to_owned(),
            source_amplitude_v: assumptions.source_amplitude_v,
            tolerance,
            sines: Vec::new(),
            by_eye: None,
        }
    }

    /// As text.
    pub(crate) fn to_json(&self) -> String {
        // Plain fields with text keys cannot fail.
        serde_json::to_string(self).unwrap_or_default()
    }

    /// From text.
    pub(crate) fn from_json(text: &str) -> Result<Self, String> {
        serde_json::from_str(text).map_err(|e| format!("its settings cannot be read: {e}"))
    }

    /// The assessment, worked out anew.
    pub(crate) fn assess(&self, captures: &[Vec<u8>]) -> Result<Subject, String> {
        let assumptions = Assumptions {
            divider: Divider {
                tip_resistance_ohm: self.tip_resistance_ohm,
                shunt_resistance_ohm: self.shunt_resistance_ohm,
            },
            resistor_tolerance: self.resistor_tolerance,
            adjusted_at: if self.adjusted_at == "base" { AdjustedAt::Base } else { AdjustedAt::Tip },
            source_amplitude_v: self.source_amplitude_v,
        };
        let read =
            ReadOptions { column: self.column, reference: self.reference, interval_s: self.interval_s };
        let open = |name: &str, bytes: &[u8]| {
            flattop_captures::read_bytes(name, bytes, &read).map_err(|e| e.to_string())
        };
        let name = self.file.clone().unwrap_or_else(|| "capture".into());
        let mut subject = match (&self.by_eye, captures) {
            (Some(by_eye), _) => {
                let levels = by_eye.levels();
                assess::by_eye(&assumptions, self.tolerance, &levels).map_err(|failure| failure.message)?
            }
            (None, several) if !self.sines.is_empty() && several.len() == self.sines.len() => {
                let read: Vec<_> = self
                    .sines
                    .iter()
                    .zip(several)
                    .map(|(name, bytes)| open(name, bytes))
                    .collect::<Result<_, _>>()?;
                assess::sines(&self.sines, &read, &assumptions, self.tolerance)
            }
            (None, [bytes]) if self.sines.is_empty() => {
                let capture = open(&name, bytes)?;
                assess::square(name, &capture, &assumptions, self.tolerance)
            }
            (None, [_, ..]) => return Err("captures and settings do not fit each other".into()),
            (None, []) => return Err("neither capture nor readings were kept".into()),
        };
        assess::remark_on_divider(&mut subject);
        Ok(subject)
    }
}

impl ByEye {
    fn of(levels: &Levels) -> Self {
        Self {
            in_divisions: levels.start.scale == Scale::Divisions,
            start: Typed::of(levels.start),
            end: Typed::of(levels.end),
            resolution: levels.resolution.map(|r| r.value),
            frequency_hz: levels.frequency_hz,
            time_to_37_s: levels.time_to_37.map(Typed::of),
        }
    }

    fn levels(&self) -> Levels {
        let scale = if self.in_divisions { Scale::Divisions } else { Scale::Units };
        Levels {
            start: self.start.reading(scale),
            end: self.end.reading(scale),
            resolution: self.resolution.map(|value| Reading { value, last_digit: value, scale }),
            frequency_hz: self.frequency_hz,
            time_to_37: self.time_to_37_s.map(|t| t.reading(Scale::Units)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_come_back_as_they_went() {
        let assumptions = Assumptions {
            divider: Divider { tip_resistance_ohm: 99e6 / 7.0, shunt_resistance_ohm: 1e6 },
            resistor_tolerance: 0.1 + 0.2,
            adjusted_at: AdjustedAt::Base,
            source_amplitude_v: Some(1.0 / 3.0),
        };
        let read = ReadOptions { column: Some(2), reference: None, interval_s: Some(1e-7 / 3.0) };
        let settings = Settings::of_capture(Some("a.csv".into()), &read, &assumptions, 0.007);
        assert_eq!(Settings::from_json(&settings.to_json()).unwrap(), settings);
        assert!(Settings::from_json("{}").unwrap_err().contains("cannot be read"));
    }
}
