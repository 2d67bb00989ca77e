//! The bench in one SQLite file: oscilloscopes, inputs, probes, pairings, and the append-only logbook.
//!
//! [`Register`] is the door: open it, then add, list, edit and remove things ([`Thing`]), pair and move probes, log
//! assessments, see what is due, verify the logbook, export and import. What the entities are and the rules about them
//! stand in `flattop_core::bench`; here they are kept.
//!
//! What this crate does not do: it has no clock (times come in with each [`Act`]), reads no environment
//! ([`default_location`] works on values handed in), estimates nothing, and draws nothing.
//! It stores JSON texts of results as they are and never looks into them.
//!
//! Not everything can be promised: whoever may write the file can write a whole new logbook, and an end that was cut
//! off cannot be told from the file alone. Note [`Register::head`] elsewhere, and hand it to [`Register::verify`].
#![deny(clippy::disallowed_methods, clippy::print_stdout, clippy::print_stderr)]
#![forbid(unsafe_code)]

mod devices;
mod error;
mod exchange;
mod field;
mod location;
mod logbook;
mod pairings;
mod rows;
mod schema;
mod store;
pub mod time;

pub use devices::{
    Change, Retired, Thing, fields_of, ground_fields, input_fields, oscilloscope_fields, probe_fields,
    set_ground_field, set_input_field, set_oscilloscope_field, set_probe_field, unknown_ground,
    unknown_input, unknown_oscilloscope, unknown_probe,
};
pub use error::RegisterError;
pub use exchange::{ImportError, Imported, probes_from_csv, probes_from_toml};
pub use field::{FieldInfo, Kind, ValueError, days};
pub use location::{Surroundings, default_location};
pub use logbook::{
    Act, AssessmentRecord, Digest, Effect, Entry, EntryKind, Event, Filter, Head, KeptCapture, Measured,
    MeasuredQuantity, MeasurementRecord, Order, Problem, Subject, Verification,
};
pub use pairings::{Forecast, Moved, NoForecast, Series, Standing, Terms, Voids};
pub use store::{OpenMode, Opening, Register};
