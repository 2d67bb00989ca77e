//! Readings against closed forms, and the quick ways against the chain itself.

use super::kernel::Kernel;
use super::model::{BothEffects, Chains, Facts, Formula, terms};
use super::*;
use crate::chain::{Cable, Chain, CompensationBox, Contact, Coupling, Node, Response, ResponseShape, Tip};
use crate::signal::Shape;
use crate::uncertainty::{Distribution, Evaluation, Model, Quantities, Settings, Stop, Verdict, in_turn};
use flattop_close::{assert_close, relative, within};

fn probe() -> Chain {
    Chain {
        node: Node { resistance_ohm: 1e3, capacitance_f: 5e-12 },
        contact: Contact { inductance_h: 120e-9, resistance_ohm: 10.0 },
        tip: Tip {
            body_capacitance_f: 1e-12,
            resistance_ohm: 9e6,
            capacitance_f: 12e-12,
            series_resistance_ohm: 50.0,
        },
        cable: Cable {
            length_m: 1.2,
            resistance_ohm_per_m: 160.0,
            inductance_h_per_m: 330e-9,
            capacitance_f_per_m: 60e-12,
            conductance_s_per_m: 0.0,
            skin_corner_hz: None,
        },
        compensation_box: CompensationBox { series_resistance_ohm: 100.0, capacitance_f: 16e-12 },
        input: crate::chain::Input {
            resistance_ohm: 1e6,
            capacitance_f: 20e-12,
            response: Response { shape: ResponseShape::Gaussian, bandwidth_hz: 200e6 },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: Vec::new(),
        ratio: 10.0,
    }
}

/// A stiff node, a divider without capacitances, an input with a bandwidth and nothing else.
fn bare(shape: ResponseShape, bandwidth_hz: f64) -> Chain {
    let mut chain = probe();
    chain.node = Node { resistance_ohm: 0.0, capacitance_f: 0.0 };
    chain.contact = Contact { inductance_h: 0.0, resistance_ohm: 0.0 };
    chain.tip = Tip { body_capacitance_f: 0.0, capacitance_f: 0.0, series_resistance_ohm: 0.0, ..chain.tip };
    chain.cable.length_m = 0.0;
    chain.compensation_box = CompensationBox { series_resistance_ohm: 0.0, capacitance_f: 0.0 };
    chain.input.capacitance_f = 0.0;
    chain.input.response = Response { shape, bandwidth_hz };
    chain
}

fn sine(frequency_hz: f64) -> Signal {
    Signal { shape: Shape::Sine { frequency_hz }, low_v: -1.0, high_v: 1.0 }
}

fn moving(parameter: Parameter, chain: &Chain, share: f64) -> super::Input {
    let value = parameter.of(chain);
    let half = share * value;
    super::Input {
        quantity: Quantity::known(
            parameter.key(),
            Distribution::Rectangular { low: value - half, high: value + half },
        ),
        unit: parameter.unit(),
        role: Role::Chain,
        steps: vec![Step { of: Which::First, parameter, per_unit: 1.0 }],
    }
}

fn direct(name: &str, role: Role, distribution: Distribution) -> super::Input {
    super::Input { quantity: Quantity::known(name, distribution), unit: None, role, steps: Vec::new() }
}

fn normal(mean: f64, deviation: f64) -> Distribution {
    Distribution::Normal { mean, deviation }
}

const SETTINGS: Settings = Settings { seed: 3, probability: 0.95, stop: Stop::Trials(200_000), bins: 0 };

fn reading<'a>(
    measurand: Measurand,
    signal: &'a Signal,
    frequency_hz: &'a [f64],
    chain: &'a Chain,
    inputs: &'a [super::Input],
) -> Reading<'a> {
    Reading {
        measurand,
        signal,
        frequency_hz,
        chain,
        second: None,
        shown: None,
        noise_rms_v: 0.0,
        inputs,
        correlations: &[],
    }
}

