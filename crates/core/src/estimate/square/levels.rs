//! A first look at a record: rough levels, rough noise, the step of the quantiser, and where the signal changes sides.

use super::scan::Scan;
use crate::estimate::neighbours;
use crate::samples::SampleView;

/// At most this many samples are drawn from a record for its levels.
const DRAWN: usize = 16_384;

/// What a first look tells, all in V.
#[derive(Clone, Copy, Debug)]
pub(super) struct Levels {
    /// Median of the samples in the lower half.
    pub low: f64,
    /// Median of the samples in the upper half.
    pub high: f64,
    /// Rough standard deviation of the sample-to-sample noise.
    pub noise: f64,
    /// Step of the quantiser; `None` when the samples look continuous.
    pub quantum: Option<f64>,
}

impl Levels {
    pub(super) fn middle(&self) -> f64 {
        0.5 * (self.low + self.high)
    }

    /// Noise that is assumed at least: that of the quantiser, or of single-precision arithmetic somewhere.
    pub(super) fn least_noise(&self) -> f64 {
        self.quantum.map_or(0.0, |q| q / 12.0_f64.sqrt()).max(1e-7 * self.span())
    }

    pub(super) fn span(&self) -> f64 {
        self.high - self.low
    }
}

/// Rough levels from evenly drawn samples; `None` when fewer than 16 of them are finite.
pub(super) fn look(view: SampleView<'_>) -> Option<Levels> {
    let stride = view.len().div_ceil(DRAWN).max(1);
    let mut drawn: Vec<f64> =
        (0..view.len()).step_by(stride).map(|k| view.at(k)).filter(|v| v.is_finite()).collect();
    if drawn.len() < 16 {
        return None;
    }
    drawn.sort_unstable_by(f64::total_cmp);
    let at = |p: f64| drawn[((drawn.len() - 1) as f64 * p) as usize];
    // The middle of the 2–98 % range lies between the levels for any duty from 20 % to 80 %, spikes left aside; one
    // refinement centres it between the two medians.
    let mut middle = 0.5 * (at(0.02) + at(0.98));
    let (mut low, mut high) = (at(0.0), at(1.0));
    for _ in 0..2 {
        let split = drawn.partition_point(|&v| v <= middle);
        if split == 0 || split == drawn.len() {
            break;
        }
        low = drawn[split / 2];
        high = drawn[split + (drawn.len() - split) / 2];
        middle = 0.5 * (low + high);
    }
    let quantum = quantum(&mut drawn);
    Some(Levels { low, high, noise: neighbours::noise(view), quantum })
}

/// The step of which all sorted values are whole multiples apart, if there are few enough distinct values to tell.
fn quantum(sorted: &mut Vec<f64>) -> Option<f64> {
    let total = sorted.len();
    let range = sorted[total - 1] - sorted[0];
    let rounding = 2e-6 * range;
    sorted.dedup_by(|a, b| (*a - *b).abs() <= rounding);
    if !(range > 0.0) || sorted.len() > total / 4 {
        return None;
    }
    let differences: Vec<f64> = sorted.windows(2).map(|w| w[1] - w[0]).collect();
    let step = printed_step(&differences).or_else(|| common_step(&differences, range, rounding));
    let step = match step {
        Some(step) => step,
        // Two levels and what falls between them: taken for 8 bits filled to four fifths.
        None if sorted.len() <= 24 && total > 64 => {
            sorted.truncate(2);
            return Some(range / 200.0);
        }
        None => return None,
    };
    let step = range / (range / step).round();
    // A handful of values may all be multiples of several steps: then 8 bits filled to four fifths are assumed.
    Some(if sorted.len() <= 8 { (range / 200.0).max(step.min(range / 100.0)) } else { step })
}

/// The usual difference between neighbouring values, if nearly all differences are whole multiples of about that: codes
/// whose printed values are rounded, so that they are no longer evenly apart.
fn printed_step(differences: &[f64]) -> Option<f64> {
    let mut ordered = differences.to_vec();
    let usual = super::edges::median(&mut ordered);
    if differences.len() < 3 || !(usual > 0.0) {
        return None;
    }
    // Over a wide gap the rounding of the usual difference adds up: only near neighbours tell.
    let near: Vec<(f64, f64)> =
        differences.iter().map(|d| (*d, (d / usual).round())).filter(|(_, steps)| *steps <= 6.0).collect();
    let whole =
        near.iter().all(|(d, steps)| *steps >= 1.0 && (d / usual - steps).abs() < 0.15 + 0.03 * steps);
    let (sum, total) = near.iter().fold((0.0, 0.0), |(a, b), (d, steps)| (a + d, b + steps));
    (whole && 2 * near.len() > differences.len()).then(|| sum / total)
}

/// Euclid's algorithm on the differences; whatever falls below 16 bits is not a quantiser's step.
fn common_step(differences: &[f64], range: f64, rounding: f64) -> Option<f64> {
    let finest = (range / 70_000.0).max(4.0 * rounding);
    let mut step = range;
    for &difference in differences {
        let (mut a, mut b) = (step, difference);
        while b > finest {
            let rest = a - b * (a / b).round();
            (a, b) = (b, rest.abs());
        }
        step = a;
        if step < finest {
            return None;
        }
    }
    Some(step)
}

