//! Elements of the chain that are known by measurement only.

mod spline;

use super::scalar::Scalar;
use super::two_port::{Parameters, TwoPort};
use num_complex::Complex64;
use spline::Spline;

/// Smallest |S21| that a measured two-port may have: what comes through less than −120 dB is noise, and the chain matrix grows as its inverse.
const SMALLEST_TRANSMISSION: f64 = 1e-6;

/// A measured two-port, a one-port used in series or in shunt, or a response alone, between reference planes. Port 1 faces the node.
///
/// Between the points each entry (A, B, C, D; impedance; admittance) is a cubic spline, also at complex frequencies not far from the imaginary axis.
/// Below the first point it is continued smoothly and symmetrically to 0 Hz; above the last one it is held, or, a response, goes on falling as it did in
/// its last octave. Whoever shows a result should say so
/// where it leans on either: see [`Measured::covered_hz`].
///
/// Behind a tip of megohms, 10⁻⁹ S to ground are a fault of a thousandth at low frequencies, and no network analyser resolves that. A table that stands
/// there has to begin with a row at 0 Hz, from a resistance meter or from knowing that nothing leads to ground: A = D = 1, B the resistance, C = 0.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    kind: Kind,
    covered_hz: (f64, f64),
}

#[derive(Clone, Debug, PartialEq)]
enum Kind {
    Chain(Box<[Spline; 4]>),
    Series(Spline),
    Shunt(Spline),
    /// 1/H.
    Response(Spline),
}

/// Why a table cannot stand in the chain.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MeasuredError {
    /// No rows.
    #[error("the measured element has no frequencies; give at least one")]
    Empty,
    /// Lists of different lengths.
    #[error("the measured element has {frequencies} frequencies but {values} values; give one for each")]
    Length {
        /// Number of frequencies.
        frequencies: usize,
        /// Number of values.
        values: usize,
    },
    /// Frequencies must rise from 0 or above.
    #[error(
        "frequency {frequency_hz} Hz of the measured element does not follow {before_hz} Hz; sort the rows by frequency, each once, from 0 Hz up"
    )]
    Order {
        /// The offender, Hz.
        frequency_hz: f64,
        /// What stands before it, Hz.
        before_hz: f64,
    },
    /// A value is not a finite number.
    #[error("the measured element has a value that is not finite at {frequency_hz} Hz; leave that row out")]
    NotFinite {
        /// Where, Hz.
        frequency_hz: f64,
    },
    /// An imaginary part at 0 Hz.
    #[error("the measured element has an imaginary part at 0 Hz; leave that row out or make it real")]
    ComplexAtDc,
    /// No chain matrix.
    #[error(
        "the measured two-port lets nothing through at {frequency_hz} Hz (|S21| {transmission:.1e}); leave out the frequencies where it is below 1e-6"
    )]
    NothingThrough {
        /// Where, Hz.
        frequency_hz: f64,
        /// |S21| there.
        transmission: f64,
    },
    /// No impedance, or no admittance.
    #[error(
        "the measured one-port is {what} at {frequency_hz} Hz, which cannot stand {place}; leave that row out"
    )]
    Singular {
        /// Where, Hz.
        frequency_hz: f64,
        /// "open" or "a short circuit".
        what: &'static str,
        /// "in series" or "in shunt".
        place: &'static str,
    },
    /// Reference resistance of scattering parameters.
    #[error("reference resistance {0} Ω is not above 0; take it from the head of the file")]
    Reference(f64),
}

/// What the numbers of a one-port are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OnePort {
    /// Impedances, Ω.
    Impedance,
    /// Admittances, S.
    Admittance,
    /// Reflection coefficients S11 against a real reference.
    Reflection {
        /// The reference, Ω.
        reference_ohm: f64,
    },
}

/// What the numbers of a two-port are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TwoPortKind {
    /// A, B (Ω), C (S), D, as \[\[A, B\], \[C, D\]\].
    Chain,
    /// Impedance parameters, Ω.
    Impedances,
    /// Admittance parameters, S.
    Admittances,
    /// Scattering parameters against a real reference at both ports.
    Scattering {
        /// The reference, Ω.
        reference_ohm: f64,
    },
}

