//! A probe known by its data sheet, set to the compensation error that was measured of it.

use flattop_core::chain::Chain;
use flattop_core::data_sheet::Adjusted;
use flattop_core::divider::Divider;
use flattop_core::prediction::Doubt;
use flattop_plan::document::Quantity;

use super::Setup;

/// The same setup with `error` for e, the trimmer set beyond its model's stops where need be: what was measured is so. All
/// doubts keep it, as it was seen on the screen whatever is assumed of the probe; its own doubt comes on top.
pub(super) fn to_error(mut setup: Setup, error: Quantity, adjusted: Adjusted) -> Result<Setup, String> {
    let e = error.value;
    let chain = with_error(&setup.chain, e, adjusted)?;
    for doubt in &mut setup.doubts {
        doubt.shifted = with_error(&doubt.shifted, e, adjusted)?;
    }
    if let Some(u) = error.standard_uncertainty().filter(|u| *u > 0.0) {
        let shifted = with_error(&setup.chain, e + u, adjusted)?;
        setup.doubts.push(Doubt { name: "probe.compensation_error".to_owned(), shifted });
    }
    setup.chain = chain;
    Ok(setup)
}

/// The chain with C1 (C2 for a probe adjusted in its box) such that C1/(C1 + C2) = (1 + e)·R2/(R1 + R2), see `divider`.
fn with_error(chain: &Chain, e: f64, adjusted: Adjusted) -> Result<Chain, String> {
    let shown = |e: f64| format!("[probe] compensation_error of {} %", e * 100.0);
    if chain.lumped().is_none() || !(chain.tip.capacitance_f > 0.0) {
        return Err(format!("{}: this probe has nothing to compensate; take the key out", shown(e)));
    }
    // A divider of this gain is balanced where ours is off by e.
    let resistance_ohm = chain.input.resistance_ohm;
    let gain = (1.0 + e) * resistance_ohm / (resistance_ohm + chain.tip.resistance_ohm);
    if !(gain > 0.0 && gain < 1.0) {
        return Err(format!("{}: no divider of this ratio can be so far off; correct it", shown(e)));
    }
    let balanced = Divider {
        tip_resistance_ohm: resistance_ohm * (1.0 / gain - 1.0),
        shunt_resistance_ohm: resistance_ohm,
    };
    let mut set = chain.clone();
    if adjusted == Adjusted::AtBase {
        let others_f = chain.shunt_capacitance_f() - chain.compensation_box.capacitance_f;
        let box_f = balanced.balanced_shunt_capacitance_f(chain.tip.capacitance_f) - others_f;
        if box_f >= 0.0 {
            set.compensation_box.capacitance_f = box_f;
            return Ok(set);
        }
        // Less than no box: the rest is at the tip.
        set.compensation_box.capacitance_f = 0.0;
    }
    set.tip.capacitance_f = balanced.compensating_tip_capacitance_f(set.shunt_capacitance_f());
    Ok(set)
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative};
    use flattop_core::chain::{Contact, Coupling, Input, Node, Response, ResponseShape};
    use flattop_core::data_sheet::{DataSheet, Setting};

    fn chain(adjusted: Adjusted, ratio: f64, input_ohm: f64) -> Chain {
        let sheet = DataSheet {
            ratio,
            input_resistance_ohm: None,
            input_capacitance_f: 10e-12,
            compensation_range_f: (input_ohm > 1e3).then_some((8e-12, 18e-12)),
            bandwidth_hz: None,
            cable_length_m: None,
            adjusted,
        };
        let setting = Setting {
            node: Node { resistance_ohm: 25.0, capacitance_f: 0.0 },
            contact: Contact { inductance_h: 0.0, resistance_ohm: 0.0 },
            input: Input {
                resistance_ohm: input_ohm,
                capacitance_f: 15e-12,
                response: Response { shape: ResponseShape::SinglePole, bandwidth_hz: 2e8 },
                coupling: Coupling::Dc,
                limit: None,
            },
        };
        sheet.model(&setting).unwrap().chain
    }

    #[test]
    fn the_divider_has_the_error_wherever_it_is_trimmed() {
        // Worked back by the core's own shelf of the capacitances (dossier D-01 to D-16).
        for adjusted in [Adjusted::AtTip, Adjusted::AtBase, Adjusted::Nowhere] {
            for e in [-0.2, -0.013, 0.05, 0.9] {
                let set = with_error(&chain(adjusted, 10.0, 1e6), e, adjusted).unwrap();
                assert_close!(set.lumped().unwrap().shelf.error, e, relative(1e-9));
                assert!(set.check().is_ok());
            }
        }
    }

    #[test]
    fn errors_that_cannot_be_are_refused() {
        let probe = chain(Adjusted::AtTip, 10.0, 1e6);
        for e in [-1.0, 9.0, f64::NAN] {
            assert!(with_error(&probe, e, Adjusted::AtTip).unwrap_err().contains("correct it"), "{e}");
        }
        let mut plain = probe;
        plain.tip.capacitance_f = 0.0;
        assert!(with_error(&plain, 0.0, Adjusted::Nowhere).unwrap_err().contains("nothing to compensate"));
    }
}
