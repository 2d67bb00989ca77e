//! Probes on inputs, each with its trimmer, all on one square-wave source: the part of practice that is physics.

use flattop_core::divider::{Capacitances, Divider, Shelf};
use flattop_core::uncertainty::Stream;

use crate::disturbance::Disturbances;
use crate::trimmer::{TRAVEL_DEG, Trimmer, TurnError};
use crate::wave::Wave;

/// Most inputs.
pub const MOST_INPUTS: usize = 4;
/// The divider of every practice probe: 10:1 on 1 MΩ.
pub const DIVIDER: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };
/// Capacitance of the trimmer across the tip resistor, at its stops, F.
const TRIMMER_F: (f64, f64) = (8e-12, 14e-12);
/// Cable and box of a practice probe, F; and the input's own: the first, and what each further one has more.
const CABLE_F: f64 = 80e-12;
const INPUT_F: (f64, f64) = (15e-12, 3e-12);
/// How much cables differ from probe to probe, as a share.
const CABLE_SPREAD: f64 = 0.04;
/// How far off a probe stands at the start: least and most |e|.
const START: (f64, f64) = (0.03, 0.12);
/// Levels of the source, V.
const LEVELS_V: (f64, f64) = (0.0, 3.0);
/// Frequency of the source, Hz.
pub const FREQUENCY_HZ: f64 = 1e3;
/// Mains, Hz.
const HUM_HZ: f64 = 50.0;
/// Full scale of the converter, in steps of the wave, about its mean.
const SPAN_STEPS: f64 = 2.0;
/// Where the triggering edge stands in a record, as a share of it.
const BEFORE_TRIGGER: f64 = 0.1;

/// A probe on its input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Input {
    trimmer: Trimmer,
    shunt_f: f64,
}

impl Input {
    /// The trimmer.
    pub fn trimmer(&self) -> &Trimmer {
        &self.trimmer
    }

    /// What the divider does as it stands, from the core's own formulas.
    pub fn shelf(&self) -> Shelf {
        DIVIDER.shelf(Capacitances { tip_f: self.trimmer.capacitance_f(), shunt_f: self.shunt_f })
    }

    /// Capacitance that would compensate it, F.
    pub fn matched_f(&self) -> f64 {
        DIVIDER.compensating_tip_capacitance_f(self.shunt_f)
    }

    /// Angle of the rotor at which it would be compensated, degrees; `None` where it is out of reach.
    pub fn matched_angle_deg(&self) -> Option<f64> {
        self.trimmer.angle_of(self.matched_f())
    }
}

/// What a record is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timing {
    /// Number of samples.
    pub points: usize,
    /// Time between them, s.
    pub interval_s: f64,
}

/// A record as the converter gave it: volts at the tip are `origin_v + step_v · code`.
#[derive(Clone, Debug, PartialEq)]
pub struct Capture {
    /// Codes; whole numbers where the converter has steps.
    pub codes: Vec<f64>,
    /// Volts of one code.
    pub step_v: f64,
    /// Volts of code 0.
    pub origin_v: f64,
    /// Time between samples, s.
    pub interval_s: f64,
}

impl Capture {
    /// Volts at the tip.
    pub fn volts(&self) -> Vec<f64> {
        self.codes.iter().map(|code| self.origin_v + self.step_v * code).collect()
    }
}

/// The practice bench.
#[derive(Clone, Debug)]
pub struct Bench {
    inputs: Vec<Input>,
    disturbances: Disturbances,
    frequency_hz: f64,
    seed: u64,
    captures: u64,
}

impl Bench {
    /// A bench with so many inputs, 1 to [`MOST_INPUTS`]; the seed says how far off each probe stands, and gives all noise.
    pub fn new(inputs: usize, disturbances: Disturbances, seed: u64) -> Self {
        let mut draw = Stream::new(seed, 0, 0);
        let inputs = (0..inputs.clamp(1, MOST_INPUTS))
            .map(|k| {
                let cable = CABLE_F * (1.0 + CABLE_SPREAD * (2.0 * draw.uniform() - 1.0));
                let shunt_f = cable + INPUT_F.0 + INPUT_F.1 * k as f64;
                let size = START.0 + (START.1 - START.0) * draw.uniform();
                let error = if draw.uniform() < 0.5 { -size } else { size };
                standing_at(error, shunt_f)
            })
            .collect();
        Self { inputs, disturbances, frequency_hz: FREQUENCY_HZ, seed, captures: 0 }
    }

    /// The inputs, the first one at 0.
    pub fn inputs(&self) -> &[Input] {
        &self.inputs
    }

