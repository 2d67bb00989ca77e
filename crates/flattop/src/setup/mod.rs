//! From a plan to what the core computes with: files are read, models built, tolerances turned into doubts.

mod adjusted;
mod files;
mod on_bench;
mod parts;

use std::path::Path;

use flattop_core::chain::{Chain, Contact};
use flattop_core::data_sheet::{self, DataSheet, Setting};
use flattop_core::finding::Finding;
use flattop_core::inductance::{self, LeadLoop};
use flattop_core::prediction::{Doubt, Parameter};
use flattop_core::quantity::Unit;
use flattop_core::rating::{Circuit, RatedPart};
use flattop_core::signal::Signal;
use flattop_plan::document::Quantity;
use flattop_plan::{AdjustedAt, Input, Lead, Node, Probe, ProbeModel};
use flattop_report::prediction::{Assumed, AssumedValue};

pub(crate) use files::{measured, signal};
pub(crate) use on_bench::{OnBench, Which};
pub(crate) use parts::rated_parts;

/// Everything that a prediction needs, and what has to be said about where it comes from.
pub(crate) struct Setup {
    pub(crate) chain: Chain,
    pub(crate) doubts: Vec<Doubt>,
    pub(crate) assumed: Vec<Assumed>,
    pub(crate) findings: Vec<Finding>,
}

/// The surroundings of a probe.
pub(crate) struct Around<'a> {
    pub(crate) node: &'a Node,
    pub(crate) contact: &'a flattop_plan::Contact,
    pub(crate) input: &'a Input,
}

/// The chain of a probe in its surroundings.
pub(crate) fn chain(probe: &Probe, around: &Around<'_>) -> Result<Setup, String> {
    let mut known = known(around);
    let (inductance, lead_assumed) = lead(&around.contact.lead)?;
    known.push((Parameter::ContactInductance, inductance));
    let setting = Setting {
        node: around.node.nominal(),
        contact: Contact { inductance_h: inductance.value, resistance_ohm: around.contact.resistance.value },
        input: around.input.nominal(),
    };
    let mut setup = match &probe.model {
        ProbeModel::Parts(parts) => {
            known.extend(of_parts(parts));
            let chain = Chain {
                node: setting.node,
                contact: setting.contact,
                tip: parts.tip(),
                cable: parts.cable(),
                compensation_box: parts.compensation_box(),
                input: setting.input,
                measured: Vec::new(),
                ratio: parts.ratio_on(setting.input.resistance_ohm),
            };
            let doubts = known.iter().filter_map(|(parameter, quantity)| {
                let u = quantity.standard_uncertainty().filter(|u| *u > 0.0)?;
                let shifted = parameter.with(&chain, quantity.value + u);
                Some(Doubt { name: parameter.key().to_owned(), shifted })
            });
            Setup { doubts: doubts.collect(), chain, assumed: Vec::new(), findings: Vec::new() }
        }
        ProbeModel::DataSheet(sheet) => {
            let core = data_sheet_of(sheet, probe.adjusted_at);
            let setup = of_data_sheet(&core, &setting, &known)?;
            match sheet.compensation_error {
                Some(error) => adjusted::to_error(setup, error, core.adjusted)?,
                None => setup,
            }
        }
    };
    setup.assumed.extend(lead_assumed);
    setup.chain.check().map_err(|error| error.to_string())?;
    Ok(setup)
}

/// The core's data sheet of the plan's.
pub(crate) fn data_sheet_of(sheet: &flattop_plan::DataSheet, adjusted_at: Option<AdjustedAt>) -> DataSheet {
    DataSheet {
        ratio: sheet.ratio.value,
        input_resistance_ohm: None,
        input_capacitance_f: sheet.input_capacitance.value,
        compensation_range_f: sheet.compensation_range.map(|[least, most]| (least, most)),
        bandwidth_hz: sheet.bandwidth.map(|q| q.value),
        cable_length_m: sheet.cable_length.map(|q| q.value),
        adjusted: match adjusted_at {
            Some(AdjustedAt::Base) => data_sheet::Adjusted::AtBase,
            Some(AdjustedAt::Fixed) => data_sheet::Adjusted::Nowhere,
            Some(AdjustedAt::Tip) => data_sheet::Adjusted::AtTip,
            // Without a range there is nothing that could be adjusted.
            None if sheet.compensation_range.is_none() => data_sheet::Adjusted::Nowhere,
            None => data_sheet::Adjusted::AtTip,
        },
    }
}

fn of_data_sheet(
    sheet: &DataSheet,
    setting: &Setting,
    known: &[(Parameter, Quantity)],
) -> Result<Setup, String> {
    let model = sheet.model(setting).map_err(|error| error.to_string())?;
    let mut doubts: Vec<Doubt> = sheet
        .models_for_doubt(setting)
        .map_err(|error| error.to_string())?
        .into_iter()
        .map(|(assumed, shifted)| Doubt { name: format!("{} (assumed)", assumed.parameter.key()), shifted })
        .collect();
    for (parameter, quantity) in known {
        let Some(u) = quantity.standard_uncertainty().filter(|u| *u > 0.0) else { continue };
        // The probe is adjusted on the input as it is, so the model is made anew.
        let surroundings = parameter.with(&model.chain, quantity.value + u);
        let shifted =
            Setting { node: surroundings.node, contact: surroundings.contact, input: surroundings.input };
        let shifted = sheet.model(&shifted).map_err(|error| error.to_string())?.chain;
        doubts.push(Doubt { name: parameter.key().to_owned(), shifted });
    }
    let assumed = model.assumed.iter().map(|a| Assumed {
        what: a.parameter.key().to_owned(),
        value: AssumedValue::Number {
            value: a.value,
            unit: a.parameter.unit(),
            standard_uncertainty: Some(a.standard_uncertainty),
        },
        why: a.why.to_owned(),
    });
    Ok(Setup { assumed: assumed.collect(), chain: model.chain, doubts, findings: model.findings })
}

