//! The compensated divider: R1 ∥ C1 at the tip, R2 ∥ C2 at the oscilloscope end.
//!
//! | symbol | name here | unit | meaning |
//! | --- | --- | --- | --- |
//! | R1, R2 | `tip_resistance_ohm`, `shunt_resistance_ohm` | Ω | the divider's resistors |
//! | C1, C2 | `tip_capacitance_f`, `shunt_capacitance_f` | F | across R1; across R2 (cable, box and input together) |
//! | g0 | [`Divider::dc_gain`] | 1 | R2/(R1+R2) |
//! | τz, τp | [`Shelf`] | s | zero R1·C1 and pole (R1∥R2)(C1+C2) of the response |
//! | e | [`Shelf::error`] | 1 | high-frequency gain over low-frequency gain, minus one |
//!
//! Sign convention: e < 0 is undercompensated (fast parts read low), e > 0 overcompensated (fast parts read high).
//! Source of the formulas: the two-capacitor attenuator as treated in pulse-circuit textbooks, e.g. Millman & Taub,
//! *Pulse, Digital and Switching Waveforms*, 1965, chapter on attenuators (reference from memory); checked against the
//! worked examples D-01 to D-16 of the validation dossier.

/// The two resistors of a divider probe on its input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Divider {
    /// R1, tip resistor, Ω.
    pub tip_resistance_ohm: f64,
    /// R2, resistance at the oscilloscope end, Ω.
    pub shunt_resistance_ohm: f64,
}

impl Divider {
    /// Low-frequency gain g0 = R2/(R1+R2).
    pub fn dc_gain(&self) -> f64 {
        self.shunt_resistance_ohm / (self.tip_resistance_ohm + self.shunt_resistance_ohm)
    }

    /// R1 ∥ R2, Ω.
    pub fn parallel_resistance_ohm(&self) -> f64 {
        self.tip_resistance_ohm * self.dc_gain()
    }

    /// Tip capacitance that compensates a given shunt capacitance: C1 = C2·R2/R1, F.
    pub fn compensating_tip_capacitance_f(&self, shunt_capacitance_f: f64) -> f64 {
        shunt_capacitance_f * self.shunt_resistance_ohm / self.tip_resistance_ohm
    }

    /// Shunt capacitance that a given tip capacitance balances: C2 = C1·R1/R2, F.
    pub fn balanced_shunt_capacitance_f(&self, tip_capacitance_f: f64) -> f64 {
        tip_capacitance_f * self.tip_resistance_ohm / self.shunt_resistance_ohm
    }

    /// The response that the capacitances give this divider.
    pub fn shelf(&self, capacitances: Capacitances) -> Shelf {
        let sum_f = capacitances.tip_f + capacitances.shunt_f;
        Shelf {
            error: capacitances.tip_f / sum_f / self.dc_gain() - 1.0,
            time_constant_s: self.parallel_resistance_ohm() * sum_f,
        }
    }

    /// The capacitances that give this divider a response: the inverse of [`Divider::shelf`].
    pub fn capacitances(&self, shelf: Shelf) -> Capacitances {
        let sum_f = shelf.time_constant_s / self.parallel_resistance_ohm();
        let tip_f = (1.0 + shelf.error) * self.dc_gain() * sum_f;
        Capacitances { tip_f, shunt_f: sum_f - tip_f }
    }
}

/// The capacitances of a divider, F.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capacitances {
    /// C1, across the tip resistor, F.
    pub tip_f: f64,
    /// C2, across the shunt: cable, compensation box and input together, F.
    pub shunt_f: f64,
}

impl Capacitances {
    /// Capacitance that the circuit sees at the tip: C1·C2/(C1+C2), F (body capacitance not included).
    pub fn seen_at_tip_f(&self) -> f64 {
        self.tip_f * self.shunt_f / (self.tip_f + self.shunt_f)
    }
}

/// The first-order shelf H(s)/g0 = (1 + s·τz)/(1 + s·τp), told by e and τp, with τz = (1+e)·τp.
///
/// Its response to a unit step is 1 + e·exp(−t/τp): it starts at 1 + e and ends at 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shelf {
    /// Compensation error e = τz/τp − 1.
    pub error: f64,
    /// Time constant τp of the pole, s.
    pub time_constant_s: f64,
}

impl Shelf {
    /// Response to a unit step, `t` seconds after it, relative to the settled value.
    pub fn step(&self, t_s: f64) -> f64 {
        if t_s < 0.0 { 0.0 } else { 1.0 + self.error * (-t_s / self.time_constant_s).exp() }
    }

    /// Magnitude error sqrt((1+(ωτz)²)/(1+(ωτp)²)) − 1 at a frequency in Hz; nil far below 1/(2πτp), e far above.
    pub fn amplitude_error(&self, frequency_hz: f64) -> f64 {
        let (pole, zero) = self.corner_products(frequency_hz);
        // Written so that no digits are lost where the error is tiny: sqrt(1+x) − 1 = x/(1+sqrt(1+x)).
        let x = (zero - pole) * (zero + pole) / (1.0 + pole * pole);
        x / (1.0 + (1.0 + x).sqrt())
    }

    /// Phase error atan(ωτz) − atan(ωτp) at a frequency in Hz, rad.
    pub fn phase_error_rad(&self, frequency_hz: f64) -> f64 {
        let (pole, zero) = self.corner_products(frequency_hz);
        ((zero - pole) / (1.0 + zero * pole)).atan()
    }

    /// Start and end of the flat part of a settled square wave of 50 % duty, as deviations from the settled step.
    pub fn square_wave_deviation(&self, frequency_hz: f64) -> (f64, f64) {
        let decay = (-0.5 / (frequency_hz * self.time_constant_s)).exp();
        let start = self.error / (1.0 + decay);
        (start, start * decay)
    }

    fn corner_products(&self, frequency_hz: f64) -> (f64, f64) {
        let pole = std::f64::consts::TAU * frequency_hz * self.time_constant_s;
        (pole, pole * (1.0 + self.error))
    }
}
