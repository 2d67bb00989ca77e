//! What a person typed into the page, read with the readers of the command line; every field that is wrong is named.

use std::collections::BTreeMap;
use std::fmt;

use axum::http::StatusCode;
use flattop_captures::ReadOptions;
use flattop_core::bench::Stage;
use serde::Deserialize;
use serde::de::{self, Deserializer, Visitor};
use utoipa::ToSchema;

use super::answer::{Answer, FieldProblem, Problem};
use super::state::App;
use crate::assess::{Circuit, Known, Place, Typed as TypedPairing};
use crate::trim::session;
use crate::values;
use crate::workbench::Doing;

/// A value as typed; a number counts as SI.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Text(pub(super) String);

impl<'de> Deserialize<'de> for Text {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Any;
        impl Visitor<'_> for Any {
            type Value = Text;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a text or a number")
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Text, E> {
                Ok(Text(text.to_owned()))
            }

            fn visit_f64<E: de::Error>(self, value: f64) -> Result<Text, E> {
                Ok(Text(format!("{value:e}")))
            }

            fn visit_u64<E: de::Error>(self, value: u64) -> Result<Text, E> {
                Ok(Text(value.to_string()))
            }

            fn visit_i64<E: de::Error>(self, value: i64) -> Result<Text, E> {
                Ok(Text(value.to_string()))
            }
        }
        deserializer.deserialize_any(Any)
    }
}

/// Reads fields one by one, and keeps what is wrong with each.
#[derive(Default)]
pub(super) struct Reader {
    problems: Vec<FieldProblem>,
}

impl Reader {
    /// A value; `None` where there is none, or where it is wrong. An empty text is none.
    pub(super) fn read<T>(
        &mut self,
        at: &str,
        text: Option<&Text>,
        parse: impl FnOnce(&str) -> Result<T, String>,
    ) -> Option<T> {
        let text = text.map(|text| text.0.trim()).filter(|text| !text.is_empty())?;
        match parse(text) {
            Ok(value) => Some(value),
            Err(message) => {
                self.wrong(at, message);
                None
            }
        }
    }

    pub(super) fn wrong(&mut self, at: &str, message: impl Into<String>) {
        self.problems.push(FieldProblem { at: at.to_owned(), message: message.into() });
    }

    /// Fields that nobody knows.
    pub(super) fn refuse(&mut self, unknown: &Unknown) {
        for name in unknown.0.keys() {
            self.wrong(name, "there is no field of this name here; see /api/openapi.json");
        }
    }

    pub(super) fn finish(self) -> Answer<()> {
        let Some(first) = self.problems.first() else { return Ok(()) };
        let message = match self.problems.len() {
            1 => format!("{}: {}", first.at, first.message),
            n => format!("{n} values cannot be used, the first is {}: {}", first.at, first.message),
        };
        Err(Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "invalid-fields", message)
            .with_fields(self.problems))
    }
}

/// Fields that were sent and that nobody knows.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(transparent)]
pub(super) struct Unknown(BTreeMap<String, serde_json::Value>);

/// The circuit of an assessment.
#[derive(Clone, Debug, Default, Deserialize, ToSchema)]
pub(super) struct CircuitAsked {
    /// A probe of the bench.
    pub(super) probe: Option<String>,
    /// An input of the bench, `bench-a/ch1`; without it the one the probe is paired with.
    pub(super) input: Option<String>,
    /// The divider's resistors, `9M:1M`.
    #[schema(value_type = Option<String>)]
    divider: Option<Text>,
    /// How far each resistor may be from its value, `1%`.
    #[schema(value_type = Option<String>)]
    resistor_tolerance: Option<Text>,
    /// The error |e| that is still accepted, `1%`.
    #[schema(value_type = Option<String>)]
    tolerance: Option<Text>,
    /// `tip` or `base`.
    #[schema(value_type = Option<String>)]
    adjust: Option<Text>,
    /// Peak-to-peak amplitude of the source, `3.3 V`.
    #[schema(value_type = Option<String>)]
    source_amplitude: Option<Text>,
}

impl CircuitAsked {
    /// Whether a probe or an input of the bench is named.
    pub(super) fn names_a_pairing(&self) -> bool {
        self.probe.is_some() || self.input.is_some()
    }

