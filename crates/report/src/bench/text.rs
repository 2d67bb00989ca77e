//! A bench in words: lists that fit 80 columns, and everything about one thing.

use flattop_core::assessment::Estimate;
use flattop_core::bench::{
    Id, InputId, Moment, Oscilloscope, PairingState, Probe, Range, Toleranced, Trimmer,
};
use flattop_register::{
    Change, Forecast, Measured, Moved, NoForecast, Standing, ground_fields, input_fields,
    oscilloscope_fields, probe_fields, time,
};

use super::{Overview, Shown, state_words};
use crate::format::{counted, percent, plain, plain_percent, significant};
use crate::text::columns::{Columns, Flush::*};
use crate::text::wrap::Page;

/// Which part of a bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Everything.
    All,
    /// Oscilloscopes with their inputs.
    Oscilloscopes,
    /// Probes.
    Probes,
    /// Pairings.
    Pairings,
}

/// A list, at most 80 columns wide.
pub fn list(bench: &Overview, part: Part) -> String {
    let mut page = Page::default();
    let all = part == Part::All;
    if all || part == Part::Oscilloscopes {
        oscilloscopes(&mut page, &bench.oscilloscopes);
    }
    if all {
        page.line("");
    }
    if all || part == Part::Probes {
        probes(&mut page, &bench.probes);
    }
    if all {
        page.line("");
    }
    if all || part == Part::Pairings {
        pairings(&mut page, &bench.standings, bench.offset_minutes);
    }
    page.into_text()
}

fn oscilloscopes(page: &mut Page, all: &[Oscilloscope]) {
    if all.is_empty() {
        page.line("No oscilloscope yet: flattop bench add oscilloscope bench-a");
        return;
    }
    page.line("Oscilloscopes");
    for scope in all {
        let serial = scope.serial.as_ref().map_or(String::new(), |s| format!(", serial {s}"));
        let label = scope.label.as_ref().map_or(String::new(), |l| format!("  {l}"));
        let retired = if scope.retired { " (retired)" } else { "" };
        page.paragraph("  ", &format!("{}{label}{serial}{retired}", scope.id));
        let mut table = Columns::new(
            &[
                ("input", Left),
                ("resistance", Right),
                ("capacitance", Right),
                ("bandwidth", Right),
                ("label", Left),
            ],
            4,
        );
        for input in &scope.inputs {
            table.row(vec![
                input.name.to_string(),
                toleranced(input.resistance_ohm, "Ω"),
                toleranced(input.capacitance_f, "F"),
                maybe(input.bandwidth_hz, "Hz"),
                noted(input.label.as_deref(), input.retired),
            ]);
        }
        if scope.inputs.is_empty() {
            page.line(&format!("    no inputs yet: flattop bench add input {}/ch1", scope.id));
        } else {
            table.write(page, "    ");
        }
    }
}

fn probes(page: &mut Page, all: &[Probe]) {
    if all.is_empty() {
        page.line("No probe yet: flattop bench add probe probe-07 ratio=10");
        return;
    }
    page.line("Probes");
    let mut table = Columns::new(
        &[
            ("id", Left),
            ("ratio", Right),
            ("at the tip", Right),
            ("range", Right),
            ("trimmer", Left),
            ("label", Left),
        ],
        5,
    );
    for probe in all {
        table.row(vec![
            probe.id.to_string(),
            probe.ratio.map_or(unknown(), |r| format!("{}×", significant(r, 4))),
            toleranced(probe.tip_capacitance_f, "F"),
            probe.compensation_range_f.map_or(unknown(), range),
            probe.adjusted_at.map_or(unknown(), trimmer),
            noted(probe.label.as_deref(), probe.retired),
        ]);
    }
    table.write(page, "  ");
}

fn pairings(page: &mut Page, all: &[Standing], offset_minutes: i16) {
    if all.is_empty() {
        page.line("No pairing yet: flattop bench pair probe-07 bench-a/ch1");
        return;
    }
    page.line("Pairings");
    standings(page, all, offset_minutes);
    page.line("");
    page.paragraph("", &counts(all));
}

