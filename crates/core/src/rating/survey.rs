//! A signal checked against the ratings of everything it reaches, component by component.

use super::cautions;
use super::{Allowed, Component, Rating, SignalFacts, SignalFault, ValueKind, signal_facts};
use crate::finding::Finding;
use crate::signal::Signal;

/// Share of a rating from which on a warning is given.
pub const NEAR_RATING: f64 = 0.8;
/// Harmonics below this share of the lowest rated voltage are not checked.
const NEGLIGIBLE: f64 = 0.01;

/// Measurement categories II to IV (IEC 61010-2-030).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum MeasurementCategory {
    /// Circuits connected to the points of use of the low-voltage mains: appliances, portable tools.
    Ii,
    /// The distribution of the building: boards, breakers, wiring, fixed equipment.
    Iii,
    /// The source of the installation: meters, primary over-current protection.
    Iv,
}

impl MeasurementCategory {
    /// As printed on instruments.
    pub fn word(self) -> &'static str {
        match self {
            MeasurementCategory::Ii => "II",
            MeasurementCategory::Iii => "III",
            MeasurementCategory::Iv => "IV",
        }
    }
}

/// What a part is rated for in a category.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CategoryRating {
    /// Category.
    pub category: MeasurementCategory,
    /// Rated voltage to earth, V rms or dc.
    pub voltage_v: f64,
}

/// Something that the signal reaches: the probe, an input.
#[derive(Clone, Debug, PartialEq)]
pub struct RatedPart {
    /// As it is called on the bench.
    pub name: String,
    /// How much smaller the signal is there: 1 at the probe's tip, 10 at an input behind a 10× probe.
    pub attenuation: f64,
    /// Rated voltage, where it is known.
    pub rating: Option<Rating>,
    /// Measurement categories; empty for none.
    pub categories: Vec<CategoryRating>,
}

/// How the circuit under test is supplied.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Supply {
    /// Separated from the mains, and with a point that may be earthed.
    Isolated,
    /// Connected to the mains.
    Mains,
    /// No point of it may be earthed, or its reference is at an unknown potential.
    Floating,
    /// Nobody said.
    NotStated,
}

/// The circuit under test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Circuit {
    /// Its supply.
    pub supply: Supply,
    /// Its measurement category, where it has one.
    pub category: Option<MeasurementCategory>,
}

/// What was compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// The whole signal, in the rating's kind of value.
    Whole,
    /// One sine of it.
    Component,
    /// All sines together: √Σ(value/limit)², against 1. Heat adds up that way.
    Together,
}

/// One comparison.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Check {
    /// Index of the part.
    pub part: usize,
    /// What was compared.
    pub quantity: Quantity,
    /// Peak, rms or dc.
    pub kind: ValueKind,
    /// Value at the part, V; for [`Quantity::Together`] a ratio.
    pub value: f64,
    /// What is allowed, V; for [`Quantity::Together`] 1.
    pub limit: Allowed,
    /// Frequency at which the limit was looked up, Hz.
    pub frequency_hz: f64,
}

impl Check {
    /// Share of the rating that is used; `None` where there is no rating.
    pub fn used(&self) -> Option<f64> {
        match self.limit {
            Allowed::UpTo(limit) => Some(self.value / limit),
            Allowed::NotRated { .. } => None,
        }
    }
}

/// Everything found about a signal and what it reaches.
#[derive(Clone, Debug, PartialEq)]
pub struct Survey {
    /// The signal at the tip.
    pub facts: SignalFacts,
    /// All comparisons, part by part.
    pub checks: Vec<Check>,
    /// The comparison that uses most of its rating; one that is not rated comes before any that is.
    pub worst: Option<Check>,
    /// Remarks and cautions, the gravest first.
    pub findings: Vec<Finding>,
}

/// Checks `signal`, as it is at the tip, against `parts`.
///
/// # Errors
/// Descriptions that are no signal, and attenuations that are not above zero.
pub fn survey(signal: &Signal, parts: &[RatedPart], circuit: Circuit) -> Result<Survey, SignalFault> {
    let mut least_v = f64::INFINITY;
    for part in parts {
        if !(part.attenuation > 0.0 && part.attenuation.is_finite()) {
            return Err(SignalFault::Value { quantity: "attenuation", value: part.attenuation });
        }
        if let Some(rating) = &part.rating {
            least_v = least_v.min(NEGLIGIBLE * rating.lowest_v() * part.attenuation);
        }
    }
    let facts = signal_facts(signal, least_v)?;
    let mut checks = Vec::new();
    for (index, part) in parts.iter().enumerate() {
        if let Some(rating) = &part.rating {
            compare(index, rating, part.attenuation, &facts, &mut checks);
        }
    }
    // `not rated` weighs more than any share.
    let weight = |check: &Check| check.used().unwrap_or(f64::INFINITY);
    let worst = checks.iter().copied().max_by(|a, b| weight(a).total_cmp(&weight(b)));
    let mut findings = cautions::ratings(parts, &checks, &facts);
    findings.extend(cautions::categories(parts, &facts, circuit));
    findings.extend(cautions::measurement(&facts, circuit));
    findings.sort_by_key(|f| std::cmp::Reverse(f.severity));
    Ok(Survey { facts, checks, worst, findings })
}

fn compare(part: usize, rating: &Rating, attenuation: f64, facts: &SignalFacts, checks: &mut Vec<Check>) {
    let kind = rating.kind();
    let whole = match kind {
        ValueKind::Peak => facts.peak_v,
        ValueKind::Rms => facts.rms_v,
        ValueKind::Dc => facts.dc_v.abs(),
    };
    let check =
        |quantity, value, limit, frequency_hz| Check { part, quantity, kind, value, limit, frequency_hz };
    checks.push(check(Quantity::Whole, whole / attenuation, rating.at(0.0), 0.0));
    let negligible_v = NEGLIGIBLE * rating.lowest_v() * attenuation;
    let (mut heat, mut rated) = (0.0, 0);
    for (index, &Component { frequency_hz, amplitude_v }) in facts.components.iter().enumerate() {
        if amplitude_v <= 0.0 || (index > 0 && amplitude_v < negligible_v) {
            continue;
        }
        let one = check(
            Quantity::Component,
            kind.of_sine(amplitude_v) / attenuation,
            rating.at(frequency_hz),
            frequency_hz,
        );
        if let Some(used) = one.used() {
            heat += used * used;
            rated += 1;
        }
        checks.push(one);
    }
    if rated > 1 {
        let frequency_hz = facts.components.first().map_or(0.0, |c| c.frequency_hz);
        checks.push(check(Quantity::Together, heat.sqrt(), Allowed::UpTo(1.0), frequency_hz));
    }
}
