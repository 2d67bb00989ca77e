//! Pulse figures of waveforms whose figures are known in closed form, of worked examples, and their symmetries.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use flattop_close::{assert_close, printed, relative, within};
use flattop_core::coupling::SecondOrder;
use flattop_core::numeric::stats::normal_cdf;
use flattop_core::pulse::{
    Direction, Figures, LevelSource, LevelStatistic, Missing, Options, PulseError, Sampling, Span,
    of_function, of_record,
};
use proptest::prelude::*;

const HISTOGRAM: LevelSource = LevelSource::Histogram { bins: 256, statistic: LevelStatistic::Mode };
const OPTIONS: Options = Options { levels: HISTOGRAM, settling_band: 0.01 };

fn look(f: impl Fn(f64) -> f64, start_s: f64, end_s: f64, at: &[f64], finest_s: f64) -> Figures {
    let sampling = Sampling { window: Span { start_s, end_s }, transitions_s: at, finest_s, points: 2000 };
    of_function(f, &sampling, &OPTIONS).unwrap()
}

/// 10–90 %, 20–80 %, 50 % instant and overshoot of the first transition.
fn four(figures: &Figures) -> [f64; 4] {
    let t = &figures.transitions[0];
    [t.duration_10_90_s.unwrap(), t.duration_20_80_s.unwrap(), t.middle_s().unwrap(), t.overshoot.unwrap()]
}

#[test]
fn one_pole() {
    // Closed forms (elementary).
    for tau in [1e-9, 3.0] {
        let figures = look(
            |t| if t < 0.0 { 0.0 } else { -(-t / tau).exp_m1() },
            -20.0 * tau,
            40.0 * tau,
            &[0.0],
            0.05 * tau,
        );
        let expected = [9f64.ln() * tau, 4f64.ln() * tau, 2f64.ln() * tau, 0.0];
        assert_close!(four(&figures), expected, flattop_close::Tolerance { absolute: 1e-9, relative: 1e-6 });
        let levels = figures.levels.unwrap();
        assert_close!([levels.low_v, levels.high_v], [0.0, 1.0], within(1e-9));
        // Settles to 1 % after ln 100.
        let t = figures.transitions[0];
        assert_close!(t.settling_duration_s.unwrap(), (100f64.ln() - 2f64.ln()) * tau, relative(1e-6));
        assert_eq!(t.undershoot, Ok(0.0));
        assert_eq!(t.preshoot, Ok(0.0));
        assert_eq!(figures.period_s, Err(Missing::NoThirdTransition));
    }
}

#[test]
fn gaussian() {
    // 2·z(0.9) and 2·z(0.8) (elementary).
    let figures = look(normal_cdf, -30.0, 30.0, &[], 0.1);
    assert_close!(four(&figures), [2.563_103_1, 1.683_242_5, 0.0, 0.0], within(1e-6));
}

#[test]
fn ramp() {
    let figures = look(|t| t.clamp(0.0, 1.0), -20.0, 30.0, &[0.0], 0.05);
    assert_close!(four(&figures), [0.8, 0.6, 0.5, 0.0], within(1e-9));
    assert_close!(figures.transitions[0].settling_duration_s.unwrap(), 0.49, within(1e-9));
}

#[test]
fn second_order_table() {
    // Table worked out with SciPy; 0.707107 stands for 1/√2.
    let table = include_str!("../../../reference/published/second_order_step.csv");
    for line in table.lines().skip(1) {
        let cells: Vec<f64> = line.split(',').map(|c| c.parse().unwrap()).collect();
        let half = flattop_close::is_close(cells[0].powi(2), 0.5, within(1e-6));
        let damping = if half { 0.5_f64.sqrt() } else { cells[0] };
        let response = SecondOrder { damping };
        // Long enough to settle to 1e-9.
        let slowest = if damping < 1.0 { damping } else { damping - (damping * damping - 1.0).sqrt() };
        let figures = look(|t| response.step(t), -30.0, 60.0 / slowest.max(0.2), &[0.0], 0.05);
        let [a, b, c, overshoot] = four(&figures);
        assert_close!([a, b, c], [cells[2], cells[3], cells[4]], within(2e-6), "damping {damping}");
        assert_close!(100.0 * overshoot, cells[5], within(2e-6), "damping {damping}");
        if damping < 0.9 {
            // The second extreme goes back by the square of the first (standard result, from memory).
            let undershoot = figures.transitions[0].undershoot.unwrap();
            assert_close!(undershoot, response.overshoot().powi(2), within(2e-6), "damping {damping}");
        }
    }
}