/// A table of pairings, as [`list`] shows it, with what the figures are.
pub fn pairing_table(all: &[Standing], offset_minutes: i16) -> String {
    let mut page = Page::default();
    standings(&mut page, all, offset_minutes);
    page.into_text()
}

/// Two lines each: names may be long, and neither the error nor a day may be cut.
fn standings(page: &mut Page, all: &[Standing], offset_minutes: i16) {
    let name = |one: &Standing| format!("{} on {}", one.pairing.probe, one.pairing.input);
    let width = all.iter().map(|one| name(one).chars().count()).max().unwrap_or(0);
    for one in all {
        let status = &one.status;
        page.line(&format!(
            "  {:>4}  {:<width$}  {}",
            one.pairing.number,
            name(one),
            state_words(status.state).to_uppercase()
        ));
        let mut said = match status.last_check {
            Some(check) => vec![
                format!("e {} % (95 %)", error_cell(check.compensation_error, check.standard_uncertainty)),
                format!("checked {}", day(check.at)),
            ],
            None => vec!["no check that decided".to_owned()],
        };
        if status.adjusted_since {
            said.push("adjusted since".to_owned());
        }
        match status.due_at_unix_ms {
            Some(unix_ms) if status.state != PairingState::VoidMoved => {
                said.push(format!("due {}", day(Moment { unix_ms, offset_minutes })));
            }
            _ => {}
        }
        page.hanging("        ", "        ", &said.join(", "));
    }
}

/// `+0.35 ± 0.12`, in percent.
pub(crate) fn error_cell(value: Option<f64>, standard_uncertainty: Option<f64>) -> String {
    let Some(value) = value else { return "-".into() };
    let pair =
        percent(Estimate { value, standard_uncertainty: standard_uncertainty.unwrap_or(0.0) }).signed();
    if pair.half_width.is_empty() { pair.value } else { format!("{} ± {}", pair.value, pair.half_width) }
}

/// How many pairings stand how, in one sentence.
pub fn counts(all: &[Standing]) -> String {
    let words: Vec<String> = PairingState::ALL
        .iter()
        .rev()
        .filter_map(|state| {
            let count = all.iter().filter(|s| s.status.state == *state).count();
            (count > 0).then(|| format!("{count} {}", state_words(*state)))
        })
        .collect();
    format!("{}: {}.", counted(all.len(), "pairing"), words.join(", "))
}

/// Everything about one thing.
pub fn show(shown: &Shown, offset_minutes: i16) -> String {
    let mut page = Page::default();
    match shown {
        Shown::Oscilloscope(scope) => {
            page.line(&headed("Oscilloscope", scope.id.as_str(), scope.retired));
            fields(&mut page, &oscilloscope_fields(scope));
            for input in &scope.inputs {
                page.heading(&headed("Input", &format!("{}/{}", scope.id, input.name), input.retired));
                fields(&mut page, &input_fields(input));
            }
        }
        Shown::Input(id, input, pairings, measured) => {
            page.line(&headed("Input", &id.to_string(), input.retired));
            fields(&mut page, &input_fields(input));
            some_measured(&mut page, measured);
            some_standings(&mut page, pairings, offset_minutes);
        }
        Shown::Probe(probe, pairings, measured) => {
            page.line(&headed("Probe", probe.id.as_str(), probe.retired));
            fields(&mut page, &probe_fields(probe));
            some_measured(&mut page, measured);
            for accessory in &probe.ground_accessories {
                page.heading(&format!("Ground accessory {}/{}", probe.id, accessory.name));
                fields(&mut page, &ground_fields(accessory));
            }
            some_standings(&mut page, pairings, offset_minutes);
        }
        Shown::Ground(probe, accessory) => {
            page.line(&format!("Ground accessory {probe}/{}", accessory.name));
            fields(&mut page, &ground_fields(accessory));
        }
        Shown::Pairing(standing, series, entries) => {
            pairing(&mut page, standing, offset_minutes);
            if let Some(said) = crate::logbook::text::drift(series) {
                page.entry("drift", &said);
            }
            if !entries.is_empty() {
                page.heading("Logbook");
                crate::logbook::text::table(&mut page, entries, crate::logbook::text::About::OnePairing);
            }
        }
    }
    page.into_text()
}

