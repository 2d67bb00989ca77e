//! Inductance of wires and loops: L-01 to L-15, both tables, and the loop D-20/D-21.

use super::curve::columns;
use super::{Row, Tag, rows_of};
use flattop_core::inductance::{
    Current::{self, Surface, Uniform},
    GeometryError, VACUUM_PERMEABILITY_H_PER_M, circular_loop_h, coax_h, parallel_filaments_h,
    parallel_pair_h, rectangular_loop_h, straight_wire_h, straight_wire_with_ends_h,
};

const FORMULAS: &str =
    "E. B. Rosa 1908 and F. W. Grover, as quoted by an encyclopaedia (formulas), worked out in Python";

fn or_nan(value: Result<f64, GeometryError>) -> f64 {
    value.unwrap_or(f64::NAN)
}

/// Straight wire in mm, nH.
fn wire(length: f64, diameter: f64, current: Current) -> f64 {
    1e9 * or_nan(straight_wire_h(1e-3 * length, 1e-3 * diameter, current))
}

/// Rectangle in mm, nH.
fn rectangle(side: f64, other: f64, diameter: f64, current: Current) -> f64 {
    1e9 * or_nan(rectangular_loop_h(1e-3 * side, 1e-3 * other, 1e-3 * diameter, current))
}

/// Capacitance, F, of a line of 1 m with the field of a surface current: µ0·ε0·εr/L.
fn capacitance_of(inductance_h: f64, relative_permittivity: f64) -> f64 {
    const PERMITTIVITY: f64 = 8.854_187_8e-12;
    VACUUM_PERMEABILITY_H_PER_M * PERMITTIVITY * relative_permittivity / inductance_h
}

