//! What the estimator must hold with, one kind at a time: e within four stated uncertainties, the uncertainty small enough to
//! be of use, and no wrong verdict.

use crate::wave::{Demand, Droop, HUNDREDFOLD, Shape, Wave, hold};

/// From far under to far over, both sides of the tolerance of 1 %.
pub(crate) const ERRORS: [f64; 13] =
    [-0.6, -0.35, -0.12, -0.05, -0.02, -0.005, 0.0, 0.004, 0.015, 0.04, 0.12, 0.5, 1.15];
const FEW: [f64; 5] = [-0.35, -0.08, 0.003, 0.06, 0.5];

fn demanded(wave: Wave) -> (Wave, Demand) {
    let demand = Demand::of(&wave);
    (wave, demand)
}

/// Each error with its own seed and place of the first edge.
fn spread(errors: &[f64], change: impl Fn(&mut Wave)) -> Vec<(Wave, Demand)> {
    errors
        .iter()
        .enumerate()
        .map(|(i, &e)| {
            let mut wave = Wave::plain(e);
            wave.seed = 100 + i as u64;
            change(&mut wave);
            // Anywhere in a period.
            wave.rise_s += 0.137 * i as f64 / wave.frequency_hz;
            wave.rise_s = wave.rise_s.rem_euclid(1.0 / wave.frequency_hz);
            demanded(wave)
        })
        .collect()
}

#[test]
fn any_error() {
    hold(spread(&ERRORS, |_| {}));
}

#[test]
fn any_error_without_noise() {
    hold(spread(&ERRORS, |w| w.noise_v = 0.0).into_iter().map(|(wave, d)| {
        // Two levels and nothing between them may as well come from a coarse digitiser: 8 bits are assumed then.
        (wave, Demand { uncertainty: 3e-3, ..d })
    }));
}

#[test]
fn noise_of_three_per_cent() {
    hold(spread(&ERRORS, |w| w.noise_v = 0.09));
}

#[test]
fn eight_bits_with_noise() {
    for share in [0.4, 0.9] {
        hold(spread(&ERRORS, |w| {
            *w = w.clone().eight_bits(share);
            w.noise_v = 0.5 * w.quantum_v;
        }));
    }
}

#[test]
fn eight_bits_without_noise() {
    for share in [0.4, 0.9] {
        hold(
            spread(&ERRORS, |w| {
                w.noise_v = 0.0;
                *w = w.clone().eight_bits(share);
            })
            .into_iter()
            .map(|(wave, demand)| {
                // The quantiser's error is no noise: it does not average out. A few codes of tail, or of droop that looks
                // like tail, are what cannot be known.
                let code = wave.quantum_v / wave.step_v;
                (wave, Demand { uncertainty: demand.uncertainty.max(2.7 * code), ..demand })
            }),
        );
    }
}

#[test]
fn a_single_edge_with_400_us_of_tail() {
    hold(
        [true, false]
            .iter()
            .flat_map(|&rising| {
                spread(&ERRORS, move |w| {
                    (w.points, w.interval_s) = (2300, 0.2e-6);
                    w.step_v = if rising { 3.0 } else { -3.0 };
                    w.noise_v = 3e-3;
                })
            })
            .map(|(mut wave, _)| {
                wave.rise_s = 60.03e-6;
                demanded(wave)
            }),
    );
}

#[test]
fn a_record_of_40_ms_at_10_us() {
    hold(
        spread(&ERRORS, |w| {
            (w.points, w.interval_s) = (4000, 10e-6);
            (w.shape, w.frequency_hz) = (Shape::Linear(20e-9), 1003.7);
            w.noise_v = 0.015;
        })
        .into_iter()
        .map(|(wave, d)| {
            // Edges that fall anywhere between samples 0.09 τ apart.
            let u = d.uncertainty + 0.01 * wave.error.abs();
            (wave, Demand { uncertainty: u, ..d })
        }),
    );
}

#[test]
fn duty_from_20_to_80_per_cent() {
    for duty in [0.2, 0.3, 0.4, 0.6, 0.7, 0.8] {
        hold(
            spread(&FEW, |w| w.duty = duty)
                .into_iter()
                .map(|(wave, d)| (wave, Demand { uncertainty: 2.0 * d.uncertainty, ..d })),
        );
    }
}

#[test]
fn inverted_levels_and_offset() {
    for (low_v, step_v) in [(0.0, -3.0), (3.0, -3.0), (-1.5, 3.0), (12.0, 3.0), (-200.0, -3.0)] {
        hold(spread(&FEW, |w| (w.low_v, w.step_v) = (low_v, step_v)));
    }
}

#[test]
fn ringing_of_35_per_cent() {
    // Coarse: the ringing is over before the next sample, or almost. Fine: it is followed swing by swing.
    for natural_hz in [5e6, 12e6, 50e6] {
        hold(spread(&FEW, |w| {
            w.ringing = Some((0.35, natural_hz));
            w.shape = Shape::Linear(5e-9);
        }));
        hold(spread(&[-0.35, 0.003, 0.06], |w| {
            w.ringing = Some((0.35, natural_hz));
            w.shape = Shape::Linear(5e-9);
            (w.points, w.interval_s) = (120_000, 10e-9);
        }));
    }
}

