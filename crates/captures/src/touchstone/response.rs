//! A response alone as network parameters: what it does to impedances is not known, and not said.

use num_complex::Complex64;

use super::{Parameter, Touchstone};

/// Reference resistance that is named; a response does not depend on it.
const REFERENCE_OHM: f64 = 50.0;

/// A two-port whose S21 is the response, by frequency (Hz), magnitude and phase (rad); S11, S12 and S22 are nil.
pub fn of_response(points: impl IntoIterator<Item = (f64, f64, f64)>) -> Touchstone {
    let nil = Complex64::new(0.0, 0.0);
    let (frequency_hz, matrices) = points
        .into_iter()
        .map(|(f, magnitude, phase)| (f, vec![nil, nil, Complex64::from_polar(magnitude, phase), nil]))
        .unzip();
    Touchstone {
        ports: 2,
        parameter: Parameter::S,
        reference_ohm: vec![REFERENCE_OHM; 2],
        frequency_hz,
        matrices,
        findings: Vec::new(),
    }
}
