//! Two-ports by their chain matrix: V1 = A·V2 + B·I2, I1 = C·V2 + D·I2, with I2 flowing out of port 2.
//!
//! Conversions as tabled in e.g. Pozar, *Microwave Engineering*, chapter 4 (from memory), for one real reference resistance at both ports.

use num_complex::Complex64;

/// A square array of two-port parameters, \[row\]\[column\]: `p[1][0]` is the entry 21.
pub type Parameters = [[Complex64; 2]; 2];

/// Chain matrix of a two-port at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoPort {
    /// A, without unit.
    pub a: Complex64,
    /// B, Ω.
    pub b: Complex64,
    /// C, S.
    pub c: Complex64,
    /// D, without unit.
    pub d: Complex64,
}

const ZERO: Complex64 = Complex64::new(0.0, 0.0);
const ONE: Complex64 = Complex64::new(1.0, 0.0);

impl TwoPort {
    /// Straight through.
    pub const THROUGH: TwoPort = TwoPort { a: ONE, b: ZERO, c: ZERO, d: ONE };

    /// An impedance in series, Ω.
    pub fn series(impedance_ohm: Complex64) -> Self {
        TwoPort { b: impedance_ohm, ..Self::THROUGH }
    }

    /// An admittance to ground, S.
    pub fn shunt(admittance_s: Complex64) -> Self {
        TwoPort { c: admittance_s, ..Self::THROUGH }
    }

    /// This two-port followed by another one.
    pub fn then(&self, next: &TwoPort) -> TwoPort {
        TwoPort {
            a: self.a * next.a + self.b * next.c,
            b: self.a * next.b + self.b * next.d,
            c: self.c * next.a + self.d * next.c,
            d: self.c * next.b + self.d * next.d,
        }
    }

    /// AD − BC: 1 for whatever is reciprocal.
    pub fn determinant(&self) -> Complex64 {
        self.a * self.d - self.b * self.c
    }

    /// Impedance at port 1 with an admittance (S; 0 for open) at port 2, Ω.
    pub fn input_impedance_ohm(&self, load_admittance_s: Complex64) -> Complex64 {
        (self.a + self.b * load_admittance_s) / (self.c + self.d * load_admittance_s)
    }

    /// V2/V1 with an admittance (S; 0 for open) at port 2.
    pub fn voltage_transfer(&self, load_admittance_s: Complex64) -> Complex64 {
        (self.a + self.b * load_admittance_s).inv()
    }

    /// From scattering parameters with a reference resistance (Ω) at both ports; `None` where S21 is 0: nothing comes through.
    pub fn from_scattering(s: &Parameters, reference_ohm: f64) -> Option<Self> {
        let [[s11, s12], [s21, s22]] = *s;
        let half = (2.0 * s21).inv();
        let through = s12 * s21;
        let result = TwoPort {
            a: ((1.0 + s11) * (1.0 - s22) + through) * half,
            b: ((1.0 + s11) * (1.0 + s22) - through) * half * reference_ohm,
            c: ((1.0 - s11) * (1.0 - s22) - through) * half / reference_ohm,
            d: ((1.0 - s11) * (1.0 + s22) + through) * half,
        };
        result.finite()
    }

    /// Scattering parameters with a reference resistance (Ω) at both ports.
    ///
    /// S12 comes by way of AD − BC, whose digits are gone where less than −150 dB comes through.
    pub fn scattering(&self, reference_ohm: f64) -> Parameters {
        let (b, c) = (self.b / reference_ohm, self.c * reference_ohm);
        let sum = (self.a + b + c + self.d).inv();
        [
            [(self.a + b - c - self.d) * sum, 2.0 * self.determinant() * sum],
            [2.0 * sum, (self.d + b - c - self.a) * sum],
        ]
    }

    /// From impedance parameters, Ω; `None` where Z21 is 0: nothing comes through.
    pub fn from_impedances(z: &Parameters) -> Option<Self> {
        let [[z11, z12], [z21, z22]] = *z;
        let inverse = z21.inv();
        let result =
            TwoPort { a: z11 * inverse, b: (z11 * z22 - z12 * z21) * inverse, c: inverse, d: z22 * inverse };
        result.finite()
    }

    /// Impedance parameters, Ω; `None` where they do not exist (C = 0).
    pub fn impedances(&self) -> Option<Parameters> {
        let inverse = self.c.inv();
        let z = [[self.a * inverse, self.determinant() * inverse], [inverse, self.d * inverse]];
        inverse.is_finite().then_some(z)
    }

    /// From admittance parameters, S; `None` where Y21 is 0: nothing comes through.
    pub fn from_admittances(y: &Parameters) -> Option<Self> {
        let [[y11, y12], [y21, y22]] = *y;
        let inverse = -y21.inv();
        let result =
            TwoPort { a: y22 * inverse, b: inverse, c: (y11 * y22 - y12 * y21) * inverse, d: y11 * inverse };
        result.finite()
    }

    /// Admittance parameters, S; `None` where they do not exist (B = 0).
    pub fn admittances(&self) -> Option<Parameters> {
        let inverse = self.b.inv();
        let y = [[self.d * inverse, -self.determinant() * inverse], [-inverse, self.a * inverse]];
        inverse.is_finite().then_some(y)
    }

    fn finite(self) -> Option<Self> {
        let all = [self.a, self.b, self.c, self.d].iter().all(|entry| entry.is_finite());
        all.then_some(self)
    }
}
