//! How the compensation error of a pairing drifts over the months.
//!
//! A straight line through e against time, each point weighted by 1/u². Turning the trimmer shifts the level but not the
//! drift, so each stretch between adjustments has a level of its own and all share one slope.
//!
//! The uncertainty of the slope comes from the stated u of the points, enlarged by the Birge ratio √(χ²/ν) where the
//! points scatter more than that (connecting a probe again is not part of u). It is never made smaller. Where the points
//! state no u, all weigh the same and their scatter is the only measure.

use thiserror::Error;

use super::entities::Moment;
use crate::numeric::linear::{LinearError, solve_linear};
use crate::numeric::stats::student_cdf;

/// Mean month of the Gregorian calendar, 365.2425 d / 12.
pub const MONTH_MS: f64 = 365.2425 / 12.0 * 86_400_000.0;
/// Chance of calling a slope of nil significant.
pub const SIGNIFICANCE_LEVEL: f64 = 0.05;

/// What an assessment was made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// A check without adjustment.
    Check,
    /// Before an adjustment.
    BeforeAdjustment,
    /// After an adjustment.
    AfterAdjustment,
}

/// One assessment of a pairing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrendPoint {
    /// When.
    pub at: Moment,
    /// e.
    pub compensation_error: f64,
    /// Its standard uncertainty, if stated.
    pub standard_uncertainty: Option<f64>,
    /// What it was made for.
    pub stage: Stage,
}

/// The drift of a pairing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Change of e in a mean month (30.436875 days).
    pub drift_per_month: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Degrees of freedom left.
    pub freedom: usize,
    /// √(χ²/ν): above 1 the points scatter more than they state. `None` without stated uncertainties.
    pub birge_ratio: Option<f64>,
    /// Chance of a drift of this size or more where there is none (two-sided Student; careful where u is well known).
    pub chance: f64,
    /// Whether the drift stands out.
    pub significance: Significance,
    /// Points used.
    pub points: usize,
    /// Stretches between adjustments.
    pub stretches: usize,
}

/// Whether a drift stands out from the scatter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Significance {
    /// `chance` is below [`SIGNIFICANCE_LEVEL`].
    Significant,
    /// It is not.
    NotSignificant,
}

/// Why there is no drift to tell.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum TrendError {
    /// Too few points.
    #[error(
        "{points} assessments in {stretches} stretches between adjustments leave no drift to see: log at least {needed}"
    )]
    TooFew {
        /// Points given.
        points: usize,
        /// Stretches between adjustments.
        stretches: usize,
        /// Points needed.
        needed: usize,
    },
    /// No two times in one stretch.
    #[error("all assessments between adjustments have the same time: log one at a later day")]
    OneTime,
    /// A value that is no number, or an uncertainty that is not above zero.
    #[error(
        "the assessment number {position} of the series has e = {compensation_error} with an uncertainty that cannot weigh it: leave it out"
    )]
    Value {
        /// Place in the series, from 1.
        position: usize,
        /// Its e.
        compensation_error: f64,
    },
}

/// Fits the drift of a series in order of time.
///
/// # Errors
/// See [`TrendError`].
pub fn trend(points: &[TrendPoint]) -> Result<Trend, TrendError> {
    for (index, point) in points.iter().enumerate() {
        let fine = point.compensation_error.is_finite()
            && point.standard_uncertainty.is_none_or(|u| u > 0.0 && u.is_finite());
        if !fine {
            return Err(TrendError::Value {
                position: index + 1,
                compensation_error: point.compensation_error,
            });
        }
    }
    let stretch = stretches(points);
    let stretches = stretch.last().map_or(0, |last| last + 1);
    let (needed, unknowns) = (stretches + 2, stretches + 1);
    if points.len() < needed {
        return Err(TrendError::TooFew { points: points.len(), stretches, needed: needed.max(3) });
    }
    let weighted = points.iter().all(|p| p.standard_uncertainty.is_some());
    let start_ms = points[0].at.unix_ms;
    let months = |p: &TrendPoint| (p.at.unix_ms as f64 - start_ms as f64) / MONTH_MS;
    let rows = points.iter().zip(&stretch).map(|(point, &stretch)| {
        let weight = match point.standard_uncertainty {
            Some(u) if weighted => 1.0 / u,
            _ => 1.0,
        };
        let mut row = vec![0.0; unknowns];
        row[0] = weight * months(point);
        row[1 + stretch] = weight;
        (weight * point.compensation_error, row)
    });
    let solution = solve_linear(unknowns, rows).map_err(|error| match error {
        LinearError::TooFewRows { rows, .. } => TrendError::TooFew { points: rows, stretches, needed },
        _ => TrendError::OneTime,
    })?;
    let freedom = points.len() - unknowns;
    let scatter = (solution.cost / freedom as f64).sqrt();
    let scale = if weighted { scatter.max(1.0) } else { scatter };
    let standard_uncertainty = scale * solution.covariance[0].sqrt();
    let drift_per_month = solution.theta[0];
    let chance = if standard_uncertainty > 0.0 {
        2.0 * student_cdf(-(drift_per_month / standard_uncertainty).abs(), freedom as f64)
    } else if drift_per_month == 0.0 {
        1.0
    } else {
        0.0
    };
    let significance =
        if chance < SIGNIFICANCE_LEVEL { Significance::Significant } else { Significance::NotSignificant };
    Ok(Trend {
        drift_per_month,
        standard_uncertainty,
        freedom,
        birge_ratio: weighted.then_some(scatter),
        chance,
        significance,
        points: points.len(),
        stretches,
    })
}

