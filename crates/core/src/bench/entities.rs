//! What stands on a bench: plain data in SI units. `None` means not known, never "nil".

use super::id::{Id, InputId};
use crate::assessment::{AdjustedAt, Estimate};
use crate::chain::ResponseShape;
use crate::numeric::stats::COVERAGE_FACTOR_95;
use crate::rating::{MeasurementCategory, Rating, RatingPoint, ValueKind};

/// A point in time, with the offset of the clock on the wall where it was noted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment {
    /// Milliseconds since 1970-01-01T00:00:00 UTC.
    pub unix_ms: i64,
    /// Offset of local time from UTC, minutes; positive east of Greenwich.
    pub offset_minutes: i16,
}

/// A value with the half width of its tolerance, both in the same unit: 15 pF ± 1 pF.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Toleranced {
    /// Nominal value.
    pub value: f64,
    /// Half width of the interval that holds the true value; `None` when the source does not say.
    pub tolerance: Option<f64>,
}

impl Toleranced {
    /// Standard uncertainty of a rectangular distribution over the tolerance, a/√3 (JCGM 100:2008, 4.3.7).
    pub fn standard_uncertainty(&self) -> Option<f64> {
        self.tolerance.map(|half_width| half_width / 3f64.sqrt())
    }

    /// A measured value with its 95 % interval as tolerance, as people write it down: two significant figures of the tolerance,
    /// rounded up, and the value to the same place (JCGM 100:2008, 7.2.6).
    pub fn of_estimate(estimate: Estimate) -> Self {
        let expanded = COVERAGE_FACTOR_95 * estimate.standard_uncertainty;
        if !(expanded > 0.0 && expanded.is_finite()) {
            return Self { value: estimate.value, tolerance: Some(0.0) };
        }
        let exponent = expanded.log10().floor() as i32 - 1;
        // Through decimal digits, so that what is written is what is meant.
        let rounded = |count: f64| format!("{count}e{exponent}").parse().unwrap_or(f64::NAN);
        let unit = 10f64.powi(exponent);
        Self {
            value: rounded((estimate.value / unit).round()),
            // What is a whole number but for the last bits stays that number.
            tolerance: Some(rounded((expanded / unit - 1e-9).ceil())),
        }
    }
}

/// Both ends of an interval, in the same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// An oscilloscope with its inputs.
#[derive(Clone, Debug, PartialEq)]
pub struct Oscilloscope {
    /// Its name on this bench.
    pub id: Id,
    /// What people call it.
    pub label: Option<String>,
    /// Serial or inventory number.
    pub serial: Option<String>,
    /// Remark.
    pub note: Option<String>,
    /// Whether it is no longer in use; kept because the logbook speaks of it.
    pub retired: bool,
    /// Its inputs, in the order of their names.
    pub inputs: Vec<Input>,
}

/// One input of an oscilloscope.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    /// Its name on its oscilloscope.
    pub name: Id,
    /// What people call it.
    pub label: Option<String>,
    /// Resistance, Ω.
    pub resistance_ohm: Option<Toleranced>,
    /// Capacitance, F.
    pub capacitance_f: Option<Toleranced>,
    /// −3 dB frequency, Hz.
    pub bandwidth_hz: Option<f64>,
    /// Form of the response.
    pub response: Option<ResponseShape>,
    /// Highest voltage that may be put on it, V.
    pub rated_voltage_v: Option<f64>,
    /// Whether that voltage is a peak, rms or dc value.
    pub rated_voltage_kind: Option<ValueKind>,
    /// Remark.
    pub note: Option<String>,
    /// Whether it is no longer in use; kept because the logbook speaks of it.
    pub retired: bool,
}

/// A divider probe.
#[derive(Clone, Debug, PartialEq)]
pub struct Probe {
    /// Its name on this bench.
    pub id: Id,
    /// What people call it.
    pub label: Option<String>,
    /// Serial or inventory number.
    pub serial: Option<String>,
    /// N of a probe that divides by N.
    pub ratio: Option<f64>,
    /// Resistance between tip and oscilloscope end, R1, Ω.
    pub tip_resistance_ohm: Option<Toleranced>,
    /// Capacitance that the circuit sees at the tip (the data sheet's input capacitance), F.
    pub tip_capacitance_f: Option<Toleranced>,
    /// Resistance in series at the tip, Ω.
    pub series_resistance_ohm: Option<f64>,
    /// Share of the tip's capacitance that goes from the body to ground, F.
    pub body_capacitance_f: Option<f64>,
    /// Input capacitances that the trimmer can balance, F.
    pub compensation_range_f: Option<Range>,
    /// Where it is adjusted.
    pub adjusted_at: Option<Trimmer>,
    /// −3 dB frequency of the probe alone, Hz.
    pub bandwidth_hz: Option<f64>,
    /// The cable.
    pub cable: ProbeCable,
    /// The compensation box.
    pub compensation_box: ProbeBox,
    /// Rated voltage against frequency, rising in frequency.
    pub voltage_rating: Vec<RatingPoint>,
    /// Whether these voltages are peak, rms or dc values.
    pub voltage_rating_kind: Option<ValueKind>,
    /// Measurement category (IEC 61010-031). Without one, known or not, it is not for mains circuits.
    pub measurement_category: Option<MeasurementCategory>,
    /// Working voltage to earth for that category, V.
    pub category_voltage_v: Option<f64>,
    /// Ground leads and springs that go with it, in the order of their names.
    pub ground_accessories: Vec<GroundAccessory>,
    /// Remark.
    pub note: Option<String>,
    /// Whether it is no longer in use; kept because the logbook speaks of it.
    pub retired: bool,
}