/// The kernel against the chain itself, trial by trial, for every form of response.
#[test]
fn the_kernel_is_the_cascade() {
    use Parameter::*;
    for shape in [
        ResponseShape::SinglePole,
        ResponseShape::Gaussian,
        ResponseShape::Bessel4,
        ResponseShape::MaximallyFlat(2),
        ResponseShape::MaximallyFlat(5),
    ] {
        let mut chain = probe();
        chain.input.response.shape = shape;
        chain.input.limit = Some(Response { shape: ResponseShape::SinglePole, bandwidth_hz: 4e8 });
        chain.input.coupling = Coupling::Ac { corner_hz: 7.0 };
        let mut inputs: Vec<_> = [
            NodeResistance,
            NodeCapacitance,
            ContactInductance,
            ContactResistance,
            BodyCapacitance,
            TipResistance,
            TipCapacitance,
            SeriesResistance,
            BoxResistance,
            BoxCapacitance,
            InputResistance,
            InputCapacitance,
            InputBandwidth,
        ]
        .into_iter()
        .map(|p| moving(p, &chain, 0.1))
        .collect();
        inputs.push(direct("gain", Role::Gain, normal(0.01, 0.005)));
        inputs.push(direct("noise", Role::Noise, normal(0.0, 0.01)));
        inputs.push(direct("reading", Role::Reading, normal(0.9, 0.01)));
        inputs.push(direct("time base", Role::TimeBase, normal(0.0, 1e-4)));
        inputs.push(direct(
            "form",
            Role::Form(Which::First),
            Distribution::Rectangular { low: -1.0, high: 1.0 },
        ));
        let frequencies = [3.0, 1e3, 1e5, 1e7, 1.3e8];
        let signal = sine(1e6);
        let reading = reading(Measurand::Amplitude, &signal, &frequencies, &chain, &inputs);
        let quantities =
            Quantities::new(inputs.iter().map(|i| i.quantity.clone()).collect(), Vec::new()).unwrap();
        let means = quantities.means();
        let mut effects = BothEffects::new(&reading).unwrap();
        let shown = effects.shown(&chain).unwrap();
        let formula = Formula::new(&reading, &shown);
        let facts: Vec<Facts> =
            frequencies.iter().map(|f| formula.facts(&reading, *f, &shown, &mut effects).unwrap()).collect();
        let kernel = Kernel::new(&reading, &means, &facts).unwrap();
        let trials = 100;
        let mut columns = vec![vec![0.0; trials]; inputs.len()];
        quantities.draw(1, 0, &mut columns);
        let mut out = vec![vec![0.0; trials]; frequencies.len()];
        let columns_ref: Vec<&[f64]> = columns.iter().map(|c| &c[..]).collect();
        kernel.evaluate(&columns_ref, &mut out.iter_mut().map(|c| &mut c[..]).collect::<Vec<_>>());
        for trial in 0..trials {
            let x: Vec<f64> = columns.iter().map(|c| c[trial]).collect();
            let chains = Chains::at(&reading, &means, &x);
            for (facts, column) in facts.iter().zip(&out) {
                let effect = effects.of(&chains, facts.frequency_hz).unwrap();
                let expected = formula.value(facts, effect, &terms(&reading, &means, &x));
                assert_close!(column[trial], expected, relative(1e-11), "{shape:?} {}", facts.frequency_hz);
            }
        }
    }
}

/// Mean behind a resistive divider: Y = X·(R1 + R2)/(N·R2), so that u²(Y)/Y² = (0.9·u1)² + (0.9·u2)² + u_g² with relative u.
#[test]
fn mean_of_a_divider_in_closed_form() {
    let chain = bare(ResponseShape::SinglePole, 1e8);
    let inputs = [
        moving(Parameter::TipResistance, &chain, 0.01),
        moving(Parameter::InputResistance, &chain, 0.02),
        direct("gain", Role::Gain, normal(0.02, 0.01)),
        direct("offset", Role::Offset, normal(0.1, 0.0)),
    ];
    let signal = Signal {
        shape: Shape::Trapezoid { frequency_hz: 1e3, duty: 0.5, rise_s: 0.0, fall_s: 0.0 },
        low_v: 0.0,
        high_v: 8.0,
    };
    let mut reading = reading(Measurand::Mean, &signal, &[], &chain, &inputs);
    reading.shown = Some(4.18);
    let got = budget(&reading, &SETTINGS, &in_turn).unwrap();
    let result = &got.results[0];
    // (4.18 - 0.1)/1.02.
    assert_close!(result.propagation.value, 4.0, relative(1e-12));
    let share = |half: f64| 0.9 * half / 3f64.sqrt();
    let expected = 4.0 * (share(0.01).powi(2) + share(0.02).powi(2) + (0.01f64 / 1.02).powi(2)).sqrt();
    assert_close!(result.propagation.standard_uncertainty, expected, relative(1e-3));
    assert_close!(result.drawn.standard_uncertainty, expected, relative(0.01));
    assert_close!(result.known_error(), 0.18, relative(1e-9));
    assert!(result.surface_distance.unwrap() < 0.02 * expected);
}

