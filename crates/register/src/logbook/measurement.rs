//! Measured values: what a data sheet does not say, with the captures that it rests on.
//!
//! The entry holds value and standard uncertainty with all digits. The field of the input or probe is set in the same
//! transaction, to the value with its 95 % interval as tolerance, both rounded as people write them. As long as the field still
//! says what the newest entry made of it, it counts as measured.

use std::collections::BTreeSet;

use flattop_core::assessment::Estimate;
use flattop_core::bench::{Moment, Range, Toleranced};
use flattop_core::quantity::Unit;

use super::{Act, Digest, Event, Filter, Head, Subject, Texts, append, captures, list_entries};
use crate::devices::{self, Change, Thing};
use crate::error::RegisterError;
use crate::field::{Kind, Value, show};
use crate::pairings::withdrawn;
use crate::store::Register;

/// What was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MeasuredQuantity {
    /// Capacitance of an input, F.
    InputCapacitance,
    /// The least and the most input capacitance that a probe's trimmer balances, F.
    CompensationRange,
    /// Capacitance that the circuit sees at a probe's tip, F.
    TipCapacitance,
    /// The body's share of it, F.
    BodyCapacitance,
}

impl MeasuredQuantity {
    /// All of them.
    pub const ALL: [MeasuredQuantity; 4] = [
        MeasuredQuantity::InputCapacitance,
        MeasuredQuantity::CompensationRange,
        MeasuredQuantity::TipCapacitance,
        MeasuredQuantity::BodyCapacitance,
    ];

    /// Stable code in kebab case, as stored.
    pub fn code(self) -> &'static str {
        match self {
            MeasuredQuantity::InputCapacitance => "input-capacitance",
            MeasuredQuantity::CompensationRange => "compensation-range",
            MeasuredQuantity::TipCapacitance => "tip-capacitance",
            MeasuredQuantity::BodyCapacitance => "body-capacitance",
        }
    }

    /// The field that it sets.
    pub fn field(self) -> &'static str {
        match self {
            MeasuredQuantity::InputCapacitance => "capacitance",
            MeasuredQuantity::CompensationRange => "compensation_range",
            MeasuredQuantity::TipCapacitance => "tip_capacitance",
            MeasuredQuantity::BodyCapacitance => "body_capacitance",
        }
    }
}

/// A measured value.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasurementRecord {
    /// What was measured.
    pub quantity: MeasuredQuantity,
    /// The value, or the lower limit of a range.
    pub value: Estimate,
    /// The upper limit of a range.
    pub upper: Option<Estimate>,
    /// How, for example "substitution".
    pub method: String,
    /// Digests of the captures that it rests on; set by the register when it is given their bytes.
    pub captures: Vec<Digest>,
    /// Settings used, and what each capture is, as JSON.
    pub settings_json: Option<String>,
    /// Temperature of the room, °C.
    pub temperature_c: Option<f64>,
    /// The whole result, as JSON.
    pub result_json: Option<String>,
}

/// A field that holds a measured value.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Its key.
    pub field: &'static str,
    /// The value, or the lower limit of a range, with all digits.
    pub value: Estimate,
    /// The upper limit of a range.
    pub upper: Option<Estimate>,
    /// Number of the entry.
    pub entry: i64,
    /// When it was made.
    pub at: Moment,
    /// The captures that it rests on.
    pub captures: Vec<Digest>,
}

impl MeasurementRecord {
    fn check(&self, thing: &Thing) -> Result<(), RegisterError> {
        let wrong =
            |quantity, problem: String, remedy| Err(RegisterError::Entry { quantity, problem, remedy });
        let of_input = self.quantity == MeasuredQuantity::InputCapacitance;
        let fits = match thing {
            Thing::Input(_) => of_input,
            Thing::Probe(_) => !of_input,
            _ => false,
        };
        if !fits {
            let remedy = "an input has a capacitance, a probe has the rest";
            return wrong("what was measured", format!("{} of {thing}", self.quantity.code()), remedy);
        }
        if (self.quantity == MeasuredQuantity::CompensationRange) != self.upper.is_some() {
            let remedy = "give two limits for a range, one value for anything else";
            return wrong("the upper limit", "out of place".to_owned(), remedy);
        }
        for Estimate { value, standard_uncertainty: u } in std::iter::once(self.value).chain(self.upper) {
            if !(value.is_finite() && u.is_finite() && u >= 0.0) {
                let remedy = "log only what was determined, with its uncertainty";
                return wrong("the measured value", format!("{value:e} with u = {u:e}"), remedy);
            }
        }
        Ok(())
    }

