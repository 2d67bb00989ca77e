//! Writing of Touchstone version 1.1: S parameters as real and imaginary part, in hertz.

use std::fmt::Write as _;

use super::{ConvertError, Touchstone};

/// Pairs of numbers on one line at most.
const PAIRS: usize = 4;

/// The file's text, version 1.1, with the reference resistance of the first port for all ports.
///
/// S parameters that have one reference for all ports come back from reading exactly as they went in.
///
/// # Errors
/// Other parameters, or other references, that cannot be turned into S parameters.
pub fn write(network: &Touchstone) -> Result<String, ConvertError> {
    write_with_notes(network, &[])
}

/// The same with comments at the head, one line each.
///
/// # Errors
/// As [`fn@write`].
pub fn write_with_notes(network: &Touchstone, notes: &[String]) -> Result<String, ConvertError> {
    let n = network.ports;
    let reference = network.reference_ohm.first().copied().unwrap_or(50.0);
    let matrices = network.s_parameters(reference)?;
    let mut text = String::new();
    for line in notes.iter().flat_map(|note| note.lines()) {
        let _ = writeln!(text, "! {line}");
    }
    let _ = writeln!(text, "# Hz S RI R {reference}");
    for (frequency, matrix) in network.frequency_hz.iter().zip(&matrices) {
        let _ = write!(text, "{frequency:e}");
        for k in 0..n * n {
            if n > 2 && k > 0 && (k % n).is_multiple_of(PAIRS) {
                text.push('\n');
            }
            // Two-ports are written column by column.
            let value = if n == 2 { matrix[(k % 2) * 2 + k / 2] } else { matrix[k] };
            let _ = write!(text, " {:e} {:e}", value.re, value.im);
        }
        text.push('\n');
    }
    Ok(text)
}
