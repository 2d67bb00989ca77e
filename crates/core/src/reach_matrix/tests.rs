//! Tests of the matrix: single reach as the reference, order of the sides, what is missing, wrong loads, bandwidths.

use super::*;
use crate::bench::{Id, Input, Probe, ProbeBox, ProbeCable, Range, ReachKnown, Toleranced, Trimmer};
use crate::chain::ResponseShape;
use crate::reach::{Verdict, reach};
use flattop_close::{assert_close, relative};
use proptest::prelude::*;

const PICO: f64 = 1e-12;

fn probe(low: f64, high: f64) -> Probe {
    Probe {
        id: Id::new("probe-07").unwrap(),
        label: None,
        serial: None,
        ratio: Some(10.0),
        tip_resistance_ohm: Some(Toleranced { value: 9e6, tolerance: None }),
        tip_capacitance_f: Some(Toleranced { value: 11.0 * PICO, tolerance: None }),
        series_resistance_ohm: None,
        body_capacitance_f: None,
        compensation_range_f: Some(Range { low: low * PICO, high: high * PICO }),
        adjusted_at: Some(Trimmer::Base),
        bandwidth_hz: Some(300e6),
        cable: ProbeCable::default(),
        compensation_box: ProbeBox::default(),
        voltage_rating: Vec::new(),
        voltage_rating_kind: None,
        measurement_category: None,
        category_voltage_v: None,
        ground_accessories: Vec::new(),
        note: None,
        retired: false,
    }
}

fn input(nominal: f64, tolerance: f64) -> Input {
    Input {
        name: Id::new("ch1").unwrap(),
        label: None,
        resistance_ohm: Some(Toleranced { value: 1e6, tolerance: None }),
        capacitance_f: Some(Toleranced { value: nominal * PICO, tolerance: Some(tolerance * PICO) }),
        bandwidth_hz: Some(200e6),
        response: None,
        rated_voltage_v: None,
        rated_voltage_kind: None,
        note: None,
        retired: false,
    }
}

fn one(probe: &Probe, input: &Input) -> Cell {
    Row::of(&Probes::of([probe]), 0, &Inputs::of([input])).cell(0)
}

#[test]
fn a_range_of_8_to_18_reaches_15_and_not_20() {
    // Common practice; the figures are those of the single reach, worked out by hand in its tests.
    let good = one(&probe(8.0, 18.0), &input(15.0, 2.0));
    assert_eq!(good.standing, Standing::Reaches);
    assert_close!(good.margin_f.unwrap(), 3.0 * PICO, relative(1e-9));
    let bad = one(&probe(8.0, 18.0), &input(20.0, 1.0));
    assert_eq!(bad.standing, Standing::OutOfReach);
    assert_close!(bad.error.unwrap(), -2.0 / (1100.0 / 9.0 + 2.0), relative(1e-9));
    assert!(good.suits() && !bad.suits() && good.lacking.is_empty());
}

#[test]
fn what_is_missing_is_named_and_nothing_is_filled_in() {
    let whole = (probe(8.0, 18.0), input(15.0, 1.0));
    let missing = |change: fn(&mut Probe, &mut Input)| {
        let (mut p, mut i) = whole.clone();
        change(&mut p, &mut i);
        let cell = one(&p, &i);
        (
            cell.standing,
            cell.error.is_some(),
            cell.bandwidth_hz.is_some(),
            cell.lacking.iter().collect::<Vec<_>>(),
        )
    };
    use Lacking::*;
    use Standing::*;
    assert_eq!(missing(|_, _| {}), (Reaches, true, true, vec![]));
    assert_eq!(
        missing(|p, _| p.compensation_range_f = None),
        (CannotBeSaid, false, true, vec![CompensationRange])
    );
    assert_eq!(missing(|_, i| i.capacitance_f = None), (CannotBeSaid, false, true, vec![InputCapacitance]));
    assert_eq!(missing(|p, _| p.tip_capacitance_f = None), (Reaches, false, true, vec![TipCapacitance]));
    assert_eq!(missing(|p, _| p.ratio = None), (Reaches, false, true, vec![Ratio]));
    assert_eq!(missing(|p, _| p.adjusted_at = None), (Reaches, false, true, vec![AdjustedAt]));
    assert_eq!(missing(|p, _| p.bandwidth_hz = None), (Reaches, true, false, vec![ProbeBandwidth]));
    assert_eq!(missing(|_, i| i.bandwidth_hz = None), (Reaches, true, false, vec![InputBandwidth]));
    let unstated = Input { capacitance_f: Some(Toleranced { value: 15e-12, tolerance: None }), ..whole.1 };
    let cell = one(&whole.0, &unstated);
    assert!(cell.standing == Reaches && !cell.tolerance_known);
}

