//! What a ground lead of known length adds to the contact, with the doubt that its shape leaves.
//!
//! The loop runs from the tip through the circuit to the clip, along the lead back to the probe's body, and along the body to the
//! tip. Only the lead's length is usually known. The loop is put between two bounds, and anything between them is taken as
//! equally likely: value = middle, standard uncertainty = width/√12 (JCGM 100:2008, 4.3.7). Current on the surface.
//!
//! | known | lower bound | upper bound |
//! | --- | --- | --- |
//! | length alone | lead drawn tight beside the tip, half its length there and half back: a slit 5 mm wide whose perimeter is the lead; wire 1 mm | opened to a circle, with as much length again in body and circuit: circumference twice the lead; wire 0.5 mm |
//! | length and spacing from tip to clip | the lead makes three sides, the spacing the fourth: rectangle spacing × (lead − spacing)/2 | the lead runs along the body all the way: rectangle lead × spacing |
//!
//! The rule of the trade, 25 nH per inch or 1 nH per millimetre of lead, lies within one standard uncertainty for the usual leads.

use super::{Current, GeometryError, circular_loop_h, length, rectangular_loop_h};

/// What is known of the loop, besides the length of the lead.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LeadLoop {
    /// Nothing.
    LengthOnly,
    /// Where tip and clip go, and how thick the lead's conductor is.
    Rectangle {
        /// Distance from tip to clip, m; below the length of the lead.
        tip_to_clip_m: f64,
        /// Diameter of the lead's conductor, m.
        wire_diameter_m: f64,
    },
}

/// Inductance of a contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GroundLead {
    /// Best estimate, H.
    pub inductance_h: f64,
    /// Its standard uncertainty, H.
    pub standard_uncertainty_h: f64,
    /// Least and most the loop can have, H.
    pub bounds_h: (f64, f64),
}

/// Width of a loop drawn tight, m: about the radius of a probe's body.
const SLIT_M: f64 = 5e-3;
/// Thickest usual conductor, m; the thinnest is half of it.
const THICK_M: f64 = 1e-3;

/// Estimates the inductance of tip and ground lead together.
///
/// # Errors
/// Sizes that are no lengths, a lead that does not span the spacing, a wire too thick for the loop.
pub fn ground_lead(length_m: f64, known: LeadLoop) -> Result<GroundLead, GeometryError> {
    length("length of the ground lead", length_m)?;
    let (least, most) = match known {
        LeadLoop::LengthOnly => {
            // Very short leads (spring contacts) keep the proportions of one of 20 mm.
            let width = SLIT_M.min(0.25 * length_m);
            let thick = THICK_M.min(0.2 * width);
            let slit = rectangular_loop_h(0.5 * length_m - width, width, thick, Current::Surface)?;
            let circle =
                circular_loop_h(2.0 * length_m / std::f64::consts::PI, 0.5 * thick, Current::Surface)?;
            (slit, circle)
        }
        LeadLoop::Rectangle { tip_to_clip_m, wire_diameter_m } => {
            let spacing_m = length("distance from tip to clip", tip_to_clip_m)?;
            if spacing_m >= length_m {
                return Err(GeometryError::LeadTooShort { length_m, spacing_m });
            }
            let depth = 0.5 * (length_m - spacing_m);
            let least = rectangular_loop_h(spacing_m, depth, wire_diameter_m, Current::Surface)?;
            (least, rectangular_loop_h(spacing_m, length_m, wire_diameter_m, Current::Surface)?)
        }
    };
    Ok(GroundLead {
        inductance_h: 0.5 * (least + most),
        standard_uncertainty_h: (most - least) / 12f64.sqrt(),
        bounds_h: (least, most),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};
    use proptest::prelude::*;

    #[test]
    fn the_rule_of_the_trade_is_within_the_doubt() {
        // 25 nH per inch of lead: common practice.
        for inches in [3.0, 4.0, 6.0] {
            let lead = ground_lead(0.0254 * inches, LeadLoop::LengthOnly).unwrap();
            assert_close!(
                lead.inductance_h,
                25e-9 * inches,
                within(lead.standard_uncertainty_h),
                "{inches} in"
            );
        }
    }

    #[test]
    fn leads_that_do_not_reach_are_refused() {
        let lead = |spacing: f64| {
            ground_lead(0.1, LeadLoop::Rectangle { tip_to_clip_m: spacing, wire_diameter_m: 0.8e-3 })
        };
        assert!(lead(0.03).is_ok());
        assert!(matches!(lead(0.1), Err(GeometryError::LeadTooShort { .. })));
        assert!(matches!(lead(0.001), Err(GeometryError::WireTooThick { .. })));
        assert!(matches!(ground_lead(f64::NAN, LeadLoop::LengthOnly), Err(GeometryError::NotALength { .. })));
    }

    proptest! {
        #[test]
        fn prop_longer_leads_have_more_and_a_known_spacing_lies_between_the_bounds(
            length in 0.003..0.5_f64, longer in 1.001..2.0_f64, share in 0.15..0.6_f64,
        ) {
            let alone = ground_lead(length, LeadLoop::LengthOnly).unwrap();
            prop_assert!(alone.bounds_h.0 > 0.0 && alone.bounds_h.0 < alone.bounds_h.1);
            let other = ground_lead(longer * length, LeadLoop::LengthOnly).unwrap();
            prop_assert!(other.inductance_h > alone.inductance_h);
            if length > 0.05 {
                let known = LeadLoop::Rectangle { tip_to_clip_m: share * length, wire_diameter_m: 0.7e-3 };
                let known = ground_lead(length, known).unwrap();
                prop_assert!(alone.bounds_h.0 < known.bounds_h.0);
                prop_assert!(known.inductance_h > 0.0 && known.bounds_h.0 < known.bounds_h.1);
            }
        }
    }
}
