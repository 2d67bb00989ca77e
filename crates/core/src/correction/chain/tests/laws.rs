//! Laws that hold for any record and any chain of a kind: there and back, linear, the same at any time and in any pieces, honest.

use super::super::*;
use super::{chain, corrected};
use flattop_close::{assert_close, within};
use proptest::prelude::*;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use std::f64::consts::TAU;

const INTERVAL_S: f64 = 0.5e-9;
const BANDWIDTH_HZ: f64 = 1.5e8;

fn quiet(reference: Reference) -> ChainSetting {
    ChainSetting {
        reference,
        bandwidth_hz: BANDWIDTH_HZ,
        interval_s: INTERVAL_S,
        noise: 0.0,
        span: 0.0,
        before: Before::Rest,
    }
}

fn reference() -> impl Strategy<Value = Reference> {
    prop_oneof![Just(Reference::Tip), Just(Reference::UnloadedNode)]
}

/// Chains with leads, nodes and trimmers of all kinds.
fn chains() -> impl Strategy<Value = Chain> {
    (10e-9..200e-9f64, 20.0..100.0f64, 0.0..200.0f64, 11e-12..14e-12f64, 1e8..5e8f64).prop_map(
        |(inductance_h, lead_ohm, node_ohm, tip_f, bandwidth_hz)| {
            let mut chain = chain();
            chain.contact.inductance_h = inductance_h;
            chain.contact.resistance_ohm = lead_ohm;
            chain.node.resistance_ohm = node_ohm;
            chain.tip.capacitance_f = tip_f;
            chain.input.response.bandwidth_hz = bandwidth_hz;
            chain
        },
    )
}

/// What a chain shows of sines (amplitude, frequency, phase), and the same at the reference, through the Gaussian, by the chain's delay later.
fn there(chain: &Chain, setting: &ChainSetting, sines: &[(f64, f64, f64)], n: usize) -> (Vec<f64>, Vec<f64>) {
    let delay_s = Inverse::of(chain, setting, None).expect("a chain to undo").delay_s;
    let gains: Vec<Complex64> = sines
        .iter()
        .map(|(_, hz, _)| chain.ratio * response(chain, setting.reference).at_frequency(*hz))
        .collect();
    let sum = |k: usize, size: &dyn Fn(usize) -> Complex64| {
        let turned = |i: usize, (amplitude, hz, phase): &(f64, f64, f64)| {
            (size(i) * Complex64::from_polar(*amplitude, TAU * hz * k as f64 * INTERVAL_S + phase)).im
        };
        sines.iter().enumerate().map(|(i, sine)| turned(i, sine)).sum::<f64>()
    };
    let aim = Aim::new(BANDWIDTH_HZ, INTERVAL_S);
    let late = |i: usize| Complex64::from_polar(aim.at(sines[i].1), -TAU * sines[i].1 * delay_s);
    (0..n).map(|k| (sum(k, &|i| gains[i]), sum(k, &late))).unzip()
}

