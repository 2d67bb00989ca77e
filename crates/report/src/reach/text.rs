//! The words for people: verdict first, then what is left, what to do, and the evidence.

use flattop_core::assessment::AdjustedAt;
use flattop_core::reach::{Side, TipCapacitance, Verdict};

use super::{Pairing, Unfit, capacitance, input_words, signed_percent, verdict_code};
use crate::format::{plain, plain_percent, significant};
use crate::subject::severity_code;
use crate::text::wrap::Page;
use crate::text::{capitalised, sentence};

/// The report on one pairing, at most 80 columns wide, with a final line feed.
pub fn one(pairing: &Pairing) -> String {
    let mut page = Page::default();
    page.paragraph("", &verdict_sentence(pairing));
    page.paragraph("", &left_sentence(pairing));
    page.paragraph("", &next_sentence(pairing));
    residual(&mut page, pairing);
    page.heading("1 kHz square wave at the best setting");
    page.paragraph("  ", &sentence(&capitalised(&pairing.reach.square_wave_words)));
    sines(&mut page, pairing);
    stated(&mut page, pairing);
    findings(&mut page, pairing);
    page.into_text()
}

/// Whether it reaches, and how far the input lies from the nearest limit, in one sentence.
pub fn verdict_sentence(pairing: &Pairing) -> String {
    let Pairing { probe, input, reach } = pairing;
    let (least, most) = (capacitance(probe.range.least_f), capacitance(probe.range.most_f));
    let range = if probe.range.least_f < probe.range.most_f {
        format!("the compensation range of {least} to {most}")
    } else {
        format!("the one capacitance that the probe balances, {most}")
    };
    let distance = capacitance(reach.margin.margin_f.abs());
    let tolerance = capacitance(reach.margin.tolerance_f);
    let place = match reach.side {
        Side::Above => format!("lies {distance} above {range}"),
        Side::Below => format!("lies {distance} below {range}"),
        Side::Inside if reach.margin.margin_f > 0.0 => {
            format!("lies inside {range}, {distance} from the nearer limit")
        }
        Side::Inside => format!("lies right on a limit of {range}"),
    };
    let who = format!("an input of {}", input_words(*input));
    match reach.margin.verdict {
        Verdict::Reaches => format!("REACHES: {who} {place}."),
        Verdict::OutOfReach => format!("OUT OF REACH: {who} {place}."),
        Verdict::MayReach => {
            format!("MAY REACH: {who} {place}, and the tolerances come to {tolerance} in all.")
        }
    }
}

/// What the best setting leaves, in one sentence.
pub(super) fn left_sentence(pairing: &Pairing) -> String {
    let residual = &pairing.reach.residual;
    let error = residual.error;
    let (lowest, highest) = residual.bounds;
    let spread = if highest > lowest {
        format!("; the tolerances allow {} to {}", signed_percent(lowest, 3), signed_percent(highest, 3))
    } else {
        String::new()
    };
    let size = plain_percent(error.abs(), 3);
    if error < 0.0 {
        format!("The best setting leaves e = -{size}: fast parts read {size} low{spread}.")
    } else if error > 0.0 {
        format!("The best setting leaves e = +{size}: fast parts read {size} high{spread}.")
    } else if highest > lowest {
        let worst = signed_percent(pairing.worst_error(), 3);
        format!("With the values as stated the trimmer balances it; at worst e = {worst} is left.")
    } else {
        "The trimmer can balance it: e can be brought to nil.".into()
    }
}

/// What to do, in one sentence.
pub(super) fn next_sentence(pairing: &Pairing) -> String {
    match pairing.reach.findings.iter().find(|finding| !finding.remedy.is_empty()) {
        Some(finding) => format!("Do next: {}", capitalised(&sentence(&finding.remedy))),
        None => "Do next: Adjust the probe on this input, and check it with flattop assess.".into(),
    }
}

fn residual(page: &mut Page, pairing: &Pairing) {
    let reach = &pairing.reach;
    let residual = &reach.residual;
    page.heading("What is left at the best setting");
    let inside = if reach.margin.margin_f < 0.0 { "outside" } else { "inside" };
    let tolerance = if reach.margin.tolerance_f > 0.0 {
        format!(", tolerances {} in all", capacitance(reach.margin.tolerance_f))
    } else {
        ", no tolerances stated".into()
    };
    page.entry("margin", &format!("{} ({inside}){tolerance}", capacitance(reach.margin.margin_f)));
    let uncertainty = if residual.standard_uncertainty > 0.0 {
        let u = plain_percent(residual.standard_uncertainty, 2);
        format!(" (standard uncertainty {u}, from the tolerances)")
    } else {
        String::new()
    };
    page.entry("error e", &format!("{}{uncertainty}", signed_percent(residual.error, 3)));
    page.entry("worst case", &format!("e = {}", signed_percent(pairing.worst_error(), 3)));
    page.entry("time constant", &plain(residual.shelf.time_constant_s, "s", 3));
    let capacitances = pairing.probe.divider.capacitances(residual.shelf);
    page.entry("at the tip, C1", &rounded(capacitances.tip_f));
    page.entry("shunt, C2", &format!("{}, input included", rounded(capacitances.shunt_f)));
}

