//! From numbers between 0 and 1 to normal scores, and from scores to Student's t.
//!
//! Algorithm AS 241 (PPND16): M. J. Wichura, *The percentage points of the normal distribution*, Applied Statistics 37 (1988), 477–484;
//! coefficients from memory, held to the inverse of the distribution by a test.

use multiversion::multiversion;

use crate::numeric::stats::{student_cdf, student_quantile};

const A: [f64; 8] = [
    3.387_132_872_796_366_608_0,
    1.331_416_678_917_843_774_5e2,
    1.971_590_950_306_551_442_7e3,
    1.373_169_376_550_946_112_5e4,
    4.592_195_393_154_987_145_7e4,
    6.726_577_092_700_870_085_3e4,
    3.343_057_558_358_812_810_5e4,
    2.509_080_928_730_122_672_7e3,
];
const B: [f64; 8] = [
    1.0,
    4.231_333_070_160_091_125_2e1,
    6.871_870_074_920_579_083_0e2,
    5.394_196_021_424_751_107_7e3,
    2.121_379_430_158_659_586_7e4,
    3.930_789_580_009_271_061_0e4,
    2.872_908_573_572_194_267_4e4,
    5.226_495_278_852_854_561_0e3,
];
const C: [f64; 8] = [
    1.423_437_110_749_683_577_34,
    4.630_337_846_156_545_295_90,
    5.769_497_221_460_691_405_50,
    3.647_848_324_763_204_605_04,
    1.270_458_252_452_368_382_58,
    2.417_807_251_774_506_117_70e-1,
    2.272_384_498_926_918_458_33e-2,
    7.745_450_142_783_414_076_40e-4,
];
const D: [f64; 8] = [
    1.0,
    2.053_191_626_637_758_821_87,
    1.676_384_830_183_803_849_40,
    6.897_673_349_851_000_045_50e-1,
    1.481_039_764_274_800_745_90e-1,
    1.519_866_656_361_645_719_66e-2,
    5.475_938_084_995_344_946_00e-4,
    1.050_750_071_644_416_843_24e-9,
];
const E: [f64; 8] = [
    6.657_904_643_501_103_777_20,
    5.463_784_911_164_114_369_90,
    1.784_826_539_917_291_335_80,
    2.965_605_718_285_048_912_30e-1,
    2.653_218_952_657_612_309_30e-2,
    1.242_660_947_388_078_438_60e-3,
    2.711_555_568_743_487_578_15e-5,
    2.010_334_399_292_288_132_65e-7,
];
const F: [f64; 8] = [
    1.0,
    5.998_322_065_558_879_376_90e-1,
    1.369_298_809_227_358_053_10e-1,
    1.487_536_129_085_061_485_25e-2,
    7.868_691_311_456_132_591_00e-4,
    1.846_318_317_510_054_681_80e-5,
    1.421_511_758_316_445_888_70e-7,
    2.044_263_103_389_939_785_64e-15,
];

#[inline(always)]
fn polynomial(c: &[f64; 8], x: f64) -> f64 {
    ((((((c[7] * x + c[6]) * x + c[5]) * x + c[4]) * x + c[3]) * x + c[2]) * x + c[1]) * x + c[0]
}

/// Half-width of the middle part, in probability.
const MIDDLE: f64 = 0.425;

fn tail(q: f64) -> f64 {
    let r = (-(0.5 - q.abs()).ln()).sqrt();
    let z = if r <= 5.0 {
        polynomial(&C, r - 1.6) / polynomial(&D, r - 1.6)
    } else {
        polynomial(&E, r - 5.0) / polynomial(&F, r - 5.0)
    };
    z.copysign(q)
}

/// What is right in the middle part, and each number's distance from a half.
#[multiversion(targets("x86_64+avx2"))]
fn middle(shifted: &mut [f64], values: &mut [f64]) {
    for (q, value) in shifted.iter_mut().zip(values) {
        *q = *value - 0.5;
        let r = MIDDLE * MIDDLE - *q * *q;
        *value = *q * polynomial(&A, r) / polynomial(&B, r);
    }
}

/// Turns numbers between 0 and 1 into normal scores, in place.
pub(super) fn scores(values: &mut [f64]) {
    // The middle part for all, without branches; then the tails again.
    let mut shifted = [0.0; 256];
    for part in values.chunks_mut(256) {
        middle(&mut shifted, part);
        for (q, value) in shifted.iter().zip(part) {
            if q.abs() > MIDDLE {
                *value = tail(*q);
            }
        }
    }
}

