//! Lists for spreadsheets: RFC 4180 with a head line. Free text that a spreadsheet would take for a formula gets an
//! apostrophe in front.

use flattop_core::bench::{Oscilloscope, Probe, Stage};

use crate::devices::shown;
use crate::field::{Field, Fields};
use crate::logbook::{Entry, Event};
use crate::time;

pub(super) fn probes(probes: &[Probe]) -> String {
    let mut out = String::new();
    line(&mut out, ["id"].into_iter().chain(keys::<Probe>()).chain(["ground_accessories", "retired"]));
    for probe in probes {
        let names: Vec<&str> = probe.ground_accessories.iter().map(|g| g.name.as_str()).collect();
        let mut cells = vec![probe.id.to_string()];
        cells.extend(values(probe));
        cells.extend([names.join(" "), yes(probe.retired)]);
        line(&mut out, cells.iter().map(String::as_str));
    }
    out
}

pub(super) fn inputs(oscilloscopes: &[Oscilloscope]) -> String {
    let mut out = String::new();
    line(
        &mut out,
        ["id", "oscilloscope_label"]
            .into_iter()
            .chain(keys::<flattop_core::bench::Input>())
            .chain(["retired"]),
    );
    for oscilloscope in oscilloscopes {
        for input in &oscilloscope.inputs {
            let label = oscilloscope.label.as_deref().map(harmless).unwrap_or_default();
            let mut cells = vec![format!("{}/{}", oscilloscope.id, input.name), label];
            cells.extend(values(input));
            cells.push(yes(input.retired));
            line(&mut out, cells.iter().map(String::as_str));
        }
    }
    out
}

pub(super) fn log(entries: &[Entry]) -> String {
    let mut out = String::new();
    line(
        &mut out,
        [
            "seq",
            "at",
            "by",
            "kind",
            "pairing",
            "probe",
            "input",
            "stage",
            "verdict",
            "tolerance",
            "compensation_error",
            "compensation_error_standard_uncertainty",
            "time_constant_s",
            "time_constant_standard_uncertainty_s",
            "method",
            "temperature_c",
            "corrects",
            "note",
            "captures_sha256",
            "program",
            "digest",
            "quantity",
            "value",
            "value_standard_uncertainty",
            "upper_limit",
            "upper_limit_standard_uncertainty",
        ],
    );
    for entry in entries {
        let text = |value: &Option<String>| value.as_deref().map(harmless).unwrap_or_default();
        let mut cells = vec![
            entry.seq.to_string(),
            time::local(entry.act.at),
            text(&entry.act.by),
            entry.event.kind().code().to_owned(),
            entry.subject.pairing.map_or(String::new(), |n| n.to_string()),
            entry.subject.probe.as_ref().map_or(String::new(), ToString::to_string),
            match (&entry.subject.oscilloscope, entry.subject.input_id()) {
                (_, Some(input)) => input.to_string(),
                (Some(oscilloscope), None) => oscilloscope.to_string(),
                (None, None) => String::new(),
            },
        ];
        let (mut figures, mut capture, mut corrects) = (vec![String::new(); 9], String::new(), String::new());
        let mut measured: [String; 5] = Default::default();
        match &entry.event {
            Event::Assessment(record) => {
                let c = record.compensation.as_ref();
                let number = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
                figures = vec![
                    stage(record.stage).to_owned(),
                    crate::logbook::verdict_code(record.verdict).to_owned(),
                    record.tolerance.to_string(),
                    number(c.map(|c| c.error.value)),
                    number(c.map(|c| c.error.standard_uncertainty)),
                    number(c.map(|c| c.time_constant_s.value)),
                    number(c.map(|c| c.time_constant_s.standard_uncertainty)),
                    harmless(&record.method),
                    number(record.temperature_c),
                ];
                capture = crate::logbook::digests(&record.captures);
            }
            Event::Measurement(record) => {
                let estimate = |value: Option<flattop_core::assessment::Estimate>| {
                    let cell = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
                    [cell(value.map(|v| v.value)), cell(value.map(|v| v.standard_uncertainty))]
                };
                figures[7] = harmless(&record.method);
                figures[8] = record.temperature_c.map_or(String::new(), |v| v.to_string());
                capture = crate::logbook::digests(&record.captures);
                measured[0] = record.quantity.code().to_owned();
                measured[1..3].clone_from_slice(&estimate(Some(record.value)));
                measured[3..5].clone_from_slice(&estimate(record.upper));
            }
            Event::Correction { corrects: seq, .. } => corrects = seq.to_string(),
            _ => {}
        }
        cells.extend(figures);
        cells.extend([
            corrects,
            text(&entry.act.note),
            capture,
            harmless(&entry.act.program),
            entry.digest.to_string(),
        ]);
        cells.extend(measured);
        line(&mut out, cells.iter().map(String::as_str));
    }
    out
}

fn stage(stage: Stage) -> &'static str {
    crate::logbook::stage_code(stage)
}

fn keys<E: Fields>() -> impl Iterator<Item = &'static str> {
    E::FIELDS.iter().map(|f: &Field<E>| f.key)
}

fn values<E: Fields>(entity: &E) -> Vec<String> {
    let known = shown(entity);
    let text = |key: &str| known.iter().find(|(k, _)| *k == key).map(|(_, v)| harmless(v));
    keys::<E>().map(|key| text(key).unwrap_or_default()).collect()
}

fn yes(set: bool) -> String {
    if set { "yes" } else { "no" }.to_owned()
}

fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t']) { format!("'{text}") } else { text.to_owned() }
}

fn line<'a>(out: &mut String, cells: impl IntoIterator<Item = &'a str>) {
    for (at, cell) in cells.into_iter().enumerate() {
        if at > 0 {
            out.push(',');
        }
        if cell.contains([',', '"', '\n', '\r']) {
            out.push('"');
            out.push_str(&cell.replace('"', "\"\""));
            out.push('"');
        } else {
            out.push_str(cell);
        }
    }
    out.push_str("\r\n");
}
