//! What people and programs read of every probe on every input: table, JSON, CSV, picture; and the same of candidates, best first.

pub mod csv;
pub mod json;
mod plot;
mod ranges;
mod text;

use flattop_core::bench::{Input, InputId, Probe};
use flattop_core::reach_matrix::{Cell, Inputs, LackingSet, Probes, Row, Standing, Summary};

use crate::format::{plain, significant};

pub use plot::{MOST_DRAWN, TooMany, png, svg};
pub use ranges::{MOST_RANGES, ranges_png, ranges_svg};
pub use text::{candidates, matrix};

/// How the bandwidth of a pair is worked out, in one sentence.
pub const BANDWIDTH_RULE: &str = "bandwidth of probe and input together: 1/B² = 1/Bp² + 1/Bi², exact for two Gaussian responses; \
     transition duration: root sum of squares, with the product of transition duration and bandwidth of the input's stated response, and \
     that of a Gaussian (0.340) where none is stated";

/// An input with its name on the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedInput {
    /// Oscilloscope and input.
    pub id: InputId,
    /// What is known of it.
    pub input: Input,
}

/// Probes and inputs, as they are known and as the core takes them, in the same order.
#[derive(Clone, Debug)]
pub struct Sides {
    /// Where they come from, for people.
    pub source: String,
    /// The probes.
    pub probes: Vec<Probe>,
    /// The inputs.
    pub inputs: Vec<NamedInput>,
    /// The probes, made ready.
    pub ready: Probes,
    /// The inputs, made ready.
    pub loads: Inputs,
}

impl Sides {
    /// Makes both sides ready.
    pub fn new(source: String, probes: Vec<Probe>, inputs: Vec<NamedInput>) -> Self {
        let ready = Probes::of(&probes);
        let loads = Inputs::of(inputs.iter().map(|named| &named.input));
        Self { source, probes, inputs, ready, loads }
    }

    /// How many pairs.
    pub fn pairs(&self) -> usize {
        self.probes.len() * self.inputs.len()
    }
}

/// Everything said of the pairs of a bench.
#[derive(Clone, Debug)]
pub struct Compatibility {
    /// Who with whom.
    pub sides: Sides,
    /// One row for each probe; empty where only sums are wanted.
    pub rows: Vec<Row>,
    /// What each row comes to.
    pub sums: Vec<Summary>,
}

/// Whether pairs are told, or only what each probe comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Extent {
    /// Every pair.
    Pairs,
    /// Each probe.
    Sums,
}

/// What the probes are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Those on the bench, in the order of their names.
    Bench,
    /// Candidates, best first.
    Candidates,
}

/// The stable name of what is said of a pair, as JSON and CSV write it.
pub fn standing_code(standing: Standing) -> &'static str {
    match standing {
        Standing::Reaches => "reaches",
        Standing::NothingToBalance => "nothing-to-balance",
        Standing::MayReach => "may-reach",
        Standing::CannotBeSaid => "cannot-be-said",
        Standing::OutOfReach => "out-of-reach",
    }
}

/// The sums of all probes together: pairs by standing (wrong loads apart), pairs with a wrong load, pairs left out.
pub(crate) struct Totals {
    pub(crate) by_standing: [usize; Standing::ALL.len()],
    pub(crate) wrong_load: usize,
    pub(crate) left_out: usize,
    pub(crate) pairs: usize,
}

impl Totals {
    pub(crate) fn of(sums: &[Summary]) -> Self {
        let mut all = Self { by_standing: [0; 5], wrong_load: 0, left_out: 0, pairs: 0 };
        for sum in sums {
            for (total, count) in all.by_standing.iter_mut().zip(sum.standings) {
                *total += count;
            }
            all.wrong_load += sum.wrong_load;
            all.left_out += sum.left_out;
            all.pairs += sum.judged + sum.left_out;
        }
        all
    }

