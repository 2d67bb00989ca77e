//! The JSON contract of `flattop reach` over a bench and over candidates. `docs/reach-json.md` describes every field.
//!
//! SI units, null and never absent, no NaN.

use flattop_core::bench::Probe;
use flattop_core::reach_matrix::{Cell, Standing, Summary};
use serde::Serialize;

use super::{BANDWIDTH_RULE, Compatibility, Extent, Kind, NamedInput, Sides, Totals, keys, standing_code};
use crate::json::{finite, write};

/// The JSON text with a final line feed. `order` is the order in which the probes are told.
pub fn text(of: &Compatibility, kind: Kind, extent: Extent, order: &[usize]) -> String {
    let sides = &of.sides;
    let told: Vec<ProbeTold> = order
        .iter()
        .enumerate()
        .map(|(place, &index)| ProbeTold::of(sides, kind, index, place + 1, &of.sums[index]))
        .collect();
    let pairs = (extent == Extent::Pairs).then(|| {
        let rows = order.iter().map(|&index| (&sides.probes[index], &of.rows[index]));
        rows.flat_map(|(probe, row)| {
            sides.inputs.iter().zip(row.cells()).map(move |(input, cell)| Pair::of(probe, input, &cell))
        })
        .collect()
    });
    let totals = Totals::of(&of.sums);
    write(&Report {
        flattop_version: env!("CARGO_PKG_VERSION"),
        kind: match kind {
            Kind::Bench => "matrix",
            Kind::Candidates => "candidates",
        },
        source: &sides.source,
        bandwidth_rule: BANDWIDTH_RULE,
        counts: Counts::of(&totals),
        probes: told,
        inputs: sides.inputs.iter().map(InputTold::of).collect(),
        pairs,
    })
}

/// The whole.
#[derive(Serialize)]
pub struct Report<'a> {
    /// Version of the program.
    pub flattop_version: &'static str,
    /// `matrix` or `candidates`.
    pub kind: &'static str,
    /// Where probes and inputs come from.
    pub source: &'a str,
    /// How `bandwidth_hz` and `transition_duration_s` are worked out.
    pub bandwidth_rule: &'static str,
    /// Pairs by what is said of them.
    pub counts: Counts,
    /// The probes: of a bench by name, candidates best first.
    pub probes: Vec<ProbeTold<'a>>,
    /// The inputs.
    pub inputs: Vec<InputTold<'a>>,
    /// Every pair, probe by probe; null with `--summary`.
    pub pairs: Option<Vec<Pair<'a>>>,
}

/// Pairs by what is said of them; wrong loads and pairs left out are counted apart.
#[derive(Serialize)]
pub struct Counts {
    /// All.
    pub pairs: usize,
    /// Reached for sure.
    pub reaches: usize,
    /// Nothing to balance.
    pub nothing_to_balance: usize,
    /// Tolerances leave it open.
    pub may_reach: usize,
    /// A value is missing.
    pub cannot_be_said: usize,
    /// Not reached.
    pub out_of_reach: usize,
    /// The input's resistance is not the one that the divider is made for.
    pub wrong_load: usize,
    /// Compensated probes on terminated inputs.
    pub left_out: usize,
}

impl Counts {
    fn of(totals: &Totals) -> Self {
        let count = |standing: Standing| totals.by_standing[standing as usize];
        Self {
            pairs: totals.pairs,
            reaches: count(Standing::Reaches),
            nothing_to_balance: count(Standing::NothingToBalance),
            may_reach: count(Standing::MayReach),
            cannot_be_said: count(Standing::CannotBeSaid),
            out_of_reach: count(Standing::OutOfReach),
            wrong_load: totals.wrong_load,
            left_out: totals.left_out,
        }
    }
}

/// A probe and what its row comes to.
#[derive(Serialize)]
pub struct ProbeTold<'a> {
    /// Place among candidates, from 1.
    pub rank: Option<usize>,
    /// Its name.
    pub id: &'a str,
    /// What people call it.
    pub label: Option<&'a str>,
    /// N.
    pub ratio: Option<f64>,
    /// Lower end of the compensation range as stated, F.
    pub range_least_f: Option<f64>,
    /// Upper end, F.
    pub range_most_f: Option<f64>,
    /// −3 dB frequency of the probe alone, Hz.
    pub bandwidth_hz: Option<f64>,
    /// Whether there is anything to balance.
    pub balances: bool,
    /// Why its numbers cannot be true together.
    pub error: Option<String>,
    /// Inputs that were judged.
    pub inputs: usize,
    /// Inputs left out.
    pub left_out: usize,
    /// Inputs it suits for sure.
    pub suits: usize,
    /// Whether these are all that were judged.
    pub suits_all: bool,
    /// Inputs that its tolerances leave open.
    pub may_reach: usize,
    /// Inputs of which a value is missing.
    pub cannot_be_said: usize,
    /// Inputs out of reach.
    pub out_of_reach: usize,
    /// Inputs that load it wrongly.
    pub wrong_load: usize,
    /// Where tolerances leave least of the margin.
    pub least_margin: Option<LeastMargin>,
    /// The e furthest from nil that tolerances allow at the best setting.
    pub worst_error: Option<AtInput>,
    /// The smallest bandwidth together with an input, Hz.
    pub least_bandwidth: Option<AtInput>,
}

