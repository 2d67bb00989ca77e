//! Live sources from outside the crate: faults, transcripts, sockets, files and streams.
#![allow(clippy::unwrap_used)] // a test that fails where it stands is as it should be

mod bench;
mod faults;
mod files;
mod sockets;
mod streams;
mod transcripts;
