mod laws;

use super::super::noise::Noise;
use super::*;
use crate::chain::{Cable, CompensationBox, Contact, Input, Node, Response, ResponseShape, Tip};
use crate::signal::{Shape, Signal};
use flattop_close::{assert_close, relative, within};

/// A 10× probe, a little overcompensated, with a ringing ground lead, on an input of 200 MHz.
fn chain() -> Chain {
    Chain {
        node: Node { resistance_ohm: 50.0, capacitance_f: 5e-12 },
        contact: Contact { inductance_h: 60e-9, resistance_ohm: 60.0 },
        tip: Tip {
            body_capacitance_f: 1e-12,
            resistance_ohm: 9e6,
            capacitance_f: 12.3e-12,
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
        compensation_box: CompensationBox { series_resistance_ohm: 100.0, capacitance_f: 16e-12 },
        input: Input {
            resistance_ohm: 1e6,
            capacitance_f: 20e-12,
            response: Response { shape: ResponseShape::Bessel4, bandwidth_hz: 2e8 },
            coupling: Coupling::Dc,
            limit: None,
        },
        measured: Vec::new(),
        ratio: 10.0,
    }
}

/// Sines through the chain by its response, corrected: what comes out is the sine at the reference through the Gaussian.
#[test]
fn sines_come_back_through_the_gaussian_alone() {
    let chain = chain();
    for reference in [Reference::Tip, Reference::UnloadedNode] {
        let (interval_s, bandwidth_hz) = (0.5e-9, 1.5e8);
        for frequency_hz in [1e6, 4e7, 1e8, 1.5e8] {
            let gain = chain.ratio * response(&chain, reference).at_frequency(frequency_hz);
            let phase = |k: usize| std::f64::consts::TAU * frequency_hz * k as f64 * interval_s;
            let shown: Vec<f64> =
                (0..60_000).map(|k| (gain * Complex64::from_polar(1.0, phase(k))).im).collect();
            let setting = ChainSetting {
                reference,
                bandwidth_hz,
                interval_s,
                noise: 0.0,
                span: 2.0,
                before: Before::Unknown,
            };
            let (x, u) = corrected(&chain, &[], setting, &shown);
            let delay_s = ChainCorrector::new(&chain, &[], setting).expect("a chain").summary().delay_s;
            // The start of a sine that was not there before is the recursion's start-up.
            let size = Aim::new(bandwidth_hz, interval_s).at(frequency_hz);
            for k in (20_000..50_000).step_by(37) {
                let lag = std::f64::consts::TAU * frequency_hz * delay_s;
                let off = (x[k] - size * (phase(k) - lag).sin()).abs();
                assert!(
                    off <= 2.0 * u[k] + 1e-6,
                    "{reference:?} {frequency_hz} Hz, sample {k}: off by {off}, u {}",
                    u[k]
                );
            }
        }
    }
}

fn corrected(chain: &Chain, shifted: &[Chain], setting: ChainSetting, shown: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let mut corrector = ChainCorrector::new(chain, shifted, setting).expect("a chain to undo");
    let (mut x, mut u) = (vec![0.0; shown.len()], vec![0.0; shown.len()]);
    corrector.next(SampleView::volts(shown), 0..shown.len(), &mut x, &mut u);
    (x, u)
}

/// An edge through the chain by the core's own transient answer: within 1 % of the Gaussian's edge.
#[test]
fn an_edge_comes_back_within_a_hundredth() {
    let chain = chain();
    let (interval_s, bandwidth_hz) = (0.25e-9, 1.5e8);
    let signal = Signal { shape: Shape::Edge { rise_s: 0.0 }, low_v: 0.0, high_v: 1.0 };
    let time_s: Vec<f64> = (0..6000).map(|k| -0.3e-6 + k as f64 * interval_s).collect();
    let mut stiff = chain.clone();
    stiff.node = Node { resistance_ohm: 0.0, capacitance_f: 0.0 };
    let question = crate::prediction::Question {
        chain: &stiff,
        signal: &signal,
        frequency_hz: &[],
        time_s: &time_s,
        accepted_error: 0.03,
        doubts: &[],
    };
    let shown = crate::prediction::predict(&question).expect("a prediction").waveform.shown_v;
    let setting = ChainSetting {
        reference: Reference::Tip,
        bandwidth_hz,
        interval_s,
        noise: 0.0,
        span: 1.0,
        before: Before::Rest,
    };
    let (x, _) = corrected(&chain, &[], setting, &shown);
    let delay_s = ChainCorrector::new(&chain, &[], setting).expect("a chain").summary().delay_s;
    // Step response of 2^(−(f/F)²/2): the normal distribution with σ = √(ln 2)/(2πF).
    let sigma = std::f64::consts::LN_2.sqrt() / (std::f64::consts::TAU * bandwidth_hz);
    for k in 200..5000 {
        let expected = crate::numeric::stats::normal_cdf((time_s[k] - delay_s) / sigma);
        assert_close!(x[k], expected, within(0.01), "{} s", time_s[k]);
    }
}

/// An edge behind 100 kΩ, sampled 30 000 times within the node's own time constant of 1.6 µs: divider and node leave a slow tail each, and both
/// are undone, with nothing cut off.
#[test]
fn slow_nodes_are_undone_at_any_sampling() {
    let mut chain = chain();
    chain.node = Node { resistance_ohm: 1e5, capacitance_f: 5e-12 };
    let (interval_s, bandwidth_hz) = (50e-12, 5e7);
    let signal = Signal { shape: Shape::Edge { rise_s: 0.0 }, low_v: 0.0, high_v: 1.0 };
    let time_s: Vec<f64> = (0..40_000).map(|k| -0.2e-6 + k as f64 * interval_s).collect();
    let question = crate::prediction::Question {
        chain: &chain,
        signal: &signal,
        frequency_hz: &[],
        time_s: &time_s,
        accepted_error: 0.03,
        doubts: &[],
    };
    let wave = crate::prediction::predict(&question).expect("a prediction").waveform;
    let setting = ChainSetting {
        reference: Reference::UnloadedNode,
        bandwidth_hz,
        interval_s,
        noise: 1e-3,
        span: 1.0,
        before: Before::Rest,
    };
    let mut corrector = ChainCorrector::new(&chain, &[], setting).expect("a chain to undo");
    let (mut x, mut u) = (vec![0.0; time_s.len()], vec![0.0; time_s.len()]);
    corrector.next(SampleView::volts(&wave.shown_v), 0..time_s.len(), &mut x, &mut u);
    let summary = corrector.summary();
    assert!(summary.bias_bound < 1e-4, "{}", summary.bias_bound);
    // 100 kΩ with 5 pF: what the node would show without the probe.
    let lag = (summary.delay_s / interval_s).round() as usize;
    let off = |k: usize| (x[k] - (1.0 - (-(time_s[k - lag].max(0.0)) / 0.5e-6).exp())).abs();
    let last = time_s.len() - summary.end_samples as usize;
    let worst = (2 * lag..last).map(off).fold(0.0, f64::max);
    assert!(worst < 0.01, "{worst}");
    let inside = summary.inside.expect("samples between the ends");
    assert_close!(inside.median_u, 1e-3 * summary.noise_gain, relative(1e-3));
    // Without knowing that it was at rest, all samples hold the tails of what may have been before.
    let unknown = ChainSetting { before: Before::Unknown, ..setting };
    let mut corrector = ChainCorrector::new(&chain, &[], unknown).expect("a chain to undo");
    corrector.next(SampleView::volts(&wave.shown_v), 0..time_s.len(), &mut x, &mut u);
    let summary = corrector.summary();
    assert_eq!(summary.slow_start_samples, time_s.len() as u64);
    assert!(summary.inside.expect("samples between the ends").median_u > 0.01);
    assert!(summary.greatest_u > summary.inside.expect("as above").greatest_u);
}

/// Where the inverse is still large at half the sampling rate, it ends softly: no kernel that never dies away.
#[test]
fn coarse_sampling_makes_no_endless_kernel() {
    let setting = ChainSetting {
        reference: Reference::Tip,
        bandwidth_hz: 1.29e8,
        interval_s: 1e-9,
        noise: 2e-3,
        span: 3.0,
        before: Before::Unknown,
    };
    let summary = ChainCorrector::new(&chain(), &[], setting).expect("a chain to undo").summary();
    assert!(summary.start_samples < 200 && summary.end_samples < 200, "{summary:?}");
    // Of a range of 3, less than a hundredth of the noise.
    assert!(summary.bias_bound < 2e-5, "{summary:?}");
}

#[test]
fn pieces_give_the_same_bits_and_noise_is_what_it_says() {
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    let mut random = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(3);
    let shown: Vec<f64> = (0..60_000).map(|_| StandardNormal.sample(&mut random)).collect();
    let setting = ChainSetting {
        reference: Reference::Tip,
        bandwidth_hz: 2e8,
        interval_s: 0.5e-9,
        noise: 1.0,
        span: 0.0,
        before: Before::Rest,
    };
    let chain = chain();
    let (x, u) = corrected(&chain, &[], setting, &shown);
    let mut corrector = ChainCorrector::new(&chain, &[], setting).expect("a chain to undo");
    for range in [0..1, 1..77, 77..30_000, 30_000..60_000] {
        let (mut px, mut pu): (Vec<f64>, Vec<f64>) = (vec![0.0; range.len()], vec![0.0; range.len()]);
        corrector.next(SampleView::volts(&shown), range.clone(), &mut px, &mut pu);
        assert!(px.iter().zip(&x[range]).all(|(a, b)| a.to_bits() == b.to_bits()));
    }
    let rms = (x.iter().map(|x| x * x).sum::<f64>() / x.len() as f64).sqrt();
    assert_close!(rms, u[30_000], relative(0.02));
}

#[test]
fn bandwidth_follows_the_noise_and_stops_at_the_limit() {
    let chain = chain();
    let interval_s = 0.25e-9;
    let signal = |k: usize| if (k / 2000).is_multiple_of(2) { 0.0 } else { 1.0 };
    let mut state = 1u64;
    let mut noise = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    };
    let mut chosen = Vec::new();
    for size in [1e-4, 1e-2, 0.3] {
        let samples: Vec<f64> = (0..40_000).map(|k| signal(k) + size * noise()).collect();
        let view = SampleView::volts(&samples);
        let found = Noise::of(view).expect("enough samples");
        let question = Question {
            chain: &chain,
            reference: Reference::Tip,
            samples: view,
            interval_s,
            noise: found.standard_deviation,
            wish: Wish::LeastError,
            greatest_gain: 1e9,
        };
        chosen.push(choose(&question).expect("a bandwidth").bandwidth_hz);
        let limited = Question { wish: Wish::Bandwidth(6e8), greatest_gain: 5.0, ..question };
        let limited = choose(&limited).expect("a bandwidth");
        assert_close!(limited.greatest_gain.0, 5.0, relative(0.01));
        assert!(limited.bandwidth_hz < 6e8 && limited.limited_from_hz.is_some());
    }
    assert!(chosen[0] >= chosen[1] && chosen[1] > chosen[2], "{chosen:?}");
}