    pub(crate) fn words(&self) -> String {
        let named = |standing: Standing| {
            let (one, many) = match standing {
                Standing::Reaches => ("reaches", "reach"),
                Standing::NothingToBalance => ("has nothing to balance", "have nothing to balance"),
                Standing::MayReach => ("may reach", "may reach"),
                Standing::CannotBeSaid => ("cannot be said", "cannot be said"),
                Standing::OutOfReach => ("is out of reach", "are out of reach"),
            };
            (self.by_standing[standing as usize], one, many)
        };
        let mut parts: Vec<(usize, &str, &str)> = Standing::ALL.into_iter().map(named).collect();
        parts.push((self.wrong_load, "has a wrong load", "have a wrong load"));
        let left_out = "left out (a compensated probe on a terminated input)";
        let words = [format!("is {left_out}"), format!("are {left_out}")];
        parts.push((self.left_out, &words[0], &words[1]));
        let parts: Vec<String> = parts
            .into_iter()
            .filter(|(count, ..)| *count > 0)
            .map(|(count, one, many)| format!("{count} {}", if count == 1 { one } else { many }))
            .collect();
        parts.join(", ")
    }
}

/// `12 probes`, `1 probe`.
pub(crate) fn counted(count: usize, thing: &str) -> String {
    format!("{count} {thing}{}", if count == 1 { "" } else { "s" })
}

/// Picofarads without unit, three digits.
pub(crate) fn pico(farads: f64) -> String {
    significant(1e12 * farads, 3)
}

/// `8 to 18 pF`; `-` where it is not known.
pub(crate) fn range_words(probe: &Probe) -> String {
    match probe.compensation_range_f {
        Some(range) if range.low < range.high => format!("{} to {} pF", pico(range.low), pico(range.high)),
        Some(range) => format!("{} pF", pico(range.low)),
        None => "-".into(),
    }
}

/// ` ± 2`, ` ± ?` where that of the input is not known, nothing where it is nil.
pub(crate) fn tolerance_words(sides: &Sides, input: usize, tolerance_f: f64) -> String {
    let known = sides.inputs[input].input.capacitance_f.is_some_and(|c| c.tolerance.is_some());
    match (known, tolerance_f > 0.0) {
        (false, false) => " ± ?".into(),
        (false, true) => format!(" ± {} + ?", pico(tolerance_f)),
        (true, true) => format!(" ± {}", pico(tolerance_f)),
        (true, false) => String::new(),
    }
}

/// `20 ± 2 pF`, `20 ± ? pF` where the tolerance is not known, `20 pF` where it is nil, `? pF`.
pub(crate) fn capacitance_words(input: &Input) -> String {
    match input.capacitance_f {
        Some(c) => match c.tolerance {
            Some(tolerance) if tolerance > 0.0 => format!("{} ± {} pF", pico(c.value), pico(tolerance)),
            Some(_) => format!("{} pF", pico(c.value)),
            None => format!("{} ± ? pF", pico(c.value)),
        },
        None => "? pF".into(),
    }
}

/// What a wrong load does to a reading: `reads 10 times too high`, `reads 0.0056 % of what is there`.
pub(crate) fn load_words(cell: &Cell) -> Option<String> {
    let reads = cell.reads.filter(|_| cell.wrong_load())?;
    Some(if reads >= 2.0 {
        format!("reads {} times what is there", significant(reads, 3))
    } else {
        format!("reads {} % of what is there", significant(100.0 * reads, 2))
    })
}

/// A frequency as people write it, or `-`.
pub(crate) fn frequency(hertz: Option<f64>) -> String {
    hertz.map_or_else(|| "-".into(), |f| plain(f, "Hz", 3))
}

/// The missing values of one probe or one input, by the names of their fields.
pub(crate) fn keys(lacking: LackingSet, of_input: bool) -> Vec<&'static str> {
    lacking.iter().filter(|value| value.is_of_input() == of_input).map(|value| value.key()).collect()
}

#[cfg(test)]
mod tests;