#[test]
fn a_probe_without_a_trimmer_may_reach_what_it_was_made_for() {
    let fixed = Probe { adjusted_at: Some(Trimmer::Fixed), ..probe(12.0, 18.0) };
    for (capacitance, standing) in
        [(11.0, Standing::OutOfReach), (13.0, Standing::MayReach), (19.0, Standing::OutOfReach)]
    {
        let input = input(capacitance, 0.0);
        let cell = one(&fixed, &input);
        assert_eq!(cell.standing, standing, "{capacitance} pF");
        // The state of a pairing goes by the same range.
        let known = ReachKnown::of(fixed.compensation_range_f, input.capacitance_f);
        assert_eq!(known == ReachKnown::OutOfReach, standing == Standing::OutOfReach);
        // It balances 15 pF: e of the divider itself.
        let delta = capacitance - 15.0;
        assert_close!(cell.error.unwrap(), -delta / (1100.0 / 9.0 + delta), relative(1e-9));
    }
}

#[test]
fn a_wrong_load_is_said_with_what_it_reads() {
    // Low-impedance probe, 450 Ω into 50 Ω (common practice): on 1 MΩ it hardly divides, and a reading times ten is ten times too large.
    let resistive = Probe {
        tip_resistance_ohm: Some(Toleranced { value: 450.0, tolerance: None }),
        compensation_range_f: None,
        adjusted_at: None,
        ..probe(8.0, 18.0)
    };
    let terminated = Input {
        resistance_ohm: Some(Toleranced { value: 50.0, tolerance: None }),
        capacitance_f: None,
        ..input(15.0, 1.0)
    };
    let on_high = one(&resistive, &input(15.0, 1.0));
    assert_close!(on_high.reads.unwrap(), 10.0 * 1e6 / (1e6 + 450.0), relative(1e-12));
    assert!(on_high.wrong_load() && !on_high.suits() && on_high.standing == Standing::NothingToBalance);
    let on_fifty = one(&resistive, &terminated);
    assert!(on_fifty.suits() && on_fifty.lacking.is_empty());
    // A 10 MΩ probe on 50 Ω reads nearly nothing: 10·50/(9e6 + 50).
    let lost = one(&probe(8.0, 18.0), &terminated);
    assert_close!(lost.reads.unwrap(), 500.0 / 9_000_050.0, relative(1e-12));
    assert!(lost.wrong_load());
    // Two per cent off in the input's resistance is no wrong load.
    let near =
        Input { resistance_ohm: Some(Toleranced { value: 1.02e6, tolerance: None }), ..input(15.0, 1.0) };
    assert!(!one(&probe(8.0, 18.0), &near).wrong_load());
}

