//! From numbers in SI units to what people read. The digits printed follow the uncertainty.

use super::unit::{PREFIXES, Unit};

/// Prints `value` with a prefix and `significant_digits` (1 to 15), such as `81.0 µs`; ratios in per cent.
pub fn format_engineering(value: f64, unit: Unit, significant_digits: usize) -> String {
    let digits = significant_digits.clamp(1, 15);
    let Some(size) = decade(value, digits) else {
        return without_digits(value, unit);
    };
    let (power, symbol) = scale(size, unit);
    let decimals = digits as i32 - 1 - (size - power);
    format!("{}{symbol}", fixed(value, power, decimals))
}

/// Prints a value and its standard uncertainty as `81.00(30) µs`: the figures in parentheses count in the last
/// digits printed (JCGM 100:2008, 7.2.2). Two significant figures of the uncertainty.
pub fn format_concise(value: f64, standard_uncertainty: f64, unit: Unit) -> String {
    match layout(value, standard_uncertainty, unit) {
        None => format_engineering(value, unit, 6),
        Some((power, symbol, decimals)) => {
            let figures = fixed(standard_uncertainty, power - decimals.max(0), decimals.min(0));
            format!("{}({figures}){symbol}", fixed(value, power, decimals))
        }
    }
}

/// Prints a value and its standard uncertainty as `81.00 µs ± 0.30 µs`, two significant figures of the uncertainty.
pub fn format_estimate(value: f64, standard_uncertainty: f64, unit: Unit) -> String {
    match layout(value, standard_uncertainty, unit) {
        None => format_engineering(value, unit, 6),
        Some((power, symbol, decimals)) => {
            let (value, u) = (fixed(value, power, decimals), fixed(standard_uncertainty, power, decimals));
            format!("{value}{symbol} ± {u}{symbol}")
        }
    }
}

/// Power of ten, symbol and decimals for a value with its uncertainty; `None` without a usable uncertainty.
fn layout(value: f64, standard_uncertainty: f64, unit: Unit) -> Option<(i32, String, i32)> {
    let u_size = decade(standard_uncertainty, 2)?;
    if standard_uncertainty < 0.0 || !value.is_finite() {
        return None;
    }
    // The prefix suits the larger of the two; a value much smaller than its uncertainty has no size of its own.
    let size = decade(value, 15).map_or(u_size, |s| s.max(u_size));
    if size - u_size > 13 {
        return None;
    }
    let (power, symbol) = scale(size, unit);
    Some((power, symbol, 1 - (u_size - power)))
}

/// Decimal exponent of `value` once rounded to `digits` figures; `None` for nil and for what is not finite.
fn decade(value: f64, digits: usize) -> Option<i32> {
    if value == 0.0 || !value.is_finite() {
        return None;
    }
    let text = format!("{:.*e}", digits - 1, value);
    text.split_once('e').and_then(|(_, exponent)| exponent.parse().ok())
}

/// Power of ten and symbol that suit a decimal exponent.
fn scale(size: i32, unit: Unit) -> (i32, String) {
    if unit == Unit::Ratio {
        return (-2, " %".to_owned());
    }
    // The trade speaks of 0.46 pF, not of 460 fF.
    let least = if matches!(unit, Unit::Farad | Unit::FaradPerMetre) { -12 } else { -18 };
    let power = (3 * size.div_euclid(3)).clamp(least, 12);
    let prefix = PREFIXES.into_iter().find(|&(_, p)| p == power).map(|(c, _)| c.to_string());
    (power, format!(" {}{}", prefix.unwrap_or_default(), unit.symbol()))
}

/// `value`/10^`power` with `decimals` digits behind the point; negative `decimals` round before the point.
fn fixed(value: f64, power: i32, decimals: i32) -> String {
    // Decimal shifting through text keeps the digits right where a division by a power of ten would not.
    let rounding = power - decimals;
    let shifted: f64 = format!("{value:e}")
        .split_once('e')
        .and_then(|(m, e)| Some(format!("{m}e{}", e.parse::<i32>().ok()? - rounding)))
        .and_then(|t| t.parse().ok())
        .unwrap_or(value / 10f64.powi(rounding));
    let whole = shifted.round();
    let text = if decimals >= 0 {
        let scaled: f64 = format!("{whole}e{}", -decimals).parse().unwrap_or(whole / 10f64.powi(decimals));
        format!("{scaled:.*}", decimals as usize)
    } else {
        format!("{:.0}", whole * 10f64.powi(-decimals))
    };
    // No sign before a nil.
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}

fn without_digits(value: f64, unit: Unit) -> String {
    let number = if value.is_nan() {
        "not a number".to_owned()
    } else if value.is_infinite() {
        if value > 0.0 { "infinite".to_owned() } else { "-infinite".to_owned() }
    } else {
        "0".to_owned()
    };
    match unit {
        Unit::Ratio => format!("{number} %"),
        _ => format!("{number} {}", unit.symbol()),
    }
}
