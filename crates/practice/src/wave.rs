//! The square wave behind the divider, as a closed form.
//!
//! The way of a step from the source to the converter is a product of first- and second-order factors
//! ```text
//! S(s) = 1/(s + a) · 1/(1 + sτe) · (1 + sτz)/(1 + sτp) · (1 + (1−h)sτh)/(1 + sτh) · ω²/(s² + 2ζωs + ω²)
//! ```
//! with droop a, the edge's own τe, the shelf's τz = (1+e)τp and τp, the hook's share h and τh, the ringing's ω and ζ. Split into
//! partial fractions it is Σ c·exp(pt); steps of turns that come every half period T/2 since ever add up to
//! Σ c·exp(pt)/(1 + exp(p·T/2)): the wave in its steady state, exact at every time.
//! Source: partial fractions and geometric series, any book on linear systems; checked against slow convolution.

use flattop_core::divider::Shelf;
use num_complex::Complex64;

use crate::disturbance::Disturbances;

/// Time constant of the source's edges, s: 10–90 % in 110 ns.
const EDGE_S: f64 = 50e-9;
/// Time constant of the hook in time constants of the divider.
const HOOK_TIMES: f64 = 20.0;
/// Frequency of the ringing, Hz: a long ground lead on a slow source.
const RINGING_HZ: f64 = 2e6;

/// A square wave of equal halves behind a divider, at the tip's scale.
#[derive(Clone, Debug)]
pub struct Wave {
    half_s: f64,
    mean_v: f64,
    step_v: f64,
    /// Exponentials: what one has right after a rising edge, V, and its exponent, 1/s.
    terms: Vec<(Complex64, Complex64)>,
}

impl Wave {
    /// A wave of `frequency_hz` between two levels, through `shelf`, with the disturbances that belong to the wave itself.
    pub fn new(frequency_hz: f64, levels_v: (f64, f64), shelf: Shelf, disturbances: &Disturbances) -> Self {
        let half_s = 0.5 / frequency_hz;
        let step_v = levels_v.1 - levels_v.0;
        let tau = shelf.time_constant_s;
        // A flat begins at its top and loses `droop` of the step by its end: exp(−a·T/2) = 1 − droop.
        let a = -(-disturbances.droop).ln_1p() / half_s;
        let (hook, tau_h) = (disturbances.hook, HOOK_TIMES * tau);
        let omega = std::f64::consts::TAU * RINGING_HZ;
        let mut poles = vec![real(-a), real(-1.0 / EDGE_S), real(-1.0 / tau)];
        if hook.abs() > 0.0 {
            poles.push(real(-1.0 / tau_h));
        }
        if disturbances.ringing > 0.0 {
            // Overshoot of a second-order system: exp(−πζ/√(1−ζ²)).
            let ln = disturbances.ringing.ln();
            let zeta = -ln / (std::f64::consts::PI.powi(2) + ln * ln).sqrt();
            let pole = omega * Complex64::new(-zeta, (1.0 - zeta * zeta).sqrt());
            poles.extend([pole, pole.conj()]);
        }
        let numerator = |s: Complex64| {
            let mut n = (1.0 + s * tau * (1.0 + shelf.error)) / (EDGE_S * tau);
            if hook.abs() > 0.0 {
                n *= (1.0 + s * tau_h * (1.0 - hook)) / tau_h;
            }
            if disturbances.ringing > 0.0 {
                n *= omega * omega;
            }
            n
        };
        let terms = poles
            .iter()
            .enumerate()
            .map(|(k, &p)| {
                let others = poles.iter().enumerate().filter(|(j, _)| *j != k);
                let residue = others.fold(numerator(p), |n, (_, &q)| n / (p - q));
                (step_v * residue / (1.0 + (p * half_s).exp()), p)
            })
            .collect();
        Self { half_s, mean_v: 0.5 * (levels_v.0 + levels_v.1), step_v, terms }
    }

    /// Voltage at `t_s`, V at the tip; a rising edge at t = 0, and every period from there.
    pub fn at(&self, t_s: f64) -> f64 {
        let halves = (t_s / self.half_s).floor();
        let since = t_s - halves * self.half_s;
        let sign = if halves.rem_euclid(2.0) < 0.5 { 1.0 } else { -1.0 };
        let sum: f64 = self.terms.iter().map(|(c, p)| (c * (p * since).exp()).re).sum();
        self.mean_v + sign * sum
    }

    /// Samples at even times.
    pub fn samples(&self, start_s: f64, interval_s: f64, points: usize) -> Vec<f64> {
        // Each exponential goes on by one factor from sample to sample; a new half begins it anew, so nothing adds up.
        let factors: Vec<Complex64> = self.terms.iter().map(|(_, p)| (p * interval_s).exp()).collect();
        let mut now = vec![Complex64::default(); self.terms.len()];
        let mut half = f64::NAN;
        let mut sign = 1.0;
        (0..points)
            .map(|k| {
                let t = start_s + k as f64 * interval_s;
                let halves = (t / self.half_s).floor();
                if halves.total_cmp(&half).is_ne() {
                    half = halves;
                    sign = if halves.rem_euclid(2.0) < 0.5 { 1.0 } else { -1.0 };
                    let since = t - halves * self.half_s;
                    for (now, (c, p)) in now.iter_mut().zip(&self.terms) {
                        *now = c * (p * since).exp();
                    }
                } else {
                    for (now, factor) in now.iter_mut().zip(&factors) {
                        *now *= factor;
                    }
                }
                self.mean_v + sign * now.iter().map(|value| value.re).sum::<f64>()
            })
            .collect()
    }

