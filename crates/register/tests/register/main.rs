//! The register from outside: real files, several programs, power cuts as far as a test can make them.

mod common;
mod exchange;
mod files;
mod log;
mod processes;
mod tamper;
mod things;
