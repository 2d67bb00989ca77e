//! Propagation of distributions by Monte Carlo, adaptive (JCGM 101, 7.9) or with a given number of trials.
//!
//! Trials come in blocks of [`BLOCK`] (more for coverage probabilities near 1). Each block depends on the seed and its number alone; who
//! computes it is the caller's affair ([`run`] takes a function that spreads block numbers over workers), and blocks are put
//! together in their order. So the answer is the same, to the last bit, for any number of workers.

use std::ops::Range;

use multiversion::multiversion;

use super::interval::Interval;
use super::quantities::Quantities;
use super::tails::{Tails, Thresholds};
use super::validation::numerical_tolerance;

/// Trials of a block, for coverage probabilities up to 0.99 (JCGM 101, 7.9.4 b: M = max(J, 10⁴) with J ≥ 100/(1 − p)).
pub const BLOCK: usize = 10_000;

/// Trials that a model gets at once.
const STRIP: usize = 1000;

/// Blocks handed out at once; the stopping rule looks at each of them in order, so that this does not bear on the answer.
const BATCH: u64 = 16;

/// A measurement model with one result or several.
pub trait Model: Sync {
    /// How many results.
    fn outputs(&self) -> usize;
    /// Results of some trials: `inputs[i][k]` is input i of trial k, `outputs[j][k]` result j. A trial without a result gets NaN.
    fn evaluate(&self, inputs: &[&[f64]], outputs: &mut [&mut [f64]]);
}

/// A model given as a function of the inputs of one trial.
pub struct PerTrial<F> {
    /// How many results.
    pub outputs: usize,
    /// Writes the results of one trial.
    pub function: F,
}

impl<F: Fn(&[f64], &mut [f64]) + Sync> Model for PerTrial<F> {
    fn outputs(&self) -> usize {
        self.outputs
    }

    fn evaluate(&self, inputs: &[&[f64]], outputs: &mut [&mut [f64]]) {
        let mut x = vec![0.0; inputs.len()];
        let mut y = vec![0.0; self.outputs];
        for trial in 0..outputs.first().map_or(0, |o| o.len()) {
            for (x, column) in x.iter_mut().zip(inputs) {
                *x = column[trial];
            }
            (self.function)(&x, &mut y);
            for (y, column) in y.iter().zip(outputs.iter_mut()) {
                column[trial] = *y;
            }
        }
    }
}

/// When to stop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stop {
    /// After so many trials, rounded up to whole blocks.
    Trials(u64),
    /// When y, u and both ends of the symmetric interval are known to a share of the numerical tolerance, each by twice its standard
    /// deviation over blocks (JCGM 101, 7.9.4).
    Adaptive {
        /// Digits of u that count, for the numerical tolerance δ.
        digits: u8,
        /// Share of δ: 1, or 0.2 for a comparison by clause 8 (JCGM 101, 8.2).
        share: f64,
        /// No more trials than this, rounded up to whole blocks.
        most_trials: u64,
    },
}

/// How a run goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Where the random numbers come from.
    pub seed: u64,
    /// p, above 0 and below 1.
    pub probability: f64,
    /// When to stop.
    pub stop: Stop,
    /// Bins of the histogram of each result; 0 for none.
    pub bins: usize,
}

/// Why a run has no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MonteCarloError {
    /// Not a probability, or too near to 1.
    #[error("coverage probability is {given}: give one above 0 and at most 0.9999, such as 0.95")]
    Probability {
        /// As given.
        given: f64,
    },
    /// No trials.
    #[error("number of trials is {given}: give {least} or more")]
    Trials {
        /// As given.
        given: u64,
        /// The least.
        least: u64,
    },
    /// Some trials led nowhere.
    #[error(
        "{count} of {trials} trials have no result (result {output}): the inputs reach values for which the model has none; make their \
         uncertainties smaller"
    )]
    NotFinite {
        /// Number of the result, from 0.
        output: usize,
        /// How many.
        count: u64,
        /// Of how many.
        trials: u64,
    },
}

/// Counts of a result in equal bins.
#[derive(Clone, Debug, PartialEq)]
pub struct Histogram {
    /// Lower end of the first bin.
    pub low: f64,
    /// Upper end of the last bin.
    pub high: f64,
    /// Trials in each bin; what lies outside is not counted.
    pub counts: Vec<u64>,
}

