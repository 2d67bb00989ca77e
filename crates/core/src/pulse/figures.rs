//! Transitions, aberrations, settling and tilt from samples, refined on the waveform.

use super::levels::levels;
use super::wave::{Point, Wave};
use super::{Direction, Figure, Figures, Levels, Missing, Options, REFERENCES, Transition};
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};

/// A transition among the samples. `way` turns values into shares of the way from the level it leaves to that it goes to.
struct Found {
    direction: Direction,
    way: Way,
    /// Last sample at or below 10 % of the way.
    departure: usize,
    /// First sample at or above 90 %.
    arrival: usize,
    /// Last sample below 50 %.
    middle: usize,
    middle_s: f64,
}

/// Share of the way: (value − origin)/span; span is negative for a falling transition.
#[derive(Clone, Copy)]
struct Way {
    origin: f64,
    span: f64,
}

impl Way {
    fn share(self, p: Point) -> f64 {
        (p.v - self.origin) / self.span
    }

    fn level(self, share: f64) -> f64 {
        self.origin + share * self.span
    }
}

/// Where a transition is, roughly.
pub(super) struct Place {
    pub(super) middle_s: f64,
    pub(super) duration_s: f64,
}

/// Transitions for a second look.
pub(super) fn places(wave: &impl Wave, points: &[Point], options: &Options) -> Vec<Place> {
    let Ok(levels) = levels(points, options.levels) else { return Vec::new() };
    let place = |found: &Found| {
        // A slow tail may hold the 90 % instant far off; the first half tells how fast the edge itself is.
        let start = cross(wave, points, found.departure, found.way.level(0.1));
        let end = cross(wave, points, found.arrival - 1, found.way.level(0.9));
        let duration_s = (end - start).min(2.5 * (found.middle_s - start));
        Place { middle_s: found.middle_s, duration_s }
    };
    find(wave, points, levels).iter().map(place).collect()
}

/// Crossing between samples `k` and `k`+1.
fn cross(wave: &impl Wave, points: &[Point], k: usize, level: f64) -> f64 {
    wave.crossing(points[k], points[k + 1], level)
}

/// All transitions.
fn find(wave: &impl Wave, points: &[Point], levels: Levels) -> Vec<Found> {
    let up = Way { origin: levels.low_v, span: levels.amplitude_v() };
    let down = Way { origin: levels.high_v, span: -levels.amplitude_v() };
    let mut list = Vec::new();
    // Whether the waveform was last seen low (below 10 %) or high (above 90 %), and where.
    let mut state: Option<(Direction, usize)> = None;
    for (k, &p) in points.iter().enumerate() {
        let share = up.share(p);
        let now = if share <= REFERENCES[0] {
            Direction::Falling
        } else if share >= REFERENCES[4] {
            Direction::Rising
        } else {
            continue;
        };
        if let Some((before, departure)) = state
            && before != now
        {
            let way = if now == Direction::Rising { up } else { down };
            let middle = (departure..k).find(|&i| way.share(points[i + 1]) >= 0.5).unwrap_or(departure);
            let middle_s = cross(wave, points, middle, way.level(0.5));
            list.push(Found { direction: now, way, departure, arrival: k, middle, middle_s });
        }
        state = Some((now, k));
    }
    list
}

pub(super) fn figures(wave: &impl Wave, points: &[Point], options: &Options) -> Figures {
    let levels = levels(points, options.levels);
    let found = levels.map_or_else(|_| Vec::new(), |l| find(wave, points, l));
    let transitions: Vec<Transition> =
        (0..found.len()).map(|k| transition(wave, points, &found, k, options.settling_band)).collect();
    let mut findings = Vec::new();
    if transitions.is_empty() {
        findings.push(Finding::fault(
            "no-transition",
            "the waveform does not go from one state to another, so it has no pulse figures",
            "look at a longer stretch, one that holds both states",
        ));
    }
    if let Some(last) = transitions.last()
        && last.settling_duration_s == Err(Missing::NotSettled)
    {
        let band = format_engineering(options.settling_band, Unit::Ratio, 2);
        findings.push(Finding::warning(
            "state-not-settled",
            format!("after the last transition the waveform does not settle within {band} of the amplitude"),
            "look at a longer stretch: levels, and all figures that rest on them, may still move",
        ));
    }
    let middles: Vec<f64> = found.iter().map(|f| f.middle_s).collect();
    let missing = |reason: Missing| if middles.is_empty() { Missing::NoTransition } else { reason };
    let pulse_duration_s = match middles[..] {
        [first, second, ..] => Ok(second - first),
        _ => Err(missing(Missing::NoSecondTransition)),
    };
    // Whole periods, from the first transition to the last of the same direction.
    let periods = middles.len().saturating_sub(1) / 2;
    let period_s = if periods > 0 {
        Ok((middles[2 * periods] - middles[0]) / periods as f64)
    } else {
        Err(missing(Missing::NoThirdTransition))
    };
    let duty = period_s.map(|period_s| {
        let pulses = found.windows(2).filter(|f| f[0].direction == Direction::Rising);
        let (sum, count) =
            pulses.fold((0.0, 0.0), |(s, n), f| (s + (f[1].middle_s - f[0].middle_s), n + 1.0));
        sum / count / period_s
    });
    Figures { levels, transitions, pulse_duration_s, period_s, duty, findings }
}

