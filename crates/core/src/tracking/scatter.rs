//! Whether captures scatter more than each of them states, told apart from a trimmer that is turned.

use std::collections::VecDeque;

/// Captures looked at.
const WINDOW: usize = 16;
/// Fewer say nothing.
const ENOUGH: usize = 12;
/// Mean squared successive difference over variance: 2 for figures without order, far less where they drift or step (J. von
/// Neumann, *Ann. Math. Stat.* 12 (1941) 367, from memory).
const WITHOUT_ORDER: f64 = 1.4;
/// Ratios below this are left to the averages: so much comes by chance from so few.
const NOTABLE: f64 = 1.8;
/// More is another trouble.
const MOST: f64 = 30.0;
/// Standard deviation over median absolute deviation of a normal distribution.
const NORMAL_MAD: f64 = 1.482_602_218_505_602;

/// The last captures, standardised.
#[derive(Clone, Debug)]
pub(super) struct Scatter {
    last: VecDeque<(f64, f64)>,
    ratio: f64,
}

impl Scatter {
    pub(super) fn new() -> Self {
        Self { last: VecDeque::new(), ratio: 1.0 }
    }

    /// How many times the stated scatter is seen; 1 where it explains what is seen.
    pub(super) fn ratio(&self) -> f64 {
        self.ratio
    }

    /// Takes an estimate of e with the scatter it states.
    pub(super) fn push(&mut self, e: f64, scatter: f64) {
        self.last.push_back((e, scatter));
        if self.last.len() > WINDOW {
            self.last.pop_front();
        }
        let count = self.last.len();
        if count < ENOUGH {
            return;
        }
        let stated = (self.last.iter().map(|(_, s)| s * s).sum::<f64>() / count as f64).sqrt();
        let mean = self.last.iter().map(|(e, _)| e).sum::<f64>() / count as f64;
        let squares: f64 = self.last.iter().map(|(e, _)| (e - mean) * (e - mean)).sum();
        let steps: f64 =
            self.last.iter().zip(self.last.iter().skip(1)).map(|((a, _), (b, _))| (b - a) * (b - a)).sum();
        if steps < WITHOUT_ORDER * squares {
            return;
        }
        // The median: one wild capture is no scatter.
        let middle = median(self.last.iter().map(|(e, _)| *e).collect());
        let spread = median(self.last.iter().map(|(e, _)| (e - middle).abs()).collect());
        let seen = NORMAL_MAD * spread / stated;
        self.ratio = if seen > NOTABLE { seen.min(MOST) } else { 1.0 };
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    0.5 * (values[(n - 1) / 2] + values[n / 2])
}
