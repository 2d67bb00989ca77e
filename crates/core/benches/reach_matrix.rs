//! Ten thousand probes on a thousand inputs: every verdict, margin, error and bandwidth, and what each probe comes to.

use flattop_core::bench::{Id, Input, Probe, ProbeBox, ProbeCable, Range, Toleranced, Trimmer};
use flattop_core::reach_matrix::{Inputs, Probes, Row, Standing, Summary};
use std::hint::black_box;
use std::time::Instant;

const PROBES: usize = 10_000;
const INPUTS: usize = 1_000;

fn probe(k: usize) -> Option<Probe> {
    let x = k as f64 / PROBES as f64;
    Some(Probe {
        id: Id::new(&format!("probe-{k}")).ok()?,
        label: None,
        serial: None,
        ratio: Some(10.0),
        tip_resistance_ohm: Some(Toleranced { value: 9e6, tolerance: None }),
        tip_capacitance_f: Some(Toleranced { value: (8.0 + 6.0 * x) * 1e-12, tolerance: None }),
        series_resistance_ohm: None,
        body_capacitance_f: None,
        compensation_range_f: Some(Range { low: (6.0 + 8.0 * x) * 1e-12, high: (18.0 + 12.0 * x) * 1e-12 }),
        adjusted_at: Some(if k.is_multiple_of(2) { Trimmer::Tip } else { Trimmer::Base }),
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
    })
}

fn input(k: usize) -> Option<Input> {
    Some(Input {
        name: Id::new(&format!("ch{k}")).ok()?,
        label: None,
        resistance_ohm: Some(Toleranced { value: 1e6, tolerance: None }),
        capacitance_f: Some(Toleranced {
            value: (10.0 + 20.0 * k as f64 / INPUTS as f64) * 1e-12,
            tolerance: Some(1e-12),
        }),
        bandwidth_hz: Some(200e6),
        response: None,
        rated_voltage_v: None,
        rated_voltage_kind: None,
        note: None,
        retired: false,
    })
}

#[allow(clippy::disallowed_methods, clippy::print_stdout)] // a bench looks at the clock and tells what it saw
fn main() {
    let probes: Vec<Probe> = (0..PROBES).filter_map(probe).collect();
    let inputs: Vec<Input> = (0..INPUTS).filter_map(input).collect();
    for _ in 0..5 {
        let start = Instant::now();
        let (ready, loads) = (Probes::of(&probes), Inputs::of(&inputs));
        let (mut row, mut reached, mut suits_all) = (Row::default(), 0, 0);
        for index in 0..ready.len() {
            row.fill(&ready, index, &loads);
            let sum = Summary::of(&row, &ready, index, &loads);
            reached += sum.count(Standing::Reaches);
            suits_all += usize::from(sum.suits_all());
        }
        let took = start.elapsed().as_secs_f64();
        let pairs = (ready.len() * loads.len()) as f64;
        println!(
            "reach_matrix: {pairs:.0} pairs in {took:.3} s on one core, {:.1} ns each; {} reached, {} reach all",
            1e9 * took / pairs,
            black_box(reached),
            black_box(suits_all),
        );
    }
}
