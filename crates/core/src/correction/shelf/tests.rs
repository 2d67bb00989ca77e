use super::*;
use flattop_close::{assert_close, relative, within};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

fn known(error: f64, time_constant_s: f64) -> KnownShelf {
    let shelf = Shelf { error, time_constant_s };
    KnownShelf { shelf, error_u: 0.0, time_constant_u_s: 0.0, correlation: 0.0 }
}

fn quiet(shelf: KnownShelf, interval_s: f64) -> Setting {
    Setting { shelf, interval_s, noise: 0.0, span: 0.0, before: Before::Rest }
}

/// The shelf's output for a true signal that is straight between samples and rests before the first one: the sum over all corners of
/// the shelf's answer to a ramp, t + e·τp·(1 − exp(−t/τp)), which is the integral of its answer to a step (divider.rs).
fn distorted(truth: &[f64], interval_s: f64, shelf: Shelf) -> Vec<f64> {
    let tau = shelf.time_constant_s;
    let ramp = |t: f64| t - shelf.error * tau * (-t / tau).exp_m1();
    let slope = |k: usize| {
        if k == 0 || k >= truth.len() { 0.0 } else { (truth[k] - truth[k - 1]) / interval_s }
    };
    (0..truth.len())
        .map(|n| {
            let corners = (0..n).map(|k| (slope(k + 1) - slope(k)) * ramp((n - k) as f64 * interval_s));
            truth[0] + corners.sum::<f64>()
        })
        .collect()
}

fn corrected(samples: &[f64], setting: Setting) -> (Vec<f64>, Vec<f64>) {
    let mut corrector = ShelfCorrector::new(setting).expect("a fine setting");
    let (mut x, mut u) = (vec![0.0; samples.len()], vec![0.0; samples.len()]);
    corrector.push(samples, &mut x, &mut u);
    (x, u)
}

fn signal() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(-2.0..2.0f64, 2..400)
}

/// e from strongly under- to strongly overcompensated, intervals from 1/3000 of τp to ten of it.
fn cases() -> impl Strategy<Value = (f64, f64)> {
    (-0.9..2.0f64, -3.5..1.0f64).prop_map(|(e, lg)| (e, 10f64.powf(lg)))
}

