//! What people and programs read of an assessment: the JSON contract, the words, the plots.
//!
//! Every function here takes values and returns text or bytes.
//! This crate opens no file, prints nothing, and estimates nothing: it shows what the core found.
//!
//! Reading order: [`subject`], [`mod@format`], [`json`], [`text`], [`plot`]; then what has these three faces of its own: [`reach`],
//! [`compatibility`], [`prediction`], [`choose`], [`budget`], [`pair`], [`correction`], [`characterise`], [`trim`]; last what stands in the
//! register: [`mod@bench`], [`logbook`], [`measured`].
#![forbid(unsafe_code)]
#![deny(clippy::disallowed_methods, clippy::print_stdout, clippy::print_stderr)]

pub mod bench;
pub mod budget;
pub mod characterise;
pub mod choose;
pub mod compatibility;
pub mod correction;
pub mod format;
pub mod json;
pub mod logbook;
pub mod measured;
pub mod pair;
pub mod plot;
pub mod prediction;
pub mod reach;
pub mod subject;
pub mod text;
pub mod trim;

#[cfg(test)]
mod fixtures;
