//! HiSLIP: messages with an end, and a device clear, over two TCP connections.
//!
//! IVI-6.1, revision 2.0: 2.4 (header), table 4 (message types), 3 (how a session goes), tables 9 and 10 (error codes);
//! clauses and numbers from memory. Synchronized mode only, no locks, no encryption. [`Client`] is our side, [`Server`]
//! the instrument's, for practice and tests.
//!
//! An independent client (PyVISA with PyVISA-py, a process of its own) reads captures from [`Server`]:
//! `reference/second_client.py`, which `scripts/test` runs.

mod client;
mod frame;
mod server;

pub use client::{Client, Event};
pub use frame::{Channel, Frame, FrameReader, HEADER, HislipError, MessageType};
pub use server::{Request, Server};

/// Protocol version that is offered: 1.0.
pub const VERSION: u16 = 0x0100;
/// The TCP port that IVI-6.1 has registered.
pub const PORT: u16 = 4880;
/// Number of the first message after the beginning and after a device clear.
pub const FIRST_ID: u32 = 0xffff_ff00;
/// In a part of an answer: the server does not say yet to which message it answers.
pub const UNKNOWN_ID: u32 = 0xffff_ffff;

#[cfg(test)]
mod tests;
