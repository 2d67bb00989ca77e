//! Before a measurement: compatibility, reach, and plans (predicted, chosen from, budgeted).

use std::path::Path;

use axum::extract::State;
use axum::http::StatusCode;
use flattop_core::assessment::AdjustedAt;
use flattop_core::bench::{Id, InputId};
use flattop_core::divider::Divider;
use flattop_core::reach::{CompensationRange, ReachProbe, TipCapacitance};
use flattop_plan::document::{Kind, Place, Problems};
use flattop_plan::{BUDGET_KEYS, CHOOSE_KEYS, ChooseList, KEYS, Key, Need, Plan};
use flattop_report::compatibility::Extent;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

use super::answer::{Answer, Asked, FieldProblem, Json, Problem, Typed, Written, work};
use super::bench::must_read;
use super::state::Shared;
use super::typed::{Reader, Text, Unknown};
use crate::setup::{OnBench, Which, file_of, named_file};
use crate::values::{self, Deviation};
use crate::{budget, choose, predict, reach};

/// Most Monte Carlo trials of one request.
const MOST_TRIALS: u64 = 1_000_000;
/// What a plan is called where it has no file.
const NAME: &str = "plan";

/// Query of the compatibility.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct CompatibilityAsked {
    /// Without the pairs.
    #[serde(default)]
    summary: bool,
    /// Only these probes, with commas between.
    probe: Option<String>,
    /// Only these inputs, with commas between.
    input: Option<String>,
}

/// Every probe of the bench on every input
#[utoipa::path(get, path = "/api/compatibility", tag = "plan", params(CompatibilityAsked), responses((status = 200, body = super::openapi::Compatibility)))]
pub(super) async fn compatibility(
    State(app): State<Shared>,
    Asked(asked): Asked<CompatibilityAsked>,
) -> Answer<Written> {
    work(move || {
        let mut reader = Reader::default();
        let probes: Vec<Id> = listed(asked.probe.as_deref())
            .filter_map(|text| reader.read("probe", Some(&Text(text.to_owned())), crate::workbench::probe_id))
            .collect();
        let inputs: Vec<InputId> = listed(asked.input.as_deref())
            .filter_map(|text| reader.read("input", Some(&Text(text.to_owned())), crate::workbench::input_id))
            .collect();
        reader.finish()?;
        let register = must_read(&app)?;
        let source = app.bench.path().map(|path| crate::output::bare_name(&path)).unwrap_or_default();
        let extent = if asked.summary { Extent::Sums } else { Extent::Pairs };
        reach::matrix(&register, source, (&probes, &inputs), extent).map(Written).map_err(Problem::bench)
    })
    .await
}

fn listed(text: Option<&str>) -> impl Iterator<Item = &str> {
    text.unwrap_or("").split(',').map(str::trim).filter(|part| !part.is_empty())
}

/// A probe and inputs by what their data sheets say.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ReachAsked {
    /// Compensation range, `8 pF:18 pF`.
    #[schema(value_type = String)]
    range: Text,
    #[schema(value_type = Option<String>)]
    range_tolerance: Option<Text>,
    /// Capacitance that the circuit sees at the tip; or `tip_resistor`.
    #[schema(value_type = Option<String>)]
    tip: Option<Text>,
    /// Capacitance across the tip resistor.
    #[schema(value_type = Option<String>)]
    tip_resistor: Option<Text>,
    #[schema(value_type = Option<String>)]
    divider: Option<Text>,
    /// `tip` or `base`.
    adjust: Option<String>,
    /// Capacitances, `20 pF ± 2 pF`.
    #[schema(value_type = Vec<String>)]
    inputs: Vec<Text>,
    #[schema(value_type = Option<String>)]
    input_tolerance: Option<Text>,
}

