//! The amplitude of a sine for many trials at once: the exact cascade in real arithmetic, a few dozen trials side by side.
//!
//! The cable's entries A, B, C and the form of the response are the same for all trials at one frequency, so that the walk from the screen to
//! the source ([`crate::chain`]) needs a handful of multiplications for each trial, without branches: the compiler makes vector
//! instructions of it. Chains whose cable or measured elements are in doubt take another way.

use std::f64::consts::TAU;

use multiversion::multiversion;
use num_complex::Complex64;

use super::model::Facts;
use super::{Reading, Role, Which};
use crate::chain::{Chain, Coupling, Response, ResponseShape, Transfer};
use crate::numeric::exp2;
use crate::prediction::Parameter;
use crate::uncertainty::Model;

/// Trials side by side.
const LANES: usize = 64;

type Lanes = [f64; LANES];

/// The numbers that may differ from trial to trial.
const PARAMETERS: [Parameter; 13] = [
    Parameter::NodeResistance,
    Parameter::NodeCapacitance,
    Parameter::ContactInductance,
    Parameter::ContactResistance,
    Parameter::BodyCapacitance,
    Parameter::TipResistance,
    Parameter::TipCapacitance,
    Parameter::SeriesResistance,
    Parameter::BoxResistance,
    Parameter::BoxCapacitance,
    Parameter::InputResistance,
    Parameter::InputCapacitance,
    Parameter::InputBandwidth,
];
const BANDWIDTH: usize = 12;

/// One frequency.
struct At {
    omega: f64,
    frequency_hz: f64,
    /// Entries A = D, B, C of the cable.
    a: Complex64,
    b: Complex64,
    c: Complex64,
    /// N times what does not change between connector and screen.
    constant: f64,
    facts: Facts,
}

/// The model of the amplitude at some frequencies.
pub(super) struct Kernel {
    frequencies: Vec<At>,
    base: [f64; PARAMETERS.len()],
    /// Which input moves which number by how much per unit.
    steps: Vec<(usize, usize, f64)>,
    means: Vec<f64>,
    roles: Vec<Role>,
    /// The form of the response, where its bandwidth is in doubt.
    response: Option<Response>,
}

impl Kernel {
    /// `None` where a number is in doubt that needs another way.
    pub(super) fn new(reading: &Reading<'_>, means: &[f64], facts: &[Facts]) -> Option<Self> {
        let chain = reading.chain;
        if !chain.measured.is_empty() {
            return None;
        }
        let mut steps = Vec::new();
        for (k, input) in reading.inputs.iter().enumerate() {
            for step in &input.steps {
                if step.of == Which::First {
                    let number = PARAMETERS.iter().position(|p| *p == step.parameter)?;
                    steps.push((k, number, step.per_unit));
                }
            }
        }
        let moves_bandwidth = steps.iter().any(|(_, number, _)| *number == BANDWIDTH);
        let response = Some(chain.input.response).filter(|r| moves_bandwidth && r.bandwidth_hz.is_finite());
        // What stays the same between connector and screen, seen through a chain that has nothing else.
        let mut screen = only_screen(chain);
        if response.is_some() {
            screen.input.response.bandwidth_hz = f64::INFINITY;
        }
        let at = |facts: &Facts| {
            let omega = TAU * facts.frequency_hz;
            let line = chain.cable.two_port(Complex64::new(0.0, omega));
            let constant = chain.ratio * screen.at_frequency(facts.frequency_hz).norm();
            let frequency_hz = facts.frequency_hz;
            At { omega, frequency_hz, a: line.a, b: line.b, c: line.c, constant, facts: *facts }
        };
        let frequencies: Vec<At> = facts.iter().map(at).collect();
        // A line that swallows everything has no entries.
        if frequencies.iter().any(|at| !(at.a + at.b + at.c).is_finite()) {
            return None;
        }
        Some(Self {
            frequencies,
            base: PARAMETERS.map(|p| p.of(chain)),
            steps,
            means: means.to_vec(),
            roles: reading.inputs.iter().map(|input| input.role).collect(),
            response,
        })
    }
}

