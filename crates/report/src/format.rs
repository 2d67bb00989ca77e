//! Numbers as people read them: the digits follow the uncertainty, the prefix follows the size.
//!
//! An uncertainty is rounded to two significant digits and the value to the same place (JCGM 100, 7.2.6).

use flattop_core::assessment::Estimate;

use crate::subject::COVERAGE_FACTOR_95;

/// A value and its 95 % half-width in the same unit and to the same decimal place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pair {
    /// The value without unit; a sign only when it is negative.
    pub value: String,
    /// The half-width of the 95 % interval, without unit; empty when the uncertainty is nil.
    pub half_width: String,
    /// The unit with its prefix.
    pub unit: String,
}

impl Pair {
    /// `0.46 pF ± 0.02 pF`, or `0.46 pF` when the uncertainty is nil.
    pub fn with_units(&self) -> String {
        if self.half_width.is_empty() {
            format!("{} {}", self.value, self.unit)
        } else {
            format!("{} {} ± {} {}", self.value, self.unit, self.half_width, self.unit)
        }
    }

    /// The same with the sign written even when it is positive.
    pub fn signed(mut self) -> Self {
        if !self.value.starts_with('-') && self.value.contains(|c: char| ('1'..='9').contains(&c)) {
            self.value.insert(0, '+');
        }
        self
    }
}

/// A ratio as percent with its 95 % half-width, to at most three decimals.
pub fn percent(estimate: Estimate) -> Pair {
    scaled(estimate, 100.0, "%", 3)
}

/// An angle in radians as degrees with its 95 % half-width, to at most three decimals.
pub fn degrees(estimate: Estimate) -> Pair {
    scaled(estimate, 1f64.to_degrees(), "°", 3)
}

/// A quantity with an engineering prefix and its 95 % half-width.
///
/// The prefix follows the larger of value and half-width.
pub fn quantity(estimate: Estimate, unit: &str) -> Pair {
    let half_width = COVERAGE_FACTOR_95 * estimate.standard_uncertainty;
    let (factor, prefix) = prefix_for(estimate.value.abs().max(half_width));
    scaled(estimate, factor.recip(), &format!("{prefix}{unit}"), 4)
}

/// A capacitance in picofarads, whatever its size: the unit a trimmer is thought of in.
pub fn picofarads(estimate: Estimate) -> Pair {
    scaled(estimate, 1e12, "pF", 4)
}

/// A plain quantity with an engineering prefix and at most `digits` significant digits: `10 kHz`, `4.7 kΩ`.
pub fn plain(value: f64, unit: &str, digits: usize) -> String {
    let (factor, prefix) = prefix_for(value.abs());
    format!("{} {prefix}{unit}", significant(value / factor, digits))
}

/// A plain ratio as percent with at most `digits` significant digits: `1 %`.
pub fn plain_percent(value: f64, digits: usize) -> String {
    format!("{} %", significant(100.0 * value, digits))
}

/// At most `digits` significant digits, without trailing zeros after the decimal point.
pub fn significant(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "unknown".into();
    }
    let text = format!("{value:.*}", decimals(value, digits));
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".into() } else { text.into() }
}

/// `1 capture`, `2 captures`.
pub fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

/// Engineering prefix for a magnitude: factor and letter. Beyond the table the outermost prefix is kept.
pub fn prefix_for(magnitude: f64) -> (f64, &'static str) {
    const PREFIXES: [(f64, &str); 9] = [
        (1e-15, "f"),
        (1e-12, "p"),
        (1e-9, "n"),
        (1e-6, "µ"),
        (1e-3, "m"),
        (1.0, ""),
        (1e3, "k"),
        (1e6, "M"),
        (1e9, "G"),
    ];
    if magnitude <= 0.0 || !magnitude.is_finite() {
        return (1.0, "");
    }
    // A hair of slack, so that 0.99999999 k, which prints as 1, takes the prefix of 1 k.
    let found = PREFIXES.iter().rev().find(|(factor, _)| magnitude >= factor * (1.0 - 1e-9));
    *found.unwrap_or(&PREFIXES[0])
}

