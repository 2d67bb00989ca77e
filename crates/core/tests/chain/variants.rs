//! Chains with causes taken out, references, and many of them at once.

use super::*;
use flattop_close::{assert_close, relative, within};

fn same(got: Complex64, expected: Complex64) {
    assert_close!((got - expected).norm() / expected.norm(), 0.0, within(1e-13));
}

#[test]
fn each_cause_is_taken_out_as_said() {
    let chain = complete();
    let s = Complex64::new(-2e5, TAU * 7e6);
    // Loading: unloaded node times the chain on a stiff node.
    let mut stiff = chain.clone();
    stiff.node.resistance_ohm = 0.0;
    same(chain.without(Cause::Loading).at(s), Unloaded(chain.node).at(s) * stiff.at(s));
    same(chain.against_without(Against::UnloadedNode, Cause::Loading).at(s), stiff.at(s));
    // Contact.
    let mut bare = chain.clone();
    bare.contact = Contact { inductance_h: 0.0, resistance_ohm: 0.0 };
    same(chain.without(Cause::Contact).at(s), bare.at(s));
    // Compensation: R1·C1 = R2·C2.
    let mut trimmed = chain.clone();
    trimmed.tip.capacitance_f = chain.shunt_capacitance_f() / 9.0;
    assert_close!(trimmed.lumped().unwrap().shelf.error, 0.0, within(1e-14));
    same(chain.without(Cause::Compensation).at(s), trimmed.at(s));
    // Cable: a capacitor in its place.
    let mut short = chain.clone();
    short.cable.length_m = 0.0;
    short.measured = vec![(
        Place::BeforeBox,
        Measured::in_shunt(
            &[TAU.recip()],
            &[Complex64::new(0.0, chain.cable.effective_capacitance_f(1e6))],
            OnePort::Admittance,
        )
        .unwrap(),
    )];
    let slow = Complex64::new(-1e-2, 0.5);
    same(chain.without(Cause::Cable).at(slow), short.at(slow));
    // Input: no response, no limit, no coupling.
    let mut coupled = chain.clone();
    coupled.input.coupling = Coupling::Ac { corner_hz: 5.0 };
    let mut straight = chain.clone();
    straight.input.response.bandwidth_hz = f64::INFINITY;
    straight.input.limit = None;
    same(coupled.without(Cause::Input).at(s), straight.at(s));
    // None and all.
    same(chain.without(Causes::NONE).at(s), chain.at(s));
    let ideal = chain.against_without(Against::UnloadedNode, Cause::ALL.into_iter().collect::<Causes>());
    let low = ideal.at(Complex64::new(0.0, 1.0)).re;
    assert_close!(low, 0.1, relative(1e-4));
}

#[test]
fn coupling_and_responses_multiply() {
    let mut chain = complete();
    let s = Complex64::new(1e3, TAU * 40.0);
    let before = chain.at(s);
    chain.input.coupling = Coupling::Ac { corner_hz: 5.0 };
    same(chain.at(s), before * s / (s + TAU * 5.0));
    same(chain.gain(s), chain.at(s) * 10.0);
    fn by_reference(transfer: impl Transfer, s: Complex64) -> Complex64 {
        transfer.at(s)
    }
    same(by_reference(&chain, s), chain.at(s));
}

#[test]
fn spectra_are_what_the_chain_says_one_by_one() {
    let mut chain = complete();
    chain.input.coupling = Coupling::Ac { corner_hz: 5.0 };
    let grid = [1e5, 3e7, 4e8];
    let values = grid.map(|f| Complex64::new(3.0, 1e-7 * f));
    for place in
        [Place::BeforeContact, Place::BeforeTip, Place::BeforeCable, Place::BeforeBox, Place::BeforeInput]
    {
        chain.measured.push((place, Measured::in_series(&grid, &values, OnePort::Impedance).unwrap()));
    }
    let s: Vec<Complex64> = [1.0, 1e3, 1e6, 2e8].iter().map(|f| Complex64::new(-2.0 * f, TAU * f)).collect();
    let spectra = Spectra::of(&chain, &s);
    assert_eq!(spectra.len(), 4);
    let mut sets: Vec<Causes> = Cause::ALL.map(Causes::from).to_vec();
    sets.push(Causes::NONE);
    sets.push(Causes::from(Cause::Loading).and(Cause::Cable));
    sets.push(Cause::ALL.into_iter().collect());
    for against in [Against::Source, Against::UnloadedNode] {
        for &set in &sets {
            let got = spectra.transfer(against, set);
            for k in 0..s.len() {
                same(got[k], chain.against_without(against, set).at(s[k]));
            }
        }
    }
    for k in 0..s.len() {
        same(spectra.at_node()[k], AtNode(&chain).at(s[k]));
        same(spectra.unloaded()[k], Unloaded(chain.node).at(s[k]));
    }
}

#[test]
fn values_without_meaning_are_named() {
    assert_eq!(complete().check(), Ok(()));
    let mut chain = complete();
    chain.cable.resistance_ohm_per_m = -1.0;
    let message = chain.check().unwrap_err().to_string();
    assert_eq!(message, "cable resistance per metre (Ω/m) is -1, but it must be 0 or more");
    let mut chain = complete();
    chain.input.response = Response { shape: ResponseShape::MaximallyFlat(11), bandwidth_hz: 1e8 };
    assert!(chain.check().unwrap_err().to_string().contains("order"));
    // And they do not panic.
    let _ = chain.at_frequency(1e6);
    chain.input.coupling = Coupling::Ac { corner_hz: f64::NAN };
    assert!(chain.check().is_err());
    let mut chain = complete();
    chain.input.limit = Some(Response { shape: ResponseShape::Gaussian, bandwidth_hz: 0.0 });
    assert!(chain.check().unwrap_err().what.contains("limit"));
}

#[test]
fn a_probe_that_does_not_divide_has_no_shelf() {
    let mut chain = complete();
    chain.tip.resistance_ohm = 0.0;
    assert_eq!(chain.lumped(), None);
    let s = jw(1e6);
    same(chain.without(Cause::Compensation).at(s), chain.at(s));
    assert_close!(chain.at_frequency(0.0).re, 1.0, relative(1e-3));
}
