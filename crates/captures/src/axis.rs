//! Time axis: whether printed times are evenly spaced, and the start and interval they stand for.
//!
//! The rule. A least-squares line is laid through the times against the sample number. Sampling is even when no time
//! is further from the line than a quarter of the interval, or than 0.6 of the last printed digit at that time if that
//! is more (times printed so coarsely that neighbours repeat). The interval is the slope, rounded to the fewest digits
//! that keep within its uncertainty and move no end of the record by more than half a printed digit.

/// Share of the interval by which a single time may be off.
pub(crate) const JITTER: f64 = 0.25;
/// Share of the last printed digit by which a single time may be off: half for rounding, the rest for the line.
const ROUNDING: f64 = 0.6;
/// Most samples that are taken for written twice rather than for printed coarsely.
const MOST_REPEATS: usize = 3;

/// A regular time axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Axis {
    pub(crate) start: f64,
    pub(crate) interval: f64,
    /// Largest distance of a time from the axis.
    pub(crate) off: f64,
    /// Whether only the coarseness of the printed digits explains the distances.
    pub(crate) rounded: bool,
}

/// Why times are no regular axis; `index` counts samples from 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Fault {
    Backwards { index: usize, from: f64, to: f64 },
    Repeats { index: usize, at: f64 },
    Gap { index: usize, missing: u64, places: usize, step: f64, interval: f64 },
    Uneven { index: usize, off: f64, interval: f64 },
}

/// Smallest step between neighbouring printed values, from how they are written: the last place that occurs anywhere,
/// but no finer than the most digits that occur can tell at the magnitude at hand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Quantum {
    pub(crate) most_significant: u32,
    pub(crate) least_power: i32,
}

impl Quantum {
    /// Nothing seen yet.
    pub(crate) const NONE: Self = Self { most_significant: 0, least_power: i32::MAX };
    /// Times that are not printed but stored, with 2^-`bits` relative resolution (as significant digits).
    pub(crate) const SINGLE: Self = Self { most_significant: 7, least_power: -60 };
    /// See [`Quantum::SINGLE`].
    pub(crate) const DOUBLE: Self = Self { most_significant: 16, least_power: -320 };

    /// Takes one more written number into account.
    pub(crate) fn see(&mut self, significant: u32, last_power: i32) {
        self.most_significant = self.most_significant.max(significant);
        self.least_power = self.least_power.min(last_power);
    }

    /// The quantum at magnitude `at`.
    pub(crate) fn at(self, at: f64) -> f64 {
        if self.most_significant == 0 {
            return 0.0;
        }
        let fixed = 10f64.powi(self.least_power.clamp(-320, 300));
        if at == 0.0 || !at.is_finite() {
            return fixed;
        }
        let leading = at.abs().log10().floor() as i32;
        let floating = 10f64.powi((leading + 1 - self.most_significant as i32).clamp(-320, 300));
        fixed.max(floating)
    }
}

/// Sums over a stretch of times, taken against a provisional interval from the stretch's own first time.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stretch {
    pub(crate) first: f64,
    pub(crate) count: usize,
    pub(crate) least: f64,
    pub(crate) most: f64,
    sum: f64,
    moment: f64,
}

impl Stretch {
    pub(crate) const EMPTY: Self =
        Self { first: 0.0, count: 0, least: 0.0, most: 0.0, sum: 0.0, moment: 0.0 };

    /// Takes the next time. `provisional` must be the same for all calls.
    #[inline(always)]
    pub(crate) fn push(&mut self, time: f64, provisional: f64) {
        if self.count == 0 {
            self.first = time;
        }
        let number = self.count as f64;
        let off = time - (self.first + number * provisional);
        self.least = if off < self.least { off } else { self.least };
        self.most = if off > self.most { off } else { self.most };
        self.sum += off;
        self.moment += number * off;
        self.count += 1;
    }
}