/// Whether a probe's trimmer can balance inputs
#[utoipa::path(post, path = "/api/reach", tag = "plan", request_body = ReachAsked, responses((status = 200, body = Value)))]
pub(super) async fn reach_of(Typed(asked): Typed<ReachAsked>) -> Answer<Written> {
    work(move || {
        let mut reader = Reader::default();
        let range = reader.read("range", Some(&asked.range), values::farad_range);
        let tolerance_f =
            reader.read("range_tolerance", asked.range_tolerance.as_ref(), values::farads_or_nil);
        let seen = reader.read("tip", asked.tip.as_ref(), values::farads).map(TipCapacitance::SeenAtTip);
        let across = reader.read("tip_resistor", asked.tip_resistor.as_ref(), values::farads);
        let divider = reader.read("divider", asked.divider.as_ref(), values::divider);
        let adjusted_at = match asked.adjust.as_deref() {
            None | Some("" | "tip") => AdjustedAt::Tip,
            Some("base") => AdjustedAt::Base,
            Some(other) => {
                reader.wrong("adjust", format!("\"{other}\" is no place of a trimmer; write tip or base"));
                AdjustedAt::Tip
            }
        };
        let usual = reader.read("input_tolerance", asked.input_tolerance.as_ref(), values::deviation);
        let usual = usual.unwrap_or(Deviation::Absolute(0.0));
        let mut inputs = Vec::new();
        for (k, text) in asked.inputs.iter().enumerate() {
            let read =
                |text: &str| values::tolerated_farads(text).and_then(|typed| reach::tolerated(&typed, usual));
            inputs.extend(reader.read(&format!("inputs[{k}]"), Some(text), read));
        }
        if inputs.is_empty() && asked.inputs.iter().all(|text| text.0.trim().is_empty()) {
            reader.wrong("inputs", "name at least one input's capacitance, for example 20 pF ± 2 pF");
        }
        let tip = match (seen, across.map(TipCapacitance::AcrossTipResistor)) {
            (Some(tip), None) | (None, Some(tip)) => Some(tip),
            _ if asked.tip.is_some() != asked.tip_resistor.is_some() => None,
            _ => {
                reader.wrong("tip", "give either tip or tip_resistor");
                None
            }
        };
        if asked.range.0.trim().is_empty() {
            reader.wrong("range", "give the compensation range, for example 8 pF:18 pF");
        }
        reader.finish()?;
        let (Some((least_f, most_f)), Some(tip)) = (range, tip) else { return Err(Problem::internal()) };
        let probe = ReachProbe {
            divider: divider.unwrap_or(Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 }),
            tip,
            adjusted_at,
            range: CompensationRange { least_f, most_f, tolerance_f: tolerance_f.unwrap_or(0.0) },
        };
        let results = reach::judged(probe, &inputs);
        Ok(Written(match results.as_slice() {
            [one] => flattop_report::reach::json::one(one),
            several => flattop_report::reach::json::several(several),
        }))
    })
    .await
}

/// A key of a plan.
#[derive(Serialize, ToSchema)]
pub(super) struct KeyShown {
    /// `node.resistance`; `[]` stands for one of several tables.
    path: &'static str,
    meaning: &'static str,
    example: &'static str,
    /// In which plain numbers count; empty for none.
    unit: &'static str,
    /// The words that may stand there; empty for other forms.
    words: Vec<&'static str>,
    /// Whether it has to be there, or what leaving it out means.
    need: String,
    /// Which plans have it: `predict`, `choose`, `budget`.
    of: &'static str,
}

/// All keys of plans
#[utoipa::path(get, path = "/api/plan/keys", tag = "plan", responses((status = 200, body = Vec<KeyShown>)))]
pub(super) async fn keys() -> Json<Vec<KeyShown>> {
    let of = |keys: &'static [Key], of: &'static str| {
        keys.iter().map(move |key| KeyShown {
            path: key.path,
            meaning: key.meaning,
            example: key.example,
            unit: key.kind.symbol(),
            words: if let Kind::Word(words) = key.kind { words.to_vec() } else { Vec::new() },
            need: match key.need {
                Need::Required => "required".to_owned(),
                Need::RequiredIf(when) => format!("required if {when}"),
                Need::Optional(without) => without.to_owned(),
            },
            of,
        })
    };
    let all = of(KEYS, "predict").chain(of(CHOOSE_KEYS, "choose")).chain(of(BUDGET_KEYS, "budget"));
    Json(all.collect())
}

