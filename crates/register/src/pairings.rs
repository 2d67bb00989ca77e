//! Pairings: made, moved, voided, how they stand, what is due, and how they drift.

use std::collections::{BTreeMap, BTreeSet};

use flattop_core::bench::{
    Before, Check, Id, InputId, InputLoad, Moment, MoveError, MoveForecast, Pairing, PairingHistory,
    PairingState, PairingStatus, Probe, ReachKnown, Setting, Stage, Trend, TrendError, TrendPoint, Voided,
    expected_after_move, pairing_status, trend,
};
use rusqlite::types::Value as Cell;
use rusqlite::{Connection, OptionalExtension as _, Row};
use thiserror::Error;

use crate::devices::{Retired, Thing, get_input, get_oscilloscope, get_probe, in_use, list_oscilloscopes};
use crate::error::{RegisterError, corrupt};
use crate::logbook::{
    Act, Effect, Entry, EntryKind, Event, Filter, Subject, Texts, append, list_entries, stamp,
};
use crate::rows::{self, columns, fill};
use crate::store::Register;
use crate::time;

/// What a pairing asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// The |e| still accepted; `None`: that of each assessment.
    pub tolerance: Option<f64>,
    /// Days after which it wants checking again; `None`: never by itself.
    pub recheck_interval_days: Option<u32>,
}

/// What a move did.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// The pairing that ended.
    pub voided: i64,
    /// The pairing that began.
    pub made: i64,
    /// The error to expect on the new input, or why nothing can be said.
    pub forecast: Result<Forecast, NoForecast>,
}

/// The error to expect after a move, and what it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    /// The error.
    pub expected: MoveForecast,
    /// The entry of the logbook it rests on; `None`: the data sheet alone.
    pub rests_on: Option<i64>,
}

/// Why the error after a move cannot be said.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum NoForecast {
    /// A value is not on the bench.
    #[error(
        "the error after the move cannot be said: {what} of {of} is not known; enter it, or assess a capture"
    )]
    Unknown {
        /// The value.
        what: &'static str,
        /// Of what.
        of: String,
    },
    /// The formulas refuse.
    #[error(transparent)]
    Move(#[from] MoveError),
}

/// A pairing and how it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// The pairing.
    pub pairing: Pairing,
    /// How it stands.
    pub status: PairingStatus,
}

/// Which pairings a list shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Voids {
    /// Those in force.
    Hidden,
    /// All.
    Shown,
}

/// The series of a pairing and its drift.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Assessments with a determined e, withdrawn ones left out, with the numbers of their entries; by time.
    pub points: Vec<(i64, TrendPoint)>,
    /// The drift, or why there is none to tell.
    pub trend: Result<Trend, TrendError>,
}

impl Register {
    /// Pairs a probe with an input. Its number is returned.
    ///
    /// # Errors
    /// No such probe or input, one that is retired, or a probe that is paired: that one is moved.
    pub fn pair(
        &mut self,
        probe: &Id,
        input: &InputId,
        terms: Terms,
        act: &Act,
    ) -> Result<i64, RegisterError> {
        act.check()?;
        let tx = self.write()?;
        if let Some(held) = in_force(&tx, probe)? {
            let (probe, input) = (probe.to_string(), held.input.to_string());
            return Err(RegisterError::Paired { probe, input, number: held.number });
        }
        let number = make(&tx, probe, input, terms, act)?;
        tx.commit()?;
        Ok(number)
    }

    /// Moves a probe to another input: its pairing becomes void and a new one is made, both with an entry in the logbook.
    ///
    /// # Errors
    /// No such probe or input, one that is retired, or a probe that is not paired or stands there already.
    pub fn move_probe(
        &mut self,
        probe: &Id,
        to: &InputId,
        terms: Terms,
        act: &Act,
    ) -> Result<Moved, RegisterError> {
        act.check()?;
        let tx = self.write()?;
        let held = in_force(&tx, probe)?.ok_or_else(|| RegisterError::NotFound {
            kind: "pairing in force of probe",
            id: probe.to_string(),
            remedy: "pair it first",
        })?;
        if held.input == *to {
            let (probe, input) = (probe.to_string(), to.to_string());
            return Err(RegisterError::SamePlace { probe, input, number: held.number });
        }
        let forecast = forecast(&tx, &held, to)?;
        void(&tx, &held, &format!("moved to {to}"), act)?;
        let made = make(&tx, probe, to, terms, act)?;
        tx.commit()?;
        Ok(Moved { voided: held.number, made, forecast })
    }

