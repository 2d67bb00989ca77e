//! State levels by histogram, each value weighted by the time it stands for.

use super::wave::Point;
use super::{LevelSource, LevelStatistic, Levels, Missing, Span};

/// Bins of every further division.
const FURTHER_BINS: usize = 64;
const MOST_DIVISIONS: usize = 10;

/// A value, V, and the time it stands for, s.
type Weighted = (f64, f64);

pub(super) fn levels(points: &[Point], source: LevelSource) -> Result<Levels, Missing> {
    let pair = match source {
        LevelSource::Given { low_v, high_v } => (low_v, high_v),
        LevelSource::Histogram { bins, statistic } => {
            let all = weighted(points);
            let (least, most) = extremes(&all).ok_or(Missing::TooFewSamples)?;
            if !(least < most) {
                return Err(Missing::NoTransition);
            }
            let middle = least + 0.5 * (most - least);
            let (low, high): (Vec<Weighted>, Vec<Weighted>) = all.iter().partition(|x| x.0 < middle);
            let half = |half: &[Weighted], from, to| match statistic {
                LevelStatistic::Mode => mode(half, from, to, bins / 2),
                LevelStatistic::Mean => mean(half),
            };
            (half(&low, least, middle), half(&high, middle, most))
        }
        LevelSource::Spans { first, second, bins, statistic } => {
            let of = |span: Span| {
                let inside: Vec<Point> =
                    points.iter().copied().filter(|p| p.t >= span.start_s && p.t <= span.end_s).collect();
                let all = weighted(&inside);
                let (least, most) = extremes(&all).ok_or(Missing::TooFewSamples)?;
                Ok(match statistic {
                    LevelStatistic::Mode => mode(&all, least, most, bins),
                    LevelStatistic::Mean => mean(&all),
                })
            };
            let (first, second) = (of(first)?, of(second)?);
            (first.min(second), first.max(second))
        }
    };
    if pair.0 < pair.1 { Ok(Levels { low_v: pair.0, high_v: pair.1 }) } else { Err(Missing::NoTransition) }
}

/// Values with the time from half-way to the point before to half-way to the next.
fn weighted(points: &[Point]) -> Vec<Weighted> {
    let last = points.len().saturating_sub(1);
    let weight = |k: usize| 0.5 * (points[(k + 1).min(last)].t - points[k.saturating_sub(1)].t);
    points.iter().enumerate().map(|(k, p)| (p.v, weight(k))).collect()
}

fn extremes(values: &[Weighted]) -> Option<(f64, f64)> {
    let first = values.first()?.0;
    Some(values.iter().fold((first, first), |(a, b), x| (a.min(x.0), b.max(x.0))))
}

fn mean(values: &[Weighted]) -> f64 {
    let (sum, weight) = values.iter().fold((0.0, 0.0), |(s, w), x| (s + x.0 * x.1, w + x.1));
    if weight > 0.0 { sum / weight } else { values.first().map_or(f64::NAN, |x| x.0) }
}

