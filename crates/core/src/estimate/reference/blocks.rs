//! Two columns condensed to blocks of the same length.

use super::unrelated;
use crate::assessment::Trace;
use crate::estimate::neighbours;
use crate::finding::Finding;
use crate::samples::Record;

/// Block means of both columns and what is known of their noise.
pub(super) struct Blocks {
    /// Length of a block, s.
    pub interval_s: f64,
    pub probe: Vec<f64>,
    pub reference: Vec<f64>,
    /// Blocks that take part in the fit: whole, and not next to an edge.
    pub used: Vec<bool>,
    /// Standard deviation of a block mean, V.
    pub probe_noise: f64,
    pub reference_noise: f64,
    /// Standard deviation of a single sample, V.
    pub sample_noise: f64,
    pub reference_sample_noise: f64,
    /// Peak-to-peak of the reference, V.
    pub swing: f64,
    /// How far the place of an edge is open, in blocks.
    pub edge_doubt: f64,
    lowest: Vec<f64>,
    highest: Vec<f64>,
}

/// An edge: a change of the reference between neighbouring blocks by more than this share of its swing.
const EDGE: f64 = 0.08;
/// Blocks left out on either side of an edge, at least; and the time left out after one for ringing, s.
const BESIDE: usize = 2;
const RINGING_S: f64 = 2e-6;

pub(super) fn condense(record: &Record<'_>, reference: &Record<'_>, block_s: f64) -> Result<Blocks, Finding> {
    let points = record.samples.len().min(reference.samples.len());
    let length = ((block_s / record.interval_s) as usize).max(1);
    let count = points / length;
    if count < 40 {
        return Err(unrelated(
            "The record holds too few samples to compare the columns (40 stretches of 2 µs are needed).",
        ));
    }
    let mut b = Blocks {
        interval_s: record.interval_s * length as f64,
        probe: Vec::with_capacity(count),
        reference: Vec::with_capacity(count),
        used: Vec::with_capacity(count),
        probe_noise: 0.0,
        reference_noise: 0.0,
        sample_noise: neighbours::noise(record.samples),
        reference_sample_noise: neighbours::noise(reference.samples),
        swing: 0.0,
        edge_doubt: 0.0,
        lowest: Vec::with_capacity(count),
        highest: Vec::with_capacity(count),
    };
    for k in 0..count {
        let range = k * length..(k + 1) * length;
        let (mut p, mut r, mut n) = (0.0, 0.0, 0.0);
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for i in range {
            let (a, c) = (record.samples.at(i), reference.samples.at(i));
            if a.is_finite() && c.is_finite() {
                p += a;
                r += c;
                n += 1.0;
                low = low.min(a);
                high = high.max(a);
            }
        }
        // A block without samples keeps the state equation going on the last value, and takes no part.
        let last = |v: &Vec<f64>| v.last().copied().unwrap_or(0.0);
        b.probe.push(if n > 0.0 { p / n } else { last(&b.probe) });
        b.reference.push(if n > 0.0 { r / n } else { last(&b.reference) });
        b.used.push(n * 2.0 > length as f64);
        b.lowest.push(low);
        b.highest.push(high);
    }
    let (low, high) =
        b.reference.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    b.swing = high - low;
    if !(b.swing > 0.0) || b.swing < 8.0 * b.reference_sample_noise / (length as f64).sqrt() {
        return Err(unrelated("The reference column does not change beyond its noise."));
    }
    let per_block = (length as f64).sqrt();
    b.probe_noise = b.sample_noise / per_block;
    b.reference_noise = b.reference_sample_noise / per_block;
    let after = BESIDE + (RINGING_S / b.interval_s).ceil() as usize;
    let limit = EDGE * b.swing + 6.0 * b.reference_noise;
    let mut edges = 0usize;
    let mut sharp = 0usize;
    for k in 1..count {
        let change = (b.reference[k] - b.reference[k - 1]).abs();
        if change > limit {
            edges += 1;
            sharp += usize::from(change > 0.7 * b.swing);
            for j in k.saturating_sub(BESIDE)..(k + after).min(count) {
                b.used[j] = false;
            }
        }
    }
    // An edge within a block is placed by the block's mean; between two blocks (or samples) it may lie anywhere.
    if edges > 0 {
        let unresolved = if length == 1 { sharp as f64 / edges as f64 } else { 0.1 };
        b.edge_doubt = unresolved / (edges as f64).sqrt().min(3.0);
    }
    Ok(b)
}

impl Blocks {
    /// Blocks and fit for drawing, merged to at most 1,200 stretches.
    pub(super) fn trace(&self, record: &Record<'_>, fit: &[f64]) -> Trace {
        let count = self.probe.len();
        let merge = count.div_ceil(1200).max(1);
        let mut trace = Trace::default();
        for from in (0..count).step_by(merge) {
            let to = (from + merge).min(count);
            let mean = |v: &[f64]| v[from..to].iter().sum::<f64>() / (to - from) as f64;
            trace.time_s.push(record.start_s + self.interval_s * 0.5 * (from + to) as f64);
            trace.lowest.push(self.lowest[from..to].iter().copied().fold(f64::INFINITY, f64::min));
            trace.highest.push(self.highest[from..to].iter().copied().fold(f64::NEG_INFINITY, f64::max));
            trace.mean.push(mean(&self.probe));
            trace.fit.push(mean(fit));
        }
        trace
    }
}
