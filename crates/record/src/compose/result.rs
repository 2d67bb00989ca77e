//! The result of one assessment: statement, decision rule, figures, error against frequency.

use flattop_core::assessment::{AdjustedAt, Compensation, Estimate, ONE_SIDED_95, Verdict};
use flattop_register::AssessmentRecord;
use flattop_report::format::{Pair, degrees, percent, picofarads, plain, plain_percent, quantity};
use flattop_report::plot;
use flattop_report::subject::{COVERAGE_FACTOR_95, STATED_FREQUENCIES_HZ};

use super::admin::heading;
use super::{figure, with_units};
use crate::document::{Align, Block, Column, Level, Row, Statement, Table};

/// Statement of conformity with what it rests on. `why` is the reason of a verdict that was withheld.
pub(super) fn statement(record: &AssessmentRecord, why: Option<&str>) -> Block {
    let allowed = plain_percent(record.tolerance, 3);
    let figures = record.compensation.map(|c| with_units(&percent(c.error).signed()));
    let sentence = match (record.verdict, record.compensation) {
        (Verdict::WithinTolerance, _) => format!("Within tolerance: |e| is at most {allowed}."),
        (Verdict::Undercompensated, _) => {
            format!("Outside tolerance, undercompensated: fast parts read low by more than {allowed}.")
        }
        (Verdict::Overcompensated, _) => {
            format!("Outside tolerance, overcompensated: fast parts read high by more than {allowed}.")
        }
        (Verdict::Undetermined, None) => "Undetermined: the capture carries no compensation error.".into(),
        (Verdict::Undetermined, Some(_)) => {
            format!("Undetermined: whether |e| is at most {allowed} is not decided.")
        }
    };
    let mut detail = Vec::new();
    if let Some(figures) = figures {
        detail.push(format!("e = {figures} (95 %), tolerance ± {allowed} on e."));
    }
    if let Some(why) = why {
        detail.push(why.to_owned());
    }
    detail.push(match record.verdict {
        Verdict::WithinTolerance => "At least 95 % sure, by the decision rule below.".into(),
        Verdict::Undercompensated | Verdict::Overcompensated => {
            "At least 95 % sure, by the decision rule below. Not fit for use at this tolerance before it is adjusted and \
             assessed again."
                .into()
        }
        Verdict::Undetermined => {
            "No statement of conformity is made: capture again before the pairing is relied on.".into()
        }
    });
    Block::Statement(Statement { mark: plot::verdict_scene(record.verdict), sentence, detail })
}

/// The rule, with the figures of this record put in.
pub(super) fn rule(record: &AssessmentRecord) -> Vec<Block> {
    let mut blocks = vec![Block::Heading(Level::Part, heading::RULE.into()), Block::Paragraph(rule_words())];
    if let Some(compensation) = &record.compensation {
        let guard = ONE_SIDED_95 * compensation.error.standard_uncertainty;
        let magnitude = compensation.error.value.abs();
        let share = |value: f64| figure(&format!("{:.3} %", 100.0 * value));
        blocks.push(Block::Paragraph(format!(
            "Here |e| = {}, 1.645·u(e) = {}, T = {}: |e| + 1.645·u(e) = {} and |e|\u{a0}−\u{a0}1.645·u(e) = {}.",
            share(magnitude),
            share(guard),
            share(record.tolerance),
            share(magnitude + guard),
            share(magnitude - guard)
        )));
        if compensation.verdict(record.tolerance) != record.verdict {
            blocks.push(Block::Paragraph(
                "The figures alone would give another verdict: a finding of the assessment speaks against them (see \
                 Findings), and the verdict follows the finding."
                    .into(),
            ));
        }
    }
    blocks
}

/// The rule that all verdicts follow.
pub(super) fn rule_words() -> String {
    "The statement holds for the compensation error e of this probe on this input at the time of the assessment, against \
     the tolerance T on |e|. With the standard uncertainty u(e), the verdict is within tolerance when |e| + 1.645·u(e) ≤ T, \
     outside when |e| − 1.645·u(e) > T, and undetermined between the two: a guard band of 1.645·u(e) on either side of T, \
     so that either statement is wrong with a probability of at most 5 % (one-sided, normal distribution; guarded \
     acceptance in the sense of JCGM 106:2012)."
        .into()
}

