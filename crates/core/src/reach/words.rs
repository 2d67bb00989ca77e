//! What reach says to people: the square wave's picture, and the findings with their remedies.

use super::{CompensationRange, InputCapacitance, Margin, ReachProbe, Residual, SineError, Verdict};
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};

fn farads(value: f64) -> String {
    format_engineering(value, Unit::Farad, 3)
}

fn percent(value: f64) -> String {
    format_engineering(value.abs(), Unit::Ratio, 2)
}

/// How a 1 kHz square wave looks.
pub(super) fn square_wave(residual: &Residual) -> String {
    let (start, end) = residual.square_wave;
    if residual.error < 0.0 {
        let (start, end) = (percent(start), percent(end));
        format!(
            "corners rounded: each flat part starts {start} short and creeps up to {end} short at its end"
        )
    } else if residual.error > 0.0 {
        let (start, end) = (percent(start), percent(end));
        format!(
            "corners peaked: each flat part starts {start} too high and droops to {end} too high at its end"
        )
    } else {
        "flat: the trimmer can square the corners".to_owned()
    }
}

pub(super) fn findings(
    probe: &ReachProbe,
    input: InputCapacitance,
    margin: Margin,
    residual: &Residual,
    sines: &[SineError],
) -> Vec<Finding> {
    if margin.verdict == Verdict::Reaches {
        return Vec::new();
    }
    let range = &probe.range;
    let (a, b, c) = (farads(range.least_f), farads(range.most_f), farads(input.nominal_f));
    let above = range.most_f - input.nominal_f < input.nominal_f - range.least_f;
    let missing = margin.tolerance_f - margin.margin_f;
    let remedy = if above {
        "use a probe whose range contains this input, or an input of less capacitance; a faster probe is often the worse \
         choice on a slower input, whose capacitance is larger"
            .to_owned()
    } else {
        format!(
            "pad the input with {}, so that it lies inside the range with all tolerances",
            farads(pad(range, input, missing))
        )
    };
    let finding = if margin.verdict == Verdict::MayReach {
        let (low, high) = residual.bounds;
        let message = format!(
            "input of {c} is within {} of the limits of the compensation range {a} to {b}, less than the tolerances of {}: \
             at worst the trimmer stops at e = {} from balance",
            farads(margin.margin_f.abs()),
            farads(margin.tolerance_f),
            percent(low.abs().max(high)),
        );
        Finding::warning(
            "reach-not-certain",
            message,
            format!("adjust it and look at a capture; where it stops short, {remedy}"),
        )
    } else {
        let reads = if residual.error < 0.0 { "low" } else { "high" };
        let at = |index: usize| sines.get(index).map_or(0.0, |s: &SineError| s.error);
        let message = format!(
            "input of {c} lies {} outside the compensation range {a} to {b}: the best setting leaves e = {}{}; sines read {} {reads} at \
             10 kHz and {} {reads} from 100 kHz up",
            farads(-margin.margin_f),
            if residual.error < 0.0 { "-" } else { "+" },
            percent(residual.error),
            percent(at(1)),
            percent(at(3)),
        );
        Finding::warning("out-of-reach", message, remedy)
    };
    vec![finding]
}

/// Capacitance to add so that an input near or below the lower limit lies inside with all tolerances; to the middle where the
/// range is narrower than they are.
fn pad(range: &CompensationRange, input: InputCapacitance, missing_f: f64) -> f64 {
    missing_f.min(0.5 * (range.least_f + range.most_f) - input.nominal_f)
}
