//! Reading the logbook: entries, trends, what is due, whether it is intact and still gives the same figures.

use std::collections::HashSet;
use std::ffi::OsStr;

use flattop_core::assessment::Verdict as CoreVerdict;
use flattop_register::{EntryKind, Event, Filter, Head, Order, Register, Voids};
use flattop_report::bench::{json as bench_json, text as bench_text};
use flattop_report::format::counted;
use flattop_report::logbook::{History, json, plot, text};
use rayon::prelude::*;

use super::args::{Capture, Due, List, One, Recompute, Trend, Verdict, Verify};
use super::write::pairing;
use crate::logged;
use crate::output::{self, complain, draw, print, remark, save};
use crate::status::{Ending, WrongUsage};
use crate::workbench::{PROGRAM, input_id, now, probe_id};

pub(super) fn list(args: &List) -> Result<Result<Ending, String>, WrongUsage> {
    let mut kinds = Vec::new();
    for word in &args.kind {
        let known = EntryKind::ALL.iter().find(|kind| kind.code() == word).copied();
        kinds.push(known.ok_or_else(|| {
            let all: Vec<_> = EntryKind::ALL.iter().map(|kind| kind.code()).collect();
            WrongUsage {
                message: format!("\"{word}\" is no kind of entry; the kinds are {}", all.join(", ")),
            }
        })?);
    }
    Ok(listed(args, kinds))
}

fn listed(args: &List, kinds: Vec<EntryKind>) -> Result<Ending, String> {
    let filter = Filter {
        pairing: args.pairing,
        probe: args.probe.as_deref().map(probe_id).transpose()?,
        input: args.input.as_deref().map(input_id).transpose()?,
        from_unix_ms: args.from,
        until_unix_ms: args.until,
        kinds,
        verdict: args.verdict.map(|verdict| match verdict {
            Verdict::WithinTolerance => CoreVerdict::WithinTolerance,
            Verdict::Undercompensated => CoreVerdict::Undercompensated,
            Verdict::Overcompensated => CoreVerdict::Overcompensated,
            Verdict::Undetermined => CoreVerdict::Undetermined,
        }),
        order: if args.last.is_some() { Order::NewestFirst } else { Order::OldestFirst },
        limit: args.last,
    };
    let register = args.bench.read()?;
    if args.csv {
        return Ok(print(register.log_csv(&filter).map_err(|e| e.to_string())?.as_bytes()));
    }
    let mut entries = register.entries(&filter).map_err(|e| e.to_string())?;
    entries.sort_by_key(|entry| entry.seq);
    let words = if args.json { json::list(&entries) } else { text::list(&entries) };
    Ok(print(words.as_bytes()))
}

pub(super) fn show(args: &One) -> Result<Ending, String> {
    let entry = args.bench.read()?.entry(args.entry).map_err(|e| e.to_string())?;
    let words = if args.json { json::entry(&entry) } else { text::entry(&entry) };
    Ok(print(words.as_bytes()))
}

pub(super) fn trend(args: &Trend) -> Result<Ending, String> {
    let register = args.bench.read()?;
    let numbers = if args.pairings.is_empty() {
        let all = register.pairings(Voids::Hidden).map_err(|e| e.to_string())?;
        all.into_iter().map(|p| p.number).collect()
    } else {
        args.pairings.iter().map(|text| pairing(&register, text)).collect::<Result<Vec<_>, _>>()?
    };
    let histories =
        numbers.into_iter().map(|number| history(&register, number)).collect::<Result<Vec<_>, _>>()?;
    let mut ending = Ending::Good;
    if let Some(file) = &args.plot {
        let mut taken = HashSet::new();
        for history in &histories {
            let target = if histories.len() == 1 {
                file.clone()
            } else {
                output::own_name(file, OsStr::new(&format!("pairing-{}", history.pairing.number)), &mut taken)
            };
            let png = || plot::png(history).map_err(|error| error.to_string());
            ending = ending.max(draw(&target, || plot::svg(history), png));
        }
    }
    let words = if args.json {
        json::histories(&histories)
    } else if histories.is_empty() {
        "There is no pairing in force.\n".to_owned()
    } else {
        histories.iter().map(text::history).collect::<Vec<_>>().join("\n")
    };
    Ok(ending.max(print(words.as_bytes())))
}

/// The series of a pairing with the tolerance that holds for it.
pub(crate) fn history(register: &Register, number: i64) -> Result<History, String> {
    let fail = |e: flattop_register::RegisterError| e.to_string();
    let pairing = register.pairing(number).map_err(fail)?;
    let series = register.series(number).map_err(fail)?;
    let last = match series.points.last() {
        Some((seq, _)) => match register.entry(*seq).map_err(fail)?.event {
            Event::Assessment(record) => Some(record.tolerance),
            _ => None,
        },
        None => None,
    };
    let tolerance = pairing.tolerance.or(last);
    Ok(History { pairing, series, tolerance, offset_minutes: now().offset_minutes })
}

