//! The residual error of a pairing at the end of the trimmer's travel, with its bounds and its uncertainty.

use super::{InputCapacitance, Margin, Reach, ReachError, ReachProbe, Side, TipCapacitance, Verdict, words};
use crate::assessment::AdjustedAt;
use crate::divider::{Capacitances, Shelf};

/// Frequencies at which the error of a sine is reported, Hz.
pub const REPORTED_FREQUENCIES_HZ: [f64; 4] = [1e3, 1e4, 1e5, 1e6];

/// What the best setting of the trimmer leaves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// e with the nominal values; 0 inside the range.
    pub error: f64,
    /// Standard uncertainty of `error`, from the tolerances of limit and input alone, each taken as rectangular: 0 where the probe
    /// reaches with all of them. C1 counts as known; a share x of it off changes e by about x of itself.
    pub standard_uncertainty: f64,
    /// Lowest and highest e that the tolerances allow.
    pub bounds: (f64, f64),
    /// The response that belongs to `error`.
    pub shelf: Shelf,
    /// Start and end of the flat part of a settled 1 kHz square wave, as deviations from the settled step.
    pub square_wave: (f64, f64),
}

/// Error of a sine's amplitude.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SineError {
    /// Hz.
    pub frequency_hz: f64,
    /// With the nominal values, as a share.
    pub error: f64,
    /// Its standard uncertainty, from that of e.
    pub standard_uncertainty: f64,
}

impl ReachProbe {
    /// N = (R1+R2)/R2.
    pub fn ratio(&self) -> f64 {
        1.0 / self.divider.dc_gain()
    }

    /// C1, F: across the tip resistor at the middle of the range.
    pub fn tip_capacitance_f(&self) -> f64 {
        match self.tip {
            TipCapacitance::AcrossTipResistor(f) => f,
            TipCapacitance::SeenAtTip(f) => f * self.ratio() / (self.ratio() - 1.0),
        }
    }

    /// C1, F, at the setting that balances an input of `balanced_f`.
    pub fn tip_capacitance_at_f(&self, balanced_f: f64) -> f64 {
        match self.adjusted_at {
            AdjustedAt::Base => self.tip_capacitance_f(),
            AdjustedAt::Tip => {
                let middle_f = 0.5 * (self.range.least_f + self.range.most_f);
                self.tip_capacitance_f() + self.divider.compensating_tip_capacitance_f(balanced_f - middle_f)
            }
        }
    }

    /// The response on an input of `input_f` with the trimmer set to balance `balanced_f`.
    pub fn shelf_set_for(&self, balanced_f: f64, input_f: f64) -> Shelf {
        let tip_f = self.tip_capacitance_at_f(balanced_f);
        let shunt_f = self.divider.balanced_shunt_capacitance_f(tip_f) + (input_f - balanced_f);
        self.divider.shelf(Capacitances { tip_f, shunt_f })
    }

    /// e of the best setting on an input of `input_f`, with the range's limits moved by `shift_f`, and its slope in the input's
    /// capacitance, 1/F: 0 and 0 inside.
    fn residual(&self, input_f: f64, shift_f: (f64, f64)) -> (f64, f64) {
        let (a, b) = (self.range.least_f + shift_f.0, self.range.most_f + shift_f.1);
        let limit = if input_f > b {
            b
        } else if input_f < a {
            a
        } else {
            return (0.0, 0.0);
        };
        let balance_f = self.ratio() * self.tip_capacitance_at_f(limit);
        // δ counted upwards from the limit gives both formulas at once.
        let delta = input_f - limit;
        (-delta / (balance_f + delta), -balance_f / (balance_f + delta).powi(2))
    }

    /// Whether the probe's own numbers can be true together, whatever the input.
    pub(crate) fn check(&self) -> Result<(), ReachError> {
        let range = &self.range;
        let tip = match self.tip {
            TipCapacitance::AcrossTipResistor(f) | TipCapacitance::SeenAtTip(f) => f,
        };
        positive("tip resistance", self.divider.tip_resistance_ohm)?;
        positive("shunt resistance", self.divider.shunt_resistance_ohm)?;
        positive("tip capacitance", tip)?;
        positive("most capacitance of the compensation range", range.most_f)?;
        not_negative("least capacitance of the compensation range", range.least_f)?;
        not_negative("tolerance of the compensation range", range.tolerance_f)?;
        if range.least_f > range.most_f {
            return Err(ReachError::RangeUpsideDown { least_f: range.least_f, most_f: range.most_f });
        }
        // The shunt balanced at a stop holds the cable besides the input. The lower stop has the smaller tip.
        for limit_f in [range.least_f, range.most_f] {
            let most_f = limit_f + range.tolerance_f;
            let shunt_f = self.divider.balanced_shunt_capacitance_f(self.tip_capacitance_at_f(limit_f));
            if shunt_f < most_f {
                return Err(ReachError::RangeAgainstTip { most_f, shunt_f });
            }
        }
        Ok(())
    }