proptest! {
    #[test]
    fn prop_what_was_distorted_comes_back((e, interval_s) in cases(), truth in signal()) {
        let shelf = known(e, 1.0);
        let shown = distorted(&truth, interval_s, shelf.shelf);
        let (x, _) = corrected(&shown, quiet(shelf, interval_s));
        for (got, expected) in x.iter().zip(&truth) {
            // The sum over corners above loses digits where slopes are steep, not the correction.
            assert_close!(*got, *expected, within(1e-12 * (1.0 + 100.0 / interval_s)));
        }
    }

    #[test]
    fn prop_no_error_changes_nothing(interval_s in 1e-4..10.0f64, samples in signal()) {
        let (x, _) = corrected(&samples, quiet(known(0.0, 1.0), interval_s));
        prop_assert_eq!(x, samples);
    }

    #[test]
    fn prop_it_is_linear((e, interval_s) in cases(), (a, b) in (signal(), signal()), factor in -3.0..3.0f64) {
        let setting = quiet(known(e, 1.0), interval_s);
        let n = a.len().min(b.len());
        let sum: Vec<f64> = (0..n).map(|k| a[k] + factor * b[k]).collect();
        let [(xa, _), (xb, _), (x, _)] = [&a[..n], &b[..n], &sum].map(|s| corrected(s, setting));
        for k in 0..n {
            assert_close!(x[k], xa[k] + factor * xb[k], within(1e-10));
        }
    }

    /// The same signal later comes out the same, later. The rest before it lasts a whole number of samples.
    #[test]
    fn prop_it_does_not_depend_on_time((e, interval_s) in cases(), samples in signal(), later in 1..40usize) {
        let setting = quiet(known(e, 1.0), interval_s);
        let mut moved = vec![samples[0]; later];
        moved.extend(&samples);
        let (x, _) = corrected(&samples, setting);
        let (y, _) = corrected(&moved, setting);
        for k in 0..samples.len() {
            assert_close!(y[later + k], x[k], within(1e-11));
        }
    }

    /// Pieces of any length, gaps or none: the same bits.
    #[test]
    fn prop_pieces_give_the_same_bits(
        (e, interval_s) in cases(),
        mut samples in prop::collection::vec(-2.0..2.0f64, 1..1500),
        holes in prop::collection::vec((0..1500usize, 1..30usize), 0..4),
        cuts in prop::collection::vec(0..1500usize, 0..12),
    ) {
        for (from, length) in holes {
            samples.iter_mut().skip(from).take(length).for_each(|v| *v = f64::NAN);
        }
        let shelf = KnownShelf { error_u: 0.01, time_constant_u_s: 0.03, correlation: 0.4, ..known(e, 1.0) };
        let setting = Setting { shelf, interval_s, noise: 0.02, span: 4.0, before: Before::Unknown };
        let (x, u) = corrected(&samples, setting);
        let mut corrector = ShelfCorrector::new(setting).expect("a fine setting");
        let mut ends: Vec<usize> = cuts.into_iter().filter(|c| *c < samples.len()).collect();
        ends.push(samples.len());
        ends.sort_unstable();
        let mut from = 0;
        let bits = |v: &[f64]| v.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
        for end in ends {
            let (mut px, mut pu) = (vec![0.0; end - from], vec![0.0; end - from]);
            corrector.push(&samples[from..end], &mut px, &mut pu);
            prop_assert_eq!(bits(&px), bits(&x[from..end]));
            prop_assert_eq!(bits(&pu), bits(&u[from..end]));
            from = end;
        }
        prop_assert_eq!(corrector.summary().samples, samples.len() as u64);
    }

    /// The stated part of e and τp is what changing them does (central differences).
    #[test]
    fn prop_sensitivities_are_slopes((e, interval_s) in (-0.6..1.0f64, 0.002..2.0f64), samples in signal()) {
        let change = 1e-5;
        let plain = |de: f64, dt: f64| corrected(&samples, quiet(known(e + de, 1.0 + dt), interval_s)).0;
        for (error_u, time_constant_u_s) in [(1e-3, 0.0), (0.0, 1e-3)] {
            let shelf = KnownShelf { error_u, time_constant_u_s, ..known(e, 1.0) };
            let mut setting = quiet(shelf, interval_s);
            let corrector = ShelfCorrector::new(setting).expect("a fine setting");
            setting.noise = 0.0;
            let (de, dt) = if error_u > 0.0 { (change, 0.0) } else { (0.0, change) };
            let (up, down) = (plain(de, dt), plain(-de, -dt));
            let (x, u) = corrected(&samples, setting);
            // Jumps between samples are another part of the variance.
            let (mut jumps, mut last) = (0.0, x[0]);
            for k in 0..samples.len() {
                jumps = corrector.z * corrector.z * jumps + corrector.jump * (x[k] - last).powi(2);
                last = x[k];
                let slope = (up[k] - down[k]) / (2.0 * change);
                assert_close!(u[k] * u[k], (1e-3 * slope).powi(2) + jumps, within(2e-9));
            }
        }
    }
}

#[test]
fn a_square_wave_comes_back_flat() {
    // Samples of 1 + e·exp(−t/τp) after an edge (divider.rs), a ramp of one interval in front of it.
    let (e, tau, interval) = (-0.3, 1e-4, 1e-6);
    let truth: Vec<f64> = (0..3000).map(|k| if (k / 500) % 2 == 0 { 0.0 } else { 3.0 }).collect();
    let shelf = known(e, tau);
    let shown = distorted(&truth, interval, shelf.shelf);
    assert_close!(shown[500], 3.0 * (1.0 + e), within(0.006));
    let (x, _) = corrected(&shown, quiet(shelf, interval));
    for (got, expected) in x.iter().zip(&truth) {
        assert_close!(*got, *expected, within(1e-11));
    }
}

