//! Captures as they arrive: from a watched folder, from a stream, from an instrument.
//!
//! - [`transport`]: ways to carry bytes to an instrument and back, each call with a time limit; among them a replayed
//!   transcript, a recorder, and an injector of faults.
//! - [`link`]: questions and answers over any of them, and how to get back in step after a fault.
//! - [`dialogue`]: what to say to an instrument, from a file that its user fills in from its manual.
//! - [`source`]: all of them as one stream of captures; the newest wins where they come too fast.
//!
//! An instrument is contacted under the address that the user gave, and under no other: nothing is searched for.
//!
//! - Not done here: no estimates, no judgement, no screen; no command of any maker is known.
#![deny(clippy::print_stdout, clippy::print_stderr)]
#![forbid(unsafe_code)]

pub mod clock;
pub mod dialogue;
pub mod link;
pub mod source;
pub mod transport;
mod trouble;

pub use trouble::Trouble;