/// Where a probe is adjusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trimmer {
    /// At the tip.
    Tip,
    /// In the box at the oscilloscope end.
    Base,
    /// Nowhere: it fits one kind of input.
    Fixed,
}

impl Trimmer {
    /// The capacitance that is turned; `None` for a probe without a trimmer.
    pub fn adjusted_at(self) -> Option<AdjustedAt> {
        match self {
            Trimmer::Tip => Some(AdjustedAt::Tip),
            Trimmer::Base => Some(AdjustedAt::Base),
            Trimmer::Fixed => None,
        }
    }
}

/// The cable of a probe, as far as it is known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ProbeCable {
    /// Length, m.
    pub length_m: Option<f64>,
    /// Capacitance, F/m.
    pub capacitance_f_per_m: Option<f64>,
    /// Inductance, H/m.
    pub inductance_h_per_m: Option<f64>,
    /// Resistance, Ω/m.
    pub resistance_ohm_per_m: Option<f64>,
}

/// The compensation box of a probe, as far as it is known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ProbeBox {
    /// Resistance in series, Ω.
    pub series_resistance_ohm: Option<f64>,
    /// Trimmer and stray capacitance, F.
    pub capacitance_f: Option<f64>,
}

impl Probe {
    /// Its voltage rating, if the table and the kind of its voltages are known.
    pub fn rating(&self) -> Option<Rating> {
        Rating::new(self.voltage_rating_kind?, self.voltage_rating.clone()).ok()
    }
}

impl Input {
    /// Its voltage rating, if the voltage and its kind are known. A data sheet that names one voltage means low frequencies.
    pub fn rating(&self) -> Option<Rating> {
        let point = RatingPoint { frequency_hz: 0.0, voltage_v: self.rated_voltage_v? };
        Rating::new(self.rated_voltage_kind?, vec![point]).ok()
    }
}

/// A ground lead, spring or blade.
#[derive(Clone, Debug, PartialEq)]
pub struct GroundAccessory {
    /// Its name, unique for its probe.
    pub name: Id,
    /// What people call it.
    pub label: Option<String>,
    /// Length of the lead, m.
    pub length_m: Option<f64>,
    /// Inductance of the loop with it, H.
    pub inductance_h: Option<f64>,
}

/// One probe on one input: compensation belongs to this, not to the probe.
#[derive(Clone, Debug, PartialEq)]
pub struct Pairing {
    /// Number given by the register.
    pub number: i64,
    /// The probe. It has one pairing in force at a time.
    pub probe: Id,
    /// The input.
    pub input: InputId,
    /// The |e| still accepted; `None`: that of each assessment.
    pub tolerance: Option<f64>,
    /// Days after which it wants checking again; `None`: never by itself.
    pub recheck_interval_days: Option<u32>,
    /// When it was made.
    pub made_at: Moment,
    /// Who made it.
    pub made_by: Option<String>,
    /// When and why it ended; `None` while it is in force.
    pub voided: Option<Voided>,
}

/// The end of a pairing.
#[derive(Clone, Debug, PartialEq)]
pub struct Voided {
    /// When.
    pub at: Moment,
    /// Why.
    pub why: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 1.96 · 0.1234 pF is 0.24187 pF.
    #[test]
    fn a_measured_value_is_written_as_people_write_it() {
        let of = |value, standard_uncertainty| {
            let written = Toleranced::of_estimate(Estimate { value, standard_uncertainty });
            (written.value, written.tolerance.unwrap())
        };
        assert_eq!(of(13.0231e-12, 0.1234e-12), (13.02e-12, 0.25e-12));
        assert_eq!(of(13.0231e-12, 1.234e-12), (13.0e-12, 2.5e-12));
        assert_eq!(of(13.0231e-12, 0.0), (13.0231e-12, 0.0));
        assert_eq!(of(-0.0041e-12, 0.05e-12), (-4e-15, 9.8e-14));
    }
}
