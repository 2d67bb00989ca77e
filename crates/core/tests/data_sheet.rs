//! Chains from data sheets: the figures come back, the trimmer ends where it ends, and nothing panics.
//!
//! Sources: formulas of the compensated divider (see `divider`), D-15 and D-17 of `reference/` (a 10× probe shows 10 MΩ ∥ 10 to 15 pF; cables of
//! 60 to 200 pF), and for the resistive cable the patent literature named there. All data sheets here are made up.

use flattop_close::{assert_close, relative, within};
use flattop_core::chain::answers::{bandwidth_hz, equivalent_input};
use flattop_core::chain::*;
use flattop_core::data_sheet::*;
use flattop_core::prediction::Parameter;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

/// "10×, 10 pF, 8–18 pF, 200 MHz, 1.2 m".
fn sheet() -> DataSheet {
    DataSheet {
        ratio: 10.0,
        input_resistance_ohm: Some(10e6),
        input_capacitance_f: 10e-12,
        compensation_range_f: Some((8e-12, 18e-12)),
        bandwidth_hz: Some(200e6),
        cable_length_m: Some(1.2),
        adjusted: Adjusted::AtBase,
    }
}

fn setting(resistance_ohm: f64, capacitance_f: f64) -> Setting {
    Setting {
        node: Node { resistance_ohm: 50.0, capacitance_f: 5e-12 },
        contact: Contact { inductance_h: 100e-9, resistance_ohm: 0.0 },
        input: Input {
            resistance_ohm,
            capacitance_f,
            response: Response { shape: ResponseShape::Gaussian, bandwidth_hz: 200e6 },
            coupling: Coupling::Dc,
            limit: None,
        },
    }
}

/// The probe alone, as its data sheet is measured: 25 Ω, nothing in the contact, an input that adds nothing.
fn alone(chain: &Chain, capacitance_f: f64) -> Chain {
    let mut alone = chain.clone();
    alone.node = Node { resistance_ohm: 25.0, capacitance_f: 0.0 };
    alone.contact = Contact { inductance_h: 0.0, resistance_ohm: 0.0 };
    alone.input.response.bandwidth_hz = f64::INFINITY;
    alone.input.capacitance_f = capacitance_f;
    alone
}

fn error(chain: &Chain) -> f64 {
    chain.lumped().expect("it divides").shelf.error
}

/// −3 dB at this frequency, and nowhere before. (Just after it, a ripple of the cable may come back.)
fn assert_bandwidth(chain: &Chain, wanted: f64) {
    let gain = chain.at_frequency(wanted).norm() / chain.at_frequency(0.0).norm();
    assert_close!(gain, std::f64::consts::FRAC_1_SQRT_2, relative(1e-9));
    let first = bandwidth_hz(chain, Against::Source, 1e11).unwrap_or(f64::INFINITY);
    assert!(first >= wanted * (1.0 - 1e-6), "{first} comes before {wanted}");
}

fn codes(model: &Model) -> Vec<&str> {
    model.findings.iter().map(|finding| finding.code).collect()
}

