//! Probabilities and quantiles of the normal, Student, chi-squared and F distributions.
//!
//! Written for confidence statements: relative accuracy about 1e-12 in the body, absolute accuracy 1e-14 in the tails.
//! Source of the series and continued fractions: NIST *Digital Library of Mathematical Functions*, 8.7, 8.9 (incomplete
//! gamma) and 8.17 (incomplete beta) (from memory).

/// Coverage factor of a 95 % interval of a normal distribution (JCGM 100, table G.1).
pub const COVERAGE_FACTOR_95: f64 = 1.959_963_984_540_054;

/// Probability that a standard normal variable is below `z`.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// The value below which a standard normal variable lies with probability `p`; infinite at 0 and 1, NaN outside.
pub fn normal_quantile(p: f64) -> f64 {
    if p.is_nan() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p <= 0.0 || p >= 1.0 {
        return if p <= 0.0 { f64::NEG_INFINITY } else { f64::INFINITY };
    }
    if p > 0.5 {
        return -normal_quantile(1.0 - p);
    }
    // A start within a few per cent from the leading term of the tail, then Halley's rule on the distribution itself.
    let tail = (-2.0 * p.ln()).sqrt();
    let mut z = if p > 0.1 {
        (p - 0.5) * (std::f64::consts::TAU).sqrt()
    } else {
        -(tail - (tail.ln() + 0.92) / tail)
    };
    for _ in 0..20 {
        let density = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
        let newton = (normal_cdf(z) - p) / density;
        let step = newton / (1.0 + 0.5 * z * newton).max(0.5);
        z -= step;
        if step.abs() <= 1e-15 * z.abs().max(1e-3) {
            break;
        }
    }
    z
}

/// Probability that a Student variable with `freedom` degrees of freedom (may be fractional) is below `t`.
pub fn student_cdf(t: f64, freedom: f64) -> f64 {
    if freedom.is_nan() || freedom <= 0.0 || t.is_nan() {
        return f64::NAN;
    }
    if freedom.is_infinite() {
        return normal_cdf(t);
    }
    let tail =
        0.5 * beta_regularised(0.5 * freedom, 0.5, freedom / (freedom + t * t), t * t / (freedom + t * t));
    if t > 0.0 { 1.0 - tail } else { tail }
}

/// The value below which a Student variable with `freedom` degrees of freedom lies with probability `p`.
pub fn student_quantile(p: f64, freedom: f64) -> f64 {
    if freedom.is_nan() || freedom <= 0.0 || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if freedom.is_infinite() || p <= 0.0 || p >= 1.0 {
        return normal_quantile(p);
    }
    if p > 0.5 {
        return -student_quantile(1.0 - p, freedom);
    }
    let mut low = -1.0;
    while student_cdf(low, freedom) > p {
        low *= 2.0;
    }
    bisect(low, 0.0, |t| student_cdf(t, freedom) - p)
}

/// Probability that a chi-squared variable with `freedom` degrees of freedom is above `x`.
pub fn chi_squared_upper(x: f64, freedom: f64) -> f64 {
    if x <= 0.0 { 1.0 } else { gamma_upper(0.5 * freedom, 0.5 * x) }
}

/// Probability that an F variable with `numerator` and `denominator` degrees of freedom is above `x`.
pub fn f_upper(x: f64, numerator: f64, denominator: f64) -> f64 {
    if x <= 0.0 {
        return 1.0;
    }
    let sum = denominator + numerator * x;
    beta_regularised(0.5 * denominator, 0.5 * numerator, denominator / sum, numerator * x / sum)
}

/// Root of a function that is below zero at `low` and above zero at `high`, to the last bits.
fn bisect(mut low: f64, mut high: f64, function: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if function(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Upper incomplete gamma function over the complete one, Q(a, x).
pub fn gamma_upper(a: f64, x: f64) -> f64 {
    if a.is_nan() || x.is_nan() || a <= 0.0 || x < 0.0 {
        return f64::NAN;
    }
    if x == 0.0 {
        return 1.0;
    }
    let front = (a * x.ln() - x - libm::lgamma(a)).exp();
    if x < a + 1.0 {
        let mut term = 1.0 / a;
        let mut sum = term;
        let mut n = a;
        while term > 1e-17 * sum {
            n += 1.0;
            term *= x / n;
            sum += term;
        }
        1.0 - front * sum
    } else {
        front
            * continued_fraction(x + 1.0 - a, |n| {
                let n = n as f64;
                (-n * (n - a), x + 2.0 * n + 1.0 - a)
            })
    }
}

/// Regularised incomplete beta function I_x(a, b); `rest` is 1 − x, given apart so that no digits are lost.
pub fn beta_regularised(a: f64, b: f64, x: f64, rest: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if rest <= 0.0 {
        return 1.0;
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - beta_regularised(b, a, rest, x);
    }
    let front =
        (libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b) + a * x.ln() + b * rest.ln()).exp() / a;
    front
        * continued_fraction(1.0, |n| {
            let m = (n / 2) as f64;
            let numerator = if n % 2 == 0 {
                m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m))
            } else {
                -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0))
            };
            (numerator, 1.0)
        })
}