/// Tables of a plan with their keys, and the text that they are laid over.
#[derive(Debug, Default, Deserialize, ToSchema)]
pub(super) struct PlanAsked {
    /// `{"node": {"resistance": "1 MΩ"}, …}`, or with dotted keys; null takes a key away.
    #[schema(value_type = Option<Object>)]
    plan: Option<Value>,
    /// The text of a plan in TOML.
    toml: Option<String>,
}

impl PlanAsked {
    /// The settings, as options of the command line would give them.
    fn settings(&self) -> Answer<Vec<(String, String)>> {
        let mut settings = Vec::new();
        match &self.plan {
            None | Some(Value::Null) => {}
            Some(Value::Object(tables)) => {
                for (name, value) in tables {
                    flat(name, value, &mut settings)?;
                }
            }
            Some(_) => {
                return Err(Problem::field(
                    "plan",
                    "the plan is no object of tables; write {\"node\": {…}, …}",
                ));
            }
        }
        Ok(settings)
    }

    /// Whether anything was said.
    pub(super) fn is_there(&self) -> bool {
        self.plan.as_ref().is_some_and(|plan| !plan.is_null()) || self.toml.is_some()
    }

    fn text(&self) -> &str {
        self.toml.as_deref().unwrap_or("")
    }

    /// The plan.
    pub(super) fn read(&self, more: &[(&str, Option<&Text>)], bench: &OnBench<'_>) -> Answer<Plan> {
        let settings = self.settings()?;
        let plan = Plan::with_bench(NAME, self.text(), &borrowed(&settings, more), bench)
            .map_err(|p| invalid(&p))?;
        confined(named_file(&plan))?;
        Ok(plan)
    }
}

fn borrowed<'a>(
    settings: &'a [(String, String)],
    more: &[(&'a str, Option<&'a Text>)],
) -> Vec<(&'a str, &'a str)> {
    let all = settings.iter().map(|(path, value)| (path.as_str(), value.as_str()));
    all.chain(more.iter().filter_map(|(path, text)| Some((*path, text.as_ref()?.0.as_str())))).collect()
}

/// Files are the server's own: a plan from elsewhere names none.
fn confined(file: Option<&str>) -> Answer<()> {
    let Some(file) = file else { return Ok(()) };
    let message = format!(
        "the plan names the file \"{file}\", and files are not read for the page; use 'flattop predict PLAN.toml'"
    );
    Err(Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "files-not-read", message))
}

fn flat(path: &str, value: &Value, into: &mut Vec<(String, String)>) -> Answer<()> {
    let text = match value {
        Value::Object(table) => {
            for (name, value) in table {
                flat(&format!("{path}.{name}"), value, into)?;
            }
            return Ok(());
        }
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Number(number) => number.to_string(),
        Value::Array(all) => {
            let parts = all.iter().map(|one| match one {
                Value::String(text) => Ok(text.clone()),
                Value::Number(number) => Ok(number.to_string()),
                _ => Err(Problem::field(
                    path,
                    format!("{path}: lists hold texts and numbers here; write tables as toml"),
                )),
            });
            parts.collect::<Answer<Vec<_>>>()?.join(", ")
        }
        Value::Bool(_) => {
            return Err(Problem::field(
                path,
                format!("{path}: no key is true or false; write a text or a number"),
            ));
        }
    };
    into.push((path.to_owned(), text));
    Ok(())
}

