//! What people ask of a chain in the frequency domain: plain functions of a [`Chain`](super::Chain), which should have passed
//! [`check`](super::Chain::check).
//!
//! None of these figures has an uncertainty of its own: they are as exact as the values of the chain.

mod band;
mod noise;
mod response;
mod ring;

pub use band::{CarriedBand, Extreme, Flatness, bandwidth_hz, carried_band, flatness, passband_gain};
pub use noise::{NoiseBandwidth, noise_bandwidth};
pub use response::{ParallelRc, ResponsePoint, equivalent_input, response};
pub use ring::{Ringing, ringing};
