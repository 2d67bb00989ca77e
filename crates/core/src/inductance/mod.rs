//! Inductance of leads and loops from their size.
//!
//! | geometry | here | formula |
//! | --- | --- | --- |
//! | straight round wire | [`straight_wire_h`] | (µ0·l/2π)·(ln(2l/r) − 1 + Y/4) |
//! | the same, its ends counted | [`straight_wire_with_ends_h`] | M(l, r) + Y·µ0·l/8π |
//! | two parallel filaments, mutual | [`parallel_filaments_h`] | M(l, d) = (µ0/2π)·(l·asinh(l/d) − √(l²+d²) + d) |
//! | circular loop | [`circular_loop_h`] | µ0·R·(ln(8R/a) − 2 + Y/4) |
//! | rectangular loop | [`rectangular_loop_h`] | (µ0/π)·(b·ln(2b/a) + d·ln(2d/a) + 2√(b²+d²) − b·asinh(b/d) − d·asinh(d/b) − (2−Y/4)(b+d)) |
//! | pair of wires, there and back | [`parallel_pair_h`] | (µ0·l/π)·(ln(D/a) + ¼); at high frequencies (µ0·l/π)·arcosh(D/2a) |
//! | coaxial line, thin shield | [`coax_h`] | (µ0·l/2π)·(ln(b/a) + Y/4) |
//!
//! Y is 1 for a current spread evenly over the wire and 0 for one on its surface, see [`Current`]. a, r: radius of the wire.
//! Source: E. B. Rosa, *Bull. Bur. Stand.* **4**(2), 301 (1908), and F. W. Grover, *Inductance Calculations*, as quoted by an
//! encyclopaedia; the mutual inductance of filaments as in Grover. All are for wires that are thin against what they enclose.
//!
//! A formula of a digital-design handbook, 10.16 nH·(x·ln(2y/D) + y·ln(2x/D)) in inches, lies 15 % above the closed form for a
//! loop of 1 in × 3 in of 0.02 in wire: it leaves out the terms in the diagonal. It is not used here.

mod ground_lead;

pub use ground_lead::{GroundLead, LeadLoop, ground_lead};

/// µ0, H/m: 4π·1e-7, right to 6e-10 (CODATA 2018, from memory).
pub const VACUUM_PERMEABILITY_H_PER_M: f64 = 4e-7 * std::f64::consts::PI;

/// How the current is spread over the cross-section of a wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Current {
    /// Evenly: direct current and low frequencies.
    Uniform,
    /// On the surface only: frequencies at which the skin depth is small against the radius (copper: 66 µm at 1 MHz).
    Surface,
}

impl Current {
    /// Y/4 of the formulas: what the field inside the wire adds.
    fn inside(self) -> f64 {
        match self {
            Current::Uniform => 0.25,
            Current::Surface => 0.0,
        }
    }
}

/// A size that no wire can have.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum GeometryError {
    /// A length that is not above zero, or not finite.
    #[error("{quantity} is {value_m} m: give a length above zero")]
    NotALength {
        /// Which length.
        quantity: &'static str,
        /// As given, m.
        value_m: f64,
    },
    /// The wire does not fit into what it is said to enclose.
    #[error(
        "wire of {wire_diameter_m} m diameter is too thick for {what} of {size_m} m: it has to be below {limit_m} m"
    )]
    WireTooThick {
        /// Diameter of the wire, m.
        wire_diameter_m: f64,
        /// What it should fit.
        what: &'static str,
        /// Size of that, m.
        size_m: f64,
        /// The diameter has to be below this, m.
        limit_m: f64,
    },
    /// The inner conductor does not fit into the outer one.
    #[error(
        "inner conductor of {inner_m} m does not fit into a shield of {outer_m} m: exchange them or correct the diameters"
    )]
    ShieldTooSmall {
        /// Diameter of the inner conductor, m.
        inner_m: f64,
        /// Inner diameter of the shield, m.
        outer_m: f64,
    },
    /// Tip and clip are further apart than the lead is long.
    #[error(
        "ground lead of {length_m} m cannot span {spacing_m} m from tip to clip: give a spacing below the lead's length"
    )]
    LeadTooShort {
        /// Length of the lead, m.
        length_m: f64,
        /// Distance from tip to clip, m.
        spacing_m: f64,
    },
}

fn length(quantity: &'static str, value_m: f64) -> Result<f64, GeometryError> {
    if value_m > 0.0 && value_m.is_finite() {
        Ok(value_m)
    } else {
        Err(GeometryError::NotALength { quantity, value_m })
    }
}

