//! Pulse figures of waveforms with closed forms (table P-01) and of the worked examples P-09 and P-10.

use super::curve::columns;
use super::{Row, Short, Tag, rows_of};
use flattop_core::coupling::SecondOrder;
use flattop_core::numeric::stats::normal_cdf;
use flattop_core::pulse::{
    Figures, LevelSource, LevelStatistic, Options, Sampling, Span, Transition, of_function,
};

fn look(f: impl Fn(f64) -> f64, window: (f64, f64), transitions_s: &[f64], finest_s: f64) -> Option<Figures> {
    let window = Span { start_s: window.0, end_s: window.1 };
    let sampling = Sampling { window, transitions_s, finest_s, points: 2000 };
    let levels = LevelSource::Histogram { bins: 256, statistic: LevelStatistic::Mode };
    of_function(f, &sampling, &Options { levels, settling_band: 0.01 }).ok()
}

/// 10–90 %, 20–80 %, 50 % instant and overshoot of a transition; NaN where there is none.
fn four(figures: &Option<Figures>) -> [f64; 4] {
    let first = figures.as_ref().and_then(|f| f.transitions.first());
    first.map_or([f64::NAN; 4], |t: &Transition| {
        [t.duration_10_90_s, t.duration_20_80_s, t.middle_s(), t.overshoot].map(|x| x.unwrap_or(f64::NAN))
    })
}

#[rustfmt::skip]
#[expect(clippy::approx_constant, reason = "printed reference values")]
pub(crate) fn rows() -> Vec<Row> {
    let pole = four(&look(|t| if t < 0.0 { 0.0 } else { -(-t).exp_m1() }, (-20.0, 40.0), &[0.0], 0.05));
    let bell = four(&look(normal_cdf, (-30.0, 30.0), &[], 0.1));
    let ramp = four(&look(|t| t.clamp(0.0, 1.0), (-20.0, 30.0), &[0.0], 0.05));
    let mut rows = Vec::new();
    let names = ["10–90 %", "20–80 %", "50 % instant", "overshoot"];
    let cases: [(&str, &str, [f64; 4], [f64; 4]); 3] = [
        ("one pole", "τ", [2.197_224_6, 1.386_294_4, 0.693_147_2, 0.0], pole),
        ("Gaussian", "σ", [2.563_103_1, 1.683_242_5, 0.0, 0.0], bell),
        ("ramp", "T", [0.8, 0.6, 0.5, 0.0], ramp),
    ];
    for (case, unit, expected, got) in cases {
        for k in 0..4 {
            let what = format!("{case}: {}", names[k]);
            let row: Short<'_> = ("P-01", &what, expected[k], got[k], 1e-6, if k == 3 { "1" } else { unit });
            rows.extend(rows_of("closed forms, IEEE Std 181 definitions", Tag::Derived, &[row]));
        }
    }
    rows.extend(second_order());
    rows.extend(examples());
    rows
}

/// Every line of the second-order table: largest deviation.
fn second_order() -> Vec<Row> {
    let table = columns(include_str!("../../../reference/published/second_order_step.csv"));
    let mut worst = [0.0_f64; 4];
    for (line, &printed) in table[0].iter().enumerate() {
        // The table's 0.707107 stands for 1/√2.
        let damping = if (printed * printed - 0.5).abs() < 1e-6 { 0.5_f64.sqrt() } else { printed };
        let response = SecondOrder { damping };
        let end = 60.0 / if damping < 1.0 { damping.max(0.2) } else { 0.25 };
        let got = four(&look(|t| response.step(t), (-30.0, end), &[0.0], 0.05));
        for (k, (worst, got)) in worst.iter_mut().zip(got).enumerate() {
            let off = if k == 3 { 100.0 * got } else { got } - table[2 + k][line];
            *worst = if off.is_nan() { f64::NAN } else { worst.max(off.abs()) };
        }
    }
    let names = [("10–90 %", "1/ω0"), ("20–80 %", "1/ω0"), ("50 % instant", "1/ω0"), ("overshoot", "%")];
    let mut rows = Vec::new();
    for ((name, unit), worst) in names.into_iter().zip(worst) {
        let what = format!("second order, {name}: largest deviation for damping 0.1 to 2");
        rows.extend(rows_of(
            "standard second-order step response, tabulated by an independent program (SciPy 1.17)",
            Tag::Derived,
            &[("P-01", &what, 0.0, worst, 1.5e-6, unit)],
        ));
    }
    rows
}

