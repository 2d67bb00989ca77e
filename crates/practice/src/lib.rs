//! A practice bench: a simulated digitizer on a square-wave source, with a divider probe on each input and its trimmer in
//! the user's hand.
//!
//! - [`trimmer`]: from the angle of the screwdriver to a capacitance, with play and end stops.
//! - [`disturbance`]: what a practice signal may have besides the wave, with the limits of each.
//! - [`wave`]: the square wave behind the divider, as a closed form.
//! - [`mod@bench`]: inputs, trimmers and disturbances together; captures out of a seed.
//! - [`digitizer`]: what the instrument answers (SCPI-1999 headers, IEEE 488.2 blocks and status); bytes and time in, bytes and
//!   next time out.
//! - [`faults`]: how an instrument misbehaves on purpose.
//! - [`order`]: what the user may say to the bench, as text.
//!
//! Everything is arithmetic on what is given: no sockets, no clock, no threads. The same seed gives the same captures.
#![deny(clippy::disallowed_methods, clippy::print_stdout, clippy::print_stderr)]
#![forbid(unsafe_code)]

pub mod bench;
pub mod digitizer;
pub mod disturbance;
pub mod faults;
pub mod order;
pub mod trimmer;
pub mod wave;