#[test]
fn a_usual_probe_reproduces_its_figures() {
    for adjusted in [Adjusted::AtTip, Adjusted::AtBase, Adjusted::Nowhere] {
        let sheet = DataSheet { adjusted, ..sheet() };
        let model = sheet.model(&setting(1e6, 13e-12)).unwrap();
        assert_eq!(codes(&model), [""; 0]);
        let chain = alone(&model.chain, 13e-12);
        assert_close!(equivalent_input(&chain, 0.0).capacitance_f, 10e-12, relative(1e-4));
        // As a bridge would measure it.
        assert_close!(equivalent_input(&chain, 1e6).capacitance_f, 10e-12, relative(5e-3));
        assert_close!(equivalent_input(&chain, 0.0).resistance_ohm, 10e6, relative(1e-4));
        assert_close!(bandwidth_hz(&chain, Against::Source, 1e10).unwrap(), 200e6, relative(1e-9));
        assert_close!(error(&model.chain), 0.0, within(1e-13));
        for figure in &model.reproduced {
            assert_close!(figure.got, figure.wanted, relative(1e-4), "{:?}", figure.figure);
        }
        let both = if adjusted == Adjusted::Nowhere { 4 } else { 6 };
        assert_eq!(model.reproduced.len(), both);
        // By hand: 10·(10 pF − 1.5 pF) − 13 pF are cable and box; C1 = 8.5 pF·10/9.
        let chain = &model.chain;
        assert_close!(chain.tip.capacitance_f, 8.5e-12 / 0.9, relative(1e-8));
        let behind = chain.cable.total_capacitance_f() + chain.compensation_box.capacitance_f;
        assert_close!(behind, 72e-12, relative(1e-6));
        let stray = if adjusted == Adjusted::AtBase { 9e-12 } else { 4e-12 };
        assert_close!(chain.compensation_box.capacitance_f, stray, relative(1e-6));
    }
}

/// The cable comes out as resistive as Kobbe's: a few times its wave resistance, which is why the response is flat (common practice).
#[test]
fn the_bandwidth_asks_for_a_resistive_cable_and_the_response_is_flat() {
    let model = sheet().model(&setting(1e6, 15e-12)).unwrap();
    let cable = model.chain.cable;
    let impedance = (cable.inductance_h_per_m / cable.capacitance_f_per_m).sqrt();
    let over = cable.resistance_ohm_per_m * cable.length_m / impedance;
    assert!((2.0..5.0).contains(&over), "{over}");
    assert!((50.0..110.0).contains(&impedance), "{impedance}");
    let highest = answers::flatness(&alone(&model.chain, 15e-12), Against::Source, 200e6).highest;
    assert!(highest.deviation < 0.05, "{highest:?}");
}

#[test]
fn inside_the_range_it_is_balanced_and_outside_it_stands_at_its_end_stop() {
    let sheet = |adjusted| DataSheet { adjusted, ..sheet() };
    for input in [8e-12, 10e-12, 15e-12, 18e-12] {
        for adjusted in [Adjusted::AtTip, Adjusted::AtBase] {
            let chain = sheet(adjusted).model(&setting(1e6, input)).unwrap().chain;
            assert_close!(error(&chain), 0.0, within(1e-12));
        }
        // Without a trimmer: C1 balances 13 pF; by hand from the definition of e.
        let chain = sheet(Adjusted::Nowhere).model(&setting(1e6, input)).unwrap().chain;
        let tip = chain.tip.capacitance_f;
        assert_close!(error(&chain), 10.0 * tip / (10.0 * tip + input - 13e-12) - 1.0, within(1e-9));
    }
    // e = −δ/(N·C1 + δ) above, with δ the distance to the range (from the definition of e); C1 at its stop if it is the trimmer.
    for (input, delta) in [(25e-12, 7e-12), (5e-12, -3e-12)] {
        let base = sheet(Adjusted::AtBase).model(&setting(1e6, input)).unwrap().chain;
        let tip = 8.5e-12 / 0.9;
        assert_close!(error(&base), -delta / (10.0 * tip + delta), relative(1e-9));
        let at_tip = sheet(Adjusted::AtTip).model(&setting(1e6, input)).unwrap().chain;
        let stop = (72e-12 + input - delta) / 9.0;
        assert_close!(at_tip.tip.capacitance_f, stop, relative(1e-9));
        assert_close!(error(&at_tip), -delta / (10.0 * stop + delta), relative(1e-9));
    }
}

