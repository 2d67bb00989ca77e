//! From a list to its ranking: every probe on every input, judged side by side.

use std::path::Path;

use flattop_core::chain::Chain;
use flattop_core::choice::{Candidate, Judged, Wanted, judge, rank};
use flattop_core::divider::Divider;
use flattop_core::finding::Finding;
use flattop_core::prediction::Measure;
use flattop_core::reach::{CompensationRange, InputCapacitance, ReachProbe, TipCapacitance};
use flattop_core::signal::Signal;
use flattop_plan::{AdjustedAt, ChooseList, Input, MeasuredQuantity, Probe, ProbeModel};
use flattop_report::choose::Subject;
use rayon::prelude::*;

use crate::setup::{self, Around, OnBench, Which};

/// The ranked list, or what is wrong with it.
pub(super) fn run(file: &Path, settings: &[(&str, &str)], bench: &OnBench<'_>) -> Result<Subject, String> {
    let name = file.display().to_string();
    let text = crate::values::read_text(file)?;
    let list =
        ChooseList::with_bench(&name, &text, settings, bench).map_err(|problems| problems.to_string())?;
    if bench.which() == Which::Every && !list.is_of_bench {
        return Err(format!(
            "{name} names probes or inputs itself; leave out --all, or take them out of the list"
        ));
    }
    ranked(name, &list, file.parent().unwrap_or(Path::new("")))
}

/// Every pairing of a list, ranked; files that it names are looked for in `folder`.
pub(crate) fn ranked(name: String, list: &ChooseList, folder: &Path) -> Result<Subject, String> {
    let (signal, mut findings) =
        setup::signal(&list.signal, folder).map_err(|error| format!("{name}: {error}"))?;
    let wanted = Wanted {
        measure: match list.measurement.quantity {
            MeasuredQuantity::Amplitude | MeasuredQuantity::Level => Measure::Amplitude,
            MeasuredQuantity::Peak => Measure::PeakToPeak,
            MeasuredQuantity::Transition => Measure::TransitionDuration,
        },
        tolerance: list.measurement.tolerance,
    };
    let judged: Vec<Result<Judged, String>> = list
        .pairs
        .par_iter()
        .map(|pair| {
            let (probe, input) = (&list.probes[pair.probe], &list.inputs[pair.input]);
            let item = probe.item.clone().as_measured(pair.compensation_error);
            one(list, (&probe.label, &item), (&input.label, &input.item), &signal, wanted)
                .map(|mut judged| {
                    judged.findings.extend(pair.findings.iter().cloned());
                    judged
                })
                .map_err(|error| format!("{name}: {} on {}: {error}", probe.label, input.label))
        })
        .collect();
    let mut judged: Vec<Judged> = if list.is_of_bench {
        left_out(judged, &mut findings)?
    } else {
        judged.into_iter().collect::<Result<_, _>>()?
    };
    rank(&mut judged);
    findings.splice(0..0, list.findings.iter().cloned());
    Ok(Subject { list: name, wanted, signal, judged, findings })
}

/// What a bench holds is not written for this list: a pairing that cannot be worked out is left out, and said so.
fn left_out(judged: Vec<Result<Judged, String>>, findings: &mut Vec<Finding>) -> Result<Vec<Judged>, String> {
    let mut kept = Vec::new();
    let mut first = None;
    for one in judged {
        match one {
            Ok(one) => kept.push(one),
            Err(why) => {
                let remedy = "correct what the bench says of them with flattop bench edit";
                findings.push(Finding::warning("left-out", format!("left out: {why}"), remedy));
                first.get_or_insert(why);
            }
        }
    }
    match first.filter(|_| kept.is_empty()) {
        Some(why) => Err(why),
        None => Ok(kept),
    }
}

fn one(
    list: &ChooseList,
    (probe_label, probe): (&str, &Probe),
    (input_label, input): (&str, &Input),
    signal: &Signal,
    wanted: Wanted,
) -> Result<Judged, String> {
    let around = Around { node: &list.node, contact: &list.contact, input };
    let setup = setup::chain(probe, &around)?;
    let exposure = setup::exposure(
        (probe_label, probe),
        (input_label, input),
        setup.chain.ratio,
        list.circuit.as_ref(),
    )?;
    let candidate = Candidate {
        probe: probe_label,
        input: input_label,
        chain: &setup.chain,
        doubts: &setup.doubts,
        reach: reach(probe, input, &setup.chain),
        parts: &exposure.parts,
        circuit: exposure.circuit,
    };
    let mut judged = judge(&candidate, signal, wanted).map_err(|error| error.to_string())?;
    judged.findings.extend(setup.findings);
    Ok(judged)
}

/// The probe's reach, where its data sheet states a range.
fn reach(probe: &Probe, input: &Input, chain: &Chain) -> Option<(ReachProbe, InputCapacitance)> {
    let ProbeModel::DataSheet(sheet) = &probe.model else { return None };
    let [least_f, most_f] = sheet.compensation_range?;
    let probe = ReachProbe {
        divider: Divider {
            tip_resistance_ohm: chain.tip.resistance_ohm,
            shunt_resistance_ohm: chain.input.resistance_ohm,
        },
        // Without the body's part, as the model splits it.
        tip: TipCapacitance::SeenAtTip(sheet.input_capacitance.value - chain.tip.body_capacitance_f),
        adjusted_at: match probe.adjusted_at {
            Some(AdjustedAt::Tip) | None => flattop_core::assessment::AdjustedAt::Tip,
            Some(AdjustedAt::Base | AdjustedAt::Fixed) => flattop_core::assessment::AdjustedAt::Base,
        },
        range: CompensationRange { least_f, most_f, tolerance_f: 0.0 },
    };
    let input = InputCapacitance {
        nominal_f: input.capacitance.value,
        tolerance_f: input.capacitance.half_width.unwrap_or(0.0),
    };
    Some((probe, input))
}