/// One pole: K = 1/√(1 + r²), so that u(K)/K = r²/(1 + r²)·u(B)/B; and the known error is K − 1.
#[test]
fn amplitude_behind_one_pole_in_closed_form() {
    let chain = bare(ResponseShape::SinglePole, 1e8);
    let inputs = [moving(Parameter::InputBandwidth, &chain, 0.1)];
    let (signal, frequencies) = (sine(1e6), [2e7, 1e8]);
    let got =
        budget(&reading(Measurand::Amplitude, &signal, &frequencies, &chain, &inputs), &SETTINGS, &in_turn)
            .unwrap();
    for (result, r) in got.results.iter().zip([0.2_f64, 1.0]) {
        assert!(result.surface_distance.is_none());
        assert_close!(result.propagation.value, 1.0, relative(1e-12));
        assert_close!(result.known_error(), 1.0 / (1.0 + r * r).sqrt() - 1.0, relative(1e-9));
        let expected: f64 = r * r / (1.0 + r * r) * 0.1 / 3f64.sqrt();
        assert_close!(result.propagation.standard_uncertainty, expected, relative(0.02));
        assert_close!(result.drawn.standard_uncertainty, expected, relative(0.02));
        // A rectangular input that rules: 95 % is ±1.645 u and not ±1.96 u.
        assert_eq!(result.validation.verdict, Verdict::NotValid);
    }
}

/// Steps through a Gaussian response: D = (0.339 624/B)²; and the resolution of the time read.
#[test]
fn transition_behind_a_gaussian_in_closed_form() {
    let chain = bare(ResponseShape::Gaussian, 1e8);
    let resolution = Distribution::Rectangular { low: -50e-12, high: 50e-12 };
    let inputs = [moving(Parameter::InputBandwidth, &chain, 0.1), direct("step", Role::Time, resolution)];
    let signal = Signal { shape: Shape::Edge { rise_s: 1e-12 }, low_v: 0.0, high_v: 1.0 };
    let mut reading = reading(Measurand::TransitionDuration, &signal, &[], &chain, &inputs);
    reading.shown = Some(5e-9);
    let result = budget(&reading, &SETTINGS, &in_turn).unwrap().results.swap_remove(0);
    let own = 0.339_624_4_f64 / 1e8;
    let expected = (25e-18 - own * own).sqrt();
    assert_close!(result.propagation.value, expected, relative(1e-4));
    let bandwidth = own * own / expected * 0.1 / 3f64.sqrt();
    let time = 5e-9 / expected * 50e-12 / 3f64.sqrt();
    let contribution = |k: usize| result.propagation.terms[k].contribution.abs();
    // Differences over a whole standard uncertainty (5.8 % of B) see the bend of 1/B²: 1.2 %.
    assert_close!(contribution(0), bandwidth, relative(0.02));
    assert_close!(contribution(1), time, relative(0.001));
    reading.shown = Some(3e-9);
    assert!(matches!(budget(&reading, &SETTINGS, &in_turn), Err(ReadingError::Faster { .. })));
}

