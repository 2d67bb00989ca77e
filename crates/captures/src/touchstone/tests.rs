//! Laws of conversion and of writing, for networks of any kind.

use flattop_close::{assert_close, relative, within};
use num_complex::Complex64;
use proptest::prelude::*;

use super::*;

fn network(parameter: Parameter, references: &[f64], values: &[(f64, f64)]) -> Touchstone {
    let n = references.len();
    let matrices: Vec<Vec<Complex64>> = values
        .chunks_exact(n * n)
        .map(|matrix| matrix.iter().map(|&(re, im)| Complex64::new(re, im)).collect())
        .collect();
    Touchstone {
        ports: n,
        parameter,
        reference_ohm: references.to_vec(),
        frequency_hz: (1..=matrices.len()).map(|k| 1e3 * k as f64 / 7.0).collect(),
        matrices,
        findings: Vec::new(),
    }
}

fn flat(matrices: &[Vec<Complex64>]) -> Vec<f64> {
    matrices.iter().flatten().flat_map(|c| [c.re, c.im]).collect()
}

/// A series impedance has no Z, a shunt no Y; both have S and chain parameters (circuit theory).
#[test]
fn series_element_has_no_impedance_parameters_but_all_others() {
    // Y of a series 100 Ω between two ports.
    let series =
        network(Parameter::Y, &[50.0, 50.0], &[(0.01, 0.0), (-0.01, 0.0), (-0.01, 0.0), (0.01, 0.0)]);
    assert_eq!(
        series.impedance_ohm().unwrap_err().to_string(),
        format!(
            "the network has no impedance parameters at {} Hz: the equations for them have no solution; use another form",
            1e3 / 7.0
        )
    );
    // S11 = Z/(Z + 2R) = 0.5, S21 = 2R/(Z + 2R) = 0.5.
    assert_close!(
        flat(&series.s_parameters(50.0).unwrap()),
        vec![0.5, 0.0, 0.5, 0.0, 0.5, 0.0, 0.5, 0.0],
        within(1e-14)
    );
    let [a, b, c, d] = series.chain().unwrap()[0];
    assert_close!([a.re, b.re, c.re, d.re], [1.0, 100.0, 0.0, 1.0], within(1e-12));
}

#[test]
fn hybrid_parameters_by_their_definition() {
    // h11 = 1 kΩ, h12 = 0, h21 = 100, h22 = 0: V1 = 1000·I1, I2 = 100·I1; chain B = −h11/h21, D = −1/h21.
    let h = network(Parameter::H, &[50.0, 50.0], &[(1e3, 0.0), (0.0, 0.0), (100.0, 0.0), (0.0, 0.0)]);
    let [a, b, c, d] = h.chain().unwrap()[0];
    assert_close!([a.re, b.re, c.re, d.re], [0.0, -10.0, 0.0, -0.01], within(1e-15));
    // g11 = 1 mS, g21 = 5, g22 = 2 Ω: A = 1/g21, B = g22/g21, C = g11/g21, D = (g11·g22 − g12·g21)/g21.
    let g = network(Parameter::G, &[50.0, 50.0], &[(1e-3, 0.0), (0.0, 0.0), (5.0, 0.0), (2.0, 0.0)]);
    let [a, b, c, d] = g.chain().unwrap()[0];
    assert_close!([a.re, b.re, c.re, d.re], [0.2, 0.4, 2e-4, 4e-4], relative(1e-14));
}

#[test]
fn chain_needs_two_ports_and_references_need_a_value() {
    let one = network(Parameter::S, &[50.0], &[(0.1, 0.0)]);
    assert_eq!(
        one.chain().unwrap_err().to_string(),
        "chain parameters need a network of 2 ports, found 1; use a two-port file"
    );
    assert_eq!(
        one.s_parameters(0.0).unwrap_err().to_string(),
        "expected a reference resistance above zero, found 0 Ω; 50 Ω is usual"
    );
}

fn values(n: usize) -> impl Strategy<Value = Vec<(f64, f64)>> {
    proptest::collection::vec((-0.7..0.7f64, -0.7..0.7f64), n * n * 3)
}

proptest! {
    /// What is written comes back to the last bit.
    #[test]
    fn prop_written_and_read_again(n in 1usize..6, seed in values(5), reference in 1.0..1e3f64) {
        let network = network(Parameter::S, &vec![reference; n], &seed[..n * n * 3]);
        let text = write(&network).unwrap();
        prop_assert_eq!(read(&format!("x.s{n}p"), text.as_bytes()).unwrap(), network.clone());
        prop_assert_eq!(read("x", text.as_bytes()).unwrap(), network);
    }

    /// Other references and back, each port with its own: the network stays the same.
    #[test]
    fn prop_references_there_and_back(seed in values(3), first in 5.0..500.0f64, second in 5.0..500.0f64) {
        // Magnitudes small enough for a passive network, so that all forms exist.
        let small: Vec<(f64, f64)> = seed.iter().map(|&(a, b)| (0.3 * a, 0.3 * b)).collect();
        let own = network(Parameter::S, &[first, second, 50.0], &small);
        let same = Touchstone {
            reference_ohm: vec![75.0; 3],
            matrices: own.s_parameters(75.0).unwrap(),
            ..own.clone()
        };
        let z = flat(&own.impedance_ohm().unwrap());
        let scale = z.iter().fold(0.0, |a: f64, b| a.max(b.abs()));
        assert_close!(flat(&same.impedance_ohm().unwrap()), z, within(1e-11 * scale));
        let y = Touchstone { parameter: Parameter::Y, matrices: own.admittance_s().unwrap(), ..own };
        assert_close!(flat(&y.s_parameters(75.0).unwrap()), flat(&same.matrices), within(1e-11));
    }

    #[test]
    fn prop_random_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let _ = read("x.s2p", &bytes);
    }

    /// Pieces of real files in any order reach deeper than random bytes.
    #[test]
    fn prop_shuffled_pieces_never_panic(pieces in proptest::collection::vec(proptest::sample::select(vec![
        "[Version] 2.0\n", "[Version]", "# MHz S RI R 50\n", "#", "R", "[Number of Ports] 2\n", "[Number of Ports] 64\n",
        "[Number of Frequencies] 1\n", "[Two-Port Data Order] 21_12\n", "[Reference]", " 50", " 1e999", "\n", "!", "[", "]",
        "[Matrix Format] Upper\n", "[Network Data]\n", "1 2 3\n", " 4 5", "1 0 0 0 0 0 0 0 0\n", "0.5 1 1 1 1\n",
        "[Noise Data]\n", "[End]\n", "[Begin Information]\n", "1e-99999999999", " é",
    ]), 0..30), name in proptest::sample::select(vec!["x.s1p", "x.s2p", "x.s64p", "x"])) {
        let _ = read(name, pieces.concat().as_bytes());
    }
}