/// For each point, the number of its stretch: a new one starts after a point before, and with a point after an adjustment.
fn stretches(points: &[TrendPoint]) -> Vec<usize> {
    let mut number = 0;
    let mut out = Vec::with_capacity(points.len());
    let mut adjusted = false;
    for (index, point) in points.iter().enumerate() {
        adjusted |= point.stage == Stage::AfterAdjustment;
        if adjusted && index > 0 {
            number += 1;
        }
        adjusted = point.stage == Stage::BeforeAdjustment;
        out.push(number);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, printed, relative, within};
    use proptest::prelude::*;

    fn point(month: f64, e: f64, u: Option<f64>, stage: Stage) -> TrendPoint {
        let at = Moment { unix_ms: (month * MONTH_MS).round() as i64, offset_minutes: 0 };
        TrendPoint { at, compensation_error: e, standard_uncertainty: u, stage }
    }

    /// By hand (textbook formulas of the straight line): x = 0…4, y = 0, 1, 1, 3, 3: see below.
    #[test]
    fn a_line_worked_by_hand() {
        // Σ(x−x̄)² = 10, Σ(x−x̄)(y−ȳ) = 8, slope 0.8; residuals 0, 0.2, −0.6, 0.6, −0.2: sum of squares 0.8, s² = 0.8/3,
        // u = √(0.8/30) = 0.163299; t = 4.898979 with 3 degrees: two-sided 0.01628 (Student, closed form for ν = 3).
        let points: Vec<_> = [0.0, 1.0, 1.0, 3.0, 3.0]
            .into_iter()
            .enumerate()
            .map(|(x, y)| point(x as f64, y, None, Stage::Check))
            .collect();
        let fit = trend(&points).unwrap();
        assert_close!(fit.drift_per_month, 0.8, relative(1e-8));
        assert_close!(fit.standard_uncertainty, 0.163_299, printed(0.000_001));
        let t = 4.898_979_486_f64;
        let x = t / 3f64.sqrt();
        let closed = 1.0 - 2.0 / std::f64::consts::PI * (x.atan() + x / (1.0 + x * x));
        assert_close!(fit.chance, closed, relative(1e-6));
        assert_eq!((fit.freedom, fit.significance), (3, Significance::Significant));
    }

    /// With u = 1 for all, the scatter (0.516) is below what is stated, and u of the slope stays 1/√10.
    #[test]
    fn stated_uncertainty_is_never_made_smaller() {
        let points: Vec<_> = [0.0, 1.0, 1.0, 3.0, 3.0]
            .into_iter()
            .enumerate()
            .map(|(x, y)| point(x as f64, y, Some(1.0), Stage::Check))
            .collect();
        let fit = trend(&points).unwrap();
        assert_close!(fit.standard_uncertainty, 0.1f64.sqrt(), relative(1e-8));
        assert_close!(fit.birge_ratio.unwrap(), (0.8f64 / 3.0).sqrt(), relative(1e-8));
        // t = 0.8·√10 = 2.53 is above the normal 1.96 but below Student's 3.18 for three degrees: not enough points.
        assert_eq!(fit.significance, Significance::NotSignificant, "{fit:?}");
    }

    #[test]
    fn too_few_and_one_time_are_refused() {
        let one = point(0.0, 0.0, None, Stage::Check);
        assert_eq!(trend(&[]), Err(TrendError::TooFew { points: 0, stretches: 0, needed: 3 }));
        assert!(matches!(trend(&[one, one]), Err(TrendError::TooFew { needed: 3, .. })));
        assert_eq!(trend(&[one, one, one]), Err(TrendError::OneTime));
        let bad = point(1.0, f64::NAN, None, Stage::Check);
        assert!(matches!(trend(&[one, bad, one]), Err(TrendError::Value { position: 2, .. })));
    }

    proptest! {
        #[test]
        fn prop_adjustments_do_not_hide_the_drift(
            slope in -0.01..0.01_f64, jump in -0.2..0.2_f64, count in 3..8_usize, second in 3..8_usize,
        ) {
            let mut points = Vec::new();
            for i in 0..count + second {
                let stage = if i == count { Stage::AfterAdjustment } else { Stage::Check };
                let level = if i < count { 0.0 } else { jump };
                points.push(point(i as f64, level + slope * i as f64, Some(1e-4), stage));
            }
            let fit = trend(&points).unwrap();
            assert_close!(fit.drift_per_month, slope, within(1e-9));
            prop_assert_eq!((fit.stretches, fit.freedom), (2, count + second - 3));
        }
    }
}
