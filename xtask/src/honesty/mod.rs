//! The honesty study: is the stated uncertainty true? Thousands of random captures of each kind, assessed blind.
//!
//! Each source droops a little, as the estimator has to expect of any source; the bounds are given with that droop as
//! one more unknown, and without it (as if the source were known to be flat).

pub(crate) mod simulate;

use flattop_core::divider::Divider;
use flattop_core::estimate::square::{Settings, assess};
use flattop_core::numeric::linear::{Triangle, solve_triangle};
use flattop_core::samples::{Record, SampleView};
use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;
use simulate::Truth;

/// One capture's outcome.
#[derive(Clone, Debug)]
pub(crate) struct Outcome {
    /// Estimate minus truth; `None` when the estimator refused.
    pub deviation: Option<f64>,
    /// Stated standard uncertainty.
    pub uncertainty: f64,
    /// Cramér–Rao bound on the standard deviation of e: of what made the capture, and with the droop that a blind
    /// estimator cannot exclude as one more unknown.
    pub bare_bound: f64,
    pub bound: f64,
    /// The same for ln τ.
    pub tau_deviation: f64,
    pub tau_uncertainty: f64,
    /// Codes of the findings.
    pub codes: Vec<&'static str>,
    pub truth: Truth,
}

/// Seed of the study; every figure in it can be had again.
const SEED: u64 = 77;

/// `honesty [RUNS] [KIND…] [--each]`: a line for each kind of capture, or for each capture.
pub(crate) fn command(arguments: &[&str]) -> Result<String, String> {
    let each = arguments.contains(&"--each");
    let mut words = arguments.iter().filter(|a| **a != "--each").peekable();
    let runs = words.next_if(|w| w.parse::<u64>().is_ok()).and_then(|w| w.parse().ok()).unwrap_or(10_000);
    let mut kinds: Vec<&str> = words.copied().collect();
    if let Some(unknown) = kinds.iter().find(|k| !simulate::KINDS.contains(k)) {
        return Err(format!("\"{unknown}\" is no kind of capture; there are {}", simulate::KINDS.join(", ")));
    }
    if kinds.is_empty() {
        kinds = simulate::KINDS.to_vec();
    }
    if each {
        for kind in &kinds {
            for index in 0..runs {
                println!("{}", line_of(index, &trial(kind, SEED, index)));
            }
        }
        return Ok(String::new());
    }
    println!("kind          runs refused  bias/u   sd/u  rms/CRB  u/CRB u/bare  cover e  cover tau  worst");
    for kind in kinds {
        let s = run(kind, SEED, runs);
        println!(
            "{:<12} {:>5} {:>6}  {:>+7.3} {:>6.3}  {:>6.3} {:>6.3} {:>6.3}  {:>6.2} %  {:>6.2} %  {:.1} (#{})",
            s.kind,
            s.runs,
            s.refused,
            s.bias,
            s.pull,
            s.against_bound,
            s.stated_against_bound,
            s.stated_against_bare,
            100.0 * s.coverage,
            100.0 * s.tau_coverage,
            s.worst.0,
            s.worst.1
        );
    }
    Ok("bias/u, sd/u: deviation over stated standard uncertainty; rms/CRB: rms deviation over the Cramér–Rao bound; \
        u/CRB: median stated uncertainty over the bound with an unknown droop; u/bare: over the bound without; cover: share of 95 % intervals that hold the truth"
        .to_owned())
}

fn line_of(index: u64, o: &Outcome) -> String {
    let deviation = o.deviation.unwrap_or(f64::NAN);
    format!(
        "{index:5} e {:+.4} d {deviation:+.5} u {:.5} crb {:.5} z {:+.2} tau {:.1} dlt {:+.3} {:?}",
        o.truth.error,
        o.uncertainty,
        o.bound,
        deviation / o.uncertainty,
        o.truth.tau_s * 1e6,
        o.tau_deviation,
        o.codes
    )
}

/// Settings of the study: a 10× probe.
pub(crate) fn settings() -> Settings {
    Settings {
        divider: Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 },
        resistor_uncertainty: 0.01 / 3.0_f64.sqrt(),
        tolerance: 0.01,
        source_amplitude_v: None,
    }
}