/// The smallest margin.
#[derive(Serialize)]
pub struct LeastMargin {
    /// On which input.
    pub input: String,
    /// F.
    pub margin_f: f64,
    /// Sum of the tolerances, F; null where that of the input is not known.
    pub margin_tolerance_f: Option<f64>,
}

/// A value and the input that it belongs to.
#[derive(Serialize)]
pub struct AtInput {
    /// The input.
    pub input: String,
    /// The value.
    pub value: f64,
}

impl<'a> ProbeTold<'a> {
    fn of(sides: &'a Sides, kind: Kind, index: usize, rank: usize, sum: &Summary) -> Self {
        let probe = &sides.probes[index];
        let name = |input: usize| sides.inputs[input].id.to_string();
        let at =
            |found: Option<(usize, f64)>| found.map(|(input, value)| AtInput { input: name(input), value });
        let tolerance_known =
            |input: usize| sides.inputs[input].input.capacitance_f.is_some_and(|c| c.tolerance.is_some());
        Self {
            rank: (kind == Kind::Candidates).then_some(rank),
            id: probe.id.as_str(),
            label: probe.label.as_deref(),
            ratio: probe.ratio,
            range_least_f: probe.compensation_range_f.map(|range| range.low),
            range_most_f: probe.compensation_range_f.map(|range| range.high),
            bandwidth_hz: probe.bandwidth_hz,
            balances: sides.ready.balances(index),
            error: sides.ready.unfit(index).map(ToString::to_string),
            inputs: sum.judged,
            left_out: sum.left_out,
            suits: sum.suits,
            suits_all: sum.suits_all(),
            may_reach: sum.count(Standing::MayReach),
            cannot_be_said: sum.count(Standing::CannotBeSaid),
            out_of_reach: sum.count(Standing::OutOfReach),
            wrong_load: sum.wrong_load,
            least_margin: sum.least.map(|least| LeastMargin {
                input: name(least.input),
                margin_f: least.margin_f,
                margin_tolerance_f: tolerance_known(least.input).then_some(least.tolerance_f),
            }),
            worst_error: at(sum.worst_error),
            least_bandwidth: at(sum.least_bandwidth),
        }
    }
}

/// An input.
#[derive(Serialize)]
pub struct InputTold<'a> {
    /// Oscilloscope and input.
    pub id: String,
    /// What people call it.
    pub label: Option<&'a str>,
    /// F.
    pub capacitance_f: Option<f64>,
    /// Half-width, F.
    pub capacitance_tolerance_f: Option<f64>,
    /// Ω.
    pub resistance_ohm: Option<f64>,
    /// −3 dB frequency of the input alone, Hz.
    pub bandwidth_hz: Option<f64>,
}

impl<'a> InputTold<'a> {
    fn of(named: &'a NamedInput) -> Self {
        let input = &named.input;
        Self {
            id: named.id.to_string(),
            label: input.label.as_deref(),
            capacitance_f: input.capacitance_f.map(|c| c.value),
            capacitance_tolerance_f: input.capacitance_f.and_then(|c| c.tolerance),
            resistance_ohm: input.resistance_ohm.map(|r| r.value),
            bandwidth_hz: input.bandwidth_hz,
        }
    }
}

/// A pair.
#[derive(Serialize)]
pub struct Pair<'a> {
    /// The probe.
    pub probe: &'a str,
    /// The input.
    pub input: String,
    /// What is said of it.
    pub verdict: &'static str,
    /// Whether it does for sure.
    pub suits: bool,
    /// Distance from the nearest limit, F.
    pub margin_f: Option<f64>,
    /// Sum of the tolerances, F.
    pub margin_tolerance_f: Option<f64>,
    /// e that the best setting leaves.
    pub compensation_error: Option<f64>,
    /// Lowest and highest e that the tolerances allow.
    pub compensation_error_bounds: Option<Bounds>,
    /// −3 dB frequency of both together, Hz.
    pub bandwidth_hz: Option<f64>,
    /// 10–90 % transition duration of both together, s.
    pub transition_duration_s: Option<f64>,
    /// What a reading times the ratio is, over what is there.
    pub reads: Option<f64>,
    /// Whether that is off by more than 5 %.
    pub wrong_load: bool,
    /// Fields that are not known, such as `probe.tip_capacitance`.
    pub missing: Vec<String>,
}

/// Lowest and highest.
#[derive(Serialize)]
pub struct Bounds {
    /// Lowest.
    pub lowest: f64,
    /// Highest.
    pub highest: f64,
}

impl<'a> Pair<'a> {
    fn of(probe: &'a Probe, named: &NamedInput, cell: &Cell) -> Self {
        let of_probe = keys(cell.lacking, false).into_iter().map(|key| format!("probe.{key}"));
        let of_input = keys(cell.lacking, true).into_iter().map(|key| format!("input.{key}"));
        Self {
            probe: probe.id.as_str(),
            input: named.id.to_string(),
            verdict: standing_code(cell.standing),
            suits: cell.suits(),
            margin_f: cell.margin_f.and_then(finite),
            margin_tolerance_f: cell.tolerance_f.filter(|_| cell.tolerance_known),
            compensation_error: cell.error.and_then(finite),
            compensation_error_bounds: cell.error_bounds.map(|(lowest, highest)| Bounds { lowest, highest }),
            bandwidth_hz: cell.bandwidth_hz,
            transition_duration_s: cell.transition_s,
            reads: cell.reads,
            wrong_load: cell.wrong_load(),
            missing: of_probe.chain(of_input).collect(),
        }
    }
}
