//! The register from outside: real files, several programs, power cuts as far as a test can make them.
#![allow(clippy::unwrap_used)] // helpers of tests panic as tests do

mod common;
mod exchange;
mod files;
mod log;
mod measured;
mod processes;
mod tamper;
mod things;