#[test]
fn bandwidths_follow_the_rule_and_its_exact_cases() {
    // Variances of Gaussian impulse responses add: 300 MHz and 400 MHz give 240 MHz.
    assert_close!(combined_bandwidth_hz(300e6, 400e6), 240e6, relative(1e-12));
    assert_close!(combined_bandwidth_hz(f64::INFINITY, 400e6), 400e6, relative(1e-12));
    // Two equal single poles: |H|² = 1/(1+x²)² halves at x = √(√2 − 1) = 0.6436; the rule says 0.7071, 9.9 % more.
    let exact = (2f64.sqrt() - 1.0).sqrt();
    assert_close!(combined_bandwidth_hz(1.0, 1.0) / exact, 1.0987, relative(1e-4));
    // Their step response 1 − (1+x)·exp(−x) takes 3.3579 τ from 10 to 90 %; the rule says √2·ln 9 = 3.1073.
    let one_pole = transition_bandwidth(Some(ResponseShape::SinglePole)) * std::f64::consts::TAU;
    let reached = |x: f64| 1.0 - (1.0 + x) * (-x).exp();
    assert_close!([reached(0.531_811_6), reached(3.889_720_2)], [0.1, 0.9], relative(1e-6));
    assert_close!(3.357_908_6 / combined_transition_s(one_pole, one_pole), 1.080_64, relative(1e-4));
    let cell = one(&probe(8.0, 18.0), &input(15.0, 1.0));
    assert_close!(cell.bandwidth_hz.unwrap(), 166.41e6, relative(1e-4));
    // 2·z₉₀·√(ln 2)/(2π) over the bandwidth.
    assert_close!(cell.transition_s.unwrap(), 0.339_624_4 / cell.bandwidth_hz.unwrap(), relative(1e-6));
}

#[test]
fn products_are_those_of_the_filter_families() {
    // reference/published/rise_time_bandwidth_products.csv, worked out by SciPy 1.17.
    let table = include_str!("../../../../reference/published/rise_time_bandwidth_products.csv");
    let mut orders = 0;
    for line in table.lines().skip(1) {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let order = cells[0] as u8;
        let got = transition_bandwidth(Some(ResponseShape::MaximallyFlat(order)));
        assert_close!(got, cells[1], relative(1e-9), "order {order}");
        if order == 4 {
            assert_close!(transition_bandwidth(Some(ResponseShape::Bessel4)), cells[3], relative(1e-9));
        }
        orders += 1;
    }
    assert_eq!(orders, 10);
    let first = transition_bandwidth(Some(ResponseShape::MaximallyFlat(1)));
    assert_close!(transition_bandwidth(Some(ResponseShape::SinglePole)), first, relative(2e-6));
}

#[test]
fn numbers_that_cannot_be_true_give_no_verdict() {
    let odd =
        Probe { tip_capacitance_f: Some(Toleranced { value: PICO, tolerance: None }), ..probe(8.0, 18.0) };
    let probes = Probes::of([&odd]);
    assert!(probes.unfit(0).unwrap().to_string().contains("correct the range"));
    let cell = Row::of(&probes, 0, &Inputs::of([&input(15.0, 1.0)])).cell(0);
    assert!(cell.standing == Standing::CannotBeSaid && cell.margin_f.is_none() && cell.lacking.is_empty());
}

#[test]
fn a_summary_names_the_input_of_least_margin_and_ranks_by_it() {
    let inputs = [input(13.0, 1.0), input(20.0, 3.0), input(16.0, 0.0)];
    let terminated = Input {
        resistance_ohm: Some(Toleranced { value: 50.0, tolerance: None }),
        capacitance_f: None,
        ..input(15.0, 1.0)
    };
    let inputs = Inputs::of(inputs.iter().chain([&terminated]));
    let all = [probe(10.0, 25.0), probe(8.0, 18.0), probe(5.0, 30.0), probe(10.0, 22.0)];
    let probes = Probes::of(&all);
    let sums: Vec<Summary> =
        (0..4).map(|p| Summary::of(&Row::of(&probes, p, &inputs), &probes, p, &inputs)).collect();
    // 25 − 20 less 3 and 13 − 10 less 1 both leave 2 pF: the first counts. 22 − 20 less 3 leaves −1 pF.
    let least = sums[0].least.unwrap();
    assert_eq!((least.input, sums[0].judged, sums[0].left_out, sums[0].suits_all()), (0, 3, 1, true));
    assert_close!(least.spare_f(), 2.0 * PICO, relative(1e-9));
    assert_eq!((sums[1].suits, sums[1].count(Standing::MayReach)), (2, 1));
    assert_eq!((sums[3].suits, sums[3].count(Standing::MayReach)), (2, 1));
    let mut order = [0, 1, 2, 3];
    order.sort_by(|a, b| rank(&sums[*a], &sums[*b]));
    // 18 − 20 is outside by 2 pF less than the tolerance of 3 pF: it may reach, with less left than the last.
    assert_eq!(order, [2, 0, 3, 1]);
    assert!(!Summary::default().suits_all());
}