/// Values of node, contact and input that a plan may give with a tolerance.
fn known(around: &Around<'_>) -> Vec<(Parameter, Quantity)> {
    let input = around.input;
    let mut known = vec![
        (Parameter::NodeResistance, around.node.resistance),
        (Parameter::NodeCapacitance, around.node.capacitance),
        (Parameter::ContactResistance, around.contact.resistance),
        (Parameter::InputResistance, input.resistance),
        (Parameter::InputCapacitance, input.capacitance),
    ];
    known.extend(input.response.map(|r| (Parameter::InputBandwidth, r.bandwidth)));
    if let flattop_plan::Coupling::Ac(corner) = input.coupling {
        known.push((Parameter::AcCorner, corner));
    }
    known
}

fn of_parts(parts: &flattop_plan::Parts) -> Vec<(Parameter, Quantity)> {
    let mut known = vec![
        (Parameter::BodyCapacitance, parts.body_capacitance),
        (Parameter::TipResistance, parts.tip_resistance),
        (Parameter::TipCapacitance, parts.tip_capacitance),
        (Parameter::SeriesResistance, parts.series_resistance),
        (Parameter::BoxResistance, parts.box_series_resistance),
        (Parameter::BoxCapacitance, parts.box_capacitance),
    ];
    if let Some(cable) = &parts.cable {
        known.extend([
            (Parameter::CableLength, cable.length),
            (Parameter::CableResistance, cable.resistance),
            (Parameter::CableInductance, cable.inductance),
            (Parameter::CableCapacitance, cable.capacitance),
            (Parameter::CableConductance, cable.conductance),
        ]);
    }
    known
}

/// Inductance of the contact, and what was assumed for it.
fn lead(lead: &Lead) -> Result<(Quantity, Option<Assumed>), String> {
    let Lead::Geometry { ground_length, loop_width, wire_diameter } = lead else {
        let Lead::Inductance(quantity) = lead else { return Err(String::new()) };
        return Ok((*quantity, None));
    };
    let known = match (loop_width, wire_diameter) {
        (Some(width), Some(diameter)) => {
            LeadLoop::Rectangle { tip_to_clip_m: width.value, wire_diameter_m: diameter.value }
        }
        _ => LeadLoop::LengthOnly,
    };
    let found = inductance::ground_lead(ground_length.value, known)
        .map_err(|error| format!("[contact] ground_length: {error}"))?;
    // From standard uncertainty back to the half-width that it stands for.
    let half_width = found.standard_uncertainty_h * 3f64.sqrt();
    let assumed = Assumed {
        what: "contact.inductance".to_owned(),
        value: AssumedValue::Number {
            value: found.inductance_h,
            unit: Some(Unit::Henry),
            standard_uncertainty: Some(found.standard_uncertainty_h),
        },
        why: "from the length of the ground lead; the shape of its loop is not known".to_owned(),
    };
    Ok((Quantity { value: found.inductance_h, half_width: Some(half_width) }, Some(assumed)))
}

/// A setup with the measured elements of a plan put in, in all its variants.
pub(crate) fn with_measured(
    mut setup: Setup,
    plan: &[flattop_plan::Measured],
    folder: &Path,
) -> Result<Setup, String> {
    let (elements, findings) = measured(plan, folder)?;
    for chain in std::iter::once(&mut setup.chain).chain(setup.doubts.iter_mut().map(|d| &mut d.shifted)) {
        chain.measured.clone_from(&elements);
    }
    setup.findings.extend(findings);
    Ok(setup)
}

/// The first file that a plan names, if it names one.
pub(crate) fn named_file(plan: &flattop_plan::Plan) -> Option<&str> {
    let measured = plan.measured.first().map(|element| element.file.as_str());
    measured.or_else(|| plan.signal.as_ref().and_then(file_of))
}

/// The file of a signal that is in one.
pub(crate) fn file_of(signal: &flattop_plan::Signal) -> Option<&str> {
    match signal {
        flattop_plan::Signal::File { path, .. } => Some(path),
        _ => None,
    }
}

/// What a survey of ratings needs of a plan.
pub(crate) struct Exposure {
    pub(crate) parts: Vec<RatedPart>,
    pub(crate) circuit: Circuit,
}

/// Ratings of probe and input, and the circuit they are exposed to.
pub(crate) fn exposure(
    probe: (&str, &Probe),
    input: (&str, &Input),
    ratio: f64,
    circuit: Option<&flattop_plan::Circuit>,
) -> Result<Exposure, String> {
    Ok(Exposure { parts: rated_parts(probe, input, ratio)?, circuit: parts::circuit(circuit) })
}

/// A signal that only serves to ask for the response: one volt at a frequency in the middle of everything.
pub(crate) fn no_signal() -> Signal {
    Signal { shape: flattop_core::signal::Shape::Sine { frequency_hz: 1e3 }, low_v: -0.5, high_v: 0.5 }
}
