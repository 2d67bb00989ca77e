//! Whole chains against ngspice and against exact two-port cascades: over frequency, over time, lines, forms of response.

use super::curve::columns;
use super::{Row, Tag};
use flattop_core::chain::{
    Cable, Chain, CompensationBox, Contact, Coupling, Input, Node, Response, ResponseShape, Tip, Transfer,
    TwoPort, answers,
};
use flattop_core::pulse;
use flattop_core::signal::{Shape, Signal};
use flattop_core::transient::{Grid, Motion, Workspace};
use num_complex::Complex64;
use std::collections::BTreeMap;
use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

const CASES: &str = include_str!("../../../testdata/chain/cases.csv");
const LINES: &str = include_str!("../../../testdata/lines/lines.csv");
const CASCADES: &str = include_str!("../../../testdata/lines/cascades.csv");
const FORMS: &str = include_str!("../../../testdata/responses/frequency.csv");
const STEPS: &str = include_str!("../../../testdata/responses/step.csv");

/// Rows of a table by the names of their columns.
fn table(csv: &str) -> Vec<BTreeMap<&str, &str>> {
    let mut lines = csv.lines();
    let heads: Vec<&str> = lines.next().unwrap_or("").split(',').collect();
    lines.map(|line| heads.iter().copied().zip(line.splitn(heads.len(), ',')).collect()).collect()
}

fn number(row: &BTreeMap<&str, &str>, name: &str) -> f64 {
    row.get(name).and_then(|text| text.parse().ok()).unwrap_or(f64::NAN)
}

fn form(name: &str, order: f64) -> ResponseShape {
    match name {
        "bessel" => ResponseShape::Bessel4,
        "butterworth" => ResponseShape::MaximallyFlat(order as u8),
        "gaussian" => ResponseShape::Gaussian,
        _ => ResponseShape::SinglePole,
    }
}

fn chain(row: &BTreeMap<&str, &str>) -> Chain {
    let value = |name| number(row, name);
    let corner_hz = value("ac_corner_hz");
    Chain {
        node: Node {
            resistance_ohm: value("node_resistance_ohm"),
            capacitance_f: value("node_capacitance_f"),
        },
        contact: Contact {
            inductance_h: value("contact_inductance_h"),
            resistance_ohm: value("contact_resistance_ohm"),
        },
        tip: Tip {
            body_capacitance_f: value("body_capacitance_f"),
            resistance_ohm: value("tip_resistance_ohm"),
            capacitance_f: value("tip_capacitance_f"),
            series_resistance_ohm: value("series_resistance_ohm"),
        },
        cable: Cable {
            length_m: value("cable_length_m"),
            resistance_ohm_per_m: value("cable_resistance_ohm_per_m"),
            inductance_h_per_m: value("cable_inductance_h_per_m"),
            capacitance_f_per_m: value("cable_capacitance_f_per_m"),
            conductance_s_per_m: value("cable_conductance_s_per_m"),
            skin_corner_hz: None,
        },
        compensation_box: CompensationBox {
            series_resistance_ohm: value("box_series_resistance_ohm"),
            capacitance_f: value("box_capacitance_f"),
        },
        input: Input {
            resistance_ohm: value("input_resistance_ohm"),
            capacitance_f: value("input_capacitance_f"),
            response: Response {
                shape: form(row.get("response").copied().unwrap_or(""), value("order")),
                bandwidth_hz: value("bandwidth_hz"),
            },
            coupling: if corner_hz > 0.0 { Coupling::Ac { corner_hz } } else { Coupling::Dc },
            limit: None,
        },
        measured: Vec::new(),
        ratio: value("ratio"),
    }
}

fn signal(row: &BTreeMap<&str, &str>) -> Signal {
    let value = |name| number(row, name);
    let (frequency_hz, rise_s, fall_s, width_s) =
        (value("frequency_hz"), value("rise_s"), value("fall_s"), value("width_s"));
    let shape = match row.get("signal").copied().unwrap_or("") {
        "trapezoid" => Shape::Trapezoid { frequency_hz, duty: value("duty"), rise_s, fall_s },
        "pulse" => Shape::Pulse { width_s, rise_s, fall_s },
        "exponential" => Shape::Exponential {
            time_constant_s: value("time_constant_s"),
            width_s: Some(width_s).filter(|w| *w > 0.0),
        },
        "burst" => Shape::Burst { frequency_hz, cycles: value("cycles") as u32 },
        _ => Shape::Edge { rise_s },
    };
    Signal { shape, low_v: value("low_v"), high_v: value("high_v") }
}

fn path(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../testdata/chain").join(file)
}

