//! From the bench to a document.

use std::collections::BTreeMap;

use flattop_core::bench::Moment;
use flattop_record::compose::assessment::Again;
use flattop_record::compose::{Issue, Source, assessment, bench, period};
use flattop_record::document::Document;
use flattop_register::{Filter, Register, RegisterError, Retired, Voids};

use super::args::{How, What};
use crate::logged::Kept;
use crate::output::remark;
use crate::status::Ending;
use crate::workbench::{PROGRAM, now, offset_minutes};

/// What a record is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum About {
    /// An entry of the logbook.
    Assessment(i64),
    /// The bench.
    Bench,
    /// A time from, and one before which it ends; ms since 1970 UTC.
    Period(i64, i64),
}

/// Whether the logbook behind a record is as it was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Trust {
    Intact,
    Broken,
}

/// The record that was asked for, and how the run ends if it can be written.
pub(super) fn document(what: &What, how: &How) -> Result<(Document, Ending), String> {
    let about = match what {
        What::Assessment(args) => About::Assessment(args.entry),
        What::Bench(_) => About::Bench,
        What::Period(args) => About::Period(args.from, args.to),
    };
    let (document, trust) = composed(&how.bench.read()?, about, &issue(how))?;
    if trust == Trust::Intact {
        return Ok((document, Ending::Good));
    }
    remark("the logbook is not intact, and the record says so; 'flattop log verify' names what is wrong");
    Ok((document, Ending::Outside))
}

/// A record.
pub(crate) fn composed(
    register: &Register,
    about: About,
    issue: &Issue,
) -> Result<(Document, Trust), String> {
    let fail = |e: RegisterError| e.to_string();
    let oscilloscopes = register.oscilloscopes(Retired::Shown).map_err(fail)?;
    let probes = register.probes(Retired::Shown).map_err(fail)?;
    let pairings = register.pairings(Voids::Shown).map_err(fail)?;
    let entries = register.entries(&Filter::all()).map_err(fail)?;
    let verification = register.verify(None).map_err(fail)?;
    let source = Source {
        oscilloscopes: &oscilloscopes,
        probes: &probes,
        pairings: &pairings,
        entries: &entries,
        head: verification.head,
        verification: &verification,
    };
    let document = match about {
        About::Assessment(seq) => one(register, &source, seq, issue)?,
        About::Bench => {
            let standings = register.standings(Voids::Shown, issue.at.unix_ms).map_err(fail)?;
            bench::compose(&source, &standings, issue)
        }
        About::Period(from, until) => {
            let span = period::Period { from: moment(from)?, until: moment(until)? };
            let mut series = BTreeMap::new();
            for pairing in &pairings {
                series.insert(pairing.number, register.series(pairing.number).map_err(fail)?);
            }
            period::compose(&source, span, &series, issue)
        }
    };
    let trust = if verification.problems.is_empty() { Trust::Intact } else { Trust::Broken };
    Ok((document, trust))
}

fn one(register: &Register, source: &Source<'_>, seq: i64, issue: &Issue) -> Result<Document, String> {
    let entry = source.entries.iter().find(|entry| entry.seq == seq);
    let kept = register.captures().map_err(|e| e.to_string())?;
    let again = match entry {
        Some(entry) => Kept::of(register, entry).and_then(|kept| kept.assess()),
        None => Err(String::new()),
    };
    let again = match &again {
        Ok(subject) => Again::Assessed(subject),
        Err(why) => Again::Not(why),
    };
    assessment::compose(source, seq, &kept, again, issue).map_err(|e| e.to_string())
}

fn issue(how: &How) -> Issue {
    Issue {
        at: now(),
        program: PROGRAM.to_owned(),
        laboratory: how.laboratory.clone(),
        address: how.address.clone(),
        location: how.place.clone(),
        customer: how.customer.clone(),
        issued_by: how.issued_by.clone(),
        reference: how.reference.clone(),
        received: how.received.clone(),
        condition: how.condition.clone(),
        deviations: how.deviations.clone(),
        traceability: how.traceability.clone(),
    }
}

/// A time with the offset that the clock on the wall has then.
fn moment(unix_ms: i64) -> Result<Moment, String> {
    let at = jiff::Timestamp::from_millisecond(unix_ms).map_err(|e| format!("the period: {e}"))?;
    Ok(Moment { unix_ms, offset_minutes: offset_minutes(at) })
}