#[test]
fn every_assumption_has_a_doubt_and_the_other_figures_stay() {
    let sheet = DataSheet { cable_length_m: None, input_resistance_ohm: None, ..sheet() };
    let place = setting(1e6, 13e-12);
    let model = sheet.model(&place).unwrap();
    let doubts = sheet.models_for_doubt(&place).unwrap();
    assert_eq!(doubts.iter().map(|(assumed, _)| *assumed).collect::<Vec<_>>(), model.assumed);
    let named: Vec<_> = model.assumed.iter().map(|assumed| assumed.parameter).collect();
    assert_eq!(
        named,
        [
            Parameter::TipResistance,
            Parameter::BodyCapacitance,
            Parameter::BoxCapacitance,
            Parameter::CableLength,
            Parameter::CableInductance,
            Parameter::SeriesResistance,
            Parameter::BoxResistance,
        ]
    );
    for (assumed, chain) in &doubts {
        assert!(assumed.standard_uncertainty > 0.0 && !assumed.why.is_empty(), "{assumed:?}");
        chain.check().unwrap();
        let chain = alone(chain, 13e-12);
        assert_close!(equivalent_input(&chain, 0.0).capacitance_f, 10e-12, relative(1.1e-3), "{assumed:?}");
        let bandwidth = bandwidth_hz(&chain, Against::Source, 1e10).unwrap();
        assert_close!(bandwidth, 200e6, relative(1e-6), "{assumed:?}");
        assert_close!(error(&chain), 0.0, within(1e-12));
    }
    // JCGM 100, 4.3.7: half-width over √3.
    assert_close!(model.assumed[1].standard_uncertainty, 1.5e-12 / 3.0_f64.sqrt(), relative(1e-12));
    assert_close!(model.assumed[3].standard_uncertainty, 0.3 / 3.0_f64.sqrt(), relative(1e-12));
    // Without a bandwidth the cable's resistance is assumed, too.
    let sheet = DataSheet { bandwidth_hz: None, ..sheet };
    let assumed = sheet.model(&place).unwrap().assumed;
    assert_eq!(assumed.last().unwrap().parameter, Parameter::CableResistance);
    let (last, chain) = sheet.models_for_doubt(&place).unwrap().pop().unwrap();
    assert_close!(chain.cable.resistance_ohm_per_m, last.value - last.standard_uncertainty, relative(1e-12));
}

/// 1×: no divider; cable, box and input are all that the tip sees, and the cable's resistance on it makes 6 to 10 MHz (common practice).
#[test]
fn a_probe_that_does_not_divide_is_a_resistive_cable() {
    let sheet = DataSheet {
        ratio: 1.0,
        input_resistance_ohm: Some(1e6),
        input_capacitance_f: 100e-12,
        compensation_range_f: None,
        bandwidth_hz: Some(8e6),
        cable_length_m: Some(1.2),
        adjusted: Adjusted::Nowhere,
    };
    let model = sheet.model(&setting(1e6, 15e-12)).unwrap();
    assert_eq!(codes(&model), [""; 0]);
    let chain = alone(&model.chain, 15e-12);
    assert_close!(equivalent_input(&chain, 0.0).capacitance_f, 100e-12, relative(1e-3));
    assert_close!(bandwidth_hz(&chain, Against::Source, 1e10).unwrap(), 8e6, relative(1e-9));
    assert_close!(answers::passband_gain(&model.chain, Against::Source), 1.0, within(2e-3));
    let total = chain.cable.resistance_ohm_per_m * chain.cable.length_m;
    assert!((100.0..1000.0).contains(&total), "{total}");
}

