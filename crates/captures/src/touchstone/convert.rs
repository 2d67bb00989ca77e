//! From any kind of network parameters to any other, by the voltages and currents at the ports.

use num_complex::Complex64;
use thiserror::Error;

use super::solve::divide;
use super::{Parameter, Touchstone};

/// Why network parameters cannot be had in another form.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum ConvertError {
    /// The network has no such parameters, as an open has no impedance.
    #[error(
        "the network has no {wanted} parameters at {frequency_hz} Hz: the equations for them have no solution; \
         use another form"
    )]
    NotThere {
        /// What was asked for.
        wanted: &'static str,
        /// Where.
        frequency_hz: f64,
    },
    /// Chain parameters are for two-ports.
    #[error("chain parameters need a network of 2 ports, found {ports}; use a two-port file")]
    NotATwoPort {
        /// Ports found.
        ports: usize,
    },
    /// A reference resistance that is none.
    #[error("expected a reference resistance above zero, found {found} Ω; 50 Ω is usual")]
    BadReference {
        /// What was given.
        found: f64,
    },
}

/// Voltages and currents (into the ports) for unit excitations, each n × n: column j belongs to excitation j.
struct Ports {
    voltage: Vec<Complex64>,
    current: Vec<Complex64>,
}

impl Touchstone {
    /// S parameters of each frequency, row by row, with the real resistance `reference_ohm` at all ports.
    ///
    /// From the definition of travelling waves, a = (V + R·I)/(2√R) and b = (V − R·I)/(2√R), S = b·a⁻¹.
    ///
    /// # Errors
    /// A reference that is not above zero, or a network without S parameters there (none that is passive).
    pub fn s_parameters(&self, reference_ohm: f64) -> Result<Vec<Vec<Complex64>>, ConvertError> {
        if !(reference_ohm > 0.0 && reference_ohm.is_finite()) {
            return Err(ConvertError::BadReference { found: reference_ohm });
        }
        if self.parameter == Parameter::S
            && self.reference_ohm.iter().all(|r| r.total_cmp(&reference_ohm).is_eq())
        {
            return Ok(self.matrices.clone());
        }
        // The factor 1/(2√R) is the same in a and b and cancels.
        self.each("S", |ports| {
            let wave = |sign: f64| -> Vec<Complex64> {
                let pairs = ports.voltage.iter().zip(&ports.current);
                pairs.map(|(v, i)| v + i * (sign * reference_ohm)).collect()
            };
            divide(&wave(-1.0), &wave(1.0), self.ports)
        })
    }

    /// Impedance parameters of each frequency, Ω, row by row; of a one-port, its impedance.
    ///
    /// # Errors
    /// Where there are none: an open, or a series element between two ports.
    pub fn impedance_ohm(&self) -> Result<Vec<Vec<Complex64>>, ConvertError> {
        self.each("impedance", |ports| divide(&ports.voltage, &ports.current, self.ports))
    }

    /// Admittance parameters of each frequency, S, row by row; of a one-port, its admittance.
    ///
    /// # Errors
    /// Where there are none: a short, or a shunt element across two ports.
    pub fn admittance_s(&self) -> Result<Vec<Vec<Complex64>>, ConvertError> {
        self.each("admittance", |ports| divide(&ports.current, &ports.voltage, self.ports))
    }

    /// Chain parameters A, B (Ω), C (S), D of each frequency: V1 = A·V2 + B·I2', I1 = C·V2 + D·I2', with I2' flowing out
    /// of port 2.
    ///
    /// # Errors
    /// Other than two ports, or nothing passes from port 1 to port 2.
    pub fn chain(&self) -> Result<Vec<[Complex64; 4]>, ConvertError> {
        if self.ports != 2 {
            return Err(ConvertError::NotATwoPort { ports: self.ports });
        }
        let chains = self.each("chain", |ports| {
            let (v, i) = (&ports.voltage, &ports.current);
            divide(&[v[0], v[1], i[0], i[1]], &[v[2], v[3], -i[2], -i[3]], 2)
        })?;
        Ok(chains.into_iter().map(|m| [m[0], m[1], m[2], m[3]]).collect())
    }

    fn each(
        &self,
        wanted: &'static str,
        convert: impl Fn(&Ports) -> Option<Vec<Complex64>>,
    ) -> Result<Vec<Vec<Complex64>>, ConvertError> {
        let pairs = self.frequency_hz.iter().zip(&self.matrices);
        pairs
            .map(|(&frequency_hz, matrix)| {
                convert(&self.at_ports(matrix)).ok_or(ConvertError::NotThere { wanted, frequency_hz })
            })
            .collect()
    }

    /// The matrix is applied to unit excitations: waves for S, at each port a current or a voltage for the others.
    fn at_ports(&self, matrix: &[Complex64]) -> Ports {
        let n = self.ports;
        let unit = |k: usize| Complex64::new(if k / n == k % n { 1.0 } else { 0.0 }, 0.0);
        let (mut voltage, mut current) = (Vec::with_capacity(n * n), Vec::with_capacity(n * n));
        for (k, &response) in matrix.iter().enumerate() {
            let port = k / n;
            let by_current = match self.parameter {
                Parameter::S => {
                    // V = √R·(a + b), I = (a − b)/√R.
                    let root = self.reference_ohm[port].sqrt();
                    voltage.push((unit(k) + response) * root);
                    current.push((unit(k) - response) / root);
                    continue;
                }
                Parameter::Z => true,
                Parameter::Y => false,
                Parameter::H => port == 0,
                Parameter::G => port == 1,
            };
            let (v, i) = if by_current { (response, unit(k)) } else { (unit(k), response) };
            voltage.push(v);
            current.push(i);
        }
        Ports { voltage, current }
    }
}
