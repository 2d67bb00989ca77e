//! From what was typed to a number in SI units, or to a message that says what was expected.

use super::unit::{PREFIXES, Unit};
use crate::divider::Divider;
use crate::finding::Finding;
use thiserror::Error;

/// Why a text is not the quantity that was asked for.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum QuantityError {
    /// Nothing was given.
    #[error("nothing given where {} was expected, for example {}", expected.quantity(), expected.example())]
    Empty {
        /// What was asked for.
        expected: Unit,
    },
    /// The text does not start with a number.
    #[error("\"{found}\" is not {}: it holds no number; write for example {}", expected.quantity(), expected.example())]
    NoNumber {
        /// The text.
        found: String,
        /// What was asked for.
        expected: Unit,
    },
    /// The number has the unit of something else.
    #[error("\"{found}\" is {}, but {} was expected, for example {}", given.quantity(), expected.quantity(), expected.example())]
    OtherUnit {
        /// The text.
        found: String,
        /// What the text is.
        given: Unit,
        /// What was asked for.
        expected: Unit,
    },
    /// What follows the number is no prefix and no unit.
    #[error("\"{rest}\" in \"{found}\" is no unit of {}; write for example {}", expected.quantity(), expected.example())]
    UnknownUnit {
        /// The text.
        found: String,
        /// The part that was not understood.
        rest: String,
        /// What was asked for.
        expected: Unit,
    },
    /// A comma that may be a decimal comma or a thousands separator.
    #[error(
        "the comma in \"{found}\" may be decimal or may group thousands: write {point} or {grouped} instead"
    )]
    AmbiguousComma {
        /// The text.
        found: String,
        /// The number with a decimal point.
        point: String,
        /// The number without grouping.
        grouped: String,
    },
    /// Too large or too small for double precision.
    #[error("\"{found}\" is too large for {}", expected.quantity())]
    TooLarge {
        /// The text.
        found: String,
        /// What was asked for.
        expected: Unit,
    },
    /// A divider is not written as two resistances.
    #[error(
        "\"{found}\" is not a divider: write tip and shunt resistance with a colon between, for example 9M:1M"
    )]
    NotAPair {
        /// The text.
        found: String,
    },
    /// A divider's resistance is not above zero.
    #[error("a divider's resistances must be above zero, found \"{found}\"")]
    NotPositive {
        /// The text of the resistance.
        found: String,
    },
}

/// Reads one quantity of the unit `expected`, in SI units.
///
/// # Errors
/// See [`QuantityError`]; the message names what was found, what was expected, and an example.
pub fn parse(text: &str, expected: Unit) -> Result<f64, QuantityError> {
    read(text, expected).map(|(value, _)| value)
}

/// A remark when a resistance or frequency was typed with a small m, where a capital M was probably meant, or a ratio of a
/// half or more without a per cent sign.
pub fn caution(text: &str, expected: Unit) -> Option<Finding> {
    let (value, prefix) = read(text, expected).ok()?;
    if expected == Unit::Ratio && value.abs() >= 0.5 && !text.contains('%') {
        return Some(Finding::warning(
            "ratio-or-percent",
            format!("\"{}\" was read as {} %", text.trim(), value * 100.0),
            "write a % sign if per cent were meant",
        ));
    }
    let milli = prefix == Some('m') && matches!(expected, Unit::Ohm | Unit::Hertz);
    milli.then(|| {
        Finding::warning(
            "milli-or-mega",
            format!(
                "\"{}\" was read as {} thousandths of {}",
                text.trim(),
                value * 1e3,
                if expected == Unit::Ohm { "an ohm" } else { "a hertz" }
            ),
            "write a capital M if millions were meant",
        )
    })
}

/// Reads a divider written as tip and shunt resistance, such as `9M:1M`.
///
/// # Errors
/// No colon or more than one, a part that is no resistance, or a resistance that is not above zero.
pub fn parse_ratio_pair(text: &str) -> Result<Divider, QuantityError> {
    let Some((tip, shunt)) = text.split_once(':').filter(|(_, rest)| !rest.contains(':')) else {
        return Err(QuantityError::NotAPair { found: text.to_owned() });
    };
    let resistance = |part: &str| {
        let value = parse(part, Unit::Ohm)?;
        if value > 0.0 {
            Ok(value)
        } else {
            Err(QuantityError::NotPositive { found: part.trim().to_owned() })
        }
    };
    Ok(Divider { tip_resistance_ohm: resistance(tip)?, shunt_resistance_ohm: resistance(shunt)? })
}

/// The value, and the prefix it was written with.
fn read(text: &str, expected: Unit) -> Result<(f64, Option<char>), QuantityError> {
    let found = text.trim();
    if found.is_empty() {
        return Err(QuantityError::Empty { expected });
    }
    // U+2212 is the minus sign of typeset text.
    let plain = found.replace('\u{2212}', "-");
    let (sign, unsigned) = match plain.strip_prefix(['-', '+']) {
        Some(rest) => (if plain.starts_with('-') { "-" } else { "" }, rest.trim_start()),
        None => ("", plain.as_str()),
    };
    let (number, rest) = split_number(unsigned);
    let Some(number) = number else {
        return infix(sign, "", unsigned, found, expected);
    };
    let number = decimal_point(number, found)?;
    // Digits right behind a letter: that letter stands in the place of the decimal point.
    if rest.chars().nth(1).is_some_and(|c| c.is_ascii_digit()) && number.bytes().all(|b| b.is_ascii_digit()) {
        return infix(sign, &number, rest, found, expected);
    }
    let rest = rest.trim_start_matches([' ', '\u{a0}', '\u{202f}']);
    let (power, prefix) = suffix(rest, found, expected)?;
    finish(sign, &number, power, prefix, found, expected)
}