/// A capacitance worked out, to three digits.
fn rounded(farads: f64) -> String {
    format!("{} pF", significant(1e12 * farads, 3))
}

fn sines(page: &mut Page, pairing: &Pairing) {
    page.heading("Error of a sine's amplitude against its frequency");
    // Without tolerances there is no uncertainty to state.
    let row = |frequency: &str, amplitude: &str, uncertainty: &str| {
        let uncertainty = if pairing.reach.margin.tolerance_f > 0.0 { uncertainty } else { "" };
        format!("  {frequency:>9}   {amplitude:>9}   {uncertainty:>20}")
    };
    page.line(&row("frequency", "amplitude", "standard uncertainty"));
    for sine in &pairing.reach.sine_errors {
        page.line(&row(
            &plain(sine.frequency_hz, "Hz", 3),
            &signed_percent(sine.error, 3),
            &plain_percent(sine.standard_uncertainty, 2),
        ));
    }
}

fn stated(page: &mut Page, pairing: &Pairing) {
    let Pairing { probe, input, .. } = pairing;
    page.heading("Stated");
    let limits = format!("{} to {}", capacitance(probe.range.least_f), capacitance(probe.range.most_f));
    let limits = if probe.range.tolerance_f > 0.0 {
        format!("{limits}, each limit within ± {}", capacitance(probe.range.tolerance_f))
    } else {
        format!("{limits}, taken as exact")
    };
    page.entry("range", &limits);
    let exact = if input.tolerance_f > 0.0 { "" } else { ", taken as exact" };
    page.entry("input", &format!("{}{exact}", input_words(*input)));
    let tip = match probe.tip {
        TipCapacitance::SeenAtTip(farads) => format!("{} seen by the circuit", capacitance(farads)),
        TipCapacitance::AcrossTipResistor(farads) => {
            format!("{} across the tip resistor", capacitance(farads))
        }
    };
    page.entry("tip", &format!("{tip}; a tenth of it off changes e by about a tenth of itself"));
    page.entry(
        "divider",
        &format!(
            "{} : {}, adjusted {}",
            plain(probe.divider.tip_resistance_ohm, "Ω", 6),
            plain(probe.divider.shunt_resistance_ohm, "Ω", 6),
            match probe.adjusted_at {
                AdjustedAt::Tip => "at the tip",
                AdjustedAt::Base => "in the box at the oscilloscope end",
            },
        ),
    );
}

fn findings(page: &mut Page, pairing: &Pairing) {
    let all = &pairing.reach.findings;
    if all.is_empty() {
        return;
    }
    page.heading("Findings");
    for (index, finding) in all.iter().enumerate() {
        let message = capitalised(&sentence(&finding.message));
        page.entry(severity_code(finding.severity), &format!("{message} ({})", finding.code));
        if index == 0 {
            page.entry("", "Remedy: see above.");
        } else if !finding.remedy.is_empty() {
            page.entry("", &format!("Remedy: {}", capitalised(&sentence(&finding.remedy))));
        }
    }
}

const HEADINGS: [&str; 6] = ["input", "verdict", "margin, pF", "e, %", "worst e, %", "10 kHz, %"];

/// A table of several results, one line each, at most 80 columns wide, with a final line feed.
pub fn several(results: &[Result<Pairing, Unfit>]) -> String {
    let rows: Vec<[String; 6]> = results.iter().map(row).collect();
    let mut widths = HEADINGS.map(|heading| heading.chars().count());
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let mut page = Page::default();
    for row in std::iter::once(&HEADINGS.map(String::from)).chain(&rows) {
        let cells = row.iter().zip(widths).enumerate().map(|(index, (cell, width))| {
            // Words to the left, numbers to the right.
            if index < 2 { format!("{cell:<width$}") } else { format!("{cell:>width$}") }
        });
        page.line(&cells.collect::<Vec<_>>().join("  "));
    }
    page.line("");
    page.paragraph(
        "",
        "margin: distance from the nearest limit, below 0 outside; ± is the sum of the tolerances. e: how much too high \
         (+) or too low (-) fast parts read at the best setting. worst e: the same with the least favourable tolerances. \
         10 kHz: error of a sine. Give one input alone for the remedy.",
    );
    page.into_text()
}

fn row(result: &Result<Pairing, Unfit>) -> [String; 6] {
    let pairing = match result {
        Ok(pairing) => pairing,
        Err(unfit) => {
            let dash = || "-".to_string();
            return [input_words(unfit.input), "not judged".into(), dash(), dash(), dash(), dash()];
        }
    };
    let Pairing { input, reach, .. } = pairing;
    let picofarads = |farads: f64| significant(1e12 * farads, 4);
    let tolerance = if reach.margin.tolerance_f > 0.0 {
        format!(" ± {}", picofarads(reach.margin.tolerance_f))
    } else {
        String::new()
    };
    let bare = |ratio: f64| signed_percent(ratio, 3).replace(" %", "");
    let ten_khz = reach.sine_errors.iter().find(|sine| sine.frequency_hz >= 1e4).map_or(0.0, |s| s.error);
    [
        input_words(*input),
        verdict_code(reach.margin.verdict).into(),
        format!("{}{tolerance}", picofarads(reach.margin.margin_f)),
        bare(reach.residual.error),
        bare(pairing.worst_error()),
        bare(ten_khz),
    ]
}
