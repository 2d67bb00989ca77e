//! What is measured, with everything that it depends on besides the captures: worked out now, and again from the logbook.

use std::collections::BTreeMap;

use flattop_captures::ReadOptions;
use flattop_core::assessment::{AdjustedAt, Estimate};
use flattop_core::bench::measured::{
    KnownInput, MeasureError, Reading, SeriesLook, Shunts, Stops, Substitution, TipLooks, compensation_range,
    input_capacitance, tip_capacitance,
};
use flattop_core::divider::Divider;
use flattop_core::finding::{Finding, Severity};
use flattop_register::{Digest, MeasuredQuantity};
use flattop_report::measured::{Capture, Shown};
use flattop_report::subject::{Assumptions, adjusted_at_code};
use serde::{Deserialize, Serialize};

use crate::assess;

/// A question with its captures, as the logbook keeps it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Question {
    /// The input or probe that is measured.
    pub(super) of: String,
    pub(super) tip_resistance_ohm: Figure,
    /// Standard uncertainty of e from the input's own response.
    pub(super) flatness: f64,
    /// `tip` or `base`; null where it is not known.
    pub(super) adjusted_at: Option<String>,
    #[serde(flatten)]
    pub(super) what: What,
    /// In the order in which they were read.
    pub(super) captures: Vec<Look>,
}

/// What is measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "quantity", rename_all = "kebab-case")]
pub(super) enum What {
    InputCapacitance { known_capacitance_f: Figure, known_resistance_ohm: Figure, resistance_ohm: Figure },
    CompensationRange { input_capacitance_f: Figure, resistance_ohm: Figure },
    TipCapacitance { resistance_ohm: Figure, series_resistance_ohm: Option<Figure> },
}

/// A value with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Figure {
    value: f64,
    standard_uncertainty: f64,
}

impl From<Estimate> for Figure {
    fn from(estimate: Estimate) -> Self {
        Self { value: estimate.value, standard_uncertainty: estimate.standard_uncertainty }
    }
}

impl From<Figure> for Estimate {
    fn from(known: Figure) -> Self {
        Self { value: known.value, standard_uncertainty: known.standard_uncertainty }
    }
}

/// A capture and what it is for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Look {
    pub(super) role: Role,
    pub(super) file: String,
    pub(super) sha256: String,
}

/// What a capture is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Role {
    KnownInput,
    UnknownInput,
    OneStop,
    OtherStop,
    Straight,
    ThroughResistor,
}

impl Role {
    fn code(self) -> &'static str {
        match self {
            Role::KnownInput => "known-input",
            Role::UnknownInput => "unknown-input",
            Role::OneStop => "one-stop",
            Role::OtherStop => "other-stop",
            Role::Straight => "straight",
            Role::ThroughResistor => "through-resistor",
        }
    }
}

/// The answer, and what else came out that is worth keeping.
pub(crate) struct Answer {
    pub(crate) shown: Shown,
    pub(crate) more: Vec<(MeasuredQuantity, Estimate)>,
}

impl Question {
    /// What the register calls it.
    pub(super) fn quantity(&self) -> MeasuredQuantity {
        match self.what {
            What::InputCapacitance { .. } => MeasuredQuantity::InputCapacitance,
            What::CompensationRange { .. } => MeasuredQuantity::CompensationRange,
            What::TipCapacitance { .. } => MeasuredQuantity::TipCapacitance,
        }
    }

    /// The resistance at the oscilloscope end while a capture was taken.
    fn shunt_ohm(&self, role: Role) -> f64 {
        match (self.what, role) {
            (What::InputCapacitance { known_resistance_ohm, .. }, Role::KnownInput) => {
                known_resistance_ohm.value
            }
            (
                What::InputCapacitance { resistance_ohm, .. }
                | What::CompensationRange { resistance_ohm, .. }
                | What::TipCapacitance { resistance_ohm, .. },
                _,
            ) => resistance_ohm.value,
        }
    }

