//! What one evaluation of a chain costs, alone and in bulk: `cargo bench -p flattop-core --bench chain`.
//!
//! Prints medians in nanoseconds for each frequency.
#![allow(clippy::print_stdout, clippy::disallowed_methods, reason = "a bench looks at the clock and prints")]
#![allow(missing_docs)]

use flattop_core::chain::answers::{
    bandwidth_hz, carried_band, flatness, noise_bandwidth, response, ringing,
};
use flattop_core::chain::*;
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::hint::black_box;
use std::time::Instant;

/// As many as a transient takes.
const FREQUENCIES: usize = 2000;

fn main() {
    let grid: Vec<f64> =
        (0..FREQUENCIES).map(|k| 1e2 * 1e7_f64.powf(k as f64 / FREQUENCIES as f64)).collect();
    let s: Vec<Complex64> = grid.iter().map(|f| Complex64::new(1e3, TAU * f)).collect();
    let plain = probe();
    let mut skin = probe();
    skin.cable.skin_corner_hz = Some(30e6);
    skin.input.limit = Some(Response { shape: ResponseShape::MaximallyFlat(10), bandwidth_hz: 20e6 });
    let mut table = probe();
    table.measured.push((Place::BeforeBox, measured(&probe().cable)));
    for (name, chain) in [
        ("as usual", &plain),
        ("skin effect, two responses", &skin),
        ("a measured two-port of 1000 points", &table),
    ] {
        println!("{name}:");
        show("H(s), one by one", &mut || {
            black_box(black_box(&s).iter().map(|s| chain.at(*s)).sum::<Complex64>());
        });
        show("response (gain, phase, delay, impedance, loading)", &mut || {
            black_box(response(chain, black_box(&grid)));
        });
        show("Spectra::of", &mut || {
            black_box(Spectra::of(chain, black_box(&s)));
        });
        let spectra = Spectra::of(chain, &s);
        let mut out = Vec::new();
        show("  and then the whole chain", &mut || {
            black_box(&spectra).transfer_into(Against::Source, Causes::NONE, &mut out);
        });
        for cause in Cause::ALL {
            show(&format!("  without {cause:?}"), &mut || {
                black_box(&spectra).transfer_into(Against::Source, cause, &mut out);
            });
        }
        show("  all six, with Spectra::of", &mut || {
            let spectra = Spectra::of(chain, black_box(&s));
            spectra.transfer_into(Against::Source, Causes::NONE, &mut out);
            for cause in Cause::ALL {
                spectra.transfer_into(Against::Source, cause, &mut out);
            }
        });
    }
    println!("answers, ms for each:");
    let against = Against::UnloadedNode;
    let ms = |name: &str, work: &mut dyn FnMut()| println!("  {name:<50} {:>9.3}", 1e3 * median(11, work));
    ms("bandwidth", &mut || _ = black_box(bandwidth_hz(black_box(&plain), against, 1e10)));
    ms("flatness", &mut || _ = black_box(flatness(black_box(&plain), against, 1e8)));
    ms("noise bandwidth", &mut || _ = black_box(noise_bandwidth(black_box(&plain), against, 1e11)));
    ms("carried band", &mut || _ = black_box(carried_band(black_box(&plain), 0.02, 1e10)));
    ms("ringing", &mut || _ = black_box(ringing(black_box(&plain))));
}

fn show(name: &str, work: &mut dyn FnMut()) {
    println!("  {name:<50} {:>7.1} ns", 1e9 * median(51, work) / FREQUENCIES as f64);
}

fn median(rounds: usize, work: &mut dyn FnMut()) -> f64 {
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

fn probe() -> Chain {
    Chain {
        node: Node { resistance_ohm: 50.0, capacitance_f: 5e-12 },
        contact: Contact { inductance_h: 120e-9, resistance_ohm: 0.0 },
        tip: Tip {
            body_capacitance_f: 1.5e-12,
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

fn measured(cable: &Cable) -> Measured {
    let grid: Vec<f64> = (0..1000).map(|k| 1e6 * f64::from(k)).collect();
    let rows: Vec<Parameters> =
        grid.iter().map(|f| cable.two_port(Complex64::new(0.0, TAU * f)).scattering(50.0)).collect();
    Measured::two_port(&grid, &rows, TwoPortKind::Scattering { reference_ohm: 50.0 })
        .expect("a table in order")
}