/// The axis through consecutive stretches when each time provably keeps within the jitter allowance; `None` when that
/// cannot be told from the sums, and [`axis`] must look at the times themselves.
///
/// `first` is the first time, exactly; in the stretches times need only be right to a few units in the last place.
pub(crate) fn from_stretches(
    stretches: &[Stretch],
    first: f64,
    provisional: f64,
    quantum: Quantum,
) -> Option<Axis> {
    let total: usize = stretches.iter().map(|s| s.count).sum();
    if total < 2 {
        return None;
    }
    // Least squares of (off from first + number · provisional) against the number, about the middle.
    let middle = 0.5 * (total - 1) as f64;
    let (mut before, mut sum, mut moment) = (0usize, 0.0, 0.0);
    for s in stretches {
        let n = s.count as f64;
        let base = s.first - (first + before as f64 * provisional);
        let whole = s.sum + n * base;
        let whole_moment = s.moment + base * n * (n - 1.0) * 0.5;
        sum += whole;
        moment += whole_moment + (before as f64 - middle) * whole;
        before += s.count;
    }
    let n = total as f64;
    let extra = moment * 12.0 / (n * (n * n - 1.0));
    let line =
        Line { middle_value: sum / n + first + middle * provisional, middle, slope: provisional + extra };
    let interval = line.slope;
    if !(interval > 0.0 && interval.is_finite()) {
        return None;
    }
    let mut off = 0.0f64;
    let mut before = 0usize;
    for s in stretches.iter().filter(|s| s.count > 0) {
        let base = s.first - line.at(before);
        let drift = extra.abs() * (s.count - 1) as f64;
        off = off.max((base + s.most + drift).abs()).max((base + s.least - drift).abs());
        before += s.count;
    }
    if off.is_nan() || off > JITTER * interval {
        return None;
    }
    Some(finish(line, first, total, off, false, quantum))
}

/// The axis through all `times`, or the first fault.
pub(crate) fn axis(times: &[f64], quantum: Quantum) -> Result<Axis, Fault> {
    let (Some(&first), n) = (times.first(), times.len()) else {
        return Err(Fault::Uneven { index: 0, off: f64::NAN, interval: f64::NAN });
    };
    let line = Line::through(times);
    let interval = line.slope;
    let rises = interval > 0.0 && interval.is_finite();
    let mut rounded = false;
    let mut off = 0.0f64;
    let fits = rises
        && times.iter().enumerate().all(|(k, &t)| {
            let distance = (t - line.at(k)).abs();
            off = off.max(distance);
            let even = distance <= JITTER * interval;
            rounded |= !even;
            even || distance <= ROUNDING * quantum.at(t)
        })
        // Time may stand still where it is printed coarsely, but never run backwards.
        && (!rounded
            || (times.windows(2).all(|w| w[0] <= w[1])
                && !long_steps_are_rare(times, quantum)
                && !repeats_are_few(times, quantum)));
    if fits { Ok(finish(line, first, n, off, rounded, quantum)) } else { Err(fault(times, quantum, line)) }
}

/// Whether all but a few steps are alike and the few are longer: that is a gap, even where an odd interval printed
/// coarsely could look the same. An interval is more likely a round number.
fn long_steps_are_rare(times: &[f64], quantum: Quantum) -> bool {
    let mut steps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    let middle = steps.len() / 2;
    let median = *steps.select_nth_unstable_by(middle, f64::total_cmp).1;
    // Where times are printed more coarsely than that, long steps are to be expected.
    let odd = |w: &&[f64]| w[1] - w[0] >= 1.5 * median && quantum.at(w[1]) <= 1.01 * median;
    let long = times.windows(2).filter(odd).count();
    median > 0.0 && long > 0 && long * 20 <= steps.len()
}

/// Whether all steps are one printed digit but for a very few of nil: those samples are there twice, even where an
/// interval a hair below that digit could look the same.
fn repeats_are_few(times: &[f64], quantum: Quantum) -> bool {
    let steps = || times.windows(2).map(|w| w[1] - w[0]);
    let repeats = steps().filter(|step| *step <= 0.0).count();
    if repeats == 0 || repeats > MOST_REPEATS || repeats * 20 > times.len() {
        return false;
    }
    let Some(usual) = steps().find(|step| *step > 0.0) else { return false };
    let ends = times.first().map_or(0.0, |t| t.abs()).max(times.last().map_or(0.0, |t| t.abs()));
    let coarsest = quantum.at(ends);
    coarsest <= 1.01 * usual && steps().all(|step| step <= 0.0 || (step - usual).abs() <= 0.01 * usual)
}

/// Chooses the figures of the axis: the fewest digits that the printed times cannot tell from the fitted line.
fn finish(line: Line, first: f64, total: usize, off: f64, rounded: bool, quantum: Quantum) -> Axis {
    let intercept = line.at(0);
    let n = total as f64;
    let step = quantum.at(first.abs().max(line.at(total - 1).abs()));
    // Rounding leaves the slope uncertain by about step / n^1.5, and the start by about step / √n.
    let room = (0.5 * step / (n - 1.0)).min(3.0 * step / (n * n.sqrt()));
    let interval = fewest_digits(line.slope, room);
    let plain = !rounded && (first - intercept).abs() <= 0.5 * step + 1e-9 * line.slope;
    let start =
        if plain { first } else { fewest_digits(intercept, (step / n.sqrt()).max(0.01 * line.slope)) };
    Axis { start, interval, off, rounded }
}