/// What is known of one result.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// y: the mean of all trials.
    pub mean: f64,
    /// u: their standard deviation.
    pub standard_uncertainty: f64,
    /// The probabilistically symmetric coverage interval.
    pub symmetric: Interval,
    /// The shortest coverage interval.
    pub shortest: Interval,
    /// Twice the standard deviation, over blocks, of y, of u, and of both ends of the symmetric interval: how far each may be off.
    pub doubt: [f64; 4],
    /// The same for both ends of the shortest interval.
    pub shortest_doubt: [f64; 2],
    /// δ for the stopping rule; `None` where none was asked for.
    pub tolerance: Option<f64>,
    /// Where one was asked for.
    pub histogram: Option<Histogram>,
}

/// The result of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Trials made.
    pub trials: u64,
    /// Whether the stopping rule was met; `None` where there was none.
    pub is_stable: Option<bool>,
    /// For each result of the model.
    pub results: Vec<Summary>,
}

/// What one block of trials says; to be handed back to [`run`].
#[derive(Clone, Debug)]
pub struct Block {
    parts: Vec<Part>,
}

/// One result in one block.
#[derive(Clone, Debug)]
struct Part {
    /// Trials with a result that is a number.
    finite: u64,
    mean: f64,
    /// Sum of squared distances from it.
    squares: f64,
    tails: Tails,
    intervals: Option<(Interval, Interval)>,
    counts: Vec<u32>,
}

/// What is decided after the first block, for each result.
struct Frame {
    thresholds: Thresholds,
    low: f64,
    high: f64,
}

/// Spreads block numbers over nobody: one after the other.
pub fn in_turn(numbers: Range<u64>, work: &(dyn Fn(u64) -> Block + Sync)) -> Vec<Block> {
    numbers.map(work).collect()
}

/// Shares out numbered blocks of trials: calls the function for each number of the range, in any order and on any threads, and
/// returns the blocks in the order of their numbers.
pub type Sharing<'a> = &'a dyn Fn(Range<u64>, Trial<'_>) -> Vec<Block>;

/// One block of trials, by its number.
pub type Trial<'a> = &'a (dyn Fn(u64) -> Block + Sync);

/// Runs the trials. `spread` calls its function for each number of the range, in any order and on any threads, and returns the
/// blocks in the order of their numbers; see [`in_turn`].
///
/// # Errors
/// [`MonteCarloError`].
pub fn run(
    quantities: &Quantities,
    model: &dyn Model,
    settings: &Settings,
    spread: Sharing<'_>,
) -> Result<Outcome, MonteCarloError> {
    let p = settings.probability;
    if !(p > 0.0 && p <= 0.9999) {
        return Err(MonteCarloError::Probability { given: p });
    }
    let trials_each = BLOCK.max((100.0 / (1.0 - p)).ceil() as usize);
    let most = match settings.stop {
        Stop::Trials(trials) | Stop::Adaptive { most_trials: trials, .. } => trials,
    };
    let least = trials_each as u64;
    // Spread over blocks is what tells how exact the answer is.
    let blocks = most.div_ceil(least).max(2);
    if most < 1 {
        return Err(MonteCarloError::Trials { given: most, least });
    }
    let mut widening = 1.0;
    loop {
        let trials = Trials { quantities, model, settings, trials_each };
        if let Some(outcome) = trials.run(blocks, widening, spread)? {
            return Ok(outcome);
        }
        // Chances of one in 10⁹, or a model with steps: at last all values are kept.
        widening *= 8.0;
    }
}

struct Trials<'a> {
    quantities: &'a Quantities,
    model: &'a dyn Model,
    settings: &'a Settings,
    trials_each: usize,
}