/// Straight lines between corners.
fn lines(corners: &[(f64, f64)], t: f64) -> f64 {
    let k = corners.partition_point(|c| c.0 <= t).clamp(1, corners.len() - 1);
    let ((t0, v0), (t1, v1)) = (corners[k - 1], corners[k]);
    v0 + (v1 - v0) * ((t - t0) / (t1 - t0)).clamp(0.0, 1.0)
}

#[test]
fn screen_readings_of_a_rectangular_wave() {
    // P-09: D. A. Bell, *Solid State Pulse Circuits*, Ex. 1-1, p. 9: 3.5 div of 1 V; 0.1 ms/div, period 6, width 2.5 div.
    let wave = |t: f64| if (t / 0.6e-3).rem_euclid(1.0) < 2.5 / 6.0 { 3.5 } else { 0.0 };
    let figures = look(wave, -0.1e-3, 1.5e-3, &[0.0, 0.25e-3, 0.6e-3, 0.85e-3, 1.2e-3], 1e-8);
    let (period, width) = (figures.period_s.unwrap(), figures.pulse_duration_s.unwrap());
    assert_close!(figures.levels.unwrap().amplitude_v(), 3.5, printed(0.1));
    assert_close!(1.0 / period, 1667.0, printed(1.0));
    assert_close!(1e3 * width, 0.25, printed(0.01));
    let duty = figures.duty.unwrap();
    assert_close!(100.0 * duty, 41.7, printed(0.1));
    assert_close!(duty / (1.0 - duty), 0.71, printed(0.01));
    // Jumps take no time.
    assert_close!(figures.transitions[0].duration_10_90_s.unwrap(), 0.0, within(1e-12));
}

#[test]
fn screen_readings_of_a_tilted_pulse() {
    // P-10: Bell, Ex. 1-2, p. 12: top falls 380 → 350 mV; 100 µs/div: period 5, width 2.2, rise 0.3, fall 0.4 div.
    // Rise and fall are read from 10 to 90 % (of 365 mV).
    let (period, width) = (500e-6, 220e-6);
    let (rise, fall) = (30e-6 / 0.8 * 380.0 / 365.0, 40e-6 / 0.8 * 350.0 / 365.0);
    // The straight top is extended to the half-way points of the ramps.
    let ramp_middle = 0.5 * 365.0;
    let corners = |start: f64| {
        let (up, down) = (start, start + width);
        [
            (up - rise * ramp_middle / 380.0, 0.0),
            (up + rise * (1.0 - ramp_middle / 380.0), 380.0),
            (down - fall * (1.0 - ramp_middle / 350.0), 350.0),
            (down + fall * ramp_middle / 350.0, 0.0),
        ]
    };
    let all: Vec<(f64, f64)> = (0..3).flat_map(|k| corners(k as f64 * period)).collect();
    let figures = look(|t| lines(&all, t), -200e-6, 1400e-6, &[], 1e-6);
    let levels = figures.levels.unwrap();
    // The histogram of an even slope is flat: its level is the middle. The pieces of the ramps above half-way fall in too.
    assert_close!(levels.amplitude_v(), 365.0, within(1.0));
    let (up, down) = (&figures.transitions[0], &figures.transitions[1]);
    assert_eq!((up.direction, down.direction), (Direction::Rising, Direction::Falling));
    assert_close!(1e6 * up.duration_10_90_s.unwrap(), 30.0, within(0.5));
    assert_close!(1e6 * down.duration_10_90_s.unwrap(), 40.0, within(0.5));
    assert_close!(1e6 * figures.pulse_duration_s.unwrap(), 220.0, printed(1.0));
    assert_close!(1.0 / figures.period_s.unwrap(), 2000.0, printed(1.0));
    assert_close!(100.0 * figures.duty.unwrap(), 44.0, printed(0.1));
    let duty = figures.duty.unwrap();
    assert_close!(duty / (1.0 - duty), 0.79, printed(0.01));
    // Slope·220 µs over the mean. Between the ramps' ends the top lasts less than 220 µs: 8.2 % becomes that of the extended line.
    let flat = width - rise * (1.0 - ramp_middle / 380.0) - fall * (1.0 - ramp_middle / 350.0);
    let expected = 30.0 / flat * width / levels.amplitude_v();
    assert_close!(up.tilt.unwrap(), expected, within(0.005));
    // (b) 0.5 div in 2.25 div: 22.2 %, on edges that take no time.
    let step = |t: f64| if (0.0..1.0).contains(&t) { 2.5 - 0.5 * t } else { 0.0 };
    let figures = look(step, -1.0, 2.0, &[0.0, 1.0], 1e-4);
    assert_close!(100.0 * figures.transitions[0].tilt.unwrap(), 22.2, printed(0.1));
    let step = |t: f64| if (0.0..1.0).contains(&t) { 380.0 - 30.0 * t } else { 0.0 };
    let figures = look(step, -1.0, 2.0, &[0.0, 1.0], 1e-4);
    assert_close!(100.0 * figures.transitions[0].tilt.unwrap(), 8.219, printed(0.001));
}

