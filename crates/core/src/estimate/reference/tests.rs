use super::*;
use crate::divider::Divider;
use crate::samples::SampleView;
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

fn settings() -> Settings {
    Settings {
        divider: Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 },
        resistor_uncertainty: 0.006,
        tolerance: 0.01,
        source_amplitude_v: None,
    }
}

/// A source that droops, drifts and has rounded edges, and the same behind a divider: solved on a grid 50 times finer.
fn pair(error: f64, tau_s: f64, noise: f64, seed: u64) -> (Vec<f64>, Vec<f64>) {
    let (points, dt, fine) = (4000, 0.5e-6, 50);
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let h = dt / f64::from(fine);
    let (mut edge, mut droop, mut low_pass) = (0.0, 0.0, 0.0);
    let (mut probe, mut reference) = (Vec::new(), Vec::new());
    for k in -8000i32..points {
        for i in 0..fine {
            let t = f64::from(k) * dt + f64::from(i) * h;
            let square = if (t + 1.3e-4).rem_euclid(1e-3) < 0.45e-3 { 1.0 } else { 0.0 };
            edge += h / 0.7e-6 * (square - edge);
            droop += h / 8e-3 * (edge - droop);
            let source = edge - droop + 0.02 * (t * 900.0).sin();
            if i == 0 && k >= 0 {
                let z: [f64; 2] = std::array::from_fn(|_| StandardNormal.sample(&mut rng));
                reference.push(source + noise * z[0]);
                probe.push(0.2 + 0.98 * (source + error * (source - low_pass)) + noise * z[1]);
            }
            low_pass += h / tau_s * (source - low_pass);
        }
    }
    (probe, reference)
}

fn assess_pair(probe: &[f64], reference: &[f64]) -> Assessment {
    let record = |s| Record { samples: SampleView::volts(s), start_s: 0.0, interval_s: 0.5e-6 };
    assess_with_reference(record(probe), record(reference), &settings())
}

#[test]
fn the_source_drops_out() {
    for (seed, (error, tau_s)) in
        [(0.0, 1e-4), (-0.1, 1.2e-4), (0.3, 0.7e-4), (-0.5, 1e-4)].into_iter().enumerate()
    {
        for noise in [1e-5, 2e-3, 2e-2] {
            let (probe, reference) = pair(error, tau_s, noise, seed as u64);
            let a = assess_pair(&probe, &reference);
            let c = a.compensation.unwrap_or_else(|| panic!("{error} {noise}: {:?}", a.findings));
            let off = c.error.value - error;
            assert!(
                off.abs() < 4.0 * c.error.standard_uncertainty + 5e-4,
                "{error} {noise}: {off} {:?}",
                c.error
            );
            assert!(
                c.error.standard_uncertainty < 0.5 * noise + 0.02 * error.abs() + 2e-4,
                "{noise}: {:?}",
                c.error
            );
            assert!(
                !a.measured_response.is_empty(),
                "{error} {noise} {:?}",
                square::assess(
                    Record { samples: SampleView::volts(&reference), start_s: 0.0, interval_s: 0.5e-6 },
                    &settings()
                )
                .findings
            );
            if noise < 0.01 {
                for point in &a.measured_response {
                    // The lowest measured frequency is 1 kHz; the response is relative to that one.
                    let shelf = crate::divider::Shelf { error, time_constant_s: tau_s };
                    let base = 1.0 + shelf.amplitude_error(a.measured_response[0].frequency_hz);
                    let expected = (1.0 + shelf.amplitude_error(point.frequency_hz)) / base;
                    let u = point.relative_gain.standard_uncertainty;
                    assert!(
                        (point.relative_gain.value - expected).abs() < 5.0 * u + 2e-3,
                        "{point:?} {expected}"
                    );
                }
            }
        }
    }
}

#[test]
fn unrelated_columns_are_refused() {
    let (probe, reference) = pair(0.1, 1e-4, 1e-3, 5);
    let mut other = reference.clone();
    other.rotate_left(777);
    let flat = vec![0.7; probe.len()];
    for wrong in [&other, &flat] {
        let a = assess_pair(&probe, wrong);
        assert_eq!(a.verdict, Verdict::Undetermined);
        assert!(
            a.findings.iter().any(|f| f.severity == Severity::Fault && !f.remedy.is_empty()),
            "{:?}",
            a.findings
        );
    }
}
