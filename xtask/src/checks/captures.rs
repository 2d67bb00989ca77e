//! Synthetic captures read from their files: our estimates beside SciPy's least squares, and the sines beside their truth.

use super::{Row, Tag, rows_of};
use flattop_captures::{ReadOptions, open};
use flattop_core::assessment::{Assessment, Compensation};
use flattop_core::divider::Divider;
use flattop_core::estimate::{sine, square};
use std::path::{Path, PathBuf};

const SCIPY: &str = "SciPy 1.17.1, `least_squares`, edge times known (`reference/scipy_fits.py`)";
const CLOSED: &str = "closed form of the shelf (`reference/synthetic.py`)";
const FITS: &str = include_str!("../../../testdata/scipy/fits.csv");
const TRUTH: &str = include_str!("../../../testdata/scipy/truth.csv");

/// 1 % resistors (rectangular distribution).
pub(super) const RESISTOR_UNCERTAINTY: f64 = 0.005_773_502_69;
/// 10×: 9 MΩ and 1 MΩ.
pub(super) const TENFOLD: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };

/// A table with one header line, fields looked up by name.
pub(super) struct Table {
    header: Vec<&'static str>,
    lines: Vec<Vec<&'static str>>,
}

impl Table {
    pub(super) fn new(csv: &'static str) -> Self {
        let mut lines = csv.lines().map(|l| l.split(',').collect::<Vec<_>>());
        Self { header: lines.next().unwrap_or_default(), lines: lines.collect() }
    }