/// Two probes whose inputs are one pole each: a slow ramp comes late by the time constant.
#[test]
fn delay_between_two_poles_in_closed_form() {
    let (first, second) = (bare(ResponseShape::SinglePole, 1e8), bare(ResponseShape::SinglePole, 5e7));
    let inputs = [
        super::Input {
            steps: vec![Step { of: Which::Second, parameter: Parameter::InputBandwidth, per_unit: 1.0 }],
            ..moving(Parameter::InputBandwidth, &second, 0.1)
        },
        direct("skew", Role::Time, normal(0.2e-9, 0.1e-9)),
    ];
    let signal = Signal { shape: Shape::Edge { rise_s: 100e-9 }, low_v: 0.0, high_v: 1.0 };
    let mut reading = reading(Measurand::Delay, &signal, &[], &first, &inputs);
    assert!(matches!(budget(&reading, &SETTINGS, &in_turn), Err(ReadingError::NoSecond)));
    reading.second = Some(&second);
    reading.shown = Some(10e-9);
    let result = budget(&reading, &SETTINGS, &in_turn).unwrap().results.swap_remove(0);
    let tau = |bandwidth: f64| 1.0 / (std::f64::consts::TAU * bandwidth);
    assert_close!(result.propagation.value, 10e-9 - 0.2e-9 - (tau(5e7) - tau(1e8)), within(2e-12));
    assert_close!(
        result.propagation.terms[0].contribution.abs(),
        tau(5e7) * 0.1 / 3f64.sqrt(),
        relative(0.01)
    );
    assert_close!(result.propagation.terms[1].contribution.abs(), 0.1e-9, relative(1e-6));
}

/// Rms of a sine with an offset: what noise and offset add is taken off, √(X² − n² − 2·o·m − o²).
#[test]
fn rms_loses_what_noise_and_offset_add() {
    let chain = bare(ResponseShape::SinglePole, 1e9);
    let inputs = [direct("offset", Role::Offset, normal(0.05, 0.01))];
    let signal = Signal { shape: Shape::Sine { frequency_hz: 1e3 }, low_v: 0.0, high_v: 2.0 };
    let mut reading = reading(Measurand::Rms, &signal, &[], &chain, &inputs);
    reading.noise_rms_v = 0.1;
    // Truth √(1 + ½); mean 1.
    reading.shown = Some((1.5_f64 + 0.01 + 2.0 * 0.05 + 0.0025).sqrt());
    let result = budget(&reading, &SETTINGS, &in_turn).unwrap().results.swap_remove(0);
    assert_close!(result.propagation.value, 1.5_f64.sqrt(), relative(1e-6));
    assert_close!(result.propagation.standard_uncertainty, 1.05 * 0.01 / 1.5_f64.sqrt(), relative(0.01));
}

/// A square wave without overshoot has the peak-to-peak value of its levels.
#[test]
fn peak_to_peak_of_a_clean_square_wave() {
    let chain = bare(ResponseShape::SinglePole, 1e8);
    let inputs = [
        moving(Parameter::InputBandwidth, &chain, 0.1),
        super::Input {
            quantity: Quantity {
                evaluation: Evaluation::A,
                ..Quantity::known(
                    "reading",
                    Distribution::Student { location: 5.0, scale: 0.02, freedom: 5.0 },
                )
            },
            ..direct("reading", Role::Reading, normal(0.0, 0.0))
        },
    ];
    let signal = Signal {
        shape: Shape::Trapezoid { frequency_hz: 1e5, duty: 0.5, rise_s: 1e-9, fall_s: 1e-9 },
        low_v: 0.0,
        high_v: 5.0,
    };
    let result = budget(&reading(Measurand::PeakToPeak, &signal, &[], &chain, &inputs), &SETTINGS, &in_turn)
        .unwrap()
        .results
        .swap_remove(0);
    assert_close!(result.shown, 5.0, relative(1e-5));
    assert_close!(result.propagation.standard_uncertainty, 0.02, relative(1e-3));
    assert_close!(result.propagation.coverage.freedom, 5.0, relative(1e-3));
    // t for five degrees of freedom, JCGM 100, table G.2: 2.57.
    assert_close!(result.propagation.coverage.factor, 2.57, within(0.005));
    assert_close!(result.drawn.symmetric.high - result.drawn.mean, 2.57 * 0.02, relative(0.02));
}

#[test]
fn signals_that_have_no_such_figure_are_refused() {
    let chain = bare(ResponseShape::SinglePole, 1e8);
    let edge = Signal { shape: Shape::Edge { rise_s: 1e-9 }, low_v: 0.0, high_v: 1.0 };
    for (measurand, signal) in
        [(Measurand::Mean, &edge), (Measurand::Rms, &edge), (Measurand::TransitionDuration, &sine(1e3))]
    {
        let got = budget(&reading(measurand, signal, &[], &chain, &[]), &SETTINGS, &in_turn);
        assert!(matches!(got, Err(ReadingError::Signal { .. })), "{measurand:?}");
    }
}