/// The refined mode of values between `from` and `to`, see [`LevelStatistic::Mode`].
fn mode(values: &[Weighted], from: f64, to: f64, bins: usize) -> f64 {
    let scale = from.abs().max(to.abs());
    let (mut from, mut to, mut bins) = (from, to, bins.max(4));
    let mut inside: Vec<Weighted> = values.to_vec();
    let mut level = mean(&inside);
    let mut counts = Vec::new();
    for division in 0..MOST_DIVISIONS {
        if !(to - from > 1e-12 * scale) || inside.len() < 2 {
            break;
        }
        let width = (to - from) / bins as f64;
        let per_width = 1.0 / width;
        let bin = |v: f64| (((v - from) * per_width) as usize).min(bins - 1);
        counts.clear();
        counts.resize(bins, 0.0);
        for x in &inside {
            counts[bin(x.0)] += x.1;
        }
        let fullest = (0..bins).fold(0, |best, k| if counts[k] > counts[best] { k } else { best });
        let enough = |k: usize| counts[k] >= 0.5 * counts[fullest];
        let mut first = fullest;
        while first > 0 && enough(first - 1) {
            first -= 1;
        }
        let mut last = fullest;
        while last + 1 < bins && enough(last + 1) {
            last += 1;
        }
        let total: f64 = counts.iter().sum();
        let together: f64 = counts[first..=last].iter().sum();
        // Spread out at this scale: what was found before is the better answer.
        if division > 0 && together < 0.5 * total {
            break;
        }
        // One bin more on either side is kept: a level may lie on the border of two.
        let (a, b) = (first.saturating_sub(1), (last + 1).min(bins - 1));
        let (mut sum, mut weight) = (0.0, 0.0);
        inside.retain(|x| {
            let at = bin(x.0);
            if (first..=last).contains(&at) {
                sum += (x.0 - from) * x.1;
                weight += x.1;
            }
            (a..=b).contains(&at)
        });
        if weight > 0.0 {
            level = from + sum / weight;
        }
        if 8 * (last - first + 1) > bins.max(16) {
            break;
        }
        (from, to) = (from + a as f64 * width, from + (b + 1) as f64 * width);
        bins = FURTHER_BINS;
    }
    level
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};

    fn record(f: impl Fn(f64) -> f64, n: usize) -> Vec<Point> {
        (0..n).map(|k| k as f64 / n as f64).map(|t| Point { t, v: f(t) }).collect()
    }

    fn of(points: &[Point], statistic: LevelStatistic) -> Levels {
        levels(points, LevelSource::Histogram { bins: 256, statistic }).unwrap()
    }

    #[test]
    fn an_exponential_tail_does_not_pull_the_mode() {
        let points = record(|t| if t < 0.3 { 0.0 } else { 1.0 + 0.3 * (-(t - 0.3) / 0.02).exp() }, 2000);
        let found = of(&points, LevelStatistic::Mode);
        assert_close!([found.low_v, found.high_v], [0.0, 1.0], within(1e-9));
        // The mean is pulled by what the tail holds: 0.3·0.02 over 0.7.
        assert_close!(of(&points, LevelStatistic::Mean).high_v, 1.0 + 0.3 * 0.02 / 0.7, within(2e-4));
    }

    #[test]
    fn noise_spreads_over_bins_and_is_averaged() {
        // Gaussian quantiles in shuffled order: a standard deviation of five bins.
        let noise =
            |k: usize| crate::numeric::stats::normal_quantile(((k * 379) % 1000) as f64 / 1000.0 + 5e-4);
        let points: Vec<Point> = (0..2000)
            .map(|k| Point { t: k as f64, v: f64::from(u8::from(k >= 1000)) + 0.02 * noise(k % 1000) })
            .collect();
        let found = of(&points, LevelStatistic::Mode);
        assert_close!([found.low_v, found.high_v], [0.0, 1.0], within(0.01));
    }

    #[test]
    fn a_tilted_top_has_its_middle_as_level() {
        let points = record(|t| if t < 0.5 { 0.0 } else { 1.1 - 0.4 * (t - 0.5) }, 4000);
        assert_close!(of(&points, LevelStatistic::Mode).high_v, 1.0, within(2e-3));
    }

    #[test]
    fn codes_of_a_digitiser_are_levels() {
        let points = record(|t| if t < 0.5 { 3.0 / 128.0 } else { 100.0 / 128.0 }, 100);
        let found = of(&points, LevelStatistic::Mode);
        assert_close!([found.low_v, found.high_v], [3.0 / 128.0, 100.0 / 128.0], within(1e-12));
    }

    #[test]
    fn spans_stand_aberrations_higher_than_the_amplitude() {
        let points = record(|t| if t < 0.3 { 0.0 } else { 1.0 + 3.0 * (-(t - 0.3) / 0.02).exp() }, 2000);
        let spans = LevelSource::Spans {
            first: Span { start_s: 0.0, end_s: 0.29 },
            second: Span { start_s: 0.31, end_s: 1.0 },
            bins: 256,
            statistic: LevelStatistic::Mode,
        };
        let found = levels(&points, spans).unwrap();
        assert_close!([found.low_v, found.high_v], [0.0, 1.0], within(1e-9));
    }

    #[test]
    fn one_state_alone_is_no_pair_of_levels() {
        let flat = record(|_| 1.0, 100);
        let source = LevelSource::Histogram { bins: 256, statistic: LevelStatistic::Mode };
        assert_eq!(levels(&flat, source), Err(Missing::NoTransition));
    }
}
