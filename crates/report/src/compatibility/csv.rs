//! Lists for spreadsheets and programs (RFC 4180): plain numbers in SI units, named in the head line; empty where not known.

use std::fmt::Write as _;

use flattop_core::reach_matrix::{Row, Standing, Summary};

use super::{Kind, Sides, keys, standing_code};

/// The head line of the pairs.
pub const PAIRS_HEAD: &str = "probe,input,verdict,margin_f,margin_tolerance_f,compensation_error,compensation_error_lowest,\
compensation_error_highest,bandwidth_hz,transition_duration_s,reads,wrong_load,missing\r\n";

/// The head line of the sums.
pub const SUMS_HEAD: &str = "rank,probe,label,inputs,left_out,suits,suits_all,reaches,nothing_to_balance,may_reach,cannot_be_said,\
out_of_reach,wrong_load,least_margin_input,least_margin_f,least_margin_tolerance_f,worst_error_input,worst_error,\
least_bandwidth_input,least_bandwidth_hz,error\r\n";

/// Adds the lines of one probe's pairs.
pub fn pairs(out: &mut String, sides: &Sides, probe: usize, row: &Row) {
    let name = sides.probes[probe].id.as_str();
    for (named, cell) in sides.inputs.iter().zip(row.cells()) {
        // Writing to a String cannot fail.
        let (scope, input) = (&named.id.oscilloscope, &named.id.name);
        let _ = write!(out, "{name},{scope}/{input},{}", standing_code(cell.standing));
        let tolerance = cell.tolerance_f.filter(|_| cell.tolerance_known);
        let (lowest, highest) = cell.error_bounds.unzip();
        for value in [
            cell.margin_f,
            tolerance,
            cell.error,
            lowest,
            highest,
            cell.bandwidth_hz,
            cell.transition_s,
            cell.reads,
        ] {
            number(out, value);
        }
        out.push_str(if cell.wrong_load() { ",yes," } else { ",no," });
        if !cell.lacking.is_empty() {
            let of_probe = keys(cell.lacking, false).into_iter().map(|key| format!("probe.{key}"));
            let of_input = keys(cell.lacking, true).into_iter().map(|key| format!("input.{key}"));
            out.push_str(&of_probe.chain(of_input).collect::<Vec<_>>().join(" "));
        }
        out.push_str("\r\n");
    }
}

/// Adds the line of one probe. `rank` counts from 1.
pub fn sum(out: &mut String, sides: &Sides, kind: Kind, probe: usize, rank: usize, sum: &Summary) {
    let known = &sides.probes[probe];
    // Writing to a String cannot fail.
    if kind == Kind::Candidates {
        let _ = write!(out, "{rank}");
    }
    let _ = write!(out, ",{},{}", known.id, quoted(known.label.as_deref().unwrap_or_default()));
    let _ = write!(out, ",{},{},{}", sum.judged, sum.left_out, sum.suits);
    out.push_str(if sum.suits_all() { ",yes" } else { ",no" });
    for standing in Standing::ALL {
        let _ = write!(out, ",{}", sum.count(standing));
    }
    let _ = write!(out, ",{}", sum.wrong_load);
    let input = |index: usize| sides.inputs[index].id.to_string();
    let named = |out: &mut String, index: Option<usize>| {
        out.push(',');
        out.push_str(&index.map(input).unwrap_or_default());
    };
    named(out, sum.least.map(|least| least.input));
    number(out, sum.least.map(|least| least.margin_f));
    let known_tolerance = sum
        .least
        .filter(|least| sides.inputs[least.input].input.capacitance_f.is_some_and(|c| c.tolerance.is_some()));
    number(out, known_tolerance.map(|least| least.tolerance_f));
    named(out, sum.worst_error.map(|(index, _)| index));
    number(out, sum.worst_error.map(|(_, error)| error));
    named(out, sum.least_bandwidth.map(|(index, _)| index));
    number(out, sum.least_bandwidth.map(|(_, hertz)| hertz));
    let error = sides.ready.unfit(probe).map(ToString::to_string).unwrap_or_default();
    let _ = write!(out, ",{}\r\n", quoted(&error));
}

/// Twelve significant digits hold every figure; zeros at their end are left out.
fn number(out: &mut String, value: Option<f64>) {
    out.push(',');
    let Some(value) = value else { return };
    let start = out.len();
    // Writing to a String cannot fail.
    let _ = write!(out, "{value:.11e}");
    if let Some(exponent) = out[start..].find('e').map(|at| start + at) {
        let kept = out[start..exponent].trim_end_matches('0').trim_end_matches('.').len();
        out.replace_range(start + kept..exponent, "");
    }
}

/// Free text as a cell; what a spreadsheet would take for a formula gets an apostrophe in front.
fn quoted(text: &str) -> String {
    let harmless =
        if text.starts_with(['=', '+', '-', '@', '\t']) { format!("'{text}") } else { text.to_owned() };
    if harmless.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", harmless.replace('"', "\"\""))
    } else {
        harmless
    }
}
