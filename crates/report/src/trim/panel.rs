//! The panel of a session: at most 80 columns and [`HEIGHT`] lines, as text. Nothing in it is told by colour.

use flattop_core::finding::Severity;

use super::Shown;
use super::digits::large;
use super::text::{heading_words, headline, phase_words, to_go, tolerance_words};
use crate::format::{counted, percent, picofarads, plain, significant};
use crate::text::wrap::wrap;

/// Most lines of a panel: a terminal of 24 lines holds it, with one left for the cursor.
pub const HEIGHT: usize = 22;
const WIDTH: usize = 80;
/// Cells of the scale; odd, so that nought has one of its own.
const SCALE: usize = 69;
/// Tolerances from nought to the end of the scale.
const SCALE_END: f64 = 30.0;

/// What the terminal can show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Letters {
    /// ASCII only.
    Ascii,
    /// Block letters as well.
    Unicode,
}

/// The panel's lines, always the same number, so that it can be painted over itself.
pub fn panel(shown: &Shown<'_>, letters: Letters) -> Vec<String> {
    let mut lines = vec![shown.title.to_owned(), String::new()];
    let fill = if letters == Letters::Unicode { '█' } else { '#' };
    match shown.state {
        Some(state) => {
            let e = percent(state.compensation.error).signed();
            lines.extend(large(&format!("{} %", e.value), fill).map(|row| format!("  {row}")));
            lines.push(String::new());
            let range = if e.half_width.is_empty() {
                String::new()
            } else {
                format!(" ± {} % (95 %)", e.half_width)
            };
            lines.push(format!("{}  {} %{range}  {}", headline(state), e.value, phase_words(state)));
            lines.push(if state.held > 0 {
                let held = counted(state.held, "capture");
                let of = if shown.hold > 0 { format!(" of {}", shown.hold) } else { String::new() };
                format!(
                    "Within {}: held for {held}{of}. Leave the trimmer alone.",
                    tolerance_words(shown.tolerance)
                )
            } else {
                format!("To go: {}", to_go(state, shown.adjusted_at))
            });
            lines.push(scale(
                state.compensation.error.value,
                1.96 * state.compensation.error.standard_uncertainty,
                shown.tolerance,
                letters,
            ));
            lines.push(match state.travel {
                Some(travel) => {
                    let (e, c) = (percent(travel.error).signed(), picofarads(travel.trimmer_f).signed());
                    format!("Come so far: {}, {}; {}", e.with_units(), c.with_units(), heading_words(state))
                }
                None => "The trimmer has not moved yet.".to_owned(),
            });
        }
        None => {
            lines.extend(large("? %", fill).map(|row| format!("  {row}")));
            lines.extend(["", "NO READING YET", "", "", ""].map(String::from));
        }
    }
    lines.push(format!("Captures {}", history(shown, letters)));
    lines.push(stops(shown));
    lines.push(source(shown));
    lines.push(format!(
        "Capture {}: {}{}",
        shown.number,
        shown.capture,
        if shown.is_used { "" } else { ", of no use" }
    ));
    lines.extend(findings(shown, HEIGHT - lines.len()));
    lines.resize(HEIGHT, String::new());
    lines.iter().map(|line| fit(line, letters)).collect()
}

/// Cut to the width, and without letters that the terminal does not have.
fn fit(line: &str, letters: Letters) -> String {
    let line = match letters {
        Letters::Unicode => line.to_owned(),
        Letters::Ascii => {
            line.replace('±', "+/-").replace('µ', "u").replace('×', "x").replace('–', "-").replace('Ω', "Ohm")
        }
    };
    let is_shown = |c: char| !c.is_control() && (letters == Letters::Unicode || c.is_ascii());
    line.chars().take(WIDTH - 1).map(|c| if is_shown(c) { c } else { '?' }).collect()
}

/// Where e stands: `[` and `]` are the limits of the tolerance, `|` is nought, the scale is compressed outwards.
fn scale(e: f64, half_width: f64, tolerance: f64, letters: Letters) -> String {
    let middle = SCALE / 2;
    let cell = |e: f64| {
        let share = (e / tolerance).asinh() / SCALE_END.asinh();
        (middle as f64 + share.clamp(-1.0, 1.0) * middle as f64).round() as usize
    };
    let (ground, bar, mark) =
        if letters == Letters::Unicode { ('·', '─', '●') } else { ('.', '-', '*') };
    let mut cells = vec![ground; SCALE];
    cells[cell(e - half_width)..=cell(e + half_width)].fill(bar);
    for (at, letter) in [(cell(-tolerance), '['), (cell(tolerance), ']'), (middle, '|')] {
        cells[at] = letter;
    }
    cells[cell(e)] = mark;
    format!("low {} high", cells.into_iter().collect::<String>())
}

/// |e| of the last captures: `_` within the tolerance, higher the further off.
fn history(shown: &Shown<'_>, letters: Letters) -> String {
    const UNICODE: [char; 8] = ['_', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    const ASCII: [char; 8] = ['_', '1', '2', '3', '4', '5', '6', '7'];
    let steps = if letters == Letters::Unicode { UNICODE } else { ASCII };
    let from = shown.history.len().saturating_sub(WIDTH - 12);
    let height = |e: &f64| {
        let times = e.abs() / shown.tolerance;
        // Each step is a factor of 1.6 or so: 1 to 30 tolerances over seven of them.
        let step = if times <= 1.0 { 0.0 } else { 1.0 + 6.0 * times.ln() / SCALE_END.ln() };
        steps[(step.min(7.0)) as usize]
    };
    shown.history[from..].iter().map(height).collect()
}

fn stops(shown: &Shown<'_>) -> String {
    if shown.stops.is_empty() {
        return "Rests    none before this one".to_owned();
    }
    let words: Vec<String> = shown
        .stops
        .iter()
        .rev()
        .take(7)
        .rev()
        .map(|stop| format!("{} %", percent(stop.error).signed().value))
        .collect();
    format!("Rests    {}", words.join(", "))
}

fn source(shown: &Shown<'_>) -> String {
    let Some(advice) = shown.advice else { return "Source   not known yet".to_owned() };
    let (from, to) = advice.suits_hz;
    let suits = format!("{} to {} suits", plain(from, "Hz", 2), plain(to, "Hz", 2));
    match (shown.frequency_hz, advice.present_suits) {
        (Some(f), Some(true)) => format!("Source   {} suits ({suits})", plain(f, "Hz", 3)),
        (Some(f), _) => format!(
            "Source   {} does not suit: {suits}, best near {}",
            plain(f, "Hz", 3),
            plain(advice.best_hz, "Hz", 2)
        ),
        (None, _) => format!(
            "Source   {suits}, best near {} ({} edges or more)",
            plain(advice.best_hz, "Hz", 2),
            significant(3.0, 1)
        ),
    }
}

/// The weightiest remarks first, as many as have room.
fn findings(shown: &Shown<'_>, room: usize) -> Vec<String> {
    let mut lines = Vec::new();
    for severity in [Severity::Fault, Severity::Warning, Severity::Note] {
        for finding in shown.findings.iter().filter(|finding| finding.severity == severity) {
            // What the source row says already.
            if finding.code == "source-suits" {
                continue;
            }
            let text = format!("{} {}", finding.message, finding.remedy);
            for (index, part) in wrap(&text, WIDTH - 4).into_iter().enumerate() {
                lines.push(format!("{}{part}", if index == 0 { "! " } else { "  " }));
            }
        }
    }
    if lines.len() > room {
        lines.truncate(room.saturating_sub(1));
        lines.push("  … and more; --json has all of it".to_owned());
    }
    lines
}