/// What is wrong with a plan, key by key.
fn invalid(problems: &Problems) -> Problem {
    let fields = problems.problems.iter().map(|problem| {
        let at = match &problem.place {
            Place::Text { line, .. } => format!("line {line}"),
            Place::Setting { path, .. } => path.clone(),
            Place::Below { origin, .. } => origin.clone(),
        };
        let remedy = if problem.remedy.is_empty() { String::new() } else { format!("; {}", problem.remedy) };
        let key = if problem.key.is_empty() { String::new() } else { format!("{}: ", problem.key) };
        FieldProblem {
            at: dotted(&problem.key).unwrap_or(at),
            message: format!("{key}expected {}, found {}{remedy}", problem.expected, problem.found),
        }
    });
    Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "plan-invalid", problems.to_string())
        .with_fields(fields.collect())
}

/// `[probe.cable] length` as `probe.cable.length`.
fn dotted(key: &str) -> Option<String> {
    let (table, name) = key.strip_prefix('[')?.split_once("] ")?;
    Some(format!("{}.{}", table.trim_matches(['[', ']']), name.trim()))
}

/// What a plan answers wrongly has the plan's name before it.
pub(super) fn failed(message: String) -> Problem {
    let at = message.strip_prefix('[').and_then(|rest| {
        let (table, rest) = rest.split_once("] ")?;
        Some(format!("{table}.{}", rest.split([':', ' ']).next()?))
    });
    let problem = Problem::new(StatusCode::UNPROCESSABLE_ENTITY, "plan-invalid", message);
    match at {
        Some(at) => problem.at(&at),
        None => problem,
    }
}

/// A plan to be predicted.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct PredictAsked {
    #[serde(flatten)]
    plan: PlanAsked,
    /// A list, or `START:STOP:COUNT` spread on a logarithmic scale.
    #[schema(value_type = Option<String>)]
    frequencies: Option<Text>,
    /// A list, or `START:STOP:COUNT` evenly spaced.
    #[schema(value_type = Option<String>)]
    times: Option<Text>,
    /// The error up to which a sine or an edge counts as carried.
    #[schema(value_type = Option<String>)]
    error: Option<Text>,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// What the screen would show, against what is there
#[utoipa::path(post, path = "/api/plan/predict", tag = "plan", request_body = PredictAsked, responses((status = 200, body = super::openapi::Prediction)))]
pub(super) async fn predict_of(
    State(app): State<Shared>,
    Typed(asked): Typed<PredictAsked>,
) -> Answer<Written> {
    work(move || {
        known(&asked.unknown)?;
        let more = [
            ("output.frequencies", asked.frequencies.as_ref()),
            ("output.times", asked.times.as_ref()),
            ("output.error", asked.error.as_ref()),
        ];
        let bench = OnBench::new(&app.bench, Which::InForce);
        let plan = asked.plan.read(&more, &bench)?;
        let subject = predict::predict_plan(NAME, &plan, Path::new("")).map_err(failed)?;
        Ok(Written(flattop_report::prediction::json::of(&subject)))
    })
    .await
}

fn known(unknown: &Unknown) -> Answer<()> {
    let mut reader = Reader::default();
    reader.refuse(unknown);
    reader.finish()
}

/// A measurement for which probe and input are wanted.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct ChooseAsked {
    #[serde(flatten)]
    plan: PlanAsked,
    /// Every probe of the bench on every input, for a list that names neither; without it the pairings in force.
    #[serde(default)]
    all: bool,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// Pairings ranked for a measurement
#[utoipa::path(post, path = "/api/plan/choose", tag = "plan", request_body = ChooseAsked, responses((status = 200, body = super::openapi::Choice)))]
pub(super) async fn choose_of(
    State(app): State<Shared>,
    Typed(asked): Typed<ChooseAsked>,
) -> Answer<Written> {
    work(move || {
        known(&asked.unknown)?;
        let which = if asked.all { Which::Every } else { Which::InForce };
        let bench = OnBench::new(&app.bench, which);
        let settings = asked.plan.settings()?;
        let list = ChooseList::with_bench(NAME, asked.plan.text(), &borrowed(&settings, &[]), &bench)
            .map_err(|problems| invalid(&problems))?;
        if asked.all && !list.is_of_bench {
            return Err(Problem::field(
                "all",
                "the list names probes or inputs itself; leave out all, or take them out of the list",
            ));
        }
        confined(file_of(&list.signal))?;
        let subject = choose::ranked(NAME.to_owned(), &list, Path::new("")).map_err(failed)?;
        Ok(Written(flattop_report::choose::json::of(&subject)))
    })
    .await
}