/// A fast edge with a slow tail, as a divider off by `e` shows it.
fn shelf(t: f64, e: f64, fast: f64, slow: f64) -> f64 {
    if t < 0.0 { 0.0 } else { -(-t / fast).exp_m1() + e * ((-t / slow).exp() - (-t / fast).exp()) }
}

#[test]
fn a_half_nanosecond_edge_with_a_tail_of_a_hundred_microseconds() {
    let (fast, slow) = (0.5e-9 / 9f64.ln(), 100e-6);
    for e in [0.1, 0.02, -0.05, -0.25] {
        let at = [0.0];
        let figures = look(|t| shelf(t - 6e-9, e, fast, slow), -1e-3, 3e-3, &at, 5e-11);
        let levels = figures.levels.unwrap();
        assert_close!([levels.low_v, levels.high_v], [0.0, 1.0], within(1e-7), "e {e}");
        let t = figures.transitions[0];
        // The edge itself: the pole rises to 1+e, the slow part does not move meanwhile.
        let instant = |share: f64| 6e-9 - fast * (-share / (1.0 + e)).ln_1p();
        assert_close!(t.instants_s[0].unwrap(), instant(0.1), within(1e-14));
        assert_close!(t.middle_s().unwrap(), instant(0.5), within(1e-14));
        if e > -0.1 {
            assert_close!(t.duration_10_90_s.unwrap(), instant(0.9) - instant(0.1), relative(1e-3), "e {e}");
        } else {
            // 90 % is reached by the slow part only.
            let slow_instant = slow * (e.abs() / 0.1).ln();
            assert_close!(t.instants_s[4].unwrap(), slow_instant, relative(1e-3), "e {e}");
        }
        let top = if e > 0.0 { e } else { 0.0 };
        assert_close!(t.overshoot.unwrap(), top, within(1e-4), "e {e}");
        let settled = slow * (e.abs() / 0.01).ln();
        assert_close!(t.settling_duration_s.unwrap(), settled, relative(1e-3), "e {e}");
    }
}

#[test]
fn preshoot_is_the_other_way_before_the_edge() {
    let wave = |t: f64| normal_cdf(t) - 0.05 * (-0.5 * (t + 6.0) * (t + 6.0)).exp();
    let figures = look(wave, -40.0, 40.0, &[], 0.1);
    let t = figures.transitions[0];
    assert_close!(t.preshoot.unwrap(), 0.05, within(1e-6));
    assert_close!(t.overshoot.unwrap(), 0.0, within(1e-6));
}

#[test]
fn what_is_not_there_is_said() {
    let flat = of_record(&[0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0], &[1.0; 8], &OPTIONS).unwrap();
    assert_eq!(flat.levels, Err(Missing::NoTransition));
    assert_eq!(flat.pulse_duration_s, Err(Missing::NoTransition));
    assert_eq!(flat.findings[0].code, "no-transition");
    // A record that ends within the band's reach of a slow tail does not settle.
    let short = look(|t| shelf(t, 0.2, 1e-9, 1e-4), -1e-4, 1e-4, &[0.0], 1e-10);
    let known = Options { levels: LevelSource::Given { low_v: 0.0, high_v: 1.0 }, settling_band: 0.01 };
    let sampling = Sampling {
        window: Span { start_s: -1e-4, end_s: 1e-4 },
        transitions_s: &[0.0],
        finest_s: 1e-10,
        points: 1000,
    };
    let known = of_function(|t| shelf(t, 0.2, 1e-9, 1e-4), &sampling, &known).unwrap();
    assert_eq!(known.transitions[0].settling_duration_s, Err(Missing::NotSettled));
    assert!(known.findings.iter().any(|f| f.code == "state-not-settled"));
    assert_close!(known.transitions[0].overshoot.unwrap(), 0.2, within(1e-4));
    assert!(short.transitions.len() == 1);
    assert_eq!(short.duty, Err(Missing::NoThirdTransition));
}