impl Trials<'_> {
    /// `None` where the thresholds let too little through.
    fn run(
        &self,
        blocks: u64,
        widening: f64,
        spread: Sharing<'_>,
    ) -> Result<Option<Outcome>, MonteCarloError> {
        let frames = self.frames(widening);
        let work = |number: u64| self.block(number, &frames);
        let mut kept: Vec<Block> = Vec::new();
        let mut rule = Rule::new(self.model.outputs(), self.trials_each);
        let mut is_stable = false;
        'batches: while (kept.len() as u64) < blocks {
            let from = kept.len() as u64;
            for block in spread(from..(from + BATCH).min(blocks), &work) {
                self.all_finite(&block)?;
                rule.add(&block);
                kept.push(block);
                if let Stop::Adaptive { digits, share, .. } = self.settings.stop
                    && rule.is_met(digits, share)
                {
                    is_stable = true;
                    break 'batches;
                }
            }
        }
        let results: Option<Vec<Summary>> = (0..self.model.outputs())
            .map(|output| self.summary(output, &kept, &rule, &frames[output]))
            .collect();
        Ok(results.map(|results| Outcome {
            trials: kept.len() as u64 * self.trials_each as u64,
            is_stable: matches!(self.settings.stop, Stop::Adaptive { .. }).then_some(is_stable),
            results,
        }))
    }

    fn all_finite(&self, block: &Block) -> Result<(), MonteCarloError> {
        let trials = self.trials_each as u64;
        match block.parts.iter().position(|part| part.finite < trials) {
            None => Ok(()),
            Some(output) => {
                let count = trials - block.parts[output].finite;
                Err(MonteCarloError::NotFinite { output, count, trials })
            }
        }
    }

    fn values(&self, number: u64) -> Vec<Vec<f64>> {
        let mut inputs = vec![vec![0.0; self.trials_each]; self.quantities.list().len()];
        self.quantities.draw(self.settings.seed, number, &mut inputs);
        let mut outputs = vec![vec![0.0; self.trials_each]; self.model.outputs()];
        for from in (0..self.trials_each).step_by(STRIP) {
            let strip = from..(from + STRIP).min(self.trials_each);
            let inputs: Vec<&[f64]> = inputs.iter().map(|c| &c[strip.clone()]).collect();
            let mut outputs: Vec<&mut [f64]> = outputs.iter_mut().map(|c| &mut c[strip.clone()]).collect();
            self.model.evaluate(&inputs, &mut outputs);
        }
        outputs
    }

    fn frames(&self, widening: f64) -> Vec<Frame> {
        let frame = |mut values: Vec<f64>| {
            values.sort_unstable_by(f64::total_cmp);
            let thresholds = Thresholds::of(&values, self.settings.probability, widening);
            let (low, high) = (values[0], values[values.len() - 1]);
            let margin = 0.05 * (high - low);
            Frame { thresholds, low: low - margin, high: high + margin }
        };
        self.values(0).into_iter().map(frame).collect()
    }

    fn block(&self, number: u64, frames: &[Frame]) -> Block {
        let mut room = Default::default();
        let parts =
            self.values(number).into_iter().zip(frames).map(|(v, frame)| self.part(&v, frame, &mut room));
        Block { parts: parts.collect() }
    }

    fn part(&self, values: &[f64], frame: &Frame, room: &mut [Vec<i64>; 2]) -> Part {
        let count = values.len() as f64;
        // About a value among them, so that no digits are lost.
        let about = values[0];
        let (sum, products) = sums(values, about);
        let squares = (products - sum * sum / count).max(0.0);
        // Infinite and undefined values make the sum of squares one of the two.
        let finite = if products.is_finite() {
            values.len() as u64
        } else {
            values.iter().filter(|v| v.is_finite()).count() as u64
        };
        let p = self.settings.probability;
        let tails = Tails::of(values, frame.thresholds, p, room);
        let intervals = tails.intervals(values.len(), p);
        let mut counts = vec![0u32; self.settings.bins];
        if self.settings.bins > 0 && frame.high > frame.low {
            let scale = self.settings.bins as f64 / (frame.high - frame.low);
            for value in values {
                let bin = (value - frame.low) * scale;
                if bin >= 0.0
                    && let Some(count) = counts.get_mut(bin as usize)
                {
                    *count += 1;
                }
            }
        }
        Part { finite, mean: about + sum / count, squares, tails, intervals, counts }
    }

    fn summary(&self, output: usize, blocks: &[Block], rule: &Rule, frame: &Frame) -> Option<Summary> {
        let spread = &rule.results[output];
        let count = blocks.len() * self.trials_each;
        let mut tails = Tails::default();
        let mut counts = vec![0u64; self.settings.bins];
        for block in blocks {
            let part = &block.parts[output];
            tails.join(&part.tails, frame.thresholds);
            for (sum, count) in counts.iter_mut().zip(&part.counts) {
                *sum += u64::from(*count);
            }
        }
        tails.sort();
        let (shortest, symmetric) = tails.intervals(count, self.settings.probability)?;
        let doubt = std::array::from_fn(|k| spread.doubt(k));
        let standard_uncertainty = spread.standard_uncertainty();
        Some(Summary {
            mean: spread.mean,
            standard_uncertainty,
            symmetric,
            shortest,
            doubt,
            shortest_doubt: [spread.doubt(4), spread.doubt(5)],
            tolerance: match self.settings.stop {
                Stop::Adaptive { digits, .. } => Some(numerical_tolerance(standard_uncertainty, digits)),
                Stop::Trials(_) => None,
            },
            histogram: (self.settings.bins > 0).then_some(Histogram {
                low: frame.low,
                high: frame.high,
                counts,
            }),
        })
    }
}