    /// Step between the levels, V.
    pub fn step_v(&self) -> f64 {
        self.step_v
    }
}

fn real(value: f64) -> Complex64 {
    Complex64::new(value, 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};
    use proptest::prelude::*;

    const LEVELS: (f64, f64) = (0.0, 3.0);

    fn shelf(error: f64) -> Shelf {
        Shelf { error, time_constant_s: 100e-6 }
    }

    /// The flats of the core's own closed form, which knows no edge time.
    #[test]
    fn a_clean_wave_is_that_of_the_shelf() {
        for error in [-0.1, 0.0, 0.07] {
            let wave = Wave::new(1e3, LEVELS, shelf(error), &Disturbances::none());
            let (start, end) = shelf(error).square_wave_deviation(1e3);
            let late = (-1e-6f64 / 100e-6).exp();
            assert_close!(wave.at(1e-6), 3.0 * (1.0 + start * late), within(3.0 * 1e-3));
            assert_close!(wave.at(0.499_999e-3), 3.0 * (1.0 + end), within(3.0 * 1e-5));
            assert_close!(wave.at(-1e-7), -3.0 * end, within(3.0 * 1e-5));
        }
    }

    /// Runge–Kutta (fourth order) of the same factors as differential equations, from rest until the steady state.
    #[test]
    fn all_factors_together_agree_with_slow_integration() {
        let all = Disturbances { ringing: 0.2, droop: 0.1, hook: 0.02, ..Disturbances::none() };
        let tau = 20e-6;
        let shelf = Shelf { error: -0.08, time_constant_s: tau };
        let frequency = 5e3;
        let half = 0.5 / frequency;
        let wave = Wave::new(frequency, (-1.0, 1.0), shelf, &all);
        let a = -(1.0f64 - all.droop).ln() / half;
        let tau_h = HOOK_TIMES * tau;
        let w = std::f64::consts::TAU * RINGING_HZ;
        let ln = all.ringing.ln();
        let zeta = -ln / (std::f64::consts::PI.powi(2) + ln * ln).sqrt();
        // y0 droops and jumps; y1 edge; y2 pole of the shelf; y3 pole of the hook; y4, y5 ringing.
        let slope = |y: &[f64; 6]| {
            let d1 = (y[0] - y[1]) / EDGE_S;
            let d2 = (y[1] - y[2]) / tau;
            let v = y[2] + tau * (1.0 + shelf.error) * d2;
            let d3 = (v - y[3]) / tau_h;
            let u = y[3] + tau_h * (1.0 - all.hook) * d3;
            [-a * y[0], d1, d2, d3, y[5], w * w * (u - y[4]) - 2.0 * zeta * w * y[5]]
        };
        let steps = 50_000;
        let h = half / f64::from(steps);
        let mut y = [0.0; 6];
        // Slow parts die out within a hundred halves.
        for half_number in 0..101 {
            // Even halves rise; the difference of levels is 2, and each step is the whole of it.
            y[0] += if half_number % 2 == 0 { 2.0 } else { -2.0 };
            let last = half_number == 100;
            for k in 0..steps {
                if last && k % 2500 == 1250 {
                    let t = f64::from(k) * h;
                    assert_close!(wave.at(t), y[4], within(2e-3));
                }
                let add = |y: &[f64; 6], d: &[f64; 6], by: f64| -> [f64; 6] {
                    std::array::from_fn(|i| y[i] + by * d[i])
                };
                let k1 = slope(&y);
                let k2 = slope(&add(&y, &k1, 0.5 * h));
                let k3 = slope(&add(&y, &k2, 0.5 * h));
                let k4 = slope(&add(&y, &k3, h));
                for i in 0..6 {
                    y[i] += h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]);
                }
            }
        }
    }

    proptest! {
        #[test]
        fn prop_samples_are_the_values_at_their_times(
            error in -0.5f64..0.5, droop in 0.0f64..0.1, hook in -0.1f64..0.1, ringing in 0.0f64..0.3,
            start in -1e-2f64..1e-2, interval in 1e-8f64..2e-6
        ) {
            let all = Disturbances { ringing, droop, hook, ..Disturbances::none() };
            let wave = Wave::new(1e3, LEVELS, shelf(error), &all);
            for (k, v) in wave.samples(start, interval, 700).into_iter().enumerate() {
                let exact = wave.at(start + k as f64 * interval);
                prop_assert!((v - exact).abs() < 1e-8, "{k}: {v} {exact}");
            }
        }

        #[test]
        fn prop_the_wave_repeats_with_opposite_halves(error in -0.5f64..0.5, t in -1e-2f64..1e-2) {
            let wave = Wave::new(1e3, (-1.0, 1.0), shelf(error), &Disturbances { droop: 0.05, ..Disturbances::none() });
            // Away from the jump of rounding at an edge.
            let phase = (t / 0.5e-3).rem_euclid(1.0);
            prop_assume!(phase > 1e-6 && phase < 1.0 - 1e-6);
            prop_assert!((wave.at(t) + wave.at(t + 0.5e-3)).abs() < 1e-6);
        }
    }
}
