//! Records to print and to keep: one assessment, the state of a bench, a period; as one HTML file or as PDF.
//!
//! The way of a record: [`compose`] puts values of the register and the core into a [`document::Document`], plain data;
//! [`html`] and [`pdf`] write it. Nothing here opens a file, reads a clock or estimates anything: the time of issue comes
//! in, and figures are those of the logbook. [`budget`] takes their uncertainties apart; [`clauses`] says which field
//! answers which clause of ISO/IEC 17025.
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods, clippy::print_stdout, clippy::print_stderr)]

pub mod budget;
pub mod clauses;
pub mod compose;
pub mod document;
pub mod html;
pub mod pdf;
mod when;
