//! Gain and delay mismatch from two records of the same edges.
//!
//! The levels come from what is flat before and after each edge, the instants from a curve fitted through the steep part of each edge
//! (IEEE 181: the 50 % reference level instant), so that many samples share in each. The same edge on both records gives one
//! difference; several edges give their mean and its scatter.

use thiserror::Error;

use crate::assessment::Estimate;
use crate::finding::Finding;
use crate::numeric::linear::solve_linear;
use crate::numeric::stats::{COVERAGE_FACTOR_95, student_quantile};
use crate::pulse::{LevelSource, LevelStatistic, Options, of_record};
use crate::samples::Record;

/// What two records of the same edges tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Amplitude of B over amplitude of A.
    pub gain_ratio: Estimate,
    /// How much later B is than A at 50 %, s.
    pub skew_s: Estimate,
    /// The same at 20 % and at 80 % of the way, s: other values tell that the edges differ in shape.
    pub skew_at_20_80_s: [Estimate; 2],
    /// Mean 10–90 % transition durations of A and B, s, where they can be told.
    pub transition_s: [Option<f64>; 2],
    /// Edges that both records show.
    pub edges: usize,
    /// `edges-between-samples`, `edges-differ`, `one-edge`.
    pub findings: Vec<Finding>,
}

/// Why two records cannot be compared.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum EdgeError {
    /// A record shows no edge.
    #[error(
        "record {which} shows no edge between two levels: capture a square wave or a step on both probes at once"
    )]
    NoEdge {
        /// A or B.
        which: char,
    },
    /// No edge of the one belongs to an edge of the other.
    #[error("no edge of A comes together with an edge of B: capture the same edge on both probes at once")]
    NoCommonEdge,
    /// The signal hardly stands out.
    #[error("the step of record {which} is {ratio:.1} times its noise: capture a larger step, or average")]
    Noisy {
        /// A or B.
        which: char,
        /// Step over noise.
        ratio: f64,
    },
}

/// Compares two records that share one time axis.
///
/// # Errors
/// See [`EdgeError`].
pub fn compare(a: Record<'_>, b: Record<'_>) -> Result<Comparison, EdgeError> {
    let (one, two) = (Side::of(a, 'A')?, Side::of(b, 'B')?);
    let pairs = common(&one.edges, &two.edges);
    if pairs.is_empty() {
        return Err(EdgeError::NoCommonEdge);
    }
    let skew = |level: usize| {
        let all: Vec<(f64, f64)> = pairs
            .iter()
            .map(|(e, f)| {
                (f.instants[level].0 - e.instants[level].0, f.instants[level].1.hypot(e.instants[level].1))
            })
            .collect();
        mean(&all)
    };
    let [early, middle, late] = [skew(0), skew(1), skew(2)];
    let mut findings = Vec::new();
    if pairs.iter().any(|(e, f)| e.samples.min(f.samples) < 3) {
        findings.push(Finding::note(
            "edges-between-samples",
            "fewer than three samples lie on the steep part of an edge, so its instant is not known better than the interval",
            "record with a shorter time between samples",
        ));
    }
    if pairs.len() == 1 {
        findings.push(Finding::note(
            "one-edge",
            "a single edge was compared; its scatter from one edge to the next is not known",
            "capture several edges",
        ));
    }
    let apart = (late.value - early.value).abs();
    if apart > COVERAGE_FACTOR_95 * late.standard_uncertainty.hypot(early.standard_uncertainty)
        && apart > 0.05 * one.transition_s.or(two.transition_s).unwrap_or(f64::INFINITY)
    {
        findings.push(Finding::warning(
            "edges-differ",
            "the two edges differ in shape: the delay between them depends on the level at which it is read",
            "use two probes of one kind on inputs of one kind, with equal leads; or compare at the level that matters",
        ));
    }
    let (ga, gb) = (one.amplitude, two.amplitude);
    let ratio = gb.value / ga.value;
    let relative = (ga.standard_uncertainty / ga.value).hypot(gb.standard_uncertainty / gb.value);
    Ok(Comparison {
        gain_ratio: Estimate { value: ratio, standard_uncertainty: ratio.abs() * relative },
        skew_s: middle,
        skew_at_20_80_s: [early, late],
        transition_s: [one.transition_s, two.transition_s],
        edges: pairs.len(),
        findings,
    })
}

/// Levels at which instants are taken, share of the way up.
const LEVELS: [f64; 3] = [0.2, 0.5, 0.8];

struct Edge {
    rising: bool,
    /// Instant and its standard uncertainty at each of [`LEVELS`], s.
    instants: [(f64, f64); 3],
    /// Samples on the steep part.
    samples: usize,
}

struct Side {
    amplitude: Estimate,
    edges: Vec<Edge>,
    transition_s: Option<f64>,
}