/// Student's t as a function of the normal score of the same probability.
#[derive(Clone, Debug)]
pub(super) struct StudentTable {
    /// Value and slope, at scores 0, STEP, 2·STEP, …; the function is odd.
    nodes: Vec<(f64, f64)>,
}

/// Beyond, no uniform number of 52 bits leads.
const LARGEST_SCORE: f64 = 8.4;
const STEP: f64 = 1.0 / 128.0;

impl StudentTable {
    pub(super) fn new(freedom: f64) -> Self {
        let count = (LARGEST_SCORE / STEP) as usize + 2;
        let front = (libm::lgamma(0.5 * (freedom + 1.0)) - libm::lgamma(0.5 * freedom)).exp()
            / (std::f64::consts::PI * freedom).sqrt();
        let mut t = 0.0_f64;
        let mut nodes: Vec<(f64, f64)> = Vec::with_capacity(count);
        for k in 0..count {
            let z = k as f64 * STEP;
            let upper = 0.5 * libm::erfc(z * std::f64::consts::FRAC_1_SQRT_2);
            let density = |t: f64| front * (-0.5 * (freedom + 1.0) * (t * t / freedom).ln_1p()).exp();
            if k > 0 {
                let (before, slope) = nodes[k - 1];
                t = before + STEP * slope;
                let mut done = false;
                for _ in 0..50 {
                    // Newton on the logarithm of the tail, which is nearly straight.
                    let tail = student_cdf(-t, freedom);
                    let step = (tail / upper).ln() * tail / density(t);
                    t = (t + step).max(before);
                    if step.abs() <= 1e-13 * t.abs() {
                        done = true;
                        break;
                    }
                }
                if !done {
                    t = -student_quantile(upper, freedom);
                }
            }
            let normal = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
            nodes.push((t, normal / density(t)));
        }
        Self { nodes }
    }

    pub(super) fn at(&self, score: f64) -> f64 {
        let at = score.abs().min(LARGEST_SCORE) / STEP;
        let k = at as usize;
        let x = at - k as f64;
        let ((a, da), (b, db)) = (self.nodes[k], self.nodes[k + 1]);
        let (da, db, rise) = (da * STEP, db * STEP, b - a);
        // Cubic through both values and slopes.
        let value = a + x * (da + x * (3.0 * rise - 2.0 * da - db + x * (da + db - 2.0 * rise)));
        value.copysign(score)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::stats::{normal_cdf, normal_quantile};
    use flattop_close::{Tolerance, assert_close, relative};

    #[test]
    fn scores_are_the_normal_quantile() {
        let mut p: Vec<f64> = (1..4000).map(|k| f64::from(k) / 4000.0).collect();
        p.extend([1e-16, 1e-12, 1e-9, 1e-6, 1e-4, 0.075, 0.0750001, 0.925, 1.0 - 1e-9]);
        // The numbers that streams give: middles of 2^52 steps.
        let steps = (1u64 << 52) as f64;
        for p in &mut p {
            *p = ((*p * steps).floor() + 0.5) / steps;
        }
        let mut z = p.clone();
        scores(&mut z);
        for (p, z) in p.into_iter().zip(z) {
            assert_close!(z, normal_quantile(p), Tolerance { absolute: 1e-15, relative: 3e-14 }, "{p}");
        }
        // SciPy 1.17, scipy.special.ndtri.
        let mut one = [1e-10];
        scores(&mut one);
        assert_close!(one[0], -6.361_340_902_404_056, relative(1e-7));
    }

    #[test]
    fn scores_lead_to_student() {
        for freedom in [1.0, 2.0, 3.5, 8.0, 24.0, 300.0] {
            let table = StudentTable::new(freedom);
            for k in -60..=60 {
                let z = 0.1001 * f64::from(k);
                let expected = student_quantile(normal_cdf(-z.abs()), freedom).abs().copysign(z);
                assert_close!(
                    table.at(z),
                    expected,
                    Tolerance { absolute: 1e-12, relative: 2e-8 },
                    "{freedom} {z}"
                );
            }
        }
        // Table G.2 of JCGM 100: 95 % with 8 degrees of freedom is 2.31.
        assert_close!(StudentTable::new(8.0).at(1.959_964), 2.306_004, relative(1e-6));
    }
}