/// Sums of the distances from a number and of their squares; several at a time, so that they do not wait for each other.
#[multiversion(targets("x86_64+avx2"))]
fn sums(values: &[f64], about: f64) -> (f64, f64) {
    let (mut sums, mut products) = ([0.0; 4], [0.0; 4]);
    let mut fours = values.chunks_exact(4);
    for four in &mut fours {
        for k in 0..4 {
            let d = four[k] - about;
            sums[k] += d;
            products[k] += d * d;
        }
    }
    for (k, value) in fours.remainder().iter().enumerate() {
        let d = value - about;
        sums[k] += d;
        products[k] += d * d;
    }
    (sums.iter().sum(), products.iter().sum())
}

/// The stopping rule: what blocks say of y, u and the ends, and how far apart they are.
struct Rule {
    trials_each: usize,
    results: Vec<Spread>,
}

/// One result over blocks.
#[derive(Clone, Debug, Default)]
struct Spread {
    blocks: f64,
    trials: f64,
    mean: f64,
    squares: f64,
    /// Mean and sum of squared distances of y, u, both symmetric and both shortest ends, over blocks.
    figures: [(f64, f64); 6],
}

impl Spread {
    fn add(&mut self, part: &Part, trials: f64) {
        // Two sets of values put together (T. F. Chan et al., 1979; from memory).
        let apart = part.mean - self.mean;
        let all = self.trials + trials;
        self.squares += part.squares + apart * apart * self.trials * trials / all;
        self.mean += apart * trials / all;
        self.trials = all;
        self.blocks += 1.0;
        let nan = Interval { low: f64::NAN, high: f64::NAN };
        let (shortest, symmetric) = part.intervals.unwrap_or((nan, nan));
        let u = (part.squares / (trials - 1.0)).sqrt();
        let now = [part.mean, u, symmetric.low, symmetric.high, shortest.low, shortest.high];
        for ((mean, squares), value) in self.figures.iter_mut().zip(now) {
            let apart = value - *mean;
            *mean += apart / self.blocks;
            *squares += apart * (value - *mean);
        }
    }

    fn standard_uncertainty(&self) -> f64 {
        (self.squares / (self.trials - 1.0)).sqrt()
    }

    /// Twice the standard deviation of the mean over blocks.
    fn doubt(&self, figure: usize) -> f64 {
        2.0 * (self.figures[figure].1.max(0.0) / (self.blocks * (self.blocks - 1.0))).sqrt()
    }
}

impl Rule {
    fn new(outputs: usize, trials_each: usize) -> Self {
        Self { trials_each, results: vec![Spread::default(); outputs] }
    }

    fn add(&mut self, block: &Block) {
        for (spread, part) in self.results.iter_mut().zip(&block.parts) {
            spread.add(part, self.trials_each as f64);
        }
    }

