//! `flattop bench measure`: values that no data sheet says, from captures, and into the register.

mod args;
mod captures;

pub(crate) use args::Args;

use args::{Common, CompensationRange, InputCapacitance, TipCapacitance, What};
use captures::Looks;
use flattop_core::assessment::Estimate;
use flattop_core::bench::measured::{
    KnownInput, MeasureError, SeriesLook, Shunts, Stops, Substitution, TipLooks, compensation_range,
    input_capacitance, tip_capacitance,
};
use flattop_core::bench::{InputId, Probe, Toleranced, Trimmer};
use flattop_core::divider::Divider;
use flattop_register::{MeasuredQuantity, MeasurementRecord, Register, Thing};
use flattop_report::measured::{Shown, json, text};

use crate::output::print;
use crate::status::Ending;
use crate::workbench::{input_id, probe_id};

/// Runs the command.
pub(super) fn run(args: &Args) -> Result<Ending, String> {
    match &args.what {
        What::InputCapacitance(args) => of_input(args),
        What::CompensationRange(args) => range(args),
        What::TipCapacitance(args) => tip(args),
    }
}

/// The probe, and the resistance and capacitance of inputs, as the bench knows them.
struct Known {
    register: Register,
    probe: Probe,
}

impl Known {
    fn of(common: &Common) -> Result<Self, String> {
        if !common.log
            && (common.doing.by.is_some() || common.doing.note.is_some() || common.doing.at.is_some())
        {
            return Err("--by, --note and --at are for the logbook; add --log".to_owned());
        }
        let register = if common.log { common.bench.change()? } else { common.bench.read()? };
        let probe = register.probe(&probe_id(&common.probe)?).map_err(|e| e.to_string())?;
        Ok(Self { register, probe })
    }

    fn resistance(&self, id: &InputId) -> Result<Toleranced, String> {
        let input = self.register.input(id).map_err(|e| e.to_string())?;
        input.resistance_ohm.ok_or_else(|| {
            format!("the resistance of {id} is not known; enter it: flattop bench edit {id} resistance=\"1M ± 1%\"")
        })
    }

    /// Its standard uncertainty is that of a measurement where there was one, else that of a rectangle over the tolerance.
    fn capacitance(&self, id: &InputId) -> Result<Estimate, String> {
        let input = self.register.input(id).map_err(|e| e.to_string())?;
        let measured = self.register.measured_values(&Thing::Input(id.clone())).map_err(|e| e.to_string())?;
        if let Some(found) = measured.iter().find(|m| m.field == "capacitance") {
            return Ok(found.value);
        }
        let stated = input.capacitance_f.and_then(|c| Some((c.value, c.standard_uncertainty()?)));
        stated.map(|(value, standard_uncertainty)| Estimate { value, standard_uncertainty }).ok_or_else(|| {
            format!(
                "the capacitance of {id} is not known with a tolerance; enter it: flattop bench edit {id} \
                 capacitance=\"20p ± 1p\""
            )
        })
    }

    /// R1; without one, what ratio and the input's resistance make of it.
    fn tip_resistance(&self, shunt: Toleranced) -> Result<Toleranced, String> {
        match (self.probe.tip_resistance_ohm, self.probe.ratio) {
            (Some(tip), _) => Ok(tip),
            (None, Some(ratio)) if ratio > 1.0 => {
                Ok(Toleranced { value: (ratio - 1.0) * shunt.value, tolerance: None })
            }
            _ => Err(format!(
                "neither ratio nor tip resistance of {0} make a divider; enter one: flattop bench edit {0} ratio=10",
                self.probe.id
            )),
        }
    }
}

fn of_input(args: &InputCapacitance) -> Result<Ending, String> {
    let mut known = Known::of(&args.common)?;
    let (id, known_id) = (input_id(&args.input)?, input_id(&args.known)?);
    if id == known_id {
        return Err(format!("{id} is the known input as well; name two inputs"));
    }
    let (shunt, known_shunt) = (known.resistance(&id)?, known.resistance(&known_id)?);
    let tip = known.tip_resistance(known_shunt)?;
    let mut looks = Looks::default();
    let on_known = looks.add("known-input", &args.on_known, divider(tip, known_shunt))?;
    let on_unknown = looks.add("unknown-input", &args.captures, divider(tip, shunt))?;
    let mut shown = shown(MeasuredQuantity::InputCapacitance, &id, "substitution", &looks);
    if !looks.failed() {
        let found = input_capacitance(&Substitution {
            tip_resistance_ohm: args.common.resistance(tip),
            shunts: Shunts::OfEachInput {
                known_ohm: args.common.resistance(known_shunt),
                unknown_ohm: args.common.resistance(shunt),
            },
            flatness: args.common.flatness(),
            adjusted_at: known.probe.adjusted_at.and_then(Trimmer::adjusted_at),
            known: KnownInput { capacitance_f: known.capacitance(&known_id)?, readings: &on_known },
            unknown: &on_unknown,
        })
        .map_err(words)?;
        shown.value_f = found.capacitance_f;
        shown.others = vec![
            ("difference_f", "difference", found.difference_f),
            ("tip_capacitance_f", "C1 of the probe", found.tip_capacitance_f),
        ];
        shown.shares = found.shares;
        shown.findings.extend(found.findings);
    }
    finish(&mut known.register, &args.common, &looks, shown, &Thing::Input(id), &[])
}

