//! Uncertainty budgets as tables.

use flattop_core::assessment::{AdjustedAt, Compensation};
use flattop_report::format::{prefix_for, significant};
use flattop_report::subject::COVERAGE_FACTOR_95;

use super::admin::heading;
use super::figure;
use crate::budget::{Budget, Input, Measurand, budget};
use crate::document::{Align, Block, Column, Level, Row, Table};

/// The budgets of e, τp, C1, C2 and the trim.
pub(super) fn blocks(
    compensation: &Compensation,
    adjusted_at: Option<AdjustedAt>,
    method: &str,
) -> Vec<Block> {
    let mut blocks = vec![
        Block::Heading(Level::Section, heading::BUDGET.into()),
        Block::Paragraph(words(compensation, method)),
    ];
    let mut measurands = vec![
        Measurand::Error,
        Measurand::TimeConstant,
        Measurand::TipCapacitance,
        Measurand::ShuntCapacitance,
    ];
    for at in [AdjustedAt::Tip, AdjustedAt::Base] {
        if adjusted_at.is_none_or(|known| known == at) {
            measurands.push(Measurand::Trim(at));
        }
    }
    blocks.extend(
        measurands.into_iter().map(|measurand| Block::Table(table(&budget(compensation, measurand)))),
    );
    blocks
}

fn words(compensation: &Compensation, method: &str) -> String {
    let source = match method {
        "by-eye" => "the uncertainty of the levels as read off the screen",
        _ => {
            "the noise of the record, the steps of the quantiser, the times of the edges, and an allowance for what the \
             first-order model leaves out"
        }
    };
    format!(
        "Combined by the law of propagation (JCGM 100:2008, 5.1.2 and, for the correlated pair, 5.2.2). e and τp come from \
         one fit: their standard uncertainties hold {source} (mostly type A, evaluated from the record itself), and their \
         correlation coefficient is {}. Resistors are taken within their stated tolerance, evenly spread (type B, \
         rectangular, half-width over √3; JCGM 100, 4.3.7). Coverage factor k = {:.2} for 95 %, normal distribution.",
        figure(&format!("{:.2}", compensation.correlation)),
        COVERAGE_FACTOR_95,
    )
}

fn table(budget: &Budget) -> Table {
    let (name, unit, scale) = measurand(budget);
    let contribution = format!("Contribution |c|·u, {unit}");
    let columns = vec![
        Column::new("Input quantity", Align::Words),
        Column::new("Value", Align::Short),
        Column::new("u", Align::Short),
        Column::new("Type, distribution", Align::Words),
        Column::new("Sensitivity c", Align::Short),
        Column::new(&contribution, Align::Decimal),
    ];
    let u = budget.estimate.standard_uncertainty * scale;
    // Two digits of the combined uncertainty; one place more for its parts.
    let places = if u > 0.0 { (2.0 - u.log10().floor()).clamp(0.0, 9.0) as usize } else { 3 };
    let shown = |value: f64| figure(&format!("{value:.places$}"));
    let mut rows: Vec<Row> = budget
        .lines
        .iter()
        .map(|line| {
            let (input, of, kind) = input(line.input);
            let (value, standard) = (line.estimate.value, line.estimate.standard_uncertainty);
            let (value, standard) = match line.input {
                Input::Error => (
                    format!("{} %", significant(100.0 * value, 4)),
                    format!("{} %", significant(100.0 * standard, 2)),
                ),
                _ => (engineering(value, of, 4), engineering(standard, of, 2)),
            };
            let c = line.sensitivity;
            let sensitivity = if of == unit_of(budget.measurand) {
                "1".into()
            } else {
                sensitivity(c, budget.measurand, of)
            };
            Row::plain(vec![
                input.into(),
                figure(&value),
                standard,
                kind.into(),
                sensitivity,
                shown(line.share().abs() * scale),
            ])
        })
        .collect();
    if budget.covariance_term.abs() > 0.0 {
        let sign = if budget.covariance_term < 0.0 { "takes away" } else { "adds" };
        let share = budget.covariance_term.abs().sqrt() * scale;
        let input = format!("Correlation of e and τp: {sign} the square of");
        rows.push(Row::plain(vec![
            input,
            String::new(),
            String::new(),
            String::new(),
            String::new(),
            shown(share),
        ]));
    }
    let nothing = String::new;
    let total = |name: String, value: f64| {
        Row::total(vec![name, nothing(), nothing(), nothing(), nothing(), shown(value)])
    };
    rows.push(total("Combined standard uncertainty u".into(), u));
    rows.push(total(format!("Expanded uncertainty U, k = {COVERAGE_FACTOR_95:.2}"), COVERAGE_FACTOR_95 * u));
    let value = figure(&format!("{:.places$}", budget.estimate.value * scale));
    Table { caption: format!("{name} = {value} {unit}"), columns, rows }
}

/// Name, unit it is shown in, and the factor from SI to that unit.
fn measurand(budget: &Budget) -> (&'static str, String, f64) {
    match budget.measurand {
        Measurand::Error => ("Compensation error e", "%".into(), 100.0),
        Measurand::TimeConstant => {
            let (factor, prefix) = prefix_for(budget.estimate.value.abs());
            ("Time constant τp", format!("{prefix}s"), factor.recip())
        }
        Measurand::TipCapacitance => ("Capacitance at the tip resistor C1", "pF".into(), 1e12),
        Measurand::ShuntCapacitance => ("Shunt capacitance C2", "pF".into(), 1e12),
        Measurand::Trim(AdjustedAt::Tip) => ("Change of C1 at the tip that compensates", "pF".into(), 1e12),
        Measurand::Trim(AdjustedAt::Base) => ("Change of C2 in the box that compensates", "pF".into(), 1e12),
    }
}

fn unit_of(measurand: Measurand) -> &'static str {
    match measurand {
        Measurand::Error => "",
        Measurand::TimeConstant => "s",
        Measurand::TipCapacitance | Measurand::ShuntCapacitance | Measurand::Trim(_) => "F",
    }
}

fn input(input: Input) -> (&'static str, &'static str, &'static str) {
    match input {
        Input::Error => ("e, from the fit", "", "A, normal"),
        Input::TimeConstant => ("τp, from the fit", "s", "A, normal"),
        Input::TipResistor => ("R1, tip resistor", "Ω", "B, rectangular"),
        Input::ShuntResistor => ("R2, at the oscilloscope", "Ω", "B, rectangular"),
    }
}

fn engineering(value: f64, unit: &str, digits: usize) -> String {
    figure(&flattop_report::format::plain(value, unit, digits))
}

/// A sensitivity in units that a reader can follow: for each percent, each µs, each MΩ.
fn sensitivity(c: f64, measurand: Measurand, of: &str) -> String {
    if unit_of(measurand) != "F" {
        return figure(&significant(c, 4));
    }
    let (per, unit) = match of {
        "" => (1e-2, "%"),
        "s" => (1e-6, "µs"),
        _ => (1e6, "MΩ"),
    };
    format!("{}/{unit}", engineering(c * per, "F", 3))
}