impl Side {
    fn of(record: Record<'_>, which: char) -> Result<Self, EdgeError> {
        let values = record.samples.to_vec();
        let times: Vec<f64> =
            (0..values.len()).map(|k| record.start_s + k as f64 * record.interval_s).collect();
        let options = Options {
            levels: LevelSource::Histogram { bins: 256, statistic: LevelStatistic::Mode },
            settling_band: 0.05,
        };
        let figures = of_record(&times, &values, &options).map_err(|_| EdgeError::NoEdge { which })?;
        let rough = figures.levels.map_err(|_| EdgeError::NoEdge { which })?;
        let crossings = crossings(&values, rough.low_v, rough.amplitude_v());
        if crossings.is_empty() {
            return Err(EdgeError::NoEdge { which });
        }
        let flats = Flats::of(&values, &crossings);
        let (low, high) = (flats.level(false), flats.level(true));
        let (Some(low), Some(high)) = (low, high) else { return Err(EdgeError::NoEdge { which }) };
        let amplitude = high.value - low.value;
        let ratio = amplitude / flats.noise.max(f64::MIN_POSITIVE);
        if !(ratio > 5.0) {
            return Err(EdgeError::Noisy { which, ratio });
        }
        let edges: Vec<Edge> = crossings
            .iter()
            .filter_map(|c| edge(&values, &record, c, low.value, amplitude, flats.noise))
            .collect();
        let durations: Vec<f64> =
            figures.transitions.iter().filter_map(|t| t.duration_10_90_s.ok()).collect();
        let transition_s =
            (!durations.is_empty()).then(|| durations.iter().sum::<f64>() / durations.len() as f64);
        let u = low.standard_uncertainty.hypot(high.standard_uncertainty);
        Ok(Self { amplitude: Estimate { value: amplitude, standard_uncertainty: u }, edges, transition_s })
    }
}

/// A passage from one state to the other: the samples before and after the middle.
struct Crossing {
    /// The last sample before the middle.
    at: usize,
    rising: bool,
}

/// Passages of the middle that go on to a quarter on either side: noise on the middle makes none.
fn crossings(values: &[f64], low: f64, amplitude: f64) -> Vec<Crossing> {
    let share = |v: f64| (v - low) / amplitude;
    let mut found = Vec::new();
    let mut state: Option<bool> = None;
    let mut middle = 0;
    for (k, v) in values.iter().enumerate() {
        let s = share(*v);
        if k > 0 && (share(values[k - 1]) < 0.5) != (s < 0.5) {
            middle = k - 1;
        }
        let now = if s > 0.75 {
            Some(true)
        } else if s < 0.25 {
            Some(false)
        } else {
            None
        };
        if let Some(high) = now {
            if state == Some(!high) {
                found.push(Crossing { at: middle, rising: high });
            }
            state = Some(high);
        }
    }
    found
}

/// The last quarter of each flat.
struct Flats {
    /// Mean, samples and state of each.
    means: Vec<(f64, usize, bool)>,
    /// Standard deviation of a sample.
    noise: f64,
}

impl Flats {
    fn of(values: &[f64], crossings: &[Crossing]) -> Self {
        let mut means = Vec::new();
        let (mut squares, mut freedom) = (0.0, 0_usize);
        let ends = crossings.iter().map(|c| c.at).chain([values.len() - 1]);
        let starts = [0].into_iter().chain(crossings.iter().map(|c| c.at + 1));
        let first = crossings.first().is_some_and(|c| !c.rising);
        let states = [first].into_iter().chain(crossings.iter().map(|c| c.rising));
        for ((start, end), state) in starts.zip(ends).zip(states) {
            // Clear of the edge that comes, by a twentieth.
            let length = end.saturating_sub(start);
            let part = &values[end - (length * 3 / 10).max(1).min(length)..end - length / 20];
            if part.len() < 4 {
                continue;
            }
            let mean = part.iter().sum::<f64>() / part.len() as f64;
            // Differences of neighbours: a slow tail does not count as noise.
            squares += part.windows(2).map(|w| 0.5 * (w[1] - w[0]) * (w[1] - w[0])).sum::<f64>();
            freedom += part.len() - 1;
            means.push((mean, part.len(), state));
        }
        Self { means, noise: (squares / freedom.max(1) as f64).sqrt() }
    }

    /// Mean of the flats of one state: scatter between them, or noise, whichever is larger.
    fn level(&self, high: bool) -> Option<Estimate> {
        let own: Vec<(f64, f64)> = self
            .means
            .iter()
            .filter(|m| m.2 == high)
            .map(|(mean, n, _)| (*mean, self.noise / (*n as f64).sqrt()))
            .collect();
        (!own.is_empty()).then(|| mean(&own))
    }
}

