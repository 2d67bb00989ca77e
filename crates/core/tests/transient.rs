//! The transient engine against closed forms, published figures, and a slow direct solution.
#![allow(missing_docs)]
#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    reason = "helpers of tests; the worst differences are worth seeing"
)]

use flattop_close::{assert_close, within};
use flattop_core::chain::{
    Against, Cable, Cause, Chain, CompensationBox, Contact, Coupling, Input, Node, Response, ResponseShape,
    Tip, Transfer,
};
use flattop_core::coupling::SecondOrder;
use flattop_core::divider::Shelf;
use flattop_core::signal::{Outside, Shape, Signal};
use flattop_core::transient::{Excitation, Grid, Motion, TransientError, Workspace};
use num_complex::Complex64;
use proptest::prelude::*;
use std::f64::consts::{PI, TAU};

/// gain·Π(1 − s/zero)/Π(1 − s/pole)·Σ share·exp(−s·delay), poles simple.
#[derive(Clone, Debug)]
struct Lumped {
    gain: f64,
    zeros: Vec<Complex64>,
    poles: Vec<Complex64>,
    /// (share, delay in s)
    echoes: Vec<(f64, f64)>,
}

impl Transfer for Lumped {
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
        let product = |places: &[Complex64]| places.iter().fold(Complex64::ONE, |a, p| a * (1.0 - s / p));
        let echoes: Complex64 = self.echoes.iter().map(|(share, t)| share * (-s * t).exp()).sum();
        (self.gain * product(&self.zeros) * echoes, product(&self.poles))
    }
}

fn real(places: &[f64]) -> Vec<Complex64> {
    places.iter().map(|p| Complex64::from(*p)).collect()
}

fn pair(omega: f64, damping: f64) -> Vec<Complex64> {
    let root = Complex64::new(damping * damping - 1.0, 0.0).sqrt();
    vec![omega * (-damping + root), omega * (-damping - root)]
}

impl Lumped {
    fn poles(poles: Vec<Complex64>) -> Self {
        Self { gain: 1.0, zeros: vec![], poles, echoes: vec![(1.0, 0.0)] }
    }

    /// Limit at high frequencies and residues, by the product formulas of partial fractions.
    fn fractions(&self) -> (f64, Vec<(Complex64, Complex64)>) {
        let n = |s: Complex64| self.zeros.iter().fold(Complex64::from(self.gain), |a, z| a * (1.0 - s / z));
        let terms = self.poles.iter().enumerate().map(|(i, p)| {
            let others = self.poles.iter().enumerate().filter(|(k, _)| *k != i);
            (*p, n(*p) * -p / others.fold(Complex64::ONE, |a, (_, q)| a * (1.0 - p / q)))
        });
        let direct = if self.zeros.len() == self.poles.len() {
            let ratio = self.poles.iter().product::<Complex64>() / self.zeros.iter().product::<Complex64>();
            self.gain * ratio.re
        } else {
            0.0
        };
        (direct, terms.collect())
    }

    /// Response to x from partial fractions; `event` gives the response of 1/(s − p) and of 1 to it at u > 0.
    fn answer(&self, t: f64, event: impl Fn(Option<Complex64>, f64) -> Complex64) -> f64 {
        let (direct, terms) = self.fractions();
        self.echoes
            .iter()
            .filter(|(_, delay)| t > *delay)
            .map(|(share, delay)| {
                let u = t - delay;
                let sum: Complex64 = terms.iter().map(|(p, r)| r * event(Some(*p), u)).sum();
                let through = if direct == 0.0 { 0.0 } else { direct * event(None, u).re };
                share * (sum.re + through)
            })
            .sum()
    }

    fn step(&self, t: f64) -> f64 {
        self.answer(t, |p, u| p.map_or(Complex64::ONE, |p| expm1(p * u) / p))
    }

    fn ramp(&self, t: f64) -> f64 {
        self.answer(t, |p, u| p.map_or(Complex64::from(u), |p| (expm1(p * u) / p - u) / p))
    }

    fn edge(&self, t: f64, rise: f64) -> f64 {
        if rise == 0.0 { self.step(t) } else { (self.ramp(t) - self.ramp(t - rise)) / rise }
    }