#[test]
fn missing_samples_take_their_neighbours_along() {
    let mut shown = vec![1.0; 20_000];
    shown[9000] = f64::NAN;
    let setting = ChainSetting {
        reference: Reference::Tip,
        bandwidth_hz: 1e8,
        interval_s: 0.5e-9,
        noise: 1e-3,
        span: 1.0,
        before: Before::Unknown,
    };
    let (x, u) = corrected(&chain(), &[], setting, &shown);
    assert!(x[9000].is_nan() && x[8998].is_nan() && u[9002].is_nan());
    assert!(x[100].is_finite() && x[15_000].is_finite());
    assert!(u[0] > 3.0 * u[10_000], "{} {}", u[0], u[10_000]);
    // At rest before, the start is known; the end is not.
    let (_, u) = corrected(&chain(), &[], ChainSetting { before: Before::Rest, ..setting }, &shown);
    assert_close!(u[0], u[10_000], relative(1e-6));
    assert!(u[19_999] > 3.0 * u[10_000]);
}

/// Small doubts move the corrected sine as far as the stated uncertainty says, whatever the reach of their own kernels.
#[test]
fn doubts_about_the_chain_are_in_the_uncertainty() {
    let chain = chain();
    let shifted: Vec<Chain> = [0.999, 1.002]
        .iter()
        .map(|factor| {
            let mut shifted = chain.clone();
            shifted.contact.inductance_h *= factor;
            shifted
        })
        .collect();
    let setting = ChainSetting {
        reference: Reference::Tip,
        bandwidth_hz: 1.5e8,
        interval_s: 0.5e-9,
        noise: 0.0,
        span: 0.0,
        before: Before::Rest,
    };
    let shown: Vec<f64> = (0..30_000).map(|k| (k as f64 * 0.3).sin()).collect();
    let (x, u) = corrected(&chain, &shifted, setting, &shown);
    let others: Vec<Vec<f64>> =
        shifted.iter().map(|shifted| corrected(shifted, &[], setting, &shown).0).collect();
    for k in (10_000..20_000).step_by(101) {
        let sum: f64 = others.iter().map(|other| (other[k] - x[k]).powi(2)).sum();
        assert_close!(u[k], sum.sqrt(), within(3e-5));
    }
    assert!(u[10_000..20_000].iter().any(|u| *u > 5e-4));
}
