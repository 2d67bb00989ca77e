//! How long a response over time takes: `cargo bench -p flattop-core --bench transient`.
//!
//! Per shape: choosing the grid once, then one variant of the chain (samples of H included) with 2,000 values. Medians.
#![allow(clippy::print_stdout, clippy::disallowed_methods, reason = "a bench looks at the clock and prints")]
#![allow(missing_docs)]

use flattop_core::chain::*;
use flattop_core::signal::{Outside, Shape, Signal};
use flattop_core::transient::{Grid, Motion, Workspace};
use num_complex::Complex64;
use std::cell::Cell;
use std::hint::black_box;
use std::time::Instant;

/// Ground lead and tip, R1 ∥ C1, a lossy cable, C2 ∥ R2, and a Bessel–Thomson response of four poles.
struct Probe {
    tip_f: f64,
    lead_h: f64,
    /// Corner of an AC coupling, rad/s; 0 for none.
    coupling: f64,
    calls: Cell<usize>,
}

impl Transfer for Probe {
    fn quotient(&self, s: Complex64) -> (Complex64, Complex64) {
        self.calls.set(self.calls.get() + 1);
        let (length, resistance, inductance, capacitance) = (1.2, 230.0, 0.42e-6, 60e-12);
        // From the input back to the node: voltage and current for 1 V at the input.
        let mut v = Complex64::ONE;
        let mut i = v * (1e-6 + s * 20e-12);
        v += 60.0 * i;
        i += v * s * 15e-12;
        let z = resistance + s * inductance;
        let y = s * capacitance;
        let square = z * y * (length * length);
        let (cosh, ratio) = if square.norm() < 1e-6 {
            (1.0 + 0.5 * square, 1.0 + square / 6.0)
        } else {
            let root = square.sqrt();
            let up = root.exp();
            let down = 1.0 / up;
            (0.5 * (up + down), 0.5 * (up - down) / root)
        };
        (v, i) = (v * cosh + i * z * length * ratio, i * cosh + v * y * length * ratio);
        // R1 ∥ C1: all times 1 + s·R1·C1, so that no pole stays in the denominator.
        let shelf = 1.0 + s * (9e6 * self.tip_f);
        v = v * shelf + i * 9e6;
        i *= shelf;
        i += v * s * 4e-12;
        v += i * (50.0 + s * self.lead_h);
        // Bessel polynomial of order 4 at 200 MHz: −3 dB at 2.113917674904 in its own units.
        let x = s * (2.113_917_674_904 / (std::f64::consts::TAU * 200e6));
        let bessel = 1.0 + x * (1.0 + x * (45.0 / 105.0 + x * (10.0 / 105.0 + x / 105.0)));
        let (mut numerator, mut denominator) = (10.0 * shelf, v * bessel);
        if self.coupling > 0.0 {
            numerator *= s / self.coupling;
            denominator *= 1.0 + s / self.coupling;
        }
        (numerator, denominator)
    }
}

fn main() {
    six_variants();
    let chain = |tip_f: f64| Probe { tip_f, lead_h: 60e-9, coupling: 62.8, calls: Cell::new(0) };
    let once = median(5, || {
        let chain = chain(14e-12);
        let mut sum = Complex64::ZERO;
        for k in 0..100_000 {
            sum += chain.at(Complex64::new(1e7, 1e5 * f64::from(k)));
        }
        black_box(sum);
    });
    println!("one H: {:.3} µs", 1e6 * once / 1e5);
    let trapezoid =
        |frequency_hz: f64| Shape::Trapezoid { frequency_hz, duty: 0.5, rise_s: 1e-9, fall_s: 1e-9 };
    let points = |count: usize, span: f64| Shape::Points {
        time_s: (0..count).map(|k| span * k as f64 / count as f64).collect(),
        value_v: (0..count).map(|k| (k as f64 * 20.0 / count as f64).sin() + 0.01 * (k % 7) as f64).collect(),
        outside: Outside::Holds,
    };
    let shapes: Vec<(&str, Shape, f64)> = vec![
        ("edge, ideal", Shape::Edge { rise_s: 0.0 }, 200e-9),
        ("edge 1 ns", Shape::Edge { rise_s: 1e-9 }, 200e-9),
        ("edge 1 ns, long", Shape::Edge { rise_s: 1e-9 }, 1e-3),
        ("edge 100 ns", Shape::Edge { rise_s: 100e-9 }, 1e-6),
        ("pulse 10 ns", Shape::Pulse { width_s: 10e-9, rise_s: 1e-9, fall_s: 1e-9 }, 200e-9),
        ("square 1 kHz", trapezoid(1e3), 2e-3),
        ("square 1 MHz", trapezoid(1e6), 2e-6),
        ("square 100 MHz", trapezoid(1e8), 20e-9),
        ("sine 10 MHz", Shape::Sine { frequency_hz: 1e7 }, 1e-6),
        ("exponential 2 ns", Shape::Exponential { time_constant_s: 2e-9, width_s: None }, 1e-6),
        ("exponential 10 µs", Shape::Exponential { time_constant_s: 1e-5, width_s: Some(5e-5) }, 1e-4),
        ("burst 10 MHz", Shape::Burst { frequency_hz: 1e7, cycles: 1000 }, 1e-6),
        ("1e3 points, 1 µs", points(1_000, 1e-6), 1e-6),
        ("1e5 points, 100 µs", points(100_000, 1e-4), 1e-4),
        ("1e6 points, 10 ms", points(1_000_000, 1e-2), 1e-2),
    ];
    for (name, shape, span) in shapes {
        let signal = Signal { shape, low_v: 0.0, high_v: 1.0 };
        let times: Vec<f64> = (0..2000).map(|k| span * (f64::from(k) / 1900.0 - 0.05)).collect();
        let mut workspace = Workspace::new();
        let base = chain(14e-12);
        let rounds = if name.starts_with("1e") { 3 } else { 21 };
        let choose = median(rounds, || {
            black_box(Grid::choose(&base, &signal, &mut workspace).is_ok());
        });
        base.calls.set(0);
        let Ok(grid) = Grid::choose(&base, &signal, &mut workspace) else { continue };
        let chosen = base.calls.get();
        let variant = chain(13.7e-12);
        let make = median(rounds, || {
            black_box(Motion::new(&variant, &signal, &grid, None, &mut workspace).is_ok());
        });
        variant.calls.set(0);
        let Ok(motion) = Motion::new(&variant, &signal, &grid, None, &mut workspace) else { continue };
        let calls = variant.calls.get();
        let look = median(rounds, || {
            black_box(motion.values(&times));
        });
        println!(
            "{name:<20} choose {:>7.3} ms ({chosen:>5} H), variant {:>8.3} ms ({calls:>4} H, {:>4} on the grid) + values {:>8.3} ms; {:?}",
            1e3 * choose,
            1e3 * make,
            grid.frequencies().len(),
            1e3 * look,
            motion.findings().iter().map(|f| f.code).collect::<Vec<_>>(),
        );
    }
}