#[test]
fn a_low_resistance_probe_is_a_divider_on_a_matched_cable() {
    let sheet = DataSheet {
        input_resistance_ohm: Some(500.0),
        input_capacitance_f: 1.5e-12,
        compensation_range_f: None,
        bandwidth_hz: Some(1.5e9),
        adjusted: Adjusted::Nowhere,
        ..sheet()
    };
    let model = sheet.model(&setting(50.0, 0.0)).unwrap();
    assert_eq!(codes(&model), [""; 0]);
    assert_close!(model.chain.tip.resistance_ohm, 450.0, relative(1e-12));
    let chain = alone(&model.chain, 0.0);
    assert_close!(equivalent_input(&chain, 212e6).capacitance_f, 1.5e-12, relative(0.02));
    for figure in &model.reproduced {
        assert_close!(figure.got, figure.wanted, relative(0.02), "{:?}", figure.figure);
    }
    assert_close!(bandwidth_hz(&chain, Against::Source, 1e11).unwrap(), 1.5e9, relative(1e-9));
    assert_close!(answers::passband_gain(&chain, Against::Source), 500.0 / 525.0, relative(5e-3));
    for (assumed, chain) in sheet.models_for_doubt(&setting(50.0, 0.0)).unwrap() {
        // A mismatch of the cable makes ripples, of which the first one below −3 dB may come up to one period (v/2l = 94 MHz) early.
        let bandwidth = bandwidth_hz(&alone(&chain, 0.0), Against::Source, 1e11).unwrap();
        let ripple = if assumed.parameter == Parameter::CableCapacitance { 94e6 } else { 1.5e3 };
        assert_close!(bandwidth, 1.5e9, within(ripple), "{assumed:?}");
    }
    // On a high-resistance input it does not divide, and says so.
    assert_eq!(codes(&sheet.model(&setting(1e6, 15e-12)).unwrap()), ["data-sheet-odd"]);
}

/// 100× and 1000×: were the body 15 % there, too, the cable would have hundreds of pF per metre.
#[test]
fn with_a_high_ratio_the_body_is_most_of_the_input_capacitance() {
    for (ratio, seen, bandwidth) in [(100.0, 5.5e-12, 250e6), (1000.0, 3e-12, 50e6)] {
        let sheet = DataSheet {
            ratio,
            input_resistance_ohm: Some(ratio * 1e6),
            input_capacitance_f: seen,
            bandwidth_hz: Some(bandwidth),
            ..sheet()
        };
        let model = sheet.model(&setting(1e6, 15e-12)).unwrap();
        assert_eq!(codes(&model), [""; 0], "{:?}", model.findings);
        assert!(model.chain.tip.body_capacitance_f > 0.5 * seen);
        assert_close!(error(&model.chain), 0.0, within(1e-12));
        for figure in &model.reproduced {
            assert_close!(figure.got, figure.wanted, relative(1e-3), "{:?}", figure.figure);
        }
    }
}

#[test]
fn what_contradicts_itself_is_named() {
    let ask_on = |input: f64, change: &dyn Fn(&mut DataSheet)| {
        let mut sheet = sheet();
        change(&mut sheet);
        sheet.model(&setting(1e6, input))
    };
    let ask = |change: &dyn Fn(&mut DataSheet)| ask_on(15e-12, change);
    let thick = ask(&|s| {
        s.input_capacitance_f = 40e-12;
        s.bandwidth_hz = None;
    });
    assert_eq!(codes(&thick.unwrap()), ["data-sheet-odd"]);
    let thin = ask(&|s| {
        s.input_capacitance_f = 3.3e-12;
        s.bandwidth_hz = None;
    });
    assert_eq!(codes(&thin.unwrap()), ["data-sheet-odd"]);
    assert!(matches!(ask(&|s| s.input_capacitance_f = 2e-12), Err(DataSheetError::NothingForCable { .. })));
    let fast = ask(&|s| s.bandwidth_hz = Some(5e9)).unwrap();
    assert!(codes(&fast).contains(&"data-sheet-bandwidth"));
    let bandwidth = fast.reproduced.iter().find(|r| r.figure == Figure::Bandwidth).unwrap();
    // Both on the input the probe is made for.
    let on_nominal = ask_on(13e-12, &|s| s.bandwidth_hz = Some(5e9)).unwrap();
    assert_bandwidth(&alone(&on_nominal.chain, 13e-12), bandwidth.got);
    // Where the model has to rise, the way to a flat cable is one of the doubts.
    let risen = ask(&|s| s.bandwidth_hz = Some(350e6)).unwrap();
    assert_eq!(codes(&risen), ["data-sheet-peak"]);
    assert_eq!(risen.assumed.last().unwrap().parameter, Parameter::CableResistance);
    for wrong in [0.5, f64::NAN, f64::INFINITY] {
        assert!(matches!(ask(&|s| s.ratio = wrong), Err(DataSheetError::Value { .. })));
    }
    for wrong in [0.0, -1e-12, f64::NAN, f64::INFINITY] {
        assert!(ask(&|s| s.input_capacitance_f = wrong).is_err());
        assert!(ask(&|s| s.bandwidth_hz = Some(wrong)).is_err());
        assert!(ask(&|s| s.cable_length_m = Some(wrong)).is_err());
        assert!(ask(&|s| s.input_resistance_ohm = Some(wrong)).is_err());
    }
    assert!(ask(&|s| s.compensation_range_f = Some((18e-12, 8e-12))).is_err());
    let cable = DataSheet { ratio: 1.0, input_resistance_ohm: None, compensation_range_f: None, ..sheet() };
    assert!(matches!(cable.model(&setting(50.0, 0.0)), Err(DataSheetError::PlainCable { .. })));
    let mut place = setting(1e6, 15e-12);
    place.node.resistance_ohm = -1.0;
    assert!(matches!(sheet().model(&place), Err(DataSheetError::Setting(_))));
}