fn thin(wire_diameter_m: f64, what: &'static str, size_m: f64, limit_m: f64) -> Result<(), GeometryError> {
    length("diameter of the wire", wire_diameter_m)?;
    if wire_diameter_m < limit_m {
        Ok(())
    } else {
        Err(GeometryError::WireTooThick { wire_diameter_m, what, size_m, limit_m })
    }
}

/// µ0/2π, H/m.
const PER_LENGTH: f64 = 2e-7;

/// Partial inductance of a straight round wire, H; its ends are neglected.
///
/// # Errors
/// Lengths that are none, and wires as thick as they are long.
pub fn straight_wire_h(length_m: f64, diameter_m: f64, current: Current) -> Result<f64, GeometryError> {
    length("length of the wire", length_m)?;
    thin(diameter_m, "a straight wire", length_m, length_m)?;
    Ok(PER_LENGTH * length_m * ((4.0 * length_m / diameter_m).ln() - 1.0 + current.inside()))
}

/// Partial inductance of a straight round wire, H, with its ends counted: the better one where it is short.
///
/// # Errors
/// As [`straight_wire_h`].
pub fn straight_wire_with_ends_h(
    length_m: f64,
    diameter_m: f64,
    current: Current,
) -> Result<f64, GeometryError> {
    thin(diameter_m, "a straight wire", length("length of the wire", length_m)?, length_m)?;
    Ok(parallel_filaments_h(length_m, 0.5 * diameter_m)? + PER_LENGTH * length_m * current.inside())
}

/// Mutual inductance of two parallel filaments of the same length side by side, H.
///
/// # Errors
/// Lengths that are none.
pub fn parallel_filaments_h(length_m: f64, distance_m: f64) -> Result<f64, GeometryError> {
    let (l, d) =
        (length("length of the filaments", length_m)?, length("distance of the filaments", distance_m)?);
    // −√(l²+d²) + d without the cancellation where the distance is large.
    Ok(PER_LENGTH * (l * (l / d).asinh() - l * l / (l.hypot(d) + d)))
}

/// Inductance of a circular loop of round wire, H. `loop_diameter_m` is measured from centre to centre of the wire.
///
/// # Errors
/// Lengths that are none, and wires half as thick as the loop is wide, or more.
pub fn circular_loop_h(
    loop_diameter_m: f64,
    wire_diameter_m: f64,
    current: Current,
) -> Result<f64, GeometryError> {
    length("diameter of the loop", loop_diameter_m)?;
    thin(wire_diameter_m, "a loop", loop_diameter_m, 0.5 * loop_diameter_m)?;
    let ratio = 8.0 * loop_diameter_m / wire_diameter_m;
    Ok(0.5 * VACUUM_PERMEABILITY_H_PER_M * loop_diameter_m * (ratio.ln() - 2.0 + current.inside()))
}

/// Inductance of a rectangular loop of round wire, H. The sides are measured from centre to centre of the wire.
///
/// # Errors
/// Lengths that are none, and wires half as thick as the shorter side is long, or more.
pub fn rectangular_loop_h(
    side_m: f64,
    other_side_m: f64,
    wire_diameter_m: f64,
    current: Current,
) -> Result<f64, GeometryError> {
    let (b, d) =
        (length("side of the rectangle", side_m)?, length("other side of the rectangle", other_side_m)?);
    thin(wire_diameter_m, "a rectangle with a side", b.min(d), 0.5 * b.min(d))?;
    let log = |side: f64| side * (4.0 * side / wire_diameter_m).ln();
    let corners = 2.0 * b.hypot(d) - b * (b / d).asinh() - d * (d / b).asinh();
    Ok(2.0 * PER_LENGTH * (log(b) + log(d) + corners - (2.0 - current.inside()) * (b + d)))
}

/// Inductance of a pair of equal round wires, there and back, H. `spacing_m` is measured from centre to centre.
///
/// On the surface the current crowds towards the other wire; that is counted.
///
/// # Errors
/// Lengths that are none, and wires that touch.
pub fn parallel_pair_h(
    length_m: f64,
    spacing_m: f64,
    wire_diameter_m: f64,
    current: Current,
) -> Result<f64, GeometryError> {
    length("length of the pair", length_m)?;
    thin(wire_diameter_m, "a pair with a spacing", length("spacing of the pair", spacing_m)?, spacing_m)?;
    let shape = match current {
        Current::Uniform => (2.0 * spacing_m / wire_diameter_m).ln() + current.inside(),
        Current::Surface => (spacing_m / wire_diameter_m).acosh(),
    };
    Ok(2.0 * PER_LENGTH * length_m * shape)
}

