//! The record and the fit, thinned for drawing.

use super::condense::Average;
use super::scan::Scan;
use super::{Trace, Work};
use crate::samples::Record;

/// Stretches a drawing is made of.
const STRETCHES: usize = 1200;
/// A longer record is drawn for its first few periods only, so that the tails can be seen.
const PERIODS: f64 = 3.2;

pub(super) fn of_record(record: &Record<'_>, scan: &Scan) -> Trace {
    thin(record, scan, record.samples.len())
}

pub(super) fn of_fit(record: &Record<'_>, scan: &Scan, work: &Work) -> Trace {
    let points = record.samples.len();
    let shown = match (work.rhythm(), work.edges.first()) {
        (Some(rhythm), Some(first)) => ((first.at + PERIODS * rhythm.period) as usize).clamp(2, points),
        _ => points,
    };
    let mut trace = thin(record, scan, shown);
    let mut flat = 0;
    let stretches: Vec<Average> = trace
        .time_s
        .iter()
        .map(|t| {
            let at = (t - record.start_s) / record.interval_s;
            while work.edges.get(flat).is_some_and(|e| e.at <= at) {
                flat += 1;
            }
            let since_edge = flat.checked_sub(1).map_or(f64::INFINITY, |i| at - work.edges[i].at);
            Average { since_edge, ..Average::place(at, flat as u32) }
        })
        .collect();
    let values = work.model().value_at(&work.fit.theta, &stretches);
    let half = 0.5 * shown as f64 / STRETCHES.min(shown) as f64;
    for ((fit, value), stretch) in trace.fit.iter_mut().zip(values).zip(&stretches) {
        let next = work.edges.get(stretch.flat as usize).map_or(f64::INFINITY, |e| e.at - stretch.at);
        let left_out = stretch.since_edge < work.hold_off.max(half) || next < work.lead.max(half);
        *fit = if left_out { f64::NAN } else { value };
    }
    trace
}

fn thin(record: &Record<'_>, scan: &Scan, shown: usize) -> Trace {
    let mut trace = Trace::default();
    if shown == 0 {
        return trace;
    }
    let count = STRETCHES.min(shown);
    for i in 0..count {
        let (from, to) = (i * shown / count, ((i + 1) * shown / count).max(i * shown / count + 1));
        let (mut low, mut high, mut sum, mut n) = (f64::INFINITY, f64::NEG_INFINITY, 0.0, 0.0);
        let blocks = (from / scan.block, to.div_ceil(scan.block));
        if to - from > 8 * scan.block && scan.block > 1 {
            for block in blocks.0..blocks.1.min(scan.blocks()) {
                low = low.min(scan.lowest[block]);
                high = high.max(scan.highest[block]);
            }
        }
        let stride = ((to - from) / 256).max(1);
        for k in (from..to).step_by(stride) {
            let v = record.samples.at(k);
            if v.is_finite() {
                low = low.min(v);
                high = high.max(v);
                sum += v;
                n += 1.0;
            }
        }
        if n > 0.0 {
            trace.time_s.push(record.start_s + record.interval_s * 0.5 * (from + to - 1) as f64);
            trace.lowest.push(low);
            trace.highest.push(high);
            trace.mean.push(sum / n);
            trace.fit.push(f64::NAN);
        }
    }
    trace
}
