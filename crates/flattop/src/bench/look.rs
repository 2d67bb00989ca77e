//! Looking at the bench: lists, single things, the bench as text, a copy of its file.

use flattop_register::{Filter, Register, Retired, Thing, Voids};
use flattop_report::bench::{Overview, Shown, json, text};

use super::args::{Backup, Export, List, Part, Show};
use crate::output::{print, remark, save};
use crate::status::{Ending, WrongUsage};
use crate::workbench::{now, thing};

pub(super) fn list(args: &List) -> Result<Result<Ending, String>, WrongUsage> {
    if args.csv && !matches!(args.part, Some(Part::Probes | Part::Inputs)) {
        let message =
            "--csv writes a list of probes or of inputs; name one of them, or use --json".to_owned();
        return Err(WrongUsage { message });
    }
    Ok(listed(args))
}

fn listed(args: &List) -> Result<Ending, String> {
    let register = args.bench.read()?;
    let retired = if args.all { Retired::Shown } else { Retired::Hidden };
    if args.csv {
        let list = match args.part {
            Some(Part::Inputs) => register.inputs_csv(retired),
            _ => register.probes_csv(retired),
        };
        return Ok(print(list.map_err(|e| e.to_string())?.as_bytes()));
    }
    let overview = overview(&register, args.all)?;
    let words = if args.json {
        json::overview(&narrowed(overview, args.part))
    } else {
        text::list(
            &overview,
            match args.part {
                None => text::Part::All,
                Some(Part::Oscilloscopes | Part::Inputs) => text::Part::Oscilloscopes,
                Some(Part::Probes) => text::Part::Probes,
                Some(Part::Pairings) => text::Part::Pairings,
            },
        )
    };
    Ok(print(words.as_bytes()))
}

/// The whole bench as it stands now.
pub(crate) fn overview(register: &Register, with_ended: bool) -> Result<Overview, String> {
    let (retired, voids) =
        if with_ended { (Retired::Shown, Voids::Shown) } else { (Retired::Hidden, Voids::Hidden) };
    let now = now();
    let read = || {
        Ok::<_, flattop_register::RegisterError>(Overview {
            oscilloscopes: register.oscilloscopes(retired)?,
            probes: register.probes(retired)?,
            standings: register.standings(voids, now.unix_ms)?,
            now_unix_ms: now.unix_ms,
            offset_minutes: now.offset_minutes,
        })
    };
    read().map_err(|e| e.to_string())
}

fn narrowed(mut all: Overview, part: Option<Part>) -> Overview {
    let Some(part) = part else { return all };
    if !matches!(part, Part::Oscilloscopes | Part::Inputs) {
        all.oscilloscopes.clear();
    }
    if part != Part::Probes {
        all.probes.clear();
    }
    if part != Part::Pairings {
        all.standings.clear();
    }
    all
}

pub(super) fn show(args: &Show) -> Result<Ending, String> {
    let register = args.bench.read()?;
    let thing = thing(&register, &args.thing)?;
    let now = now();
    let shown = shown(&register, thing, now.unix_ms).map_err(|e| e.to_string())?;
    let words = if args.json { json::show(&shown) } else { text::show(&shown, now.offset_minutes) };
    Ok(print(words.as_bytes()))
}

/// Everything about one thing.
pub(crate) fn shown(
    register: &Register,
    thing: Thing,
    now_unix_ms: i64,
) -> Result<Shown, flattop_register::RegisterError> {
    let standings = |voids| register.standings(voids, now_unix_ms);
    Ok(match thing {
        Thing::Oscilloscope(id) => Shown::Oscilloscope(register.oscilloscope(&id)?),
        Thing::Input(id) => {
            let input = register.input(&id)?;
            let mut pairings = standings(Voids::Hidden)?;
            pairings.retain(|s| s.pairing.input == id);
            let measured = register.measured_values(&Thing::Input(id.clone()))?;
            Shown::Input(id, input, pairings, measured)
        }
        Thing::Probe(id) => {
            let probe = register.probe(&id)?;
            let mut pairings = standings(Voids::Shown)?;
            pairings.retain(|s| s.pairing.probe == id);
            let measured = register.measured_values(&Thing::Probe(id.clone()))?;
            Shown::Probe(Box::new(probe), pairings, measured)
        }
        Thing::Ground(probe, name) => {
            let found = register.probe(&probe)?.ground_accessories.into_iter().find(|g| g.name == name);
            let accessory = found.ok_or_else(|| flattop_register::RegisterError::NotFound {
                kind: "ground accessory",
                id: format!("{probe}/{name}"),
                remedy: "somebody removed it a moment ago",
            })?;
            Shown::Ground(probe, accessory)
        }
        Thing::Pairing(number) => {
            let standing = register.standing(number, now_unix_ms)?;
            let series = register.series(number)?;
            let entries = register.entries(&Filter { pairing: Some(number), ..Filter::all() })?;
            Shown::Pairing(Box::new(standing), series, entries)
        }
    })
}

pub(super) fn export(args: &Export) -> Result<Ending, String> {
    let register = args.bench.read()?;
    let text = register.export_toml().map_err(|e| e.to_string())?;
    match &args.output {
        None => Ok(print(text.as_bytes())),
        Some(file) => {
            save(file, text.as_bytes()).map_err(|reason| format!("{}: {reason}", file.display()))?;
            Ok(Ending::Good)
        }
    }
}

pub(super) fn backup(args: &Backup) -> Result<Ending, String> {
    let register = args.bench.read()?;
    if args.file.exists() {
        return Err(format!("{}: is there already; name a new file for the copy", args.file.display()));
    }
    register.back_up_to(&args.file).map_err(|e| format!("{}: {e}", args.file.display()))?;
    remark(&format!("copied the bench to {}", args.file.display()));
    Ok(Ending::Good)
}