    fn exponential(&self, t: f64, tau: f64) -> f64 {
        let q = -1.0 / tau;
        self.step(t)
            - self.answer(t, |p, u| {
                let grown = Complex64::from((q * u).exp());
                p.map_or(grown, |p| if p == q.into() { u * grown } else { (grown - (p * u).exp()) / (q - p) })
            })
    }

    fn sine_onset(&self, t: f64, frequency: f64) -> f64 {
        let w = Complex64::new(0.0, TAU * frequency);
        self.answer(t, |p, u| {
            let wave = (w * u).exp();
            // Im of the response to exp(jωu), for real sums: half the difference to that of exp(−jωu).
            let part = |w: Complex64, wave: Complex64| p.map_or(wave, |p| (wave - (p * u).exp()) / (w - p));
            (part(w, wave) - part(-w, wave.conj())) / Complex64::new(0.0, 2.0)
        })
    }
}

fn expm1(z: Complex64) -> Complex64 {
    let half = (0.5 * z.im).sin();
    Complex64::new(z.re.exp_m1() * z.im.cos() - 2.0 * half * half, z.re.exp() * z.im.sin())
}

fn unit(shape: Shape) -> Signal {
    Signal { shape, low_v: 0.0, high_v: 1.0 }
}

fn edge(rise_s: f64) -> Signal {
    unit(Shape::Edge { rise_s })
}

fn motion(transfer: &impl Transfer, signal: &Signal) -> Motion {
    let mut workspace = Workspace::new();
    let grid = Grid::choose(transfer, signal, &mut workspace).unwrap();
    let samples = grid.samples().to_vec();
    Motion::new(transfer, signal, &grid, Some(&samples), &mut workspace).unwrap()
}

/// Times from well before an event to well after, on both scales.
fn times(shortest: f64, longest: f64) -> Vec<f64> {
    let mut list = vec![-longest, -shortest];
    list.extend((0..400).map(|k| shortest * 0.05 * f64::from(k)));
    list.extend((0..600).map(|k| shortest * (longest / shortest).powf(f64::from(k) / 599.0)));
    list
}

/// Compares everywhere and tells the worst difference (shown with `--nocapture`).
fn check(name: &str, motion: &Motion, times: &[f64], limit: f64, expected: impl Fn(f64) -> f64) {
    let mut worst = (0.0, 0.0);
    for &t in times {
        let off = (motion.value(t) - expected(t)).abs();
        if !(off <= worst.0) {
            worst = (off, t);
        }
    }
    println!("{name}: worst {:.1e} at {:.3e} s", worst.0, worst.1);
    assert_close!(worst.0, 0.0, within(limit), "{name} at {:e}", worst.1);
    assert!(motion.findings().is_empty(), "{name}: {:?}", motion.findings());
}

#[test]
fn shelf_steps_of_the_divider() {
    // divider.rs: 1 + e·exp(−t/τ) after an ideal step.
    for error in [-0.4, -0.01, 1e-6, 0.05, 0.6] {
        let (tau, band) = (90e-6, 2e9);
        let zero = (1.0 + error) * tau;
        let shelf = Lumped { zeros: real(&[-1.0 / zero]), ..Lumped::poles(real(&[-1.0 / tau])) };
        let known = Shelf { error, time_constant_s: tau };
        let ideal = motion(&shelf, &edge(0.0));
        check("shelf", &ideal, &times(1e-9, 1e-3), 1e-5, |t| known.step(t));
        // With one fast pole behind: partial fractions.
        let chain = Lumped { zeros: shelf.zeros, ..Lumped::poles(real(&[-1.0 / tau, -band])) };
        let m = motion(&chain, &edge(0.0));
        check("shelf with a band limit", &m, &times(1e-10, 1e-3), 1e-5, |t| chain.step(t));
    }
}

