//! Bandwidth, flatness, noise, ringing, what is carried: against closed forms and published figures.

use super::*;
use flattop_close::{assert_close, printed, relative, within};
use flattop_core::chain::answers::*;

#[test]
fn bandwidth_is_that_of_the_input_when_nothing_else_limits() {
    let mut chain = divider();
    chain.tip.capacitance_f = 120e-12 / 9.0;
    for shape in [ResponseShape::SinglePole, ResponseShape::Gaussian, ResponseShape::MaximallyFlat(5)] {
        chain.input.response = Response { shape, bandwidth_hz: 200e6 };
        for coupling in [Coupling::Dc, Coupling::Ac { corner_hz: 5.0 }] {
            chain.input.coupling = coupling;
            let got = bandwidth_hz(&chain, Against::UnloadedNode, 1e10).unwrap();
            assert_close!(got, 200e6, relative(1e-12));
        }
    }
    assert_eq!(bandwidth_hz(&chain, Against::Source, 1e8), None);
}

/// A divider with e below −29 % has its −3 dB point at a few kHz: the closed form of the shelf, solved for 1/√2.
#[test]
fn a_badly_trimmed_divider_has_a_bandwidth_of_kilohertz() {
    let mut chain = divider();
    chain.tip.capacitance_f = 6e-12;
    let shelf = chain.lumped().unwrap().shelf;
    let (tp, tz) = (shelf.time_constant_s, shelf.time_constant_s * (1.0 + shelf.error));
    let expected = (1.0 / (tp * tp - 2.0 * tz * tz)).sqrt() / TAU;
    assert_close!(bandwidth_hz(&chain, Against::Source, 1e9).unwrap(), expected, relative(1e-10));
}

#[test]
fn flatness_finds_the_peak_of_a_resonance_and_the_end_of_a_fall() {
    // Series L, R and C alone: |H| peaks at ω0·√(1 − 2ζ²) with 1/(2ζ√(1 − ζ²)) (standard second-order result).
    let (chain, w0, zeta) = resonance(100.0);
    let flat = flatness(&chain, Against::Source, 1e9);
    let peak = 1.0 / (2.0 * zeta * (1.0 - zeta * zeta).sqrt());
    assert_close!(flat.highest.deviation, peak - 1.0, relative(1e-6));
    assert_close!(flat.highest.frequency_hz, w0 / TAU * (1.0 - 2.0 * zeta * zeta).sqrt(), relative(1e-6));
    assert_close!(flat.lowest.frequency_hz, 1e9, relative(1e-12));
    // A compensated divider deviates by nothing.
    let mut chain = divider();
    chain.tip.capacitance_f = 120e-12 / 9.0;
    let flat = flatness(&chain, Against::Source, 1e9);
    assert_close!([flat.highest.deviation, flat.lowest.deviation], [0.0, 0.0], within(1e-13));
}

/// Only a lead and a capacitance: a probe that does not divide, C at the input, R in the contact. 200 nH on 10 pF.
fn resonance(resistance_ohm: f64) -> (Chain, f64, f64) {
    let mut chain = divider();
    chain.contact = Contact { inductance_h: 200e-9, resistance_ohm };
    chain.tip.resistance_ohm = 0.0;
    chain.compensation_box.capacitance_f = 0.0;
    chain.input.capacitance_f = 10e-12;
    chain.input.resistance_ohm = 1e12;
    chain.ratio = 1.0;
    let w0 = 1.0 / (200e-9_f64 * 10e-12).sqrt();
    (chain, w0, 0.5 * resistance_ohm / (200e-9_f64 / 10e-12).sqrt())
}

/// 200 nH and 10 pF: 112.54 MHz, √(L/C) 141.42 Ω, Q 4.714 with 30 Ω (arithmetic; example of H. Johnson & M. Graham, *High-Speed Digital Design*, from memory).
#[test]
fn ringing_of_a_ground_lead() {
    let (chain, w0, zeta) = resonance(30.0);
    let ring = ringing(&chain).unwrap();
    assert_close!(ring.natural_frequency_hz, 112.54e6, printed(1e4));
    assert_close!(ring.quality, 4.714, printed(1e-3));
    assert_close!(ring.damping_ratio, zeta, relative(1e-7));
    assert_close!(ring.frequency_hz, w0 / TAU * (1.0 - zeta * zeta).sqrt(), relative(1e-7));
    // Step response 1 − e^(−ζω0t)·sin(ωdt + φ)/√(1 − ζ²): its share (standard second-order result).
    assert_close!(ring.step_share, 1.0 / (1.0 - zeta * zeta).sqrt(), relative(1e-7));
    // Overshoot of Q 4.714: 71.526 %.
    assert_close!(ring.after_half_a_period() / ring.step_share, 0.71526, within(1e-5));
    // Critical damping is at 2·√(L/C) = 282.84 Ω.
    assert!(ringing(&resonance(282.0).0).is_some());
    assert_eq!(ringing(&resonance(284.0).0), None);
    assert_eq!(ringing(&resonance(2000.0).0), None);
}

