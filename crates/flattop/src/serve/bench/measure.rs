//! Values that no data sheet says, measured from stored captures.

use std::collections::BTreeMap;
use std::path::PathBuf;

use axum::extract::State;
use flattop_report::measured::json;
use serde::Deserialize;
use utoipa::ToSchema;

use super::super::answer::{Answer, Problem, Typed, Written, work};
use super::super::state::Shared;
use super::super::typed::{DoingAsked, Reader, Text, Unknown};
use super::must_read;
use crate::bench::measure::{
    Common, CompensationRange, InputCapacitance, TipCapacitance, What, measured, resistor,
};
use crate::output::bare_name;
use crate::values;
use crate::workbench::{Doing, input_id, probe_id};

/// Most captures of one question.
const MOST_CAPTURES: usize = 32;

/// What is to be measured, and on what.
#[derive(Debug, Deserialize, ToSchema)]
pub(in crate::serve) struct MeasureAsked {
    /// `input-capacitance`, `compensation-range` or `tip-capacitance`.
    what: String,
    /// The probe.
    probe: String,
    /// The input it is on, as `bench-a/ch2`: the measured one for `input-capacitance`.
    input: String,
    /// The input whose capacitance is known, for `input-capacitance`.
    #[serde(default)]
    known: String,
    /// Ids of stored captures by what they show: `known-input` and `unknown-input`; `one-stop` and `other-stop`; `straight` and, where
    /// the body shall be counted in, `through-resistor`.
    captures: BTreeMap<String, Vec<String>>,
    /// The resistor of `through-resistor` with its tolerance, `10M ± 1%`.
    #[schema(value_type = Option<String>)]
    resistor: Option<Text>,
    /// How far a resistor may be from its value where the bench has no tolerance for it; 1 % where nothing is said.
    #[schema(value_type = Option<String>)]
    resistor_tolerance: Option<Text>,
    /// How far the input's own response may be from flat, as a share of a step.
    #[schema(value_type = Option<String>)]
    flatness: Option<Text>,
    /// Whether the value goes onto the bench, and into the logbook with its captures.
    #[serde(default)]
    log: bool,
    /// Temperature of the room, °C.
    #[schema(value_type = Option<String>)]
    temperature: Option<Text>,
    #[serde(flatten)]
    doing: DoingAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

impl MeasureAsked {
    /// The roles that a question needs, and those that it may have.
    fn roles(&self) -> Option<(&'static [&'static str], &'static [&'static str])> {
        match self.what.as_str() {
            "input-capacitance" => Some((&["known-input", "unknown-input"], &[])),
            "compensation-range" => Some((&["one-stop", "other-stop"], &[])),
            "tip-capacitance" => Some((&["straight"], &["through-resistor"])),
            _ => None,
        }
    }

    /// What is wrong with the captures named.
    fn check(&self, reader: &mut Reader) {
        let Some((needed, possible)) = self.roles() else {
            reader.wrong("what", "one of input-capacitance, compensation-range, tip-capacitance");
            return;
        };
        for role in needed {
            if self.captures.get(*role).is_none_or(Vec::is_empty) {
                reader.wrong(&format!("captures.{role}"), "a capture is needed here; choose one");
            }
        }
        for role in self.captures.keys().map(String::as_str) {
            if !needed.contains(&role) && !possible.contains(&role) {
                let all = [needed, possible].concat().join(", ");
                reader.wrong(&format!("captures.{role}"), format!("not one of {all}"));
            }
        }
        if self.captures.values().map(Vec::len).sum::<usize>() > MOST_CAPTURES {
            reader.wrong("captures", format!("at most {MOST_CAPTURES} captures at a time"));
        }
        let is_through = self.captures.get("through-resistor").is_some_and(|ids| !ids.is_empty());
        let is_named = self.resistor.as_ref().is_some_and(|text| !text.0.trim().is_empty());
        if is_through != is_named {
            reader.wrong("resistor", "the resistor and captures through it go together");
        }
    }
}

/// Measure what no data sheet says, from captures of a square wave
#[utoipa::path(post, path = "/api/bench/measure", tag = "bench", request_body = MeasureAsked, responses((status = 200, body = Object)))]
pub(in crate::serve) async fn measure(
    State(app): State<Shared>,
    Typed(asked): Typed<MeasureAsked>,
) -> Answer<Written> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        asked.check(&mut reader);
        let text = |words: &str| Some(Text(words.to_owned()));
        let mut must = |at: &str, words: &str, is_id: fn(&str) -> Result<(), String>| {
            if words.trim().is_empty() {
                reader.wrong(at, "name one of the bench");
            }
            reader.read(at, text(words).as_ref(), is_id);
        };
        must("probe", &asked.probe, |words| probe_id(words).map(drop));
        must("input", &asked.input, |words| input_id(words).map(drop));
        if asked.what == "input-capacitance" {
            must("known", &asked.known, |words| input_id(words).map(drop));
        }
        let resistor = reader.read("resistor", asked.resistor.as_ref(), resistor);
        let share = values::resistor_tolerance;
        let common = Common {
            probe: asked.probe.trim().to_owned(),
            resistor_tolerance: reader
                .read("resistor_tolerance", asked.resistor_tolerance.as_ref(), share)
                .unwrap_or(0.01),
            flatness: reader.read("flatness", asked.flatness.as_ref(), share),
            log: asked.log,
            temperature: reader.read("temperature", asked.temperature.as_ref(), values::celsius),
            json: true,
            doing: if asked.log { asked.doing.read(&mut reader) } else { Doing::default() },
            bench: app.bench.clone(),
        };
        reader.finish()?;
        must_read(&app)?;
        let mut files = Vec::new();
        let mut of = |role: &str| -> Answer<Vec<PathBuf>> {
            let ids = asked.captures.get(role).into_iter().flatten();
            let found: Vec<_> =
                ids.map(|id| app.store.find(id, app.clock.now())).collect::<Answer<Vec<_>>>()?;
            let paths = found.iter().map(|file| file.path.clone()).collect();
            files.extend(found);
            Ok(paths)
        };
        let input = asked.input.trim().to_owned();
        let what = match asked.what.as_str() {
            "input-capacitance" => What::InputCapacitance(InputCapacitance {
                input,
                captures: of("unknown-input")?,
                known: asked.known.trim().to_owned(),
                on_known: of("known-input")?,
                common,
            }),
            "compensation-range" => What::CompensationRange(CompensationRange {
                input,
                stop: of("one-stop")?,
                other_stop: of("other-stop")?,
                common,
            }),
            _ => What::TipCapacitance(TipCapacitance {
                input,
                captures: of("straight")?,
                through: of("through-resistor")?,
                resistor,
                common,
            }),
        };
        let shown = measured(&what, &bare_name).map_err(|message| {
            let bare = files
                .iter()
                .fold(message, |text, file| text.replace(&file.path.display().to_string(), &file.name));
            Problem::bench(bare)
        })?;
        Ok(Written(json::one(&shown)))
    })
    .await
}