pub(super) fn due(args: &Due) -> Result<Ending, String> {
    let register = args.bench.read()?;
    let now = now();
    let at = args.on.unwrap_or(now.unix_ms);
    let due = register.due(at).map_err(|e| e.to_string())?;
    let words = if args.json {
        bench_json::pairings(&due)
    } else if due.is_empty() {
        "Nothing is due: every pairing in force was checked and found within its tolerance.\n".to_owned()
    } else {
        bench_text::pairing_table(&due, now.offset_minutes)
    };
    let ending = if due.is_empty() { Ending::Good } else { Ending::Outside };
    Ok(ending.max(print(words.as_bytes())))
}

pub(super) fn verify(args: &Verify) -> Result<Result<Ending, String>, WrongUsage> {
    let noted = args.noted.as_deref().map(head).transpose()?;
    Ok(verified(args, noted))
}

fn verified(args: &Verify, noted: Option<Head>) -> Result<Ending, String> {
    let found = args.bench.read()?.verify(noted).map_err(|e| e.to_string())?;
    let words = if args.json { json::verification(&found) } else { text::verification(&found) };
    let ending = if found.problems.is_empty() { Ending::Good } else { Ending::Outside };
    Ok(ending.max(print(words.as_bytes())))
}

/// `118:2c26…`, as `verify` writes it.
fn head(text: &str) -> Result<Head, WrongUsage> {
    let wrong = || WrongUsage {
        message: format!(
            "\"{text}\" is no last entry; write its number, a colon and its 64 digits, as 'verify' shows it"
        ),
    };
    let (seq, digest) = text.trim().split_once(':').ok_or_else(wrong)?;
    Ok(Head {
        seq: seq.trim().parse().map_err(|_| wrong())?,
        digest: digest.trim().parse().map_err(|_| wrong())?,
    })
}

pub(super) fn recompute(args: &Recompute) -> Result<Ending, String> {
    let register = args.bench.read()?;
    let entries = if args.entries.is_empty() {
        let filter = Filter { kinds: vec![EntryKind::Assessment, EntryKind::Measurement], ..Filter::all() };
        register.entries(&filter).map_err(|e| e.to_string())?
    } else {
        args.entries
            .iter()
            .map(|seq| register.entry(*seq))
            .collect::<Result<_, _>>()
            .map_err(|e| e.to_string())?
    };
    // One door to the file; the work behind it is spread over the cores.
    let kept: Vec<_> = entries.iter().map(|entry| (entry, logged::Kept::of(&register, entry))).collect();
    let outcomes: Vec<text::Recomputed> = kept
        .into_par_iter()
        .map(|(entry, kept)| text::Recomputed {
            seq: entry.seq,
            logged_with: entry.act.program.clone(),
            outcome: kept.and_then(|kept| kept.differences()),
        })
        .collect();
    let words =
        if args.json { json::recomputed(&outcomes, PROGRAM) } else { text::recomputed(&outcomes, PROGRAM) };
    let worst = outcomes.iter().map(|one| match &one.outcome {
        Ok(differences) if differences.is_empty() => Ending::Good,
        Ok(_) => Ending::Outside,
        Err(_) => Ending::Unusable,
    });
    Ok(worst.max().unwrap_or(Ending::Good).max(print(words.as_bytes())))
}

pub(super) fn capture(args: &Capture) -> Result<Ending, String> {
    let register = args.bench.read()?;
    let entry = register.entry(args.entry).map_err(|e| e.to_string())?;
    let captures = match &entry.event {
        Event::Assessment(record) => &record.captures,
        Event::Measurement(record) => &record.captures,
        _ => {
            return Err(format!(
                "entry {} is neither assessment nor measurement, so it has no capture",
                entry.seq
            ));
        }
    };
    let digest = match (captures.as_slice(), args.number) {
        ([], _) => return Err(format!("entry {} kept no capture", entry.seq)),
        ([one], None) => *one,
        (several, None) => {
            return Err(format!(
                "entry {} rests on {} captures; say which with --number 1 to {1}",
                entry.seq,
                several.len()
            ));
        }
        (several, Some(number)) => *several.get(usize::from(number) - 1).ok_or_else(|| {
            format!(
                "entry {} rests on {}; there is no number {number}",
                entry.seq,
                counted(several.len(), "capture")
            )
        })?,
    };
    let bytes = register.capture(&digest).map_err(|e| e.to_string())?;
    if args.output.exists() {
        return Err(format!("{}: is there already; name a new file", args.output.display()));
    }
    if let Err(reason) = save(&args.output, &bytes) {
        complain(&format!("{}: {reason}", args.output.display()));
        return Ok(Ending::Unusable);
    }
    remark(&format!("wrote {} bytes, SHA-256 {digest}, to {}", bytes.len(), args.output.display()));
    Ok(Ending::Good)
}