#[test]
fn one_pole_answers_every_shape() {
    let pole = Lumped::poles(real(&[-1e8]));
    for rise in [0.0, 1e-10, 5e-9, 1e-6] {
        let m = motion(&pole, &edge(rise));
        check("edge", &m, &times(1e-10, 3e-6), 5e-6, |t| pole.edge(t, rise));
        let pulse = unit(Shape::Pulse { width_s: 2e-6, rise_s: rise, fall_s: 3.0 * rise });
        let down = 2e-6 - rise;
        let m = motion(&pole, &pulse);
        check("pulse", &m, &times(1e-10, 9e-6), 1e-5, |t| {
            pole.edge(t, rise) - pole.edge(t - down, 3.0 * rise)
        });
    }
    for tau in [1e-12, 1e-9, 1e-8, 3e-7, 1e-2] {
        let m = motion(&pole, &unit(Shape::Exponential { time_constant_s: tau, width_s: None }));
        check("exponential", &m, &times(1e-10, 3e-6), 5e-6, |t| pole.exponential(t, tau));
        let m = motion(&pole, &unit(Shape::Exponential { time_constant_s: tau, width_s: Some(5e-7) }));
        check("exponential pulse", &m, &times(1e-10, 3e-6), 1e-5, |t| {
            pole.exponential(t, tau) - pole.exponential(t - 5e-7, tau)
        });
    }
    for (frequency_hz, cycles) in [(50.0, 3), (1e6, 5000), (3e7, 10), (1e9, 7)] {
        let m = motion(&pole, &unit(Shape::Burst { frequency_hz, cycles }));
        let end = f64::from(cycles) / frequency_hz;
        check("burst", &m, &times(0.01 / frequency_hz, 2.0 * end), 5e-6, |t| {
            0.5 + 0.5 * (pole.sine_onset(t, frequency_hz) - pole.sine_onset(t - end, frequency_hz))
        });
        let m = motion(&pole, &unit(Shape::Sine { frequency_hz }));
        let h = pole.at_frequency(frequency_hz);
        check("sine", &m, &times(0.01 / frequency_hz, 2.0 * end), 1e-9, |t| {
            0.5 + 0.5 * h.norm() * (TAU * frequency_hz * t + h.arg()).sin()
        });
    }
}

#[test]
fn second_order_from_ringing_to_sluggish() {
    // coupling::SecondOrder, checked against published tables there.
    for damping in [0.02, 0.1, 0.4, 0.7, 0.999_999, 1.3, 2.0] {
        let omega = TAU * 150e6;
        let chain = Lumped::poles(pair(omega, damping));
        let m = motion(&chain, &edge(0.0));
        let known = SecondOrder { damping };
        check(&format!("ζ = {damping}"), &m, &times(1e-10, 2e-6), 2e-5, |t| known.step(omega * t));
    }
}

#[test]
fn delays_and_reflections_are_sums_of_delayed_steps() {
    // A lossless line of delay T between two mismatches with round-trip factor ρ: Σ (1 − ρ)ρⁿ at (2n + 1)T, behind two poles.
    for (rho, poles) in [(0.0, vec![-2e9, -3e9]), (0.35, vec![-2e9, -3e9]), (-0.6, vec![-1.2e9, -4e9])] {
        let t_line = 6.1e-9;
        let echoes =
            (0..60).map(|n| ((1.0 - rho) * f64::powi(rho, n), f64::from(2 * n + 1) * t_line)).collect();
        let chain = Lumped { echoes, ..Lumped::poles(real(&poles)) };
        for rise in [0.0, 1e-9] {
            let m = motion(&chain, &edge(rise));
            if rise == 0.0 && rho < -0.5 {
                // Loud echoes of an ideal step: the number of samples binds, which is told, and costs this much.
                assert_eq!(m.findings()[0].code, "response-bandwidth-cut");
                for t in times(1e-9, 5e-7) {
                    assert_close!(m.value(t), chain.step(t), within(3e-4));
                }
                continue;
            }
            check(&format!("ρ = {rho}"), &m, &times(1e-9, 5e-7), 2e-5, |t| chain.edge(t, rise));
        }
    }
    // One pole only behind a delay, with an ideal step.
    let chain = Lumped { echoes: vec![(1.0, 7e-9)], ..Lumped::poles(real(&[-1.26e9])) };
    let m = motion(&chain, &edge(0.0));
    let mut at = times(1e-9, 5e-7);
    at.extend((0..2000).map(|k| 7e-9 + 1e-13 * f64::from(k - 1000)));
    check("delay and one pole", &m, &at, 5e-5, |t| chain.step(t));
}

