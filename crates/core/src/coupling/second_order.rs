//! The second-order low-pass: a lead inductance into a probe's capacitance.
//!
//! Time is counted in 1/ω0, ω0 = 1/√(LC). Source: any control text, standard second-order system (from memory).

/// The step response 1/(s² + 2ζs + 1) in units of 1/ω0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SecondOrder {
    /// ζ, damping ratio; above zero. Q = 1/(2ζ).
    pub damping: f64,
}

impl SecondOrder {
    /// Response at `t` (in 1/ω0) after a unit step.
    pub fn step(&self, t: f64) -> f64 {
        if t <= 0.0 {
            return 0.0;
        }
        let zeta = self.damping;
        let spread = zeta * zeta - 1.0;
        // cosh and sinh turn into cos and sin below critical damping; near it both are replaced by their series.
        let (even, odd) = if spread.abs() * t * t < 1e-8 {
            (1.0 + 0.5 * spread * t * t, t * (1.0 + spread * t * t / 6.0))
        } else if spread < 0.0 {
            let rate = (-spread).sqrt();
            ((rate * t).cos(), (rate * t).sin() / rate)
        } else {
            let rate = spread.sqrt();
            // Both exponentials decay; written apart so that neither overflows.
            let (slow, fast) = ((-(zeta - rate) * t).exp(), (-(zeta + rate) * t).exp());
            return 1.0 - 0.5 * (slow + fast) - 0.5 * zeta / rate * (slow - fast);
        };
        1.0 - (-zeta * t).exp() * (even + zeta * odd)
    }

    /// First overshoot over the settled value: exp(−πζ/√(1−ζ²)), nil from critical damping up.
    pub fn overshoot(&self) -> f64 {
        let zeta = self.damping;
        if zeta >= 1.0 { 0.0 } else { (-std::f64::consts::PI * zeta / (1.0 - zeta * zeta).sqrt()).exp() }
    }

    /// Time (in 1/ω0) at which the response first reaches `fraction` of the settled value, 0 < `fraction` < 1.
    pub fn time_to(&self, fraction: f64) -> f64 {
        // The first rise is monotonic up to its maximum at π/√(1−ζ²), or for ever.
        let mut high = if self.damping < 1.0 {
            std::f64::consts::PI / (1.0 - self.damping * self.damping).sqrt()
        } else {
            1.0
        };
        while self.step(high) < fraction && high < 1e12 {
            high *= 2.0;
        }
        let mut low = 0.0;
        for _ in 0..120 {
            let middle = 0.5 * (low + high);
            if self.step(middle) < fraction { low = middle } else { high = middle }
        }
        0.5 * (low + high)
    }

    /// 10–90 % transition duration, in 1/ω0.
    pub fn transition(&self) -> f64 {
        self.time_to(0.9) - self.time_to(0.1)
    }

    /// −3 dB frequency over ω0/(2π): √(1−2ζ² + √((1−2ζ²)²+1)).
    pub fn bandwidth(&self) -> f64 {
        let a = 1.0 - 2.0 * self.damping * self.damping;
        // For strong damping a is large and negative: a + √(a²+1) is written without the cancellation.
        let root = a.hypot(1.0);
        if a >= 0.0 { (a + root).sqrt() } else { (1.0 / (root - a)).sqrt() }
    }
}