    /// e that the best setting leaves on an input: nominal, and the lowest and highest that the tolerances allow. No check of the numbers.
    #[inline]
    pub(crate) fn errors(&self, input: InputCapacitance) -> Errors {
        let (c, t) = (input.nominal_f, self.range.tolerance_f);
        let (nominal, slope) = self.residual(c, (0.0, 0.0));
        // e falls with the input's capacitance and rises with both limits.
        let lowest = self.residual(c + input.tolerance_f, (-t, -t)).0;
        let highest = self.residual((c - input.tolerance_f).max(0.0), (t, t)).0;
        Errors { nominal, slope, lowest, highest }
    }
}

/// What the best setting leaves on an input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Errors {
    /// e with the nominal values.
    pub(crate) nominal: f64,
    /// Its slope in the input's capacitance, 1/F; 0 inside the range.
    slope: f64,
    /// Lowest e that the tolerances allow.
    pub(crate) lowest: f64,
    /// Highest e that the tolerances allow.
    pub(crate) highest: f64,
}

impl InputCapacitance {
    fn check(self) -> Result<(), ReachError> {
        positive("input capacitance", self.nominal_f)?;
        not_negative("tolerance of the input capacitance", self.tolerance_f)
    }
}

fn positive(quantity: &'static str, value: f64) -> Result<(), ReachError> {
    if value > 0.0 && value.is_finite() { Ok(()) } else { Err(ReachError::NotPositive { quantity, value }) }
}

fn not_negative(quantity: &'static str, value: f64) -> Result<(), ReachError> {
    if value >= 0.0 && value.is_finite() {
        Ok(())
    } else {
        Err(ReachError::NotATolerance { quantity, value })
    }
}

/// Judges a pairing from its data sheets.
///
/// # Errors
/// Numbers that make no pairing, such as exchanged limits.
pub fn reach(probe: &ReachProbe, input: InputCapacitance) -> Result<Reach, ReachError> {
    probe.check()?;
    input.check()?;
    let margin = probe.range.margin(input);
    let side = if input.nominal_f > probe.range.most_f {
        Side::Above
    } else if input.nominal_f < probe.range.least_f {
        Side::Below
    } else {
        Side::Inside
    };
    let residual = residual(probe, input, margin);
    let sine_errors = REPORTED_FREQUENCIES_HZ.map(|frequency_hz| SineError {
        frequency_hz,
        error: residual.shelf.amplitude_error(frequency_hz),
        standard_uncertainty: residual.standard_uncertainty * share_of_error(&residual.shelf, frequency_hz),
    });
    let square_wave_words = words::square_wave(&residual);
    let findings = words::findings(probe, input, margin, &residual, &sine_errors);
    Ok(Reach { margin, side, residual, square_wave_words, sine_errors, findings })
}

fn residual(probe: &ReachProbe, input: InputCapacitance, margin: Margin) -> Residual {
    let (c, t) = (input.nominal_f, probe.range.tolerance_f);
    let Errors { nominal: error, slope, lowest, highest } = probe.errors(input);
    let standard_uncertainty = match margin.verdict {
        Verdict::Reaches => 0.0,
        // At a limit, and where only a tolerance reaches past it, the slope just outside counts: no less than the truth.
        Verdict::MayReach | Verdict::OutOfReach => {
            let limit = if c - probe.range.least_f < probe.range.most_f - c {
                probe.range.least_f
            } else {
                probe.range.most_f
            };
            let at_limit = 1.0 / (probe.ratio() * probe.tip_capacitance_at_f(limit));
            let slope = if slope < 0.0 { -slope } else { at_limit };
            slope * t.hypot(input.tolerance_f) / 3f64.sqrt()
        }
    };
    let balanced_f = c.clamp(probe.range.least_f, probe.range.most_f);
    let shelf = probe.shelf_set_for(balanced_f, c);
    // Inside, e is nil by construction; the shelf would hold the rounding of the division.
    let shelf = Shelf { error, ..shelf };
    let square_wave = shelf.square_wave_deviation(1e3);
    Residual { error, standard_uncertainty, bounds: (lowest, highest), shelf, square_wave }
}

/// Amplitude error over e in the limit of small e: (ωτp)²/(1+(ωτp)²).
fn share_of_error(shelf: &Shelf, frequency_hz: f64) -> f64 {
    let x = std::f64::consts::TAU * frequency_hz * shelf.time_constant_s;
    x * x / (1.0 + x * x)
}
