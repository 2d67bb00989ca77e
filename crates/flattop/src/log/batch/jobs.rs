//! Which captures there are, and what each is about: from the names in a folder, or from a list.

use std::path::{Path, PathBuf};

use flattop_captures::ReadOptions;
use flattop_core::bench::{Id, InputId, Moment, Stage};
use flattop_register::Register;
use flattop_report::logbook::batch as report;

use super::super::args::Batch;
use super::pattern::{Named, Pattern};
use crate::output::bare_name;
use crate::values;
use crate::workbench::{input_id, offset_minutes, probe_id};

/// Where the captures are told.
pub(super) enum Source {
    /// By their names in a folder.
    Folder(Pattern),
    /// In a list.
    List,
}

/// One capture to assess.
#[derive(Clone, Debug)]
pub(super) struct Job {
    path: PathBuf,
    pub(super) probe: Id,
    /// The input; `None`: the one the probe is paired with.
    pub(super) input: Option<InputId>,
    pub(super) stage: Stage,
    pub(super) read: ReadOptions,
    pub(super) at: Option<Moment>,
    pub(super) by: Option<String>,
    pub(super) temperature_c: Option<f64>,
    pub(super) note: Option<String>,
    file_time: bool,
}

impl Job {
    /// The file's name.
    pub(super) fn name(&self) -> String {
        bare_name(&self.path)
    }

    /// Its bytes, and when it was last changed where that counts as the time of the capture.
    #[allow(clippy::disallowed_methods)] // reading files is the program's part
    pub(super) fn read(&self) -> Result<(Vec<u8>, Option<Moment>), String> {
        let wrong = |e: std::io::Error| format!("cannot be read: {e}");
        let bytes = std::fs::read(&self.path).map_err(wrong)?;
        let changed = match self.file_time {
            false => None,
            true => {
                let at = std::fs::metadata(&self.path).and_then(|m| m.modified()).map_err(wrong)?;
                let at = jiff::Timestamp::try_from(at).map_err(|e| e.to_string())?;
                Some(Moment { unix_ms: at.as_millisecond(), offset_minutes: offset_minutes(at) })
            }
        };
        Ok((bytes, changed))
    }
}

/// All jobs, in the order of their names or of the list, and what is told of the rest.
pub(super) fn find(
    args: &Batch,
    source: &Source,
    register: &Register,
) -> Result<(Vec<Job>, report::Outcome), String> {
    match source {
        Source::Folder(pattern) => folder(args, pattern, register),
        Source::List => Ok((list(args)?, report::Outcome::default())),
    }
}

fn folder(
    args: &Batch,
    pattern: &Pattern,
    register: &Register,
) -> Result<(Vec<Job>, report::Outcome), String> {
    let wrong = |e: std::io::Error| format!("{}: cannot be read: {e}", args.source.display());
    let mut files = Vec::new();
    for entry in std::fs::read_dir(&args.source).map_err(wrong)? {
        let path = entry.map_err(wrong)?.path();
        if path.is_file() {
            files.push(path);
        }
    }
    files.sort();
    let (mut jobs, mut outcome) = (Vec::new(), report::Outcome::default());
    for path in files {
        let name = bare_name(&path);
        let readings = pattern.readings(&name);
        if readings.is_empty() {
            outcome.unnamed.push(name);
            continue;
        }
        let on_bench = |named: &&Named| {
            named.probe.as_ref().is_some_and(|id| register.probe(id).is_ok())
                && named.input().is_none_or(|id| register.input(&id).is_ok())
        };
        let known: Vec<_> = readings.iter().filter(on_bench).collect();
        match (known.as_slice(), &readings[0]) {
            ([one], _) => jobs.extend(job(args, path, one)),
            ([], first) => {
                let input = first.input().map_or(String::new(), |i| format!(" on {i}"));
                let probe = first.probe.as_ref().map(ToString::to_string).unwrap_or_default();
                let error = format!("its name says {probe}{input}, which is not on the bench");
                outcome.failed.push(report::Failed { file: name, error });
            }
            _ => {
                let error = "its name can mean several pairings of the bench; assess it by a list".to_owned();
                outcome.failed.push(report::Failed { file: name, error });
            }
        }
    }
    Ok((jobs, outcome))
}