/// Assesses capture number `index` of a kind.
pub(crate) fn trial(kind: &str, seed: u64, index: u64) -> Outcome {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed ^ index.wrapping_mul(0x9E37_79B9_7F4A_7C15));
    let truth = simulate::random(kind, &mut rng);
    let samples = truth.capture(&mut rng);
    let record = Record { samples: SampleView::volts(&samples), start_s: 0.0, interval_s: truth.interval_s };
    let assessment = assess(record, &settings());
    let codes = assessment.findings.iter().map(|f| f.code).collect();
    let (bare_bound, bound) = bounds(&truth);
    match assessment.compensation {
        Some(c) => Outcome {
            deviation: Some(c.error.value - truth.error),
            uncertainty: c.error.standard_uncertainty,
            bare_bound,
            bound,
            tau_deviation: (c.time_constant_s.value / truth.tau_s).ln(),
            tau_uncertainty: c.time_constant_s.standard_uncertainty / c.time_constant_s.value,
            codes,
            truth,
        },
        None => Outcome {
            deviation: None,
            uncertainty: f64::NAN,
            bare_bound,
            bound,
            tau_deviation: f64::NAN,
            tau_uncertainty: f64::NAN,
            codes,
            truth,
        },
    }
}

/// Cramér–Rao bounds on e: all unknowns of the kind free, derivatives of the simulated record by central differences.
/// First without, then with a droop of the source as one more unknown, known beforehand to half a per cent of the step
/// over a flat, as in the estimator.
pub(crate) fn bounds(truth: &Truth) -> (f64, f64) {
    type Change = fn(&mut Truth, f64);
    let mut changes: Vec<(Change, f64)> = vec![
        (|t, d| t.error += d, 1e-4),
        (|t, d| t.tau_s *= 1.0 + d, 1e-4),
        (|t, d| t.low_v += d, 1e-3),
        (|t, d| t.step_v *= 1.0 + d, 1e-3),
    ];
    // An edge that the sampling resolves has its place and duration to be found as well.
    if truth.edge_s > 1.5 * truth.interval_s {
        changes.push((|t, d| t.first_edge_s += d * t.edge_s, 0.02));
        changes.push((|t, d| t.edge_s *= 1.0 + d, 0.02));
        if truth.period_s.is_finite() {
            changes.push((|t, d| t.period_s *= 1.0 + d, 1e-5));
            changes.push((|t, d| t.duty += d, 1e-4));
        }
    }
    if truth.coupling_s.is_finite() && !truth.unmentioned_droop {
        changes.push((|t, d| t.coupling_s *= 1.0 + d, 1e-3));
    }
    if truth.ringing.0 > 0.0 {
        changes.push((|t, d| t.ringing.0 += d, 1e-3));
        changes.push((|t, d| t.ringing.1 *= 1.0 + d, 1e-4));
    }
    if truth.hum.0 > 0.0 {
        changes.push((|t, d| t.hum.0 += d, 1e-3));
        changes.push((|t, d| t.hum.1 += d, 1e-3));
        changes.push((|t, d| t.hum.2 += d, 1e-3));
    }
    if truth.drift_v != 0.0 {
        changes.push((|t, d| t.drift_v += d, 1e-3));
    }
    if truth.hook.0 != 0.0 {
        changes.push((|t, d| t.hook.0 += d, 1e-4));
        changes.push((|t, d| t.hook.1 *= 1.0 + d, 1e-3));
    }
    let single = !truth.period_s.is_finite();
    if single {
        changes.push((|t, d| t.history += d, 1e-3));
    }
    let droop = truth.unmentioned_droop;
    if droop {
        changes.push((|t, d| t.coupling_s = 1.0 / (1.0 / t.coupling_s + d), 2.0));
    }
    let slopes: Vec<Vec<f64>> = changes
        .iter()
        .map(|(change, d)| {
            let at = |d: f64| {
                let mut t = truth.clone();
                change(&mut t, d);
                t.clean()
            };
            at(*d).iter().zip(at(-d)).map(|(a, b)| (a - b) / (2.0 * d)).collect()
        })
        .collect();
    let mut triangle = Triangle::new(changes.len());
    let mut row = vec![0.0; changes.len()];
    for k in 0..truth.points {
        for (r, s) in row.iter_mut().zip(&slopes) {
            *r = s[k];
        }
        triangle.push(0.0, &row);
    }
    if single {
        // What is known of an unseen earlier edge, as a row of its own: not more than the symmetric wave would leave.
        let seen = truth.points as f64 * truth.interval_s - truth.first_edge_s;
        row.fill(0.0);
        row[changes.len() - 1 - usize::from(droop)] =
            truth.effective_noise() / (-(seen - truth.first_edge_s) / truth.tau_s).exp();
        triangle.push(0.0, &row);
    }
    let mut bound = |droop_share: f64| {
        let mut triangle = triangle.clone();
        if droop {
            row.fill(0.0);
            row[changes.len() - 1] = truth.effective_noise() * truth.flat_s() / droop_share;
            triangle.push(0.0, &row);
        }
        triangle.fold();
        solve_triangle(&triangle).map_or(f64::NAN, |s| s.covariance[0].sqrt() * truth.effective_noise())
    };
    // A droop known to be nil is none.
    (bound(1e-7), bound(simulate::DROOP))
}