    /// What disturbs the signal.
    pub fn disturbances(&self) -> &Disturbances {
        &self.disturbances
    }

    /// Changes what disturbs the signal.
    pub fn disturb(&mut self, disturbances: Disturbances) {
        self.disturbances = disturbances;
    }

    /// Frequency of the source, Hz.
    pub fn frequency_hz(&self) -> f64 {
        self.frequency_hz
    }

    /// Turns the trimmer of an input; `None` where there is no such input.
    ///
    /// # Errors
    /// No hand turns so far; nothing was turned.
    pub fn turn(&mut self, input: usize, by_deg: f64) -> Option<Result<(), TurnError>> {
        self.inputs.get_mut(input).map(|one| one.trimmer.turn(by_deg))
    }

    /// Puts the trimmer of an input where its error is `error`, as near as its stops let it; the hand starts anew.
    pub fn start_at(&mut self, input: usize, error: f64) {
        if let Some(one) = self.inputs.get_mut(input) {
            *one = standing_at(error, one.shunt_f);
        }
    }

    /// The next capture of an input, as it stands now; nothing where there is no such input.
    pub fn capture(&mut self, input: usize, timing: Timing) -> Option<Capture> {
        let one = *self.inputs.get(input)?;
        self.captures += 1;
        let all = self.disturbances;
        let mut draw = Stream::new(self.seed, self.captures, 1 + input as u64);
        let wave = Wave::new(self.frequency_hz, LEVELS_V, one.shelf(), &all);
        // The sampling clock knows nothing of the source's.
        let start_s =
            -BEFORE_TRIGGER * timing.points as f64 * timing.interval_s - draw.uniform() * timing.interval_s;
        let phase = std::f64::consts::TAU * draw.uniform();
        let mut volts = wave.samples(start_s, timing.interval_s, timing.points);
        if all.hum_v > 0.0 {
            let omega = std::f64::consts::TAU * HUM_HZ * timing.interval_s;
            for (k, v) in volts.iter_mut().enumerate() {
                *v += all.hum_v * (omega * k as f64 + phase).sin();
            }
        }
        if all.noise_v > 0.0 {
            add_noise(&mut volts, all.noise_v, &mut draw);
        }
        let origin_v = 0.5 * (LEVELS_V.0 + LEVELS_V.1);
        // Without steps, as fine as the widest converter, and not rounded.
        let bits = if all.bits == 0 { 16 } else { all.bits };
        let most = f64::from(1u32 << (bits - 1));
        let step_v = 0.5 * SPAN_STEPS * wave.step_v() / most;
        for v in &mut volts {
            let code = ((*v - origin_v) / step_v).clamp(-most, most - 1.0);
            *v = if all.bits == 0 { code } else { code.round() };
        }
        Some(Capture { codes: volts, step_v, origin_v, interval_s: timing.interval_s })
    }
}

fn standing_at(error: f64, shunt_f: f64) -> Input {
    // e from C1/(C1+C2): the share that the error asks for.
    let share = (1.0 + error) * DIVIDER.dc_gain();
    let tip_f = shunt_f * share / (1.0 - share);
    let angle = TRAVEL_DEG * (tip_f - TRIMMER_F.0) / (TRIMMER_F.1 - TRIMMER_F.0);
    Input { trimmer: Trimmer::new(TRIMMER_F, angle), shunt_f }
}

