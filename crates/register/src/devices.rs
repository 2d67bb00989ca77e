//! Oscilloscopes, inputs, probes and ground accessories: add, get, list, edit, remove.

use std::fmt;

use flattop_core::bench::{GroundAccessory, Id, Input, InputId, Oscilloscope, Pairing, Probe};
use rusqlite::types::Value as Cell;
use rusqlite::{Connection, OptionalExtension as _, Row};

use crate::error::RegisterError;
use crate::field::{Field, FieldInfo, Fields, read, show};
use crate::logbook::{Act, Event, Subject, append};
use crate::pairings;
use crate::rows::{self, columns, fill, insert, update};
use crate::store::Register;

/// One thing on the bench, by its name.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Thing {
    /// An oscilloscope with its inputs.
    Oscilloscope(Id),
    /// An input.
    Input(InputId),
    /// A probe.
    Probe(Id),
    /// A ground accessory of a probe: probe, accessory.
    Ground(Id, Id),
    /// A pairing, by its number. It is voided, never removed.
    Pairing(i64),
}

/// What a call changed.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// It is new.
    Added(Thing),
    /// One field has another value.
    Edited {
        /// Whose.
        thing: Thing,
        /// The field.
        key: &'static str,
        /// Text before; `None` for not known.
        before: Option<String>,
        /// Text after.
        after: Option<String>,
    },
    /// The value was the same already.
    Unchanged(Thing),
    /// It is gone, and its id is free.
    Deleted(Thing),
    /// It is kept because pairings or the logbook speak of it, but hidden; its id stays taken.
    Retired {
        /// What.
        thing: Thing,
        /// Pairings that ended with it.
        voided: Vec<i64>,
    },
    /// It is in use again.
    Reinstated(Thing),
}

/// Whether lists show what is retired.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Retired {
    /// Leave it out.
    Hidden,
    /// Show it too.
    Shown,
}

impl fmt::Display for Thing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Thing::Oscilloscope(id) => write!(f, "oscilloscope \"{id}\""),
            Thing::Input(id) => write!(f, "input \"{id}\""),
            Thing::Probe(id) => write!(f, "probe \"{id}\""),
            Thing::Ground(probe, name) => write!(f, "ground accessory \"{name}\" of probe \"{probe}\""),
            Thing::Pairing(number) => write!(f, "pairing {number}"),
        }
    }
}

/// The fields that can be edited, in order.
pub fn fields_of(thing: &Thing) -> Vec<FieldInfo> {
    match thing {
        Thing::Oscilloscope(_) => Oscilloscope::infos(),
        Thing::Input(_) => Input::infos(),
        Thing::Probe(_) => Probe::infos(),
        Thing::Ground(..) => GroundAccessory::infos(),
        Thing::Pairing(_) => Pairing::infos(),
    }
}

/// Sets one field of an entity that is not stored yet, from text as people type it; `None` for not known.
///
/// # Errors
/// No such field, or a text that is not its value.
pub fn set_probe_field(probe: &mut Probe, key: &str, text: Option<&str>) -> Result<(), RegisterError> {
    set(probe, Probe::field(key)?, text)
}

/// As [`set_probe_field`], for an input.
///
/// # Errors
/// No such field, or a text that is not its value.
pub fn set_input_field(input: &mut Input, key: &str, text: Option<&str>) -> Result<(), RegisterError> {
    set(input, Input::field(key)?, text)
}

/// As [`set_probe_field`], for an oscilloscope.
///
/// # Errors
/// No such field, or a text that is not its value.
pub fn set_oscilloscope_field(
    oscilloscope: &mut Oscilloscope,
    key: &str,
    text: Option<&str>,
) -> Result<(), RegisterError> {
    set(oscilloscope, Oscilloscope::field(key)?, text)
}

/// As [`set_probe_field`], for a ground accessory.
///
/// # Errors
/// No such field, or a text that is not its value.
pub fn set_ground_field(
    accessory: &mut GroundAccessory,
    key: &str,
    text: Option<&str>,
) -> Result<(), RegisterError> {
    set(accessory, GroundAccessory::field(key)?, text)
}

/// The known fields of a probe as text, in order.
pub fn probe_fields(probe: &Probe) -> Vec<(&'static str, String)> {
    shown(probe)
}

/// The known fields of an input as text, in order.
pub fn input_fields(input: &Input) -> Vec<(&'static str, String)> {
    shown(input)
}

