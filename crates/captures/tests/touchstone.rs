//! Every file in `testdata/touchstone`: the numbers of the valid ones, the whole text of each error.

#![allow(
    clippy::unwrap_used,
    clippy::approx_constant,
    reason = "helpers of tests; measured values are no constants"
)]

use std::collections::BTreeSet;
use std::path::PathBuf;

use flattop_captures::touchstone::{Parameter, Touchstone, open};
use flattop_close::{assert_close, printed, relative, within};
use num_complex::Complex64;

fn folder(which: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../testdata/touchstone").join(which)
}

fn valid(file: &str) -> Touchstone {
    open(&folder("valid").join(file)).unwrap()
}

fn names(which: &str) -> BTreeSet<String> {
    std::fs::read_dir(folder(which)).unwrap().map(|f| f.unwrap().file_name().into_string().unwrap()).collect()
}

fn real(matrix: &[Complex64]) -> Vec<f64> {
    matrix.iter().map(|c| c.re).collect()
}

/// File, parameter, references, first and last frequency, real parts of the first matrix, codes of findings.
type Valid = (&'static str, Parameter, &'static [f64], f64, f64, &'static [f64], &'static [&'static str]);

const COS_12: f64 = 0.977651;

/// Layouts as the specification gives them (versions 1.1 and 2.0, as kept with the examples of section "Touchstone" of the
/// project's references); the values of made-up files name the place of the element.
#[rustfmt::skip]
const VALID: &[Valid] = &[
    ("decibels.s1p", Parameter::S, &[50.0], 1e3, 1e3, &[-0.5], &[]),
    ("four-ports-without-ending.ts", Parameter::S, &[50.0; 4], 1e6, 1e6, &[11.0, 12.0, 13.0, 14.0, 21.0, 22.0, 23.0, 24.0, 31.0, 32.0, 33.0, 34.0, 41.0, 42.0, 43.0, 44.0], &[]),
    ("g.s2p", Parameter::G, &[50.0; 2], 1e6, 1e6, &[0.04, 4.0, 3.0, 250.0], &[]),
    ("h-option-repeated.s2p", Parameter::H, &[50.0; 2], 1e6, 1e6, &[100.0, 4.0, 3.0, 0.1], &["touchstone-option-repeated"]),
    ("lower-and-references-on-lines.s3p", Parameter::S, &[50.0, 60.0, 70.0], 1e6, 1e6, &[11.0, 21.0, 31.0, 21.0, 22.0, 32.0, 31.0, 32.0, 33.0], &[]),
    ("noise-behind-data.s2p", Parameter::S, &[50.0; 2], 2e9, 22e9, &[0.853854, 0.009677, -3.286202, 0.640395], &["touchstone-noise-skipped"]),
    ("option-line-empty.s1p", Parameter::S, &[50.0], 1e9, 1e9, &[0.0], &[]),
    ("options-any-order-and-case-crlf.s2p", Parameter::S, &[50.0; 2], 1e9, 1e9, &[0.1, 0.3, 0.2, 0.4], &[]),
    ("s-one-port.s1p", Parameter::S, &[50.0], 2e6, 2e6, &[0.894 * COS_12], &[]),
    ("three-ports-wrapped.s3p", Parameter::S, &[50.0; 3], 1e6, 2e6, &[11.0, 12.0, 13.0, 21.0, 22.0, 23.0, 31.0, 32.0, 33.0], &[]),
    ("two-port-wrapped.s2p", Parameter::S, &[50.0; 2], 1e6, 1e6, &[11.0, 12.0, 21.0, 22.0], &[]),
    ("two-port.s2p", Parameter::S, &[50.0; 2], 1e9, 2e9, &[0.3926, -0.0003, -0.0003, 0.3926], &[]),
    ("upper-without-end.s3p", Parameter::S, &[50.0; 3], 1e6, 1e6, &[11.0, 12.0, 13.0, 12.0, 22.0, 23.0, 13.0, 23.0, 33.0], &["touchstone-no-end"]),
    ("version-2-noise.s2p", Parameter::S, &[50.0, 25.0], 2e9, 22e9, &[0.853854, 0.009677, -3.286202, 0.640395], &["touchstone-noise-skipped"]),
    ("version-2-order-12-21.s2p", Parameter::S, &[50.0; 2], 1e6, 1e6, &[1.0, 2.0, 3.0, 4.0], &[]),
    ("y-normalised.s1p", Parameter::Y, &[50.0], 1e3, 1e3, &[0.04], &[]),
    ("z-version-1-normalised.s1p", Parameter::Z, &[75.0], 100e6, 500e6, &[74.069131], &[]),
    ("z-version-2-ohms.s1p", Parameter::Z, &[20.0], 100e6, 500e6, &[74.069131], &[]),
];

#[test]
fn valid_files() {
    assert_eq!(VALID.iter().map(|v| v.0.to_owned()).collect::<BTreeSet<_>>(), names("valid"));
    for &(file, parameter, references, first, last, values, codes) in VALID {
        let got = valid(file);
        assert_eq!(got.parameter, parameter, "{file}");
        assert_close!(got.reference_ohm, references, relative(1e-15), "{file}");
        assert_eq!(got.ports, references.len(), "{file}");
        assert_close!(got.frequency_hz[0], first, within(0.0), "{file}");
        assert_close!(*got.frequency_hz.last().unwrap(), last, within(0.0), "{file}");
        assert_close!(real(&got.matrices[0]), values, within(1e-6), "{file}");
        assert_eq!(got.findings.iter().map(|f| f.code).collect::<Vec<_>>(), codes, "{file}");
    }
}

/// Specification's example, numbers derived with an independent program (the project's references, 9.4).
#[test]
fn one_port_example_of_the_specification() {
    let network = valid("s-one-port.s1p");
    let z = network.impedance_ohm().unwrap()[0][0];
    assert_close!([z.re, z.im], [196.0762, -367.1192], printed(0.0001));
    assert_close!(-20.0 * network.matrices[0][0].norm().log10(), 0.97325, printed(0.00001));
    let y = network.admittance_s().unwrap()[0][0];
    assert_close!(1.0 / y.re, 883.444, printed(0.001));
    assert_close!(y.im / (std::f64::consts::TAU * 2e6) * 1e12, 168.653, printed(0.001));
}

/// Version 1 is normalised and version 2 is not: both files say the same network (references, 9.4). The first angle is
/// printed there as −9.7538, twice rounded; (Z − 50)/(Z + 50) in double precision, worked out apart, is −9.753749.
#[test]
fn impedances_of_both_versions_on_50_ohm() {
    for file in ["z-version-1-normalised.s1p", "z-version-2-ohms.s1p"] {
        let s = valid(file).s_parameters(50.0).unwrap();
        for (at, magnitude, angle) in
            [(0, 0.198266, -9.753749), (2, 0.415222, -85.2485), (4, 0.999477, -178.2815)]
        {
            assert_close!(s[at][0].norm(), magnitude, printed(0.000001), "{file}");
            assert_close!(
                s[at][0].arg().to_degrees(),
                angle,
                printed(if at == 0 { 0.000001 } else { 0.0001 }),
                "{file}"
            );
        }
    }
}

/// References, 9.4.
#[test]
fn two_port_example_of_the_specification() {
    let network = valid("two-port.s2p");
    let z = &network.impedance_ohm().unwrap()[0];
    assert_close!(
        [z[0].re, z[0].im, z[2].re, z[2].im],
        [108.340820, -31.567893, -0.282168, -0.475592],
        printed(0.000001)
    );
    let [a, b, c, d] = network.chain().unwrap()[0];
    assert_close!(
        [a.re, a.im, d.re, d.im],
        [-50.871633, 197.619798, -50.871633, 197.619798],
        printed(0.000001)
    );
    assert_close!([b.re, b.im], [727.248317, 23016.676783], printed(0.000001));
    assert_close!([c.re, c.im], [-0.922700673, 1.555204047], printed(0.000000001));
    let determinant = a * d - b * c;
    assert_close!([determinant.re, determinant.im], [1.0, 0.0], within(1e-9));
}

/// File and the whole text of its error.
#[rustfmt::skip]
const INVALID: &[(&str, &str)] = &[
    ("empty.s1p", "empty.s1p: the file is empty (0 bytes); export the capture again"),
    ("frequency-falls.s1p", "frequency-falls.s1p, line 3: expected a frequency above 2000000 Hz, that of the row before, found 1000000 Hz; sort the rows by frequency, each frequency once"),
    ("frequency-negative.s1p", "frequency-negative.s1p, line 2: expected a frequency, as a number not below zero, found \"-1\"; correct it, or put a ! before a remark"),
    ("frequency-twice.s1p", "frequency-twice.s1p, line 3: expected a frequency above 1000000 Hz, that of the row before, found 1000000 Hz; sort the rows by frequency, each frequency once"),
    ("h-of-one-port.s1p", "h-of-one-port.s1p, line 1: expected two ports, as G and H parameters are for two-ports only, found 1 port; export S parameters"),
    ("nan.s1p", "nan.s1p, line 2: expected a finite number, found \"NaN\"; correct it"),
    ("no-data.s1p", "no-data.s1p, line 1: expected network data, found the end of the file; export the file again"),
    ("no-option-line.s1p", "no-option-line.s1p, line 1: expected the option line of a Touchstone file before all data, found \"1 0.5 0\"; begin with a line like \"# MHz S RI R 50\", or with \"[Version] 2.0\""),
    ("noise-frequency-twice.s2p", "noise-frequency-twice.s2p, line 4: expected noise data: five numbers, frequency rising, found \"1 1 1 1 1\"; take the noise data out, or correct the order of the rows"),
    ("not-a-number.s1p", "not-a-number.s1p, line 2: expected a finite number, found \"zero\"; correct it"),
    ("option-twice.s1p", "option-twice.s1p, line 1: expected each part of the option line once, found \"RI\" as a second format; take one of the two out"),
    ("option-unknown.s1p", "option-unknown.s1p, line 1: expected frequency unit (Hz, kHz, MHz, GHz), parameter (S, Y, Z, G, H), format (MA, DB, RI) and R with a resistance in the option line, found \"XY\"; write it like \"# MHz S RI R 50\""),
    ("ports-not-those-of-name.s2p", "ports-not-those-of-name.s2p, line 2: expected 9 numbers for each frequency, as the name of the file says 2 ports, found 3, as of 1 port; rename the file, or export it again"),
    ("reference-negative.s1p", "reference-negative.s1p, line 1: expected a reference resistance in ohms, above zero, found \"-50\"; give it as a plain real number, such as 50; complex references are not read"),
    ("row-long.s1p", "row-long.s1p, line 2: expected 3 numbers for the frequency that begins on line 2, found 5; complete the row, and begin each frequency on a new line"),
    ("row-short.s1p", "row-short.s1p, line 2: expected 3 numbers for the frequency that begins on line 2, found 2; complete the row, and begin each frequency on a new line"),
    ("two-frequencies-on-one-line.s1p", "two-frequencies-on-one-line.s1p, line 2: expected 3 numbers for each frequency, as the name of the file says 1 port, found 9, as of 2 ports; rename the file, or export it again"),
    ("v2-cut-short.s1p", "v2-cut-short.s1p, line 7: expected 3 frequencies, as [Number of Frequencies] says, found 2; export the file again, since it may be cut short, or correct the number"),
    ("v2-information-open.s1p", "v2-information-open.s1p, line 3: expected [End Information] somewhere after it, found the end of the file; add it"),
    ("v2-keyword-after-data.s1p", "v2-keyword-after-data.s1p, line 7: expected [Noise Data] or [End] after the network data, found \"[Reference] 50\"; move it before [Network Data], or take it out"),
    ("v2-keyword-unknown.s1p", "v2-keyword-unknown.s1p, line 4: expected a keyword of version 2 (Version, Number of Ports, Two-Port Data Order, Number of Frequencies, Number of Noise Frequencies, Reference, Matrix Format, Begin Information, Network Data), found \"[Number of Frequencys] 1\"; correct its spelling, or take it out"),
    ("v2-mixed-mode.s2p", "v2-mixed-mode.s2p, line 5: expected parameters of single ports, found [Mixed-Mode Order]: common and differential modes; export single-ended S parameters"),
    ("v2-no-network-data.s1p", "v2-no-network-data.s1p, line 5: expected a keyword in brackets, or the option line, found \"1 1 0\"; put [Network Data] before the data"),
    ("v2-no-number-of-frequencies.s1p", "v2-no-number-of-frequencies.s1p, line 4: expected [Number of Frequencies] before [Network Data], found none; add it: version 2 requires it"),
    ("v2-no-number-of-ports.s1p", "v2-no-number-of-ports.s1p, line 4: expected [Number of Ports] before [Network Data], found none; add it: version 2 requires it"),
    ("v2-no-option-line.s1p", "v2-no-option-line.s1p, line 5: expected an option line, found none before [Network Data]; add a line like \"# MHz S RI R 50\" behind [Version]"),
    ("v2-no-order.s2p", "v2-no-order.s2p, line 5: expected [Two-Port Data Order] before [Network Data], found none; add it: version 2 requires it"),
    ("v2-order-of-one-port.s1p", "v2-order-of-one-port.s1p, line 4: expected [Two-Port Data Order] with two ports only, found [Number of Ports] 1; take it out"),
    ("v2-ports-too-many.ts", "v2-ports-too-many.ts, line 3: expected a whole number from 1 to 64, found \"1000000\"; write the number behind the keyword"),
    ("v2-references-too-many.s1p", "v2-references-too-many.s1p, line 5: expected one reference resistance for each port, that is 1, found 2; complete them, if need be on the following lines"),
    ("v2-version-not-first.s1p", "v2-version-not-first.s1p, line 1: expected [Version] as the first keyword, found \"[Number of Ports] 1\"; put \"[Version] 2.0\" before it"),
    ("v3.s1p", "v3.s1p, line 1: expected [Version] 2.0 or 2.1, found \"3.0\"; export in one of these; files of version 1 have no such keyword"),
];

#[test]
fn invalid_files() {
    assert_eq!(INVALID.iter().map(|v| v.0.to_owned()).collect::<BTreeSet<_>>(), names("invalid"));
    for &(file, expected) in INVALID {
        let error = open(&folder("invalid").join(file)).unwrap_err();
        assert_eq!(error.to_string(), expected, "{file}");
    }
}
