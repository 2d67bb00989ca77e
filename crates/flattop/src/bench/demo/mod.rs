//! `flattop bench demo`: an invented workshop with a year of logbook, every figure in it estimated from a capture made here.

mod wave;
mod year;

use std::path::{Path, PathBuf};

use flattop_captures::ReadOptions;
use flattop_core::assessment::AdjustedAt;
use flattop_core::bench::{Id, InputId, Moment};
use flattop_core::divider::Divider;
use flattop_register::{Act, Effect, OpenMode, Register, Terms};
use flattop_report::subject::{Assumptions, Subject};
use rayon::prelude::*;

use crate::assess::{self, Known};
use crate::logged::{self, Settings};
use crate::output::print;
use crate::status::Ending;
use crate::values;
use crate::workbench::{PROGRAM, input_id, now, probe_id};
use wave::Wave;
use year::{Event, INTERVAL_DAYS, TOLERANCE, What};

/// Make an invented workshop with a year of logbook in a new file, to look around in
#[derive(Debug, clap::Args)]
pub(crate) struct Demo {
    /// The file to make; one that is there is left alone
    file: PathBuf,

    /// When the year ends; the same time gives the same figures. Without it: now
    #[arg(long, value_name = "TIME", value_parser = values::moment)]
    until: Option<Moment>,
}

const WORKSHOP: &str = include_str!("workshop.toml");
const DAY_MS: f64 = 86_400_000.0;
const TERMS: Terms = Terms { tolerance: Some(TOLERANCE), recheck_interval_days: Some(INTERVAL_DAYS) };

/// A capture with what was found in it.
struct Found {
    subject: Subject,
    settings: Settings,
    bytes: Vec<u8>,
}

/// Makes the bench.
pub(super) fn run(args: &Demo) -> Result<Ending, String> {
    let file = args.file.display();
    if args.file.exists() {
        return Err(format!(
            "{file}: is there already and stays as it is; name a file that is not there yet"
        ));
    }
    let (pairings, assessments) = make(&args.file, args.until.unwrap_or_else(now))?;
    let words = format!(
        "Made {file}: the invented Harrow Lane Lift Works, {pairings} pairings, {assessments} captures assessed in a year.\n\
         Look around:\n  flattop bench list --bench {file}\n  flattop reach --bench {file}\n  flattop log due --bench {file}\n"
    );
    Ok(print(words.as_bytes()))
}

/// Makes it in a new file; tells how many pairings and assessments there are.
pub(super) fn make(file: &Path, until: Moment) -> Result<(usize, usize), String> {
    let mut register = Register::open(file, OpenMode::Create).map_err(|e| e.to_string())?;
    fill(&mut register, until).map_err(|e| {
        format!(
            "{}: the demonstration could not be finished: {e}; remove the file and try again",
            file.display()
        )
    })
}

/// Fills an empty bench; tells how many pairings and assessments there are.
fn fill(register: &mut Register, until: Moment) -> Result<(usize, usize), String> {
    let text = |error: flattop_register::RegisterError| error.to_string();
    let act = |days: f64, by: &str, note: Option<&str>| Act {
        at: Moment { unix_ms: until.unix_ms - (days * DAY_MS) as i64, ..until },
        by: Some(by.to_owned()),
        program: PROGRAM.to_owned(),
        note: note.map(str::to_owned),
    };
    register
        .import_toml(WORKSHOP, &act(363.0, "bench technician 1", Some("start of this logbook")))
        .map_err(text)?;
    let events = year::events();
    let places = places(&events)?;
    let wanted: Vec<Option<(Known, Id, f64)>> = events
        .iter()
        .zip(&places)
        .map(|(event, place)| match event.what {
            What::Assessed { .. } => prepared(register, event, place.as_ref()).map(Some),
            _ => Ok(None),
        })
        .collect::<Result<_, String>>()?;
    let found: Vec<Option<Found>> = events
        .par_iter()
        .zip(&wanted)
        .enumerate()
        .map(|(index, (event, wanted))| match wanted {
            Some((known, id, tip_f)) => assessed(event, index, known, id, *tip_f).map(Some),
            None => Ok(None),
        })
        .collect::<Result<_, String>>()?;
    let (mut pairings, mut assessments) = (0, 0);
    for (event, found) in events.iter().zip(found) {
        let probe = probe_id(event.probe)?;
        let act_of = act(event.days, event.by, event.note);
        match event.what {
            What::Paired(input) => {
                register.pair(&probe, &input_id(input)?, TERMS, &act_of).map_err(text)?;
                pairings += 1;
            }
            What::Moved(input) => {
                register.move_probe(&probe, &input_id(input)?, TERMS, &act_of).map_err(text)?;
                pairings += 1;
            }
            What::Adjusted => {
                let held = held(register, &probe)?;
                register.log_adjustment(held, &act_of).map_err(text)?;
            }
            What::Assessed { stage, temperature_c, withdrawn, .. } => {
                let Some(Found { mut subject, settings, bytes }) = found else { continue };
                let number = held(register, &probe)?;
                if let Some(place) = subject.on_bench.as_mut() {
                    place.pairing = Some(number);
                }
                let record = logged::record_of(&subject, &settings, stage, Some(temperature_c));
                let head = logged::log_bytes(register, &mut subject, &record, &[&bytes], &act_of)?;
                assessments += 1;
                if let Some(why) = withdrawn {
                    let later = act(event.days - 0.05, "bench technician 2", Some(why));
                    register.log_correction(head.seq, Effect::Withdraws, &later).map_err(text)?;
                }
            }
        }
    }
    Ok((pairings, assessments))
}