/// The longest leading number with an optional exponent, and what follows it.
fn split_number(text: &str) -> (Option<&str>, &str) {
    let bytes = text.as_bytes();
    let mut end = bytes.iter().take_while(|b| b.is_ascii_digit() || matches!(b, b'.' | b',')).count();
    if !bytes[..end].iter().any(u8::is_ascii_digit) {
        return (None, text);
    }
    if bytes.get(end).is_some_and(|b| matches!(b, b'e' | b'E')) {
        let sign = usize::from(bytes.get(end + 1).is_some_and(|b| matches!(b, b'-' | b'+')));
        let digits = bytes[end + 1 + sign..].iter().take_while(|b| b.is_ascii_digit()).count();
        if digits > 0 {
            end += 1 + sign + digits;
        }
    }
    (Some(&text[..end]), &text[end..])
}

/// Turns a decimal comma into a point, or refuses it.
fn decimal_point(number: &str, found: &str) -> Result<String, QuantityError> {
    let commas = number.matches(',').count();
    if commas == 0 {
        return Ok(number.to_owned());
    }
    let mantissa = number.split(['e', 'E']).next().unwrap_or(number);
    let (whole, part) = mantissa.split_once(',').unwrap_or((mantissa, ""));
    let may_group = part.len() == 3 && (1..=3).contains(&whole.len()) && !whole.starts_with('0');
    if commas > 1 || number.contains('.') || may_group {
        return Err(QuantityError::AmbiguousComma {
            found: found.to_owned(),
            point: number.replacen(',', ".", 1).replace(',', ""),
            grouped: number.replace(',', ""),
        });
    }
    Ok(number.replace(',', "."))
}

/// `4k7`, `R47`, `47R5`: `whole`, a letter, digits, and perhaps the unit.
fn infix(
    sign: &str,
    whole: &str,
    rest: &str,
    found: &str,
    expected: Unit,
) -> Result<(f64, Option<char>), QuantityError> {
    let no_number = || QuantityError::NoNumber { found: found.to_owned(), expected };
    let letter = rest.chars().next().ok_or_else(no_number)?;
    let tail = &rest[letter.len_utf8()..];
    let digits = tail.bytes().take_while(u8::is_ascii_digit).count();
    if digits == 0 {
        return Err(no_number());
    }
    let (part, unit) = (&tail[..digits], tail[digits..].trim_start());
    let (power, prefix) = suffix(&format!("{letter}{unit}"), found, expected)?;
    let whole = if whole.is_empty() { "0" } else { whole };
    finish(sign, &format!("{whole}.{part}"), power, prefix, found, expected)
}

/// Power of ten and prefix of what follows the number.
fn suffix(rest: &str, found: &str, expected: Unit) -> Result<(i32, Option<char>), QuantityError> {
    if let Some(known) = known_suffix(rest, expected) {
        return Ok(known);
    }
    let other = Unit::ALL
        .into_iter()
        .find(|&unit| unit != expected && !rest.is_empty() && full_suffix(rest, unit).is_some());
    Err(match other {
        Some(given) => QuantityError::OtherUnit { found: found.to_owned(), given, expected },
        None => QuantityError::UnknownUnit { found: found.to_owned(), rest: rest.to_owned(), expected },
    })
}

/// A suffix with its unit spelt out.
fn full_suffix(rest: &str, unit: Unit) -> Option<(i32, Option<char>)> {
    if unit == Unit::Ratio {
        return match rest {
            "%" => Some((-2, None)),
            "ppm" => Some((-6, None)),
            _ => None,
        };
    }
    if unit.symbols().contains(&rest) {
        return Some((0, None));
    }
    let (prefix, power) = leading_prefix(rest)?;
    unit.symbols().contains(&&rest[prefix.len_utf8()..]).then_some((power, Some(prefix)))
}

/// A suffix with or without the unit.
fn known_suffix(rest: &str, unit: Unit) -> Option<(i32, Option<char>)> {
    if rest.is_empty() {
        return Some((0, None));
    }
    full_suffix(rest, unit).or_else(|| {
        let (prefix, power) = leading_prefix(rest)?;
        (unit != Unit::Ratio && rest.len() == prefix.len_utf8()).then_some((power, Some(prefix)))
    })
}

fn leading_prefix(rest: &str) -> Option<(char, i32)> {
    let first = rest.chars().next()?;
    PREFIXES.into_iter().find(|&(prefix, _)| prefix == first)
}

/// Puts the power of ten into the number's own exponent, so that `15p` is the double nearest to 15e-12.
fn finish(
    sign: &str,
    number: &str,
    power: i32,
    prefix: Option<char>,
    found: &str,
    expected: Unit,
) -> Result<(f64, Option<char>), QuantityError> {
    let no_number = || QuantityError::NoNumber { found: found.to_owned(), expected };
    let (mantissa, exponent) = match number.split_once(['e', 'E']) {
        // An exponent too long for an integer is far outside double precision either way.
        Some((mantissa, exponent)) => {
            let digits = exponent.trim_start_matches(['-', '+']);
            let size: i32 = digits.parse().unwrap_or(100_000).min(100_000);
            (mantissa, if exponent.starts_with('-') { -size } else { size })
        }
        None => (number, 0),
    };
    let value: f64 = format!("{sign}{mantissa}e{}", exponent + power).parse().map_err(|_| no_number())?;
    if value.is_finite() {
        Ok((value, prefix))
    } else {
        Err(QuantityError::TooLarge { found: found.to_owned(), expected })
    }
}
