//! Many captures of many pairings, assessed side by side and logged in order; what fails is told at the end.

mod jobs;
mod pattern;

use std::collections::HashSet;

use flattop_core::assessment::{AdjustedAt, Verdict};
use flattop_core::bench::{Moment, Stage};
use flattop_core::divider::Divider;
use flattop_register::{Act, Digest, EntryKind, Event, Filter, Register};
use flattop_report::logbook::batch as report;
use flattop_report::subject::{Assumptions, Subject};
use rayon::prelude::*;

use super::args::Batch;
use crate::assess::{self, Known};
use crate::logged::{self, Settings};
use crate::output::{complain, print};
use crate::status::{Ending, WrongUsage};
use jobs::Job;

/// Captures in hand at a time: enough to keep every core busy, few enough to hold in memory.
const AT_A_TIME: usize = 16;

pub(super) fn run(args: &Batch) -> Result<Result<Ending, String>, WrongUsage> {
    let source = match (&args.named, args.source.is_dir()) {
        (Some(pattern), true) => jobs::Source::Folder(pattern::Pattern::new(pattern)?),
        (None, false) => jobs::Source::List,
        (None, true) => {
            let message = "a folder needs --named, which says how its captures are named; for example \
                           --named \"{probe}_{oscilloscope}-{input}.csv\""
                .to_owned();
            return Err(WrongUsage { message });
        }
        (Some(_), false) => {
            let message =
                "--named is for a folder; a list says for each file which probe and input it is about"
                    .to_owned();
            return Err(WrongUsage { message });
        }
    };
    Ok(batch(args, &source))
}

fn batch(args: &Batch, source: &jobs::Source) -> Result<Ending, String> {
    let act = args.doing.act()?;
    let mut register = if args.dry_run { args.bench.read()? } else { args.bench.change()? };
    let (jobs, mut outcome) = jobs::find(args, source, &register)?;
    let done = logged_before(&register)?;
    let ready = prepare(&register, jobs, &mut outcome);
    if args.dry_run {
        outcome.planned = ready.iter().map(|(job, known)| planned(job, known)).collect();
    } else {
        // One pass for each handful: read and assessed side by side, then written in order by one hand.
        for handful in ready.chunks(AT_A_TIME) {
            let found: Vec<_> =
                handful.par_iter().map(|(job, known)| assess_one(job, known, &done)).collect();
            for ((job, _), found) in handful.iter().zip(found) {
                let file = job.name();
                match found.and_then(|found| write_one(&mut register, job, found, args.temperature, &act)) {
                    Ok(Some(one)) => outcome.logged.push(one),
                    Ok(None) => outcome.passed_over.push(file),
                    Err(error) => outcome.failed.push(report::Failed { file, error }),
                }
            }
        }
    }
    for failed in &outcome.failed {
        // The reader names the file by itself.
        let named = failed.error.starts_with(&failed.file);
        complain(&if named { failed.error.clone() } else { format!("{}: {}", failed.file, failed.error) });
    }
    let words = if args.json { report::json(&outcome) } else { report::text(&outcome) };
    let verdicts = outcome.logged.iter().map(|one| match one.verdict {
        Verdict::WithinTolerance => Ending::Good,
        Verdict::Undercompensated | Verdict::Overcompensated => Ending::Outside,
        Verdict::Undetermined => Ending::Undetermined,
    });
    let failed = if outcome.failed.is_empty() { Ending::Good } else { Ending::Unusable };
    Ok(verdicts.max().unwrap_or(Ending::Good).max(failed).max(print(words.as_bytes())))
}

/// What the bench knows of each job; jobs that it knows nothing of have failed.
fn prepare(register: &Register, jobs: Vec<Job>, outcome: &mut report::Outcome) -> Vec<(Job, Known)> {
    let mut ready = Vec::new();
    for job in jobs {
        let known =
            assess::known(register, &job.probe, job.input.as_ref(), None).and_then(|known| {
                match known.on_bench.as_ref().is_some_and(|place| place.pairing.is_some()) {
                    true => Ok(known),
                    false => {
                        Err("this probe is not paired with this input; pair them first: flattop bench pair"
                            .into())
                    }
                }
            });
        match known {
            Ok(known) => ready.push((job, known)),
            Err(error) => outcome.failed.push(report::Failed { file: job.name(), error }),
        }
    }
    ready
}