/// The text of a file, unpacked where it is packed.
#[allow(clippy::disallowed_methods)] // a chore reads the files it checks
fn text(file: &str) -> String {
    let Ok(bytes) = std::fs::read(path(file)) else { return String::new() };
    if !file.ends_with(".gz") {
        return String::from_utf8_lossy(&bytes).into_owned();
    }
    let mut text = String::new();
    let _ = std::io::Read::read_to_string(&mut flate2::read::GzDecoder::new(&bytes[..]), &mut text);
    text
}

fn row(id: String, what: String, source: &str, got: f64, tolerance: f64, unit: &'static str) -> Row {
    Row { id, what, source: source.to_owned(), tag: Tag::Derived, expected: 0.0, got, tolerance, unit }
}

const EXACT: &str = "exact chain matrices (NumPy), held to scikit-rf and mpmath by reference/chain_exact.py";
const NGSPICE: &str = "ngspice, AC analysis, cable as its lossy line element (reference/chain_ngspice.py)";
const NGSPICE_TIME: &str = "ngspice, transient analysis (reference/chain_ngspice.py)";
const INVERSE: &str = "numerical inversion and Fourier series in NumPy (reference/chain_time.py)";

pub(crate) fn rows() -> Vec<Row> {
    let mut rows = Vec::new();
    for case in table(CASES) {
        let name = case.get("case").copied().unwrap_or("").to_owned();
        rows.extend(over_frequency(&name, &chain(&case)));
        rows.extend(over_time(&name, &chain(&case), &signal(&case)));
    }
    rows
}

/// Largest of a list that has values; NaN where there are none, so that a missing file fails.
fn largest(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(f64::NAN, |largest, value| if largest >= value { largest } else { value })
}

fn over_frequency(name: &str, chain: &Chain) -> Vec<Row> {
    let text = text(&format!("{name}_ac.csv"));
    let points = table(&text);
    let complex = |p: &BTreeMap<&str, &str>, re: &str, im: &str| Complex64::new(number(p, re), number(p, im));
    let apart = |got: Complex64, expected: Complex64| (got - expected).norm() / expected.norm();
    // Where ngspice is the less exact one its columns are empty.
    let known = |re: &str| points.iter().filter(|p| number(p, re).is_finite()).collect::<Vec<_>>();
    let gain = |re: &str, im: &str| {
        largest(
            known(re)
                .into_iter()
                .map(|p| apart(chain.at_frequency(number(p, "frequency_hz")), complex(p, re, im))),
        )
    };
    let impedance = |re: &str, im: &str| {
        largest(known(re).into_iter().map(|p| {
            let at = answers::response(chain, &[number(p, "frequency_hz")])[0];
            apart(Complex64::from_polar(at.impedance_ohm, at.impedance_phase_rad), complex(p, re, im))
        }))
    };
    let mut rows = vec![
        row(
            format!("CH-{name}"),
            "gain, 10 Hz to 1 GHz, largest relative distance (magnitude and phase)".into(),
            EXACT,
            gain("gain_re", "gain_im"),
            1e-9,
            "1",
        ),
        row(
            format!("CH-{name}"),
            "impedance at the contact, 10 Hz to 1 GHz, largest relative distance".into(),
            EXACT,
            impedance("impedance_re_ohm", "impedance_im_ohm"),
            1e-9,
            "1",
        ),
    ];
    for (what, column, got) in [
        ("gain", "ngspice_gain_re", gain("ngspice_gain_re", "ngspice_gain_im")),
        (
            "impedance at the contact",
            "ngspice_impedance_re_ohm",
            impedance("ngspice_impedance_re_ohm", "ngspice_impedance_im_ohm"),
        ),
    ] {
        let count = known(column).len();
        if count > 0 {
            let what =
                format!("{what} against ngspice, 10 Hz to 1 GHz, {count} points, largest relative distance");
            rows.push(row(format!("CH-{name}"), what, NGSPICE, got, 1e-4, "1"));
        }
    }
    rows
}

fn over_time(name: &str, chain: &Chain, signal: &Signal) -> Vec<Row> {
    let text = text(&format!("{name}_time.csv.gz"));
    let points = table(&text);
    let mut workspace = Workspace::new();
    let motion = Grid::choose(chain, signal, &mut workspace)
        .and_then(|grid| Motion::new(chain, signal, &grid, Some(grid.samples()), &mut workspace));
    let Ok(motion) = motion else {
        return vec![row(format!("CH-{name}"), "over time".into(), INVERSE, f64::NAN, 0.0, "1")];
    };
    let step = (signal.high_v - signal.low_v).abs() / chain.ratio;
    let apart = |column: &str| {
        let known = points.iter().filter(|p| number(p, column).is_finite());
        largest(known.map(|p| (motion.value(number(p, "time_s")) - number(p, column)).abs() / step))
    };
    let what = |points: usize, whom: &str| {
        format!("output{whom} at {points} instants, largest distance as a share of the step")
    };
    let mut rows =
        vec![row(format!("CH-{name}"), what(points.len(), ""), INVERSE, apart("output_v"), 2e-4, "1")];
    let simulated = points.iter().filter(|p| number(p, "ngspice_v").is_finite()).count();
    if simulated > 0 {
        rows.push(row(
            format!("CH-{name}"),
            what(simulated, " against ngspice"),
            NGSPICE_TIME,
            apart("ngspice_v"),
            2e-3,
            "1",
        ));
    }
    rows
}

