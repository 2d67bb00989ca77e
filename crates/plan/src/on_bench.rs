//! What a bench knows of the things that a plan names by their id: looked up before the plan is read, and laid below it.
//!
//! What plan or settings say goes before what the bench says, key by key. Keys that mean nothing without each other (a
//! category and its voltage, the points of a derating curve) go together: one of them given, all those of the bench are left
//! out.

use flattop_core::finding::Finding;

use crate::document::{Below, Document, Lack, Quantity, Table};
use crate::probe::{self, Probe, ProbeModel, SHEET_KEYS};

/// A bench, as far as plans ask for it. Messages of errors say the remedy.
pub trait Bench {
    /// A probe by its id, its keys as below `[probe]`.
    ///
    /// # Errors
    /// There is none, or none in use.
    fn probe(&self, id: &str) -> Result<Thing, String>;

    /// An input by its id, its keys as below `[input]`.
    ///
    /// # Errors
    /// There is none, or none in use.
    fn input(&self, id: &str) -> Result<Thing, String>;

    /// A ground accessory of a probe, its keys as below `[contact]`.
    ///
    /// # Errors
    /// There is none, or its size is not known.
    fn ground(&self, probe: &str, name: &str) -> Result<Thing, String>;

    /// What is known of a probe on an input by measurement.
    ///
    /// # Errors
    /// The bench cannot be read.
    fn pairing(&self, probe: &str, input: &str) -> Result<AsMeasured, String>;

    /// What a list ranks that names neither probes nor inputs.
    ///
    /// # Errors
    /// There is nothing to rank.
    fn candidates(&self) -> Result<Candidates, String>;
}

/// A thing of a bench.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Thing {
    /// Its name there.
    pub id: String,
    /// What is known of it.
    pub held: Vec<Held>,
    /// What is not known of it, though a plan may need it.
    pub missing: Vec<Missing>,
    /// Remarks.
    pub findings: Vec<Finding>,
}

/// A value that a bench holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Held {
    /// Key below the table of the plan: `rating.peak`.
    pub key: &'static str,
    /// The value, as a setting would write it.
    pub text: String,
    /// Name of the field on the bench.
    pub field: &'static str,
    /// How to correct it there.
    pub remedy: String,
}

/// A value that a bench does not hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Missing {
    /// Key below the table of the plan.
    pub key: &'static str,
    /// Name of the field on the bench.
    pub field: &'static str,
    /// How to enter it there.
    pub remedy: String,
}

/// What the last assessment says of a probe on an input.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AsMeasured {
    /// e with its uncertainty; `None` where it is not known.
    pub compensation_error: Option<Quantity>,
    /// Where it comes from, or why there is none.
    pub findings: Vec<Finding>,
}

/// Things of a bench to choose from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Candidates {
    /// Ids of probes.
    pub probes: Vec<String>,
    /// Ids of inputs.
    pub inputs: Vec<String>,
    /// Which probe on which input, by their places in these lists.
    pub pairs: Vec<(usize, usize)>,
    /// Remarks, such as on what was left out.
    pub findings: Vec<Finding>,
}

/// No bench: every id is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoBench;

impl NoBench {
    fn refused<T>() -> Result<T, String> {
        Err("no bench is at hand to look it up; name its file with --bench, or write the figures in place of it"
            .to_owned())
    }
}

impl Bench for NoBench {
    fn probe(&self, _: &str) -> Result<Thing, String> {
        Self::refused()
    }

    fn input(&self, _: &str) -> Result<Thing, String> {
        Self::refused()
    }

    fn ground(&self, _: &str, _: &str) -> Result<Thing, String> {
        Self::refused()
    }

    fn pairing(&self, _: &str, _: &str) -> Result<AsMeasured, String> {
        Ok(AsMeasured::default())
    }

    fn candidates(&self) -> Result<Candidates, String> {
        Self::refused()
    }
}

/// Keys that mean nothing without each other.
const TOGETHER: [&[&str]; 5] = [
    &["rating.frequency", "rating.peak", "rating.rms"],
    &["rating.category", "rating.category_voltage"],
    &["response", "order"],
    &["rated_voltage", "rated_as"],
    &["inductance", "ground_length"],
];

/// Looks up what `[probe]`, `[input]` and `[contact]` of a plan name.
pub(crate) fn look_up_plan(document: &mut Document, bench: &dyn Bench) {
    let mut laid = Vec::new();
    {
        let root = document.root();
        let probe = root.table("probe");
        laid.extend(looked_up(&probe, "id", |id| bench.probe(id)));
        laid.extend(looked_up(&root.table("input"), "id", |id| bench.input(id)));
        let contact = root.table("contact");
        let of = probe.text("id");
        match &of {
            Some(of) => laid.extend(looked_up(&contact, "ground", |name| bench.ground(of, name))),
            None => contact.refuse(&["ground"], "this key together with [probe] id only", "it alone"),
        }
    }
    lay(document, laid);
}