/// The known fields of an oscilloscope as text, in order.
pub fn oscilloscope_fields(oscilloscope: &Oscilloscope) -> Vec<(&'static str, String)> {
    shown(oscilloscope)
}

/// The known fields of a ground accessory as text, in order.
pub fn ground_fields(accessory: &GroundAccessory) -> Vec<(&'static str, String)> {
    shown(accessory)
}

pub(crate) fn shown<E: Fields>(entity: &E) -> Vec<(&'static str, String)> {
    E::FIELDS.iter().filter_map(|f| Some((f.key, show(&(f.get)(entity)?, f.kind)))).collect()
}

/// A probe of which nothing is known yet.
pub fn unknown_probe(id: Id) -> Probe {
    Probe {
        id,
        label: None,
        serial: None,
        ratio: None,
        tip_resistance_ohm: None,
        tip_capacitance_f: None,
        series_resistance_ohm: None,
        body_capacitance_f: None,
        compensation_range_f: None,
        adjusted_at: None,
        bandwidth_hz: None,
        cable: flattop_core::bench::ProbeCable::default(),
        compensation_box: flattop_core::bench::ProbeBox::default(),
        voltage_rating: Vec::new(),
        voltage_rating_kind: None,
        measurement_category: None,
        category_voltage_v: None,
        ground_accessories: Vec::new(),
        note: None,
        retired: false,
    }
}

/// An input of which nothing is known yet.
pub fn unknown_input(name: Id) -> Input {
    Input {
        name,
        label: None,
        resistance_ohm: None,
        capacitance_f: None,
        bandwidth_hz: None,
        response: None,
        rated_voltage_v: None,
        rated_voltage_kind: None,
        note: None,
        retired: false,
    }
}

/// An oscilloscope without inputs of which nothing is known yet.
pub fn unknown_oscilloscope(id: Id) -> Oscilloscope {
    Oscilloscope { id, label: None, serial: None, note: None, retired: false, inputs: Vec::new() }
}

/// A ground accessory of which nothing is known yet.
pub fn unknown_ground(name: Id) -> GroundAccessory {
    GroundAccessory { name, label: None, length_m: None, inductance_h: None }
}

impl Register {
    /// Adds an oscilloscope with its inputs.
    ///
    /// # Errors
    /// A value that cannot be, or an id that is taken.
    pub fn add_oscilloscope(&mut self, oscilloscope: &Oscilloscope) -> Result<Change, RegisterError> {
        let tx = self.write()?;
        insert_oscilloscope(&tx, oscilloscope)?;
        tx.commit()?;
        Ok(Change::Added(Thing::Oscilloscope(oscilloscope.id.clone())))
    }

    /// Adds an input to an oscilloscope.
    ///
    /// # Errors
    /// No such oscilloscope, a value that cannot be, or a name that is taken.
    pub fn add_input(&mut self, oscilloscope: &Id, input: &Input) -> Result<Change, RegisterError> {
        let tx = self.write()?;
        let found = get_oscilloscope(&tx, oscilloscope)?;
        in_use("oscilloscope", &found.id, found.retired)?;
        insert_input(&tx, oscilloscope, input)?;
        tx.commit()?;
        let id = InputId { oscilloscope: oscilloscope.clone(), name: input.name.clone() };
        Ok(Change::Added(Thing::Input(id)))
    }

    /// Adds a probe with its ground accessories.
    ///
    /// # Errors
    /// A value that cannot be, or an id that is taken.
    pub fn add_probe(&mut self, probe: &Probe) -> Result<Change, RegisterError> {
        let tx = self.write()?;
        insert_probe(&tx, probe)?;
        tx.commit()?;
        Ok(Change::Added(Thing::Probe(probe.id.clone())))
    }

    /// Adds a ground accessory to a probe.
    ///
    /// # Errors
    /// No such probe, a value that cannot be, or a name that is taken.
    pub fn add_ground(&mut self, probe: &Id, accessory: &GroundAccessory) -> Result<Change, RegisterError> {
        accessory.check()?;
        let tx = self.write()?;
        let found = get_probe(&tx, probe)?;
        if found.ground_accessories.iter().any(|g| g.name == accessory.name) {
            let id = format!("{probe}/{}", accessory.name);
            return Err(RegisterError::Taken { kind: GroundAccessory::KIND, id, retired: false });
        }
        insert_ground(&tx, probe, accessory)?;
        tx.commit()?;
        Ok(Change::Added(Thing::Ground(probe.clone(), accessory.name.clone())))
    }