impl Measured {
    /// A two-port. Frequencies in Hz, rising; each row \[\[p11, p12\], \[p21, p22\]\].
    pub fn two_port(
        frequency_hz: &[f64],
        rows: &[Parameters],
        kind: TwoPortKind,
    ) -> Result<Self, MeasuredError> {
        check_frequencies(frequency_hz, rows.len())?;
        if let TwoPortKind::Scattering { reference_ohm } = kind {
            check_reference(reference_ohm)?;
        }
        let mut entries: [Vec<Complex64>; 4] = Default::default();
        for (row, &frequency_hz) in rows.iter().zip(frequency_hz) {
            if !row.iter().flatten().all(|p| p.is_finite()) {
                return Err(MeasuredError::NotFinite { frequency_hz });
            }
            let transmission = row[1][0].norm();
            let (matrix, reference_ohm) = match kind {
                TwoPortKind::Chain => {
                    (Some(TwoPort { a: row[0][0], b: row[0][1], c: row[1][0], d: row[1][1] }), 50.0)
                }
                TwoPortKind::Impedances => (TwoPort::from_impedances(row), 50.0),
                TwoPortKind::Admittances => (TwoPort::from_admittances(row), 50.0),
                TwoPortKind::Scattering { reference_ohm } => {
                    (TwoPort::from_scattering(row, reference_ohm), reference_ohm)
                }
            };
            let matrix = matrix.ok_or(MeasuredError::NothingThrough {
                frequency_hz,
                transmission: if matches!(kind, TwoPortKind::Scattering { .. }) { transmission } else { 0.0 },
            })?;
            let transmission = matrix.scattering(reference_ohm)[1][0].norm();
            if !(transmission >= SMALLEST_TRANSMISSION) {
                return Err(MeasuredError::NothingThrough { frequency_hz, transmission });
            }
            for (list, entry) in entries.iter_mut().zip([matrix.a, matrix.b, matrix.c, matrix.d]) {
                list.push(entry);
            }
        }
        let [a, b, c, d] = entries;
        let spline = |values| spline(frequency_hz, values);
        Ok(Self {
            kind: Kind::Chain(Box::new([spline(a)?, spline(b)?, spline(c)?, spline(d)?])),
            covered_hz: covered(frequency_hz),
        })
    }

    /// A one-port in series: between what comes before and what comes after.
    pub fn in_series(
        frequency_hz: &[f64],
        values: &[Complex64],
        kind: OnePort,
    ) -> Result<Self, MeasuredError> {
        let convert = |v: Complex64| match kind {
            OnePort::Impedance => v,
            OnePort::Admittance => v.inv(),
            OnePort::Reflection { reference_ohm } => (1.0 + v) / (1.0 - v) * reference_ohm,
        };
        let impedance = one_port(frequency_hz, values, kind, convert, ("open", "in series"))?;
        Ok(Self { kind: Kind::Series(impedance), covered_hz: covered(frequency_hz) })
    }

    /// A one-port in shunt: to ground.
    pub fn in_shunt(
        frequency_hz: &[f64],
        values: &[Complex64],
        kind: OnePort,
    ) -> Result<Self, MeasuredError> {
        let convert = |v: Complex64| match kind {
            OnePort::Impedance => v.inv(),
            OnePort::Admittance => v,
            OnePort::Reflection { reference_ohm } => (1.0 - v) / (1.0 + v) / reference_ohm,
        };
        let admittance = one_port(frequency_hz, values, kind, convert, ("a short circuit", "in shunt"))?;
        Ok(Self { kind: Kind::Shunt(admittance), covered_hz: covered(frequency_hz) })
    }

    /// A response H alone: what comes out over what goes in. Impedances are seen through it unchanged (A = D = 1/H, B = C = 0), so that it
    /// multiplies the transfer of any chain by H wherever it stands: what [`crate::characterise`] finds, between box and input.
    ///
    /// # Errors
    /// A table that is none, or a response below 10⁻⁶.
    pub fn response(frequency_hz: &[f64], values: &[Complex64]) -> Result<Self, MeasuredError> {
        check_frequencies(frequency_hz, values.len())?;
        let mut inverse = Vec::with_capacity(values.len());
        for (value, &frequency_hz) in values.iter().zip(frequency_hz) {
            if !value.is_finite() {
                return Err(MeasuredError::NotFinite { frequency_hz });
            }
            let transmission = value.norm();
            if !(transmission >= SMALLEST_TRANSMISSION) {
                return Err(MeasuredError::NothingThrough { frequency_hz, transmission });
            }
            inverse.push(value.inv());
        }
        let inverse = spline(frequency_hz, inverse)?.falling_on();
        Ok(Self { kind: Kind::Response(inverse), covered_hz: covered(frequency_hz) })
    }