#[test]
fn what_was_before_the_record_fades_and_is_allowed_for() {
    // A fast square wave, cut off in the middle: the corrector cannot know the mean before it.
    let (e, tau, interval) = (0.5, 1e-4, 1e-6);
    let truth: Vec<f64> = (0..3000).map(|k| if (k / 25) % 2 == 0 { 0.0 } else { 1.0 }).collect();
    let shelf = known(e, tau);
    let shown = &distorted(&truth, interval, shelf.shelf)[1030..];
    let span = shown.iter().copied().fold(f64::NEG_INFINITY, f64::max)
        - shown.iter().copied().fold(f64::INFINITY, f64::min);
    let setting = Setting { shelf, interval_s: interval, noise: 0.0, span, before: Before::Unknown };
    let (x, u) = corrected(shown, setting);
    for k in 0..shown.len() {
        let off = (x[k] - truth[1030 + k]).abs();
        assert!(off <= 2.0 * u[k] + 1e-9, "sample {k}: off by {off}, standard uncertainty {}", u[k]);
    }
    assert!((x[0] - truth[1030]).abs() > 0.1);
    assert_close!(x[1900], truth[2930], within(1e-5));
    // At rest before, there is nothing to allow for.
    assert!(corrected(shown, Setting { before: Before::Rest, ..setting }).1[0] < 1e-9);
}

#[test]
fn a_gap_is_bridged_and_its_uncertainty_grows() {
    let (e, tau, interval) = (-0.4, 1e-4, 1e-6);
    let shelf = known(e, tau);
    let truth: Vec<f64> = (0..2000).map(|k| (k as f64 * 0.002).sin()).collect();
    let mut shown = distorted(&truth, interval, shelf.shelf);
    shown[900..960].fill(f64::NAN);
    let setting = Setting { shelf, interval_s: interval, noise: 1e-3, span: 2.0, before: Before::Rest };
    let (x, u) = corrected(&shown, setting);
    assert!(x[900..960].iter().chain(&u[900..960]).all(|v| v.is_nan()));
    // The sine is nearly straight over the gap.
    for k in (0..900).chain(960..2000) {
        assert_close!(x[k], truth[k], within(2e-3));
    }
    assert!(u[960] > 5.0 * u[899]);
    assert_close!(u[1900], u[899], relative(0.01));
    let mut corrector = ShelfCorrector::new(setting).expect("a fine setting");
    corrector.push(&shown, &mut vec![0.0; 2000], &mut vec![0.0; 2000]);
    let summary = corrector.summary();
    assert_eq!((summary.missing, summary.gaps), (60, 1));
}

#[test]
fn noise_builds_up_as_stated() {
    for (e, interval) in [(-0.4, 0.02), (0.6, 0.1), (-0.5, 3.0)] {
        let setting = Setting { noise: 1.0, ..quiet(known(e, 1.0), interval) };
        const TRIALS: usize = 20_000;
        let mut random = Xoshiro256PlusPlus::seed_from_u64(11);
        let mut squares = [0.0; 12];
        let mut stated = Vec::new();
        for _ in 0..TRIALS {
            let noise: Vec<f64> = (0..12).map(|_| StandardNormal.sample(&mut random)).collect();
            let (x, u) = corrected(&noise, setting);
            // The jumps of noise are no jumps of the signal; at these settings they are the smaller part.
            let corrector = ShelfCorrector::new(setting).expect("a fine setting");
            let (mut jumps, mut last) = (0.0, x[0]);
            stated = (0..12)
                .map(|k| {
                    jumps = corrector.z * corrector.z * jumps + corrector.jump * (x[k] - last).powi(2);
                    last = x[k];
                    (u[k] * u[k] - jumps).sqrt()
                })
                .collect();
            squares.iter_mut().zip(&x).for_each(|(sum, x)| *sum += x * x);
        }
        for k in 0..12 {
            assert_close!(
                (squares[k] / TRIALS as f64).sqrt(),
                stated[k],
                relative(0.02),
                "e {e}, sample {k}"
            );
        }
    }
}