#[rustfmt::skip]
pub(crate) fn rows() -> Vec<Row> {
    let ends = |length: f64, diameter: f64| 1e9 * or_nan(straight_wire_with_ends_h(1e-3 * length, 1e-3 * diameter, Surface));
    let coax = |ratio: f64, current| or_nan(coax_h(1.0, 1e-3, 1e-3 * ratio, current));
    let pair = |spacing: f64, diameter: f64, current| or_nan(parallel_pair_h(1.0, spacing, diameter, current));
    let mut rows = rows_of("encyclopaedia, after Rosa and Grover", Tag::Published, &[
        ("L-01", "100 m straight wire of 1.024 mm diameter, dc", 0.24, 1e3 * or_nan(straight_wire_h(100.0, 1.024e-3, Uniform)), 0.005, "mH"),
    ]);
    rows.extend(rows_of("J. Bird, *Electrical Circuit Theory and Technology*, chapters 40, Ex. 16 to 20 and 3, as reworked in an open companion", Tag::Published, &[
        ("L-02", "coaxial line, b/a = 4, dc, per metre", 0.33, 1e6 * coax(4.0, Uniform), 0.005, "µH"),
        ("L-03", "coaxial line, b/a = 2.5, 7.5 km, dc", 1.75, 7.5e6 * coax(2.5, Uniform), 0.005, "mH"),
        ("L-03", "the same: capacitance from its surface inductance, εr = 3", 1.37, 7.5e9 * capacitance_of(coax(2.5, Surface), 3.0), 0.005, "µF"),
        ("L-04", "pair of 8 mm radius 1.2 m apart, surface, per metre", 2.00, 1e6 * pair(1.2, 16e-3, Surface), 0.005, "µH"),
        ("L-05", "pair of 5 mm radius 0.8 m apart, 1 km, dc", 2.13, 1e6 * pair(0.8, 10e-3, Uniform), 0.005, "mH"),
        ("L-05", "the same: capacitance from its surface inductance", 5.48, 1e12 * capacitance_of(pair(0.8, 10e-3, Surface), 1.0), 0.005, "nF"),
        ("L-06", "coaxial line, b/a = 12, εr = 2.7: capacitance per metre", 60.42, 1e12 * capacitance_of(coax(12.0, Surface), 2.7), 0.03, "pF"),
    ]));
    rows.extend(rows_of("example of a field-solver collection (Makarov et al.)", Tag::Published, &[
        ("L-07", "ring of 20 mm radius, wire of 2 mm radius, dc", 66.15, 1e9 * or_nan(circular_loop_h(0.04, 0.004, Uniform)), 0.005, "nH"),
    ]));
    let ring = 1e9 * or_nan(circular_loop_h(0.1, 1e-3, Surface));
    rows.extend(rows_of("25 nH per inch of circumference: rule of a signal-integrity article", Tag::Published, &[
        ("L-09", "ring of 50 mm radius, wire of 0.5 mm radius, per inch of circumference", 25.0, ring / (100.0 * std::f64::consts::PI / 25.4), 2.5, "nH"),
    ]));
    let square = 4.0 * (ends(100.0, 1.0) - 1e9 * or_nan(parallel_filaments_h(0.1, 0.1)));
    rows.extend(rows_of(FORMULAS, Tag::Derived, &[
        ("L-09", "the same ring, surface", 294.34, ring, 0.005, "nH"),
        ("L-10", "10 mm of 1 mm wire, dc", 5.878, wire(10.0, 1.0, Uniform), 5e-4, "nH"),
        ("L-10", "10 mm of 1 mm wire, surface", 5.378, wire(10.0, 1.0, Surface), 5e-4, "nH"),
        ("L-10", "10 mm of 1 mm wire, surface, with its ends", 5.477, ends(10.0, 1.0), 5.1e-4, "nH"),
        ("L-11", "100 mm of 1 mm wire, dc", 104.83, wire(100.0, 1.0, Uniform), 0.005, "nH"),
        ("L-11", "100 mm of 1 mm wire, surface", 99.83, wire(100.0, 1.0, Surface), 0.005, "nH"),
        ("L-12", "150 mm of 0.65 mm wire, dc", 182.33, wire(150.0, 0.65, Uniform), 0.005, "nH"),
        ("L-12", "150 mm of 0.65 mm wire, surface", 174.83, wire(150.0, 0.65, Surface), 0.005, "nH"),
        ("L-13", "square of 100 mm, wire of 1 mm, surface", 361.94, rectangle(100.0, 100.0, 1.0, Surface), 0.005, "nH"),
        ("L-13", "square of 100 mm, wire of 1 mm, dc", 381.94, rectangle(100.0, 100.0, 1.0, Uniform), 0.005, "nH"),
        ("L-13", "the same square as sum of partial inductances", 362.34, square, 0.005, "nH"),
        ("L-14", "150 mm × 30 mm, wire of 0.8 mm, surface", 294.58, rectangle(150.0, 30.0, 0.8, Surface), 0.005, "nH"),
        ("L-14", "150 mm × 30 mm, wire of 0.8 mm, dc", 312.58, rectangle(150.0, 30.0, 0.8, Uniform), 0.005, "nH"),
        ("L-15", "50 mm × 20 mm, wire of 0.6 mm, surface", 106.34, rectangle(50.0, 20.0, 0.6, Surface), 0.005, "nH"),
        ("L-15", "50 mm × 20 mm, wire of 0.6 mm, dc", 113.34, rectangle(50.0, 20.0, 0.6, Uniform), 0.005, "nH"),
        ("D-21", "loop of 1 in × 3 in, wire of 0.02 in, surface", 173.0, rectangle(25.4, 76.2, 0.508, Surface), 0.051, "nH"),
        ("D-21", "loop of 1 in × 3 in, wire of 0.02 in, dc", 183.2, rectangle(25.4, 76.2, 0.508, Uniform), 0.051, "nH"),
    ]));
    // The handbook's formula leaves out the diagonal: 15 % above the closed form, within the 20 % that it may be trusted to.
    let (x, y, d) = (1.0, 3.0, 0.02_f64);
    let handbook = 10.16 * (x * (2.0 * y / d).ln() + y * (2.0 * x / d).ln());
    rows.extend(rows_of("H. Johnson & M. Graham, *High-Speed Digital Design*, 1993, chapter 3, formula", Tag::FromMemory, &[
        ("D-20", "the same loop, surface, against the handbook's formula (198.3 nH, 15 % above the closed form)", handbook, rectangle(25.4, 76.2, 0.508, Surface), 0.2 * handbook, "nH"),
    ]));
    rows.extend(tables());
    rows
}

