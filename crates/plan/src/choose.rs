//! A list of probes and inputs to choose from for one measurement.

use flattop_core::finding::Finding;
use flattop_core::quantity::Unit;

use crate::document::{Dimension, Document, Limits, Problems, Quantity, Table};
use crate::input::{self, Input};
use crate::on_bench::{self, Bench, NoBench};
use crate::probe::{self, Probe};
use crate::signal::{self, Signal};
use crate::surroundings::{self, Circuit, Contact, Node};
use crate::words;

words! {
    /// What is to be measured.
    pub enum MeasuredQuantity {
        /// The distance between the two levels; of a sine, between its peaks.
        Amplitude = "amplitude",
        /// The largest distance from the low level.
        Peak = "peak",
        /// The level long after the edge.
        Level = "level",
        /// The 10 to 90 % transition duration.
        Transition = "transition",
    }
}

/// What is to be measured, and how well.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measurement {
    /// What.
    pub quantity: MeasuredQuantity,
    /// Largest relative error that is still accepted.
    pub tolerance: f64,
}

/// A probe or an input with its name on the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct Labelled<T> {
    /// The name.
    pub label: String,
    /// What it names.
    pub item: T,
}

/// One probe on one input, to be ranked.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// Place of the probe in the list.
    pub probe: usize,
    /// Place of the input in the list.
    pub input: usize,
    /// e of this probe on this input as last assessed, where the bench knows it and the list does not say it.
    pub compensation_error: Option<Quantity>,
    /// Remarks on that.
    pub findings: Vec<Finding>,
}

/// Probes and inputs, and what they are to be used for.
#[derive(Clone, Debug, PartialEq)]
pub struct ChooseList {
    /// The circuit under test; stiff where left out.
    pub node: Node,
    /// The signal.
    pub signal: Signal,
    /// Tip and ground lead, the same for all probes.
    pub contact: Contact,
    /// What the measurement is exposed to; `None` where nothing is said.
    pub circuit: Option<Circuit>,
    /// What is to be measured.
    pub measurement: Measurement,
    /// At least one.
    pub probes: Vec<Labelled<Probe>>,
    /// At least one.
    pub inputs: Vec<Labelled<Input>>,
    /// What to rank: every probe on every input, or what the bench says where the list names neither.
    pub pairs: Vec<Pair>,
    /// Whether the list names neither probes nor inputs, so that both come from the bench.
    pub is_of_bench: bool,
    /// Remarks on how the list was read.
    pub findings: Vec<Finding>,
}

impl ChooseList {
    /// Reads a list that names nothing of a bench. `name` stands for the text in errors.
    ///
    /// # Errors
    /// All that is wrong, with line, column and key.
    pub fn parse(name: &str, text: &str) -> Result<Self, Problems> {
        Self::with_bench(name, text, &[], &NoBench)
    }

    /// Reads a list with settings laid over it, such as `("probe.1.ratio", "10")`; see [`Document::parse`].
    ///
    /// # Errors
    /// All that is wrong, with line, column and key, or with the setting.
    pub fn with_overrides(name: &str, text: &str, settings: &[(&str, &str)]) -> Result<Self, Problems> {
        Self::with_bench(name, text, settings, &NoBench)
    }

    /// As [`ChooseList::with_overrides`]; what the list names by an id is looked up on a bench, and where it names neither
    /// probes nor inputs, they come from there. What list and settings give goes before what the bench knows.
    ///
    /// # Errors
    /// All that is wrong, with line, column and key, with the setting, or with the field of the bench.
    pub fn with_bench(
        name: &str,
        text: &str,
        settings: &[(&str, &str)],
        bench: &dyn Bench,
    ) -> Result<Self, Problems> {
        let mut document = Document::parse(name, text, settings)?;
        let pairs = on_bench::look_up_list(&mut document, bench);
        let root = document.root();
        let list = read(&root).map(|list| {
            let (probes, inputs) = (root.tables("probe"), root.tables("input"));
            let every = (0..probes.len()).flat_map(|p| (0..inputs.len()).map(move |i| (p, i)));
            let is_of_bench = pairs.is_some();
            let pairs = pairs.unwrap_or_else(|| every.collect());
            let pairs = pairs.into_iter().filter_map(|(probe, input)| {
                let of = (probes.get(probe)?, &list.probes.get(probe)?.item);
                let found = on_bench::as_measured(of, inputs.get(input)?, bench);
                let on_bench::AsMeasured { compensation_error, findings } = found;
                Some(Pair { probe, input, compensation_error, findings })
            });
            ChooseList { pairs: pairs.collect(), is_of_bench, ..list }
        });
        let (list, findings) = document.finish(list)?;
        Ok(ChooseList { findings, ..list })
    }
}

pub(crate) fn read(root: &Table) -> Option<ChooseList> {
    let node = surroundings::node(&root.table("node"));
    let signal_table = root.table("signal");
    let signal = signal::read(&signal_table);
    if !signal_table.is_present() {
        signal_table.required::<Signal>("shape", None, "say what the signal does");
    }
    let contact = surroundings::contact(&root.table("contact"));
    let circuit = surroundings::circuit(&root.table("circuit"));
    let measurement = measurement(&root.table("measurement"));
    let probes = labelled(root, "probe", probe::read);
    let inputs = labelled(root, "input", input::read);
    Some(ChooseList {
        node,
        signal: signal?,
        contact,
        circuit,
        measurement: measurement?,
        probes: probes?,
        inputs: inputs?,
        pairs: Vec::new(),
        is_of_bench: false,
        findings: Vec::new(),
    })
}

fn measurement(table: &Table) -> Option<Measurement> {
    let quantity = table.word("quantity");
    let tolerance = table.quantity("tolerance", Dimension::Of(Unit::Ratio), Limits::Share);
    let quantity = table.required("quantity", quantity, "say what is to be measured");
    let tolerance = table.required("tolerance", tolerance, "say how large an error may be");
    Some(Measurement { quantity: quantity?, tolerance: tolerance?.value })
}

fn labelled<T>(root: &Table, key: &str, read: fn(&Table) -> Option<T>) -> Option<Vec<Labelled<T>>> {
    let tables = root.tables(key);
    if tables.is_empty() && !root.has(key) && !root.is_looked_up() {
        root.problem(key, &format!("at least one [[{key}]]"), "none", &format!("begin each with [[{key}]]"));
    }
    let mut labels: Vec<String> = Vec::new();
    let mut all = Vec::new();
    for table in &tables {
        let label = table.text("label");
        let item = read(table);
        // What is of the bench has a name already.
        let label = label.or_else(|| table.text("id"));
        let label = table.required("label", label, "the ranking names it by this");
        if let Some(label) = label.filter(|label| {
            let again = labels.contains(label);
            if again {
                table.problem(
                    "label",
                    "each label once",
                    &format!("\"{label}\" again"),
                    "give it another name",
                );
            }
            !again
        }) {
            labels.push(label.clone());
            all.push(item.map(|item| Labelled { label, item }));
        } else {
            all.push(None);
        }
    }
    all.into_iter().collect()
}