fn pairing(page: &mut Page, standing: &Standing, offset_minutes: i16) {
    let (pairing, status) = (&standing.pairing, &standing.status);
    page.line(&format!("Pairing {}: {} on {}", pairing.number, pairing.probe, pairing.input));
    page.entry("state", &state_sentence(standing, offset_minutes));
    if let Some(check) = status.last_check {
        let e = error_cell(check.compensation_error, check.standard_uncertainty);
        page.entry("last check", &format!("{}, e = {e} %", day(check.at)));
    }
    let tolerance = pairing.tolerance.map_or("that of each assessment".into(), |t| plain_percent(t, 3));
    page.entry("tolerance", &tolerance);
    let interval = pairing.recheck_interval_days.map_or("none".into(), |d| format!("{d} days"));
    page.entry("interval", &interval);
    let by = pairing.made_by.as_ref().map_or(String::new(), |by| format!(" by {by}"));
    page.entry("made", &format!("{}{by}", day(pairing.made_at)));
    if let Some(end) = &pairing.voided {
        page.entry("ended", &format!("{}: {}", day(end.at), end.why));
    }
}

/// How a pairing stands and why, in one sentence.
pub fn state_sentence(standing: &Standing, offset_minutes: i16) -> String {
    let status = &standing.status;
    let words = state_words(status.state);
    let on = |unix_ms| day(Moment { unix_ms, offset_minutes });
    match status.state {
        PairingState::Due if status.adjusted_since => {
            format!("{words}: the trimmer was turned after the last check; check it again")
        }
        PairingState::Due => match status.due_at_unix_ms {
            Some(at) => format!("{words} since {}; check it again", on(at)),
            None => words.to_owned(),
        },
        PairingState::InTolerance => match status.due_at_unix_ms {
            Some(at) => format!("{words}, due on {}", on(at)),
            None => words.to_owned(),
        },
        PairingState::NeverChecked => {
            format!("{words}; assess a capture with --log before measuring with it")
        }
        PairingState::OutOfTolerance => format!("{words}; adjust the trimmer and check it again"),
        PairingState::OutOfReach => {
            format!(
                "{words}: the rated range of the trimmer does not hold this input; use another probe or input"
            )
        }
        PairingState::VoidMoved => words.to_owned(),
    }
}

fn some_measured(page: &mut Page, all: &[Measured]) {
    for measured in all {
        let captures = counted(measured.captures.len(), "capture");
        let said = format!("measured {} from {captures}: entry {}", day(measured.at), measured.entry);
        page.hanging(&format!("  {:<16}  ", measured.field), &" ".repeat(20), &said);
    }
}

fn some_standings(page: &mut Page, all: &[Standing], offset_minutes: i16) {
    if !all.is_empty() {
        page.heading("Pairings");
        standings(page, all, offset_minutes);
    }
}

fn headed(kind: &str, id: &str, retired: bool) -> String {
    format!("{kind} {id}{}", if retired { " (retired)" } else { "" })
}