/// Samples at rest at 0 that come before sines: the slow recursion starts from them.
const REST: usize = 600;

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// Content within the bandwidth comes back as it was, through the Gaussian and no more.
    #[test]
    fn prop_what_was_distorted_comes_back(
        chain in chains(),
        reference in reference(),
        sines in prop::collection::vec((0.1..1.0f64, 5e6..BANDWIDTH_HZ, 0.0..6.0f64), 1..4),
    ) {
        let setting = quiet(reference);
        let (sines, truth) = there(&chain, &setting, &sines, 12_000);
        let shown: Vec<f64> = std::iter::repeat_n(0.0, REST).chain(sines).collect();
        let (x, _) = corrected(&chain, &[], setting, &shown);
        // The sines begin at once: what that leaves in the slow recursion is e/(ωτp) of them at most.
        for k in 5000..7000 {
            assert_close!(x[REST + k], truth[k], within(1e-3), "sample {k}");
        }
    }

    #[test]
    fn prop_it_is_linear(
        reference in reference(),
        (a, b) in (prop::collection::vec(-1.0..1.0f64, 700), prop::collection::vec(-1.0..1.0f64, 700)),
        factor in -3.0..3.0f64,
    ) {
        let (chain, setting) = (chain(), quiet(reference));
        let sum: Vec<f64> = a.iter().zip(&b).map(|(a, b)| a + factor * b).collect();
        let [xa, xb, x] = [&a, &b, &sum].map(|s| corrected(&chain, &[], setting, s).0);
        for k in 0..x.len() {
            assert_close!(x[k], xa[k] + factor * xb[k], within(1e-9));
        }
    }

    #[test]
    fn prop_it_does_not_depend_on_time(
        reference in reference(),
        samples in prop::collection::vec(-1.0..1.0f64, 300..700),
        later in 1..6000usize,
    ) {
        let (chain, setting) = (chain(), quiet(reference));
        let mut moved = vec![samples[0]; later];
        moved.extend(&samples);
        let (x, y) = (corrected(&chain, &[], setting, &samples).0, corrected(&chain, &[], setting, &moved).0);
        for k in 0..samples.len() {
            assert_close!(y[later + k], x[k], within(1e-9));
        }
    }

    #[test]
    fn prop_pieces_give_the_same_bits(
        samples in prop::collection::vec(-1.0..1.0f64, 5000..9000),
        hole in 0..9000usize,
        cuts in prop::collection::vec(0..9000usize, 0..12),
    ) {
        let (chain, mut shifted) = (chain(), chain());
        shifted.contact.inductance_h *= 1.1;
        let mut samples = samples;
        samples.iter_mut().skip(hole).take(3).for_each(|v| *v = f64::NAN);
        let setting = ChainSetting { noise: 1e-3, span: 2.0, before: Before::Unknown, ..quiet(Reference::Tip) };
        let shifted = std::slice::from_ref(&shifted);
        let (x, u) = corrected(&chain, shifted, setting, &samples);
        let mut corrector = ChainCorrector::new(&chain, shifted, setting).expect("a chain to undo");
        let mut ends: Vec<usize> = cuts.into_iter().filter(|c| *c < samples.len()).collect();
        ends.push(samples.len());
        ends.sort_unstable();
        let bits = |v: &[f64]| v.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
        let mut from = 0;
        for end in ends {
            let (mut px, mut pu) = (vec![0.0; end - from], vec![0.0; end - from]);
            corrector.next(SampleView::volts(&samples), from..end, &mut px, &mut pu);
            prop_assert_eq!(bits(&px), bits(&x[from..end]));
            prop_assert_eq!(bits(&pu), bits(&u[from..end]));
            from = end;
        }
    }
}

/// Three thousand chains drawn within what is known of one, a stretch of noisy record from each: ±1.96 u hold the truth in 94 to 96 of 100.
#[test]
fn stated_uncertainties_hold_the_truth() {
    const TRIALS: usize = 3000;
    const STRETCH: usize = 420;
    let noise = 4e-3;
    let parts = |factor: [f64; 3]| {
        let mut drawn = chain();
        drawn.contact.inductance_h *= 1.0 + 0.02 * factor[0];
        drawn.contact.resistance_ohm *= 1.0 + 0.03 * factor[1];
        drawn.input.response.bandwidth_hz *= 1.0 + 0.01 * factor[2];
        drawn
    };
    let shifted = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(parts);
    let setting = ChainSetting { noise, span: 2.0, ..quiet(Reference::Tip) };
    let mut random = Xoshiro256PlusPlus::seed_from_u64(20_261_126);
    let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
    let sines = [(0.4, 3.1e7, 0.3), (0.5, 8.3e7, 1.9), (0.3, 1.27e8, 4.0)];
    let (mut shown, mut truth) = (vec![0.0; REST], vec![0.0; REST]);
    for _ in 0..TRIALS {
        let drawn = parts([normal(), normal(), normal()]);
        let (mut y, x) = there(&drawn, &setting, &sines, STRETCH);
        y.iter_mut().for_each(|y| *y += noise * normal());
        shown.extend(y);
        truth.extend(x);
    }
    let (x, u) = corrected(&chain(), &shifted, setting, &shown);
    let mut inside = [0usize; 5];
    let (mut least, mut most) = (f64::INFINITY, 0.0f64);
    for trial in 1..TRIALS - 1 {
        for (i, inside) in inside.iter_mut().enumerate() {
            // Away from both neighbours, whose chains were others.
            let k = REST + trial * STRETCH + STRETCH / 2 - 20 + 9 * i;
            *inside += usize::from((x[k] - truth[k]).abs() <= 1.959_964 * u[k]);
            (least, most) = (least.min(u[k]), most.max(u[k]));
        }
    }
    let shares = inside.map(|n| n as f64 / (TRIALS - 2) as f64);
    let mean = shares.iter().sum::<f64>() / shares.len() as f64;
    assert!((0.94..=0.96).contains(&mean), "{shares:?}");
    // One place alone: three standard deviations of a share of three thousand.
    assert!(shares.iter().all(|share| (0.938..=0.962).contains(share)), "{shares:?}");
    // Both noise and chain count.
    assert!(most > 1.5 * least, "{least} {most}");
}
