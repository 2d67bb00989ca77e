//! What does not fit, in words.

use super::bandwidth::Fit;
use super::compensated::{LARGEST_PEAK, USUAL_CABLE_F_PER_M};
use super::{DataSheet, Figure, Kind, Setting};
use crate::chain::Chain;
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};

/// Two figures of one thing that differ by more than this contradict each other.
const LARGEST_DIFFERENCE: f64 = 0.05;

/// A body with more than that is no probe that one holds in the hand, F (common practice).
const LARGEST_BODY_F: f64 = 6e-12;

const CHECK: &str =
    "check ratio, input capacitance, compensation range and cable length against the data sheet";

pub(super) fn findings(
    sheet: &DataSheet,
    setting: &Setting,
    kind: &Kind,
    reference: &Chain,
    fit: &Fit,
) -> Vec<Finding> {
    let mut all = Vec::new();
    let mut odd =
        |message: String, remedy: &str| all.push(Finding::warning("data-sheet-odd", message, remedy));
    let show = |value, unit| format_engineering(value, unit, 3);
    let nominal_ohm = kind.nominal_ohm();
    let off = setting.input.resistance_ohm / nominal_ohm - 1.0;
    if !(off.abs() <= LARGEST_DIFFERENCE) {
        odd(
            format!(
                "the probe is made for an input of {}, this one has {}: it does not divide by {}",
                show(nominal_ohm, Unit::Ohm),
                show(setting.input.resistance_ohm, Unit::Ohm),
                sheet.ratio
            ),
            "use the input that the probe is made for, or a feed-through termination",
        );
    }
    match kind {
        Kind::Compensated(_) => {
            let per_metre = reference.cable.capacitance_f_per_m;
            let (least, most) = USUAL_CABLE_F_PER_M;
            // Rounding must not trip over a cable that was put to the limit.
            if !(per_metre >= least * (1.0 - 1e-9) && per_metre <= most) {
                odd(
                    format!(
                        "{} at the tip of a {}× probe leave {} for its cable; 15 pF/m to 150 pF/m is usual",
                        show(sheet.input_capacitance_f, Unit::Farad),
                        sheet.ratio,
                        show(per_metre, Unit::FaradPerMetre)
                    ),
                    CHECK,
                );
            }
            let body_f = reference.tip.body_capacitance_f;
            if body_f > LARGEST_BODY_F {
                odd(
                    format!(
                        "{} at the tip of a {}× probe with {} of cable is more than the divider needs: {} are left for its body",
                        show(sheet.input_capacitance_f, Unit::Farad),
                        sheet.ratio,
                        show(reference.cable.length_m, Unit::Metre),
                        show(body_f, Unit::Farad)
                    ),
                    CHECK,
                );
            }
        }
        Kind::Matched(_) => {
            if sheet.compensation_range_f.is_some() {
                odd(
                    format!(
                        "a probe of {} has nothing to compensate; its compensation range is left out",
                        show(nominal_ohm * sheet.ratio, Unit::Ohm)
                    ),
                    "check the input resistance of the probe",
                );
            }
        }
    }
    if let (Some(wanted_hz), Some(got_hz)) = (sheet.bandwidth_hz, fit.bandwidth_hz) {
        if !fit.fits {
            all.push(Finding::warning(
                "data-sheet-bandwidth",
                format!(
                    "no probe of this kind has {} of bandwidth with these figures: the nearest one has {}",
                    show(wanted_hz, Unit::Hertz),
                    show(got_hz, Unit::Hertz)
                ),
                "take nothing above the lower of the two from this model; measure the probe's response, or enter its parts",
            ));
        }
        if fit.peak.0 > LARGEST_PEAK {
            all.push(Finding::warning(
                "data-sheet-peak",
                format!(
                    "to reach {} the model has to rise by {} at {}; a real probe has networks that level this",
                    show(got_hz, Unit::Hertz),
                    format_engineering(fit.peak.0, Unit::Ratio, 2),
                    show(fit.peak.1, Unit::Hertz)
                ),
                "take nothing above a third of that frequency from this model; measure the probe's response, or enter its parts",
            ));
        }
    }
    all
}

impl Figure {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Figure::InputResistance => "input resistance",
            Figure::InputCapacitance => "input capacitance",
            Figure::RangeFrom => "lower end of the compensation range",
            Figure::RangeTo => "upper end of the compensation range",
            Figure::Bandwidth => "bandwidth",
            Figure::CableLength => "cable length",
        }
    }

    /// Its unit.
    pub fn unit(self) -> Unit {
        match self {
            Figure::InputResistance => Unit::Ohm,
            Figure::InputCapacitance | Figure::RangeFrom | Figure::RangeTo => Unit::Farad,
            Figure::Bandwidth => Unit::Hertz,
            Figure::CableLength => Unit::Metre,
        }
    }
}