/// Every cell of both tables: largest deviation.
fn tables() -> Vec<Row> {
    let mut worst = [0.0_f64; 5];
    let mut note =
        |cell: usize, got: f64, expected: f64| worst[cell] = worst[cell].max((got - expected).abs());
    let t = columns(STRAIGHT_WIRE);
    for (line, (&length, &diameter)) in t[0].iter().zip(&t[1]).enumerate() {
        note(0, wire(length, diameter, Uniform), t[2][line]);
        note(1, wire(length, diameter, Surface), t[3][line]);
        note(2, 1e9 * or_nan(straight_wire_with_ends_h(1e-3 * length, 1e-3 * diameter, Surface)), t[4][line]);
    }
    let t = columns(RECTANGULAR_LOOP);
    for (line, (&side, &other)) in t[0].iter().zip(&t[1]).enumerate() {
        note(3, rectangle(side, other, t[2][line], Uniform), t[3][line]);
        note(4, rectangle(side, other, t[2][line], Surface), t[4][line]);
    }
    let names = [
        "28 straight wires, dc",
        "28 straight wires, surface",
        "28 straight wires, surface, with their ends",
        "21 rectangles, dc",
        "21 rectangles, surface",
    ];
    let mut rows = Vec::new();
    for (name, worst) in names.into_iter().zip(worst) {
        let what = format!("{name}: largest deviation");
        rows.extend(rows_of(FORMULAS, Tag::Derived, &[("L-T", &what, 0.0, worst, 1e-4, "nH")]));
    }
    rows
}

/// Straight round wires, worked out in Python with NumPy 2.4.
const STRAIGHT_WIRE: &str = "\
length_mm,diameter_mm,L_dc_nH,L_hf_nH,L_hf_with_end_terms_nH
5,0.25,3.6320,3.3820,3.4069
5,0.5,2.9389,2.6889,2.7383
5,1.0,2.2457,1.9957,2.0932
5,2.0,1.5526,1.3026,1.4926
10,0.25,8.6503,8.1503,8.1753
10,0.5,7.2641,6.7641,6.8137
10,1.0,5.8778,5.3778,5.4765
10,2.0,4.4915,3.9915,4.1865
20,0.25,20.0733,19.0733,19.0982
20,0.5,17.3007,16.3007,16.3505
20,1.0,14.5281,13.5281,13.6275
20,2.0,11.7555,10.7555,10.9530
50,0.25,59.3461,56.8461,56.8711
50,0.5,52.4146,49.9146,49.9646
50,1.0,45.4832,42.9832,43.0829
50,2.0,38.5517,36.0517,36.2507
100,0.25,132.5552,127.5552,127.5802
100,0.5,118.6922,113.6922,113.7422
100,1.0,104.8293,99.8293,99.9292
100,2.0,90.9663,85.9663,86.1658
150,0.25,210.9967,203.4967,203.5217
150,0.5,190.2023,182.7023,182.7523
150,1.0,169.4079,161.9079,162.0078
150,2.0,148.6135,141.1135,141.3131
200,0.25,292.8362,282.8362,282.8612
200,0.5,265.1104,255.1104,255.1603
200,1.0,237.3845,227.3845,227.4844
200,2.0,209.6586,199.6586,199.8583
";

/// Rectangular loops of round wire, worked out in Python with NumPy 2.4.
const RECTANGULAR_LOOP: &str = "\
side_b_mm,side_d_mm,wire_diameter_mm,L_dc_nH,L_hf_nH
10,10,0.5,25.3189,23.3189
10,10,0.8,21.5589,19.5589
10,10,1.0,19.7738,17.7738
50,20,0.5,118.4471,111.4471
50,20,0.8,105.2870,98.2870
50,20,1.0,99.0390,92.0390
100,10,0.5,167.9833,156.9833
100,10,0.8,147.3032,136.3032
100,10,1.0,137.4849,126.4849
100,50,0.5,304.2868,289.2868
100,50,0.8,276.0866,261.0866
100,50,1.0,262.6980,247.6980
150,30,0.5,346.4182,328.4182
150,30,0.8,312.5779,294.5779
150,30,1.0,296.5116,278.5116
150,75,0.5,492.9221,470.4221
150,75,0.8,450.6218,428.1218
150,75,1.0,430.5388,408.0388
25.4,76.2,0.5,183.8388,173.6788
25.4,76.2,0.8,164.7378,154.5778
25.4,76.2,1.0,155.6693,145.5093
";