    /// The error to expect if the probe of this pairing moved to another input. Nothing is changed.
    ///
    /// # Errors
    /// No such pairing or input. That nothing can be said is no error but a [`NoForecast`].
    pub fn forecast(
        &self,
        pairing: i64,
        to: &InputId,
    ) -> Result<Result<Forecast, NoForecast>, RegisterError> {
        let tx = self.read()?;
        forecast(&tx, &get(&tx, pairing)?, to)
    }

    /// Ends a pairing.
    ///
    /// # Errors
    /// No such pairing, one that is void, or no reason.
    pub fn void_pairing(&mut self, pairing: i64, why: &str, act: &Act) -> Result<(), RegisterError> {
        act.check()?;
        let tx = self.write()?;
        let held = get(&tx, pairing)?;
        if held.voided.is_some() {
            return Err(RegisterError::Void { number: pairing });
        }
        void(&tx, &held, why, act)?;
        tx.commit()?;
        Ok(())
    }

    /// A pairing, void or not.
    ///
    /// # Errors
    /// There is none of this number.
    pub fn pairing(&self, number: i64) -> Result<Pairing, RegisterError> {
        get(&self.db, number)
    }

    /// The pairing of a probe that is in force.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn pairing_of(&self, probe: &Id) -> Result<Option<Pairing>, RegisterError> {
        in_force(&self.db, probe)
    }

    /// All pairings, by number.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn pairings(&self, voids: Voids) -> Result<Vec<Pairing>, RegisterError> {
        list(&self.db, voids)
    }

    /// How one pairing stands at `now_unix_ms` (ms since 1970 UTC).
    ///
    /// # Errors
    /// There is none of this number.
    pub fn standing(&self, pairing: i64, now_unix_ms: i64) -> Result<Standing, RegisterError> {
        let tx = self.read()?;
        let pairing = get(&tx, pairing)?;
        let filter = Filter { pairing: Some(pairing.number), ..history_filter() };
        let history = histories(&list_entries(&tx, &filter, Texts::Skipped)?)
            .remove(&pairing.number)
            .unwrap_or_default();
        let probe = get_probe(&tx, &pairing.probe)?;
        let capacitance_f = get_input(&tx, &pairing.input)?.capacitance_f;
        let reach = ReachKnown::of(probe.compensation_range_f, capacitance_f);
        let status = pairing_status(&pairing, &history, reach, now_unix_ms);
        Ok(Standing { pairing, status })
    }

    /// How all pairings stand at `now_unix_ms`, by number.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn standings(&self, voids: Voids, now_unix_ms: i64) -> Result<Vec<Standing>, RegisterError> {
        let tx = self.read()?;
        let mut histories = histories(&list_entries(&tx, &history_filter(), Texts::Skipped)?);
        let probes = crate::devices::list_probes(&tx, Retired::Shown)?;
        let ranges: BTreeMap<_, _> = probes.iter().map(|p| (&p.id, p.compensation_range_f)).collect();
        let scopes = list_oscilloscopes(&tx, Retired::Shown)?;
        let inputs: BTreeMap<_, _> = scopes
            .iter()
            .flat_map(|o| o.inputs.iter().map(move |i| ((&o.id, &i.name), i.capacitance_f)))
            .collect();
        let mut all = Vec::new();
        for pairing in list(&tx, voids)? {
            let history = histories.remove(&pairing.number).unwrap_or_default();
            let range = ranges.get(&pairing.probe).copied().flatten();
            let input = (&pairing.input.oscilloscope, &pairing.input.name);
            let reach = ReachKnown::of(range, inputs.get(&input).copied().flatten());
            let status = pairing_status(&pairing, &history, reach, now_unix_ms);
            all.push(Standing { pairing, status });
        }
        Ok(all)
    }

    /// What wants attention at `at_unix_ms`: by state (out of reach, out of tolerance, never checked, due), then by number.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn due(&self, at_unix_ms: i64) -> Result<Vec<Standing>, RegisterError> {
        let mut all = self.standings(Voids::Hidden, at_unix_ms)?;
        all.retain(|s| s.status.state.wants_attention());
        let rank = |s: &Standing| PairingState::ALL.iter().position(|state| *state == s.status.state);
        all.sort_by_key(|s| (rank(s), s.pairing.number));
        Ok(all)
    }

    /// How e of a pairing went over time.
    ///
    /// # Errors
    /// There is no pairing of this number.
    pub fn series(&self, pairing: i64) -> Result<Series, RegisterError> {
        let tx = self.read()?;
        get(&tx, pairing)?;
        let filter = Filter { pairing: Some(pairing), ..history_filter() };
        let entries = list_entries(&tx, &filter, Texts::Skipped)?;
        let withdrawn = withdrawn(&entries);
        let mut points = Vec::new();
        let mut turned: Vec<Moment> = Vec::new();
        for entry in entries.iter().filter(|e| !withdrawn.contains(&e.seq)) {
            match &entry.event {
                Event::Adjustment => turned.push(entry.act.at),
                Event::Assessment(record) => {
                    if let Some(c) = &record.compensation {
                        let u = c.error.standard_uncertainty;
                        let point = TrendPoint {
                            at: entry.act.at,
                            compensation_error: c.error.value,
                            standard_uncertainty: (u > 0.0).then_some(u),
                            stage: record.stage,
                        };
                        points.push((entry.seq, point));
                    }
                }
                _ => {}
            }
        }
        points.sort_by_key(|(seq, p)| (p.at.unix_ms, *seq));
        // A turn of the trimmer without a look before starts a new stretch as well.
        let mut fitted: Vec<TrendPoint> = points.iter().map(|p| p.1).collect();
        for at in 1..fitted.len() {
            let (before, after) = (fitted[at - 1].at.unix_ms, fitted[at].at.unix_ms);
            if turned.iter().any(|t| (before..after).contains(&t.unix_ms)) {
                fitted[at].stage = match fitted[at].stage {
                    Stage::Check => Stage::AfterAdjustment,
                    other => other,
                };
            }
        }
        Ok(Series { points, trend: trend(&fitted) })
    }
}