fn job(args: &Batch, path: PathBuf, named: &Named) -> Option<Job> {
    Some(Job {
        input: named.input(),
        stage: named.stage.unwrap_or(args.stage.stage()),
        ..blank(args, path, named.probe.clone()?)
    })
}

/// A job of which only the file and the probe are known.
fn blank(args: &Batch, path: PathBuf, probe: Id) -> Job {
    Job {
        path,
        probe,
        input: None,
        stage: args.stage.stage(),
        read: ReadOptions {
            column: args.column.map(usize::from),
            reference: args.reference.map(usize::from),
            interval_s: args.interval,
        },
        at: None,
        by: None,
        temperature_c: None,
        note: None,
        file_time: args.at_file_time,
    }
}

const COLUMNS: [&str; 10] =
    ["file", "probe", "input", "stage", "column", "reference", "at", "by", "temperature", "note"];

fn list(args: &Batch) -> Result<Vec<Job>, String> {
    let list = args.source.display();
    let text = values::read_text(&args.source)?;
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
    let head = reader.headers().map_err(|e| format!("{list}: {e}"))?.clone();
    if let Some(unknown) = head.iter().find(|h| !COLUMNS.contains(h)) {
        return Err(format!(
            "{list}: line 1: \"{unknown}\" is no column of such a list; it may have {}",
            COLUMNS.join(", ")
        ));
    }
    for needed in ["file", "probe"] {
        if !head.iter().any(|h| h == needed) {
            return Err(format!("{list}: line 1: the column \"{needed}\" is missing"));
        }
    }
    let folder = args.source.parent().unwrap_or(Path::new(""));
    let mut jobs = Vec::new();
    let mut wrong = Vec::new();
    for record in reader.records() {
        let read = record.map_err(|e| e.to_string()).and_then(|record| {
            let line = record.position().map_or(0, csv::Position::line);
            line_of(args, folder, &head, &record).map_err(|e| format!("line {line}: {e}"))
        });
        match read {
            Ok(job) => jobs.push(job),
            Err(message) => wrong.push(format!("{list}: {message}")),
        }
    }
    // A list is checked as a whole: half of it logged and half refused helps nobody.
    if wrong.is_empty() { Ok(jobs) } else { Err(wrong.join("\n")) }
}

fn line_of(
    args: &Batch,
    folder: &Path,
    head: &csv::StringRecord,
    record: &csv::StringRecord,
) -> Result<Job, String> {
    let cell = |name: &str| {
        let at = head.iter().position(|h| h == name)?;
        record.get(at).filter(|text| !text.is_empty())
    };
    let needed = |name: &str| cell(name).ok_or_else(|| format!("{name} is empty"));
    let named = |name: &'static str| move |e: String| format!("{name}: {e}");
    let probe = probe_id(needed("probe")?).map_err(named("probe"))?;
    let mut job = blank(args, folder.join(needed("file")?), probe);
    job.input = cell("input").map(input_id).transpose().map_err(named("input"))?;
    if let Some(stage) = cell("stage") {
        job.stage = match stage {
            "check" => Stage::Check,
            "before" => Stage::BeforeAdjustment,
            "after" => Stage::AfterAdjustment,
            other => return Err(format!("stage: \"{other}\" is none of check, before, after")),
        };
    }
    for (name, to) in [("column", &mut job.read.column), ("reference", &mut job.read.reference)] {
        if let Some(text) = cell(name) {
            *to = Some(usize::from(values::column(text).map_err(named("column"))?));
        }
    }
    job.at = cell("at").map(values::moment).transpose().map_err(named("at"))?;
    job.temperature_c = cell("temperature").map(values::celsius).transpose().map_err(named("temperature"))?;
    job.by = cell("by").map(str::to_owned);
    job.note = cell("note").map(str::to_owned);
    Ok(job)
}