fn any_probe() -> impl Strategy<Value = Probe> {
    let places = prop_oneof![
        Just(None),
        Just(Some(Trimmer::Tip)),
        Just(Some(Trimmer::Base)),
        Just(Some(Trimmer::Fixed))
    ];
    let known = proptest::bool::weighted;
    (
        (0.0..30.0_f64, 0.0..30.0_f64, 1.0..25.0_f64, 1.0..200.0_f64),
        places,
        known(0.9),
        known(0.9),
        known(0.9),
    )
        .prop_map(|((low, width, tip, ratio), adjusted_at, range, has_tip, has_ratio)| {
            let mut p = probe(low, (low + width).max(0.1));
            p.adjusted_at = adjusted_at;
            p.ratio = has_ratio.then_some(ratio);
            p.tip_capacitance_f = has_tip.then_some(Toleranced { value: tip * PICO, tolerance: None });
            p.compensation_range_f = p.compensation_range_f.filter(|_| range);
            p
        })
}

fn any_input() -> impl Strategy<Value = Input> {
    (1.0..50.0_f64, 0.0..1.0_f64, proptest::bool::weighted(0.9)).prop_map(|(c, share, known)| {
        let mut i = input(c, share * c);
        i.capacitance_f = i.capacitance_f.filter(|_| known);
        i
    })
}

proptest! {
    #[test]
    fn prop_a_pair_is_the_single_reach_to_the_last_bit(
        probes in prop::collection::vec(any_probe(), 1..6), inputs in prop::collection::vec(any_input(), 1..6),
    ) {
        let (ready, loads) = (Probes::of(&probes), Inputs::of(&inputs));
        let mut row = Row::default();
        for p in 0..ready.len() {
            row.fill(&ready, p, &loads);
            for i in 0..loads.len() {
                let cell = row.cell(i);
                let Some(single) = ready.reach_probe(p).filter(|_| inputs[i].capacitance_f.is_some()) else {
                    prop_assert!(cell.error.is_none());
                    continue;
                };
                let single = reach(single, loads.capacitance(i)).unwrap();
                let verdict = match single.margin.verdict {
                    Verdict::Reaches => Standing::Reaches,
                    Verdict::MayReach => Standing::MayReach,
                    Verdict::OutOfReach => Standing::OutOfReach,
                };
                prop_assert_eq!(cell.standing, verdict);
                let bits = |x: f64| x.to_bits();
                prop_assert_eq!(cell.margin_f.map(bits), Some(bits(single.margin.margin_f)));
                prop_assert_eq!(cell.tolerance_f.map(bits), Some(bits(single.margin.tolerance_f)));
                prop_assert_eq!(cell.error.map(bits), Some(bits(single.residual.error)));
                let (lowest, highest) = cell.error_bounds.unwrap();
                prop_assert_eq!((bits(lowest), bits(highest)), (bits(single.residual.bounds.0), bits(single.residual.bounds.1)));
            }
        }
    }

    #[test]
    fn prop_the_order_of_the_sides_does_not_matter(
        probes in prop::collection::vec(any_probe(), 1..6), inputs in prop::collection::vec(any_input(), 1..6),
    ) {
        let rows = |probes: &[Probe], inputs: &[Input]| -> Vec<Vec<String>> {
            let (ready, loads) = (Probes::of(probes), Inputs::of(inputs));
            (0..ready.len())
                .map(|p| Row::of(&ready, p, &loads).cells().map(|cell| format!("{cell:?}")).collect())
                .collect()
        };
        let forward = rows(&probes, &inputs);
        let turned = |side: &[Probe]| side.iter().rev().cloned().collect::<Vec<_>>();
        let mirrored: Vec<Input> = inputs.iter().rev().cloned().collect();
        let mut backward = rows(&turned(&probes), &mirrored);
        backward.reverse();
        backward.iter_mut().for_each(|row| row.reverse());
        prop_assert_eq!(forward, backward);
    }
}