/// A change from one side to the other: the samples before `first_after` are still on the old side.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Crossing {
    /// First sample past the middle on the new side.
    pub sample: usize,
    /// Whether the new side is the upper one.
    pub rising: bool,
}

/// Changes of side with hysteresis. A change back and forth within `hysteresis` of the middle does not count.
pub(super) fn crossings(
    view: SampleView<'_>,
    scan: &Scan,
    levels: &Levels,
    hysteresis: f64,
) -> Vec<Crossing> {
    let (upper, lower) = (levels.middle() + hysteresis, levels.middle() - hysteresis);
    let mut found = Vec::new();
    let mut side: Option<bool> = None;
    let mut last_old = 0;
    let change = |from: usize, to: usize, rising: bool| {
        let middle = levels.middle();
        let beyond = |k: &usize| {
            let v = view.at(*k);
            if rising { v > middle } else { v < middle }
        };
        // First sample past the middle after the last sample that was clearly on the old side.
        let clear = (from..to).rev().find(|&k| {
            let v = view.at(k);
            if rising { v < lower } else { v > upper }
        });
        (clear.unwrap_or(from)..to).find(beyond).map(|sample| Crossing { sample, rising })
    };
    for block in 0..scan.blocks() {
        let (low, high) = (scan.lowest[block], scan.highest[block]);
        if low > high {
            continue;
        }
        let (has_low, has_high) = (low < lower, high > upper);
        let start = block * scan.block;
        let end = ((block + 1) * scan.block).min(view.len());
        match (has_low, has_high) {
            (true, true) => {
                // Both sides within one block: walk it sample by sample.
                for k in start..end {
                    let v = view.at(k);
                    let now = if v > upper {
                        Some(true)
                    } else if v < lower {
                        Some(false)
                    } else {
                        None
                    };
                    if let Some(now) = now {
                        if side.is_some_and(|s| s != now) {
                            found.extend(change(last_old, k + 1, now));
                        }
                        side = Some(now);
                        last_old = k;
                    }
                }
            }
            (true, false) | (false, true) => {
                let now = has_high;
                if side.is_some_and(|s| s != now) {
                    found.extend(change(last_old, end, now));
                }
                side = Some(now);
                last_old = start;
            }
            (false, false) => {}
        }
    }
    found
}

/// Crossings without the chatter of ringing about the middle: those much closer together than the flats are long count
/// as one change, or as none when they lead back to the old side.
pub(super) fn without_chatter(crossings: Vec<Crossing>, points: usize) -> Vec<Crossing> {
    let Some(last) = crossings.last() else { return crossings };
    let longest = crossings
        .windows(2)
        .map(|w| w[1].sample - w[0].sample)
        .chain([crossings[0].sample, points - last.sample])
        .max()
        .unwrap_or(0);
    let mut kept: Vec<Crossing> = Vec::with_capacity(crossings.len());
    let mut group: Vec<Crossing> = Vec::new();
    let close = |group: &mut Vec<Crossing>, kept: &mut Vec<Crossing>| {
        if group.len() % 2 == 1 {
            kept.push(group[0]);
        }
        group.clear();
    };
    for crossing in crossings {
        if group.last().is_some_and(|c| (crossing.sample - c.sample) * 16 > longest) {
            close(&mut group, &mut kept);
        }
        group.push(crossing);
    }
    close(&mut group, &mut kept);
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes keep their step through single precision, printed digits and uneven rounding.
    #[test]
    fn the_step_of_the_quantiser_is_found() {
        let q = 0.014_693_491_8;
        let codes = |k: usize| -> i64 {
            if k % 500 < 3 {
                40 * (k as i64 % 3)
            } else if k % 1000 < 500 {
                204 + (k as i64 / 7) % 3
            } else {
                (k as i64 / 5) % 4
            }
        };
        let exact: Vec<f64> = (0..5000).map(|k| q * codes(k) as f64).collect();
        let single: Vec<f64> = exact.iter().map(|v| f64::from(*v as f32)).collect();
        let printed: Vec<f64> = exact.iter().map(|v| (v * 1000.0).round() / 1000.0).collect();
        for (name, samples) in [("exact", exact), ("single", single), ("printed", printed)] {
            let mut sorted = samples.clone();
            sorted.sort_unstable_by(f64::total_cmp);
            let found = quantum(&mut sorted).unwrap_or_else(|| panic!("{name}"));
            assert!((found / q - 1.0).abs() < 0.03, "{name}: {found}");
        }
        // Two levels and a few samples between them: the step cannot be seen, and is assumed to be coarse.
        let two: Vec<f64> =
            (0..5000)
                .map(|k| {
                    if k % 500 == 0 {
                        f64::from(0.81_f32)
                    } else {
                        f64::from(3.0_f32 * ((k / 500) % 2) as f32)
                    }
                })
                .collect();
        let mut sorted = two.clone();
        sorted.sort_unstable_by(f64::total_cmp);
        assert!(quantum(&mut sorted).is_some_and(|q| q > 0.01));
        // Noise has no step.
        let mut noise: Vec<f64> = (0..5000).map(|k| (f64::from(k) * 0.7123).sin()).collect();
        noise.sort_unstable_by(f64::total_cmp);
        assert_eq!(quantum(&mut noise), None);
    }
}