/// Mean with its standard uncertainty: from the scatter (type A, widened for few values by Student's t over the normal factor) or from the
/// stated uncertainties, whichever is larger.
fn mean(all: &[(f64, f64)]) -> Estimate {
    let n = all.len() as f64;
    let value = all.iter().map(|v| v.0).sum::<f64>() / n;
    let stated = all.iter().map(|v| v.1 * v.1).sum::<f64>().sqrt() / n;
    let scatter = if all.len() > 1 {
        let s2 = all.iter().map(|v| (v.0 - value) * (v.0 - value)).sum::<f64>() / (n - 1.0);
        (s2 / n).sqrt() * student_quantile(0.975, n - 1.0) / COVERAGE_FACTOR_95
    } else {
        0.0
    };
    Estimate { value, standard_uncertainty: stated.max(scatter) }
}

/// The instants of one edge, from straight lines through its steep part about each level.
fn edge(
    values: &[f64],
    record: &Record<'_>,
    crossing: &Crossing,
    low: f64,
    amplitude: f64,
    noise: f64,
) -> Option<Edge> {
    let share = |k: usize| {
        let up = (values[k] - low) / amplitude;
        if crossing.rising { up } else { 1.0 - up }
    };
    // From the last sample below a tenth to the first above nine tenths.
    let mut start = crossing.at;
    while start > 0 && share(start) > 0.1 {
        start -= 1;
    }
    let mut end = crossing.at + 1;
    while end + 1 < values.len() && share(end) < 0.9 {
        end += 1;
    }
    let samples = (start..=end).filter(|&k| (0.1..=0.9).contains(&share(k))).count();
    let steep: Vec<(f64, f64)> =
        (start..=end).filter(|&k| (0.08..=0.92).contains(&share(k))).map(|k| (k as f64, share(k))).collect();
    let mut instants = [(0.0, 0.0); 3];
    for (instant, level) in instants.iter_mut().zip(LEVELS) {
        let (at, u) = if steep.len() >= ENOUGH {
            curve(&steep, level, noise / amplitude)?
        } else {
            // Two neighbours: straight between them, known to a part of the interval only.
            let k = (start..end).find(|&k| share(k) < level && share(k + 1) >= level)?;
            let slope = share(k + 1) - share(k);
            let by_noise = noise / amplitude / slope;
            (k as f64 + (level - share(k)) / slope, by_noise.hypot(0.5 / 12f64.sqrt()))
        };
        *instant = (record.start_s + at * record.interval_s, u * record.interval_s);
    }
    Some(Edge { rising: crossing.rising, instants, samples })
}

/// Samples on the steep part from which a curve is fitted through it.
const ENOUGH: usize = 6;

/// When the steep part reaches `level`, in samples: time as a cubic of the share of the way, which a Gaussian edge follows within a
/// hundredth of its σ from 10 to 90 % and which does not care how the samples fall on it. `sigma` is the noise, as a share of the way.
fn curve(points: &[(f64, f64)], level: f64, sigma: f64) -> Option<(f64, f64)> {
    let origin = points[0].0;
    let powers = |share: f64| {
        let x = share - 0.5;
        vec![1.0, x, x * x, x * x * x]
    };
    let fit = solve_linear(4, points.iter().map(|(k, share)| (k - origin, powers(*share)))).ok()?;
    let at_level = powers(level);
    let at: f64 = at_level.iter().zip(&fit.theta).map(|(p, c)| p * c).sum();
    // Noise moves a sample along the edge by its share over the slope there.
    let x = level - 0.5;
    let slope = fit.theta[1] + 2.0 * fit.theta[2] * x + 3.0 * fit.theta[3] * x * x;
    if !(slope > 0.0 && at.is_finite()) {
        return None;
    }
    let mut variance = 0.0;
    for i in 0..4 {
        for j in 0..4 {
            variance += at_level[i] * fit.covariance[4 * i + j] * at_level[j];
        }
    }
    // What the cubic leaves counts too: the edge may not be one.
    let left = (fit.cost / (points.len() - 3) as f64).sqrt();
    Some((origin + at, variance.max(0.0).sqrt() * (sigma * slope).max(left)))
}