/// What a run over many captures of one kind shows.
#[derive(Clone, Debug)]
pub(crate) struct Summary {
    pub kind: String,
    pub runs: usize,
    pub refused: usize,
    /// Mean of deviation over stated uncertainty.
    pub bias: f64,
    /// Standard deviation of deviation over stated uncertainty: 1 when the uncertainty is true.
    pub pull: f64,
    /// Rms of deviation over the bound.
    pub against_bound: f64,
    /// Median of stated uncertainty over the bound.
    pub stated_against_bound: f64,
    /// The same against the bare bound.
    pub stated_against_bare: f64,
    /// Share of 95 % intervals that hold the truth, for e and for ln τ.
    pub coverage: f64,
    pub tau_coverage: f64,
    /// Largest |deviation|/uncertainty and its index.
    pub worst: (f64, u64),
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Runs a kind in parallel.
pub(crate) fn run(kind: &str, seed: u64, runs: u64) -> Summary {
    let outcomes: Vec<Outcome> = (0..runs).into_par_iter().map(|i| trial(kind, seed, i)).collect();
    let mut s = Summary {
        kind: kind.to_owned(),
        runs: outcomes.len(),
        refused: 0,
        bias: 0.0,
        pull: 0.0,
        against_bound: 0.0,
        stated_against_bound: 0.0,
        stated_against_bare: 0.0,
        coverage: 0.0,
        tau_coverage: 0.0,
        worst: (0.0, 0),
    };
    let (mut n, mut nb) = (0.0, 0.0);
    let (mut stated, mut bare) = (Vec::new(), Vec::new());
    for (i, o) in outcomes.iter().enumerate() {
        let Some(d) = o.deviation else {
            s.refused += 1;
            continue;
        };
        n += 1.0;
        let z = d / o.uncertainty;
        s.bias += z;
        s.pull += z * z;
        s.coverage += f64::from(u8::from(z.abs() <= 1.959_964));
        s.tau_coverage += f64::from(u8::from(o.tau_deviation.abs() <= 1.959_964 * o.tau_uncertainty));
        if z.abs() > s.worst.0 {
            s.worst = (z.abs(), i as u64);
        }
        if o.bound.is_finite() {
            nb += 1.0;
            s.against_bound += (d / o.bound).powi(2);
            stated.push(o.uncertainty / o.bound);
            bare.push(o.uncertainty / o.bare_bound);
        }
    }
    s.bias /= n;
    s.pull = (s.pull / n - s.bias * s.bias).sqrt();
    s.coverage /= n;
    s.tau_coverage /= n;
    s.against_bound = (s.against_bound / nb).sqrt();
    s.stated_against_bound = median(&mut stated);
    s.stated_against_bare = median(&mut bare);
    s
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Kinds for which the stated uncertainty has to be true: a few hundred captures each, so the limits are four
    /// standard deviations of the binomial (95 % of 300) and of the mean wide.
    #[test]
    fn the_stated_uncertainty_is_true() {
        const RUNS: u64 = 300;
        for kind in
            ["clean", "noisy", "ringing", "hum-short", "tilt", "one-edge", "drift", "duty", "slow-edges"]
        {
            let s = run(kind, 77, RUNS);
            assert!(s.coverage > 0.90 && s.coverage <= 1.0, "{s:?}");
            assert!(s.bias.abs() < 0.3, "{s:?}");
            assert!(s.pull < 1.35 && s.worst.0 < 8.0, "{s:?}");
            assert!(s.stated_against_bound < 1.35 && s.stated_against_bound > 0.9, "{s:?}");
            assert!(s.refused < 6, "{s:?}");
        }
        // Kinds whose edges fall between samples or whose codes hide the tail: the uncertainty may be wide, not wrong.
        for kind in ["eight-bit", "fast-edges", "coarse"] {
            let s = run(kind, 77, RUNS);
            assert!(s.coverage > 0.90, "{s:?}");
            assert!(s.worst.0 < 8.0, "{s:?}");
        }
    }

    /// The study has to see an estimator that lies: half the stated uncertainty may not pass its limits.
    #[test]
    fn a_lie_is_seen() {
        let outcomes: Vec<Outcome> = (0..300).map(|i| trial("noisy", 77, i)).collect();
        let held =
            outcomes.iter().filter(|o| o.deviation.is_some_and(|d| d.abs() <= 0.98 * o.uncertainty)).count();
        assert!((held as f64) < 0.90 * 300.0, "{held}");
    }
}