#[test]
fn source_edges_up_to_5_us() {
    for shape in [
        Shape::Linear(2e-6),
        Shape::Linear(5e-6),
        Shape::Smooth(5e-6),
        Shape::Smooth(8e-6),
        Shape::Exponential(0.5e-6),
        // 10–90 % in 2.2 time constants: 5 µs.
        Shape::Exponential(2.27e-6),
    ] {
        hold(spread(&FEW, |w| w.shape = shape));
    }
}

#[test]
fn mains_hum_over_one_cycle_and_six() {
    for mains in [50.0, 60.0] {
        for (cycles, points, interval_s) in [(1.0, 20_000, 1e-6), (6.0, 60_000, 2e-6)] {
            hold(spread(&FEW, |w| {
                w.hum = (0.025 * 3.0, mains * 1.0012, 0.7 + cycles);
                (w.points, w.interval_s) = (points, interval_s);
                w.shape = Shape::Linear(2.4 * interval_s);
            }));
        }
    }
}

#[test]
fn droop_of_3_per_cent() {
    // An AC coupling that loses 3 % in half a period of 0.5 ms has its corner at 0.03/(2π·0.5 ms).
    for droop in [Droop::Coupled(0.03 / (std::f64::consts::TAU * 0.5e-3)), Droop::Straight(0.03)] {
        hold(spread(&ERRORS, |w| w.droop = droop).into_iter().map(|(wave, d)| {
            // A slow tail beside the divider's: two exponentials are far harder to tell apart than one from a level.
            (wave, Demand { uncertainty: 0.02, ..d })
        }));
    }
}

/// A droop of 2 % under noise of 3 % and hum, in 60,000 samples.
#[test]
fn droop_hidden_by_noise_in_a_long_record() {
    let mut wave = Wave::plain(-0.1266);
    (wave.tau_s, wave.frequency_hz, wave.rise_s) = (1.5333e-4, 958.48, 3.57e-4);
    (wave.shape, wave.droop) = (Shape::Linear(4.8e-6), Droop::Straight(0.02066));
    (wave.hum, wave.noise_v) = ((0.075, 49.917, 2.518), 0.09);
    (wave.points, wave.interval_s, wave.seed) = (60_000, 2e-6, 174);
    let demand = Demand { floor: 1e-4, uncertainty: 0.02, may_refuse: false };
    hold([(wave, demand)]);
}

#[test]
fn drift_of_5_per_cent() {
    for drift_v in [-0.15, 0.15] {
        for points in [5000, 16_000] {
            hold(spread(&FEW, |w| (w.drift_v, w.points) = (drift_v, points)));
        }
    }
}

#[test]
fn dielectric_tail_of_six_per_mille() {
    let errors: Vec<f64> = ERRORS.into_iter().filter(|e| e.abs() > 0.0).collect();
    hold(spread(&errors, |w| w.hook = Some((0.006, 1e-3))).into_iter().map(|(wave, _)| {
        // At 1 kHz the hook can only partly be told from the tail.
        (wave, Demand { floor: 0.004, uncertainty: 0.02, may_refuse: false })
    }));
}

#[test]
fn a_hundredfold_probe() {
    hold(spread(&ERRORS, |w| {
        w.divider = HUNDREDFOLD;
        (w.low_v, w.step_v, w.noise_v) = (-20.0, 40.0, 0.2);
        w.tau_s = 1.19e-4;
    }));
}

#[test]
fn time_constants_from_40_to_250_us() {
    for tau_s in [40e-6, 70e-6, 160e-6, 250e-6] {
        let frequency_hz = if tau_s > 1.2e-4 { 500.0 } else { 1e3 };
        hold(spread(&FEW, |w| (w.tau_s, w.frequency_hz) = (tau_s, frequency_hz)).into_iter().map(
            |(wave, d)| {
                // A small tail of more than twice the expected time constant may be a dielectric one.
                let u = if tau_s > 2e-4 { 3.0 * d.uncertainty } else { d.uncertainty };
                (wave, Demand { uncertainty: u, ..d })
            },
        ));
    }
}

#[test]
fn records_of_100_to_2_million_samples() {
    for (points, periods) in
        [(100, 1.2), (100, 2.5), (150, 2.5), (300, 2.5), (1000, 3.0), (30_000, 12.0), (100_000, 2.5)]
    {
        hold(
            spread(&FEW, |w| {
                w.points = points;
                w.interval_s = periods / w.frequency_hz / points as f64;
                w.shape = Shape::Linear(0.2e-6);
            })
            .into_iter()
            .map(|(wave, d)| {
                // The place of the edges between samples matters when these are far apart; and an edge near either end of
                // so short a record is one of two or three.
                let u = 0.5 * (wave.error * wave.interval_s / wave.tau_s).abs();
                (wave, Demand { uncertainty: 1.5 * d.uncertainty + u, ..d })
            }),
        );
    }
}

#[test]
fn two_million_samples() {
    for (periods, e) in [(2.5, -0.08), (250.0, 0.06)] {
        hold(spread(&[e], |w| {
            w.points = 2_000_000;
            w.interval_s = periods / w.frequency_hz / 2e6;
        }));
    }
}
