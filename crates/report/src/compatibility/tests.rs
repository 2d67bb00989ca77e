//! Tests of words, JSON, CSV and pictures of a whole bench.

use flattop_close::{assert_close, relative};
use flattop_core::bench::{Id, Input, InputId, Probe, ProbeBox, ProbeCable, Range, Toleranced, Trimmer};
use flattop_core::reach_matrix::{Row, Summary, rank};
use resvg::{tiny_skia, usvg};

use super::*;

const PICO: f64 = 1e-12;

fn toleranced(value: f64, tolerance: Option<f64>) -> Option<Toleranced> {
    Some(Toleranced { value, tolerance })
}

fn probe(number: usize, low: f64, high: f64) -> Probe {
    Probe {
        id: Id::new(&format!("probe-{number:02}")).unwrap(),
        label: Some(format!("Probe {number:02}")),
        serial: None,
        ratio: Some(10.0),
        tip_resistance_ohm: toleranced(9e6, None),
        tip_capacitance_f: toleranced(11.0 * PICO, None),
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

fn input(scope: &str, number: usize, capacitance: f64, tolerance: Option<f64>, bandwidth: f64) -> NamedInput {
    let name = Id::new(&format!("ch{number}")).unwrap();
    NamedInput {
        id: InputId { oscilloscope: Id::new(scope).unwrap(), name: name.clone() },
        input: Input {
            name,
            label: None,
            resistance_ohm: toleranced(1e6, None),
            capacitance_f: toleranced(capacitance * PICO, tolerance.map(|t| t * PICO)),
            bandwidth_hz: Some(bandwidth),
            response: None,
            rated_voltage_v: None,
            rated_voltage_kind: None,
            note: None,
            retired: false,
        },
    }
}

/// Twelve probes of the Harrow Lane Lift Works on eight inputs, something of everything.
fn workshop() -> (Vec<Probe>, Vec<NamedInput>) {
    let ranges = [
        (10.0, 25.0),
        (8.0, 18.0),
        (10.0, 35.0),
        (15.0, 25.0),
        (7.0, 12.0),
        (10.0, 22.0),
        (8.0, 18.0),
        (12.0, 30.0),
        (5.0, 30.0),
        (20.0, 45.0),
        (15.0, 17.0),
    ];
    let mut probes: Vec<Probe> = ranges.iter().enumerate().map(|(k, (a, b))| probe(k + 1, *a, *b)).collect();
    probes[3].compensation_range_f = None;
    probes[5].tip_capacitance_f = None;
    probes[10].adjusted_at = Some(Trimmer::Fixed);
    probes.push(Probe {
        tip_resistance_ohm: toleranced(450.0, None),
        compensation_range_f: None,
        adjusted_at: None,
        bandwidth_hz: Some(1e9),
        ..probe(12, 1.0, 2.0)
    });
    let mut inputs = vec![
        input("bench-a", 1, 15.0, Some(1.0), 200e6),
        input("bench-a", 2, 15.0, Some(1.0), 200e6),
        input("bench-b", 1, 20.0, Some(2.0), 100e6),
        input("bench-b", 2, 20.0, Some(2.0), 100e6),
        input("bench-c", 1, 25.0, Some(2.0), 60e6),
        input("bench-c", 2, 25.0, None, 60e6),
        input("bench-d", 1, 13.0, Some(1.0), 500e6),
        input("bench-d", 2, 13.0, Some(1.0), 500e6),
    ];
    inputs[7].input.resistance_ohm = toleranced(50.0, None);
    inputs[7].input.capacitance_f = None;
    (probes, inputs)
}

fn compatibility(probes: Vec<Probe>, inputs: Vec<NamedInput>) -> Compatibility {
    let sides = Sides::new("bench.sqlite".into(), probes, inputs);
    let rows: Vec<Row> = (0..sides.probes.len()).map(|p| Row::of(&sides.ready, p, &sides.loads)).collect();
    let sums =
        rows.iter().enumerate().map(|(p, row)| Summary::of(row, &sides.ready, p, &sides.loads)).collect();
    Compatibility { sides, rows, sums }
}

fn ranked(of: &Compatibility) -> Vec<usize> {
    let mut order: Vec<usize> = (0..of.sums.len()).collect();
    order.sort_by(|a, b| rank(&of.sums[*a], &of.sums[*b]));
    order
}

fn narrow(text: &str) {
    let widest = text.lines().max_by_key(|line| line.chars().count()).unwrap();
    assert!(widest.chars().count() <= 80, "{widest}\nin\n{text}");
    assert!(!text.contains("NaN") && !text.contains("unknown Hz") && !text.contains("inf"), "{text}");
}

#[test]
fn a_workshop_makes_a_table_with_margin_and_bandwidth() {
    let (probes, inputs) = workshop();
    let text = matrix(&compatibility(probes, inputs), Extent::Pairs);
    narrow(&text);
    assert!(text.starts_with("12 probes on 8 inputs (bench.sqlite): "), "{text}");
    let line = |start: &str| text.lines().find(|line| line.starts_with(start)).unwrap();
    // 18 − 15 pF; 18 − 20 pF with 2 pF of tolerance; 18 − 25 pF.
    for cell in ["ok 3", "may -2", "OUT -7"] {
        assert!(line("probe-02 ").contains(cell), "{text}");
    }
    assert!(text.contains("15 ± 1 pF") && text.contains("166 MHz"), "{text}");
    assert!(line("probe-04 ").contains('?') && text.contains("compensation_range"), "{text}");
    assert!(
        text.contains("probe-12 on 7 inputs reads 10 times what is there: it is made for one of 50 Ω."),
        "{text}"
    );
    assert!(text.contains("OUT, above") && text.contains("OUT, below"), "{text}");
}

#[test]
fn a_large_bench_makes_a_list_worst_first() {
    let probes: Vec<Probe> = (0..100).map(|k| probe(k, 8.0, 18.0 + 0.1 * k as f64)).collect();
    let inputs: Vec<NamedInput> =
        (1..=40).map(|k| input("bench-a", k, 10.0 + 0.4 * k as f64, Some(1.0), 2e8)).collect();
    let of = compatibility(probes, inputs);
    let text = matrix(&of, Extent::Pairs);
    narrow(&text);
    let first = text.lines().find(|line| line.starts_with("probe-")).unwrap();
    // 18 − 26 pF.
    assert!(
        first.starts_with("probe-00") && first.contains("bench-a/ch40") && first.contains("-8 ± 1"),
        "{text}"
    );
    assert!(text.contains("and 3960 more"), "{text}");
    narrow(&matrix(&of, Extent::Sums));
}

#[test]
fn long_names_keep_to_the_page() {
    let mut first = probe(1, 8.0, 18.0);
    first.id = Id::new("probe-with-a-name-as-long-as-it-may-ever-be").unwrap_or(first.id);
    let inputs = vec![
        input("oscilloscope-with-a-rather-long-name", 1, 20.0, Some(1.0), 1e8),
        input("oscilloscope-with-a-rather-long-name", 2, 15.0, Some(1.0), 1e8),
    ];
    let of = compatibility(vec![first], inputs);
    narrow(&matrix(&of, Extent::Pairs));
    narrow(&candidates(&of, &ranked(&of), 40));
}

#[test]
fn candidates_are_told_best_first() {
    let (probes, mut inputs) = workshop();
    inputs.truncate(4);
    let of = compatibility(probes, inputs);
    let order = ranked(&of);
    let text = candidates(&of, &order, 40);
    narrow(&text);
    // 5 to 30 pF leaves 30 − 20 − 2 = 8 pF; 10 to 35 pF leaves 15 − 10 − 1 = 4 pF.
    assert_eq!(of.sides.probes[order[0]].id.as_str(), "probe-09");
    assert!(
        text.starts_with("5 of 12 candidates suit all of 4 inputs; best probe-09 with at least"),
        "{text}"
    );
    let first = text.lines().find(|line| line.contains("probe-09") && line.starts_with('1')).unwrap();
    assert!(first.contains("4/4") && first.contains("10 ± 2") && first.contains("bench-b/ch1"), "{text}");
}

#[test]
fn json_has_every_pair_and_null_for_what_is_not_known() {
    let (probes, inputs) = workshop();
    let of = compatibility(probes, inputs);
    let order: Vec<usize> = (0..12).collect();
    let json: serde_json::Value =
        serde_json::from_str(&json::text(&of, Kind::Bench, Extent::Pairs, &order)).unwrap();
    let pairs = json["pairs"].as_array().unwrap();
    assert_eq!((pairs.len(), json["probes"].as_array().unwrap().len()), (96, 12));
    let of_pair = |probe: &str, input: &str| {
        pairs.iter().find(|pair| pair["probe"] == probe && pair["input"] == input).unwrap().clone()
    };
    let bad = of_pair("probe-02", "bench-c/ch1");
    assert_eq!(bad["verdict"], "out-of-reach");
    assert_close!(bad["margin_f"].as_f64().unwrap(), -7.0 * PICO, relative(1e-9));
    // −7/(N·C1 + 7) with C1 = 11·10/9 pF.
    assert_close!(bad["compensation_error"].as_f64().unwrap(), -7.0 / (1100.0 / 9.0 + 7.0), relative(1e-9));
    // 300 MHz and 60 MHz: 300/√(1 + 25).
    assert_close!(bad["bandwidth_hz"].as_f64().unwrap(), 300e6 / 26f64.sqrt(), relative(1e-9));
    assert!(of_pair("probe-01", "bench-c/ch2")["margin_tolerance_f"].is_null());
    let unknown = of_pair("probe-04", "bench-a/ch1");
    assert_eq!(unknown["verdict"], "cannot-be-said");
    assert_eq!(unknown["missing"], serde_json::json!(["probe.compensation_range"]));
    assert!(unknown["compensation_error"].is_null() && unknown["margin_f"].is_null());
    assert_eq!(of_pair("probe-12", "bench-a/ch1")["wrong_load"], true);
    let counted: u64 = [
        "reaches",
        "nothing_to_balance",
        "may_reach",
        "cannot_be_said",
        "out_of_reach",
        "wrong_load",
        "left_out",
    ]
    .iter()
    .map(|key| json["counts"][key].as_u64().unwrap())
    .sum();
    assert_eq!((counted, json["counts"]["pairs"].as_u64().unwrap()), (96, 96));
    let sums = json::text(&of, Kind::Candidates, Extent::Sums, &ranked(&of));
    let sums: serde_json::Value = serde_json::from_str(&sums).unwrap();
    assert!(sums["pairs"].is_null() && sums["probes"][0]["rank"] == 1);
}

#[test]
fn csv_has_a_cell_for_each_heading() {
    let (probes, inputs) = workshop();
    let of = compatibility(probes, inputs);
    let mut text = String::from(csv::PAIRS_HEAD);
    for (index, row) in of.rows.iter().enumerate() {
        csv::pairs(&mut text, &of.sides, index, row);
    }
    let columns = csv::PAIRS_HEAD.split(',').count();
    assert_eq!(text.lines().count(), 97);
    assert!(text.lines().all(|line| line.split(',').count() == columns));
    let line = text.lines().find(|line| line.starts_with("probe-02,bench-c/ch1,")).unwrap();
    assert!(line.starts_with("probe-02,bench-c/ch1,out-of-reach,-7e-12,2e-12,-5.41702493551e-2,-6.85859441152e-2,-3.93013100437e-2,5.88348405415e7,"), "{line}");
    assert!(text.contains("cannot-be-said,,,") && text.contains(",probe.compensation_range\r\n"));
    let mut sums = String::from(csv::SUMS_HEAD);
    for (place, index) in ranked(&of).into_iter().enumerate() {
        csv::sum(&mut sums, &of.sides, Kind::Candidates, index, place + 1, &of.sums[index]);
    }
    let columns = csv::SUMS_HEAD.split(',').count();
    assert!(sums.lines().all(|line| line.split(',').count() == columns), "{sums}");
}

fn drawn(svg: &str) -> tiny_skia::Pixmap {
    usvg::Tree::from_str(svg, &usvg::Options::default()).unwrap();
    assert!(!svg.contains("NaN") && !svg.contains("inf\"") && !svg.contains("inf "));
    tiny_skia::Pixmap::decode_png(&png(svg).unwrap()).unwrap()
}

#[test]
fn the_matrix_draws_until_it_is_too_large() {
    let (probes, inputs) = workshop();
    let drawing = svg(&compatibility(probes, inputs)).unwrap();
    assert!(drawing.contains("may reach (tolerances)") && drawing.contains("+3<") && drawing.contains("−7<"));
    assert!(drawn(&drawing).width() >= 1800);
    let (probes, inputs): (Vec<Probe>, Vec<NamedInput>) = (
        (0..100).map(|k| probe(k, 8.0, 18.0 + 0.1 * k as f64)).collect(),
        (1..=40).map(|k| input("bench-a", k, 10.0 + 0.4 * k as f64, Some(1.0), 2e8)).collect(),
    );
    let drawing = svg(&compatibility(probes, inputs)).unwrap();
    assert!(usvg::Tree::from_str(&drawing, &usvg::Options::default()).unwrap().size().height() > 2400.0);
    let probes = (0..121).map(|k| probe(k, 8.0, 18.0)).collect();
    let refused = svg(&compatibility(probes, vec![input("bench-a", 1, 15.0, None, 1e8)])).unwrap_err();
    assert!(refused.to_string().contains("--probe"), "{refused}");
    // A bench without anything draws its heading.
    drawn(&svg(&compatibility(Vec::new(), Vec::new())).unwrap());
}

#[test]
fn candidates_draw_the_best_sixty() {
    let (probes, inputs) = workshop();
    let of = compatibility(probes, inputs.clone());
    let drawing = ranges_svg(&of, &ranked(&of));
    drawn(&drawing);
    assert!(
        drawing.contains("input capacitance, pF") && drawing.contains("bench-a/ch1 + 1: 15 pF"),
        "{drawing}"
    );
    let many = compatibility((0..70).map(|k| probe(k, 8.0, 18.0)).collect(), inputs);
    assert!(ranges_svg(&many, &ranked(&many)).contains("The best 60 of 70 candidates are drawn."));
    let nothing = compatibility(Vec::new(), Vec::new());
    drawn(&ranges_svg(&nothing, &[]));
}