/// Connector to screen alone: an input of 1 Ω without capacitance on a stiff node.
fn only_screen(chain: &Chain) -> Chain {
    let mut screen = chain.clone();
    for parameter in Parameter::ALL {
        if !matches!(parameter, Parameter::InputBandwidth | Parameter::AcCorner) {
            screen = parameter.with(&screen, 0.0);
        }
    }
    screen.input.resistance_ohm = 1.0;
    if let Coupling::Ac { corner_hz } = chain.input.coupling {
        screen.input.coupling = Coupling::Ac { corner_hz };
    }
    screen
}

impl At {
    /// (1/|H|)² of each trial, without what lies between connector and screen.
    #[inline(always)]
    fn inverse_square(&self, p: &[Lanes; PARAMETERS.len()], out: &mut Lanes) {
        let w = self.omega;
        let (a, b, c) = (self.a, self.b, self.c);
        let [rn, cn, l, rc, cb, r1, c1, rs, rb, cx, rin, cin, _] = p;
        for k in 0..LANES {
            // 1 V at the input; each step as in `chain::walk`.
            let (ir, ii) = (1.0 / rin[k], w * (cin[k] + cx[k]));
            let (vr, vi) = (1.0 + rb[k] * ir, rb[k] * ii);
            let (xr, xi) = (
                a.re * vr - a.im * vi + b.re * ir - b.im * ii,
                a.re * vi + a.im * vr + b.re * ii + b.im * ir,
            );
            let (yr, yi) = (
                c.re * vr - c.im * vi + a.re * ir - a.im * ii,
                c.re * vi + c.im * vr + a.re * ii + a.im * ir,
            );
            let m = w * r1[k] * c1[k];
            // (1 + jm)·(v + Rs·i) + R1·i, and (1 + jm)·i.
            let (tr, ti) = (xr + rs[k] * yr, xi + rs[k] * yi);
            let (vr, vi) = (tr - m * ti + r1[k] * yr, ti + m * tr + r1[k] * yi);
            let (ir, ii) = (yr - m * yi, yi + m * yr);
            let (ir, ii) = (ir - w * cb[k] * vi, ii + w * cb[k] * vr);
            let wl = w * l[k];
            let (vr, vi) = (vr + rc[k] * ir - wl * ii, vi + rc[k] * ii + wl * ir);
            let (ir, ii) = (ir - w * cn[k] * vi, ii + w * cn[k] * vr);
            let (sr, si) = (vr + rn[k] * ir, vi + rn[k] * ii);
            let node = w * rn[k] * cn[k];
            out[k] = (sr * sr + si * si) / ((1.0 + m * m) * (1.0 + node * node));
        }
    }
}

/// Multiplies `out` by a function of (frequency over bandwidth)².
#[inline(always)]
fn each(bandwidth: &Lanes, frequency_hz: f64, out: &mut Lanes, inverse_square: impl Fn(f64) -> f64) {
    for k in 0..LANES {
        let r = frequency_hz / bandwidth[k];
        out[k] *= inverse_square(r * r);
    }
}