fn history_filter() -> Filter {
    let kinds = vec![EntryKind::Assessment, EntryKind::Adjustment, EntryKind::Correction];
    Filter { kinds, ..Filter::all() }
}

/// Entries that a correction took out. Later corrections come first, so that a withdrawn one takes nothing out.
pub(crate) fn withdrawn(entries: &[Entry]) -> BTreeSet<i64> {
    let mut out = BTreeSet::new();
    for entry in entries.iter().rev() {
        if let Event::Correction { corrects, effect: Effect::Withdraws } = entry.event
            && !out.contains(&entry.seq)
        {
            out.insert(corrects);
        }
    }
    out
}

fn histories(entries: &[Entry]) -> BTreeMap<i64, PairingHistory> {
    let withdrawn = withdrawn(entries);
    let mut all: BTreeMap<i64, PairingHistory> = BTreeMap::new();
    for entry in entries.iter().filter(|e| !withdrawn.contains(&e.seq)) {
        let Some(number) = entry.subject.pairing else { continue };
        let history = all.entry(number).or_default();
        match &entry.event {
            Event::Assessment(record) => history.checks.push(Check {
                at: entry.act.at,
                verdict: record.verdict,
                compensation_error: record.compensation.map(|c| c.error.value),
                standard_uncertainty: record.compensation.map(|c| c.error.standard_uncertainty),
            }),
            Event::Adjustment => {
                let later = |before: Moment| before.unix_ms < entry.act.at.unix_ms;
                if history.last_adjustment.is_none_or(later) {
                    history.last_adjustment = Some(entry.act.at);
                }
            }
            _ => {}
        }
    }
    all
}

fn forecast(
    db: &Connection,
    pairing: &Pairing,
    to: &InputId,
) -> Result<Result<Forecast, NoForecast>, RegisterError> {
    let (from_input, to_input) = (get_input(db, &pairing.input)?, get_input(db, to)?);
    let probe = get_probe(db, &pairing.probe)?;
    let load = |input: &flattop_core::bench::Input, id: &InputId| {
        let of = format!("input \"{id}\"");
        let capacitance_f = input.capacitance_f.ok_or(NoForecast::Unknown { what: "the capacitance", of })?;
        let resistance_ohm = input.resistance_ohm.map(|r| r.value);
        Ok::<_, NoForecast>(InputLoad { capacitance_f, resistance_ohm })
    };
    let filter = Filter { pairing: Some(pairing.number), ..history_filter() };
    let entries = list_entries(db, &filter, Texts::Skipped)?;
    let withdrawn = withdrawn(&entries);
    let usable = entries.iter().filter(|e| !withdrawn.contains(&e.seq));
    let turned =
        usable.clone().filter(|e| matches!(e.event, Event::Adjustment)).map(|e| e.act.at.unix_ms).max();
    let measured = usable
        .filter_map(|e| match &e.event {
            Event::Assessment(record) => Some((e.act.at.unix_ms, e.seq, record.compensation?)),
            _ => None,
        })
        .filter(|(at, ..)| turned.is_none_or(|turned| turned <= *at))
        .max_by_key(|(at, seq, _)| (*at, *seq));
    let said = (|| {
        let (from, to) = (load(&from_input, &pairing.input)?, load(&to_input, to)?);
        let (before, rests_on) = match measured {
            Some((_, seq, compensation)) => (Before::Measured(compensation), Some(seq)),
            None => (data_sheet(&probe)?, None),
        };
        Ok(Forecast { expected: expected_after_move(&before, &from, &to)?, rests_on })
    })();
    Ok(said)
}