/// Readings off a screen, measured on waveforms drawn after the text.
#[rustfmt::skip]
fn examples() -> Vec<Row> {
    const NONE: f64 = f64::NAN;
    let wave = |t: f64| if (t / 0.6e-3).rem_euclid(1.0) < 2.5 / 6.0 { 3.5 } else { 0.0 };
    let plain = look(wave, (-0.1e-3, 1.5e-3), &[0.0, 0.25e-3, 0.6e-3, 0.85e-3, 1.2e-3], 1e-8);
    let of = |f: &Option<Figures>, get: fn(&Figures) -> f64| f.as_ref().map_or(NONE, get);
    let amplitude = |f: &Figures| f.levels.map_or(NONE, |l| l.amplitude_v());
    let rate = |f: &Figures| 1.0 / f.period_s.unwrap_or(NONE);
    let width = |f: &Figures| f.pulse_duration_s.unwrap_or(NONE);
    let duty = |f: &Figures| f.duty.unwrap_or(NONE);
    let space = |duty: f64| duty / (1.0 - duty);
    let tilted = look(pulse_with_tilt, (-200e-6, 1400e-6), &[], 1e-6);
    let top = |start: f64, fall: f64| {
        let step = move |t: f64| if (0.0..1.0).contains(&t) { start - fall * t } else { 0.0 };
        100.0 * of(&look(step, (-1.0, 2.0), &[0.0, 1.0], 1e-4), |f| f.transitions.first().map_or(NONE, |t| t.tilt.unwrap_or(NONE)))
    };
    let transition = |index: usize| {
        let found = tilted.as_ref().and_then(|f| f.transitions.get(index));
        1e6 * found.map_or(NONE, |t| t.duration_10_90_s.unwrap_or(NONE))
    };
    let mut rows = rows_of("D. A. Bell, *Solid State Pulse Circuits*, Ex. 1-1, p. 9, as reworked in an open companion", Tag::Published, &[
        ("P-09", "amplitude", 3.5, of(&plain, amplitude), 0.05, "V"),
        ("P-09", "pulses per second", 1667.0, of(&plain, rate), 0.5, "1/s"),
        ("P-09", "pulse duration", 0.25, 1e3 * of(&plain, width), 0.005, "ms"),
        ("P-09", "duty", 41.7, 100.0 * of(&plain, duty), 0.05, "%"),
        ("P-09", "mark to space", 0.71, space(of(&plain, duty)), 0.005, "1"),
    ]);
    rows.extend(rows_of("Bell, Ex. 1-2, p. 12; transitions are read from 10 to 90 %, with half a unit of the last digit of the drawing's divisions", Tag::Published, &[
        ("P-10", "amplitude, the mean of the tilted top", 365.0, of(&tilted, amplitude), 0.5, "mV"),
        ("P-10", "tilt, 380 mV to 350 mV", 8.2, top(380.0, 30.0), 0.05, "%"),
        ("P-10", "tilt, 0.5 in 2.25", 22.2, top(2.5, 0.5), 0.05, "%"),
        ("P-10", "rising transition", 30.0, transition(0), 0.5, "µs"),
        ("P-10", "falling transition", 40.0, transition(1), 0.5, "µs"),
        ("P-10", "pulse duration", 220.0, 1e6 * of(&tilted, width), 0.5, "µs"),
        ("P-10", "pulses per second", 2000.0, of(&tilted, rate), 0.5, "1/s"),
        ("P-10", "duty", 44.0, 100.0 * of(&tilted, duty), 0.5, "%"),
        ("P-10", "mark to space", 0.79, space(of(&tilted, duty)), 0.005, "1"),
    ]));
    rows
}

/// Three pulses of P-10, mV: 220 µs between half-way points every 500 µs, ramps of 30 µs and 40 µs from 10 to 90 %.
fn pulse_with_tilt(t: f64) -> f64 {
    let t = (t + 100e-6).rem_euclid(500e-6) - 100e-6;
    let half = 0.5 * 365.0;
    // Ramps run through half-way at 0 and at 220 µs; the top joins them.
    let up = half + t * (0.8 * 365.0 / 30e-6);
    let down = half - (t - 220e-6) * (0.8 * 365.0 / 40e-6);
    let (start, end) =
        ((380.0 - half) / (0.8 * 365.0 / 30e-6), 220e-6 - (350.0 - half) / (0.8 * 365.0 / 40e-6));
    let top = 380.0 - 30.0 * (t - start) / (end - start);
    up.min(down).min(top).max(0.0)
}
