//! From a request to its results.

use flattop_core::reach::{InputCapacitance, ReachError, ReachProbe, reach};
use flattop_report::reach::{Pairing, Unfit, capacitance};

use super::request::Request;

/// The results in the order of the inputs.
pub(super) fn run(request: &Request) -> Vec<Result<Pairing, Unfit>> {
    judged(request.probe, &request.inputs)
}

/// A probe on inputs, in their order.
pub(crate) fn judged(probe: ReachProbe, inputs: &[InputCapacitance]) -> Vec<Result<Pairing, Unfit>> {
    let judge = |&input| match reach(&probe, input) {
        Ok(reach) => Ok(Pairing { probe, input, reach }),
        Err(error) => Err(Unfit { input, message: words(&probe, &error) }),
    };
    inputs.iter().map(judge).collect()
}

/// The core's error in the units that were typed.
fn words(probe: &ReachProbe, error: &ReachError) -> String {
    match *error {
        ReachError::RangeAgainstTip { most_f, shunt_f } => {
            let ReachProbe { divider, .. } = probe;
            let order = if divider.tip_resistance_ohm < divider.shunt_resistance_ohm {
                "name the resistor at the tip first, as in --divider 9M:1M for a 10× probe"
            } else {
                "correct --range, --tip or --divider"
            };
            format!(
                "at the stop for an input of {}, tolerance included, this tip balances {} in all, less than that input \
                 alone; {order}",
                capacitance(most_f),
                capacitance(shunt_f),
            )
        }
        _ => error.to_string(),
    }
}