fn fields(page: &mut Page, fields: &[(&'static str, String)]) {
    if fields.is_empty() {
        page.line("  nothing is known of it yet");
    }
    let width = fields.iter().map(|(key, _)| key.len()).max().unwrap_or(0).max(16);
    for (key, text) in fields {
        let first = format!("  {key:<width$}  ");
        page.hanging(&first, &" ".repeat(width + 4), text);
    }
}

/// What a move did, and the error to expect on the new input.
pub fn moved(probe: &Id, input: &InputId, moved: &Moved) -> String {
    let mut page = Page::default();
    page.paragraph(
        "",
        &format!("Pairing {} ended: the compensation belonged to the old input.", moved.voided),
    );
    page.paragraph("", &format!("Pairing {}: {probe} on {input}, never checked.", moved.made));
    page.paragraph("", &forecast(&moved.forecast));
    page.into_text()
}

/// What a call changed, in one line.
pub fn change(change: &Change) -> String {
    match change {
        Change::Added(thing) => format!("Added {thing}."),
        Change::Edited { thing, key, before, after } => {
            let word = |value: &Option<String>| value.clone().unwrap_or_else(|| "not known".into());
            format!("{key} of {thing}: {} (was {}).", word(after), word(before))
        }
        Change::Unchanged(thing) => format!("Nothing changed about {thing}."),
        Change::Deleted(thing) => format!("Removed {thing}."),
        Change::Retired { thing, voided } => {
            let ended = match voided.as_slice() {
                [] => String::new(),
                [one] => format!(" Pairing {one} ended."),
                several => {
                    let numbers: Vec<_> = several.iter().map(ToString::to_string).collect();
                    format!(" Pairings {} ended.", numbers.join(", "))
                }
            };
            format!("Took {thing} out of use; the logbook speaks of it, so it is kept.{ended}")
        }
        Change::Reinstated(thing) => format!("Took {thing} into use again."),
    }
}

/// The error to expect after a move, or why nothing can be said.
pub fn forecast(forecast: &Result<Forecast, NoForecast>) -> String {
    let found = match forecast {
        Ok(found) => found,
        Err(why) => return crate::text::sentence(&why.to_string()),
    };
    let expected = &found.expected;
    let value = error_cell(Some(expected.compensation_error), expected.standard_uncertainty);
    let change = significant(1e12 * expected.change_f, 3);
    let sign = if expected.change_f > 0.0 { "+" } else { "" };
    let rests = match found.rests_on {
        Some(seq) => format!("from entry {seq} of the logbook"),
        None => "from the data sheets alone".to_owned(),
    };
    let missing = expected.missing.map_or(String::new(), |what| {
        format!(" The uncertainty is not known: the tolerance of {what} is missing.")
    });
    let spread = if expected.standard_uncertainty.is_some() { " (95 %)" } else { "" };
    format!(
        "Expect e = {value} %{spread} there before anything is turned, {rests}: the new input has {sign}{change} pF. \
         Check it on a square wave before measuring.{missing}"
    )
}

/// `15 pF ± 1 pF`, or what stands for a value that is not known.
fn toleranced(quantity: Option<Toleranced>, unit: &str) -> String {
    match quantity {
        None => unknown(),
        Some(Toleranced { value, tolerance: Some(tolerance) }) => {
            format!("{} ± {}", plain(value, unit, 4), plain(tolerance, unit, 2))
        }
        Some(Toleranced { value, tolerance: None }) => plain(value, unit, 4),
    }
}

fn maybe(value: Option<f64>, unit: &str) -> String {
    value.map_or(unknown(), |v| plain(v, unit, 3))
}

fn range(range: Range) -> String {
    format!("{} to {}", plain(range.low, "F", 3), plain(range.high, "F", 3))
}

fn trimmer(trimmer: Trimmer) -> String {
    match trimmer {
        Trimmer::Tip => "tip",
        Trimmer::Base => "base",
        Trimmer::Fixed => "fixed",
    }
    .to_owned()
}

fn noted(label: Option<&str>, retired: bool) -> String {
    let label = label.unwrap_or_default();
    if retired { format!("(retired) {label}").trim_end().to_owned() } else { label.to_owned() }
}

fn unknown() -> String {
    "?".to_owned()
}

/// The day of a time, where it was noted.
pub(crate) fn day(at: Moment) -> String {
    time::local(at).chars().take(10).collect()
}
