//! One column in several resolutions: as it is, and averaged in pairs again and again.

use crate::samples::Record;

/// Fewest values from which noise is judged at one resolution.
const LEAST_FOR_NOISE: usize = 48;

/// A column and its averages. Level n holds means of 2ⁿ samples; value k of it stands at `(k + ½)·2ⁿ − ½` samples.
pub(super) struct Column {
    levels: Vec<Vec<f64>>,
    /// Standard deviation of the noise of one value at each level.
    noise: Vec<f64>,
    /// Step of the converter, V; 0 where none shows.
    pub(super) quantum: f64,
    /// Samples that were missing.
    pub(super) missing: usize,
}

impl Column {
    pub(super) fn of(record: &Record<'_>) -> Self {
        let mut values = record.samples.to_vec();
        let missing = fill(&mut values);
        let quantum = quantum(&values);
        let mut levels = vec![values];
        while levels.last().is_some_and(|l| l.len() >= 256) {
            let next = levels.last().map(|l| l.chunks_exact(2).map(|p| 0.5 * (p[0] + p[1])).collect());
            levels.extend(next);
        }
        Self { levels, noise: Vec::new(), quantum, missing }
    }

    pub(super) fn samples(&self) -> &[f64] {
        &self.levels[0]
    }

    /// The values of a level, clipped to the levels there are.
    pub(super) fn level(&self, level: usize) -> &[f64] {
        &self.levels[level.min(self.highest())]
    }

    pub(super) fn highest(&self) -> usize {
        self.levels.len() - 1
    }

    pub(super) fn noise(&self, level: usize) -> f64 {
        self.noise.get(level).copied().unwrap_or(0.0)
    }

    /// Judges the noise from stretches (in samples) on settled levels: what is left beside a straight line through each.
    ///
    /// Where averages leave too few values, white noise is assumed from the level before. A converter's step counts as q/√12 at least.
    pub(super) fn judge_noise(&mut self, settled: &[std::ops::Range<usize>]) {
        let floor = self.quantum / 12f64.sqrt();
        let mut noise: Vec<f64> = Vec::with_capacity(self.levels.len());
        for (level, values) in self.levels.iter().enumerate() {
            let (mut squares, mut freedom) = (0.0, 0usize);
            for range in settled {
                let (from, to) = (range.start.div_ceil(1 << level), range.end >> level);
                if to.min(values.len()) >= from + 8 {
                    let stretch = &values[from..to.min(values.len())];
                    squares += beside_line(stretch);
                    freedom += stretch.len() - 2;
                }
            }
            let found = (freedom >= LEAST_FOR_NOISE || level == 0 && freedom > 0)
                .then(|| (squares / freedom as f64).sqrt());
            let least = if level == 0 { floor } else { floor / f64::from(1u32 << level.min(31)).sqrt() };
            let before = noise.last().copied().unwrap_or(0.0);
            noise.push(found.unwrap_or(before * 0.5f64.sqrt()).max(least));
        }
        self.noise = noise;
    }
}

/// Missing samples are bridged by straight lines; how many there were.
fn fill(values: &mut [f64]) -> usize {
    let missing = values.iter().filter(|v| !v.is_finite()).count();
    if missing == 0 || missing == values.len() {
        return missing;
    }
    let mut last: Option<usize> = None;
    for k in 0..values.len() {
        if !values[k].is_finite() {
            continue;
        }
        let from = last.map_or(0, |l| l + 1);
        for j in from..k {
            let share = last.map_or(1.0, |l| (j - l) as f64 / (k - l) as f64);
            let start = last.map_or(values[k], |l| values[l]);
            values[j] = start + share * (values[k] - start);
        }
        last = Some(k);
    }
    if let Some(l) = last {
        let value = values[l];
        values[l + 1..].fill(value);
    }
    missing
}

/// Smallest difference between values that repeat as those of a converter do. A level without any noise counts once: how far two of them lie
/// apart says nothing of a converter.
fn quantum(values: &[f64]) -> f64 {
    let mut changing: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    changing.dedup_by(|a, b| a.total_cmp(b).is_eq());
    let stride = (changing.len() / 4096).max(1);
    let mut some: Vec<f64> = changing.into_iter().step_by(stride).collect();
    some.sort_by(f64::total_cmp);
    let span = some.last().zip(some.first()).map_or(0.0, |(a, b)| a - b);
    let steps: Vec<f64> = some.windows(2).map(|w| w[1] - w[0]).filter(|d| *d > 1e-9 * span).collect();
    let smallest = steps.iter().copied().fold(f64::INFINITY, f64::min);
    if 2 * steps.len() < some.len() && smallest.is_finite() { smallest } else { 0.0 }
}

/// Sum of squares beside the best straight line.
fn beside_line(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let centre = 0.5 * (n - 1.0);
    let mean = values.iter().sum::<f64>() / n;
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (k, v) in values.iter().enumerate() {
        let (x, y) = (k as f64 - centre, v - mean);
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    (yy - xy * xy / xx).max(0.0)
}
