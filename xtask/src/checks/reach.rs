//! Reach of a probe: what the trade says of ranges, and the residual error against the divider's response.

use super::{Row, Tag, rows_of};
use flattop_core::assessment::AdjustedAt;
use flattop_core::divider::Divider;
use flattop_core::reach::{
    CompensationRange, InputCapacitance, Reach, ReachProbe, TipCapacitance, Verdict, reach,
};

const PICO: f64 = 1e-12;
const DIVIDER: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };

/// A probe of 11 pF at the tip with a range in pF, on an input of `input` pF.
fn pairing(least: f64, most: f64, adjusted_at: AdjustedAt, input: f64) -> Option<Reach> {
    let probe = ReachProbe {
        divider: DIVIDER,
        tip: TipCapacitance::SeenAtTip(11.0 * PICO),
        adjusted_at,
        range: CompensationRange { least_f: least * PICO, most_f: most * PICO, tolerance_f: 0.0 },
    };
    reach(&probe, InputCapacitance { nominal_f: input * PICO, tolerance_f: 0.0 }).ok()
}

/// 1 reaches, 0 does not, NaN when not even that is certain.
fn reaches(pairing: &Option<Reach>) -> f64 {
    match pairing.as_ref().map(|r| r.margin.verdict) {
        Some(Verdict::Reaches) => 1.0,
        Some(Verdict::OutOfReach) => 0.0,
        _ => f64::NAN,
    }
}

fn error(pairing: &Option<Reach>) -> f64 {
    pairing.as_ref().map_or(f64::NAN, |r| 100.0 * r.residual.error)
}

/// What the trade knows of ranges.
#[rustfmt::skip]
pub(super) fn trade() -> Vec<Row> {
    let slow = pairing(8.0, 18.0, AdjustedAt::Base, 15.0);
    let wide = pairing(8.0, 18.0, AdjustedAt::Base, 20.0);
    let sine = |index: usize| wide.as_ref().map_or(f64::NAN, |r| 100.0 * r.sine_errors[index].error);
    let square = wide.as_ref().map_or((f64::NAN, f64::NAN), |r| r.residual.square_wave);
    // A slow instrument of 25 pF: the fast probe is made for 8 pF to 18 pF, the ordinary one for 15 pF to 35 pF.
    let fast = error(&pairing(8.0, 18.0, AdjustedAt::Base, 25.0)).abs();
    let ordinary = error(&pairing(15.0, 35.0, AdjustedAt::Base, 25.0)).abs();
    rows_of("common practice", Tag::CommonPractice, &[
        ("C-07", "range 8 pF to 18 pF reaches a 15 pF input (1 yes, 0 no)", 1.0, reaches(&slow), 0.01, "1"),
        ("C-08", "range 8 pF to 18 pF reaches a 20 pF input (1 yes, 0 no)", 0.0, reaches(&wide), 0.01, "1"),
        ("C-09", "on 20 pF the start of a 1 kHz square wave stays off, by about", -1.6, 100.0 * square.0, 0.2, "%"),
        ("C-09", "and its end comes right", 0.0, 100.0 * square.1, 0.1, "%"),
        ("C-10", "on 20 pF a 1 kHz sine still reads within a per cent", 0.0, sine(0), 1.0, "%"),
        ("C-10", "on 20 pF a 10 kHz sine reads low by all of the residual error: share of e", 1.0, sine(1) / error(&wide), 0.05, "1"),
        ("C-11", "the faster probe on a slower input of 25 pF: residual error, worse than the ordinary probe's by", 5.4, fast - ordinary, 0.1, "%"),
    ])
}

/// Residual errors, worked out from the capacitances themselves.
#[rustfmt::skip]
pub(crate) fn rows() -> Vec<Row> {
    // C1 = 11 pF·10/9; at the base it is the same at both stops, at the tip it follows the limit by a ninth.
    rows_of("C1/(C1+C2)/g0 − 1 with the trimmer at its stop, worked out in Python", Tag::Derived, &[
        ("D-33", "8 pF to 18 pF at the base, input of 20 pF: e", -1.610018, error(&pairing(8.0, 18.0, AdjustedAt::Base, 20.0)), 0.51e-6, "%"),
        ("D-33", "8 pF to 18 pF at the base, input of 6 pF: e", 1.663586, error(&pairing(8.0, 18.0, AdjustedAt::Base, 6.0)), 0.51e-6, "%"),
        ("D-33", "8 pF to 18 pF at the tip, input of 20 pF: e", -1.541096, error(&pairing(8.0, 18.0, AdjustedAt::Tip, 20.0)), 0.51e-6, "%"),
        ("D-33", "8 pF to 18 pF at the tip, input of 6 pF: e", 1.744186, error(&pairing(8.0, 18.0, AdjustedAt::Tip, 6.0)), 0.51e-6, "%"),
    ])
}
