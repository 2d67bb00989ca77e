//! Files that a plan names: waveforms and measured elements.

use std::path::Path;

use flattop_captures::touchstone::{self, Touchstone};
use flattop_captures::{ReadOptions, open};
use flattop_core::chain::{Measured, OnePort, Place, TwoPortKind};
use flattop_core::finding::Finding;
use flattop_core::signal::{Outside, Shape, Signal};
use flattop_plan::Use;

use crate::output::with_folder;

/// Most points of a waveform that a prediction takes.
const MOST_POINTS: usize = 1_000_000;

/// The signal of a plan, read from its file where it is in one.
pub(crate) fn signal(plan: &flattop_plan::Signal, folder: &Path) -> Result<(Signal, Vec<Finding>), String> {
    let flattop_plan::Signal::File { path, repeat } = plan else {
        return plan.nominal().map(|signal| (signal, Vec::new())).ok_or_else(String::new);
    };
    let file = folder.join(path);
    let capture = open(&file, &ReadOptions::default(), &|_| {})
        .map_err(|error| format!("[signal] file: {}", with_folder(&file, &error.to_string())))?;
    let record = capture.record();
    let points = record.samples.len();
    if points > MOST_POINTS {
        return Err(format!(
            "[signal] file: {path} holds {points} samples, and {MOST_POINTS} are the most; take a shorter stretch"
        ));
    }
    let times = (0..points).map(|k| record.start_s + k as f64 * record.interval_s);
    let values = (0..points).map(|k| record.samples.at(k));
    let (time_s, value_v): (Vec<f64>, Vec<f64>) = times.zip(values).filter(|(_, v)| v.is_finite()).unzip();
    let outside = match repeat {
        None => Outside::Holds,
        Some(period) => Outside::Repeats { period_s: period.value },
    };
    let low_v = value_v.iter().copied().fold(f64::INFINITY, f64::min);
    let high_v = value_v.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Ok((
        Signal { shape: Shape::Points { time_s, value_v, outside }, low_v, high_v },
        capture.findings.clone(),
    ))
}

/// Elements of a chain with their places.
type Elements = Vec<(Place, Measured)>;

/// Elements of the chain known by measurement, and what the reader had to say.
pub(crate) fn measured(
    plan: &[flattop_plan::Measured],
    folder: &Path,
) -> Result<(Elements, Vec<Finding>), String> {
    let mut elements = Vec::new();
    let mut findings = Vec::new();
    for element in plan {
        let file = folder.join(&element.file);
        let network = touchstone::open(&file)
            .map_err(|error| format!("[[measured]] file: {}", with_folder(&file, &error.to_string())))?;
        let made =
            one(&network, element.usage).map_err(|why| format!("[[measured]] {}: {why}", element.file))?;
        elements.push((element.place.place(), made));
        findings.extend(network.findings);
    }
    Ok((elements, findings))
}

fn one(network: &Touchstone, usage: Use) -> Result<Measured, String> {
    let frequencies = &network.frequency_hz;
    let wanted = if matches!(usage, Use::TwoPort | Use::Response) { 2 } else { 1 };
    if network.ports != wanted {
        return Err(format!(
            "a network of {} ports cannot be used as \"{}\"; use a file of {wanted}",
            network.ports,
            usage.word()
        ));
    }
    let element = match usage {
        Use::TwoPort => {
            let chains = network.chain().map_err(|error| error.to_string())?;
            let chains: Vec<_> = chains.iter().map(|m| [[m[0], m[1]], [m[2], m[3]]]).collect();
            Measured::two_port(frequencies, &chains, TwoPortKind::Chain)
        }
        Use::Response => {
            let reference_ohm = network.reference_ohm.first().copied().unwrap_or(50.0);
            let scattering = network.s_parameters(reference_ohm).map_err(|error| error.to_string())?;
            let transfer: Vec<_> = scattering.iter().map(|m| m[2]).collect();
            Measured::response(frequencies, &transfer)
        }
        Use::Series => {
            let impedances = network.impedance_ohm().map_err(|error| error.to_string())?;
            let impedances: Vec<_> = impedances.iter().map(|m| m[0]).collect();
            Measured::in_series(frequencies, &impedances, OnePort::Impedance)
        }
        Use::Shunt => {
            let admittances = network.admittance_s().map_err(|error| error.to_string())?;
            let admittances: Vec<_> = admittances.iter().map(|m| m[0]).collect();
            Measured::in_shunt(frequencies, &admittances, OnePort::Admittance)
        }
    };
    element.map_err(|error| error.to_string())
}
