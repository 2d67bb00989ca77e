//! Corrected records against truth and against other ways of undoing the same: SciPy's filters and division, ngspice's dividers and chains.

use super::{Row, Tag};
use flattop_core::chain::{
    Cable, Chain, CompensationBox, Contact, Coupling, Input, Node, Response, ResponseShape, Tip,
};
use flattop_core::correction::chain::{ChainCorrector, ChainSetting, Reference};
use flattop_core::correction::shelf::{Before, KnownShelf, Setting, ShelfCorrector};
use flattop_core::divider::Shelf;
use flattop_core::samples::SampleView;
use std::path::Path;

const SCIPY: &str =
    "SciPy 1.17.1, `cont2discrete(method=\"foh\")` and `lfilter` (`reference/correct_shelf.py`)";
const TURNED: &str =
    "SciPy 1.17.1, `lfilter` with numerator and denominator exchanged (`reference/correct_shelf.py`)";
const DIVIDED: &str = "SciPy 1.17.1, `deconvolve` by the impulse response (`reference/correct_shelf.py`)";
const NGSPICE: &str = "ngspice, lumped dividers (`reference/correct_shelf.py`)";
const CHAINS: &str = "ngspice, whole chains (`reference/correct_chain.py`)";
const CASES: &str = include_str!("../../../testdata/correct/scipy.csv");

/// Samples of one case, column by column.
struct Case {
    e: f64,
    time_constant_s: f64,
    interval_s: f64,
    truth: Vec<f64>,
    shown: Vec<f64>,
    turned_round: Vec<f64>,
    divided: Vec<f64>,
}

fn cases() -> Vec<Case> {
    let mut cases: Vec<Case> = Vec::new();
    for line in CASES.lines().skip(1) {
        let row: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap_or(f64::NAN)).collect();
        let &[e, time_constant_s, interval_s, truth, shown, turned_round, divided] = &row[..] else {
            continue;
        };
        let is_same =
            |c: &Case| c.e.to_bits() == e.to_bits() && c.interval_s.to_bits() == interval_s.to_bits();
        if !cases.last().is_some_and(is_same) {
            let (truth, shown, turned_round, divided) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
            cases.push(Case { e, time_constant_s, interval_s, truth, shown, turned_round, divided });
        }
        if let Some(case) = cases.last_mut() {
            case.truth.push(truth);
            case.shown.push(shown);
            case.turned_round.push(turned_round);
            case.divided.push(divided);
        }
    }
    cases
}

/// Corrected samples; at rest before, without noise.
fn corrected(shown: &[f64], shelf: Shelf, interval_s: f64) -> Vec<f64> {
    let shelf = KnownShelf { shelf, error_u: 0.0, time_constant_u_s: 0.0, correlation: 0.0 };
    let setting = Setting { shelf, interval_s, noise: 0.0, span: 1.0, before: Before::Rest };
    let (mut x, mut u) = (vec![f64::NAN; shown.len()], vec![f64::NAN; shown.len()]);
    if let Ok(mut corrector) = ShelfCorrector::new(setting) {
        corrector.push(shown, &mut x, &mut u);
    }
    x
}

/// Largest difference; NaN where there is nothing to compare or one of them is no number.
fn furthest(a: &[f64], b: &[f64]) -> f64 {
    if a.is_empty() || a.len() != b.len() {
        return f64::NAN;
    }
    // A NaN stays: `max` would pass it over.
    a.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0, |most, off| if off <= most { most } else { off })
}

/// Nine digits, as the file holds them.
fn rounded(value: f64) -> f64 {
    (1e9 * value).round() / 1e9
}

fn row(id: &str, what: String, source: &str, got: f64, tolerance: f64, unit: &'static str) -> Row {
    Row {
        id: id.to_owned(),
        what,
        source: source.to_owned(),
        tag: Tag::Derived,
        expected: 0.0,
        got,
        tolerance,
        unit,
    }
}

pub(crate) fn rows() -> Vec<Row> {
    let mut rows = Vec::new();
    for case in cases() {
        let shelf = Shelf { error: case.e, time_constant_s: case.time_constant_s };
        let x = corrected(&case.shown, shelf, case.interval_s);
        let name = format!(
            "e {:+.0} %, interval {} τp",
            100.0 * case.e,
            rounded(case.interval_s / case.time_constant_s)
        );
        // The files hold 15 digits, of numbers about 1.
        let compared = [
            ("truth", SCIPY, &case.truth),
            ("the filter turned round", TURNED, &case.turned_round),
            ("division by the impulse response", DIVIDED, &case.divided),
        ];
        for (what, source, other) in compared {
            let off = furthest(&x, other);
            rows.push(row(
                "R-01",
                format!("{name}: furthest from {what}"),
                source,
                off,
                1e-11,
                "of a step of 1",
            ));
        }
    }
    rows.extend(ngspice());
    rows.extend(chains());
    rows
}