#[test]
fn both_ends_of_the_scale_in_one_answer() {
    // A 0.5 ns edge, 350 MHz, a 100 µs shelf, 10 Hz of AC coupling and a ringing lead at once.
    let mut poles = real(&[-1e4, -TAU * 10.0, -TAU * 350e6]);
    poles.extend(pair(TAU * 120e6, 0.15));
    let chain = Lumped {
        gain: -1e-30 / (TAU * 10.0),
        zeros: real(&[-1e-30, -1.0 / (0.93 * 1e-4)]),
        poles,
        echoes: vec![(1.0, 5e-9)],
    };
    // gain·(1 − s/zero) with the zero at (nearly) 0: s/(2π·10 Hz).
    let chain = Lumped { gain: chain.gain.abs(), ..chain };
    let m = motion(&chain, &edge(0.5e-9));
    check("both ends", &m, &times(1e-10, 0.1), 2e-5, |t| chain.edge(t, 0.5e-9));
    let wave = unit(Shape::Trapezoid { frequency_hz: 1e3, duty: 0.3, rise_s: 0.5e-9, fall_s: 2e-9 });
    let m = motion(&chain, &wave);
    // Settled: many single shots before.
    let shots = |t: f64| -> f64 {
        let phase = t.rem_euclid(1e-3);
        (-300..=1)
            .map(|k| {
                let u = phase - 1e-3 * f64::from(k);
                chain.edge(u, 0.5e-9) - chain.edge(u - (0.3e-3 - 0.75e-9), 2e-9)
            })
            .sum()
    };
    let some: Vec<f64> = times(1e-9, 5e-3).into_iter().step_by(7).collect();
    check("both ends, settled", &m, &some, 3e-5, shots);
}

#[test]
fn settled_state_of_fast_waves_is_the_sum_of_all_before() {
    let mut poles = real(&[-1e7]);
    poles.extend(pair(TAU * 200e6, 0.2));
    let chain = Lumped { zeros: real(&[-0.9e7]), ..Lumped::poles(poles) };
    for frequency_hz in [100e6, 20e6, 3e6, 0.5e6] {
        for rise in [0.0, 1e-9] {
            let shape = Shape::Trapezoid { frequency_hz, duty: 0.4, rise_s: rise, fall_s: 0.0 };
            let m = motion(&chain, &unit(shape));
            let down = 0.5 * rise + 0.4 / frequency_hz;
            let back = (4e-6 * frequency_hz).ceil() as i32;
            let at: Vec<f64> = (0..301).map(|k| 0.01 * f64::from(k) / frequency_hz - 0.3e-6).collect();
            check(&format!("{frequency_hz:e} Hz"), &m, &at, 2e-5, |t| {
                let phase = t.rem_euclid(1.0 / frequency_hz);
                (0..=back)
                    .map(|k| phase + f64::from(k) / frequency_hz)
                    .map(|u| chain.edge(u, rise) - chain.edge(u - down, 0.0))
                    .sum()
            });
        }
    }
}

/// exp(c·s²) with magnitude 2^(−(f/f3dB)²/2).
struct Gaussian {
    bandwidth_hz: f64,
    slow: Lumped,
}

impl Transfer for Gaussian {
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
        let x = s / (TAU * self.bandwidth_hz);
        let (n, d) = self.slow.quotient(s);
        (n * (0.5 * std::f64::consts::LN_2 * x * x).exp(), d)
    }
}

#[test]
fn gaussian_step_is_an_error_function() {
    let plain = Gaussian { bandwidth_hz: 200e6, slow: Lumped::poles(vec![]) };
    let m = motion(&plain, &edge(0.0));
    // exp(−σ²ω²/2) has the step Φ(t/σ): σ = √(ln 2)/(2π·f3dB).
    let sigma = std::f64::consts::LN_2.sqrt() / (TAU * 200e6);
    let at: Vec<f64> = (-800..800).map(|k| 1e-11 * f64::from(k)).chain([-1.0, -1e-6, 1e-6, 1.0]).collect();
    check("Gaussian", &m, &at, 1e-6, |t| 0.5 * libm::erfc(-t / sigma / 2f64.sqrt()));
}

