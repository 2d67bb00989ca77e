//! The closed form itself, against the definition: the chain's differential equations in small steps.

use crate::wave::{Droop, Shape, Wave};
use flattop_close::{assert_close, within};

/// The source at `t`, piece by piece.
fn source(wave: &Wave, t: f64) -> f64 {
    let period = 1.0 / wave.frequency_hz;
    let edge = |since: f64| match wave.shape {
        Shape::Linear(w) => (since / w + 0.5).clamp(0.0, 1.0),
        Shape::Smooth(w) => {
            let x = (since / w + 0.5).clamp(0.0, 1.0);
            if x < 0.5 { 2.0 * x * x } else { 1.0 - 2.0 * (1.0 - x) * (1.0 - x) }
        }
        Shape::Exponential(tau) => {
            if since > 0.0 {
                -(-since / tau).exp_m1()
            } else {
                0.0
            }
        }
    };
    let first = ((t - wave.rise_s) / period).floor();
    (-2..3)
        .map(|j| {
            let rise = wave.rise_s + (first + f64::from(j)) * period;
            edge(t - rise) - edge(t - rise - wave.duty * period)
        })
        .sum()
}

#[test]
fn closed_form_agrees_with_small_steps() {
    for shape in [Shape::Linear(4e-6), Shape::Smooth(5e-6), Shape::Exponential(2e-6)] {
        for droop in [Droop::None, Droop::Coupled(60.0)] {
            let mut wave = Wave::plain(-0.2);
            (wave.shape, wave.droop, wave.duty) = (shape, droop, 0.3);
            wave.ringing = Some((0.35, 1e5));
            wave.hook = Some((0.02, 1e-3));
            (wave.low_v, wave.step_v) = (0.0, 1.0);
            let clean = wave.clean();
            let h = 1e-8;
            let corner = if let Droop::Coupled(c) = droop { std::f64::consts::TAU * c } else { 0.0 };
            let ln = -0.35_f64.ln();
            let damping = ln / (std::f64::consts::PI.powi(2) + ln * ln).sqrt();
            let omega = std::f64::consts::TAU * 1e5;
            // Low-passed source (coupling), fast tail, slow tail, ringing and its slope: run for 20 periods first.
            let settle = -20e-3;
            let (mut mean, mut fast, mut slow, mut out, mut slope) = (0.3, 0.0, 0.0, 0.0, 0.0);
            let (mut worst, mut k): (f64, usize) = (0.0, 0);
            let steps = ((wave.duration_s() - settle) / h) as usize;
            for i in 0..steps {
                let t = settle + i as f64 * h;
                if k < clean.len() && t + 0.5 * h >= k as f64 * wave.interval_s {
                    worst = worst.max((out - clean[k]).abs());
                    k += 1;
                }
                let u = source(&wave, t + 0.5 * h);
                mean += h * corner * (u - mean);
                let coupled = if corner > 0.0 { u - mean } else { u };
                fast += h / wave.tau_s * (coupled - fast);
                slow += h / 1e-3 * (coupled - slow);
                let behind = coupled - 0.2 * (coupled - fast) + 0.02 * (coupled - slow);
                slope += h * (omega * omega * (behind - out) - 2.0 * damping * omega * slope);
                out += h * slope;
            }
            assert_eq!(k, clean.len());
            assert_close!(worst, 0.0, within(2e-3), "{shape:?} {droop:?}");
        }
    }
}