    /// The text that the field gets.
    fn field_text(&self) -> String {
        let farad = Unit::Farad;
        let rounded = Toleranced::of_estimate(self.value);
        let not_below_nil = |value: f64| if value > 0.0 { value } else { 0.0 };
        match (self.quantity, self.upper) {
            (_, Some(upper)) => {
                let (low, high) = (rounded.value, Toleranced::of_estimate(upper).value);
                show(&Value::Range(Range { low: not_below_nil(low), high }), Kind::Range(farad))
            }
            (MeasuredQuantity::BodyCapacitance, None) => {
                show(&Value::Number(not_below_nil(rounded.value)), Kind::Quantity(farad))
            }
            (_, None) => show(&Value::Toleranced(rounded), Kind::Toleranced(farad)),
        }
    }
}

impl Register {
    /// Logs values that were measured of an input or a probe, all resting on the same captures, keeps these, and sets the fields. All
    /// of it, or nothing. Without the bytes of the captures, those that the records name must be kept already.
    ///
    /// # Errors
    /// No such thing, no captures, a quantity that it doesn't have, or a value that cannot be.
    pub fn log_measurements(
        &mut self,
        thing: &Thing,
        records: &[MeasurementRecord],
        raw: &[&[u8]],
        act: &Act,
    ) -> Result<Vec<(Head, Change)>, RegisterError> {
        act.check()?;
        records.iter().try_for_each(|record| record.check(thing))?;
        // Squeezing is the slow part: done before anybody has to wait.
        let packed = raw.iter().map(|raw| captures::Packed::new(raw)).collect::<Result<Vec<_>, _>>()?;
        let tx = self.write()?;
        let subject = match thing {
            Thing::Input(id) => {
                devices::in_use("input", id, devices::get_input(&tx, id)?.retired)?;
                Subject::of_input(id)
            }
            Thing::Probe(id) => {
                devices::in_use("probe", id, devices::get_probe(&tx, id)?.retired)?;
                Subject::of_probe(id)
            }
            _ => Subject::default(),
        };
        for packed in &packed {
            packed.keep(&tx)?;
        }
        let mut done = Vec::new();
        for record in records {
            let mut record = record.clone();
            if !packed.is_empty() {
                record.captures = packed.iter().map(|packed| packed.digest).collect();
            }
            let mut seen = BTreeSet::new();
            record.captures.retain(|digest| seen.insert(*digest));
            if record.captures.is_empty() {
                return Err(RegisterError::Entry {
                    quantity: "the measured value",
                    problem: "without captures".to_owned(),
                    remedy: "give the captures that it rests on; a value of another origin is an edit",
                });
            }
            record.captures.iter().try_for_each(|digest| captures::known(&tx, digest))?;
            let text = record.field_text();
            let change = devices::edit_stored(&tx, thing, record.quantity.field(), Some(&text))?;
            let note = devices::edit_note(std::slice::from_ref(&change));
            let lines: Vec<String> = note.into_iter().chain(act.note.clone()).collect();
            let act = Act { note: (!lines.is_empty()).then(|| lines.join("\n")), ..act.clone() };
            act.check()?;
            done.push((append(&tx, &act, &subject, &Event::Measurement(Box::new(record)))?, change));
        }
        tx.commit()?;
        Ok(done)
    }

    /// The fields of an input or a probe that hold measured values: the newest entry for each that was not withdrawn, as long as
    /// the field still says what it made of it.
    ///
    /// # Errors
    /// No such thing, or the file cannot be read.
    pub fn measured_values(&self, thing: &Thing) -> Result<Vec<Measured>, RegisterError> {
        let tx = self.read()?;
        let mut filter = Filter {
            kinds: vec![super::EntryKind::Measurement, super::EntryKind::Correction],
            ..Filter::all()
        };
        let fields = match thing {
            Thing::Input(id) => {
                filter.input = Some(id.clone());
                devices::shown(&devices::get_input(&tx, id)?)
            }
            Thing::Probe(id) => {
                filter.probe = Some(id.clone());
                devices::shown(&devices::get_probe(&tx, id)?)
            }
            _ => return Ok(Vec::new()),
        };
        let entries = list_entries(&tx, &filter, Texts::Read)?;
        let withdrawn = withdrawn(&entries);
        let mut found: Vec<Measured> = Vec::new();
        let mut seen = BTreeSet::new();
        for entry in entries.iter().rev().filter(|entry| !withdrawn.contains(&entry.seq)) {
            let Event::Measurement(record) = &entry.event else { continue };
            let field = record.quantity.field();
            if !seen.insert(field) {
                continue;
            }
            let text = record.field_text();
            if fields.iter().any(|(key, now)| *key == field && *now == text) {
                found.push(Measured {
                    field,
                    value: record.value,
                    upper: record.upper,
                    entry: entry.seq,
                    at: entry.act.at,
                    captures: record.captures.clone(),
                });
            }
        }
        found.sort_by_key(|measured| fields.iter().position(|(key, _)| *key == measured.field));
        Ok(found)
    }
}
