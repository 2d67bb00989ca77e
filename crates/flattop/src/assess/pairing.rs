//! What the bench knows of the pairing that is assessed: its resistors, its trimmer, its tolerance.

use flattop_core::bench::{Id, InputId, Trimmer};
use flattop_core::divider::Divider;
use flattop_core::finding::Finding;
use flattop_register::Register;
use flattop_report::subject::OnBench;

use super::args::{Args, Circuit};
use super::request::Known;
use crate::workbench::{BenchFile, input_id, probe_id};

/// What the bench knows of the pairing that was typed; `None` where none was.
pub(super) fn of_args(args: &Args) -> Result<Option<Known>, String> {
    let Some(probe) = &args.logging.probe else { return Ok(None) };
    let typed = Typed { probe, input: args.logging.input.as_deref(), log: args.logging.log };
    typed.known(&args.logging.bench, &args.circuit).map(Some)
}

/// A pairing as it was typed; `trim` takes the same.
pub(crate) struct Typed<'a> {
    pub(crate) probe: &'a str,
    pub(crate) input: Option<&'a str>,
    /// Whether the result goes into the logbook, which takes a pairing.
    pub(crate) log: bool,
}

impl Typed<'_> {
    /// What the bench knows of it.
    pub(crate) fn known(&self, bench: &BenchFile, circuit: &Circuit) -> Result<Known, String> {
        let register = bench.read()?;
        let input = self.input.map(input_id).transpose()?;
        let mut known = known(&register, &probe_id(self.probe)?, input.as_ref(), circuit.divider)?;
        if self.log
            && let Some(place) = known.on_bench.as_ref().filter(|place| place.pairing.is_none())
        {
            return Err(format!(
                "{} is not paired with {}, so there is nothing to log to; pair them first: flattop bench {} {} {}",
                place.probe,
                place.input,
                if register.pairing_of(&probe_id(self.probe)?).is_ok_and(|p| p.is_some()) {
                    "move"
                } else {
                    "pair"
                },
                place.probe,
                place.input,
            ));
        }
        if circuit.adjust.is_some() {
            known.findings.retain(|f| f.code != "trimmer-fixed");
        }
        Ok(known)
    }
}

/// What the bench knows of a probe on an input; without an input, on the one it is paired with. `typed` goes before what the
/// bench says of the resistors.
pub(crate) fn known(
    register: &Register,
    probe_id: &Id,
    input: Option<&InputId>,
    typed: Option<Divider>,
) -> Result<Known, String> {
    let fail = |e: flattop_register::RegisterError| e.to_string();
    let probe = register.probe(probe_id).map_err(fail)?;
    let held = register.pairing_of(probe_id).map_err(fail)?;
    let input_id = match (input, &held) {
        (Some(input), _) => input.clone(),
        (None, Some(held)) => held.input.clone(),
        (None, None) => {
            return Err(format!(
                "{probe_id} is not paired with any input; name one with --input, for example --input bench-a/ch1"
            ));
        }
    };
    let input = register.input(&input_id).map_err(fail)?;
    let held = held.filter(|held| held.input == input_id);
    let (r1, r2) = (probe.tip_resistance_ohm, input.resistance_ohm);
    let divider = match (typed, probe.ratio, r1, r2) {
        (Some(typed), ..) => typed,
        (None, _, Some(tip), Some(shunt)) => {
            Divider { tip_resistance_ohm: tip.value, shunt_resistance_ohm: shunt.value }
        }
        (None, Some(ratio), None, Some(shunt)) if ratio > 1.0 => {
            Divider { tip_resistance_ohm: (ratio - 1.0) * shunt.value, shunt_resistance_ohm: shunt.value }
        }
        (None, _, _, None) => {
            return Err(format!(
                "the resistance of {input_id} is not known; enter it: flattop bench edit {input_id} resistance=1M, or give \
                 --divider 9M:1M"
            ));
        }
        (None, ..) => {
            return Err(format!(
                "neither ratio nor tip resistance of {probe_id} make a divider; enter one: flattop bench edit {probe_id} \
                 ratio=10, or give --divider 9M:1M"
            ));
        }
    };
    // The wider of the two; one tolerance is assumed for both.
    let relative = |r: Option<flattop_core::bench::Toleranced>| r.and_then(|r| Some(r.tolerance? / r.value));
    let resistor_tolerance = match (relative(r1), relative(r2)) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
    let mut findings = Vec::new();
    if probe.adjusted_at == Some(Trimmer::Fixed) {
        findings.push(Finding::warning(
            "trimmer-fixed",
            format!("the bench says that {probe_id} has no trimmer: nothing on it can be turned"),
            "use it on an input whose capacitance suits it, or correct the reading",
        ));
    }
    if probe.retired || input.retired {
        let what = if probe.retired { probe_id.to_string() } else { input_id.to_string() };
        findings.push(Finding::warning(
            "out-of-use",
            format!("the bench says that {what} is out of use"),
            "use another one, or take it into use again with flattop bench reinstate",
        ));
    }
    Ok(Known {
        divider: Some(divider),
        resistor_tolerance,
        adjusted_at: probe.adjusted_at.and_then(Trimmer::adjusted_at),
        tolerance: held.as_ref().and_then(|held| held.tolerance),
        on_bench: Some(OnBench {
            probe: probe_id.to_string(),
            input: input_id.to_string(),
            pairing: held.map(|held| held.number),
            logged: None,
        }),
        findings,
    })
}
