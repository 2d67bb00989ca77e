//! Plans and lists of probes and inputs in TOML: read into the core's types, with errors that point at line and key.
//!
//! [`Plan`] is one measurement to be predicted, [`ChooseList`] a bench to choose from. Both are read through the layer of
//! [`document`], which knows nothing of plans. What they name by an id is looked up through [`Bench`]. [`KEYS`] lists every key once, for help, template and documentation.
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
mod on_bench;
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
pub use choose::{ChooseList, Labelled, MeasuredQuantity, Measurement, Pair};
pub use input::{Coupling, CouplingWord, Input, RatedAs, Response, ResponseWord};
pub use keys::{CHOOSE_KEYS, KEYS, Key, Need, keys_markdown};
pub use on_bench::{AsMeasured, Bench, Candidates, Held, Missing, NoBench, Thing};
pub use plan::Plan;
pub use probe::{AdjustedAt, Cable, DataSheet, Parts, Probe, ProbeModel, Rating, RatingCurve};
pub use signal::{Shape, ShapeWord, Signal};
pub use surroundings::{
    Category, Circuit, Connection, Contact, Lead, Measured, Node, Output, PlaceWord, Use,
};
pub use template::{budget_template, template};