/// Lines and small cascades against scikit-rf.
pub(crate) fn lines() -> Vec<Row> {
    let mut worst: BTreeMap<(&str, String), f64> = BTreeMap::new();
    for (kind, csv) in [("line", LINES), ("cascade", CASCADES)] {
        for p in table(csv) {
            let value = |name| number(&p, name);
            let cable = Cable {
                length_m: value("length_m"),
                resistance_ohm_per_m: value("r_ohm_per_m"),
                inductance_h_per_m: value("l_h_per_m"),
                capacitance_f_per_m: value("c_f_per_m"),
                conductance_s_per_m: value("g_s_per_m"),
                skin_corner_hz: None,
            };
            let name = p.get("name").copied().unwrap_or("").to_owned();
            let s = Complex64::new(0.0, TAU * value("frequency_hz"));
            let two_port = if kind == "line" { Some(cable.two_port(s)) } else { cascade(&name, &cable, s) };
            let Some(two_port) = two_port else {
                worst.insert((kind, name), f64::NAN);
                continue;
            };
            let found = two_port.scattering(50.0);
            for (got, (re, im)) in [
                (found[0][0], ("s11_re", "s11_im")),
                (found[1][0], ("s21_re", "s21_im")),
                (found[0][1], ("s12_re", "s12_im")),
                (found[1][1], ("s22_re", "s22_im")),
            ] {
                let apart = (got - Complex64::new(value(re), value(im))).norm();
                let largest = worst.entry((kind, name.clone())).or_insert(0.0);
                *largest = if *largest >= apart { *largest } else { apart };
            }
        }
    }
    worst
        .into_iter()
        .map(|((kind, name), got)| {
            let what = format!("{kind} {name}: S-parameters on 50 Ω, largest distance");
            row("CH-S".into(), what, "scikit-rf (reference/lines.py)", got, 1e-9, "1")
        })
        .collect()
}

/// The cascades of `reference/lines.py`.
fn cascade(name: &str, cable: &Cable, s: Complex64) -> Option<TwoPort> {
    let line = cable.two_port(s);
    let one = Complex64::new(1.0, 0.0);
    let parallel = |r: f64, c: f64| one / r + s * c;
    Some(match name {
        "divider" => TwoPort::series(one / parallel(9e6, 34e-12 / 3.0))
            .then(&line)
            .then(&TwoPort::shunt(s * 10e-12))
            .then(&TwoPort::shunt(parallel(1e6, 20e-12))),
        "ground_lead" => TwoPort::series(s * 175e-9)
            .then(&TwoPort::series(one * 20.0))
            .then(&TwoPort::shunt(s * 2e-12))
            .then(&TwoPort::series(one / parallel(9e6, 34e-12 / 3.0)))
            .then(&line)
            .then(&TwoPort::series(one * 60.0))
            .then(&TwoPort::shunt(s * 30e-12)),
        "only_lumped" => {
            TwoPort::series(s * 100e-9).then(&TwoPort::shunt(s * 10e-12)).then(&TwoPort::series(one * 50.0))
        }
        _ => return None,
    })
}