#[test]
fn ringing_of_a_whole_probe_lies_on_a_pole() {
    let mut chain = complete();
    chain.contact.resistance_ohm = 0.0;
    chain.node.resistance_ohm = 10.0;
    chain.input.coupling = Coupling::Ac { corner_hz: 10.0 };
    let ring = ringing(&chain).unwrap();
    let (_, there) = chain.quotient(ring.pole);
    let (_, beside) = chain.quotient(ring.pole * 1.01);
    assert!(there.norm() < 1e-9 * beside.norm());
    assert!(ring.damping_ratio > 0.0 && ring.damping_ratio < 1.0);
    // Residue by coming close: H(p + ε)·ε.
    let small = 1e-6 * ring.pole;
    chain.input.coupling = Coupling::Dc;
    let residue = chain.at(ring.pole + small) * small;
    let settled = chain.at_frequency(0.0).norm();
    assert_close!(ring.step_share, 2.0 * (residue / ring.pole).norm() / settled, relative(1e-4));
}

/// Noise bandwidths over −3 dB bandwidth: π/2 for one pole, √(π/ln 2)/2 for a Gaussian, (π/2n)/sin(π/2n) for maximally flat order n (standard results).
#[test]
fn noise_bandwidths_of_shapes() {
    let mut chain = divider();
    chain.tip.capacitance_f = 120e-12 / 9.0;
    let pi = std::f64::consts::PI;
    for (shape, factor) in [
        (ResponseShape::SinglePole, pi / 2.0),
        (ResponseShape::Gaussian, 0.5 * (pi / 2.0_f64.ln()).sqrt()),
        (ResponseShape::MaximallyFlat(2), (pi / 4.0) / (pi / 4.0).sin()),
        (ResponseShape::MaximallyFlat(10), (pi / 20.0) / (pi / 20.0).sin()),
    ] {
        chain.input.response = Response { shape, bandwidth_hz: 1e8 };
        let noise = noise_bandwidth(&chain, Against::Source, 1e13);
        assert_close!(noise.up_to_limit_hz + noise.beyond_hz, factor * 1e8, relative(1e-9), "{shape:?}");
        assert!(noise.numerical_error_hz < 1e-2 && noise.beyond_hz < 1e-4 * 1e8, "{noise:?}");
    }
    // A single pole cut off at its corner: atan 1 = π/4 of it is there, the power law cannot yet see where it ends.
    chain.input.response = Response { shape: ResponseShape::SinglePole, bandwidth_hz: 1e8 };
    let noise = noise_bandwidth(&chain, Against::Source, 1e8);
    assert_close!(noise.up_to_limit_hz, pi / 4.0 * 1e8, relative(1e-9));
    assert!(noise.beyond_hz.is_infinite());
    // AC coupling takes π/2 of its corner away at the low end.
    chain.input.coupling = Coupling::Ac { corner_hz: 1e5 };
    let coupled = noise_bandwidth(&chain, Against::Source, 1e8);
    assert_close!(noise.up_to_limit_hz - coupled.up_to_limit_hz, 1.5692e5, relative(1e-3));
}

#[test]
fn sines_within_an_error() {
    // Two per cent of a single pole end at 0.2031 of its bandwidth: 1/√(1 + r²) = 0.98.
    let mut chain = divider();
    chain.tip.capacitance_f = 120e-12 / 9.0;
    chain.input.response = Response { shape: ResponseShape::SinglePole, bandwidth_hz: 1e8 };
    let r = (1.0_f64 / (0.98 * 0.98) - 1.0).sqrt();
    let band = carried_band(&chain, 0.02, 1e9).unwrap();
    assert_close!(band.from_hz, 0.0, within(0.0));
    assert_close!(band.to_hz.unwrap(), r * 1e8, relative(1e-10));
    assert_eq!(carried_band(&chain, 0.02, 1e7).unwrap().to_hz, None);
    // A divider 9 % off leaves two per cent below 1 kHz.
    chain.tip.capacitance_f = 12e-12;
    let band = carried_band(&chain, 0.02, 1e9).unwrap();
    let end = band.to_hz.unwrap();
    assert!((300.0..1e3).contains(&end));
    assert_close!(chain.lumped().unwrap().shelf.amplitude_error(end), -0.02, relative(1e-6));
    // AC coupling takes the low end away: 1/√(1 + (fc/f)²) = 0.98.
    chain.tip.capacitance_f = 120e-12 / 9.0;
    chain.input.coupling = Coupling::Ac { corner_hz: 7.0 };
    let band = carried_band(&chain, 0.02, 1e9).unwrap();
    assert_close!(band.from_hz, 7.0 / r, relative(1e-10));
    // A wrong factor carries nothing, though on its fall it is right by chance.
    chain.input.coupling = Coupling::Dc;
    chain.ratio = 11.0;
    assert_eq!(carried_band(&chain, 0.02, 1e9), None);
}

