//! Which square-wave frequencies suit a pairing, and why the present one does or does not.
//!
//! The estimator finds e as the amplitude of an exponential with τp on flats of length T, half a period, whose level it has
//! to find too, and which may sag a little. At equal noise and equal length of record the variance of e is then proportional to
//! T/I(T), where I is what one flat tells: the square of exp(−t/τp), integrated over the flat, less what a constant and a
//! slope explain of it (Cramér–Rao bound of a linear model with nuisances). Long flats have few edges; on short ones the
//! exponential looks like a slope.
//!
//! | symbol | name here | unit | meaning |
//! | --- | --- | --- | --- |
//! | τp | `time_constant_s` | s | pole of the divider |
//! | T | half period | s | length of a flat |
//! | I(T) | [`information`] | s | of the amplitude of the exponential in one flat |

use crate::divider::Divider;
use crate::estimate::square::{EXPECTED_CAPACITANCE_F, SHORT_FLAT, SHORTEST_FLAT};
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};

/// A frequency suits while its uncertainty is at most so many times that of the best one.
const STILL_GOOD: f64 = 1.5;
/// Samples that one time constant should have at least.
const SAMPLES_PER_TAU: f64 = 8.0;
/// Periods that a record holds which surely shows three edges.
const PERIODS: f64 = 1.5;
/// Edges should take no more than this share of a time constant.
const EDGE: f64 = 0.02;

/// What is known of a source and how it is captured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setup {
    /// τp, s: estimated, or [`expected_time_constant_s`].
    pub time_constant_s: f64,
    /// The square wave's frequency, Hz, where it is known.
    pub frequency_hz: Option<f64>,
    /// Time between samples, s.
    pub interval_s: f64,
    /// Samples of a record.
    pub points: usize,
    /// Transition duration (10–90 %) of its edges, s, where it shows.
    pub transition_s: Option<f64>,
}

/// What to do about the source.
#[derive(Clone, Debug, PartialEq)]
pub struct Advice {
    /// The frequency with the least uncertainty at equal noise and record length, Hz.
    pub best_hz: f64,
    /// Frequencies that suit, Hz: from least to most. Where the record is too short for any, the least is above the most.
    pub suits_hz: (f64, f64),
    /// Whether the present one does; `None` where it is not known.
    pub present_suits: Option<bool>,
    /// How many times that of the best one the uncertainty is at the present one, where that is known.
    pub uncertainty_ratio: Option<f64>,
    /// The same in words: why the present one suits or does not, and what else of the source or capture is in the way.
    pub findings: Vec<Finding>,
}

/// τp that a divider is expected to have before it is measured, s.
pub fn expected_time_constant_s(divider: &Divider) -> f64 {
    divider.parallel_resistance_ohm() * EXPECTED_CAPACITANCE_F.0
}

/// I(T) over τp, for a flat of `flats` time constants: what is left of ∫exp(−2x)dx after projection on 1 and x.
pub fn information(flats: f64) -> f64 {
    let t = flats;
    let decay = (-t).exp();
    // On the interval −1…1 with Legendre's P0 and P1, of norm t and t/3.
    let constant = -(-t).exp_m1();
    // ∫exp(−x)(2x/t − 1)dx over the flat.
    let slope = 2.0 / t * (1.0 - decay * (1.0 + t)) - constant;
    -0.5 * (-2.0 * t).exp_m1() - constant * constant / t - 3.0 * slope * slope / t
}

/// Standard uncertainty of e at `frequency_hz`, up to a factor that does not depend on it.
fn uncertainty(frequency_hz: f64, time_constant_s: f64) -> f64 {
    let flats = 0.5 / (frequency_hz * time_constant_s);
    let information = information(flats);
    if information > 0.0 { (flats / information).sqrt() } else { f64::INFINITY }
}

/// Flats, in time constants, with the least uncertainty, and the longest that still suit. The same for all pairings.
fn flats() -> (f64, f64) {
    let u = |flats: f64| uncertainty(0.5 / flats, 1.0);
    // A golden section is not needed: the minimum is flat, a hundredth of a time constant is plenty.
    let best = (160..2000).map(|n| 0.01 * f64::from(n)).min_by(|a, b| u(*a).total_cmp(&u(*b))).unwrap_or(6.0);
    let longest = (0..20_000)
        .map(|n| best + 0.01 * f64::from(n))
        .take_while(|flats| u(*flats) <= STILL_GOOD * u(best))
        .last()
        .unwrap_or(best);
    (best, longest)
}

