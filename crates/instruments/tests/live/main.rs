//! Live sources from outside the crate: faults, transcripts, sockets, files and streams.

mod bench;
mod faults;
mod files;
mod sockets;
mod streams;
mod transcripts;