/// Capture, pairing, stage and column of every assessment in the logbook.
type Done = HashSet<(Digest, i64, &'static str, Option<usize>)>;

fn logged_before(register: &Register) -> Result<Done, String> {
    let filter = Filter { kinds: vec![EntryKind::Assessment], ..Filter::all() };
    let entries = register.entries(&filter).map_err(|e| e.to_string())?;
    let key = |entry: &flattop_register::Entry| match (&entry.event, entry.subject.pairing) {
        (Event::Assessment(record), Some(pairing)) => {
            let column =
                record.settings_json.as_deref().and_then(|text| Settings::from_json(text).ok()?.column);
            // A batch logs one capture an entry: one among several sines is not yet logged by itself.
            let [capture] = record.captures[..] else { return None };
            Some((capture, pairing, flattop_report::logbook::json::stage_code(record.stage), column))
        }
        _ => None,
    };
    Ok(entries.iter().filter_map(key).collect())
}

/// A capture that was assessed, ready to be written.
struct Found {
    subject: Subject,
    settings: Settings,
    bytes: Vec<u8>,
    changed_at: Option<Moment>,
}

/// `None` where the logbook holds it already.
fn assess_one(job: &Job, known: &Known, done: &Done) -> Result<Option<Found>, String> {
    let (bytes, changed_at) = job.read()?;
    let place = known.on_bench.clone();
    let pairing = place.as_ref().and_then(|place| place.pairing).unwrap_or(0);
    let stage = flattop_report::logbook::json::stage_code(job.stage);
    if done.contains(&(Digest::of(&bytes), pairing, stage, job.read.column)) {
        return Ok(None);
    }
    let assumptions = Assumptions {
        divider: known.divider.unwrap_or(Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 }),
        resistor_tolerance: known.resistor_tolerance.unwrap_or(0.01),
        adjusted_at: known.adjusted_at.unwrap_or(AdjustedAt::Tip),
        source_amplitude_v: None,
    };
    let tolerance = known.tolerance.unwrap_or(0.01);
    let name = job.name();
    let capture = flattop_captures::read_bytes(&name, &bytes, &job.read).map_err(|e| e.to_string())?;
    let mut subject = assess::square(name.clone(), &capture, &assumptions, tolerance);
    assess::remark_on_divider(&mut subject);
    subject.assessment.findings.splice(0..0, known.findings.iter().cloned());
    subject.on_bench = place;
    let settings = Settings::of_capture(Some(name), &job.read, &assumptions, tolerance);
    Ok(Some(Found { subject, settings, bytes, changed_at }))
}

fn write_one(
    register: &mut Register,
    job: &Job,
    found: Option<Found>,
    temperature_c: Option<f64>,
    act: &Act,
) -> Result<Option<report::Logged>, String> {
    let Some(Found { mut subject, settings, bytes, changed_at }) = found else { return Ok(None) };
    let record = logged::record_of(&subject, &settings, job.stage, job.temperature_c.or(temperature_c));
    let own = Act {
        at: job.at.or(changed_at).unwrap_or(act.at),
        by: job.by.clone().or_else(|| act.by.clone()),
        note: job.note.clone().or_else(|| act.note.clone()),
        ..act.clone()
    };
    let head = logged::log_bytes(register, &mut subject, &record, &[&bytes], &own)?;
    let place = subject.on_bench.as_ref();
    Ok(Some(report::Logged {
        file: job.name(),
        entry: head.seq,
        probe: job.probe.to_string(),
        input: place.map(|p| p.input.clone()).unwrap_or_default(),
        pairing: place.and_then(|p| p.pairing).unwrap_or(0),
        verdict: record.verdict,
        compensation_error: record.compensation.map(|c| c.error),
    }))
}

fn planned(job: &Job, known: &Known) -> report::Planned {
    let place = known.on_bench.as_ref();
    report::Planned {
        file: job.name(),
        probe: job.probe.to_string(),
        input: place.map(|p| p.input.clone()).unwrap_or_default(),
        stage: stage_word(job.stage),
    }
}

fn stage_word(stage: Stage) -> &'static str {
    flattop_report::logbook::json::stage_code(stage)
}
