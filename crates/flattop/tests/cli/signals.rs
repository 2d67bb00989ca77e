//! Captures from closed forms: the periodic steady state of a divider driven by an ideal square wave.

use std::fmt::Write;

/// A divider of 9 MΩ and 1 MΩ with its capacitances, driven by a square wave.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Signal {
    pub(crate) tip_f: f64,
    pub(crate) shunt_f: f64,
    pub(crate) frequency_hz: f64,
    pub(crate) low_v: f64,
    pub(crate) high_v: f64,
    pub(crate) noise_v: f64,
    /// Step of the quantiser, V; nil for none.
    pub(crate) step_v: f64,
    pub(crate) points: usize,
    pub(crate) interval_s: f64,
    pub(crate) seed: u64,
}

impl Signal {
    /// Four periods of 1 kHz, 0 V to 0.33 V at the input, 8 bits over 0.41 V, as a bench oscilloscope would record.
    pub(crate) fn with(tip_f: f64, shunt_f: f64) -> Self {
        Self {
            tip_f,
            shunt_f,
            frequency_hz: 1e3,
            low_v: 0.0,
            high_v: 0.33,
            noise_v: 2e-3,
            step_v: 1.6e-3,
            points: 20_000,
            interval_s: 2e-7,
            seed: 7,
        }
    }

    /// e = C1/(C1+C2)·(R1+R2)/R2 − 1.
    pub(crate) fn error(&self) -> f64 {
        10.0 * self.tip_f / (self.tip_f + self.shunt_f) - 1.0
    }

    /// τp = (R1 ∥ R2)(C1+C2), s.
    pub(crate) fn time_constant_s(&self) -> f64 {
        0.9e6 * (self.tip_f + self.shunt_f)
    }

    /// Voltage `t` seconds after a rising edge, without noise.
    ///
    /// Each edge is followed by 1 + d·exp(−t/τ) about its settled level, where d repeats from edge to edge:
    /// d = e/(1 + exp(−T/2τ)) of the step, half period T/2.
    pub(crate) fn at(&self, t_s: f64) -> f64 {
        let half_s = 0.5 / self.frequency_hz;
        let since_s = t_s.rem_euclid(half_s);
        let is_high = (t_s / half_s).floor().rem_euclid(2.0) < 0.5;
        let tau = self.time_constant_s();
        let deviation = self.error() / (1.0 + (-half_s / tau).exp()) * (-since_s / tau).exp();
        let step = self.high_v - self.low_v;
        if is_high { self.high_v + step * deviation } else { self.low_v - step * deviation }
    }

    pub(crate) fn samples(&self) -> Vec<f64> {
        let mut noise = Noise { state: self.seed };
        (0..self.points)
            .map(|k| {
                // The first edge falls between samples, so that nothing depends on a sample upon an edge.
                let v =
                    self.at((k as f64 + 0.37) * self.interval_s - 0.13e-3) + self.noise_v * noise.normal();
                if self.step_v > 0.0 { (v / self.step_v).round() * self.step_v } else { v }
            })
            .collect()
    }

    /// Comma-separated text with a time column and a heading.
    pub(crate) fn csv(&self) -> String {
        let mut text = String::from("time_s,ch1_V\n");
        for (k, v) in self.samples().iter().enumerate() {
            writeln!(text, "{:.7e},{v:.4e}", k as f64 * self.interval_s).unwrap();
        }
        text
    }

    /// The voltages alone, one on each line.
    pub(crate) fn bare(&self) -> String {
        let mut text = String::new();
        for v in self.samples() {
            writeln!(text, "{v:.4e}").unwrap();
        }
        text
    }
}

/// A sine on the source (column 3) and through the divider (column 2), without the attenuation: closed form of the
/// shelf's magnitude and phase at the frequency.
pub(crate) fn sine_csv(signal: Signal, frequency_hz: f64) -> String {
    let mut noise = Noise { state: signal.seed };
    let mut text = String::from("time_s,probe_V,source_V\n");
    let w = std::f64::consts::TAU * frequency_hz;
    let (pole, zero) = (w * signal.time_constant_s(), w * signal.time_constant_s() * (1.0 + signal.error()));
    let gain = ((1.0 + zero * zero) / (1.0 + pole * pole)).sqrt();
    let phase = zero.atan() - pole.atan();
    for k in 0..4000 {
        let t = f64::from(k) / (frequency_hz * 370.3);
        let probe = gain * (w * t + phase + 0.4).sin() + 1e-3 * noise.normal();
        let source = (w * t + 0.4).sin() + 1e-3 * noise.normal();
        writeln!(text, "{t:.9e},{probe:.5},{source:.5}").unwrap();
    }
    text
}

/// Noise from a linear congruential generator (Knuth, *The Art of Computer Programming*, vol. 2, 3.3.4, line 26:
/// multiplier 6364136223846793005), sums of twelve uniforms taken as normal.
pub(crate) struct Noise {
    pub(crate) state: u64,
}

impl Noise {
    pub(crate) fn uniform(&mut self) -> f64 {
        self.state =
            self.state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.state >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}