/// Value and half-width in another unit, to the decimal place that leaves the half-width two significant digits, but
/// never finer than `finest` decimals; a half-width below the last decimal is rounded up to it.
fn scaled(estimate: Estimate, factor: f64, unit: &str, finest: usize) -> Pair {
    let value = factor * estimate.value;
    let half_width = factor * COVERAGE_FACTOR_95 * estimate.standard_uncertainty;
    let unit = unit.to_string();
    if !value.is_finite() || !half_width.is_finite() {
        return Pair { value: "unknown".into(), half_width: String::new(), unit };
    }
    if half_width <= 0.0 {
        return Pair { value: significant(value, 4), half_width: String::new(), unit };
    }
    let places = decimals(half_width, 2).min(finest);
    let half_width = half_width.max(10f64.powi(-(places as i32)));
    let value = format!("{value:.places$}");
    let is_zero = !value.contains(|c: char| ('1'..='9').contains(&c));
    let value = if is_zero { value.trim_start_matches('-').into() } else { value };
    Pair { value, half_width: format!("{half_width:.places$}"), unit }
}

/// Decimal places that leave `value` the stated number of significant digits, after rounding.
fn decimals(value: f64, digits: usize) -> usize {
    if value.abs() < 1e-300 {
        return 0;
    }
    let places = |v: f64| (digits as f64 - 1.0 - v.abs().log10().floor()).clamp(0.0, 12.0);
    let first = places(value);
    // 0.0996 to two digits is 0.10, one place fewer than its own first digit says.
    let scale = 10f64.powf(first);
    places((value.abs() * scale).round().max(1.0) / scale) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(value: f64, half_width: f64) -> Estimate {
        Estimate { value, standard_uncertainty: half_width / COVERAGE_FACTOR_95 }
    }

    #[test]
    fn digits_follow_the_uncertainty() {
        // JCGM 100, 7.2.6: two significant digits of uncertainty, the estimate to the same place.
        let table = [
            (percent(with(-0.0731, 0.00082)).with_units(), "-7.310 % ± 0.082 %"),
            (percent(with(-0.0731, 0.0082)).with_units(), "-7.31 % ± 0.82 %"),
            (percent(with(0.12, 0.15)).with_units(), "12 % ± 15 %"),
            (percent(with(-1e-9, 1e-4)).with_units(), "0.000 % ± 0.010 %"),
            (percent(with(-0.5e-4, 1e-7)).with_units(), "-0.005 % ± 0.001 %"),
            (quantity(with(4.63e-13, 0.2e-13), "F").with_units(), "463 fF ± 20 fF"),
            (quantity(with(10.0e-12, 9.96e-14), "F").with_units(), "10.00 pF ± 0.10 pF"),
            (quantity(with(8.1e-5, 3e-7), "s").with_units(), "81.00 µs ± 0.30 µs"),
            (picofarads(with(4.63e-13, 0.2e-13)).with_units(), "0.463 pF ± 0.020 pF"),
            (quantity(with(1e3, 0.0), "Hz").with_units(), "1 kHz"),
        ];
        for (got, expected) in table {
            assert_eq!(got, expected);
        }
    }

    #[test]
    fn plain_numbers_are_short() {
        let table = [
            (plain(1e4, "Hz", 3), "10 kHz"),
            (plain(999.999_999_9, "Hz", 4), "1 kHz"),
            (plain(4.7e3, "Ω", 3), "4.7 kΩ"),
            (plain(0.0, "V", 3), "0 V"),
            (plain(-0.0123, "V", 3), "-12.3 mV"),
            (plain(f64::NAN, "V", 3), "unknown V"),
            (plain_percent(0.01, 3), "1 %"),
            (plain_percent(0.0057735, 2), "0.58 %"),
            (significant(1234.5, 2), "1234"),
        ];
        for (got, expected) in table {
            assert_eq!(got, expected);
        }
    }

    #[test]
    fn a_sign_is_written_only_beside_a_number_that_has_one() {
        assert_eq!(percent(with(0.02, 0.001)).signed().value, "+2.00");
        assert_eq!(percent(with(-0.02, 0.001)).signed().value, "-2.00");
        assert_eq!(percent(with(0.0, 0.001)).signed().value, "0.00");
    }
}