    /// Whether it is a [response](Self::response) alone.
    pub fn is_response(&self) -> bool {
        matches!(self.kind, Kind::Response(_))
    }

    /// First and last measured frequency, Hz. Outside it is continued.
    pub fn covered_hz(&self) -> (f64, f64) {
        self.covered_hz
    }

    /// The element at s, rad/s.
    pub fn at(&self, s: Complex64) -> TwoPort {
        let [a, b, c, d] = self.entries(s);
        TwoPort { a, b, c, d }
    }

    pub(super) fn entries<T: Scalar>(&self, s: T) -> [T; 4] {
        let (zero, one) = (T::constant(0.0), T::constant(1.0));
        match &self.kind {
            Kind::Chain(entries) => [entries[0].at(s), entries[1].at(s), entries[2].at(s), entries[3].at(s)],
            Kind::Series(impedance) => [one, impedance.at(s), zero, one],
            Kind::Shunt(admittance) => [one, zero, admittance.at(s), one],
            Kind::Response(inverse) => {
                let scale = inverse.at(s);
                [scale, zero, zero, scale]
            }
        }
    }
}

fn one_port(
    frequency_hz: &[f64],
    values: &[Complex64],
    kind: OnePort,
    convert: impl Fn(Complex64) -> Complex64,
    (what, place): (&'static str, &'static str),
) -> Result<Spline, MeasuredError> {
    check_frequencies(frequency_hz, values.len())?;
    if let OnePort::Reflection { reference_ohm } = kind {
        check_reference(reference_ohm)?;
    }
    let mut converted = Vec::with_capacity(values.len());
    for (&value, &frequency_hz) in values.iter().zip(frequency_hz) {
        if !value.is_finite() {
            return Err(MeasuredError::NotFinite { frequency_hz });
        }
        let entry = convert(value);
        if !entry.is_finite() {
            return Err(MeasuredError::Singular { frequency_hz, what, place });
        }
        converted.push(entry);
    }
    spline(frequency_hz, converted)
}

fn spline(frequency_hz: &[f64], mut values: Vec<Complex64>) -> Result<Spline, MeasuredError> {
    let mut omega: Vec<f64> = frequency_hz.iter().map(|f| std::f64::consts::TAU * f).collect();
    if omega[0] > 0.0 {
        return Ok(Spline::through(None, omega, values));
    }
    let dc = values[0];
    // Rounding of printed numbers is forgiven, a phase is not.
    if dc.im.abs() > 1e-9 * dc.norm() {
        return Err(MeasuredError::ComplexAtDc);
    }
    if omega.len() == 1 {
        // Only 0 Hz is known: the same everywhere.
        return Ok(Spline::through(Some(dc.re), vec![1.0], vec![Complex64::new(dc.re, 0.0)]));
    }
    omega.remove(0);
    values.remove(0);
    Ok(Spline::through(Some(dc.re), omega, values))
}

fn covered(frequency_hz: &[f64]) -> (f64, f64) {
    (frequency_hz[0], frequency_hz[frequency_hz.len() - 1])
}

fn check_reference(reference_ohm: f64) -> Result<(), MeasuredError> {
    if reference_ohm > 0.0 && reference_ohm.is_finite() {
        Ok(())
    } else {
        Err(MeasuredError::Reference(reference_ohm))
    }
}

fn check_frequencies(frequency_hz: &[f64], values: usize) -> Result<(), MeasuredError> {
    if frequency_hz.is_empty() {
        return Err(MeasuredError::Empty);
    }
    if frequency_hz.len() != values {
        return Err(MeasuredError::Length { frequencies: frequency_hz.len(), values });
    }
    let mut before_hz = f64::NEG_INFINITY;
    for &frequency_hz in frequency_hz {
        if !(frequency_hz >= 0.0 && frequency_hz.is_finite() && frequency_hz > before_hz) {
            return Err(MeasuredError::Order { frequency_hz, before_hz: before_hz.max(0.0) });
        }
        before_hz = frequency_hz;
    }
    Ok(())
}