/// Six variants of the project's own chain on one grid: everything a prediction asks of this engine.
fn six_variants() {
    let plain = probe();
    let mut skin = plain.clone();
    skin.cable.skin_corner_hz = Some(1e6);
    skin.input.coupling = Coupling::Ac { corner_hz: 10.0 };
    skin.input.response.shape = ResponseShape::Bessel4;
    for (name, chain) in [("as usual", &plain), ("skin effect, AC, Bessel", &skin)] {
        for (shape_name, shape) in [
            ("ideal edge", Shape::Edge { rise_s: 0.0 }),
            ("edge 1 ns", Shape::Edge { rise_s: 1e-9 }),
            ("square 1 kHz", Shape::Trapezoid { frequency_hz: 1e3, duty: 0.5, rise_s: 5e-9, fall_s: 5e-9 }),
            ("square 20 MHz", Shape::Trapezoid { frequency_hz: 2e7, duty: 0.5, rise_s: 1e-9, fall_s: 1e-9 }),
        ] {
            let signal = Signal { shape, low_v: 0.0, high_v: 1.0 };
            let times: Vec<f64> = (0..2000).map(|k| 200e-9 * (f64::from(k) / 1900.0 - 0.05)).collect();
            let mut variants = vec![chain.against(Against::UnloadedNode)];
            variants.extend(Cause::ALL.map(|cause| chain.against_without(Against::UnloadedNode, cause)));
            let list: Vec<&dyn Transfer> = variants.iter().map(|v| v as &dyn Transfer).collect();
            let mut told: Vec<Vec<&str>> = Vec::new();
            let mut samples = 0;
            let whole = median(11, || {
                let mut workspace = Workspace::new();
                told.clear();
                let Ok(grid) = Grid::choose_for_all(&list, &signal, &mut workspace) else { return };
                samples = grid.frequencies().len();
                for variant in &variants {
                    let Ok(motion) = Motion::new(variant, &signal, &grid, None, &mut workspace) else {
                        return;
                    };
                    black_box(motion.values(&times));
                    told.push(motion.findings().iter().map(|f| f.code).collect());
                }
            });
            println!("{name}, {shape_name}: {:.3} ms for six, {samples} samples; {told:?}", 1e3 * whole);
        }
    }
}

fn probe() -> Chain {
    Chain {
        node: Node { resistance_ohm: 50.0, capacitance_f: 3e-12 },
        contact: Contact { inductance_h: 100e-9, resistance_ohm: 0.0 },
        tip: Tip {
            body_capacitance_f: 3e-12,
            resistance_ohm: 9e6,
            capacitance_f: 11e-12,
            series_resistance_ohm: 50.0,
        },
        cable: Cable {
            length_m: 1.2,
            resistance_ohm_per_m: 160.0,
            inductance_h_per_m: 330e-9,
            capacitance_f_per_m: 60e-12,
            conductance_s_per_m: 0.0,
            skin_corner_hz: None,
        },
        compensation_box: CompensationBox { series_resistance_ohm: 40.0, capacitance_f: 10e-12 },
        input: Input {
            resistance_ohm: 1e6,
            capacitance_f: 20e-12,
            response: Response { shape: ResponseShape::Gaussian, bandwidth_hz: 200e6 },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: vec![],
        ratio: 10.0,
    }
}

fn median(rounds: usize, mut work: impl FnMut()) -> f64 {
    let mut times: Vec<f64> = (0..rounds)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_unstable_by(f64::total_cmp);
    times[rounds / 2]
}