#[test]
fn input_that_is_no_waveform_is_refused() {
    let record = |t: &[f64], v: &[f64]| of_record(t, v, &OPTIONS).unwrap_err();
    assert!(matches!(record(&[0.0], &[0.0, 1.0]), PulseError::Lengths { .. }));
    assert!(matches!(record(&[0.0, 0.0], &[0.0, 1.0]), PulseError::Order { .. }));
    assert!(matches!(record(&[0.0, f64::NAN], &[0.0, 1.0]), PulseError::Order { .. }));
    assert!(matches!(record(&[0.0, 1.0], &[0.0, 1.0]), PulseError::TooFew { .. }));
    let sampling = |end_s, finest_s, points| Sampling {
        window: Span { start_s: 0.0, end_s },
        transitions_s: &[],
        finest_s,
        points,
    };
    for (end_s, finest_s, points) in [(0.0, 0.1, 500), (1.0, 0.0, 500), (1.0, 2.0, 500), (1.0, 0.1, 5)] {
        let refused = of_function(|t| t, &sampling(end_s, finest_s, points), &OPTIONS);
        assert!(matches!(refused, Err(PulseError::Setting { .. })), "{refused:?}");
    }
    let refused = of_function(|_| f64::NAN, &sampling(1.0, 0.1, 500), &OPTIONS);
    assert!(matches!(refused, Err(PulseError::NotFinite { .. })));
    for band in [0.0, f64::NAN, 0.7] {
        let options = Options { settling_band: band, ..OPTIONS };
        assert!(matches!(of_record(&[0.0; 0], &[], &options), Err(PulseError::Setting { .. })));
    }
}

#[test]
fn a_record_gives_what_the_function_gives() {
    let response = SecondOrder { damping: 0.4 };
    let times: Vec<f64> = (0..20_001).map(|k| -20.0 + 0.005 * k as f64).collect();
    let values: Vec<f64> = times.iter().map(|&t| response.step(t)).collect();
    let figures = of_record(&times, &values, &OPTIONS).unwrap();
    let exact = look(|t| response.step(t), -20.0, 80.0, &[0.0], 0.05);
    assert_close!(four(&figures), four(&exact), within(2e-5));
    // Missing samples are skipped.
    let holes: Vec<f64> =
        values.iter().enumerate().map(|(k, &v)| if k % 7 == 3 { f64::NAN } else { v }).collect();
    assert_close!(four(&of_record(&times, &holes, &OPTIONS).unwrap()), four(&exact), within(2e-4));
}

#[test]
fn noise_does_not_make_transitions() {
    let noise = |k: usize| {
        let p = ((k * 7919) % 10_007) as f64 / 10_007.0;
        flattop_core::numeric::stats::normal_quantile(p.max(1e-5))
    };
    let times: Vec<f64> = (0..10_000).map(|k| k as f64).collect();
    let values: Vec<f64> = times
        .iter()
        .enumerate()
        .map(|(k, &t)| lines(&[(4000.0, 0.0), (4100.0, 1.0)], t) + 0.01 * noise(k))
        .collect();
    let figures = of_record(&times, &values, &OPTIONS).unwrap();
    assert_eq!(figures.transitions.len(), 1);
    assert_close!(figures.transitions[0].middle_s().unwrap(), 4050.0, within(3.0));
    let levels = figures.levels.unwrap();
    assert_close!([levels.low_v, levels.high_v], [0.0, 1.0], within(5e-3));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn prop_scale_offset_shift_and_polarity(
        damping in 0.4..0.9_f64, gain in 0.01..100.0_f64, offset in -10.0..10.0_f64, shift in -100.0..100.0_f64,
        stretch in 0.1..10.0_f64, width in 60.0..200.0_f64,
    ) {
        let r = SecondOrder { damping };
        let pulse = move |t: f64| r.step(t) - r.step(t - width);
        let end = width + 60.0 / damping;
        let plain = look(pulse, -60.0, end, &[0.0, width], 0.05);
        for sign in [1.0, -1.0] {
            let moved = |t: f64| offset + sign * gain * pulse((t - shift) / stretch);
            let at = |t: f64| shift + stretch * t;
            let other = look(moved, at(-60.0), at(end), &[at(0.0), at(width)], 0.05 * stretch);
            prop_assert_eq!(other.transitions.len(), 2);
            let (a, b) = (plain.levels.unwrap(), other.levels.unwrap());
            assert_close!(b.amplitude_v(), gain * a.amplitude_v(), relative(1e-5));
            for (x, y) in plain.transitions.iter().zip(&other.transitions) {
                prop_assert_eq!(x.direction == y.direction, sign > 0.0);
                let times = |t: &flattop_core::pulse::Transition| {
                    [t.duration_10_90_s, t.duration_20_80_s, t.settling_duration_s].map(Result::unwrap)
                };
                assert_close!(times(y), times(x).map(|t| t * stretch), within(1e-4 * stretch));
                let shares = |t: &flattop_core::pulse::Transition| [t.overshoot, t.undershoot].map(Result::unwrap);
                assert_close!(shares(y), shares(x), within(1e-5));
                assert_close!(y.middle_s().unwrap(), at(x.middle_s().unwrap()), within(1e-4 * stretch));
            }
            assert_close!(other.pulse_duration_s.unwrap(), stretch * width, relative(1e-5));
        }
    }
}