fn laguerre(roots_of: &[f64]) -> Vec<Complex64> {
    // Durand–Kerner on ascending coefficients.
    let n = roots_of.len() - 1;
    let lead = roots_of[n];
    let radius = (roots_of[0] / lead).abs().powf(1.0 / n as f64);
    let mut z: Vec<Complex64> =
        (0..n).map(|k| Complex64::from_polar(radius, 0.4 + TAU * k as f64 / n as f64)).collect();
    for _ in 0..500 {
        for i in 0..n {
            let value = roots_of.iter().rev().fold(Complex64::ZERO, |a, c| a * z[i] + c) / lead;
            let others = (0..n).filter(|k| *k != i).fold(Complex64::ONE, |a, k| a * (z[i] - z[k]));
            z[i] -= value / others;
        }
    }
    z
}

#[test]
fn overshoot_and_transition_of_published_filters() {
    // Rows B-03 to B-06 of the validation dossier, reference/published/rise_time_bandwidth_products.csv.
    let text = include_str!("../../../reference/published/rise_time_bandwidth_products.csv");
    for line in text.lines().skip(1) {
        let row: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let n = row[0] as usize;
        let butterworth: Vec<Complex64> =
            (0..n).map(|k| Complex64::cis(PI * (0.5 + (2 * k + 1) as f64 / (2 * n) as f64))).collect();
        // Bessel polynomial: (2n − k)!/(2^(n−k)·k!·(n − k)!), ascending.
        let factorial = |k: usize| (1..=k).map(|x| x as f64).product::<f64>();
        let bessel: Vec<f64> = (0..=n)
            .map(|k| factorial(2 * n - k) / (2f64.powi((n - k) as i32) * factorial(k) * factorial(n - k)))
            .collect();
        for (poles, product, overshoot) in
            [(butterworth, row[1], row[2]), (laguerre(&bessel), row[3], row[4])]
        {
            let chain = Lumped::poles(poles.iter().map(|p| 1e9 * p).collect());
            let m = motion(&chain, &edge(0.0));
            let bisect = |low: f64, high: f64, above: &dyn Fn(f64) -> bool| {
                (0..60).fold((low, high), |(a, b), _| {
                    let c = 0.5 * (a + b);
                    if above(c) { (a, c) } else { (c, b) }
                })
            };
            let corner = bisect(1e5, 1e10, &|f| chain.at_frequency(f).norm_sqr() < 0.5).0;
            let fine: Vec<f64> = (0..40_000).map(|k| 1e-12 * f64::from(k)).collect();
            let values = m.values(&fine);
            let cross = |level: f64| {
                let k = values.iter().position(|v| *v >= level).unwrap();
                fine[k - 1] + 1e-12 * (level - values[k - 1]) / (values[k] - values[k - 1])
            };
            let peak = values.iter().copied().fold(0.0, f64::max);
            assert_close!((cross(0.9) - cross(0.1)) * corner, product, within(2e-5), "order {n}");
            assert_close!(100.0 * (peak - 1.0).max(0.0), overshoot, within(2e-3), "order {n}");
        }
    }
}

/// Three sections of series R–L and shunt C, driven at one end, with a resistor across the last C.
struct Ladder {
    r: f64,
    l: f64,
    c: f64,
    load: f64,
}

impl Transfer for Ladder {
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
        // From the far end: voltage 1, current of the load.
        let (mut v, mut i) = (Complex64::ONE, Complex64::from(1.0 / self.load));
        for _ in 0..3 {
            i += v * s * self.c;
            v += i * (self.r + s * self.l);
        }
        (Complex64::ONE, v)
    }
}

#[test]
fn a_ladder_agrees_with_runge_kutta_on_its_states() {
    let ladder = Ladder { r: 15.0, l: 40e-9, c: 12e-12, load: 300.0 };
    let rise = 1.5e-9;
    let drive = |t: f64| (t / rise).clamp(0.0, 1.0);
    let rate = |t: f64, x: &[f64; 6]| {
        let mut d = [0.0; 6];
        for k in 0..3 {
            let before = if k == 0 { drive(t) } else { x[2 * k - 1] };
            d[2 * k] = (before - self_r(&ladder) * x[2 * k] - x[2 * k + 1]) / ladder.l;
            let after = if k == 2 { x[5] / ladder.load } else { x[2 * k + 2] };
            d[2 * k + 1] = (x[2 * k] - after) / ladder.c;
        }
        d
    };
    let m = motion(&ladder, &edge(rise));
    // Fourth order, 1 ps: kinks of the drive fall on steps.
    let h = 1e-12;
    let mut x = [0.0; 6];
    let mut worst = 0f64;
    for step in 0..60_000 {
        let t = h * f64::from(step);
        worst = worst.max((m.value(t) - x[5]).abs());
        let add = |x: &[f64; 6], d: &[f64; 6], by: f64| std::array::from_fn::<_, 6, _>(|k| x[k] + by * d[k]);
        let k1 = rate(t, &x);
        let k2 = rate(t + 0.5 * h, &add(&x, &k1, 0.5 * h));
        let k3 = rate(t + 0.5 * h, &add(&x, &k2, 0.5 * h));
        let k4 = rate(t + h, &add(&x, &k3, h));
        for k in 0..6 {
            x[k] += h / 6.0 * (k1[k] + 2.0 * k2[k] + 2.0 * k3[k] + k4[k]);
        }
    }
    println!("ladder: worst {worst:.1e}");
    assert_close!(worst, 0.0, within(1e-5));
    assert_close!(m.value(1.0), 300.0 / 345.0, within(1e-9));
}