    /// An oscilloscope, retired or not.
    ///
    /// # Errors
    /// There is none of this id.
    pub fn oscilloscope(&self, id: &Id) -> Result<Oscilloscope, RegisterError> {
        get_oscilloscope(&*self.read()?, id)
    }

    /// An input, retired or not.
    ///
    /// # Errors
    /// There is none of this id.
    pub fn input(&self, id: &InputId) -> Result<Input, RegisterError> {
        get_input(&self.db, id)
    }

    /// A probe, retired or not.
    ///
    /// # Errors
    /// There is none of this id.
    pub fn probe(&self, id: &Id) -> Result<Probe, RegisterError> {
        get_probe(&*self.read()?, id)
    }

    /// All oscilloscopes with their inputs, by id.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn oscilloscopes(&self, retired: Retired) -> Result<Vec<Oscilloscope>, RegisterError> {
        list_oscilloscopes(&*self.read()?, retired)
    }

    /// All probes, by id.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn probes(&self, retired: Retired) -> Result<Vec<Probe>, RegisterError> {
        list_probes(&*self.read()?, retired)
    }

    /// Sets fields by their keys from text as people type it; `None` for not known. Fields: [`fields_of`]. All of them, or none.
    /// Where a pairing or the logbook speaks of the thing already, an entry of the logbook says what was and what is now.
    ///
    /// # Errors
    /// No such thing or field, a text that is not its value, or a value that cannot be.
    pub fn edit(
        &mut self,
        thing: &Thing,
        changes: &[(&str, Option<&str>)],
        act: &Act,
    ) -> Result<Vec<Change>, RegisterError> {
        act.check()?;
        let tx = self.write()?;
        let changes = changes
            .iter()
            .map(|(key, text)| edit_stored(&tx, thing, key, *text))
            .collect::<Result<Vec<_>, _>>()?;
        if let Some(note) = edit_note(&changes)
            && is_spoken_of(&tx, thing)?
        {
            let note = match &act.note {
                Some(more) => format!("{note}\n{more}"),
                None => note,
            };
            let act = Act { note: Some(note), ..act.clone() };
            act.check()?;
            let subject = match thing {
                Thing::Pairing(number) => pairings::subject_of(&pairings::get(&tx, *number)?),
                _ => subject(thing),
            };
            append(&tx, &act, &subject, &Event::Note)?;
        }
        tx.commit()?;
        Ok(changes)
    }

    /// Removes a thing. What no pairing and no entry of the logbook speaks of is deleted; the rest is retired: kept, hidden,
    /// its id taken, its pairings voided, and an entry of the logbook says so.
    ///
    /// # Errors
    /// No such thing, one that is retired already, or a pairing (which can only be voided).
    pub fn remove(&mut self, thing: &Thing, act: &Act) -> Result<Change, RegisterError> {
        act.check()?;
        let tx = self.write()?;
        let (table, keys, retired) = match thing {
            Thing::Oscilloscope(id) => {
                ("oscilloscopes", vec![("id", text_cell(id))], get_oscilloscope(&tx, id)?.retired)
            }
            Thing::Input(id) => ("inputs", input_keys(id).to_vec(), get_input(&tx, id)?.retired),
            Thing::Probe(id) => ("probes", vec![("id", text_cell(id))], get_probe(&tx, id)?.retired),
            Thing::Ground(probe, name) => {
                let known = get_probe(&tx, probe)?.ground_accessories.iter().any(|g| g.name == *name);
                if !known {
                    return Err(not_found(thing));
                }
                ("ground_accessories", vec![("probe", text_cell(probe)), ("name", text_cell(name))], false)
            }
            Thing::Pairing(number) => {
                return Err(RegisterError::Entry {
                    quantity: "what to remove",
                    problem: format!("pairing {number}, which belongs to the record"),
                    remedy: "void it instead",
                });
            }
        };
        // Entries speak of the probe, never of what hangs on it.
        let used = !matches!(thing, Thing::Ground(..)) && is_spoken_of(&tx, thing)?;
        if retired {
            return Err(match thing {
                Thing::Input(id) => RegisterError::Retired { kind: "input", id: id.to_string() },
                Thing::Probe(id) => RegisterError::Retired { kind: "probe", id: id.to_string() },
                Thing::Oscilloscope(id) | Thing::Ground(_, id) => {
                    RegisterError::Retired { kind: "oscilloscope", id: id.to_string() }
                }
                Thing::Pairing(number) => RegisterError::Void { number: *number },
            });
        }
        let on: Vec<String> = keys.iter().map(|k| format!("{} = ?", k.0)).collect();
        let on = on.join(" AND ");
        let cells = || rusqlite::params_from_iter(keys.iter().map(|k| k.1.clone()));
        let change = if used {
            let voided = pairings::void_all_of(&tx, thing, act)?;
            tx.execute(&format!("UPDATE {table} SET retired = 1 WHERE {on}"), cells())?;
            if let Thing::Oscilloscope(id) = thing {
                tx.execute("UPDATE inputs SET retired = 1 WHERE oscilloscope = ?1", [id.as_str()])?;
            }
            append(&tx, act, &subject(thing), &Event::Retirement)?;
            Change::Retired { thing: thing.clone(), voided }
        } else {
            if let Thing::Oscilloscope(id) = thing {
                tx.execute("DELETE FROM inputs WHERE oscilloscope = ?1", [id.as_str()])?;
            }
            tx.execute(&format!("DELETE FROM {table} WHERE {on}"), cells())?;
            Change::Deleted(thing.clone())
        };
        tx.commit()?;
        Ok(change)
    }

    /// Takes a retired thing into use again, with an entry in the logbook. Its pairings stay void.
    ///
    /// # Errors
    /// No such thing, or an input of a retired oscilloscope.
    pub fn reinstate(&mut self, thing: &Thing, act: &Act) -> Result<Change, RegisterError> {
        act.check()?;
        let tx = self.write()?;
        let was_retired = match thing {
            Thing::Oscilloscope(id) => get_oscilloscope(&tx, id)?.retired,
            Thing::Probe(id) => get_probe(&tx, id)?.retired,
            Thing::Input(id) => {
                let oscilloscope = get_oscilloscope(&tx, &id.oscilloscope)?;
                in_use("oscilloscope", &oscilloscope.id, oscilloscope.retired)?;
                get_input(&tx, id)?.retired
            }
            Thing::Ground(..) | Thing::Pairing(_) => false,
        };
        if !was_retired {
            return Ok(Change::Unchanged(thing.clone()));
        }
        match thing {
            Thing::Oscilloscope(id) => {
                tx.execute("UPDATE oscilloscopes SET retired = 0 WHERE id = ?1", [id.as_str()])?;
                tx.execute("UPDATE inputs SET retired = 0 WHERE oscilloscope = ?1", [id.as_str()])?;
            }
            Thing::Probe(id) => {
                tx.execute("UPDATE probes SET retired = 0 WHERE id = ?1", [id.as_str()])?;
            }
            Thing::Input(id) => {
                let sql = "UPDATE inputs SET retired = 0 WHERE oscilloscope = ?1 AND name = ?2";
                tx.execute(sql, [id.oscilloscope.as_str(), id.name.as_str()])?;
            }
            Thing::Ground(..) | Thing::Pairing(_) => {}
        }
        append(&tx, act, &subject(thing), &Event::Reinstatement)?;
        tx.commit()?;
        Ok(Change::Reinstated(thing.clone()))
    }
}

