//! Powers of two without branches and without calls, so that the compiler makes vector instructions of loops over them.

use std::f64::consts::LN_2;

/// Terms of the series; the last one is below 1e-17 of the sum.
const TERMS: usize = 14;

/// ln(2)^n/n!
const SERIES: [f64; TERMS] = {
    let mut series = [1.0; TERMS];
    let mut n = 1;
    while n < TERMS {
        series[n] = series[n - 1] * LN_2 / n as f64;
        n += 1;
    }
    series
};

/// Adding it rounds to a whole number, which then stands in the lowest bits.
const ROUNDS: f64 = 6_755_399_441_055_744.0;

/// Largest exponent of an ordinary number, with room for the fraction.
const LARGEST: f64 = 1022.0;

/// 2^x, within two units in the last place for |x| up to 1022; above that infinite, below that nil.
#[inline(always)]
pub fn exp2(x: f64) -> f64 {
    let within = x.clamp(-LARGEST, LARGEST);
    let rounded = within + ROUNDS;
    let f = within - (rounded - ROUNDS);
    // The exponential series of f·ln 2, |f| up to a half.
    let mut sum = SERIES[TERMS - 1];
    for n in (0..TERMS - 1).rev() {
        sum = sum * f + SERIES[n];
    }
    let power = f64::from_bits(rounded.to_bits().wrapping_add(1023) << 52);
    let value = sum * power;
    let value = if x > LARGEST { f64::INFINITY } else { value };
    if x < -LARGEST { 0.0 } else { value }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative};
    use proptest::prelude::*;

    proptest! {
        /// Against the system's own.
        #[test]
        fn it_is_the_power_of_two(x in -1022.0..1022.0_f64) {
            assert_close!(exp2(x), x.exp2(), relative(5e-16));
        }
    }

    #[test]
    fn whole_powers_are_exact_and_ends_are_told() {
        for k in -1022..=1022 {
            assert_close!(exp2(f64::from(k)), 2f64.powi(k), relative(0.0));
        }
        assert!(exp2(1023.5).is_infinite() && exp2(1023.5) > 0.0);
        assert_close!(exp2(-1100.0), 0.0, flattop_close::within(0.0));
        assert!(exp2(f64::NAN).is_nan());
    }
}