    /// Calls `each` with a look-up by column name for every line.
    pub(super) fn each(&self, mut each: impl FnMut(&dyn Fn(&str) -> &'static str)) {
        for line in &self.lines {
            each(&|name| {
                self.header.iter().position(|h| *h == name).and_then(|i| line.get(i)).copied().unwrap_or("")
            });
        }
    }
}

pub(super) fn number(text: &str) -> f64 {
    text.parse().unwrap_or(f64::NAN)
}

/// Two figures, so that the dossier does not hang on the last bits of an uncertainty.
pub(super) fn two_figures(value: f64) -> f64 {
    let unit = 10f64.powf(value.log10().floor() - 1.0);
    (value / unit).round() * unit
}

fn path(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(file)
}

/// The assessment of a file's square wave; `None` when it could not be read.
pub(super) fn assessed(file: &str, divider: Divider) -> Option<Assessment> {
    let capture = open(&path(file), &ReadOptions::default(), &|_| {}).ok()?;
    let settings = square::Settings {
        divider,
        resistor_uncertainty: RESISTOR_UNCERTAINTY,
        tolerance: 0.01,
        source_amplitude_v: None,
    };
    Some(square::assess(capture.record(), &settings))
}

/// e, τp in s, and their standard uncertainties; NaN without an estimate.
pub(super) fn figures(c: Option<&Compensation>) -> [f64; 4] {
    c.map_or([f64::NAN; 4], |c| {
        let (e, tau) = (c.error, c.time_constant_s);
        [e.value, e.standard_uncertainty, tau.value, tau.standard_uncertainty]
    })
}

/// Our estimates beside SciPy's from the same files.
pub(crate) fn scipy() -> Vec<Row> {
    let mut rows = Vec::new();
    Table::new(FITS).each(|field| {
        let (case, file) = (field("case"), field("file"));
        let divider = if case.starts_with("hundred") {
            Divider { tip_resistance_ohm: 99e6, ..TENFOLD }
        } else {
            TENFOLD
        };
        let a = assessed(file, divider);
        let [e, u, tau, u_tau] = figures(a.and_then(|a| a.compensation).as_ref());
        let [fit_e, fit_u, fit_tau, fit_u_tau] = ["e", "u_e", "tau_s", "u_tau_s"].map(|n| number(field(n)));
        // SciPy's e of the hook includes the slow tail, ours takes the plateau on it as settled: see "Simulated probes".
        if case == "hook" {
            return;
        }
        // The same noise in both, but ours has the source's droop for one more unknown (and, of a single edge, what
        // came before): two estimates of one record differ by what the larger uncertainty has over the smaller.
        let apart =
            |ours: f64, theirs: f64| 2.5 * (ours * ours - theirs * theirs).max(0.25 * theirs * theirs).sqrt();
        let allowed = two_figures(apart(u, fit_u).max(1e-4));
        let allowed_tau = two_figures(apart(u_tau, fit_u_tau).max(1e-4 * fit_tau));
        rows.extend(rows_of(
            SCIPY,
            Tag::Derived,
            &[
                ("W-20", &format!("{case}: e"), 100.0 * fit_e, 100.0 * e, 100.0 * allowed, "%"),
                ("W-20", &format!("{case}: τp"), 1e6 * fit_tau, 1e6 * tau, 1e6 * allowed_tau, "µs"),
            ],
        ));
        if file.contains("ngspice") {
            return;
        }
        // With more unknown, ours may not claim to know more.
        let ratios = [("u(e)", u / fit_u), ("u(τp)", u_tau / fit_u_tau)];
        for (what, ratio) in ratios {
            let what = format!("{case}: {what} over SciPy's, at most 1");
            rows.extend(rows_of(SCIPY, Tag::Derived, &[("W-22", &what, 1.0, ratio.min(1.0), 0.1, "1")]));
        }
    });
    rows
}

/// The sines of the set, as one assessment.
pub(crate) fn sines() -> Vec<Row> {
    let options = ReadOptions { column: Some(2), reference: Some(3), ..ReadOptions::default() };
    let mut captures = Vec::new();
    let mut expected = Vec::new();
    let (mut e, mut tau) = (f64::NAN, f64::NAN);
    Table::new(TRUTH).each(|field| {
        if field("kind") == "sine" {
            captures
                .extend(open(&path(&format!("testdata/scipy/{}", field("file"))), &options, &|_| {}).ok());
            expected.push(["frequency_hz", "relative_gain", "phase_rad"].map(|n| number(field(n))));
            (e, tau) = (number(field("e")), number(field("tau_s")));
        }
    });
    let pairs: Vec<sine::SinePair<'_>> = captures
        .iter()
        .filter_map(|c| Some(sine::SinePair { probe: c.record(), reference: c.reference_record()? }))
        .collect();
    let settings =
        sine::Settings { divider: TENFOLD, resistor_uncertainty: RESISTOR_UNCERTAINTY, tolerance: 0.01 };
    let a = sine::assess(&pairs, &settings);
    let [got_e, u, got_tau, u_tau] = figures(a.compensation.as_ref());
    let mut rows = rows_of(
        CLOSED,
        Tag::Derived,
        &[
            ("S-20", "three sines: e", 100.0 * e, 100.0 * got_e, 100.0 * two_figures(3.0 * u), "%"),
            ("S-20", "three sines: τp", 1e6 * tau, 1e6 * got_tau, 1e6 * two_figures(3.0 * u_tau), "µs"),
        ],
    );
    let first = expected.first().map_or(f64::NAN, |p| p[1]);
    for (i, [frequency, gain, phase]) in expected.into_iter().enumerate() {
        let point = a.measured_response.get(i);
        let [got_gain, u_gain, got_phase, u_phase] = point.map_or([f64::NAN; 4], |p| {
            let (gain, phase) = (p.relative_gain, p.phase_rad);
            [gain.value, gain.standard_uncertainty, phase.value, phase.standard_uncertainty]
        });
        let degrees = f64::to_degrees;
        let mut list = Vec::new();
        let (what_gain, what_phase) =
            (format!("gain at {frequency} Hz over that at the lowest"), format!("phase at {frequency} Hz"));
        if i > 0 {
            list.push(("S-20", what_gain.as_str(), gain / first, got_gain, two_figures(3.0 * u_gain), "1"));
        }
        list.push((
            "S-20",
            what_phase.as_str(),
            degrees(phase),
            degrees(got_phase),
            degrees(two_figures(3.0 * u_phase)),
            "°",
        ));
        rows.extend(rows_of(CLOSED, Tag::Derived, &list));
    }
    rows
}