    fn is_met(&self, digits: u8, share: f64) -> bool {
        self.results.iter().all(|spread| {
            let tolerance = share * numerical_tolerance(spread.standard_uncertainty(), digits);
            spread.blocks > 1.0 && (0..4).all(|k| spread.doubt(k) <= tolerance)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Distribution, Quantity};
    use super::*;
    use flattop_close::{assert_close, relative, within};

    fn quantities(count: usize) -> Quantities {
        let one = |k| Quantity::known(format!("x{k}"), Distribution::Normal { mean: 0.0, deviation: 1.0 });
        Quantities::new((0..count).map(one).collect(), Vec::new()).unwrap()
    }

    fn sum() -> PerTrial<impl Fn(&[f64], &mut [f64]) + Sync> {
        PerTrial { outputs: 1, function: |x: &[f64], y: &mut [f64]| y[0] = x.iter().sum() }
    }

    fn settings(stop: Stop) -> Settings {
        Settings { seed: 1, probability: 0.95, stop, bins: 20 }
    }

    /// JCGM 101, 9.2.2: four standard normal inputs; u = 2, and 1.959 964·2 to either side.
    #[test]
    fn four_normal_inputs() {
        let stop = Stop::Adaptive { digits: 2, share: 1.0, most_trials: 10_000_000 };
        let outcome = run(&quantities(4), &sum(), &settings(stop), &in_turn).unwrap();
        let result = &outcome.results[0];
        assert_eq!(outcome.is_stable, Some(true));
        assert!(outcome.trials < 1_000_000, "{}", outcome.trials);
        assert_close!(result.tolerance.unwrap(), 0.05, relative(1e-12));
        assert_close!(result.mean, 0.0, within(0.05));
        assert_close!(result.standard_uncertainty, 2.0, within(0.05));
        assert_close!(result.symmetric.low, -3.919_928, within(0.05));
        assert_close!(result.symmetric.high, 3.919_928, within(0.05));
        assert_close!(result.shortest.length(), 2.0 * 3.919_928, within(0.1));
        let counted: u64 = result.histogram.as_ref().unwrap().counts.iter().sum();
        assert!(counted > outcome.trials - 100 && counted <= outcome.trials);
    }

    #[test]
    fn the_answer_does_not_depend_on_who_computes_what() {
        let backwards = |range: Range<u64>, work: &(dyn Fn(u64) -> Block + Sync)| {
            let mut blocks: Vec<Block> = range.rev().map(work).collect();
            blocks.reverse();
            blocks
        };
        let stop = Stop::Trials(200_000);
        let one = run(&quantities(2), &sum(), &settings(stop), &in_turn).unwrap();
        let other = run(&quantities(2), &sum(), &settings(stop), &backwards).unwrap();
        assert_eq!(one, other);
        let elsewhere = Settings { seed: 2, ..settings(stop) };
        assert_ne!(one, run(&quantities(2), &sum(), &elsewhere, &in_turn).unwrap());
    }

    #[test]
    fn an_input_without_width_gives_a_result_without_width() {
        let fixed = Distribution::Normal { mean: 3.0, deviation: 0.0 };
        let quantities = Quantities::new(vec![Quantity::known("x", fixed)], Vec::new()).unwrap();
        let stop = Stop::Adaptive { digits: 2, share: 0.2, most_trials: 100_000 };
        let outcome = run(&quantities, &sum(), &settings(stop), &in_turn).unwrap();
        assert_close!(outcome.results[0].mean, 3.0, within(0.0));
        assert_close!(outcome.results[0].symmetric.length(), 0.0, within(0.0));
        assert_eq!(outcome.trials, 20_000);
    }

    #[test]
    fn trials_without_a_result_are_refused() {
        let root = PerTrial { outputs: 1, function: |x: &[f64], y: &mut [f64]| y[0] = x[0].sqrt() };
        let error = run(&quantities(1), &root, &settings(Stop::Trials(10_000)), &in_turn).unwrap_err();
        let MonteCarloError::NotFinite { count, trials: 10_000, .. } = error else { panic!("{error}") };
        assert!((4_800..5_200).contains(&count));
        let certain = Settings { probability: 1.0, ..settings(Stop::Trials(1)) };
        assert!(run(&quantities(1), &sum(), &certain, &in_turn).is_err());
    }

    /// A result that takes few values only: ties at the thresholds.
    #[test]
    fn a_model_with_steps() {
        let steps = PerTrial { outputs: 1, function: |x: &[f64], y: &mut [f64]| y[0] = x[0].round() };
        let outcome = run(&quantities(1), &steps, &settings(Stop::Trials(100_000)), &in_turn).unwrap();
        assert_close!(outcome.results[0].symmetric.low, -2.0, within(0.0));
        assert_close!(outcome.results[0].symmetric.high, 2.0, within(0.0));
    }
}