/// 1/(b0 + a1/(b1 + a2/(b2 + …))) with `term(n)` = (an, bn), by Lentz's rule.
fn continued_fraction(b0: f64, term: impl Fn(usize) -> (f64, f64)) -> f64 {
    const TINY: f64 = 1e-300;
    let keep = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut value = keep(b0);
    let (mut c, mut d) = (value, 0.0);
    for n in 1..10_000 {
        let (a, b) = term(n);
        d = 1.0 / keep(b + a * d);
        c = keep(b + a / c);
        let factor = c * d;
        value *= factor;
        if (factor - 1.0).abs() < 1e-16 {
            break;
        }
    }
    1.0 / value
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, printed, relative, within};
    use proptest::prelude::*;

    #[test]
    fn student_agrees_with_table_g2_of_jcgm_100() {
        // JCGM 100:2008, table G.2, coverage factors for degrees of freedom and fraction (printed digits).
        for (freedom, fraction, printed_value) in [
            (5.0, 0.95, 2.57),
            (10.0, 0.95, 2.23),
            (16.0, 0.95, 2.12),
            (16.0, 0.9545, 2.17),
            (16.0, 0.99, 2.92),
            (f64::INFINITY, 0.9545, 2.00),
        ] {
            assert_close!(student_quantile(0.5 + 0.5 * fraction, freedom), printed_value, printed(0.01));
        }
    }

    #[test]
    fn normal_agrees_with_the_usual_tables() {
        // Two-sided 95 % and one-sided 95 % points as printed in every table (from memory).
        assert_close!(normal_quantile(0.975), 1.959_963_984_540_054, relative(1e-14));
        assert_close!(normal_quantile(0.95), 1.644_853_626_951_472_7, relative(1e-14));
        assert_close!(normal_cdf(-6.0), 9.865_876_450_377e-10, relative(1e-11));
        assert!(normal_quantile(0.0).is_infinite() && normal_quantile(1.5).is_nan());
    }

    proptest! {
        #[test]
        fn prop_student_has_closed_forms_at_one_and_two_degrees(t in -50.0..50.0_f64) {
            // One degree of freedom is the Cauchy distribution; two give 1/2 + t/(2·sqrt(2+t²)).
            assert_close!(student_cdf(t, 1.0), 0.5 + t.atan() / std::f64::consts::PI, within(1e-13));
            assert_close!(student_cdf(t, 2.0), 0.5 + 0.5 * t / (2.0 + t * t).sqrt(), within(1e-13));
        }

        #[test]
        fn prop_chi_squared_has_closed_forms_at_one_two_and_four_degrees(x in 0.0..60.0_f64) {
            assert_close!(chi_squared_upper(x, 1.0), libm::erfc((0.5 * x).sqrt()), relative(1e-11));
            assert_close!(chi_squared_upper(x, 2.0), (-0.5 * x).exp(), relative(1e-12));
            assert_close!(chi_squared_upper(x, 4.0), (-0.5 * x).exp() * (1.0 + 0.5 * x), relative(1e-11));
        }

        #[test]
        fn prop_f_has_a_closed_form_with_two_degrees_above(x in 0.0..50.0_f64, below in 1.0..200.0_f64) {
            let expected = (-0.5 * below * (2.0 * x / below).ln_1p()).exp();
            assert_close!(f_upper(x, 2.0, below), expected, flattop_close::Tolerance { absolute: 1e-14, relative: 1e-10 });
        }

        #[test]
        fn prop_f_of_t_squared_is_student(t in 0.01..20.0_f64, freedom in 0.5..300.0_f64) {
            assert_close!(f_upper(t * t, 1.0, freedom), 2.0 * student_cdf(-t, freedom), within(1e-12));
        }

        #[test]
        fn prop_quantiles_invert(p in 1e-6..0.999_999_f64, freedom in 0.7..400.0_f64) {
            assert_close!(normal_cdf(normal_quantile(p)), p, relative(1e-12));
            assert_close!(student_cdf(student_quantile(p, freedom), freedom), p, relative(1e-10));
        }
    }
}
