//! Whether a series of figures still has the mean it had: two cumulative sums, one for each way.
//!
//! Each figure comes standardised: minus the mean so far, over the standard deviation of that difference. While nothing
//! changes, such figures are independent and standard normal whatever the mean is (recursive residuals: R. L. Brown, J. Durbin
//! and J. M. Evans, *J. R. Stat. Soc. B* 37 (1975) 149, from memory). The sums are those of E. S. Page, *Biometrika* 41 (1954) 100,
//! as ISO 7870-4 tabulates them; of all rules with the same rate of false alarms they need the fewest figures for a change of
//! twice the reference value (G. Lorden, *Ann. Math. Stat.* 42 (1971) 1897, in the limit). A change that is large at once
//! need not add up (J. M. Lucas, *J. Qual. Technol.* 14 (1982) 51: sums beside limits for the single figure). All from memory.

/// Reference value k of the sums: half of the change, in standard deviations, that is found soonest.
pub const REFERENCE: f64 = 0.5;
/// Decision limit h of the sums. With h = 5 and k = 0.5 the tables have one false alarm in 465 figures, counted from sums at nil
/// each time. Here a false alarm leaves a mean that chance has picked, and a step back follows often: the half above makes
/// up for that.
pub const LIMIT: f64 = 5.5;
/// A single figure beyond this is a change by itself. Chance does it once in 147,000.
pub const AT_ONCE: f64 = 4.5;
/// Means of two groups further apart than so many standard deviations of their difference are two means: generalised likelihood
/// ratio for a change at a given place (M. Basseville and I. V. Nikiforov, *Detection of Abrupt Changes*, 1993, 2.4.3, from memory).
pub const APART: f64 = 4.0;
/// Between two false alarms lie at least so many figures in the mean, steps back included.
pub const FALSE_ALARM_EVERY: f64 = 465.0;

/// Two cumulative sums.
#[derive(Clone, Copy, Debug)]
pub struct Detector {
    limit: f64,
    at_once: f64,
    up: Sum,
    down: Sum,
}

#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    value: f64,
    /// Figures since it was nil.
    run: usize,
}

impl Sum {
    fn add(&mut self, figure: f64) {
        self.value = (self.value + figure - REFERENCE).max(0.0);
        self.run = if self.value > 0.0 { self.run + 1 } else { 0 };
    }
}

/// A change of the mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// The last so many figures, the newest included, come after it; at least 1.
    pub figures_since: usize,
}

impl Detector {
    /// With decision limit `limit` and a limit for a single figure; [`LIMIT`] and [`AT_ONCE`] are those used here.
    pub fn new(limit: f64, at_once: f64) -> Self {
        Self { limit, at_once, up: Sum::default(), down: Sum::default() }
    }

    /// Takes a standardised figure; after a change the sums are nil again.
    pub fn push(&mut self, figure: f64) -> Option<Change> {
        self.up.add(figure);
        self.down.add(-figure);
        let figures_since = if figure.abs() > self.at_once {
            1
        } else if self.up.value > self.limit {
            self.up.run
        } else if self.down.value > self.limit {
            self.down.run
        } else {
            return None;
        };
        *self = Self::new(self.limit, self.at_once);
        Some(Change { figures_since })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    use rand_xoshiro::Xoshiro256PlusPlus;

    /// Mean number of figures until an alarm, each run from nil, figures with mean `shift`.
    fn mean_run(shift: f64, limit: f64, runs: usize) -> f64 {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(41);
        let mut total = 0usize;
        for _ in 0..runs {
            let mut detector = Detector::new(limit, f64::INFINITY);
            loop {
                total += 1;
                let normal: f64 = StandardNormal.sample(&mut rng);
                if detector.push(normal + shift).is_some() {
                    break;
                }
            }
        }
        total as f64 / runs as f64
    }

    #[test]
    fn mean_runs_are_those_of_the_tables() {
        // NIST/SEMATECH e-Handbook 6.3.2.3 (D. M. Hawkins, one-sided 336 and 930), k = 0.5; D. C. Montgomery,
        // *Statistical Quality Control*, table 9.3: two-sided 168 and 465; from memory.
        for (shift, limit, table, allowed) in [
            (0.0, 4.0, 168.0, 0.06),
            (0.0, 5.0, 465.0, 0.06),
            (1.0, 4.0, 8.38, 0.03),
            (1.0, 5.0, 10.4, 0.03),
            (3.0, 5.0, 2.57, 0.02),
        ] {
            let found = mean_run(shift, limit, 3000);
            assert!((found / table - 1.0f64).abs() < allowed, "{shift} {limit}: {found}, {table}");
        }
    }

    #[test]
    fn a_change_is_dated() {
        let mut detector = Detector::new(LIMIT, AT_ONCE);
        for figure in [0.3, -0.2, 0.1, -0.4] {
            assert_eq!(detector.push(figure), None);
        }
        let found: Vec<_> = (0..4).map(|_| detector.push(-2.5)).collect();
        assert_eq!(found, [None, None, Some(Change { figures_since: 3 }), None]);
        assert_eq!(detector.push(20.0), Some(Change { figures_since: 1 }));
    }
}
