//! A session in words: one line for each capture, and remarks as they come up.

use flattop_core::assessment::{AdjustedAt, Verdict};
use flattop_core::finding::Finding;
use flattop_core::tracking::{Heading, Phase, State};

use super::Shown;
use crate::format::{Pair, percent, picofarads, plain_percent};
use crate::subject::severity_code;
use crate::text::wrap::Page;

/// What is said before anybody turns anything.
pub const CAUTIONS: &str = "\
Hang the probe on the probe-adjust output of the oscilloscope, and on nothing
else. Its ground clip is joined to earth through the oscilloscope: never on a
circuit under test, never on mains. Turn with a plastic blade.
";

/// What the lines of [`fn@line`] hold.
pub const COLUMNS: &str = "\
number, time, e with its 95 % interval, verdict, change of capacitance still to
go, and how the reading stands (captures since the last change)
";

/// The verdict of the running estimate, so that it can be told without colour.
pub fn headline(state: &State) -> &'static str {
    match (state.verdict, state.compensation.error.value < 0.0) {
        (Verdict::WithinTolerance, _) => "WITHIN TOLERANCE",
        (Verdict::Undercompensated, _) => "UNDERCOMPENSATED",
        (Verdict::Overcompensated, _) => "OVERCOMPENSATED",
        (Verdict::Undetermined, true) => "TOO CLOSE TO CALL, LOW",
        (Verdict::Undetermined, false) => "TOO CLOSE TO CALL, HIGH",
    }
}

/// What to do with the trimmer, in a few words: `0.98 pF ± 0.02 pF more at the tip`.
pub(super) fn to_go(state: &State, at: AdjustedAt) -> String {
    let change = state.compensation.adjustment(at).change_f;
    let Pair { value, half_width, unit } = picofarads(change);
    let value = value.trim_start_matches('-');
    let way = if change.value >= 0.0 { "more" } else { "less" };
    let place = match at {
        AdjustedAt::Tip => "at the tip",
        AdjustedAt::Base => "in the box",
    };
    let half_width = if half_width.is_empty() { String::new() } else { format!(" ± {half_width}") };
    format!("{value}{half_width} {unit} {way} {place}")
}

pub(super) fn phase_words(state: &State) -> String {
    match state.phase {
        Phase::Moving => "moving".to_owned(),
        Phase::Settling => format!("settling ({})", state.since_change),
        Phase::Settled => format!("settled ({})", state.since_change),
    }
}

pub(super) fn heading_words(state: &State) -> &'static str {
    match state.heading {
        Heading::AtRest => "at rest",
        Heading::Towards => "towards the goal",
        Heading::Away => "away from the goal",
        Heading::Past => "past the goal, on its other side",
    }
}

/// One line of at most 80 letters, with its line feed.
pub fn line(shown: &Shown<'_>) -> String {
    let start = format!("{:>4} {:>7.1} s  ", shown.number, shown.time_s);
    let rest = match shown.state.filter(|_| shown.is_used) {
        Some(state) => {
            let e = compact(percent(state.compensation.error).signed());
            let held = if state.held > 0 { format!("  held {}", state.held) } else { String::new() };
            let turn = match state.verdict {
                Verdict::WithinTolerance => String::new(),
                _ => {
                    let change = state.compensation.adjustment(shown.adjusted_at).change_f;
                    format!("  turn {}", compact(picofarads(change).signed()))
                }
            };
            format!("e {e}  {}{turn}  {}{held}", short(state), phase_words(state))
        }
        None => "no reading".to_owned(),
    };
    let mut line: String = format!("{start}{rest}").chars().take(80).collect();
    line.push('\n');
    line
}

fn short(state: &State) -> &'static str {
    match state.verdict {
        Verdict::WithinTolerance => "within",
        Verdict::Undercompensated => "under",
        Verdict::Overcompensated => "over",
        Verdict::Undetermined => "close",
    }
}

/// `-6.31 ± 0.04 %`
fn compact(pair: Pair) -> String {
    if pair.half_width.is_empty() {
        format!("{} {}", pair.value, pair.unit)
    } else {
        format!("{} ± {} {}", pair.value, pair.half_width, pair.unit)
    }
}

/// A remark with its remedy, wrapped.
pub fn finding_lines(finding: &Finding) -> String {
    let mut page = Page::default();
    page.entry(severity_code(finding.severity), &format!("{} ({})", finding.message, finding.code));
    if !finding.remedy.is_empty() {
        page.entry("", &format!("Remedy: {}", finding.remedy));
    }
    page.into_text()
}

pub(super) fn tolerance_words(tolerance: f64) -> String {
    format!("±{}", plain_percent(tolerance, 3))
}
