//! Probes and inputs made ready for many pairs: checked once, as columns of numbers.

use super::{Lacking, LackingSet, MATCHED_OHM, transition_bandwidth};
use crate::assessment::AdjustedAt;
use crate::bench::{Input, Probe, Range, Trimmer};
use crate::divider::Divider;
use crate::reach::{CompensationRange, InputCapacitance, ReachError, ReachProbe, TipCapacitance};

/// Tip resistance over N−1 of a probe that states none, Ω: the usual input. It sets no figure here but the errors' words.
const USUAL_INPUT_OHM: f64 = 1e6;

/// Probes, in the order given.
#[derive(Clone, Debug, Default)]
pub struct Probes {
    pub(super) ranges: Vec<Option<CompensationRange>>,
    pub(super) reach: Vec<Option<ReachProbe>>,
    pub(super) balances: Vec<bool>,
    /// R1; NaN where not known.
    pub(super) tip_ohm: Vec<f64>,
    /// N; NaN where not known.
    pub(super) ratio: Vec<f64>,
    /// −3 dB; NaN where not known.
    pub(super) bandwidth_hz: Vec<f64>,
    /// 10–90 %; NaN where not known.
    pub(super) transition_s: Vec<f64>,
    pub(super) lacking: Vec<LackingSet>,
    unfit: Vec<Option<ReachError>>,
}

/// Inputs, in the order given.
#[derive(Clone, Debug, Default)]
pub struct Inputs {
    /// NaN where not known.
    pub(super) nominal_f: Vec<f64>,
    /// Nil where not known.
    pub(super) tolerance_f: Vec<f64>,
    pub(super) tolerance_known: Vec<bool>,
    /// NaN where not known.
    pub(super) resistance_ohm: Vec<f64>,
    /// NaN where not known.
    pub(super) bandwidth_hz: Vec<f64>,
    /// 10–90 %; NaN where not known.
    pub(super) transition_s: Vec<f64>,
    pub(super) lacking: Vec<LackingSet>,
}

impl Probes {
    /// Makes probes ready.
    pub fn of<'a>(probes: impl IntoIterator<Item = &'a Probe>) -> Self {
        let mut all = Self::default();
        probes.into_iter().for_each(|probe| all.add(probe));
        all
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.lacking.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.lacking.is_empty()
    }

    /// The probe as [`crate::reach::reach`] takes it; `None` where something is missing or cannot be true.
    pub fn reach_probe(&self, index: usize) -> Option<&ReachProbe> {
        self.reach.get(index)?.as_ref()
    }

    /// Why the probe's numbers cannot be true together.
    pub fn unfit(&self, index: usize) -> Option<&ReachError> {
        self.unfit.get(index)?.as_ref()
    }

    /// What is not known of the probe; empty where there is none.
    pub fn lacking(&self, index: usize) -> LackingSet {
        self.lacking.get(index).copied().unwrap_or_default()
    }

    /// Whether there is anything to balance.
    pub fn balances(&self, index: usize) -> bool {
        self.balances.get(index).copied().unwrap_or(false)
    }

    fn add(&mut self, probe: &Probe) {
        let mut lacking = LackingSet::default();
        let ratio = probe.ratio;
        let tip_ohm = probe.tip_resistance_ohm.map(|r| r.value);
        let into_ohm = tip_ohm.zip(ratio).map(|(r, n)| r / (n - 1.0));
        let balances = ratio.is_none_or(|n| n > 1.0) && into_ohm.is_none_or(|r| r > MATCHED_OHM);
        let range = probe.compensation_range_f.map(|range| stated(range, probe.adjusted_at));
        for (absent, value) in [
            (balances && range.is_none(), Lacking::CompensationRange),
            (balances && ratio.is_none(), Lacking::Ratio),
            (balances && probe.tip_capacitance_f.is_none(), Lacking::TipCapacitance),
            (balances && probe.adjusted_at.is_none(), Lacking::AdjustedAt),
            (probe.bandwidth_hz.is_none(), Lacking::ProbeBandwidth),
        ] {
            if absent {
                lacking.add(value);
            }
        }
        let whole = if balances { whole(probe, range) } else { None };
        let checked = whole.map(|whole| whole.check().map(|()| whole));
        self.unfit.push(checked.and_then(Result::err));
        self.reach.push(checked.and_then(Result::ok));
        self.ranges.push(range.filter(|_| balances));
        self.balances.push(balances);
        self.tip_ohm.push(tip_ohm.unwrap_or(f64::NAN));
        self.ratio.push(ratio.unwrap_or(f64::NAN));
        self.bandwidth_hz.push(probe.bandwidth_hz.unwrap_or(f64::NAN));
        self.transition_s.push(probe.bandwidth_hz.map_or(f64::NAN, |b| transition_bandwidth(None) / b));
        self.lacking.push(lacking);
    }
}