/// Records of lumped dividers whose edges fall between samples: shelf within 0.1 % of the step, but in the interval of the edge itself.
fn ngspice() -> Vec<Row> {
    let columns = super::curve::columns(&text("ngspice.csv.gz"));
    let mut rows = Vec::new();
    for (k, e) in [-0.4, -0.1, 0.05, 0.3, 0.6].into_iter().enumerate() {
        let shelf = Shelf { error: e, time_constant_s: 9e-5 };
        let name = format!("square wave through a divider of e {:+.0} %", 100.0 * e);
        let got = match (&columns[..], columns.get(2 + k)) {
            ([time_s, truth, ..], Some(shown)) if time_s.len() > 1 => {
                let interval_s = (time_s[time_s.len() - 1] - time_s[0]) / (time_s.len() - 1) as f64;
                100.0 * furthest(&corrected(shown, shelf, interval_s), truth)
            }
            _ => f64::NAN,
        };
        rows.push(row(
            "R-02",
            format!("{name}: furthest from the source"),
            NGSPICE,
            got,
            0.1,
            "% of the step",
        ));
    }
    rows
}

/// The chain of `reference/netlists/correct_chain.cir`, on a node of its own.
fn chain(resistance_ohm: f64) -> Chain {
    Chain {
        node: Node { resistance_ohm, capacitance_f: 5e-12 },
        contact: Contact { inductance_h: 100e-9, resistance_ohm: 40.0 },
        tip: Tip {
            body_capacitance_f: 1e-12,
            resistance_ohm: 9e6,
            capacitance_f: 12.3e-12,
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
        input: Input {
            resistance_ohm: 1e6,
            capacitance_f: 20e-12,
            response: Response { shape: ResponseShape::SinglePole, bandwidth_hz: 200e6 },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: Vec::new(),
        ratio: 10.0,
    }
}

/// What ngspice's chains made of an edge, corrected to 100 MHz, beside the node through a Gaussian of 100 MHz, by the stated delay later.
fn chains() -> Vec<Row> {
    let columns = super::curve::columns(&text("chain.csv.gz"));
    let mut rows = Vec::new();
    for (first, resistance_ohm, node) in [(1, 50.0, "50 Ω"), (4, 1e3, "1 kΩ")] {
        for (k, reference, words) in
            [(0, Reference::Tip, "the tip"), (1, Reference::UnloadedNode, "the node without the probe")]
        {
            let furthest = match (columns.first(), columns.get(first + k), columns.get(first + 2)) {
                (Some(time_s), Some(truth), Some(shown)) if time_s.len() > 1 => {
                    let setting = ChainSetting {
                        reference,
                        bandwidth_hz: 100e6,
                        interval_s: time_s[1] - time_s[0],
                        noise: 0.0,
                        span: 1.0,
                        before: Before::Rest,
                    };
                    100.0 * undone(&chain(resistance_ohm), setting, shown, truth)
                }
                _ => f64::NAN,
            };
            let what = format!("edge of 3 ns behind {node} and 5 pF, up to 100 MHz: furthest from {words}");
            rows.push(row("R-03", what, CHAINS, furthest, 1.0, "% of the step"));
        }
    }
    rows
}

/// The largest difference from the truth as much later as is stated, away from the ends.
fn undone(chain: &Chain, setting: ChainSetting, shown: &[f64], truth: &[f64]) -> f64 {
    let Ok(mut corrector) = ChainCorrector::new(chain, &[], setting) else { return f64::NAN };
    let (mut x, mut u) = (vec![f64::NAN; shown.len()], vec![f64::NAN; shown.len()]);
    corrector.next(SampleView::volts(shown), 0..shown.len(), &mut x, &mut u);
    let summary = corrector.summary();
    let later = summary.delay_s / setting.interval_s;
    let ends = summary.end_samples as usize + later.ceil() as usize + 2;
    if shown.len() < 2 * ends + 1000 {
        return f64::NAN;
    }
    let expected: Vec<f64> = (ends..shown.len() - ends).map(|k| between(truth, k as f64 - later)).collect();
    furthest(&x[ends..shown.len() - ends], &expected)
}

/// The cubic through four neighbours (Lagrange).
fn between(samples: &[f64], at: f64) -> f64 {
    let left = at.floor().max(1.0) as usize;
    let t = at - left as f64;
    let Some(&[a, b, c, d]) = samples.get(left - 1..left + 3) else { return f64::NAN };
    -t * (t - 1.0) * (t - 2.0) / 6.0 * a + (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0 * b
        - (t + 1.0) * t * (t - 2.0) / 2.0 * c
        + (t + 1.0) * t * (t - 1.0) / 6.0 * d
}

/// A packed file of the folder.
#[allow(clippy::disallowed_methods)] // a chore reads the files it checks
fn text(file: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../testdata/correct").join(file);
    let Ok(bytes) = std::fs::read(path) else { return String::new() };
    let mut text = String::new();
    let _ = std::io::Read::read_to_string(&mut flate2::read::GzDecoder::new(&bytes[..]), &mut text);
    text
}
