//! `flattop bench measure`: values that no data sheet says, from captures, and into the register.

mod args;
mod question;

use std::path::{Path, PathBuf};

pub(crate) use args::{Args, Common, CompensationRange, InputCapacitance, TipCapacitance, What, resistor};
pub(crate) use question::Question;

use flattop_core::assessment::{AdjustedAt, Estimate};
use flattop_core::bench::{InputId, Probe, Toleranced, Trimmer};
use flattop_register::{Digest, MeasurementRecord, Register, Thing};
use flattop_report::measured::{Shown, json, text};
use flattop_report::subject::adjusted_at_code;
use question::{Look, Role};

use crate::output::{bare_name, print};
use crate::status::Ending;
use crate::workbench::{input_id, probe_id};

/// Runs the command.
pub(super) fn run(args: &Args) -> Result<Ending, String> {
    let shown = measured(&args.what, &|file| file.display().to_string())?;
    let (What::InputCapacitance(InputCapacitance { common, .. })
    | What::CompensationRange(CompensationRange { common, .. })
    | What::TipCapacitance(TipCapacitance { common, .. })) = &args.what;
    let words = if common.json { json::one(&shown) } else { text::one(&shown) };
    let ending = if shown.is_determined() { Ending::Good } else { Ending::Undetermined };
    Ok(print(words.as_bytes()).max(ending))
}

/// What a capture's file is called.
pub(crate) type Naming<'a> = &'a dyn Fn(&Path) -> String;

/// What was found, and stored on the bench where that was asked for.
pub(crate) fn measured(what: &What, naming: Naming<'_>) -> Result<Shown, String> {
    match what {
        What::InputCapacitance(args) => of_input(args, naming),
        What::CompensationRange(args) => range(args, naming),
        What::TipCapacitance(args) => tip(args, naming),
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

    fn adjusted_at(&self) -> Option<AdjustedAt> {
        self.probe.adjusted_at.and_then(Trimmer::adjusted_at)
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

fn of_input(args: &InputCapacitance, naming: Naming<'_>) -> Result<Shown, String> {
    let known = Known::of(&args.common)?;
    let (id, known_id) = (input_id(&args.input)?, input_id(&args.known)?);
    if id == known_id {
        return Err(format!("{id} is the known input as well; name two inputs"));
    }
    let (shunt, known_shunt) = (known.resistance(&id)?, known.resistance(&known_id)?);
    let what = question::What::InputCapacitance {
        known_capacitance_f: known.capacitance(&known_id)?.into(),
        known_resistance_ohm: args.common.resistance(known_shunt).into(),
        resistance_ohm: args.common.resistance(shunt).into(),
    };
    let looks = [(Role::KnownInput, &args.on_known[..]), (Role::UnknownInput, &args.captures[..])];
    finish(known, &args.common, (id.to_string(), Thing::Input(id)), known_shunt, what, &looks, naming)
}

fn range(args: &CompensationRange, naming: Naming<'_>) -> Result<Shown, String> {
    let known = Known::of(&args.common)?;
    let id = input_id(&args.input)?;
    let probe = known.probe.id.clone();
    if known.adjusted_at().is_none() {
        return Err(format!(
            "where {probe} is adjusted is not known; enter it: flattop bench edit {probe} adjusted_at=tip"
        ));
    }
    let shunt = known.resistance(&id)?;
    let what = question::What::CompensationRange {
        input_capacitance_f: known.capacitance(&id)?.into(),
        resistance_ohm: args.common.resistance(shunt).into(),
    };
    let looks = [(Role::OneStop, &args.stop[..]), (Role::OtherStop, &args.other_stop[..])];
    finish(known, &args.common, (probe.to_string(), Thing::Probe(probe)), shunt, what, &looks, naming)
}

fn tip(args: &TipCapacitance, naming: Naming<'_>) -> Result<Shown, String> {
    let known = Known::of(&args.common)?;
    let shunt = known.resistance(&input_id(&args.input)?)?;
    let probe = known.probe.id.clone();
    if let (true, None, Some(body_f)) =
        (args.common.log, args.resistor, known.probe.body_capacitance_f.filter(|body| *body > 0.0))
    {
        return Err(format!(
            "the tip capacitance on the bench counts the body's {body_f:e} F of {probe} in, these captures don't; \
             capture through a resistor as well (--through), or clear it: flattop bench edit {probe} body_capacitance="
        ));
    }
    let what = question::What::TipCapacitance {
        resistance_ohm: args.common.resistance(shunt).into(),
        series_resistance_ohm: args.resistor.map(|r| args.common.resistance(r).into()),
    };
    let looks = [(Role::Straight, &args.captures[..]), (Role::ThroughResistor, &args.through[..])];
    finish(known, &args.common, (probe.to_string(), Thing::Probe(probe)), shunt, what, &looks, naming)
}

/// Reads the captures, works the question out, and stores what was found if that is wanted.
fn finish(
    known: Known,
    common: &Common,
    (of, thing): (String, Thing),
    shunt: Toleranced,
    what: question::What,
    looks: &[(Role, &[PathBuf])],
    naming: Naming<'_>,
) -> Result<Shown, String> {
    let mut captures = Vec::new();
    let mut bytes = Vec::new();
    for (role, file) in looks.iter().flat_map(|(role, files)| files.iter().map(|file| (*role, file))) {
        let read = read(file)?;
        let (file, sha256) = (naming(file), Digest::of(&read).to_string());
        captures.push(Look { role, file, sha256 });
        bytes.push(read);
    }
    let mut question = Question {
        of,
        tip_resistance_ohm: common.resistance(known.tip_resistance(shunt)?).into(),
        flatness: common.flatness(),
        adjusted_at: known.adjusted_at().map(|at| adjusted_at_code(at).to_owned()),
        what,
        captures,
    };
    let answer = question.answer(&bytes)?;
    let mut shown = answer.shown;
    let mut register = known.register;
    if let (true, true, Some(value)) = (common.log, shown.is_determined(), shown.value_f) {
        let result = json::one(&shown);
        let quantity = question.quantity();
        // Where the files lay is of no use to whoever works it out again.
        for look in &mut question.captures {
            look.file = bare_name(Path::new(&look.file));
        }
        let settings = question.to_json();
        let record = |quantity, value, upper| MeasurementRecord {
            quantity,
            value,
            upper,
            method: shown.method.to_owned(),
            captures: Vec::new(),
            settings_json: Some(settings.clone()),
            temperature_c: common.temperature,
            result_json: Some(result.clone()),
        };
        let mut records = vec![record(quantity, value, shown.upper_f)];
        records.extend(answer.more.iter().map(|(quantity, value)| record(*quantity, *value, None)));
        let raw: Vec<&[u8]> = bytes.iter().map(Vec::as_slice).collect();
        let done = register
            .log_measurements(&thing, &records, &raw, &common.doing.act()?)
            .map_err(|e| e.to_string())?;
        shown.entries = done.iter().map(|(head, _)| head.seq).collect();
    }
    Ok(shown)
}

#[allow(clippy::disallowed_methods)] // reading files is the program's part
fn read(file: &Path) -> Result<Vec<u8>, String> {
    std::fs::read(file)
        .map_err(|e| format!("{}: cannot be read: {e}; check the path and its permissions", file.display()))
}