    /// Works it out; `bytes` are those of the captures, in the same order.
    pub(crate) fn answer(&self, bytes: &[impl AsRef<[u8]>]) -> Result<Answer, String> {
        let mut readings: BTreeMap<Role, Vec<Reading>> = BTreeMap::new();
        let mut findings = Vec::new();
        for (look, bytes) in self.captures.iter().zip(bytes) {
            let divider = Divider {
                tip_resistance_ohm: self.tip_resistance_ohm.value,
                shunt_resistance_ohm: self.shunt_ohm(look.role),
            };
            let (reading, said) = read(&look.file, bytes.as_ref(), divider)?;
            readings.entry(look.role).or_default().extend(reading);
            findings.extend(said);
        }
        let of = |role| readings.get(&role).map_or(&[][..], Vec::as_slice);
        let method = match self.what {
            What::InputCapacitance { .. } => "substitution",
            What::CompensationRange { .. } => "both-stops",
            What::TipCapacitance { series_resistance_ohm: None, .. } => "divider",
            What::TipCapacitance { series_resistance_ohm: Some(_), .. } => "series-resistor",
        };
        let failed = findings.iter().any(|f| f.severity == Severity::Fault);
        let mut shown = Shown {
            quantity: self.quantity().code(),
            of: self.of.clone(),
            method,
            value_f: None,
            upper_f: None,
            others: Vec::new(),
            shares: Vec::new(),
            findings,
            captures: self
                .captures
                .iter()
                .map(|c| Capture { role: c.role.code(), file: c.file.clone(), sha256: c.sha256.clone() })
                .collect(),
            entries: Vec::new(),
        };
        let mut more = Vec::new();
        if failed {
            return Ok(Answer { shown, more });
        }
        let words = |error: MeasureError| error.to_string();
        let adjusted_at = match self.adjusted_at.as_deref() {
            Some(word) => {
                [AdjustedAt::Tip, AdjustedAt::Base].into_iter().find(|a| adjusted_at_code(*a) == word)
            }
            None => None,
        };
        let tip_resistance_ohm = self.tip_resistance_ohm.into();
        let flatness = self.flatness;
        match self.what {
            What::InputCapacitance { known_capacitance_f, known_resistance_ohm, resistance_ohm } => {
                let found = input_capacitance(&Substitution {
                    tip_resistance_ohm,
                    shunts: Shunts::OfEachInput {
                        known_ohm: known_resistance_ohm.into(),
                        unknown_ohm: resistance_ohm.into(),
                    },
                    flatness,
                    adjusted_at,
                    known: KnownInput {
                        capacitance_f: known_capacitance_f.into(),
                        readings: of(Role::KnownInput),
                    },
                    unknown: of(Role::UnknownInput),
                })
                .map_err(words)?;
                shown.value_f = found.capacitance_f;
                shown.others = vec![
                    ("difference_f", "difference", found.difference_f),
                    ("tip_capacitance_f", "C1 of the probe", found.tip_capacitance_f),
                ];
                shown.shares = found.shares;
                shown.findings.extend(found.findings);
            }
            What::CompensationRange { input_capacitance_f, resistance_ohm } => {
                let found = compensation_range(&Stops {
                    tip_resistance_ohm,
                    shunt_resistance_ohm: resistance_ohm.into(),
                    input_capacitance_f: input_capacitance_f.into(),
                    flatness,
                    adjusted_at: adjusted_at.ok_or("where the probe is adjusted is not known")?,
                    stops: [of(Role::OneStop), of(Role::OtherStop)],
                })
                .map_err(words)?;
                shown.value_f = found.limits_f.map(|l| l[0]);
                shown.upper_f = found.limits_f.map(|l| l[1]);
                shown.others = vec![("width_f", "width", found.width_f)];
                [shown.shares, _] = found.shares;
                shown.findings.extend(found.findings);
            }
            What::TipCapacitance { resistance_ohm, series_resistance_ohm } => {
                let series = series_resistance_ohm.map(|resistor| SeriesLook {
                    resistance_ohm: resistor.into(),
                    readings: of(Role::ThroughResistor),
                });
                let found = tip_capacitance(&TipLooks {
                    tip_resistance_ohm,
                    shunt_resistance_ohm: resistance_ohm.into(),
                    flatness,
                    readings: of(Role::Straight),
                    series,
                })
                .map_err(words)?;
                shown.shares = found.shares;
                shown.findings.extend(found.findings);
                if series.is_none() {
                    shown.value_f = Some(found.divider_f);
                } else {
                    shown.value_f = found.whole_f;
                    shown.others.push(("divider_f", "C1 and C2 alone", found.divider_f));
                    if let Some(body_f) = found.body_f {
                        shown.others.push(("body_f", "body alone", body_f));
                        more.push((MeasuredQuantity::BodyCapacitance, body_f));
                    }
                }
            }
        }
        Ok(Answer { shown, more })
    }

    /// As text.
    pub(super) fn to_json(&self) -> String {
        // Plain fields with text keys cannot fail.
        serde_json::to_string(self).unwrap_or_default()
    }

    /// From text.
    pub(crate) fn from_json(text: &str) -> Result<Self, String> {
        serde_json::from_str(text).map_err(|e| format!("its settings cannot be read: {e}"))
    }

    /// Digests of the captures, in their order; one may stand in it twice.
    pub(crate) fn digests(&self) -> Result<Vec<Digest>, String> {
        let one = |look: &Look| {
            look.sha256.parse().map_err(|_| format!("its settings name a capture by \"{}\"", look.sha256))
        };
        self.captures.iter().map(one).collect()
    }
}

/// What one capture carries, and what there is to say of it.
fn read(name: &str, bytes: &[u8], divider: Divider) -> Result<(Option<Reading>, Vec<Finding>), String> {
    // The resistors and their tolerance come in later; e and τp do not depend on them.
    let assumptions = Assumptions {
        divider,
        resistor_tolerance: 0.0,
        adjusted_at: AdjustedAt::Tip,
        source_amplitude_v: None,
    };
    let capture =
        flattop_captures::read_bytes(name, bytes, &ReadOptions::default()).map_err(|e| e.to_string())?;
    let assessment = assess::square(name.to_owned(), &capture, &assumptions, 1.0).assessment;
    let of_capture = |f: &Finding| Finding { message: format!("{name}: {}", f.message), ..f.clone() };
    let mut findings: Vec<Finding> = assessment.findings.iter().map(of_capture).collect();
    if assessment.compensation.is_none() && findings.iter().all(|f| f.severity != Severity::Fault) {
        findings.push(Finding::fault(
            "no-estimate",
            format!("{name}: the capture carries no estimate"),
            "capture a square wave of about 1 kHz over a few periods",
        ));
    }
    Ok((assessment.compensation.as_ref().map(Reading::from), findings))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roles_are_stored_by_the_words_that_are_shown() {
        use Role::{KnownInput, OneStop, OtherStop, Straight, ThroughResistor, UnknownInput};
        for role in [KnownInput, UnknownInput, OneStop, OtherStop, Straight, ThroughResistor] {
            assert_eq!(serde_json::to_value(role).unwrap(), role.code());
        }
    }
}