/// Adds normal noise; pairs after G. E. P. Box and M. E. Muller, *Ann. Math. Stat.* 29 (1958), 610.
fn add_noise(volts: &mut [f64], deviation: f64, draw: &mut Stream) {
    for pair in volts.chunks_mut(2) {
        let radius = deviation * (-2.0 * draw.uniform().ln()).sqrt();
        let (sin, cos) = (std::f64::consts::TAU * draw.uniform()).sin_cos();
        for (v, part) in pair.iter_mut().zip([cos, sin]) {
            *v += radius * part;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};
    use flattop_core::assessment::{Assessment, Verdict};
    use flattop_core::estimate::square::{Settings, assess};
    use flattop_core::samples::{Record, SampleView};
    use proptest::prelude::*;

    const TIMING: Timing = Timing { points: 10_000, interval_s: 1e-6 };

    fn assessed(capture: &Capture) -> Assessment {
        let volts = capture.volts();
        let record =
            Record { samples: SampleView::volts(&volts), start_s: 0.0, interval_s: capture.interval_s };
        let settings = Settings {
            divider: DIVIDER,
            resistor_uncertainty: 0.0,
            tolerance: 0.01,
            source_amplitude_v: None,
        };
        assess(record, &settings)
    }

    fn is_fairly_read(bench: &mut Bench, input: usize) {
        let shelf = bench.inputs()[input].shelf();
        let result = assessed(&bench.capture(input, TIMING).unwrap());
        let found = result.compensation.unwrap_or_else(|| panic!("{:?}", result.findings));
        let (e, u) = (found.error.value, found.error.standard_uncertainty);
        assert_close!(e, shelf.error, within(4.5 * u));
        assert!(u < 0.006, "{u}");
    }

    #[test]
    fn the_estimator_reads_back_what_the_trimmer_stands_at() {
        for seed in 1..6 {
            let mut bench = Bench::new(4, Disturbances::usual(), seed);
            for input in 0..4 {
                is_fairly_read(&mut bench, input);
            }
        }
    }

    #[test]
    fn each_disturbance_alone_leaves_a_fair_reading() {
        let none = Disturbances { noise_v: 2e-3, ..Disturbances::none() };
        for all in [
            Disturbances { hum_v: 0.05, ..none },
            Disturbances { ringing: 0.1, ..none },
            Disturbances { droop: 0.02, ..none },
            Disturbances { hook: 0.01, ..none },
            Disturbances { bits: 8, ..none },
        ] {
            for (seed, error) in [(1, -0.06), (2, 0.05)] {
                let mut bench = Bench::new(1, all, seed);
                bench.start_at(0, error);
                let shelf = bench.inputs()[0].shelf();
                let result = assessed(&bench.capture(0, TIMING).unwrap());
                let found = result.compensation.unwrap_or_else(|| panic!("{all:?} {:?}", result.findings));
                let (e, u) = (found.error.value, found.error.standard_uncertainty);
                assert_close!(e, shelf.error, within(4.5 * u));
                assert!(u < 0.01, "{all:?} {u}");
            }
        }
    }

    #[test]
    fn turned_to_the_matched_angle_it_is_within_tolerance() {
        let mut bench = Bench::new(1, Disturbances::usual(), 3);
        let target = bench.inputs()[0].matched_angle_deg().unwrap();
        for _ in 0..3 {
            let by = target - bench.inputs()[0].trimmer().angle_deg();
            bench.turn(0, by).unwrap().unwrap();
        }
        assert!(bench.inputs()[0].shelf().error.abs() < 1e-3);
        assert_eq!(assessed(&bench.capture(0, TIMING).unwrap()).verdict, Verdict::WithinTolerance);
    }

    #[test]
    fn starts_lie_off_and_within_reach() {
        for seed in 0..200 {
            for input in Bench::new(4, Disturbances::none(), seed).inputs() {
                let e = input.shelf().error.abs();
                assert!((0.029..=0.121).contains(&e), "seed {seed}: {e}");
                assert!(input.matched_angle_deg().is_some() && input.trimmer().stop().is_none());
            }
        }
    }

    #[test]
    fn an_error_out_of_reach_stands_at_a_stop() {
        let mut bench = Bench::new(1, Disturbances::none(), 1);
        bench.start_at(0, -0.06);
        assert_close!(bench.inputs()[0].shelf().error, -0.06, within(1e-12));
        bench.start_at(0, 0.9);
        assert_eq!(bench.inputs()[0].trimmer().stop(), Some(crate::trimmer::Stop::High));
        assert!(bench.turn(1, 5.0).is_none() && bench.capture(1, TIMING).is_none());
    }

    #[test]
    fn noise_has_the_deviation_asked_for() {
        let all = Disturbances { noise_v: 0.01, ..Disturbances::none() };
        let (mut noisy, mut clean) = (Bench::new(1, all, 5), Bench::new(1, Disturbances::none(), 5));
        let (a, b) = (noisy.capture(0, TIMING).unwrap().volts(), clean.capture(0, TIMING).unwrap().volts());
        let square: f64 = a.iter().zip(&b).map(|(a, b)| (a - b).powi(2)).sum::<f64>() / 1e4;
        // Standard deviation of a deviation of 10 000 samples: 0.7 %.
        assert_close!(square.sqrt(), 0.01, relative(0.03));
    }

    proptest! {
        #[test]
        fn prop_the_same_seed_and_turns_give_the_same_captures(seed: u64, turns in prop::collection::vec(-50.0f64..50.0, 0..4)) {
            let run = || {
                let mut bench = Bench::new(2, Disturbances::usual(), seed);
                turns.iter().map(|by| {
                    bench.turn(1, *by).unwrap().unwrap();
                    bench.capture(1, Timing { points: 64, interval_s: 1e-6 }).unwrap()
                }).collect::<Vec<_>>()
            };
            prop_assert_eq!(run(), run());
        }
    }
}