fn row(name: &str, pair: Pair, standard: Estimate, factor: f64, places: usize) -> Row {
    let u = factor * standard.standard_uncertainty;
    let half_width = if pair.half_width.is_empty() { "nil".into() } else { pair.half_width };
    Row::plain(vec![name.into(), figure(&pair.value), half_width, format!("{u:.places$}"), pair.unit])
}

/// Decimal places of a text.
fn places(text: &str) -> usize {
    text.split_once('.').map_or(0, |(_, after)| after.len())
}

/// e, τp, the capacitances, and the change that compensates.
pub(super) fn figures(compensation: &Compensation, adjusted_at: Option<AdjustedAt>) -> Block {
    let columns = vec![
        Column::new("Quantity", Align::Words),
        Column::new("Value", Align::Decimal),
        Column::new("U", Align::Decimal),
        Column::new("u", Align::Decimal),
        Column::new("Unit", Align::Short),
    ];
    let factor_of = |pair: &Pair, estimate: Estimate| {
        // From the printed unit back to the factor: the prefix alone tells it.
        match pair.unit.as_str() {
            "%" => 100.0,
            "pF" => 1e12,
            _ => flattop_report::format::prefix_for(
                estimate.value.abs().max(COVERAGE_FACTOR_95 * estimate.standard_uncertainty),
            )
            .0
            .recip(),
        }
    };
    let line = |name: &str, pair: Pair, estimate: Estimate| {
        let factor = factor_of(&pair, estimate);
        let digits = places(&pair.half_width).max(places(&pair.value)) + 1;
        row(name, pair, estimate, factor, digits.min(5))
    };
    let c = compensation;
    let mut rows = vec![
        line(
            "Compensation error e: gain for fast parts over gain for slow parts, minus one",
            percent(c.error).signed(),
            c.error,
        ),
        line("Time constant τp", quantity(c.time_constant_s, "s"), c.time_constant_s),
        line("Capacitance at the tip resistor C1", picofarads(c.tip_capacitance_f()), c.tip_capacitance_f()),
        line(
            "Shunt capacitance C2: cable, box and input",
            picofarads(c.shunt_capacitance_f()),
            c.shunt_capacitance_f(),
        ),
        line(
            "Capacitance the circuit sees at the tip, without the body’s",
            picofarads(c.seen_at_tip_f()),
            c.seen_at_tip_f(),
        ),
    ];
    for (at, name) in [
        (AdjustedAt::Tip, "Change of C1 at the tip that compensates"),
        (AdjustedAt::Base, "Change of C2 in the box that compensates"),
    ] {
        if adjusted_at.is_none_or(|known| known == at) {
            let change = c.adjustment(at).change_f;
            rows.push(line(name, picofarads(change).signed(), change));
        }
    }
    let caption =
        "U is the expanded uncertainty, 1.96·u, for a coverage of 95 % (normal distribution); u is the \
                   standard uncertainty. Both are in the unit of their row"
            .into();
    Block::Table(Table { caption, columns, rows })
}

/// Error of a sine at the frequencies that every face of the program states.
pub(super) fn frequencies(compensation: &Compensation) -> Block {
    let columns = vec![
        Column::new("Frequency", Align::Short),
        Column::new("Amplitude error, %", Align::Decimal),
        Column::new("U, %", Align::Decimal),
        Column::new("Phase error, °", Align::Decimal),
        Column::new("U, °", Align::Decimal),
    ];
    let rows = STATED_FREQUENCIES_HZ
        .iter()
        .map(|frequency_hz| {
            let point = compensation.response_at(*frequency_hz);
            let (amplitude, phase) =
                (percent(point.amplitude_error).signed(), degrees(point.phase_error_rad).signed());
            Row::plain(vec![
                plain(*frequency_hz, "Hz", 3),
                figure(&amplitude.value),
                amplitude.half_width,
                figure(&phase.value),
                phase.half_width,
            ])
        })
        .collect();
    let caption =
        "Error of a sine against its frequency, by the first-order model with the values above; U is for 95 %".into();
    Block::Table(Table { caption, columns, rows })
}