fn transition(wave: &impl Wave, points: &[Point], found: &[Found], k: usize, band: f64) -> Transition {
    let f = &found[k];
    let way = f.way;
    let instant = |share: f64| -> Figure {
        let is_at = |i: usize| way.share(points[i]) <= share && way.share(points[i + 1]) >= share;
        // Up to the middle the last crossing counts, from there on the first.
        let place = if share < 0.5 {
            (f.departure..=f.middle).rev().find(|&i| is_at(i))
        } else {
            (f.middle..f.arrival).find(|&i| is_at(i))
        };
        place.map(|i| cross(wave, points, i, way.level(share))).ok_or(Missing::NoCrossing)
    };
    let mut instants_s = REFERENCES.map(instant);
    instants_s[2] = Ok(f.middle_s);
    let between = |a: usize, b: usize| Ok(instants_s[b]? - instants_s[a]?);

    let before_s = k.checked_sub(1).map(|p| found[p].middle_s);
    let after_s = found.get(k + 1).map(|n| n.middle_s);
    // The aberrations of this transition: half-way to its neighbours.
    let from_s = before_s.map_or(f64::NEG_INFINITY, |t| 0.5 * (t + f.middle_s));
    let to_s = after_s.map_or(f64::INFINITY, |t| 0.5 * (t + f.middle_s));
    let first = points.partition_point(|p| p.t < from_s);
    let last = points.partition_point(|p| p.t <= to_s);

    let overshoot = extreme(wave, points, way, f.arrival..last, 1.0).map(|x| (x - 1.0).max(0.0));
    let preshoot = extreme(wave, points, way, first..f.departure + 1, -1.0).map(|x| x.max(0.0));
    let undershoot = (f.arrival..last).find(|&i| way.share(points[i]) >= 1.0).map_or(Ok(0.0), |reached| {
        extreme(wave, points, way, reached..last, -1.0).map(|x| (1.0 + x).max(0.0))
    });
    Transition {
        direction: f.direction,
        instants_s,
        duration_10_90_s: between(0, 4),
        duration_20_80_s: between(1, 3),
        overshoot,
        undershoot,
        preshoot,
        settling_duration_s: settling(wave, points, f, found.get(k + 1), band),
        tilt: tilt(points, way, f.middle_s, after_s),
    }
}

/// Greatest `sign`·share of the way among the samples in `range`, refined where it lies between neighbours.
fn extreme(wave: &impl Wave, points: &[Point], way: Way, range: std::ops::Range<usize>, sign: f64) -> Figure {
    let inside = points.get(range.clone()).unwrap_or(&[]);
    let size = |p: &Point| sign * way.share(*p);
    let best = inside.iter().enumerate().max_by(|a, b| size(a.1).total_cmp(&size(b.1)));
    let Some((index, top)) = best else { return Err(Missing::TooFewSamples) };
    let k = range.start + index;
    let neighbours = (k.checked_sub(1).and_then(|i| points.get(i)), points.get(k + 1));
    let (Some(&from), Some(&to)) = neighbours else { return Ok(size(top)) };
    // At the ends of the range the waveform runs on uphill, and that belongs to somebody else.
    // On a level stretch there is nothing to look for.
    let lower = size(&from) < size(top) || size(&to) < size(top);
    if size(&from) > size(top) || size(&to) > size(top) || !lower {
        return Ok(size(top));
    }
    let turn = sign * way.span.signum();
    let greatest = turn * wave.greatest(from, *top, to, turn);
    Ok(sign * (greatest - way.origin) / way.span)
}

/// From the 50 % instant until the waveform stays in the band to the end of its state.
fn settling(wave: &impl Wave, points: &[Point], f: &Found, next: Option<&Found>, band: f64) -> Figure {
    // The state ends where the next transition may begin: three times as far before its middle as its 10 % instant.
    let end = next.map_or(points.len(), |n| {
        let start_s = cross(wave, points, n.departure, n.way.level(0.1));
        let end_s = n.middle_s - 3.0 * (n.middle_s - start_s);
        points.partition_point(|p| p.t <= end_s)
    });
    let off = |i: usize| f.way.share(points[i]) - 1.0;
    let outside = (f.departure..end).rev().find(|&i| off(i).abs() > band);
    match outside {
        None => Err(Missing::TooFewSamples),
        Some(i) if i + 1 >= end => Err(Missing::NotSettled),
        Some(i) => Ok(cross(wave, points, i, f.way.level(1.0 + band.copysign(off(i)))) - f.middle_s),
    }
}

/// Tilt of the state after a transition: a straight line through its middle 80 %, each sample weighted by the time it stands for.
fn tilt(points: &[Point], way: Way, start_s: f64, next_s: Option<f64>) -> Figure {
    let end_s = next_s.or(points.last().map(|p| p.t)).ok_or(Missing::TooFewSamples)?;
    let (length, centre) = (end_s - start_s, 0.5 * (start_s + end_s));
    let inside = |p: &Point| (p.t - centre).abs() <= 0.4 * length;
    let first = points.partition_point(|p| p.t < centre - 0.4 * length);
    let count = points[first..].iter().take_while(|p| inside(p)).count();
    if count < 5 || first == 0 || first + count >= points.len() {
        return Err(Missing::TooFewSamples);
    }
    let [mut w0, mut wx, mut wxx, mut wy, mut wxy] = [0.0; 5];
    for k in first..first + count {
        let w = points[k + 1].t - points[k - 1].t;
        let (x, y) = ((points[k].t - centre) / length, way.share(points[k]));
        w0 += w;
        wx += w * x;
        wxx += w * x * x;
        wy += w * y;
        wxy += w * x * y;
    }
    let slope = (w0 * wxy - wx * wy) / (w0 * wxx - wx * wx);
    let mean = (wy - slope * wx) / w0;
    if slope.is_finite() && mean != 0.0 { Ok(-slope / mean) } else { Err(Missing::TooFewSamples) }
}