/// Sets one field of a stored thing.
pub(crate) fn edit_stored(
    db: &Connection,
    thing: &Thing,
    key: &str,
    text: Option<&str>,
) -> Result<Change, RegisterError> {
    match thing {
        Thing::Oscilloscope(id) => {
            let mut entity = get_oscilloscope(db, id)?;
            let change = edit(thing, &mut entity, key, text)?;
            entity.check()?;
            update(db, "oscilloscopes", &[("id", text_cell(id))], &entity)?;
            Ok(change)
        }
        Thing::Input(id) => {
            let mut entity = get_input(db, id)?;
            let change = edit(thing, &mut entity, key, text)?;
            entity.check()?;
            update(db, "inputs", &input_keys(id), &entity)?;
            Ok(change)
        }
        Thing::Probe(id) => {
            let mut entity = get_probe(db, id)?;
            let change = edit(thing, &mut entity, key, text)?;
            entity.check()?;
            update(db, "probes", &[("id", text_cell(id))], &entity)?;
            Ok(change)
        }
        Thing::Ground(probe, name) => {
            let all = get_probe(db, probe)?.ground_accessories;
            let mut entity = all.into_iter().find(|g| g.name == *name).ok_or_else(|| not_found(thing))?;
            let change = edit(thing, &mut entity, key, text)?;
            entity.check()?;
            let keys = [("probe", text_cell(probe)), ("name", text_cell(name))];
            update(db, "ground_accessories", &keys, &entity)?;
            Ok(change)
        }
        Thing::Pairing(number) => {
            let mut entity = pairings::get(db, *number)?;
            if entity.voided.is_some() {
                return Err(RegisterError::Void { number: *number });
            }
            let change = edit(thing, &mut entity, key, text)?;
            entity.check()?;
            update(db, "pairings", &[("number", Cell::Integer(*number))], &entity)?;
            Ok(change)
        }
    }
}

