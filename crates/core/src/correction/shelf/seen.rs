//! What the summary needs to know of all samples that passed by.

use multiversion::multiversion;

use super::super::Inside;
use super::super::median::Median;
use super::rows::PAST;

/// So many samples all count for the median, of those behind them one in so many.
const ALL: u64 = 1 << 16;
const SOME: usize = 16;

/// All that was seen, the first samples, whose uncertainty the start raises, apart from those behind them.
#[derive(Clone, Debug)]
pub(super) struct Passed {
    start_up: u64,
    first: Seen,
    behind: Seen,
    median: Median,
}

impl Passed {
    pub(super) fn new(start_up: u64) -> Self {
        Self { start_up, first: Seen::NOTHING, behind: Seen::NOTHING, median: Median::new() }
    }

    /// How many of so many samples behind the first `count` may be taken in at once: all of them lie on one side of the start-up's end.
    pub(super) fn at_once(&self, count: u64, samples: usize) -> usize {
        match self.start_up.saturating_sub(count) {
            0 => samples,
            left => samples.min(left as usize),
        }
    }

    pub(super) fn start_up_samples(&self, count: u64) -> u64 {
        self.start_up.min(count)
    }

    /// Takes in the samples from number `count` on; all three as long as each other.
    pub(super) fn take(&mut self, count: u64, variance: &[f64], rho: &[f64], jump: &[f64]) {
        if count < self.start_up {
            see_all(&mut self.first, variance, rho, jump);
            return;
        }
        see_all(&mut self.behind, variance, rho, jump);
        let (every, weight) = if count < ALL { (1, 1) } else { (SOME, SOME as u32) };
        let first = (SOME - (count % SOME as u64) as usize) % every;
        variance.iter().skip(first).step_by(every).for_each(|variance| self.median.take(*variance, weight));
    }

    pub(super) fn all(&self) -> Seen {
        self.first.and(&self.behind)
    }

    /// Median and greatest standard uncertainty behind the start-up.
    pub(super) fn inside(&self) -> Option<Inside> {
        let greatest_u = self.behind.most.of_all().max(0.0).sqrt();
        self.median.value().map(|variance| Inside { median_u: variance.sqrt(), greatest_u })
    }
}

/// The greatest number seen, side by side, since one comparison waits for the one before.
#[derive(Clone, Copy, Debug)]
pub(super) struct Greatest([f64; PAST]);

impl Greatest {
    const NONE: Self = Self([f64::NEG_INFINITY; PAST]);

    #[inline(always)]
    fn see(&mut self, lane: usize, value: f64) {
        let place = &mut self.0[lane];
        *place = if value > *place { value } else { *place };
    }

    pub(super) fn of_all(self) -> f64 {
        self.0.into_iter().fold(f64::NEG_INFINITY, f64::max)
    }
}

/// What the summary needs to know of all samples.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    /// Of minus the variance.
    pub(super) least: Greatest,
    pub(super) most: Greatest,
    pub(super) sum: [f64; PAST],
    pub(super) rho: Greatest,
    pub(super) jump: Greatest,
}

impl Seen {
    const NOTHING: Self = Self {
        least: Greatest::NONE,
        most: Greatest::NONE,
        sum: [0.0; PAST],
        rho: Greatest::NONE,
        jump: Greatest::NONE,
    };

    /// What was seen in both.
    fn and(&self, other: &Self) -> Self {
        let both = |a: &Greatest, b: &Greatest| Greatest(std::array::from_fn(|k| a.0[k].max(b.0[k])));
        Self {
            least: both(&self.least, &other.least),
            most: both(&self.most, &other.most),
            sum: std::array::from_fn(|k| self.sum[k] + other.sum[k]),
            rho: both(&self.rho, &other.rho),
            jump: both(&self.jump, &other.jump),
        }
    }

    #[inline(always)]
    fn see(&mut self, variance: [f64; PAST], rho: [f64; PAST], jump: [f64; PAST]) {
        for lane in 0..PAST {
            self.least.see(lane, -variance[lane]);
            self.most.see(lane, variance[lane]);
            self.rho.see(lane, rho[lane].abs());
            self.jump.see(lane, jump[lane]);
            self.sum[lane] += variance[lane];
        }
    }
}

/// Takes in samples; all three as long as each other.
#[multiversion(targets("x86_64+avx2"))]
fn see_all(all: &mut Seen, variance: &[f64], rho: &[f64], jump: &[f64]) {
    let mut seen = *all;
    let groups = variance.chunks(PAST).zip(rho.chunks(PAST)).zip(jump.chunks(PAST));
    for ((variance, rho), jump) in groups {
        if let (&[a, b, c, d], &[e, f, g, h], &[i, j, k, l]) = (variance, rho, jump) {
            seen.see([a, b, c, d], [e, f, g, h], [i, j, k, l]);
        } else {
            for ((variance, rho), jump) in variance.iter().zip(rho).zip(jump) {
                seen.least.see(0, -variance);
                seen.most.see(0, *variance);
                seen.rho.see(0, rho.abs());
                seen.jump.see(0, *jump);
                seen.sum[0] += variance;
            }
        }
    }
    *all = seen;
}