/// Noise, e and τp drawn at random about the truth: 95 % intervals hold 94–96 % of all samples.
#[test]
fn intervals_hold_what_they_say() {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(5);
    let normal = |r: &mut Xoshiro256PlusPlus| -> f64 { StandardNormal.sample(r) };
    for (e, error_u, tau_u, rho, sigma) in
        [(-0.12, 2e-3, 1.5e-2, 0.6, 3e-3), (0.3, 5e-3, 4e-3, -0.5, 1e-3), (0.02, 1e-3, 0.1, 0.0, 5e-3)]
    {
        let (mut inside, mut all) = (0u64, 0u64);
        for _ in 0..400 {
            let interval = 10f64.powf(random.random_range(-2.3..-1.0));
            let period = random.random_range(200.0..900.0);
            let truth: Vec<f64> = (0..1200)
                .map(|k| (std::f64::consts::TAU * k as f64 / period).sin().mul_add(2.0, 0.4))
                .collect();
            let (first, second) = (normal(&mut random), normal(&mut random));
            let guess_e = e + error_u * first;
            let guess_tau = 1.0 + tau_u * (rho * first + (1.0f64 - rho * rho).sqrt() * second);
            let mut shown =
                distorted_by_recursion(&truth, interval, Shelf { error: e, time_constant_s: 1.0 });
            shown.iter_mut().for_each(|y| *y += sigma * normal(&mut random));
            let noise =
                super::super::noise::Noise::of(crate::samples::SampleView::volts(&shown)).expect("enough");
            let shelf = KnownShelf {
                error_u,
                time_constant_u_s: tau_u,
                correlation: rho,
                ..known(guess_e, guess_tau)
            };
            let setting = Setting {
                shelf,
                interval_s: interval,
                noise: noise.standard_deviation,
                span: noise.span(),
                before: Before::Rest,
            };
            let (x, u) = corrected(&shown, setting);
            for k in 0..truth.len() {
                inside += u64::from((x[k] - truth[k]).abs() <= 1.96 * u[k]);
                all += 1;
            }
        }
        let share = inside as f64 / all as f64;
        assert_close!(share, 0.95, within(0.01), "e {e}");
    }
}

/// As [`distorted`], by the recursion of the low-pass alone; fast, and held to the sum over corners here.
fn distorted_by_recursion(truth: &[f64], interval_s: f64, shelf: Shelf) -> Vec<f64> {
    let h = interval_s / shelf.time_constant_s;
    let a = (-h).exp();
    let phi = (1.0 - a) / h;
    let mut w = truth[0];
    let mut last = truth[0];
    truth
        .iter()
        .map(|&x| {
            w = a * w + (1.0 - phi) * x + (phi - a) * last;
            last = x;
            (1.0 + shelf.error) * x - shelf.error * w
        })
        .collect()
}

#[test]
fn both_ways_to_distort_agree() {
    let shelf = Shelf { error: -0.3, time_constant_s: 1.0 };
    let truth: Vec<f64> = (0..300).map(|k| ((k * k) as f64 * 0.01).sin()).collect();
    let pairs = distorted(&truth, 0.05, shelf).into_iter().zip(distorted_by_recursion(&truth, 0.05, shelf));
    for (a, b) in pairs {
        assert_close!(a, b, within(1e-11));
    }
}

#[test]
fn what_has_no_inverse_is_refused() {
    for e in [-1.0, -1.5, f64::NAN, f64::INFINITY] {
        assert!(matches!(ShelfCorrector::new(quiet(known(e, 1.0), 1.0)), Err(ShelfError::Error { .. })));
    }
    for tau in [0.0, -1.0, f64::NAN] {
        let error = ShelfCorrector::new(quiet(known(0.1, tau), 1.0)).expect_err("no time constant");
        assert!(matches!(error, ShelfError::Value { .. }));
    }
}
