//! Probe, input and oscilloscope as the bench knows them.

use flattop_core::bench::{Input, InputId, Oscilloscope, Probe, Toleranced, Trimmer};
use flattop_report::format::plain;

use super::{Source, called, or_dash};
use crate::document::{Align, Block, Column, Fact, NOTHING, Row, Table};

/// The facts about the two ends of a pairing.
pub(super) fn facts(source: &Source<'_>, probe: Option<&Probe>, input: Option<&InputId>) -> Vec<Fact> {
    let mut facts = Vec::new();
    match probe {
        None => facts.push(Fact::maybe("Probe", None::<&str>)),
        Some(probe) => {
            facts.push(Fact::text("Probe", called(probe.label.as_deref(), probe.id.as_str())));
            facts.push(Fact::maybe("Probe, serial number", probe.serial.as_deref()));
            let figures: Vec<String> = [
                probe.ratio.map(|ratio| format!("{}×", flattop_report::format::significant(ratio, 4))),
                probe.tip_resistance_ohm.map(|r| format!("R1 {}", toleranced(r, "Ω"))),
                probe
                    .compensation_range_f
                    .map(|r| format!("for inputs of {} to {}", plain(r.low, "F", 3), plain(r.high, "F", 3))),
                probe.bandwidth_hz.map(|f| format!("bandwidth {}", plain(f, "Hz", 3))),
            ]
            .into_iter()
            .flatten()
            .collect();
            facts.push(Fact::maybe("Probe, data sheet", (!figures.is_empty()).then(|| figures.join(", "))));
            facts.push(Fact::maybe("Probe, adjusted at", probe.adjusted_at.map(trimmer_words)));
        }
    }
    let scope = input.and_then(|id| source.oscilloscope(&id.oscilloscope));
    match (input, scope) {
        (Some(id), Some(scope)) => {
            facts.push(Fact::text("Oscilloscope", called(scope.label.as_deref(), scope.id.as_str())));
            facts.push(Fact::maybe("Oscilloscope, serial number", scope.serial.as_deref()));
            let found = scope.inputs.iter().find(|input| input.name == id.name);
            let label = found.and_then(|input| input.label.as_deref());
            facts.push(Fact::text("Input", called(label, &id.to_string())));
            facts.push(Fact::maybe("Input, data sheet", found.and_then(input_figures)));
        }
        (Some(id), None) => facts.push(Fact::text("Input", id.to_string())),
        (None, _) => facts.push(Fact::maybe("Input", None::<&str>)),
    }
    facts
}

fn trimmer_words(trimmer: Trimmer) -> &'static str {
    match trimmer {
        Trimmer::Tip => "the tip",
        Trimmer::Base => "the box at the oscilloscope end",
        Trimmer::Fixed => "nowhere: it has no trimmer",
    }
}

fn toleranced(value: Toleranced, unit: &str) -> String {
    let tolerance = value.tolerance.map(|t| format!(" ± {}", plain(t, unit, 3))).unwrap_or_default();
    format!("{}{tolerance}", plain(value.value, unit, 4))
}

fn input_figures(input: &Input) -> Option<String> {
    let figures: Vec<String> = [
        input.resistance_ohm.map(|r| toleranced(r, "Ω")),
        input.capacitance_f.map(|c| toleranced(c, "F")),
        input.bandwidth_hz.map(|f| format!("bandwidth {}", plain(f, "Hz", 3))),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!figures.is_empty()).then(|| figures.join(", "))
}

/// The probes of a bench, one a row.
pub(super) fn probes(all: &[Probe]) -> Block {
    let columns = vec![
        Column::new("Id", Align::Words),
        Column::new("Label", Align::Words),
        Column::new("Serial number", Align::Words),
        Column::new("Ratio", Align::Decimal),
        Column::new("For inputs of", Align::Short),
        Column::new("Adjusted at", Align::Words),
        Column::new("In use", Align::Short),
    ];
    let rows = all
        .iter()
        .map(|probe| {
            Row::plain(vec![
                probe.id.to_string(),
                or_dash(probe.label.clone()),
                or_dash(probe.serial.clone()),
                or_dash(probe.ratio.map(|r| flattop_report::format::significant(r, 4))),
                or_dash(
                    probe
                        .compensation_range_f
                        .map(|r| format!("{} to {}", plain(r.low, "F", 3), plain(r.high, "F", 3))),
                ),
                or_dash(probe.adjusted_at.map(trimmer_words)),
                in_use(probe.retired),
            ])
        })
        .collect();
    Block::Table(Table { caption: "Probes; a dash stands for what is not stated".into(), columns, rows })
}

/// The inputs of a bench, one a row.
pub(super) fn inputs(all: &[Oscilloscope]) -> Block {
    let columns = vec![
        Column::new("Oscilloscope", Align::Words),
        Column::new("Serial number", Align::Words),
        Column::new("Input", Align::Words),
        Column::new("Resistance", Align::Short),
        Column::new("Capacitance", Align::Short),
        Column::new("Bandwidth", Align::Short),
        Column::new("In use", Align::Short),
    ];
    let mut rows = Vec::new();
    for scope in all {
        let name = called(scope.label.as_deref(), scope.id.as_str());
        let serial = or_dash(scope.serial.clone());
        if scope.inputs.is_empty() {
            let nothing = || NOTHING.to_owned();
            let cells = vec![name, serial, nothing(), nothing(), nothing(), nothing(), in_use(scope.retired)];
            rows.push(Row::plain(cells));
            continue;
        }
        for input in &scope.inputs {
            rows.push(Row::plain(vec![
                name.clone(),
                serial.clone(),
                called(input.label.as_deref(), input.name.as_str()),
                or_dash(input.resistance_ohm.map(|r| toleranced(r, "Ω"))),
                or_dash(input.capacitance_f.map(|c| toleranced(c, "F"))),
                or_dash(input.bandwidth_hz.map(|f| plain(f, "Hz", 3))),
                in_use(scope.retired || input.retired),
            ]));
        }
    }
    let caption = "Oscilloscopes and inputs; a dash stands for what is not stated".into();
    Block::Table(Table { caption, columns, rows })
}

fn in_use(retired: bool) -> String {
    if retired { "retired" } else { "yes" }.into()
}