/// The decimal number with the fewest digits within `room` of `value`.
fn fewest_digits(value: f64, room: f64) -> f64 {
    let near = |digits: usize| format!("{value:.digits$e}").parse::<f64>().unwrap_or(value);
    (0..17).map(near).find(|short| (short - value).abs() <= room).unwrap_or(value)
}

#[derive(Clone, Copy, Debug)]
struct Line {
    middle_value: f64,
    middle: f64,
    slope: f64,
}

impl Line {
    fn through(times: &[f64]) -> Self {
        let n = times.len() as f64;
        let middle = 0.5 * (n - 1.0);
        // Sums against the chord, so that large times with a small interval lose nothing.
        let first = times.first().copied().unwrap_or(0.0);
        let last = times.last().copied().unwrap_or(0.0);
        let chord = (last - first) / (n - 1.0).max(1.0);
        let (mut sum, mut moment) = (0.0, 0.0);
        for (k, t) in times.iter().enumerate() {
            let off = t - (first + k as f64 * chord);
            sum += off;
            moment += (k as f64 - middle) * off;
        }
        let extra = if times.len() < 2 { 0.0 } else { moment * 12.0 / (n * (n * n - 1.0)) };
        Self { middle_value: first + middle * chord + sum / n, middle, slope: chord + extra }
    }

    fn at(&self, number: usize) -> f64 {
        self.middle_value + (number as f64 - self.middle) * self.slope
    }
}

/// Finds the first place that spoils an axis.
fn fault(times: &[f64], quantum: Quantum, line: Line) -> Fault {
    let coarse =
        times.first().map_or(0.0, |t| quantum.at(*t)).max(times.last().map_or(0.0, |t| quantum.at(*t)));
    let interval = nominal_interval(times, coarse);
    if interval <= 0.0 || interval.is_nan() {
        let back = times.windows(2).position(|w| w[1] < w[0]);
        return match (back, times) {
            (Some(i), _) => Fault::Backwards { index: i + 1, from: times[i], to: times[i + 1] },
            (None, [.., last]) => Fault::Repeats { index: usize::from(times.len() > 1), at: *last },
            (None, []) => Fault::Repeats { index: 0, at: f64::NAN },
        };
    }
    // Where nearly all steps are exact, rounding explains nothing.
    let exact = times.windows(2).filter(|w| (w[1] - w[0] - interval).abs() <= 0.01 * interval).count();
    let rounding = if exact * 10 >= 9 * (times.len() - 1) { 0.0 } else { 1.01 };
    let mut gaps: Option<(usize, f64, usize)> = None;
    let mut odd = 0usize;
    for (i, w) in times.windows(2).enumerate() {
        let step = w[1] - w[0];
        let grain = rounding * quantum.at(w[0]).max(quantum.at(w[1]));
        if step < 0.0 {
            return Fault::Backwards { index: i + 1, from: w[0], to: w[1] };
        }
        if step == 0.0 && grain < 0.5 * interval {
            return Fault::Repeats { index: i + 1, at: w[1] };
        }
        let allowed = 0.5 * interval + grain;
        if step - interval >= allowed {
            let (index, first_step, places) = gaps.unwrap_or((i + 1, step, 0));
            gaps = Some((index, first_step, places + 1));
        } else if (step - interval).abs() >= allowed {
            odd += 1;
        }
    }
    match gaps {
        Some((index, step, places)) if odd == 0 && places * 20 <= times.len() => {
            let missing = ((step / interval).round() as u64).max(2) - 1;
            Fault::Gap { index, missing, places, step, interval }
        }
        _ => {
            let far = |k: usize| (times[k] - line.at(k)).abs();
            let by_step =
                times.windows(2).position(|w| (w[1] - w[0] - interval).abs() > JITTER * interval + coarse);
            let worst = (0..times.len()).max_by(|&a, &b| far(a).total_cmp(&far(b))).unwrap_or(0);
            let index = by_step.map_or(worst, |i| i + 1);
            Fault::Uneven { index, off: far(worst), interval }
        }
    }
}

/// Median of the steps, taken over so many samples that printed coarseness does not matter.
fn nominal_interval(times: &[f64], coarse: f64) -> f64 {
    let n = times.len();
    let (Some(first), Some(last)) = (times.first(), times.last()) else { return 0.0 };
    let overall = (last - first) / (n - 1).max(1) as f64;
    let wide = if overall > 0.0 { (4.0 * coarse / overall).ceil().min(n as f64 / 8.0) } else { 1.0 };
    let wide = if coarse < 0.25 * overall { 1 } else { (wide as usize).max(1) };
    let mut steps: Vec<f64> =
        (wide..n).step_by(wide).map(|i| (times[i] - times[i - wide]) / wide as f64).collect();
    let middle = steps.len() / 2;
    if steps.is_empty() {
        return 0.0;
    }
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
#[path = "axis_tests.rs"]
mod tests;
