//! The contributions as a list for spreadsheets: one line for each input and result, and one for each result itself.

use super::{Subject, evaluation_code, symbol};

const HEAD: &str = "frequency_hz,quantity,unit,value,standard_uncertainty,distribution,evaluation,degrees_of_freedom,sensitivity,\
                    contribution,share,expanded_uncertainty,low,high\n";

/// The list, comma-separated, points as decimal signs, SI units. Cells that do not apply are empty. `low` and `high` are the ends of the
/// symmetric Monte Carlo interval.
pub fn of(subject: &Subject) -> String {
    let mut text = HEAD.to_owned();
    let number = |value: f64| if value.is_finite() { value.to_string() } else { String::new() };
    for result in &subject.budget.results {
        let frequency = result.frequency_hz.map_or_else(String::new, number);
        let mut line = |cells: [String; 13]| {
            text.push_str(&frequency);
            for cell in cells {
                text.push(',');
                // Names are keys of plans, but a quote costs nothing.
                if cell.contains([',', '"']) {
                    text.push_str(&format!("\"{}\"", cell.replace('"', "\"\"")));
                } else {
                    text.push_str(&cell);
                }
            }
            text.push('\n');
        };
        for ((quantity, unit), term) in subject.inputs.iter().zip(&result.propagation.terms) {
            let d = &quantity.distribution;
            line([
                quantity.name.clone(),
                symbol(*unit).to_owned(),
                number(d.mean()),
                number(d.standard_uncertainty()),
                d.words().to_owned(),
                evaluation_code(quantity.evaluation).to_owned(),
                number(quantity.effective_freedom()),
                number(term.sensitivity),
                number(term.contribution),
                number(term.share),
                String::new(),
                String::new(),
                String::new(),
            ]);
        }
        let p = &result.propagation;
        let none = String::new;
        line([
            format!("{} (corrected)", subject.measurand.code()),
            subject.measurand.unit().symbol().to_owned(),
            number(p.value),
            number(p.standard_uncertainty),
            none(),
            none(),
            number(p.coverage.freedom),
            none(),
            none(),
            none(),
            number(p.coverage.expanded),
            number(result.drawn.symmetric.low),
            number(result.drawn.symmetric.high),
        ]);
    }
    text
}