/// Each edge of A with the edge of B of the same way that is nearest, within half the shortest time between edges of A.
fn common<'a>(a: &'a [Edge], b: &'a [Edge]) -> Vec<(&'a Edge, &'a Edge)> {
    let middle = |e: &Edge| e.instants[1].0;
    let shortest = a.windows(2).map(|w| middle(&w[1]) - middle(&w[0])).fold(f64::INFINITY, f64::min);
    a.iter()
        .filter_map(|e| {
            let near = b
                .iter()
                .filter(|f| f.rising == e.rising)
                .min_by(|f, g| (middle(f) - middle(e)).abs().total_cmp(&(middle(g) - middle(e)).abs()))?;
            ((middle(near) - middle(e)).abs() < 0.5 * shortest).then_some((e, near))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::samples::SampleView;
    use flattop_close::{assert_close, within};
    use rand::SeedableRng as _;
    use rand_distr::{Distribution as _, Normal};

    /// A square wave with Gaussian edges (σ s), later by `skew_s`, times `gain`, with noise.
    fn wave(skew_s: f64, gain: f64, sigma_s: f64, noise: f64, seed: u64) -> Vec<f64> {
        let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(seed);
        let normal = Normal::new(0.0, noise.max(1e-300)).unwrap();
        (0..4000)
            .map(|k| {
                let t = f64::from(k) * 1e-9 - skew_s;
                let up = |at: f64| crate::numeric::stats::normal_cdf((t - at) / sigma_s);
                let v: f64 = [510.3, 1010.3, 1510.3, 2010.3, 2510.3, 3010.3, 3510.3]
                    .iter()
                    .enumerate()
                    .map(|(i, at)| {
                        let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
                        sign * up(at * 1e-9)
                    })
                    .sum();
                gain * v + normal.sample(&mut rng)
            })
            .collect()
    }

    fn compared(a: &[f64], b: &[f64]) -> Comparison {
        let record = |v| Record { samples: SampleView::volts(v), start_s: -1e-6, interval_s: 1e-9 };
        compare(record(a), record(b)).unwrap()
    }

    #[test]
    fn gain_and_skew_come_back() {
        let found = compared(&wave(0.0, 1.0, 4e-9, 0.002, 1), &wave(2.37e-9, 0.98, 4e-9, 0.002, 2));
        assert_eq!(found.edges, 7);
        let within_u = |e: Estimate| within(4.0 * e.standard_uncertainty);
        assert_close!(found.skew_s.value, 2.37e-9, within_u(found.skew_s));
        assert!(found.skew_s.standard_uncertainty < 20e-12, "{:?}", found.skew_s);
        for at in found.skew_at_20_80_s {
            assert_close!(at.value, 2.37e-9, within_u(at));
        }
        assert_close!(found.gain_ratio.value, 0.98, within_u(found.gain_ratio));
        assert!(found.gain_ratio.standard_uncertainty < 5e-4);
        // 10–90 % of a Gaussian edge is 2.563σ.
        assert_close!(found.transition_s[0].unwrap(), 2.563 * 4e-9, within(0.4e-9));
        assert!(found.findings.is_empty(), "{:?}", found.findings);
    }

    /// 400 runs: the 95 % interval holds the truth as often as it says (binomial 3σ: ± 3.3 %).
    #[test]
    fn the_stated_uncertainty_of_the_skew_is_true() {
        let mut held = 0;
        for seed in 0..400 {
            let found =
                compared(&wave(0.0, 1.0, 4e-9, 0.01, 2 * seed), &wave(1.1e-9, 1.0, 4e-9, 0.01, 2 * seed + 1));
            let off = (found.skew_s.value - 1.1e-9).abs();
            held += usize::from(off <= COVERAGE_FACTOR_95 * found.skew_s.standard_uncertainty);
        }
        assert!((367..=400).contains(&held), "{held} of 400");
    }

    #[test]
    fn other_shapes_and_sparse_edges_are_told() {
        let codes = |found: &Comparison| found.findings.iter().map(|f| f.code).collect::<Vec<_>>();
        let found = compared(&wave(0.0, 1.0, 3e-9, 0.001, 1), &wave(5e-9, 1.0, 12e-9, 0.001, 2));
        assert_eq!(codes(&found), ["edges-differ"]);
        let found = compared(&wave(0.0, 1.0, 0.2e-9, 0.001, 1), &wave(3e-9, 1.0, 0.2e-9, 0.001, 2));
        assert_eq!(codes(&found), ["edges-between-samples"]);
        assert_close!(
            found.skew_s.value,
            3e-9,
            within(COVERAGE_FACTOR_95 * found.skew_s.standard_uncertainty)
        );
    }

    #[test]
    fn what_cannot_be_compared_says_why() {
        let record = |v| Record { samples: SampleView::volts(v), start_s: 0.0, interval_s: 1e-9 };
        let good = wave(0.0, 1.0, 4e-9, 0.001, 1);
        let flat = vec![0.5; 4000];
        let error = compare(record(&good), record(&flat)).unwrap_err();
        assert_eq!(error, EdgeError::NoEdge { which: 'B' });
        let upside_down: Vec<f64> = good.iter().map(|v| -v).collect();
        let error = compare(record(&good), record(&upside_down)).unwrap_err();
        assert_eq!(error, EdgeError::NoCommonEdge);
    }
}