fn held(register: &Register, probe: &Id) -> Result<i64, String> {
    let held = register.pairing_of(probe).map_err(|e| e.to_string())?;
    held.map(|held| held.number).ok_or_else(|| format!("{probe} is not paired"))
}

/// Where the probe of each event was at that time.
fn places(events: &[Event]) -> Result<Vec<Option<InputId>>, String> {
    let mut at: Vec<(&str, InputId)> = Vec::new();
    let mut places = Vec::new();
    for event in events {
        if let What::Paired(input) | What::Moved(input) = event.what {
            at.retain(|(probe, _)| *probe != event.probe);
            at.push((event.probe, input_id(input)?));
        }
        places.push(at.iter().find(|(probe, _)| *probe == event.probe).map(|(_, input)| input.clone()));
    }
    Ok(places)
}

/// What the bench knows of the pairing of an event, and the capacitance across the tip resistor.
fn prepared(register: &Register, event: &Event, place: Option<&InputId>) -> Result<(Known, Id, f64), String> {
    let id = probe_id(event.probe)?;
    let known = assess::known(register, &id, place, None)?;
    let probe = register.probe(&id).map_err(|e| e.to_string())?;
    let seen_f = probe.tip_capacitance_f.map_or(11e-12, |c| c.value);
    let ratio = probe.ratio.unwrap_or(10.0);
    Ok((known, id, seen_f * ratio / (ratio - 1.0)))
}

/// Makes the capture of an event and assesses it, as `flattop assess --probe ID --log` would.
fn assessed(event: &Event, index: usize, known: &Known, probe: &Id, tip_f: f64) -> Result<Found, String> {
    let What::Assessed { shown, .. } = event.what else { return Err("no capture".to_owned()) };
    let divider = known.divider.unwrap_or(Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 });
    // Two of the four oscilloscopes have ten bits.
    let place = known.on_bench.as_ref().map_or("", |place| place.input.as_str());
    let levels = if place.starts_with("bench-a") || place.starts_with("bench-c") { 1024.0 } else { 256.0 };
    let wave = Wave { shown, divider, tip_f, levels, seed: 1 + index as u64 };
    let bytes = wave.text().into_bytes();
    let assumptions = Assumptions {
        divider,
        resistor_tolerance: known.resistor_tolerance.unwrap_or(0.01),
        adjusted_at: known.adjusted_at.unwrap_or(AdjustedAt::Tip),
        source_amplitude_v: None,
    };
    let name = format!("{probe}-{:03}.csv", index + 1);
    let read = ReadOptions::default();
    let capture = flattop_captures::read_bytes(&name, &bytes, &read).map_err(|e| e.to_string())?;
    let mut subject = assess::square(name.clone(), &capture, &assumptions, TOLERANCE);
    assess::remark_on_divider(&mut subject);
    subject.assessment.findings.splice(0..0, known.findings.iter().cloned());
    subject.on_bench = known.on_bench.clone();
    let settings = Settings::of_capture(Some(name), &read, &assumptions, TOLERANCE);
    Ok(Found { subject, settings, bytes })
}