/// What an entry of the logbook says of changed fields; `None` when none changed.
pub(crate) fn edit_note(changes: &[Change]) -> Option<String> {
    let word =
        |value: &Option<String>| value.as_deref().map_or("not known".to_owned(), |v| format!("\"{v}\""));
    let lines: Vec<String> = changes
        .iter()
        .filter_map(|change| match change {
            Change::Edited { thing, key, before, after } => {
                Some(format!("{key} of {thing} changed from {} to {}", word(before), word(after)))
            }
            _ => None,
        })
        .collect();
    (!lines.is_empty()).then(|| lines.join("\n"))
}

/// Whether a pairing or an entry of the logbook speaks of a thing.
fn is_spoken_of(db: &Connection, thing: &Thing) -> Result<bool, RegisterError> {
    Ok(match thing {
        Thing::Oscilloscope(id) => db.query_row(
            "SELECT EXISTS (SELECT 1 FROM pairings WHERE oscilloscope = ?1)
                OR EXISTS (SELECT 1 FROM log WHERE oscilloscope = ?1)",
            [id.as_str()],
            |r| r.get(0),
        )?,
        Thing::Input(id) => db.query_row(
            "SELECT EXISTS (SELECT 1 FROM pairings WHERE oscilloscope = ?1 AND input = ?2)
                OR EXISTS (SELECT 1 FROM log WHERE oscilloscope = ?1 AND input = ?2)",
            [id.oscilloscope.as_str(), id.name.as_str()],
            |r| r.get(0),
        )?,
        Thing::Probe(id) | Thing::Ground(id, _) => db.query_row(
            "SELECT EXISTS (SELECT 1 FROM pairings WHERE probe = ?1)
                OR EXISTS (SELECT 1 FROM log WHERE probe = ?1)",
            [id.as_str()],
            |r| r.get(0),
        )?,
        Thing::Pairing(_) => true,
    })
}

fn edit<E: Fields>(
    thing: &Thing,
    entity: &mut E,
    key: &str,
    text: Option<&str>,
) -> Result<Change, RegisterError> {
    let field = E::field(key)?;
    let word = |e: &E| (field.get)(e).map(|v| show(&v, field.kind));
    let before = word(entity);
    set(entity, field, text)?;
    let after = word(entity);
    if before == after {
        return Ok(Change::Unchanged(thing.clone()));
    }
    Ok(Change::Edited { thing: thing.clone(), key: field.key, before, after })
}

pub(crate) fn set<E: Fields>(
    entity: &mut E,
    field: &Field<E>,
    text: Option<&str>,
) -> Result<(), RegisterError> {
    let value = text.map(|text| read(text, field.kind)).transpose()?;
    (field.set)(entity, value)
        .ok_or_else(|| crate::error::corrupt(format!("the field {} cannot hold its own kind", field.key)))
}

pub(crate) fn text_cell(id: &Id) -> Cell {
    Cell::Text(id.as_str().to_owned())
}