fn self_r(ladder: &Ladder) -> f64 {
    ladder.r
}

fn ringing() -> Lumped {
    let mut poles = real(&[-1e4, -3e9]);
    poles.extend(pair(1e9, 0.1));
    Lumped { zeros: real(&[-1.1e4]), echoes: vec![(0.8, 3e-9), (0.2, 9e-9)], ..Lumped::poles(poles) }
}

#[test]
fn points_repeat_and_an_edge_changes_its_duration_on_the_same_table() {
    let chain = ringing();
    // The same trapezoid twice.
    for frequency_hz in [50e6, 100e3] {
        let period_s = 1.0 / frequency_hz;
        let shape = Shape::Trapezoid { frequency_hz, duty: 0.5, rise_s: 1e-9, fall_s: 2e-9 };
        let down = 0.5 * period_s - 0.5e-9;
        let points = Shape::Points {
            time_s: vec![0.0, 1e-9, down, down + 2e-9],
            value_v: vec![0.0, 1.0, 1.0, 0.0],
            outside: Outside::Repeats { period_s },
        };
        let (a, b) = (motion(&chain, &unit(shape)), motion(&chain, &unit(points)));
        for k in 0..200 {
            let t = 0.013 * f64::from(k) * period_s;
            assert_close!(b.value(t), a.value(t), within(1e-7));
        }
    }
    let ideal = motion(&chain, &edge(0.0));
    for rise in [1e-13, 1e-10, 3e-9, 1e-5] {
        let m = ideal.for_signal(&edge(rise)).unwrap();
        check("retimed", &m, &times(1e-10, 1e-3), 2e-5, |t| chain.edge(t, rise));
    }
    let slow = motion(&chain, &edge(1e-6));
    let told = slow.for_signal(&edge(1e-10)).unwrap();
    assert!(told.findings().iter().any(|f| f.code == "edge-faster-than-grid"));
    assert_eq!(
        slow.for_signal(&unit(Shape::Sine { frequency_hz: 1e3 })).unwrap_err(),
        TransientError::OtherSignal
    );
}

#[test]
fn what_does_not_fit_is_told() {
    // Rings for milliseconds at 1 GHz.
    let chain = Lumped::poles(pair(TAU * 1e9, 1e-6));
    let m = motion(&chain, &edge(0.0));
    assert!(
        m.findings().iter().any(|f| f.code == "response-tail-long" || f.code == "response-bandwidth-cut")
    );
    // An ideal step through a bare delay.
    let chain = Lumped { echoes: vec![(1.0, 1e-9)], ..Lumped::poles(vec![]) };
    let m = motion(&chain, &edge(0.0));
    assert!(m.findings().iter().any(|f| f.code == "step-not-limited"));
    assert_close!(m.value(1.001e-9), 1.0, within(1e-6));
    assert_close!(m.value(0.999e-9), 0.0, within(1e-6));
}