/// Inductance of a coaxial line whose shield is thin, H. `shield_diameter_m` is the shield's inner diameter.
///
/// # Errors
/// Lengths that are none, and inner conductors as thick as the shield is wide.
pub fn coax_h(
    length_m: f64,
    inner_diameter_m: f64,
    shield_diameter_m: f64,
    current: Current,
) -> Result<f64, GeometryError> {
    length("length of the line", length_m)?;
    let inner_m = length("diameter of the inner conductor", inner_diameter_m)?;
    let outer_m = length("diameter of the shield", shield_diameter_m)?;
    if inner_m >= outer_m {
        return Err(GeometryError::ShieldTooSmall { inner_m, outer_m });
    }
    Ok(PER_LENGTH * length_m * ((outer_m / inner_m).ln() + current.inside()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, printed, relative};
    use proptest::prelude::*;

    #[test]
    fn impossible_wires_are_refused() {
        let thick = |r: Result<f64, GeometryError>| matches!(r, Err(GeometryError::WireTooThick { .. }));
        assert!(thick(circular_loop_h(0.01, 0.006, Current::Surface)));
        assert!(thick(rectangular_loop_h(0.1, 0.002, 0.001, Current::Surface)));
        assert!(thick(straight_wire_h(0.001, 0.002, Current::Surface)));
        assert!(thick(straight_wire_with_ends_h(0.001, 0.002, Current::Surface)));
        assert!(thick(parallel_pair_h(1.0, 0.001, 0.001, Current::Uniform)));
        assert!(matches!(coax_h(1.0, 2.0, 1.0, Current::Uniform), Err(GeometryError::ShieldTooSmall { .. })));
        for wrong in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            for result in [
                circular_loop_h(wrong, 1e-3, Current::Surface),
                circular_loop_h(1.0, wrong, Current::Surface),
                rectangular_loop_h(wrong, 1.0, 1e-3, Current::Surface),
                rectangular_loop_h(1.0, wrong, 1e-3, Current::Surface),
                straight_wire_h(wrong, 1e-3, Current::Surface),
                parallel_filaments_h(1.0, wrong),
                parallel_pair_h(wrong, 1.0, 1e-3, Current::Surface),
                coax_h(1.0, wrong, 1.0, Current::Surface),
            ] {
                assert!(matches!(result, Err(GeometryError::NotALength { .. })), "{wrong}: {result:?}");
            }
        }
    }

    #[test]
    fn a_ring_as_a_field_solver_finds_it() {
        // Example of a field-solver collection (Makarov et al.): ring of 20 mm radius, wire of 2 mm radius, dc, 66.15 nH.
        assert_close!(1e9 * circular_loop_h(0.04, 0.004, Current::Uniform).unwrap(), 66.15, printed(0.01));
    }

    proptest! {
        #[test]
        fn prop_inductance_scales_with_size(side in 0.01..1.0_f64, other in 0.01..1.0_f64, scale in 0.1..10.0_f64) {
            let of = |k: f64| rectangular_loop_h(k * side, k * other, k * 1e-3, Current::Surface).unwrap();
            assert_close!(of(scale), scale * of(1.0), relative(1e-12));
            let swapped = rectangular_loop_h(other, side, 1e-3, Current::Surface).unwrap();
            assert_close!(swapped, of(1.0), relative(1e-12));
        }

        #[test]
        fn prop_a_rectangle_is_four_wires_less_their_mutual_part(side in 0.02..0.5_f64, other in 0.02..0.5_f64) {
            // Partial inductances (Grover): sum of self less mutual; the corners differ by terms of the order of the radius.
            let (diameter, current) = (1e-5, Current::Surface);
            let wires: f64 = [(side, other), (other, side)]
                .map(|(l, d)| {
                    straight_wire_with_ends_h(l, diameter, current).unwrap() - parallel_filaments_h(l, d).unwrap()
                })
                .iter()
                .sum();
            assert_close!(2.0 * wires, rectangular_loop_h(side, other, diameter, current).unwrap(), relative(1e-3));
        }

        #[test]
        fn prop_a_narrow_rectangle_tends_to_a_pair(spacing in 5e-3..2e-2_f64) {
            let (long, diameter) = (100.0, 1e-4);
            let rectangle = rectangular_loop_h(long, spacing, diameter, Current::Uniform).unwrap();
            let pair = parallel_pair_h(long, spacing, diameter, Current::Uniform).unwrap();
            assert_close!(rectangle, pair, relative(1e-3));
        }
    }
}