/// Looks up what the `[[probe]]` and `[[input]]` of a list name; of a list that names none, what the bench has to choose from.
/// Returned are the pairs to rank, where the bench says which.
pub(crate) fn look_up_list(document: &mut Document, bench: &dyn Bench) -> Option<Vec<(usize, usize)>> {
    let mut pairs = None;
    let names_none = {
        let root = document.root();
        ["probe", "input"].iter().all(|key| !root.has(key) && root.tables(key).is_empty())
    };
    if names_none {
        match bench.candidates() {
            Ok(candidates) => {
                for (key, ids) in [("probe", &candidates.probes), ("input", &candidates.inputs)] {
                    for (index, id) in ids.iter().enumerate() {
                        let table = format!("{key}.{}", index + 1);
                        let id = Below {
                            path: format!("{table}.id"),
                            text: id.clone(),
                            origin: format!("from the bench: {key}"),
                            remedy: String::new(),
                        };
                        document.lay_below(&table, vec![id], Vec::new());
                    }
                }
                candidates.findings.into_iter().for_each(|finding| document.root().remark(finding));
                pairs = Some(candidates.pairs);
            }
            Err(message) => {
                let expected = "at least one [[probe]] and one [[input]], or a bench to choose from";
                document.root().problem("probe", expected, &format!("none: {message}"), "");
                // All is said about the lists that are not there.
                document.lay_below("", Vec::new(), Vec::new());
                pairs = Some(Vec::new());
            }
        }
    }
    let mut laid = Vec::new();
    {
        let root = document.root();
        for table in root.tables("probe") {
            laid.extend(looked_up(&table, "id", |id| bench.probe(id)));
        }
        for table in root.tables("input") {
            laid.extend(looked_up(&table, "id", |id| bench.input(id)));
        }
        root.table("contact").refuse(
            &["ground"],
            "inductance or ground_length, the same for all probes",
            "what goes with one probe",
        );
    }
    lay(document, laid);
    pairs
}

/// What the last assessment says, where probe and input are of the bench and nothing typed says it.
pub(crate) fn as_measured(
    (probe_table, probe): (&Table, &Probe),
    input_table: &Table,
    bench: &dyn Bench,
) -> AsMeasured {
    let is_open = matches!(&probe.model, ProbeModel::DataSheet(sheet) if sheet.compensation_error.is_none())
        && !probe_table.is_typed("compensation_error");
    let (Some(probe_id), Some(input_id), true) = (probe_table.text("id"), input_table.text("id"), is_open)
    else {
        return AsMeasured::default();
    };
    bench.pairing(&probe_id, &input_id).unwrap_or_else(|message| {
        probe_table.problem("id", "a bench that can be read", &message, "");
        AsMeasured::default()
    })
}

impl Probe {
    /// The same probe with the compensation error that was measured, if any.
    pub fn as_measured(mut self, compensation_error: Option<Quantity>) -> Self {
        if let (ProbeModel::DataSheet(sheet), Some(error)) = (&mut self.model, compensation_error) {
            sheet.compensation_error = Some(error);
        }
        self
    }
}

struct Laid {
    table: String,
    below: Vec<Below>,
    lacks: Vec<Lack>,
}

fn lay(document: &mut Document, laid: Vec<Laid>) {
    for Laid { table, below, lacks } in laid {
        document.lay_below(&table, below, lacks);
    }
}

fn looked_up(
    table: &Table,
    key: &'static str,
    look_up: impl Fn(&str) -> Result<Thing, String>,
) -> Option<Laid> {
    let id = table.text(key)?;
    let thing = match look_up(&id) {
        Ok(thing) => thing,
        Err(message) => {
            table.problem(key, "the name of something on the bench", &format!("\"{id}\": {message}"), "");
            return None;
        }
    };
    thing.findings.iter().for_each(|finding| table.remark(finding.clone()));
    let path = |key: &str| format!("{}.{key}", table.path());
    let left_out = |key: &str| {
        let group = TOGETHER.iter().find(|group| group.contains(&key));
        let spoken_of = group.is_some_and(|group| group.iter().any(|key| is_typed(table, key)));
        // The form of a response that was taken away.
        let formless = ["response", "order"].contains(&key) && is_taken_away(table, "bandwidth");
        spoken_of || formless || (SHEET_KEYS.contains(&key) && probe::is_by_parts(table))
    };
    let held = thing.held.iter().filter(|held| !left_out(held.key)).map(|held| Below {
        path: path(held.key),
        text: held.text.clone(),
        origin: format!("from the bench: {} {}", thing.id, held.field),
        remedy: held.remedy.clone(),
    });
    let lacks = thing.missing.iter().map(|missing| Lack {
        path: path(missing.key),
        named_by: key,
        expected: format!("something of which the bench knows {}", missing.field),
        found: format!("{}, which has no {} there", thing.id, missing.field),
        remedy: format!("{}, or give {} here", missing.remedy, missing.key),
    });
    Some(Laid { table: table.path().to_owned(), below: held.collect(), lacks: lacks.collect() })
}

fn is_taken_away(table: &Table, key: &str) -> bool {
    table.is_typed(key) && !table.has(key)
}

/// Whether text or settings speak of a key, which may lie in a table below.
fn is_typed(table: &Table, key: &str) -> bool {
    match key.split_once('.') {
        Some((inner, key)) => is_typed(&table.table(inner), key),
        None => table.is_typed(key),
    }
}