/// A reading whose uncertainty is wanted.
#[derive(Debug, Deserialize, ToSchema)]
pub(super) struct BudgetAsked {
    #[serde(flatten)]
    plan: PlanAsked,
    /// Coverage probability, `95%`.
    #[schema(value_type = Option<String>)]
    coverage: Option<Text>,
    /// Seed of the random numbers; 1 where it is left out.
    seed: Option<u64>,
    /// So many trials; without it until the answer is stable, at most a million.
    trials: Option<u64>,
    /// Digits of the standard uncertainty that count, 1 to 3; 2 where it is left out.
    digits: Option<u8>,
    #[serde(flatten)]
    #[schema(ignore)]
    unknown: Unknown,
}

/// The uncertainty of a reading, and what it comes from
#[utoipa::path(post, path = "/api/plan/budget", tag = "plan", request_body = BudgetAsked, responses((status = 200, body = super::openapi::Budget)))]
pub(super) async fn budget_of(
    State(app): State<Shared>,
    Typed(asked): Typed<BudgetAsked>,
) -> Answer<Written> {
    work(move || {
        let mut reader = Reader::default();
        reader.refuse(&asked.unknown);
        let coverage = reader.read("coverage", asked.coverage.as_ref(), values::tolerance).unwrap_or(0.95);
        let digits = asked.digits.unwrap_or(2);
        if !(1..=3).contains(&digits) {
            reader.wrong("digits", format!("{digits} digits of an uncertainty say nothing; write 1, 2 or 3"));
        }
        if asked.trials.is_some_and(|trials| !(1..=MOST_TRIALS).contains(&trials)) {
            reader.wrong(
                "trials",
                format!("write a whole number from 1 to {MOST_TRIALS}; 'flattop budget' makes more"),
            );
        }
        reader.finish()?;
        let bench = OnBench::new(&app.bench, Which::InForce);
        let plan = asked.plan.read(&[], &bench)?;
        let wish = budget::Wish {
            coverage,
            seed: asked.seed.unwrap_or(1),
            trials: asked.trials,
            most_trials: MOST_TRIALS,
            digits,
        };
        let subject = budget::of_plan(wish, NAME, &plan, Path::new("")).map_err(failed)?;
        Ok(Written(flattop_report::budget::json::of(&subject)))
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings(json: &str) -> Result<Vec<(String, String)>, String> {
        let asked: PlanAsked = serde_json::from_str(json).unwrap();
        asked.settings().map_err(|problem| format!("{problem:?}"))
    }

    #[test]
    fn a_plan_of_tables_makes_settings() {
        let all = settings(
            r#"{"plan": {"node": {"resistance": "1 MΩ"}, "probe.cable.length": 1.2, "probe": {"compensation_range": ["8 pF", "18 pF"], "id": null}}}"#,
        );
        let expected = [
            ("node.resistance", "1 MΩ"),
            ("probe.cable.length", "1.2"),
            ("probe.compensation_range", "8 pF, 18 pF"),
            ("probe.id", ""),
        ];
        assert_eq!(all.unwrap(), expected.map(|(path, value)| (path.to_owned(), value.to_owned())));
        assert!(
            settings(r#"{"plan": [1]}"#).is_err() && settings(r#"{"plan": {"a": {"b": true}}}"#).is_err()
        );
        assert_eq!(dotted("[probe.cable] length").as_deref(), Some("probe.cable.length"));
    }
}
