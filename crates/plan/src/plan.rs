//! A plan: one measurement to be predicted.

use flattop_core::finding::Finding;

use crate::budget::{self, Budget};
use crate::document::{Document, Problems, Table};
use crate::input::{self, Input};
use crate::on_bench::{self, Bench, NoBench};
use crate::probe::{self, Probe};
use crate::signal::{self, Signal};
use crate::surroundings::{self, Circuit, Contact, Measured, Node, Output};

/// One measurement: circuit, signal, contact, probe, input.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The circuit under test; stiff where left out.
    pub node: Node,
    /// The signal; `None` where only the response over frequency is asked for.
    pub signal: Option<Signal>,
    /// Tip and ground lead.
    pub contact: Contact,
    /// The probe.
    pub probe: Probe,
    /// The oscilloscope's channel.
    pub input: Input,
    /// What the measurement is exposed to; `None` where nothing is said.
    pub circuit: Option<Circuit>,
    /// Elements known by measurement.
    pub measured: Vec<Measured>,
    /// What to compute.
    pub output: Output,
    /// What a budget of uncertainty needs; a prediction has no use for it.
    pub budget: Budget,
    /// Remarks on how the plan was read.
    pub findings: Vec<Finding>,
}

impl Plan {
    /// Reads a plan that names nothing of a bench. `name` stands for the text in errors.
    ///
    /// # Errors
    /// All that is wrong, with line, column and key.
    pub fn parse(name: &str, text: &str) -> Result<Self, Problems> {
        Self::with_bench(name, text, &[], &NoBench)
    }

    /// Reads a plan with settings laid over it, such as `("node.resistance", "1M")`; see [`Document::parse`].
    ///
    /// # Errors
    /// All that is wrong, with line, column and key, or with the setting.
    pub fn with_overrides(name: &str, text: &str, settings: &[(&str, &str)]) -> Result<Self, Problems> {
        Self::with_bench(name, text, settings, &NoBench)
    }

    /// As [`Plan::with_overrides`]; what the plan names by an id is looked up on a bench. What plan and settings give goes
    /// before what the bench knows.
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
        on_bench::look_up_plan(&mut document, bench);
        let root = document.root();
        let plan = read(&root).map(|plan| {
            let probe = (&root.table("probe"), &plan.probe);
            let found = on_bench::as_measured(probe, &root.table("input"), bench);
            found.findings.into_iter().for_each(|finding| root.remark(finding));
            Plan { probe: plan.probe.as_measured(found.compensation_error), ..plan }
        });
        let (plan, findings) = document.finish(plan)?;
        Ok(Plan { findings, ..plan })
    }
}

pub(crate) fn read(root: &Table) -> Option<Plan> {
    // Everything is read before anything is missed: all problems are to be found.
    let node = surroundings::node(&root.table("node"));
    let signal = signal::read(&root.table("signal"));
    let contact = surroundings::contact(&root.table("contact"));
    let probe = probe::read(&root.table("probe"));
    let input = input::read(&root.table("input"));
    let circuit = surroundings::circuit(&root.table("circuit"));
    let measured = surroundings::measured(&root.tables("measured"));
    let output = surroundings::output(&root.table("output"));
    let budget = budget::read(root);
    Some(Plan {
        node,
        signal,
        contact,
        probe: probe?,
        input: input?,
        circuit,
        measured: measured?,
        output,
        budget: budget?,
        findings: Vec::new(),
    })
}