/// (1/|S|)² of a form of response at each bandwidth, times `out`.
#[inline(always)]
fn times_response(response: Response, frequency_hz: f64, bandwidth: &Lanes, out: &mut Lanes) {
    match response.shape {
        ResponseShape::SinglePole => each(bandwidth, frequency_hz, out, |x| 1.0 + x),
        ResponseShape::Gaussian => each(bandwidth, frequency_hz, out, exp2),
        ResponseShape::MaximallyFlat(order) => {
            each(bandwidth, frequency_hz, out, |x| 1.0 + x.powi(i32::from(order)));
        }
        ResponseShape::Bessel4 => {
            // |θ4(jω)|²/105² with ω = 1 at the −3 dB frequency put to the corner of θ4; see `chain::shape`.
            let polynomial = |y: f64| ((((y + 10.0) * y + 135.0) * y + 1575.0) * y + 11_025.0) / 11_025.0;
            let mut corner = 4.5;
            for _ in 0..20 {
                let slope = (((4.0 * corner + 30.0) * corner + 270.0) * corner + 1575.0) / 11_025.0;
                corner -= (polynomial(corner) - 2.0) / slope;
            }
            each(bandwidth, frequency_hz, out, |x| polynomial(corner * x));
        }
    }
}

impl Model for Kernel {
    fn outputs(&self) -> usize {
        self.frequencies.len()
    }

    fn evaluate(&self, inputs: &[&[f64]], outputs: &mut [&mut [f64]]) {
        let trials = outputs.first().map_or(0, |o| o.len());
        for from in (0..trials).step_by(LANES) {
            let count = LANES.min(trials - from);
            let mut lanes: [Lanes; PARAMETERS.len()] = self.base.map(|value| [value; LANES]);
            for &(input, number, per_unit) in &self.steps {
                let mean = self.means[input];
                for (lane, x) in lanes[number].iter_mut().zip(&inputs[input][from..from + count]) {
                    *lane += per_unit * (x - mean);
                }
            }
            let (mut read, mut gain) = ([0.0; LANES], [1.0; LANES]);
            let (mut form, mut time_base) = ([0.0; LANES], [0.0; LANES]);
            for ((role, column), mean) in self.roles.iter().zip(inputs).zip(&self.means) {
                let (into, factor, less): (&mut Lanes, f64, f64) = match *role {
                    Role::Reading => (&mut read, 1.0, *mean),
                    Role::Noise => (&mut read, 1.0, 0.0),
                    Role::Gain => (&mut gain, 1.0, 0.0),
                    Role::Temperature { gain_per_kelvin } => (&mut gain, gain_per_kelvin, 0.0),
                    Role::Form(Which::First) => (&mut form, 1.0, 0.0),
                    Role::TimeBase => (&mut time_base, 1.0, 0.0),
                    Role::Chain | Role::Offset | Role::Time | Role::Form(Which::Second) => continue,
                };
                for (lane, x) in into.iter_mut().zip(&column[from..from + count]) {
                    *lane += factor * (x - less);
                }
            }
            let moved = Moved { lanes: &lanes, read: &read, gain: &gain, form: &form, time_base: &time_base };
            for (at, out) in self.frequencies.iter().zip(outputs.iter_mut()) {
                values(at, &moved, self.response, &mut out[from..from + count]);
            }
        }
    }
}

/// What the inputs of some trials amount to.
struct Moved<'a> {
    lanes: &'a [Lanes; PARAMETERS.len()],
    read: &'a Lanes,
    gain: &'a Lanes,
    form: &'a Lanes,
    time_base: &'a Lanes,
}

/// The results of some trials at one frequency; no more than [`LANES`] of them.
#[multiversion(targets("x86_64+avx2"))]
fn values(at: &At, moved: &Moved<'_>, response: Option<Response>, out: &mut [f64]) {
    let mut square = [0.0; LANES];
    at.inverse_square(moved.lanes, &mut square);
    if let Some(response) = response {
        times_response(response, at.frequency_hz, &moved.lanes[BANDWIDTH], &mut square);
    }
    let facts = &at.facts;
    let mut value = [0.0; LANES];
    for k in 0..LANES {
        let factor = moved.gain[k]
            * at.constant
            * (facts.forms[0].0 + facts.forms[0].1 * moved.form[k])
            * (1.0 + facts.slope * moved.time_base[k]);
        value[k] = (facts.shown + moved.read[k]) * square[k].sqrt() / factor;
    }
    out.copy_from_slice(&value[..out.len()]);
}
