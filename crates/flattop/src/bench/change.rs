//! Changing the bench: things and pairings, typed one by one or read from a file.

use flattop_core::bench::{Id, InputId};
use flattop_register::{
    Change, RegisterError, Terms, Thing, set_ground_field, set_input_field, set_oscilloscope_field,
    set_probe_field, unknown_ground, unknown_input, unknown_oscilloscope, unknown_probe,
};
use flattop_report::bench::{json, text};

use super::args::{Add, Edit, Import, Kind, Pair, Remove, Void};
use crate::output::print;
use crate::status::Ending;
use crate::values::read_text;
use crate::workbench::{input_id, probe_id, thing};

pub(super) fn add(args: &Add) -> Result<Ending, String> {
    let fields = fields(&args.fields)?;
    let fail = |e: RegisterError| e.to_string();
    // Everything is looked at before a file is made.
    let change = match args.kind {
        Kind::Oscilloscope => {
            let mut scope = unknown_oscilloscope(name(&args.id)?);
            for (key, value) in &fields {
                set_oscilloscope_field(&mut scope, key, *value).map_err(fail)?;
            }
            scope.check().map_err(|e| e.to_string())?;
            args.bench.change_or_make()?.add_oscilloscope(&scope)
        }
        Kind::Input => {
            let id = InputId::new(&args.id).map_err(|e| e.to_string())?;
            let mut input = unknown_input(id.name);
            for (key, value) in &fields {
                set_input_field(&mut input, key, *value).map_err(fail)?;
            }
            input.check().map_err(|e| e.to_string())?;
            args.bench.change()?.add_input(&id.oscilloscope, &input)
        }
        Kind::Probe => {
            let mut probe = unknown_probe(name(&args.id)?);
            for (key, value) in &fields {
                set_probe_field(&mut probe, key, *value).map_err(fail)?;
            }
            probe.check().map_err(|e| e.to_string())?;
            args.bench.change_or_make()?.add_probe(&probe)
        }
        Kind::Ground => {
            let (probe, accessory) = args.id.split_once('/').ok_or_else(|| {
                format!(
                    "\"{}\" does not say whose it is; write the probe first: probe-07/{}",
                    args.id, args.id
                )
            })?;
            let mut accessory = unknown_ground(name(accessory)?);
            for (key, value) in &fields {
                set_ground_field(&mut accessory, key, *value).map_err(fail)?;
            }
            accessory.check().map_err(|e| e.to_string())?;
            args.bench.change()?.add_ground(&name(probe)?, &accessory)
        }
    };
    Ok(told(&[change.map_err(fail)?]))
}

pub(super) fn edit(args: &Edit) -> Result<Ending, String> {
    let fields = fields(&args.fields)?;
    let mut register = args.bench.change()?;
    let thing = thing(&register, &args.thing)?;
    let changes = register.edit(&thing, &fields, &args.doing.act()?).map_err(|e| e.to_string())?;
    Ok(told(&changes))
}

pub(super) fn remove(args: &Remove) -> Result<Ending, String> {
    let mut register = args.bench.change()?;
    let thing = thing(&register, &args.thing)?;
    if let Thing::Pairing(number) = thing {
        return Err(format!(
            "pairing {number} belongs to the record and stays; end it: flattop bench void {number} --why \"…\""
        ));
    }
    Ok(told(&[register.remove(&thing, &args.doing.act()?).map_err(|e| e.to_string())?]))
}

pub(super) fn reinstate(args: &Remove) -> Result<Ending, String> {
    let mut register = args.bench.change()?;
    let thing = thing(&register, &args.thing)?;
    Ok(told(&[register.reinstate(&thing, &args.doing.act()?).map_err(|e| e.to_string())?]))
}

pub(super) fn pair(args: &Pair) -> Result<Ending, String> {
    let (probe, input) = (probe_id(&args.probe)?, input_id(&args.input)?);
    let mut register = args.bench.change()?;
    let number = register.pair(&probe, &input, terms(args), &args.doing.act()?).map_err(|e| e.to_string())?;
    let words = if args.json {
        json::made(number, None, None)
    } else {
        format!(
            "Pairing {number}: {probe} on {input}, never checked. Compensate it on a square wave, and log that:\n  \
             flattop assess CAPTURE --probe {probe} --input {input} --log\n"
        )
    };
    Ok(print(words.as_bytes()))
}

pub(super) fn move_probe(args: &Pair) -> Result<Ending, String> {
    let (probe, input) = (probe_id(&args.probe)?, input_id(&args.input)?);
    let mut register = args.bench.change()?;
    // Terms that nobody changes go along.
    let held = register.pairing_of(&probe).map_err(|e| e.to_string())?;
    let mut terms = terms(args);
    if let Some(held) = held {
        terms.tolerance = terms.tolerance.or(held.tolerance);
        terms.recheck_interval_days = terms.recheck_interval_days.or(held.recheck_interval_days);
    }
    let moved = register.move_probe(&probe, &input, terms, &args.doing.act()?).map_err(|e| e.to_string())?;
    let words = if args.json {
        json::made(moved.made, Some(moved.voided), Some(&moved.forecast))
    } else {
        text::moved(&probe, &input, &moved)
    };
    Ok(print(words.as_bytes()))
}

pub(super) fn void(args: &Void) -> Result<Ending, String> {
    let mut register = args.bench.change()?;
    register.void_pairing(args.pairing, &args.why, &args.doing.act()?).map_err(|e| e.to_string())?;
    Ok(print(format!("Pairing {} ended: {}\n", args.pairing, args.why).as_bytes()))
}

pub(super) fn import(args: &Import) -> Result<Ending, String> {
    let text = read_text(&args.file)?;
    let act = args.doing.act()?;
    let mut register = args.bench.change_or_make()?;
    let is_list = args.file.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"));
    let imported = if is_list { register.import_csv(&text, &act) } else { register.import_toml(&text, &act) };
    let imported = imported.map_err(|e| format!("{}: {e}", args.file.display()))?;
    let words = format!(
        "Imported {} oscilloscopes, {} inputs, {} probes and {} pairings.\n",
        imported.oscilloscopes,
        imported.inputs,
        imported.probes,
        imported.pairings.len()
    );
    let renumbered = imported.pairings.iter().filter_map(|(wanted, got)| {
        wanted.filter(|w| w != got).map(|w| format!("Pairing {w} of the file is pairing {got} here.\n"))
    });
    Ok(print(renumbered.fold(words, |words, line| words + &line).as_bytes()))
}

fn terms(args: &Pair) -> Terms {
    Terms { tolerance: args.tolerance, recheck_interval_days: args.interval }
}

fn name(text: &str) -> Result<Id, String> {
    Id::new(text).map_err(|e| e.to_string())
}

/// `KEY=VALUE`; a value that is left out is not known.
fn fields(typed: &[String]) -> Result<Vec<(&str, Option<&str>)>, String> {
    typed
        .iter()
        .map(|text| match text.split_once('=') {
            Some((key, value)) => Ok((key.trim(), Some(value).filter(|v| !v.trim().is_empty()))),
            None => Err(format!("\"{text}\" has no \"=\"; write KEY=VALUE, for example ratio=10")),
        })
        .collect()
}

fn told(changes: &[Change]) -> Ending {
    let words: String = changes.iter().map(|change| text::change(change) + "\n").collect();
    print(words.as_bytes())
}