    pub(super) fn read(&self, reader: &mut Reader) -> Circuit {
        Circuit {
            divider: reader.read("divider", self.divider.as_ref(), values::divider),
            resistor_tolerance: reader.read(
                "resistor_tolerance",
                self.resistor_tolerance.as_ref(),
                values::resistor_tolerance,
            ),
            tolerance: reader.read("tolerance", self.tolerance.as_ref(), values::tolerance),
            adjust: reader.read("adjust", self.adjust.as_ref(), |text| match text {
                "tip" => Ok(Place::Tip),
                "base" => Ok(Place::Base),
                _ => Err(format!("\"{text}\" is no place of a trimmer; write tip or base")),
            }),
            source_amplitude: reader.read("source_amplitude", self.source_amplitude.as_ref(), values::volts),
        }
    }

    /// What the bench knows of the pairing; nothing where none is named. May take a moment.
    pub(super) fn known(&self, app: &App, circuit: &Circuit, log: bool) -> Answer<Known> {
        let Some(probe) = self.probe.as_deref().filter(|probe| !probe.is_empty()) else {
            return match log {
                true => Err(Problem::field("probe", "the logbook keeps pairings; name a probe")),
                false => Ok(Known::default()),
            };
        };
        let input = self.input.as_deref().filter(|input| !input.is_empty());
        let typed = TypedPairing { probe, input, log };
        typed.known(&app.bench, circuit).map_err(|message| Problem::bench(message).at("probe"))
    }
}

/// How a capture is read.
#[derive(Clone, Debug, Default, Deserialize, ToSchema)]
pub(super) struct ColumnsAsked {
    /// Number of the probe's column, from 1 over all columns.
    #[schema(value_type = Option<u16>)]
    column: Option<Text>,
    /// Number of a column that shows the source itself.
    #[schema(value_type = Option<u16>)]
    reference: Option<Text>,
    /// Time between samples, `1 us`, for files without a time column.
    #[schema(value_type = Option<String>)]
    interval: Option<Text>,
}

impl ColumnsAsked {
    pub(super) fn read(&self, reader: &mut Reader) -> ReadOptions {
        let column = reader.read("column", self.column.as_ref(), values::column);
        let reference = reader.read("reference", self.reference.as_ref(), values::column);
        if column.is_some() && column == reference {
            reader.wrong(
                "reference",
                "this is the probe's own column; name the one that shows the source itself",
            );
        }
        ReadOptions {
            column: column.map(usize::from),
            reference: reference.map(usize::from),
            interval_s: reader.read("interval", self.interval.as_ref(), values::seconds),
        }
    }
}

/// Who does something, when, and what there is to say about it.
#[derive(Clone, Debug, Default, Deserialize, ToSchema)]
pub(super) struct DoingAsked {
    /// Who does it; without it FLATTOP_BY of the server.
    by: Option<String>,
    /// A remark for the logbook.
    note: Option<String>,
    /// When it was, RFC 3339, if not now.
    #[schema(value_type = Option<String>)]
    at: Option<Text>,
}

impl DoingAsked {
    pub(super) fn read(&self, reader: &mut Reader) -> Doing {
        let said = |text: &Option<String>| text.clone().filter(|text| !text.trim().is_empty());
        Doing {
            by: said(&self.by),
            note: said(&self.note),
            at: reader.read("at", self.at.as_ref(), values::moment),
        }
    }
}

/// What a capture was made for, and what stands with its entry in the logbook.
#[derive(Clone, Debug, Deserialize, ToSchema)]
pub(super) struct LogAsked {
    /// `check`, `before` or `after`.
    #[schema(value_type = String)]
    stage: Text,
    /// Temperature of the room, °C.
    #[serde(default)]
    #[schema(value_type = Option<String>)]
    temperature: Option<Text>,
    #[serde(flatten)]
    doing: DoingAsked,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

impl LogAsked {
    pub(super) fn read(&self, app: &App, reader: &mut Reader) -> (Stage, session::Place) {
        reader.refuse(&self.unknown);
        let stage = reader.read("stage", Some(&self.stage), |text| match text {
            "check" => Ok(Stage::Check),
            "before" => Ok(Stage::BeforeAdjustment),
            "after" => Ok(Stage::AfterAdjustment),
            _ => Err(format!("\"{text}\" is no stage; write check, before or after")),
        });
        let place = session::Place {
            bench: app.bench.clone(),
            doing: self.doing.read(reader),
            temperature_c: reader.read("temperature", self.temperature.as_ref(), values::celsius),
        };
        (stage.unwrap_or(Stage::Check), place)
    }
}
