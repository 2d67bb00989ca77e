//! Predictions against closed forms: one cause at a time, and what doubts make of the answer.

#![allow(clippy::unwrap_used)] // a test that cannot go on should stop where it stands

use flattop_close::{assert_close, relative, within};
use flattop_core::chain::{
    Cable, Cause, Chain, CompensationBox, Contact, Coupling, Input, Measured, Node, Place, Response,
    ResponseShape, Tip,
};
use flattop_core::prediction::{Doubt, Measure, MeasuredError, Parameter, Prediction, Question, predict};
use flattop_core::signal::{Shape, Signal};
use num_complex::Complex64;

/// A 10× divider, lumped and balanced, on an input with one pole at `bandwidth_hz`, at a stiff node.
fn plain(bandwidth_hz: f64) -> Chain {
    Chain {
        node: Node { resistance_ohm: 0.0, capacitance_f: 0.0 },
        contact: Contact { inductance_h: 0.0, resistance_ohm: 0.0 },
        tip: Tip {
            body_capacitance_f: 0.0,
            resistance_ohm: 9e6,
            capacitance_f: 11e-12,
            series_resistance_ohm: 0.0,
        },
        cable: Cable {
            length_m: 0.0,
            resistance_ohm_per_m: 0.0,
            inductance_h_per_m: 0.0,
            capacitance_f_per_m: 0.0,
            conductance_s_per_m: 0.0,
            skin_corner_hz: None,
        },
        compensation_box: CompensationBox { series_resistance_ohm: 0.0, capacitance_f: 79e-12 },
        input: Input {
            resistance_ohm: 1e6,
            capacitance_f: 20e-12,
            response: Response { shape: ResponseShape::SinglePole, bandwidth_hz },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: Vec::new(),
        ratio: 10.0,
    }
}

fn ask(chain: &Chain, shape: Shape, doubts: &[Doubt]) -> Prediction {
    let signal = Signal { shape, low_v: 0.0, high_v: 1.0 };
    let question = Question {
        chain,
        signal: &signal,
        frequency_hz: &[1e3, 1e6, 1e8],
        time_s: &[],
        accepted_error: 0.03,
        doubts,
    };
    predict(&question).unwrap()
}

fn of(prediction: &Prediction, measure: Measure) -> &MeasuredError {
    prediction.errors.iter().find(|e| e.measure == measure).unwrap()
}

fn share(error: &MeasuredError, cause: Cause) -> f64 {
    error.shares.iter().find(|s| s.cause == cause).and_then(|s| s.share).unwrap()
}

#[test]
fn a_sine_at_a_node_with_resistance_reads_low_by_the_one_pole_formula() {
    // Rs into the capacitance seen at the tip: 1/√(1+(ωRC)²) (textbook one-pole low-pass; D. A. Bell's Ex. 9-10 in the dossier).
    let mut chain = plain(f64::INFINITY);
    chain.node.resistance_ohm = 600.0;
    let prediction = ask(&chain, Shape::Sine { frequency_hz: 10e6 }, &[]);
    let seen = 11e-12 * 99e-12 / 110e-12;
    let expected = 1.0 / 1f64.hypot(std::f64::consts::TAU * 10e6 * 600.0 * seen) - 1.0;
    let error = of(&prediction, Measure::Amplitude);
    // 600 Ω before 10 MΩ take another 60 ppm.
    assert_close!(error.total, expected, within(7e-5));
    assert_close!(share(error, Cause::Loading), error.total, within(1e-9));
    for cause in [Cause::Contact, Cause::Compensation, Cause::Cable, Cause::Input] {
        assert_close!(share(error, cause), 0.0, within(1e-9));
    }
}

#[test]
fn an_undercompensated_divider_is_the_only_cause_where_it_is_the_only_fault() {
    let mut chain = plain(100e6);
    chain.tip.capacitance_f *= 0.88;
    let shelf = chain.lumped().unwrap().shelf;
    let prediction = ask(&chain, Shape::Sine { frequency_hz: 100e3 }, &[]);
    let error = of(&prediction, Measure::Amplitude);
    // At 100 kHz, 1/1000 of the input's bandwidth, only the shelf is left: its closed form, and 5e-7 of the one pole.
    assert_close!(error.total, shelf.amplitude_error(100e3), within(1e-6));
    assert_close!(share(error, Cause::Compensation), error.total, within(1e-6));
    assert_close!(prediction.summary.compensation.unwrap().error, shelf.error, relative(1e-12));
    // A settled square wave at 1 kHz: starts and ends at the shelf's levels.
    let wave = Shape::Trapezoid { frequency_hz: 1e3, duty: 0.5, rise_s: 1e-9, fall_s: 1e-9 };
    let prediction = ask(&chain, wave, &[]);
    let (start, end) = shelf.square_wave_deviation(1e3);
    let at = |t: f64| {
        let k = prediction.waveform.time_s.partition_point(|x| *x < t);
        (prediction.waveform.time_s[k], prediction.waveform.shown_v[k])
    };
    // 100 ns after the edge the input (τ = 1.6 ns) has settled; the tail has run for t/τp.
    let (t, v) = at(1e-7);
    assert_close!(v, 1.0 + start * (-t / shelf.time_constant_s).exp(), within(2e-5));
    let (t, v) = at(0.499e-3);
    assert_close!(v, 1.0 + end * ((0.5e-3 - t) / shelf.time_constant_s).exp(), within(2e-5));
}

#[test]
fn one_pole_makes_the_transition_that_its_closed_form_says() {
    // Ideal step through one pole: τ·ln 9 (REFERENCES of the dossier, B-01).
    let chain = plain(200e6);
    let tau = 1.0 / (std::f64::consts::TAU * 200e6);
    let prediction = ask(&chain, Shape::Edge { rise_s: 1e-9 }, &[]);
    assert_close!(prediction.summary.transition_duration_s.unwrap(), tau * 9f64.ln(), relative(1e-5));
    assert_close!(prediction.summary.bandwidth_hz.unwrap(), 200e6, relative(1e-9));
    assert_close!(
        prediction.summary.noise_bandwidth.up_to_limit_hz,
        200e6 * std::f64::consts::FRAC_PI_2,
        relative(2e-3)
    );
    // A ramp of duration T through one pole: y(t) = (t − τ(1−e^(−t/τ)))/T in it, 1 − (τ/T)(e^(T/τ) − 1)e^(−t/τ) after it.
    let ramp = 1e-9;
    let y = |t: f64| {
        if t < ramp {
            (t + tau * (-t / tau).exp_m1()) / ramp
        } else {
            1.0 - tau / ramp * (ramp / tau).exp_m1() * (-t / tau).exp()
        }
    };
    let crossing = |level: f64| {
        let (mut low, mut high) = (0.0, 20e-9);
        for _ in 0..100 {
            let middle = 0.5 * (low + high);
            if y(middle) < level { low = middle } else { high = middle }
        }
        low
    };
    let shown = prediction.shown_figures.as_ref().unwrap().transitions[0];
    assert_close!(shown.duration_10_90_s.unwrap(), crossing(0.9) - crossing(0.1), relative(1e-4));
    assert_close!(shown.duration_20_80_s.unwrap(), crossing(0.8) - crossing(0.2), relative(1e-4));
    assert_close!(shown.overshoot.unwrap(), 0.0, within(1e-5));
    let truth = prediction.true_figures.as_ref().unwrap().transitions[0];
    assert_close!(truth.duration_10_90_s.unwrap(), 0.8 * ramp, relative(1e-5));
    let error = of(&prediction, Measure::TransitionDuration);
    assert_close!(share(error, Cause::Input), error.total, relative(1e-4));
}

#[test]
fn a_measured_response_makes_what_the_filter_that_it_was_measured_of_makes() {
    // Two equal poles, known up to where 1.5 % comes through; beyond that the fall goes on.
    let response = |pole_hz: f64, f: f64| Complex64::new(1.0, f / pole_hz).powi(-2);
    let grid: Vec<f64> = (0..=160).map(|k| 10e6 * f64::from(k)).collect();
    let values: Vec<Complex64> = grid.iter().map(|f| response(200e6, *f)).collect();
    let mut chain = plain(200e6);
    chain.input.response.bandwidth_hz = f64::INFINITY;
    chain.measured = vec![(Place::BeforeInput, Measured::response(&grid, &values).unwrap())];
    let prediction = ask(&chain, Shape::Edge { rise_s: 1e-9 }, &[]);
    // Ideal step: 1 − (1 + x)·e^(−x), whose 10 % and 90 % lie at x = 0.531812 and 3.889720.
    let tau = 1.0 / (std::f64::consts::TAU * 200e6);
    let ideal = prediction.summary.transition_duration_s.unwrap();
    assert_close!(ideal, (3.889_720 - 0.531_812) * tau, relative(5e-3));
    // Noise bandwidth of two equal poles: π/4 of the pole.
    let noise_hz = prediction.summary.noise_bandwidth.up_to_limit_hz;
    assert_close!(noise_hz, 200e6 * std::f64::consts::FRAC_PI_4, relative(5e-3));
    for measure in [Measure::TransitionDuration, Measure::Amplitude] {
        let error = of(&prediction, measure);
        assert_close!(share(error, Cause::Measured), error.total, within(1e-4 * error.total.abs().max(0.1)));
    }
    assert!(share(of(&prediction, Measure::TransitionDuration), Cause::Measured) > 0.5);
}

#[test]
fn limits_are_where_the_error_is_the_accepted_one() {
    let chain = plain(200e6);
    let prediction = ask(&chain, Shape::Edge { rise_s: 1e-9 }, &[]);
    // 1/√(1+r²) = 0.97 at r = √(1/0.97² − 1).
    let band = prediction.limits.sines.unwrap();
    assert_close!(band.to_hz.unwrap(), 200e6 * (1.0 / (0.97f64 * 0.97) - 1.0).sqrt(), relative(1e-6));
    assert_close!(band.from_hz, 0.0, within(0.0));
    // The edge at the limit, asked for as such, is off by 3 %.
    let fastest_s = prediction.limits.fastest_edge_s.unwrap();
    let at_limit = ask(&chain, Shape::Edge { rise_s: fastest_s / 0.8 }, &[]);
    assert_close!(of(&at_limit, Measure::TransitionDuration).total, 0.03, relative(1e-2));
}

#[test]
fn doubts_add_up_as_roots_of_squares() {
    let mut chain = plain(f64::INFINITY);
    chain.node.resistance_ohm = 600.0;
    let doubt = |parameter: Parameter, share: f64| Doubt {
        name: parameter.key().to_owned(),
        shifted: parameter.with(&chain, parameter.of(&chain) * (1.0 + share)),
    };
    let doubts = [doubt(Parameter::NodeResistance, 0.01), doubt(Parameter::TipResistance, 1e-3)];
    let prediction = ask(&chain, Shape::Sine { frequency_hz: 10e6 }, &doubts);
    // Slope of 1/√(1+x²), x = ωRC, for a relative change of R: −x²/(1+x²)^1.5.
    let x = std::f64::consts::TAU * 10e6 * 600.0 * 9.9e-12;
    let expected = x * x / (1.0 + x * x).powf(1.5) * 0.01;
    let found = prediction.doubts.unwrap();
    let (measure, u) = found.errors[0];
    assert_eq!(measure, Measure::Amplitude);
    assert_close!(u, expected, relative(0.02));
    assert_eq!(found.contributions[0].name, "node.resistance");
    // At 1 kHz, far below the divider's corner, a tip resistor 0.1 % higher makes the gain 0.09 % lower.
    assert_close!(found.gain[0], 0.9e-3, relative(0.3));
}

#[test]
fn no_response_before_the_cause_and_the_same_answer_for_other_times() {
    let mut chain = plain(500e6);
    chain.cable = Cable {
        length_m: 1.2,
        resistance_ohm_per_m: 160.0,
        inductance_h_per_m: 330e-9,
        capacitance_f_per_m: 60e-12,
        conductance_s_per_m: 0.0,
        skin_corner_hz: None,
    };
    chain.compensation_box.capacitance_f = 7e-12;
    chain.contact.inductance_h = 150e-9;
    let delay_s = 1.2 * (330e-9f64 * 60e-12).sqrt();
    let signal = Signal { shape: Shape::Edge { rise_s: 1e-9 }, low_v: 0.0, high_v: 1.0 };
    let times: Vec<f64> = (0..50).map(|k| f64::from(k) * 1e-9).collect();
    let question = Question {
        chain: &chain,
        signal: &signal,
        frequency_hz: &[],
        time_s: &times,
        accepted_error: 0.03,
        doubts: &[],
    };
    let all = predict(&question).unwrap().waveform;
    for (t, v) in all.time_s.iter().zip(&all.shown_v) {
        if *t < 0.98 * delay_s {
            assert_close!(*v, 0.0, within(1e-4), "at {t}");
        }
    }
    let few: Vec<f64> = times.iter().copied().step_by(7).collect();
    let some = predict(&Question { time_s: &few, ..question }).unwrap().waveform;
    let same: Vec<f64> = all.shown_v.iter().copied().step_by(7).collect();
    assert_close!(some.shown_v, same, within(1e-12));
}

#[test]
fn nonsense_is_refused() {
    let chain = plain(1e8);
    let signal = Signal { shape: Shape::Edge { rise_s: 1e-9 }, low_v: 0.0, high_v: 1.0 };
    let question = Question {
        chain: &chain,
        signal: &signal,
        frequency_hz: &[1e3],
        time_s: &[],
        accepted_error: 0.03,
        doubts: &[],
    };
    for (question, part) in [
        (Question { accepted_error: 0.0, ..question.clone() }, "accepted error"),
        (Question { frequency_hz: &[-1.0], ..question.clone() }, "frequency"),
        (Question { time_s: &[1.0, 1.0], ..question.clone() }, "rising"),
    ] {
        let message = predict(&question).unwrap_err().to_string();
        assert!(message.contains(part), "{message}");
    }
}

#[test]
fn shares_of_a_square_wave_are_as_exact_as_its_totals() {
    // One cause only: its share is the whole, however few times a share is read from.
    let mut chain = plain(40e6);
    chain.input.capacitance_f = 20e-12;
    let wave = Shape::Trapezoid { frequency_hz: 20e3, duty: 0.5, rise_s: 40e-9, fall_s: 40e-9 };
    let prediction = ask(&chain, wave, &[]);
    let error = of(&prediction, Measure::TransitionDuration);
    assert_close!(share(error, Cause::Input), error.total, within(1e-5));
    assert_close!(error.remainder.unwrap(), 0.0, within(1e-5));
}
