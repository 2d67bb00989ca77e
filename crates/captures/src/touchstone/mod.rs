//! Touchstone files: network parameters over frequency, as text (version 1.1 and versions 2.0 and 2.1).
//!
//! Reading gives the parameters as the file has them (S, Y, Z, G or H), in SI units and with the normalisation of
//! version 1 taken out: admittances are in siemens and impedances in ohms whatever the version. [`Touchstone`] turns them
//! into one another for any number of ports; S of different reference resistances included.
//!
//! Source: *Touchstone File Format Specification*, versions 1.1 and 2.0 (IBIS Open Forum, 2002 and 2009). What 2.1 adds
//! is not needed to read network data with real references; a file of that version is read by the rules of 2.0.

mod convert;
mod header;
mod read;
mod response;
mod solve;
#[cfg(test)]
mod tests;
mod write;

use std::path::Path;

use flattop_core::finding::Finding;
use num_complex::Complex64;

pub use convert::ConvertError;
pub use read::read;
pub use response::of_response;
pub use write::{write, write_with_notes};

use crate::{ReadError, bytes};

/// Most ports that are read.
pub const MOST_PORTS: usize = 64;

/// What the numbers of a file mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parameter {
    /// Scattering parameters with respect to the reference resistances.
    S,
    /// Admittance parameters, S.
    Y,
    /// Impedance parameters, Ω.
    Z,
    /// Inverse hybrid parameters of a two-port: g11 in S, g22 in Ω, g12 and g21 without unit.
    G,
    /// Hybrid parameters of a two-port: h11 in Ω, h22 in S, h12 and h21 without unit.
    H,
}

/// The network data of a Touchstone file.
#[derive(Clone, Debug, PartialEq)]
pub struct Touchstone {
    /// Number of ports n.
    pub ports: usize,
    /// What the numbers mean.
    pub parameter: Parameter,
    /// Reference resistance of each port, Ω; meaningful for [`Parameter::S`], kept for all.
    pub reference_ohm: Vec<f64>,
    /// Frequencies, Hz, rising.
    pub frequency_hz: Vec<f64>,
    /// One n × n matrix for each frequency, row by row: element (i, j) stands at i·n + j and is what comes out at port i
    /// of what goes in at port j.
    pub matrices: Vec<Vec<Complex64>>,
    /// Remarks of the reader.
    pub findings: Vec<Finding>,
}

/// Opens and reads the Touchstone file at `path`.
///
/// # Errors
/// [`ReadError`] with the file, the line and the remedy.
pub fn open(path: &Path) -> Result<Touchstone, ReadError> {
    let bytes = bytes::map(path)?;
    let name =
        path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
    read(&name, &bytes)
}