fn range(args: &CompensationRange) -> Result<Ending, String> {
    let mut known = Known::of(&args.common)?;
    let id = input_id(&args.input)?;
    let probe = known.probe.id.clone();
    let adjusted_at = known.probe.adjusted_at.and_then(Trimmer::adjusted_at).ok_or_else(|| {
        format!(
            "where {probe} is adjusted is not known; enter it: flattop bench edit {probe} adjusted_at=tip"
        )
    })?;
    let shunt = known.resistance(&id)?;
    let tip = known.tip_resistance(shunt)?;
    let mut looks = Looks::default();
    let one = looks.add("one-stop", &args.stop, divider(tip, shunt))?;
    let other = looks.add("other-stop", &args.other_stop, divider(tip, shunt))?;
    let mut shown = shown(MeasuredQuantity::CompensationRange, &probe, "both-stops", &looks);
    if !looks.failed() {
        let found = compensation_range(&Stops {
            tip_resistance_ohm: args.common.resistance(tip),
            shunt_resistance_ohm: args.common.resistance(shunt),
            input_capacitance_f: known.capacitance(&id)?,
            flatness: args.common.flatness(),
            adjusted_at,
            stops: [&one, &other],
        })
        .map_err(words)?;
        shown.value_f = found.limits_f.map(|l| l[0]);
        shown.upper_f = found.limits_f.map(|l| l[1]);
        shown.others = vec![("width_f", "width", found.width_f)];
        [shown.shares, _] = found.shares;
        shown.findings.extend(found.findings);
    }
    finish(&mut known.register, &args.common, &looks, shown, &Thing::Probe(probe), &[])
}

fn tip(args: &TipCapacitance) -> Result<Ending, String> {
    let mut known = Known::of(&args.common)?;
    let id = input_id(&args.input)?;
    let probe = known.probe.id.clone();
    let shunt = known.resistance(&id)?;
    let tip = known.tip_resistance(shunt)?;
    let mut looks = Looks::default();
    let straight = looks.add("straight", &args.captures, divider(tip, shunt))?;
    let through = looks.add("through-resistor", &args.through, divider(tip, shunt))?;
    let mut shown = shown(MeasuredQuantity::TipCapacitance, &probe, "divider", &looks);
    let mut more = Vec::new();
    if !looks.failed() {
        let series = args.resistor.map(|resistor| SeriesLook {
            resistance_ohm: args.common.resistance(resistor),
            readings: &through,
        });
        let found = tip_capacitance(&TipLooks {
            tip_resistance_ohm: args.common.resistance(tip),
            shunt_resistance_ohm: args.common.resistance(shunt),
            flatness: args.common.flatness(),
            readings: &straight,
            series,
        })
        .map_err(words)?;
        shown.shares = found.shares;
        shown.findings.extend(found.findings);
        if series.is_some() {
            shown.method = "series-resistor";
            shown.value_f = found.whole_f;
            shown.others.push(("divider_f", "C1 and C2 alone", found.divider_f));
            if let Some(body_f) = found.body_f {
                shown.others.push(("body_f", "body alone", body_f));
                more.push((MeasuredQuantity::BodyCapacitance, body_f));
            }
        } else {
            shown.value_f = Some(found.divider_f);
            if args.common.log
                && let Some(body_f) = known.probe.body_capacitance_f.filter(|body| *body > 0.0)
            {
                return Err(format!(
                    "the tip capacitance on the bench counts the body's {body_f:e} F of {probe} in, these captures don't; \
                     capture through a resistor as well (--through), or clear it: flattop bench edit {probe} body_capacitance="
                ));
            }
        }
    }
    finish(&mut known.register, &args.common, &looks, shown, &Thing::Probe(probe), &more)
}

fn divider(tip: Toleranced, shunt: Toleranced) -> Divider {
    Divider { tip_resistance_ohm: tip.value, shunt_resistance_ohm: shunt.value }
}

fn words(error: MeasureError) -> String {
    error.to_string()
}

fn shown(quantity: MeasuredQuantity, of: &impl ToString, method: &'static str, looks: &Looks) -> Shown {
    Shown {
        quantity: quantity.code(),
        of: of.to_string(),
        method,
        value_f: None,
        upper_f: None,
        others: Vec::new(),
        shares: Vec::new(),
        findings: looks.findings(),
        captures: looks.captures(),
        entries: Vec::new(),
    }
}

/// Stores what was found if that is wanted, writes it, and says how it ended.
fn finish(
    register: &mut Register,
    common: &Common,
    looks: &Looks,
    mut shown: Shown,
    thing: &Thing,
    more: &[(MeasuredQuantity, Estimate)],
) -> Result<Ending, String> {
    let quantity = MeasuredQuantity::ALL.into_iter().find(|q| q.code() == shown.quantity);
    if let (true, true, Some(value), Some(quantity)) =
        (common.log, shown.is_determined(), shown.value_f, quantity)
    {
        let settings = serde_json::json!({
            "probe": common.probe,
            "resistor_tolerance": common.resistor_tolerance,
            "flatness": common.flatness,
            "captures": looks.roles(),
        });
        let result = json::one(&shown);
        let record = |quantity, value, upper| MeasurementRecord {
            quantity,
            value,
            upper,
            method: shown.method.to_owned(),
            captures: Vec::new(),
            settings_json: Some(settings.to_string()),
            temperature_c: common.temperature,
            result_json: Some(result.clone()),
        };
        let mut records = vec![record(quantity, value, shown.upper_f)];
        records.extend(more.iter().map(|(quantity, value)| record(*quantity, *value, None)));
        let done = register
            .log_measurements(thing, &records, &looks.raw(), &common.doing.act()?)
            .map_err(|e| e.to_string())?;
        shown.entries = done.iter().map(|(head, _)| head.seq).collect();
    }
    let words = if common.json { json::one(&shown) } else { text::one(&shown) };
    let ending = if shown.is_determined() { Ending::Good } else { Ending::Undetermined };
    Ok(print(words.as_bytes()).max(ending))
}