fn probe(shape: ResponseShape, skin_corner_hz: Option<f64>) -> Chain {
    Chain {
        node: Node { resistance_ohm: 50.0, capacitance_f: 3e-12 },
        contact: Contact { inductance_h: 100e-9, resistance_ohm: 0.0 },
        tip: Tip {
            body_capacitance_f: 3e-12,
            resistance_ohm: 9e6,
            capacitance_f: 11e-12,
            series_resistance_ohm: 50.0,
        },
        cable: Cable {
            length_m: 1.2,
            resistance_ohm_per_m: 160.0,
            inductance_h_per_m: 330e-9,
            capacitance_f_per_m: 60e-12,
            conductance_s_per_m: 0.0,
            skin_corner_hz,
        },
        compensation_box: CompensationBox { series_resistance_ohm: 40.0, capacitance_f: 10e-12 },
        input: Input {
            resistance_ohm: 1e6,
            capacitance_f: 20e-12,
            response: Response { shape, bandwidth_hz: 200e6 },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: vec![],
        ratio: 10.0,
    }
}

#[test]
fn the_whole_chain_and_its_variants_agree_with_a_plain_fourier_integral() {
    // y(t) = H(0)/2 + (1/π)∫Im(H·exp(jω(t − r/2)))·sinc(ωr/2)·dω/ω, by the trapezoid rule on ln ω: another way entirely.
    let rise = 1e-9;
    let (from, to, step) = (0f64, 1e12_f64.ln(), 2e-4);
    for (shape, skin) in [(ResponseShape::Gaussian, None), (ResponseShape::Bessel4, Some(1e6))] {
        let chain = probe(shape, skin);
        let mut variants = vec![chain.against(Against::UnloadedNode)];
        variants.extend(Cause::ALL.map(|cause| chain.against_without(Against::UnloadedNode, cause)));
        let list: Vec<&dyn Transfer> = variants.iter().map(|v| v as &dyn Transfer).collect();
        let mut workspace = Workspace::new();
        let grid = Grid::choose_for_all(&list, &edge(rise), &mut workspace).unwrap();
        println!("{} samples", grid.frequencies().len());
        for (k, variant) in variants.iter().enumerate() {
            let m = Motion::new(variant, &edge(rise), &grid, None, &mut workspace).unwrap();
            let table: Vec<(f64, Complex64)> = (0..((to - from) / step) as usize)
                .map(|k| {
                    let omega = (from + step * k as f64).exp();
                    let half = 0.5 * omega * rise;
                    (omega, variant.at(Complex64::new(0.0, omega)) * (half.sin() / half))
                })
                .collect();
            let settled = variant.at(Complex64::new(0.0, 1e-3)).re;
            let at = [-2e-9, 0.5e-9, 6e-9, 7.5e-9, 9e-9, 12e-9, 20e-9, 33e-9, 60e-9, 150e-9, 400e-9];
            check(&format!("variant {k}"), &m, &at, 2e-5, |t| {
                let sum: f64 =
                    table.iter().map(|(omega, h)| (h * Complex64::cis(omega * (t - 0.5 * rise))).im).sum();
                0.5 * settled + sum * step / PI
            });
        }
    }
    assert_eq!(
        Grid::choose_for_all(&[], &edge(rise), &mut Workspace::new()).unwrap_err(),
        TransientError::NoChain
    );
}

#[test]
fn a_variant_beyond_its_grid_is_told() {
    let mut workspace = Workspace::new();
    for signal in
        [edge(1e-9), unit(Shape::Trapezoid { frequency_hz: 50e6, duty: 0.5, rise_s: 1e-9, fall_s: 1e-9 })]
    {
        let base = Lumped::poles(pair(1e9, 0.7));
        let grid = Grid::choose(&base, &signal, &mut workspace).unwrap();
        // Another damping on the same grid is as good as on its own.
        let near = Lumped::poles(pair(1.03e9, 0.65));
        let m = Motion::new(&near, &signal, &grid, None, &mut workspace).unwrap();
        assert!(m.findings().is_empty(), "{:?}", m.findings());
        let own = motion(&near, &signal);
        for k in 0..100 {
            assert_close!(m.value(1e-10 * f64::from(k)), own.value(1e-10 * f64::from(k)), within(1e-5));
        }
        let fast = Lumped::poles(pair(3e10, 0.7));
        let m = Motion::new(&fast, &signal, &grid, None, &mut workspace).unwrap();
        assert_eq!(m.findings()[0].code, "response-bandwidth-cut");
        let few = grid.samples()[1..].to_vec();
        assert!(matches!(
            Motion::new(&base, &signal, &grid, Some(&few), &mut workspace),
            Err(TransientError::Samples { .. })
        ));
    }
    let grid = Grid::choose(&Lumped::poles(pair(1e9, 0.7)), &edge(1e-9), &mut workspace).unwrap();
    let ringing = Lumped::poles(pair(1e9, 0.003));
    let m = Motion::new(&ringing, &edge(1e-9), &grid, None, &mut workspace).unwrap();
    assert!(m.findings().iter().any(|f| f.code == "response-tail-long"));
}

#[test]
fn signals_out_of_range_are_refused() {
    for shape in [
        Shape::Edge { rise_s: -1.0 },
        Shape::Edge { rise_s: f64::NAN },
        Shape::Sine { frequency_hz: 0.0 },
        Shape::Pulse { width_s: 1e-9, rise_s: 2e-9, fall_s: 2e-9 },
        Shape::Trapezoid { frequency_hz: 1e3, duty: 1.0, rise_s: 0.0, fall_s: 0.0 },
        Shape::Burst { frequency_hz: 1e3, cycles: 0 },
        Shape::Points { time_s: vec![0.0, 0.0], value_v: vec![1.0, 1.0], outside: Outside::Holds },
        Shape::Points { time_s: vec![], value_v: vec![], outside: Outside::Holds },
        Shape::Points {
            time_s: vec![0.0, 1.0],
            value_v: vec![1.0, 1.0],
            outside: Outside::Repeats { period_s: 1.0 },
        },
    ] {
        assert!(Excitation::new(&unit(shape.clone())).is_err(), "{shape:?}");
    }
}

fn points(value_v: Vec<f64>, from: f64) -> Signal {
    let time_s = (0..value_v.len()).map(|k| from + 1.7e-9 * k as f64).collect();
    unit(Shape::Points { time_s, value_v, outside: Outside::Holds })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn prop_answers_are_linear_and_move_with_the_signal(
        a in prop::collection::vec(-1.0..1.0_f64, 9), b in prop::collection::vec(-1.0..1.0_f64, 9), shift in -1e-6..1e-6_f64,
    ) {
        let chain = ringing();
        let sum: Vec<f64> = a.iter().zip(&b).map(|(a, b)| a + 2.0 * b).collect();
        let shifted = motion(&chain, &points(a.clone(), shift));
        let [a, b, sum] = [a, b, sum].map(|values| motion(&chain, &points(values, 0.0)));
        for k in 0..60 {
            let t = 1e-9 * f64::from(k * k);
            assert_close!(sum.value(t), a.value(t) + 2.0 * b.value(t), within(3e-5));
            assert_close!(shifted.value(t + shift), a.value(t), within(1e-6));
        }
    }

    #[test]
    fn prop_more_points_on_the_same_lines_change_nothing(
        values in prop::collection::vec(-1.0..1.0_f64, 8), parts in 2..40_usize,
    ) {
        let chain = ringing();
        let few = points(values.clone(), 0.0);
        let mut time_s = Vec::new();
        let mut value_v = Vec::new();
        for k in 0..7 * parts + 1 {
            let (i, part) = ((k / parts).min(6), k as f64 / parts as f64);
            time_s.push(1.7e-9 * part);
            value_v.push(values[i] + (part - i as f64) * (values[i + 1] - values[i]));
        }
        let many = unit(Shape::Points { time_s, value_v, outside: Outside::Holds });
        let (few, many) = (motion(&chain, &few), motion(&chain, &many));
        for k in 0..60 {
            let t = 1e-9 * f64::from(k * k);
            assert_close!(many.value(t), few.value(t), within(1e-9));
        }
    }

    #[test]
    fn prop_nothing_comes_before_its_cause(damping in 0.03..2.0_f64, rise in 0.0..1e-8_f64, delay in 0.0..2e-8_f64) {
        let chain = Lumped { echoes: vec![(1.0, delay)], ..Lumped::poles(pair(1e9, damping)) };
        let m = motion(&chain, &edge(rise));
        // What a grid leaves out (3e-6 above its end, 1e-6 after its tables) is a share of the largest |H|: the resonance.
        let resonance = if damping < 0.5f64.sqrt() { 0.5 / (damping * (1.0 - damping * damping).sqrt()) } else { 1.0 };
        for k in 0..200 {
            let t = delay - 2e-10 * f64::from(k);
            assert_close!(m.value(t), 0.0, within(4e-6 * resonance));
        }
    }
}