/// Loading: 1:1 lead of 1 MΩ ∥ 130 pF on 600 Ω gives 0.9994 V at 100 Hz, −3 dB at 2.04 MHz (Bell, Ex. 9-8 p. 264, companion).
#[test]
fn loading_of_a_lead() {
    let mut chain = divider();
    chain.tip.resistance_ohm = 0.0;
    chain.compensation_box.capacitance_f = 100e-12;
    chain.input.capacitance_f = 30e-12;
    chain.node.resistance_ohm = 600.0;
    chain.ratio = 1.0;
    let point = response(&chain, &[100.0])[0];
    assert_close!(point.loading, 0.9994, printed(1e-4));
    assert_close!(point.gain, 0.9994, printed(1e-4));
    assert_close!(bandwidth_hz(&chain, Against::Source, 1e9).unwrap(), 2.04e6, printed(1e4));
    // A node with a capacitance of its own: loaded over unloaded by hand, one R with C + Cp and 1/Rp.
    chain.node.capacitance_f = 50e-12;
    let f = 3e6;
    let s = jw(f);
    let unloaded = 1.0 / (1.0 + s * 600.0 * 50e-12);
    let loaded = 1.0 / (1.0 + 600.0 * (s * 180e-12 + 1e-6));
    assert_close!(response(&chain, &[f])[0].loading, (loaded / unloaded).norm(), relative(1e-13));
}

#[test]
fn delay_of_a_cable_and_of_a_bessel_filter() {
    // A lossless cable on its own impedance at both ends delays by l·√(LC).
    let mut chain = probe();
    chain.cable.resistance_ohm_per_m = 0.0;
    let z0 = (330e-9_f64 / 60e-12).sqrt();
    chain.node.resistance_ohm = z0;
    chain.tip.resistance_ohm = 0.0;
    chain.compensation_box.capacitance_f = 0.0;
    chain.input.capacitance_f = 0.0;
    chain.input.resistance_ohm = z0;
    let delay = 1.2 * (330e-9_f64 * 60e-12).sqrt();
    for point in response(&chain, &[0.0, 1.0, 1e6, 3e8]) {
        assert_close!(point.group_delay_s, delay, relative(1e-12));
        assert_close!(point.gain, 5.0, relative(1e-12));
    }
    // Bessel–Thomson of order 4: delay 2.113917675/ω3dB at dc (filter tables, from memory), flat to 8 powers of f.
    let before = response(&chain, &[0.0, 1e6])[0].group_delay_s;
    chain.input.response = Response { shape: ResponseShape::Bessel4, bandwidth_hz: 1e8 };
    for point in response(&chain, &[0.0, 1e7]) {
        assert_close!(point.group_delay_s - before, 2.113917675 / (TAU * 1e8), relative(1e-8));
    }
    // A Gaussian bears on magnitude only, however far down it is.
    chain.input.response = Response { shape: ResponseShape::Gaussian, bandwidth_hz: 1e6 };
    let far = response(&chain, &[3e8])[0];
    assert_close!(far.group_delay_s, delay, relative(1e-12));
    assert_close!(far.gain, 0.0, within(0.0));
}

#[test]
fn ac_coupling_at_dc_is_told_by_its_limits() {
    let mut chain = divider();
    chain.input.coupling = Coupling::Ac { corner_hz: 5.0 };
    let points = response(&chain, &[0.0, 1e-6]);
    assert_close!(points[0].gain, 0.0, within(0.0));
    assert_close!(points[0].phase_rad, points[1].phase_rad, relative(1e-5));
    assert_close!(points[0].group_delay_s, points[1].group_delay_s, relative(1e-9));
    assert_close!(points[0].phase_rad, std::f64::consts::FRAC_PI_2, relative(1e-15));
}