/// What the data sheet says of a probe that nobody measured: its trimmer may stand anywhere in its range.
fn data_sheet(probe: &Probe) -> Result<Before, NoForecast> {
    let unknown = |what| NoForecast::Unknown { what, of: format!("probe \"{}\"", probe.id) };
    Ok(Before::DataSheet {
        ratio: probe.ratio.ok_or_else(|| unknown("the ratio"))?,
        tip_capacitance_f: probe.tip_capacitance_f.ok_or_else(|| unknown("the tip capacitance"))?,
        body_capacitance_f: probe.body_capacitance_f,
        setting: Setting::Anywhere(
            probe.compensation_range_f.ok_or_else(|| unknown("the compensation range"))?,
        ),
    })
}

fn make(db: &Connection, probe: &Id, input: &InputId, terms: Terms, act: &Act) -> Result<i64, RegisterError> {
    in_use("probe", probe, get_probe(db, probe)?.retired)?;
    in_use("oscilloscope", &input.oscilloscope, get_oscilloscope(db, &input.oscilloscope)?.retired)?;
    in_use("input", input, get_input(db, input)?.retired)?;
    let pairing = Pairing {
        number: 0,
        probe: probe.clone(),
        input: input.clone(),
        tolerance: terms.tolerance,
        recheck_interval_days: terms.recheck_interval_days,
        made_at: act.at,
        made_by: act.by.clone(),
        voided: None,
    };
    let number = insert(db, &pairing, None)?;
    append(db, act, &subject_of(&Pairing { number, ..pairing }), &Event::PairingMade)?;
    Ok(number)
}

/// Stores a pairing; the register chooses the number unless one is given.
pub(crate) fn insert(db: &Connection, pairing: &Pairing, number: Option<i64>) -> Result<i64, RegisterError> {
    pairing.check()?;
    let offset = |at: Moment| Cell::Integer(i64::from(at.offset_minutes));
    let end = pairing.voided.as_ref();
    let keys = [
        ("number", number.map_or(Cell::Null, Cell::Integer)),
        ("probe", Cell::Text(pairing.probe.to_string())),
        ("oscilloscope", Cell::Text(pairing.input.oscilloscope.to_string())),
        ("input", Cell::Text(pairing.input.name.to_string())),
        ("made_at_utc", Cell::Text(time::utc(pairing.made_at.unix_ms))),
        ("made_offset_minutes", offset(pairing.made_at)),
        ("made_by", pairing.made_by.clone().map_or(Cell::Null, Cell::Text)),
        ("voided_at_utc", end.map_or(Cell::Null, |v| Cell::Text(time::utc(v.at.unix_ms)))),
        ("voided_offset_minutes", end.map_or(Cell::Null, |v| offset(v.at))),
        ("voided_why", end.map_or(Cell::Null, |v| Cell::Text(v.why.clone()))),
    ];
    // A column without a value lets SQLite choose the number.
    let keys: Vec<_> = keys.into_iter().filter(|(_, cell)| *cell != Cell::Null).collect();
    rows::insert(db, "pairings", &keys, pairing)?;
    Ok(db.last_insert_rowid())
}

fn void(db: &Connection, pairing: &Pairing, why: &str, act: &Act) -> Result<(), RegisterError> {
    let voided = Voided { at: act.at, why: why.to_owned() };
    Pairing { voided: Some(voided), ..pairing.clone() }.check()?;
    let (at_utc, offset) = stamp(act);
    let sql = "UPDATE pairings SET voided_at_utc = ?1, voided_offset_minutes = ?2, voided_why = ?3 WHERE number = ?4";
    db.execute(sql, (at_utc, offset, why, pairing.number))?;
    let note = match &act.note {
        Some(note) => format!("{why}\n{note}"),
        None => why.to_owned(),
    };
    append(db, &Act { note: Some(note), ..act.clone() }, &subject_of(pairing), &Event::PairingVoided)?;
    Ok(())
}