/// What to do about the source.
pub fn advise(setup: &Setup) -> Advice {
    let tau = setup.time_constant_s;
    let (best, longest) = flats();
    let shortest = (160..)
        .map(|n| 0.01 * f64::from(n))
        .take_while(|flats| *flats < best)
        .find(|flats| uncertainty(0.5 / flats, 1.0) <= STILL_GOOD * uncertainty(0.5 / best, 1.0))
        .unwrap_or(best)
        .max(SHORT_FLAT);
    let record_s = setup.points as f64 * setup.interval_s;
    let of = |flats: f64| 0.5 / (flats * tau);
    let suits_hz = (of(longest).max(PERIODS / record_s), of(shortest));
    let best_hz = of(best).max(PERIODS / record_s);
    let hertz = |f: f64| format_engineering(f, Unit::Hertz, 2);
    let seconds = |t: f64| format_engineering(t, Unit::Second, 2);
    let mut findings = Vec::new();
    if suits_hz.0 > suits_hz.1 {
        findings.push(Finding::warning(
            "record-too-short",
            format!(
                "A record of {} is too short for the flats that a time constant of {} needs: at least {} would do.",
                seconds(record_s),
                seconds(tau),
                seconds(PERIODS / suits_hz.1)
            ),
            "Record for longer: a slower time base.",
        ));
    }
    let ratio = setup.frequency_hz.map(|f| uncertainty(f, tau) / uncertainty(of(best), tau));
    let present_suits = setup.frequency_hz.map(|f| {
        let flats = 0.5 / (f * tau);
        let lasting = format!("Its flats last {flats:.1} time constants of {}", seconds(tau));
        let range = format!("Between {} and {} suits this pairing.", hertz(suits_hz.0), hertz(suits_hz.1));
        let use_one = format!("Use a square wave of {} to {}, best near {}.", hertz(suits_hz.0), hertz(suits_hz.1), hertz(best_hz));
        if f > suits_hz.1 {
            let why = if flats < SHORTEST_FLAT {
                format!("{lasting}: the next edge comes before the tail has shown where it leads, and nothing can be told.")
            } else {
                format!("{lasting}: a tail so short-cut looks much like a droop of the source, which widens the uncertainty.")
            };
            findings.push(Finding::warning("source-too-fast", format!("The square wave of {} is too fast. {why}", hertz(f)), use_one));
            false
        } else if f < suits_hz.0 {
            let why = if f * record_s < PERIODS {
                format!("The record of {} may hold fewer than three of its edges.", seconds(record_s))
            } else {
                format!(
                    "{lasting}: most of the record shows nothing but the settled levels, and the uncertainty is {:.1} times that at \
                     {}.",
                    ratio.unwrap_or(f64::NAN),
                    hertz(best_hz)
                )
            };
            findings.push(Finding::warning("source-too-slow", format!("The square wave of {} is slow. {why}", hertz(f)), use_one));
            false
        } else {
            findings.push(Finding::note(
                "source-suits",
                format!("The square wave of {} suits. {lasting}, long enough for the tail to settle. {range}", hertz(f)),
                "",
            ));
            true
        }
    });
    if setup.interval_s * SAMPLES_PER_TAU > tau {
        findings.push(Finding::warning(
            "sampling-too-slow",
            format!(
                "Samples lie {} apart: a time constant of {} has only {:.1} of them.",
                seconds(setup.interval_s),
                seconds(tau),
                tau / setup.interval_s
            ),
            format!("Sample at {} or less.", seconds(tau / SAMPLES_PER_TAU)),
        ));
    }
    if let Some(transition) = setup.transition_s.filter(|t| *t > EDGE * tau) {
        findings.push(Finding::note(
            "source-edges-slow",
            format!(
                "The edges take {}, {:.0} % of the time constant; the tail is timed from their centre.",
                seconds(transition),
                100.0 * transition / tau
            ),
            "A source with faster edges narrows the uncertainty.",
        ));
    }
    Advice { best_hz, suits_hz, present_suits, uncertainty_ratio: ratio, findings }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};

    fn setup(frequency_hz: f64) -> Setup {
        let divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };
        Setup {
            time_constant_s: expected_time_constant_s(&divider),
            frequency_hz: Some(frequency_hz),
            interval_s: 1e-6,
            points: 10_000,
            transition_s: None,
        }
    }

    #[test]
    fn information_is_what_slow_projection_leaves() {
        // The slow way: Gram–Schmidt on sums over a fine grid.
        for flats in [0.5, 1.6, 3.0, 7.0, 30.0] {
            let n = 200_000;
            let h = flats / f64::from(n);
            let at = |k: i32| (f64::from(k) + 0.5) * h;
            let sum = |f: &dyn Fn(f64) -> f64| (0..n).map(|k| f(at(k)) * h).sum::<f64>();
            let mean = sum(&|x| (-x).exp()) / flats;
            let middle = 0.5 * flats;
            let slope = sum(&|x| (-x).exp() * (x - middle)) / sum(&|x| (x - middle) * (x - middle));
            let left = sum(&|x| ((-x).exp() - mean - slope * (x - middle)).powi(2));
            assert_close!(information(flats), left, relative(1e-4));
        }
    }

    #[test]
    fn one_kilohertz_suits_a_usual_probe_as_every_oscilloscope_assumes() {
        // Common practice: probe-adjust outputs are square waves of about 1 kHz.
        let advice = advise(&setup(1e3));
        assert_eq!(advice.present_suits, Some(true), "{advice:?}");
        assert_eq!(advice.findings[0].code, "source-suits");
        assert!(advice.suits_hz.0 < advice.best_hz && advice.best_hz < advice.suits_hz.1);
        let codes = |f: f64| advise(&setup(f)).findings.iter().map(|f| f.code).collect::<Vec<_>>();
        assert_eq!(codes(5e3), ["source-too-fast"]);
        assert_eq!(codes(120.0), ["source-too-slow"]);
        // The upper end is where the estimator begins to remark on short flats.
        assert_close!(advice.suits_hz.1 * 2.0 * SHORT_FLAT * setup(1e3).time_constant_s, 1.0, within(0.15));
    }

    #[test]
    fn a_hundred_to_one_probe_wants_slower_waves_only_as_its_time_constant_says() {
        let slow = Setup { time_constant_s: 1e-3, ..setup(1e3) };
        let advice = advise(&slow);
        assert_eq!(advice.present_suits, Some(false));
        assert!(advice.suits_hz.1 < 200.0);
        let short = advise(&Setup { points: 2000, ..slow });
        assert!(short.findings.iter().any(|f| f.code == "record-too-short"), "{short:?}");
        let coarse = advise(&Setup { interval_s: 5e-5, transition_s: Some(5e-6), ..setup(1e3) });
        let codes: Vec<_> = coarse.findings.iter().map(|f| f.code).collect();
        assert_eq!(codes, ["source-suits", "sampling-too-slow", "source-edges-slow"]);
    }
}
