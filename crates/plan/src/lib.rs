//! Plans and lists of probes and inputs in TOML: read into the core's types, with errors that point at line and key.
//!
//! [`Plan`] is one measurement to be predicted, [`ChooseList`] a bench to choose from. Both are read through the layer of
//! [`document`], which knows nothing of plans. [`KEYS`] lists every key once, for help, template and documentation.
//!
//! - Not done here: no files are opened (`file = …` names are handed on), nothing is computed.
#![deny(clippy::disallowed_methods, clippy::print_stdout, clippy::print_stderr)]
#![forbid(unsafe_code)]

mod budget;
mod budget_keys;
mod choose;
pub mod document;
mod input;
mod keys;
mod plan;
mod probe;
mod signal;
mod surroundings;
mod template;
#[cfg(test)]
mod tests;

pub use budget::{
    Budget, Correlated, DistributionWord, EvaluationWord, FormWord, ReadQuantity, Reading, Second, Uncertain,
};
pub use budget_keys::BUDGET_KEYS;
pub use choose::{ChooseList, Labelled, MeasuredQuantity, Measurement};
pub use input::{Coupling, CouplingWord, Input, RatedAs, Response, ResponseWord};
pub use keys::{CHOOSE_KEYS, KEYS, Key, Need, keys_markdown};
pub use plan::Plan;
pub use probe::{AdjustedAt, Cable, DataSheet, Parts, Probe, ProbeModel, Rating, RatingCurve};
pub use signal::{Shape, ShapeWord, Signal};
pub use surroundings::{
    Category, Circuit, Connection, Contact, Lead, Measured, Node, Output, PlaceWord, Use,
};
pub use template::{budget_template, template};

/// Probes and inputs by their identity have to be looked up in a register, which plans have no access to yet.
fn no_register(table: &document::Table, id: Option<String>) {
    if let Some(id) = id {
        table.problem(
            "id",
            "the figures themselves",
            &format!("\"{id}\", which stands for an entry of a register"),
            "the register comes with the bench; until then write the figures here instead of id",
        );
    }
}
