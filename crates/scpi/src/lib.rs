//! What instruments and controllers say to each other, as arithmetic on bytes and time.
//!
//! - [`block`], [`numbers`]: how samples are coded (IEEE 488.2-1992, 8.7.9 and 8.7.10; SCPI-1999).
//! - [`message`], [`header`], [`status`]: program messages, response messages, command headers, status and errors.
//! - [`usbtmc`], [`hislip`]: how messages travel over USB (USBTMC 1.0) and over TCP (IVI-6.1).
//! - [`session`]: one question after the other, each with a deadline, and a name for everything that can go wrong.
//!
//! Of the two common protocols over TCP that mark the end of a message, HiSLIP is here and VXI-11 is not: HiSLIP needs
//! one known port, two connections and a header of 16 bytes, VXI-11 a port mapper, remote procedure calls and a port
//! that is found out each time.
//!
//! - Not done here: no sockets, no devices, no clock, no threads; time comes in as a [`Duration`](std::time::Duration)
//!   since any fixed moment. Nothing of oscilloscopes: what is asked, a dialogue file says.
#![deny(clippy::disallowed_methods, clippy::print_stdout, clippy::print_stderr)]
#![forbid(unsafe_code)]

pub mod block;
pub mod excerpt;
pub mod header;
pub mod hislip;
pub mod message;
pub mod numbers;
pub mod session;
pub mod status;
pub mod usbtmc;
