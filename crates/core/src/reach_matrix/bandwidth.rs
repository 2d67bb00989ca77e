//! Bandwidth and transition duration of a probe on an input, by the rule of the root sum of squares.
//!
//! t² = tp² + ti², each t = k/B with k the product of transition duration and bandwidth of its response. Data sheets do not tell the
//! response of a probe: it is taken as Gaussian. The bandwidth follows from 1/B² = 1/Bp² + 1/Bi², the same rule with one k.
//! Both are exact where both responses are Gaussian, whose variances add; two equal single poles have 9 % less bandwidth, and a
//! transition 8 % longer, than the rule says (the test works them out). For a given chain, [`crate::chain::answers::bandwidth_hz`] is exact.

use crate::chain::ResponseShape;
use crate::coupling::{LowPass, gaussian_transition_bandwidth};

/// 10–90 % transition duration times −3 dB bandwidth of maximally flat responses of order 1 to 10: the step responses of the filter family,
/// worked out by an independent program (SciPy 1.17), see `reference/published/rise_time_bandwidth_products.csv`.
const MAXIMALLY_FLAT: [f64; 10] =
    [0.349699, 0.341871, 0.364490, 0.387130, 0.407777, 0.426527, 0.443683, 0.459519, 0.474254, 0.488055];

/// The same of the fourth-order Bessel response, same source.
const BESSEL4: f64 = 0.350130;

/// 10–90 % transition duration times −3 dB bandwidth of a response; `None`: not known, taken as Gaussian.
pub fn transition_bandwidth(shape: Option<ResponseShape>) -> f64 {
    match shape {
        None | Some(ResponseShape::Gaussian) => gaussian_transition_bandwidth(),
        Some(ResponseShape::SinglePole) => {
            let pole = LowPass { time_constant_s: 1.0 };
            pole.transition_s() * pole.corner_hz()
        }
        Some(ResponseShape::Bessel4) => BESSEL4,
        Some(ResponseShape::MaximallyFlat(order)) => {
            MAXIMALLY_FLAT[usize::from(order).clamp(1, MAXIMALLY_FLAT.len()) - 1]
        }
    }
}

/// Bandwidth of both together, Hz: 1/√(1/Bp² + 1/Bi²).
#[inline]
pub fn combined_bandwidth_hz(probe_hz: f64, input_hz: f64) -> f64 {
    1.0 / probe_hz.recip().hypot(input_hz.recip())
}

/// Transition duration of both together, s, from those of each.
#[inline]
pub fn combined_transition_s(probe_s: f64, input_s: f64) -> f64 {
    probe_s.hypot(input_s)
}