/// The range as [`CompensationRange`] means it. Without a trimmer the probe balances the middle, and the range is a tolerance.
fn stated(range: Range, adjusted_at: Option<Trimmer>) -> CompensationRange {
    if adjusted_at == Some(Trimmer::Fixed) {
        let middle_f = 0.5 * (range.low + range.high);
        CompensationRange { least_f: middle_f, most_f: middle_f, tolerance_f: 0.5 * (range.high - range.low) }
    } else {
        CompensationRange { least_f: range.low, most_f: range.high, tolerance_f: 0.0 }
    }
}

/// The probe with everything that e needs.
fn whole(probe: &Probe, range: Option<CompensationRange>) -> Option<ReachProbe> {
    let ratio = probe.ratio?;
    let tip_resistance_ohm =
        probe.tip_resistance_ohm.map_or(USUAL_INPUT_OHM * (ratio - 1.0), |resistance| resistance.value);
    // The body's share of what is seen at the tip does not pass through the divider.
    let seen_f = probe.tip_capacitance_f?.value - probe.body_capacitance_f.unwrap_or(0.0);
    Some(ReachProbe {
        divider: Divider { tip_resistance_ohm, shunt_resistance_ohm: tip_resistance_ohm / (ratio - 1.0) },
        tip: TipCapacitance::SeenAtTip(seen_f),
        adjusted_at: probe.adjusted_at?.adjusted_at().unwrap_or(AdjustedAt::Base),
        range: range?,
    })
}

impl Inputs {
    /// Makes inputs ready.
    pub fn of<'a>(inputs: impl IntoIterator<Item = &'a Input>) -> Self {
        let mut all = Self::default();
        inputs.into_iter().for_each(|input| all.add(input));
        all
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.lacking.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.lacking.is_empty()
    }

    /// The capacitance as [`crate::reach::reach`] takes it, a tolerance that is not known as nil; NaN where it is not known.
    #[inline]
    pub fn capacitance(&self, index: usize) -> InputCapacitance {
        InputCapacitance { nominal_f: self.nominal_f[index], tolerance_f: self.tolerance_f[index] }
    }

    /// What is not known of the input; empty where there is none.
    pub fn lacking(&self, index: usize) -> LackingSet {
        self.lacking.get(index).copied().unwrap_or_default()
    }

    /// Whether it is terminated so low that no compensated probe belongs on it.
    pub fn is_matched(&self, index: usize) -> bool {
        self.resistance_ohm.get(index).is_some_and(|r| *r <= MATCHED_OHM)
    }

    fn add(&mut self, input: &Input) {
        let mut lacking = LackingSet::default();
        if input.capacitance_f.is_none() {
            lacking.add(Lacking::InputCapacitance);
        }
        if input.bandwidth_hz.is_none() {
            lacking.add(Lacking::InputBandwidth);
        }
        let product = transition_bandwidth(input.response);
        self.nominal_f.push(input.capacitance_f.map_or(f64::NAN, |c| c.value));
        let tolerance = input.capacitance_f.and_then(|c| c.tolerance);
        self.tolerance_f.push(tolerance.unwrap_or(0.0));
        self.tolerance_known.push(tolerance.is_some());
        self.resistance_ohm.push(input.resistance_ohm.map_or(f64::NAN, |r| r.value));
        self.bandwidth_hz.push(input.bandwidth_hz.unwrap_or(f64::NAN));
        self.transition_s.push(input.bandwidth_hz.map_or(f64::NAN, |b| product / b));
        self.lacking.push(lacking);
    }
}