/// Forms of response against SciPy.
pub(crate) fn forms() -> Vec<Row> {
    let mut worst: BTreeMap<(String, &str), f64> = BTreeMap::new();
    let unit = |p: &BTreeMap<&str, &str>| Response {
        shape: form(p.get("shape").copied().unwrap_or(""), number(p, "order")),
        bandwidth_hz: 1.0,
    };
    let name = |p: &BTreeMap<&str, &str>| {
        format!(
            "{} of order {}",
            p.get("shape").copied().unwrap_or(""),
            p.get("order").copied().unwrap_or("")
        )
    };
    let mut note = |key: (String, &'static str), apart: f64| {
        let largest = worst.entry(key).or_insert(0.0);
        *largest = if *largest >= apart { *largest } else { apart };
    };
    for p in table(FORMS) {
        let got = Screen(unit(&p)).at_frequency(number(&p, "frequency_over_bandwidth"));
        note((name(&p), "over frequency"), (got - Complex64::new(number(&p, "re"), number(&p, "im"))).norm());
    }
    let mut workspace = Workspace::new();
    let step = Signal { shape: Shape::Edge { rise_s: 0.0 }, low_v: 0.0, high_v: 1.0 };
    let mut motions: BTreeMap<String, Option<Motion>> = BTreeMap::new();
    for p in table(STEPS) {
        let motion = motions.entry(name(&p)).or_insert_with(|| {
            let screen = Screen(unit(&p));
            let grid = Grid::choose(&screen, &step, &mut workspace).ok()?;
            Motion::new(&screen, &step, &grid, None, &mut workspace).ok()
        });
        let got = motion.as_ref().map_or(f64::NAN, |m| m.value(number(&p, "time_times_bandwidth")));
        note((name(&p), "step"), (got - number(&p, "step")).abs());
    }
    worst
        .into_iter()
        .map(|((name, domain), got)| {
            let limit = if domain == "step" { 1e-4 } else { 1e-9 };
            row(
                "CH-R".into(),
                format!("{name}: {domain}, largest distance"),
                "SciPy (reference/responses.py)",
                got,
                limit,
                "1",
            )
        })
        .collect()
}

/// Connector to screen alone: an input of 1 Ω without capacitance on a stiff node.
struct Screen(Response);

impl Transfer for Screen {
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
        let chain = Chain {
            node: Node { resistance_ohm: 0.0, capacitance_f: 0.0 },
            contact: Contact { inductance_h: 0.0, resistance_ohm: 0.0 },
            tip: Tip {
                body_capacitance_f: 0.0,
                resistance_ohm: 0.0,
                capacitance_f: 0.0,
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
            compensation_box: CompensationBox { series_resistance_ohm: 0.0, capacitance_f: 0.0 },
            input: Input {
                resistance_ohm: 1.0,
                capacitance_f: 0.0,
                response: self.0,
                coupling: Coupling::Dc,
                limit: None,
            },
            measured: Vec::new(),
            ratio: 1.0,
        };
        chain.quotient(s)
    }
}

/// Transition duration times bandwidth, and overshoot, of the maximally flat family of order 1 to 10 and the Bessel of order 4.
pub(crate) fn families() -> Vec<Row> {
    let table = columns(include_str!("../../../reference/published/rise_time_bandwidth_products.csv"));
    let mut workspace = Workspace::new();
    let mut rows = Vec::new();
    let mut both = |id: [&str; 2], shape: ResponseShape, name: String, product: f64, overshoot: f64| {
        let found = step_figures(&Screen(Response { shape, bandwidth_hz: 1.0 }), &mut workspace);
        let (duration, over) = found.unwrap_or((f64::NAN, f64::NAN));
        for (id, what, expected, got, tolerance, unit) in [
            (id[0], "transition duration times bandwidth", product, duration, 1e-5, "1"),
            (id[1], "overshoot", overshoot, 100.0 * over, 2e-3, "%"),
        ] {
            rows.push(Row {
                id: id.to_owned(),
                what: format!("{name}: {what}"),
                source: "filter families, reference/published/rise_time_bandwidth_products.csv".to_owned(),
                tag: Tag::Derived,
                expected,
                got,
                tolerance,
                unit,
            });
        }
    };
    for k in 0..10 {
        let order = table[0][k] as u8;
        both(
            ["B-03", "B-04"],
            ResponseShape::MaximallyFlat(order),
            format!("maximally flat, order {order}"),
            table[1][k],
            table[2][k],
        );
    }
    both(["B-05", "B-06"], ResponseShape::Bessel4, "Bessel, order 4".into(), table[3][3], table[4][3]);
    rows
}

/// 10–90 % transition duration (s) and overshoot of a step response with 0 and 1 as levels.
fn step_figures(transfer: &Screen, workspace: &mut Workspace) -> Option<(f64, f64)> {
    let step = Signal { shape: Shape::Edge { rise_s: 0.0 }, low_v: 0.0, high_v: 1.0 };
    let grid = Grid::choose(transfer, &step, workspace).ok()?;
    let motion = Motion::new(transfer, &step, &grid, None, workspace).ok()?;
    let sampling = pulse::Sampling {
        window: pulse::Span { start_s: -1.0, end_s: 20.0 },
        transitions_s: &[0.0],
        finest_s: 1e-3,
        points: 4000,
    };
    let options =
        pulse::Options { levels: pulse::LevelSource::Given { low_v: 0.0, high_v: 1.0 }, settling_band: 0.01 };
    let figures = pulse::of_function(|t| motion.value(t), &sampling, &options).ok()?;
    let first = figures.transitions.first()?;
    Some((first.duration_10_90_s.ok()?, first.overshoot.ok()?))
}