fn data_sheets() -> impl Strategy<Value = (DataSheet, f64)> {
    (
        prop_oneof![Just(10.0), Just(100.0), 5.0..200.0],
        4e-12..20e-12,
        5e-12..20e-12,
        0.0..20e-12,
        prop::option::of(20e6..1e9),
        prop::option::of(0.8..3.0),
        prop_oneof![Just(Adjusted::AtTip), Just(Adjusted::AtBase), Just(Adjusted::Nowhere)],
        any::<[bool; 2]>(),
        3e-12..50e-12,
    )
        .prop_map(|(ratio, seen, from, width, bandwidth_hz, cable_length_m, adjusted, given, input)| {
            let sheet = DataSheet {
                ratio,
                input_resistance_ohm: given[0].then_some(ratio * 1e6),
                input_capacitance_f: seen,
                compensation_range_f: given[1].then_some((from, from + width)),
                bandwidth_hz,
                cable_length_m,
                adjusted,
            };
            (sheet, input)
        })
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 300,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_261_126),
        ..ProptestConfig::default()
    })]

    #[test]
    fn prop_models_are_chains_that_reproduce_what_they_say((sheet, input) in data_sheets()) {
        let place = setting(1e6, input);
        let model = match sheet.model(&place) {
            Ok(model) => model,
            Err(error) => {
                prop_assert!(matches!(error, DataSheetError::NothingForCable { .. }), "{error}");
                return Ok(());
            }
        };
        let nominal = sheet.compensation_range_f.map_or(input, |(from, to)| 0.5 * (from + to));
        let here = sheet.model(&setting(1e6, nominal)).unwrap();
        let mut doubts = sheet.models_for_doubt(&setting(1e6, nominal)).unwrap();
        prop_assert_eq!(doubts.len(), here.assumed.len());
        doubts.retain(|(assumed, _)| assumed.parameter != Parameter::CableResistance);
        for chain in [&model.chain, &here.chain].into_iter().chain(doubts.iter().map(|(_, chain)| chain)) {
            chain.check().unwrap();
            let tip = &chain.tip;
            prop_assert!(tip.body_capacitance_f > 0.0 && tip.capacitance_f > 0.0 && tip.resistance_ohm > 0.0);
            prop_assert!(chain.cable.capacitance_f_per_m > 0.0 && chain.cable.inductance_h_per_m > 0.0);
            prop_assert!(chain.cable.resistance_ohm_per_m > 0.0 && chain.compensation_box.capacitance_f > 0.0);
        }
        // The doubtful ones, too: figures of those whose tip capacitance is not what is in doubt.
        for (assumed, chain) in doubts.iter().filter(|(a, _)| a.parameter != Parameter::TipCapacitance) {
            let seen = equivalent_input(&alone(chain, nominal), 0.0).capacitance_f;
            assert_close!(seen, sheet.input_capacitance_f, relative(5e-3), "{assumed:?}");
        }
        // The figures, on the input they are stated for.
        for figure in &here.reproduced {
            if figure.figure != Figure::Bandwidth || !codes(&here).contains(&"data-sheet-bandwidth") {
                assert_close!(figure.got, figure.wanted, relative(5e-3), "{:?}", figure.figure);
            }
        }
        let probe = alone(&here.chain, nominal);
        assert_close!(equivalent_input(&probe, 0.0).capacitance_f, sheet.input_capacitance_f, relative(5e-3));
        if let Some(wanted) = sheet.bandwidth_hz
            && !codes(&here).contains(&"data-sheet-bandwidth")
        {
            assert_bandwidth(&probe, wanted);
        }
        // e: nil where the trimmer reaches, and of the sign of what is missing elsewhere.
        let e = error(&model.chain);
        match sheet.compensation_range_f {
            _ if sheet.adjusted == Adjusted::Nowhere => {
                prop_assert!(e.abs() < 1e-9 || (e < 0.0) == (input > nominal), "{e}");
            }
            Some((_, to)) if input > to => prop_assert!(e < 0.0),
            Some((from, _)) if input < from => prop_assert!(e > 0.0),
            _ => assert_close!(e, 0.0, within(1e-11)),
        }
    }

    #[test]
    fn prop_matched_probes_reproduce_their_bandwidth(
        ratio in 5.0..50.0f64,
        seen in 0.5e-12..2e-12,
        bandwidth in 0.5e9..3e9,
        length in 0.8..1.5,
    ) {
        let sheet = DataSheet {
            ratio,
            input_resistance_ohm: Some(50.0 * ratio),
            input_capacitance_f: seen,
            compensation_range_f: None,
            bandwidth_hz: Some(bandwidth),
            cable_length_m: Some(length),
            adjusted: Adjusted::Nowhere,
        };
        let place = setting(50.0, 0.0);
        let model = sheet.model(&place).unwrap();
        model.chain.check().unwrap();
        if codes(&model).is_empty() {
            assert_bandwidth(&alone(&model.chain, 0.0), bandwidth);
        } else {
            // Nearest: what it says is what the chain has.
            let got = model.reproduced.iter().find(|r| r.figure == Figure::Bandwidth).unwrap().got;
            let chain = alone(&model.chain, 0.0);
            let gain = chain.at_frequency(got).norm() / chain.at_frequency(0.0).norm();
            assert_close!(gain, std::f64::consts::FRAC_1_SQRT_2, relative(1e-9));
            // The nearest one is looked for in steps; a ripple of the cable (one each v/2l) may touch −3 dB before.
            let first = bandwidth_hz(&chain, Against::Source, 1e11).unwrap();
            let ripple = 0.75 * 299_792_458.0 / (2.0 * length);
            prop_assert!(first > got - ripple, "{first} comes before {got}");
        }
    }

    #[test]
    fn prop_no_figures_make_it_panic(
        figures in prop::array::uniform7(prop_oneof![-30.0..30.0f64, Just(f64::NAN)]),
        given in any::<[bool; 5]>(),
        matched in any::<bool>(),
    ) {
        let [ratio, resistance, seen, from, width, bandwidth, length] = figures.map(|x| 10.0_f64.powf(x));
        let sheet = DataSheet {
            ratio,
            input_resistance_ohm: given[0].then_some(resistance),
            input_capacitance_f: seen,
            compensation_range_f: given[1].then_some((from, from + width)),
            bandwidth_hz: given[2].then_some(bandwidth),
            cable_length_m: given[3].then_some(length),
            adjusted: if given[4] { Adjusted::AtTip } else { Adjusted::AtBase },
        };
        let place = if matched { setting(50.0, 0.0) } else { setting(1e6, 15e-12) };
        if let Ok(model) = sheet.model(&place) {
            model.chain.check().unwrap();
            prop_assert!(model.assumed.iter().all(|assumed| assumed.standard_uncertainty >= 0.0));
        }
        let _ = sheet.models_for_doubt(&place);
    }
}