/// Voids what rests on a thing that goes out of use.
pub(crate) fn void_all_of(db: &Connection, thing: &Thing, act: &Act) -> Result<Vec<i64>, RegisterError> {
    let mut voided = Vec::new();
    for pairing in list(db, Voids::Hidden)? {
        let hit = match thing {
            Thing::Oscilloscope(id) => pairing.input.oscilloscope == *id,
            Thing::Input(id) => pairing.input == *id,
            Thing::Probe(id) => pairing.probe == *id,
            Thing::Ground(..) | Thing::Pairing(_) => false,
        };
        if hit {
            void(db, &pairing, &format!("{thing} retired"), act)?;
            voided.push(pairing.number);
        }
    }
    Ok(voided)
}

pub(crate) fn subject_of(pairing: &Pairing) -> Subject {
    Subject {
        pairing: Some(pairing.number),
        probe: Some(pairing.probe.clone()),
        ..Subject::of_input(&pairing.input)
    }
}

/// What an entry about a pairing in force is about.
pub(crate) fn subject_in_force(db: &Connection, number: i64) -> Result<Subject, RegisterError> {
    let pairing = get(db, number)?;
    if pairing.voided.is_some() {
        return Err(RegisterError::Void { number });
    }
    Ok(subject_of(&pairing))
}

pub(crate) fn get(db: &Connection, number: i64) -> Result<Pairing, RegisterError> {
    let found = select(db, "WHERE number = ?1", &[Cell::Integer(number)])?;
    let remedy = "list the pairings to see their numbers";
    found.into_iter().next().ok_or(RegisterError::NotFound {
        kind: "pairing",
        id: number.to_string(),
        remedy,
    })
}

pub(crate) fn in_force(db: &Connection, probe: &Id) -> Result<Option<Pairing>, RegisterError> {
    let values = [Cell::Text(probe.to_string())];
    Ok(select(db, "WHERE probe = ?1 AND voided_at_utc IS NULL", &values)?.into_iter().next())
}

pub(crate) fn list(db: &Connection, voids: Voids) -> Result<Vec<Pairing>, RegisterError> {
    let filter = if voids == Voids::Hidden { "WHERE voided_at_utc IS NULL" } else { "" };
    select(db, filter, &[])
}

/// Whether a number is given away already.
pub(crate) fn is_taken(db: &Connection, number: i64) -> Result<bool, RegisterError> {
    let sql = "SELECT 1 FROM pairings WHERE number = ?1";
    Ok(db.query_row(sql, [number], |_| Ok(())).optional()?.is_some())
}

fn select(db: &Connection, filter: &str, values: &[Cell]) -> Result<Vec<Pairing>, RegisterError> {
    let sql = format!(
        "SELECT number, probe, oscilloscope, input, made_at_utc, made_offset_minutes, made_by,
            voided_at_utc, voided_offset_minutes, voided_why, {} FROM pairings {filter} ORDER BY number",
        columns::<Pairing>().join(", ")
    );
    let mut statement = db.prepare(&sql)?;
    let mut rows = statement.query(rusqlite::params_from_iter(values))?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        all.push(pairing_of(row)?);
    }
    Ok(all)
}

fn pairing_of(row: &Row<'_>) -> Result<Pairing, RegisterError> {
    let number: i64 = row.get(0)?;
    let moment = |utc: String, offset_minutes: i16| -> Result<Moment, RegisterError> {
        let unix_ms = time::read_utc(&utc).map_err(|_| corrupt(format!("pairing {number} has no time")))?;
        Ok(Moment { unix_ms, offset_minutes })
    };
    let input = InputId {
        oscilloscope: rows::id(&row.get::<_, String>(2)?)?,
        name: rows::id(&row.get::<_, String>(3)?)?,
    };
    let voided = match row.get::<_, Option<String>>(7)? {
        None => None,
        Some(utc) => Some(Voided { at: moment(utc, row.get(8)?)?, why: row.get(9)? }),
    };
    let mut pairing = Pairing {
        number,
        probe: rows::id(&row.get::<_, String>(1)?)?,
        input,
        tolerance: None,
        recheck_interval_days: None,
        made_at: moment(row.get(4)?, row.get(5)?)?,
        made_by: row.get(6)?,
        voided,
    };
    fill(&mut pairing, row, 10)?;
    Ok(pairing)
}