fn input_keys(id: &InputId) -> [(&'static str, Cell); 2] {
    [("oscilloscope", text_cell(&id.oscilloscope)), ("name", text_cell(&id.name))]
}

/// What an entry of the logbook about this thing is about.
fn subject(thing: &Thing) -> Subject {
    let mut subject = Subject::default();
    match thing {
        Thing::Oscilloscope(id) => subject.oscilloscope = Some(id.clone()),
        Thing::Input(id) => subject = Subject::of_input(id),
        Thing::Probe(id) | Thing::Ground(id, _) => subject.probe = Some(id.clone()),
        Thing::Pairing(number) => subject.pairing = Some(*number),
    }
    subject
}

fn not_found(thing: &Thing) -> RegisterError {
    let (kind, id) = match thing {
        Thing::Oscilloscope(id) => ("oscilloscope", id.to_string()),
        Thing::Input(id) => ("input", id.to_string()),
        Thing::Probe(id) => ("probe", id.to_string()),
        Thing::Ground(probe, name) => (GroundAccessory::KIND, format!("{probe}/{name}")),
        Thing::Pairing(number) => ("pairing", number.to_string()),
    };
    RegisterError::NotFound { kind, id, remedy: "list the bench to see what is on it" }
}

pub(crate) fn in_use(kind: &'static str, id: &impl fmt::Display, retired: bool) -> Result<(), RegisterError> {
    if retired { Err(RegisterError::Retired { kind, id: id.to_string() }) } else { Ok(()) }
}

pub(crate) fn insert_oscilloscope(db: &Connection, oscilloscope: &Oscilloscope) -> Result<(), RegisterError> {
    oscilloscope.check()?;
    let sql = "SELECT retired FROM oscilloscopes WHERE id = ?1";
    let taken: Option<bool> = db.query_row(sql, [oscilloscope.id.as_str()], |r| r.get(0)).optional()?;
    if let Some(retired) = taken {
        let id = oscilloscope.id.to_string();
        return Err(RegisterError::Taken { kind: "oscilloscope", id, retired });
    }
    let keys =
        [("id", text_cell(&oscilloscope.id)), ("retired", Cell::Integer(i64::from(oscilloscope.retired)))];
    insert(db, "oscilloscopes", &keys, oscilloscope)?;
    oscilloscope.inputs.iter().try_for_each(|input| insert_input(db, &oscilloscope.id, input))
}

pub(crate) fn insert_input(db: &Connection, oscilloscope: &Id, input: &Input) -> Result<(), RegisterError> {
    input.check()?;
    let sql = "SELECT retired FROM inputs WHERE oscilloscope = ?1 AND name = ?2";
    let taken: Option<bool> =
        db.query_row(sql, [oscilloscope.as_str(), input.name.as_str()], |r| r.get(0)).optional()?;
    if let Some(retired) = taken {
        let id = format!("{oscilloscope}/{}", input.name);
        return Err(RegisterError::Taken { kind: "input", id, retired });
    }
    let keys = [
        ("oscilloscope", text_cell(oscilloscope)),
        ("name", text_cell(&input.name)),
        ("retired", Cell::Integer(i64::from(input.retired))),
    ];
    insert(db, "inputs", &keys, input)
}

pub(crate) fn insert_probe(db: &Connection, probe: &Probe) -> Result<(), RegisterError> {
    probe.check()?;
    let sql = "SELECT retired FROM probes WHERE id = ?1";
    let taken: Option<bool> = db.query_row(sql, [probe.id.as_str()], |r| r.get(0)).optional()?;
    if let Some(retired) = taken {
        return Err(RegisterError::Taken { kind: "probe", id: probe.id.to_string(), retired });
    }
    let keys = [("id", text_cell(&probe.id)), ("retired", Cell::Integer(i64::from(probe.retired)))];
    insert(db, "probes", &keys, probe)?;
    probe.ground_accessories.iter().try_for_each(|g| insert_ground(db, &probe.id, g))
}

fn insert_ground(db: &Connection, probe: &Id, accessory: &GroundAccessory) -> Result<(), RegisterError> {
    let keys = [("probe", text_cell(probe)), ("name", text_cell(&accessory.name))];
    insert(db, "ground_accessories", &keys, accessory)
}

pub(crate) fn get_oscilloscope(db: &Connection, id: &Id) -> Result<Oscilloscope, RegisterError> {
    let found = oscilloscopes_where(db, "WHERE id = ?1", &[id.as_str()])?;
    found.into_iter().next().ok_or_else(|| not_found(&Thing::Oscilloscope(id.clone())))
}

pub(crate) fn list_oscilloscopes(
    db: &Connection,
    retired: Retired,
) -> Result<Vec<Oscilloscope>, RegisterError> {
    let filter = if retired == Retired::Hidden { "WHERE retired = 0" } else { "" };
    let mut all = oscilloscopes_where(db, filter, &[])?;
    if retired == Retired::Hidden {
        all.iter_mut().for_each(|o| o.inputs.retain(|i| !i.retired));
    }
    Ok(all)
}

fn oscilloscopes_where(
    db: &Connection,
    filter: &str,
    values: &[&str],
) -> Result<Vec<Oscilloscope>, RegisterError> {
    let fields = columns::<Oscilloscope>().join(", ");
    let mut statement =
        db.prepare(&format!("SELECT id, retired, {fields} FROM oscilloscopes {filter} ORDER BY id"))?;
    let mut rows = statement.query(rusqlite::params_from_iter(values))?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let mut one = unknown_oscilloscope(rows::id(&row.get::<_, String>(0)?)?);
        one.retired = row.get(1)?;
        fill(&mut one, row, 2)?;
        one.inputs = inputs_where(db, "oscilloscope = ?1", &[one.id.as_str()])?;
        all.push(one);
    }
    Ok(all)
}

