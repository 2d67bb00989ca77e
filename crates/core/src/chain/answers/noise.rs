//! Noise bandwidth.

use super::super::parts::Chain;
use super::super::transfer::Transfer;
use super::super::variants::Against;
use super::band::passband_gain;

/// ∫|H|²df/|H0|² from 0 to a limit, H0 the gain of the passband.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseBandwidth {
    /// The integral up to the limit, Hz.
    pub up_to_limit_hz: f64,
    /// How far off the numerical integral may be (estimate), Hz.
    pub numerical_error_hz: f64,
    /// What comes above the limit if the gain goes on falling as it does there (a power of f), Hz; infinite if it falls too slowly for an end.
    pub beyond_hz: f64,
}

/// Share of the whole at which refining stops.
const ENOUGH: f64 = 1e-10;

/// Halvings of one interval at most.
const DEEPEST: u32 = 24;

/// Noise bandwidth against the source or the unloaded node, integrated from 0 up to a limit (Hz).
pub fn noise_bandwidth(chain: &Chain, against: Against, up_to_hz: f64) -> NoiseBandwidth {
    let variant = chain.against(against);
    let reference = passband_gain(chain, against) / chain.ratio;
    let power = |f: f64| variant.at_frequency(f).norm_sqr() / (reference * reference);
    // Over ln f, decade by decade; below the lowest one |H|² has become constant or, behind ac coupling, nil.
    let lowest_hz = 1e-3_f64.min(1e-3 * up_to_hz);
    let first = lowest_hz * power(0.5 * lowest_hz);
    let (start, end) = (lowest_hz.ln(), up_to_hz.ln());
    let pieces = ((end - start) / std::f64::consts::LN_10).ceil().max(1.0);
    let integrand = |u: f64| {
        let f = u.exp();
        f * power(f)
    };
    let rough = Rule::over(start, end, pieces as u32, &integrand);
    let total: f64 = rough.iter().map(|(_, _, (value, _))| value).sum();
    let mut sum = (first, 0.0);
    for (low, high, estimate) in rough {
        let (value, error) =
            refine(low, high, estimate, ENOUGH * (total + first) / pieces, DEEPEST, &integrand);
        sum = (sum.0 + value, sum.1 + error);
    }
    let (last, before) = (power(up_to_hz), power(0.5 * up_to_hz));
    let fall = (before / last).log2();
    let beyond_hz = if last <= 0.0 {
        0.0
    } else if fall > 1.0 {
        up_to_hz * last / (fall - 1.0)
    } else {
        f64::INFINITY
    };
    NoiseBandwidth { up_to_limit_hz: sum.0, numerical_error_hz: sum.1, beyond_hz }
}

/// Halves an interval until value and error estimate agree with what is asked.
fn refine(
    low: f64,
    high: f64,
    (value, error): (f64, f64),
    enough: f64,
    deepest: u32,
    f: &impl Fn(f64) -> f64,
) -> (f64, f64) {
    if !(error > enough) || deepest == 0 {
        return (value, error);
    }
    let middle = 0.5 * (low + high);
    let half = |a, b| refine(a, b, Rule::apply(a, b, f), 0.5 * enough, deepest - 1, f);
    let (left, right) = (half(low, middle), half(middle, high));
    (left.0 + right.0, left.1 + right.1)
}

/// Gauss–Kronrod rule of 7 and 15 points (Kronrod 1965; nodes and weights as in QUADPACK, from memory, proven by a test below).
struct Rule;

const NODES: [f64; 8] = [
    0.991_455_371_120_812_639_206_854_697_526_329,
    0.949_107_912_342_758_524_526_189_684_047_851,
    0.864_864_423_359_769_072_789_712_788_640_926,
    0.741_531_185_599_394_439_863_864_773_280_788,
    0.586_087_235_467_691_130_294_144_691_258_865,
    0.405_845_151_377_397_166_906_606_412_076_961,
    0.207_784_955_007_898_467_600_689_403_773_245,
    0.0,
];
const KRONROD: [f64; 8] = [
    0.022_935_322_010_529_224_963_732_008_058_970,
    0.063_092_092_629_978_553_290_700_663_189_204,
    0.104_790_010_322_250_183_839_876_322_541_518,
    0.140_653_259_715_525_918_745_189_590_510_238,
    0.169_004_726_639_267_902_826_583_426_598_550,
    0.190_350_578_064_785_409_913_256_402_421_014,
    0.204_432_940_075_298_892_414_161_999_234_649,
    0.209_482_141_084_727_828_012_999_174_891_714,
];
const GAUSS: [f64; 4] = [
    0.129_484_966_168_869_693_270_611_432_679_082,
    0.279_705_391_489_276_667_901_467_771_423_780,
    0.381_830_050_505_118_944_950_369_775_488_975,
    0.417_959_183_673_469_387_755_102_040_816_327,
];

impl Rule {
    /// Value and difference of the two rules.
    fn apply(low: f64, high: f64, f: &impl Fn(f64) -> f64) -> (f64, f64) {
        let (centre, half) = (0.5 * (low + high), 0.5 * (high - low));
        let (mut kronrod, mut gauss) = (0.0, 0.0);
        for k in 0..8 {
            let pair =
                if k == 7 { f(centre) } else { f(centre - half * NODES[k]) + f(centre + half * NODES[k]) };
            kronrod += KRONROD[k] * pair;
            if k % 2 == 1 {
                gauss += GAUSS[k / 2] * pair;
            }
        }
        (half * kronrod, (half * (kronrod - gauss)).abs())
    }

    fn over(start: f64, end: f64, pieces: u32, f: &impl Fn(f64) -> f64) -> Vec<(f64, f64, (f64, f64))> {
        let step = (end - start) / f64::from(pieces);
        (0..pieces)
            .map(|k| {
                let (low, high) = (start + step * f64::from(k), start + step * f64::from(k + 1));
                (low, high, Rule::apply(low, high, f))
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};

    /// 15 Kronrod points integrate polynomials up to degree 22 exactly, 7 Gauss points up to 13: any wrong digit shows.
    #[test]
    fn the_rule_is_exact_for_powers() {
        for degree in (0..=22).step_by(2) {
            let (value, difference) = Rule::apply(-1.0, 1.0, &|x| x.powi(degree));
            assert_close!(value, 2.0 / f64::from(degree + 1), relative(1e-15));
            if degree <= 12 {
                assert_close!(difference, 0.0, within(1e-15));
            }
        }
    }
}
