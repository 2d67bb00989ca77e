//! Physics, estimation and judgement of divider-probe compensation.
//!
//! Everything comes in as arguments and goes out as values: this crate reads no file, opens no socket, looks at no
//! clock and no environment, prints nothing, and starts no thread. Random numbers come out of a seed that the caller gives.
//! It does not know how captures are stored, how results are shown, or who asks.
//!
//! Reading order: [`quantity`], [`finding`], [`divider`], [`samples`], [`numeric`], [`estimate`], [`assessment`].
#![deny(clippy::disallowed_methods, clippy::print_stdout, clippy::print_stderr)]
#![forbid(unsafe_code)]

pub mod assessment;
pub mod bench;
pub mod chain;
pub mod characterise;
pub mod choice;
pub mod correction;
pub mod coupling;
pub mod data_sheet;
pub mod divider;
pub mod estimate;
pub mod finding;
pub mod inductance;
pub mod numeric;
pub mod pair;
pub mod prediction;
pub mod pulse;
pub mod quantity;
pub mod rating;
pub mod reach;
pub mod reach_matrix;
pub mod samples;
pub mod signal;
pub mod source_wave;
pub mod tracking;
pub mod transient;
pub mod uncertainty;