pub(crate) fn get_input(db: &Connection, id: &InputId) -> Result<Input, RegisterError> {
    let values = [id.oscilloscope.as_str(), id.name.as_str()];
    let found = inputs_where(db, "oscilloscope = ?1 AND name = ?2", &values)?;
    found.into_iter().next().ok_or_else(|| not_found(&Thing::Input(id.clone())))
}

fn inputs_where(db: &Connection, filter: &str, values: &[&str]) -> Result<Vec<Input>, RegisterError> {
    let fields = columns::<Input>().join(", ");
    let mut statement =
        db.prepare(&format!("SELECT name, retired, {fields} FROM inputs WHERE {filter} ORDER BY name"))?;
    let mut rows = statement.query(rusqlite::params_from_iter(values))?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let mut one = unknown_input(rows::id(&row.get::<_, String>(0)?)?);
        one.retired = row.get(1)?;
        fill(&mut one, row, 2)?;
        all.push(one);
    }
    Ok(all)
}

pub(crate) fn get_probe(db: &Connection, id: &Id) -> Result<Probe, RegisterError> {
    let fields = columns::<Probe>().join(", ");
    let mut statement = db.prepare(&format!("SELECT id, retired, {fields} FROM probes WHERE id = ?1"))?;
    let mut rows = statement.query([id.as_str()])?;
    let Some(row) = rows.next()? else { return Err(not_found(&Thing::Probe(id.clone()))) };
    let mut probe = probe_of(row)?;
    let mut statement = db.prepare(&format!("{} WHERE probe = ?1 ORDER BY name", ground_select()))?;
    let mut rows = statement.query([id.as_str()])?;
    while let Some(row) = rows.next()? {
        probe.ground_accessories.push(ground_of(row)?);
    }
    Ok(probe)
}

pub(crate) fn list_probes(db: &Connection, retired: Retired) -> Result<Vec<Probe>, RegisterError> {
    let fields = columns::<Probe>().join(", ");
    let filter = if retired == Retired::Hidden { "WHERE retired = 0" } else { "" };
    let mut statement =
        db.prepare(&format!("SELECT id, retired, {fields} FROM probes {filter} ORDER BY id"))?;
    let mut rows = statement.query([])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        all.push(probe_of(row)?);
    }
    // All accessories in one question: both lists are in the order of the probes' ids.
    let mut statement = db.prepare(&format!("{} ORDER BY probe, name", ground_select()))?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let probe: String = row.get(0)?;
        let place = all.binary_search_by(|p: &Probe| p.id.as_str().cmp(&probe));
        if let Some(owner) = place.ok().and_then(|at| all.get_mut(at)) {
            owner.ground_accessories.push(ground_of(row)?);
        }
    }
    Ok(all)
}

fn probe_of(row: &Row<'_>) -> Result<Probe, RegisterError> {
    let mut probe = unknown_probe(rows::id(&row.get::<_, String>(0)?)?);
    probe.retired = row.get(1)?;
    fill(&mut probe, row, 2)?;
    Ok(probe)
}

fn ground_select() -> String {
    format!("SELECT probe, name, {} FROM ground_accessories", columns::<GroundAccessory>().join(", "))
}

fn ground_of(row: &Row<'_>) -> Result<GroundAccessory, RegisterError> {
    let mut one = unknown_ground(rows::id(&row.get::<_, String>(1)?)?);
    fill(&mut one, row, 2)?;
    Ok(one)
}
