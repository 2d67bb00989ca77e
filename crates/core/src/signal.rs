//! The signal under test, as the source would show it with nothing connected.

/// A signal between two levels.
///
/// Time 0 is where the first transition starts (sines: where the sine passes its mean upwards). Single-shot signals rest
/// at `low_v` for ever before it. Ramps count from end to end (0 to 100 %): their 10–90 % transition duration is 0.8 times that.
#[derive(Clone, Debug, PartialEq)]
pub struct Signal {
    /// What it does over time.
    pub shape: Shape,
    /// Low level, V. A sine and a burst swing between `low_v` and `high_v` about their mean.
    pub low_v: f64,
    /// High level, V. May be below `low_v`: the signal is then upside down.
    pub high_v: f64,
}

/// Forms of a signal over time.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// low + (high − low)/2·(1 + sin 2πft), for ever.
    Sine {
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// A square or trapezoidal wave, for ever: ramps up from t = 0 on.
    Trapezoid {
        /// Repetition frequency, Hz.
        frequency_hz: f64,
        /// Share of the period between the half-way crossings (50 %) of the ramp up and the ramp down, 0 to 1.
        duty: f64,
        /// Duration of the ramp up, 0 to 100 %, s; may be 0.
        rise_s: f64,
        /// Duration of the ramp down, 0 to 100 %, s; may be 0.
        fall_s: f64,
    },
    /// One pulse: ramps up from t = 0 on.
    Pulse {
        /// Pulse duration between the half-way crossings (50 %), s.
        width_s: f64,
        /// Duration of the ramp up, 0 to 100 %, s; may be 0.
        rise_s: f64,
        /// Duration of the ramp down, 0 to 100 %, s; may be 0.
        fall_s: f64,
    },
    /// One edge from low to high: ramps up from t = 0 on.
    Edge {
        /// Duration of the ramp, 0 to 100 %, s; may be 0.
        rise_s: f64,
    },
    /// An exponential approach to `high_v` from t = 0 on: low + (high − low)·(1 − exp(−t/τ)).
    Exponential {
        /// τ, s.
        time_constant_s: f64,
        /// When it turns back towards `low_v`, with the same τ, s; never where `None`.
        width_s: Option<f64>,
    },
    /// A number of whole periods of a sine from t = 0 on, from the mean of the levels, at rest at that mean before and after.
    Burst {
        /// Frequency, Hz.
        frequency_hz: f64,
        /// How many periods; at least 1.
        cycles: u32,
    },
    /// Straight lines between given points. The levels are not used: the values stand as they are.
    Points {
        /// Times, s, rising.
        time_s: Vec<f64>,
        /// Values, V, as many as times.
        value_v: Vec<f64>,
        /// What comes before the first and after the last point.
        outside: Outside,
    },
}

/// What a signal given by points does before its first and after its last point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outside {
    /// It rests at the first and at the last value.
    Holds,
    /// It repeats: the first point comes again this long (s) after itself, joined to the last by a straight line.
    Repeats {
        /// Period, s; more than the time from first to last point.
        period_s: f64,
    },
}
