//! Responses found from captured edges, against the responses that made them and against SciPy's spectral estimate of the same captures.

use super::captures::{Table, number};
use super::{Row, Tag};
use flattop_captures::{ReadOptions, open};
use flattop_core::assessment::Estimate;
use flattop_core::characterise::{Bandwidth, COVERAGE_FACTOR, Characteristic, Settings, Source, of_edges};
use std::path::Path;

const SCIPY: &str = "SciPy 1.17.1, `freqs`, and closed forms (`reference/characterise_cases.py`)";
const NGSPICE: &str =
    "ngspice 39, AC analysis of the netlist that made the edge (`reference/characterise_cases.py`)";
const SPECTRA: &str =
    "SciPy 1.17.1, `csd` over `welch` of the same capture (`reference/characterise_cases.py`)";
const GAINS: &str = include_str!("../../../testdata/characterise/gains.csv");
const ESTIMATES: &str = include_str!("../../../testdata/characterise/estimates.csv");
/// Noise on both columns of the captures with noise, share of the step.
const NOISE: f64 = 1e-3;

/// Frequencies and gains of one case.
fn curve(table: &'static str, case: &str) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    Table::new(table).each(|field| {
        if field("case") == case {
            out.push((number(field("frequency_hz")), number(field("gain"))));
        }
    });
    out
}

/// Straight between neighbours; NaN outside.
fn at(curve: &[(f64, f64)], frequency_hz: f64) -> f64 {
    let right = curve.partition_point(|(f, _)| *f < frequency_hz);
    match (right.checked_sub(1).and_then(|left| curve.get(left)), curve.get(right)) {
        (Some((f0, g0)), Some((f1, g1))) => g0 + (g1 - g0) * (frequency_hz - f0) / (f1 - f0),
        _ => f64::NAN,
    }
}

fn characterised(case: &str) -> Option<Characteristic> {
    let file = format!("../testdata/characterise/{case}.csv.gz");
    let options = ReadOptions { column: Some(2), reference: Some(3), interval_s: None };
    let capture = open(&Path::new(env!("CARGO_MANIFEST_DIR")).join(file), &options, &|_| {}).ok()?;
    let settings = Settings { expanded_limit: 0.03, band_hz: None };
    Some(of_edges(capture.record(), Source::Column(capture.reference_record()?), &settings))
}

/// Frequencies with our gain and the true one, where both are known.
fn beside(found: &Characteristic, truth: &[(f64, f64)]) -> Vec<(Estimate, f64)> {
    let both = found.points.iter().map(|p| (p.gain, at(truth, p.frequency_hz)));
    both.filter(|(_, true_gain)| true_gain.is_finite()).collect()
}

/// Largest of some distances; NaN for none, or where one is.
fn most(distances: impl Iterator<Item = f64>) -> f64 {
    distances.fold(f64::NAN, |most, d| if most >= d { most } else { d })
}

pub(crate) fn rows() -> Vec<Row> {
    let mut rows = Vec::new();
    let mut row = |id: &str, what: String, source: &str, expected, got, tolerance, unit| {
        let (id, source) = (id.to_owned(), source.to_owned());
        rows.push(Row { id, what, source, tag: Tag::Derived, expected, got, tolerance, unit });
    };
    let cases = [
        ("H-01", "one_pole", "one pole"),
        ("H-02", "gaussian", "Gaussian"),
        ("H-03", "bessel4", "fourth-order Bessel"),
        ("H-04", "ringing", "pair of poles that rings"),
    ];
    for (id, case, name) in cases {
        let truth = curve(GAINS, case);
        let found = characterised(case);
        let both = found.as_ref().map(|f| beside(f, &truth)).unwrap_or_default();
        let share = both
            .iter()
            .filter(|(g, t)| (g.value - t).abs() <= COVERAGE_FACTOR * g.standard_uncertainty)
            .count() as f64
            / both.len() as f64;
        // Neighbours share noise: of some fifty gains hardly more than ten are independent.
        row(
            id,
            format!("{name}: share of gains whose 95 % interval holds the true one"),
            SCIPY,
            95.0,
            100.0 * share,
            15.0,
            "%",
        );
        let furthest = most(both.iter().map(|(g, t)| (g.value - t).abs() / g.standard_uncertainty));
        row(
            id,
            format!("{name}: furthest gain from the true one, in standard uncertainties"),
            SCIPY,
            0.0,
            furthest,
            4.0,
            "1",
        );
        let (bandwidth, u) = bandwidth(found.as_ref());
        row(
            id,
            format!("{name}: −3 dB frequency; three standard uncertainties are allowed"),
            SCIPY,
            1e-6 * falls_at(&truth),
            bandwidth,
            super::captures::two_figures(3.0 * u),
            "MHz",
        );
        // Both share the noise of the record; of both columns it is weighed otherwise.
        let ours: Vec<(f64, f64)> =
            found.iter().flat_map(|f| &f.points).map(|p| (p.frequency_hz, p.gain.value)).collect();
        let apart = most(
            curve(ESTIMATES, case)
                .iter()
                .filter(|(f, _)| *f < 50e6)
                .map(|(f, g)| (at(&ours, *f) - g).abs())
                .filter(|d| d.is_finite()),
        );
        row(
            id,
            format!("{name}: furthest from SciPy's estimate, up to 50 MHz"),
            SPECTRA,
            0.0,
            apart,
            10.0 * NOISE,
            "1",
        );
    }
    let truth = curve(GAINS, "ngspice");
    let found = characterised("ngspice");
    let both = found.as_ref().map(|f| beside(f, &truth)).unwrap_or_default();
    let furthest = most(both.iter().filter(|(_, t)| *t > 0.5).map(|(g, t)| (g.value - t).abs()));
    row(
        "H-05",
        "ground lead and divider: furthest gain where it is above one half".to_owned(),
        NGSPICE,
        0.0,
        furthest,
        0.005,
        "1",
    );
    let (bandwidth, u) = bandwidth(found.as_ref());
    row(
        "H-05",
        "ground lead and divider: −3 dB frequency; three standard uncertainties are allowed".to_owned(),
        NGSPICE,
        1e-6 * falls_at(&truth),
        bandwidth,
        super::captures::two_figures(3.0 * u).min(5.0),
        "MHz",
    );
    rows
}

/// −3 dB frequency and its standard uncertainty, MHz.
fn bandwidth(found: Option<&Characteristic>) -> (f64, f64) {
    match found.and_then(|f| f.bandwidth) {
        Some(Bandwidth::At(b)) => (1e-6 * b.value, 1e-6 * b.standard_uncertainty),
        _ => (f64::NAN, f64::NAN),
    }
}

/// Where a curve falls through 1/√2.
fn falls_at(curve: &[(f64, f64)]) -> f64 {
    let level = std::f64::consts::FRAC_1_SQRT_2;
    curve
        .windows(2)
        .find(|pair| pair[0].1 >= level && pair[1].1 < level)
        .map_or(f64::NAN, |p| p[0].0 + (p[1].0 - p[0].0) * (level - p[0].1) / (p[1].1 - p[0].1))
}
