//! Decimal numbers out of text: eight digits at a time, exactly rounded by construction, fast-float2 for the rest.

/// Bytes that are looked at from the start of a line or number.
///
/// Positions in it are masked with [`REACH`]. A caller must throw away what ends behind [`END`]: up to there nothing was
/// masked, since positions only grow and at most 12 bytes behind an accepted end are looked at.
pub(crate) const WINDOW: usize = REACH + 8;
const REACH: usize = 127;
/// Last position where a number may end.
pub(crate) const END: usize = 112;

/// Values from here on are "not a number" (9.91E37) and "infinity" (9.9E37) of SCPI-1999 volume 1, 7.2.1.4 and 7.2.1.5
/// (numbers from memory).
pub(crate) const OVERRANGE: f64 = 9.8e37;

/// Powers of ten that double precision holds exactly.
const EXACT_POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];

/// Powers of ten from 10^-22 to 10^22, rounded where they are not exact.
const NEAR_POWERS: [f64; 45] = [
    1e-22, 1e-21, 1e-20, 1e-19, 1e-18, 1e-17, 1e-16, 1e-15, 1e-14, 1e-13, 1e-12, 1e-11, 1e-10, 1e-9, 1e-8,
    1e-7, 1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 1e-1, 1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
    1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

const WHOLE_POWERS: [u64; 9] = [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000, 10_000_000, 100_000_000];

/// Number of decimal digits at the low end of eight bytes, and the value of those digits.
#[inline(always)]
fn leading_digits(word: u64) -> (usize, u64) {
    let digits = word ^ 0x3030_3030_3030_3030;
    // The lowest byte above 9 sets its top bit; carries only reach bytes above it, which do not count.
    let others = (digits.wrapping_add(0x7676_7676_7676_7676) | digits) & 0x8080_8080_8080_8080;
    let count = (others.trailing_zeros() >> 3) as usize;
    // Moves the digits to the high end, so that zeros stand before them.
    (count, eight_digits(digits.unbounded_shl(64 - 8 * count as u32)))
}

/// The number that eight digits (bytes 0 to 9, the lowest byte first) stand for.
#[inline(always)]
pub(crate) fn eight_digits(digits: u64) -> u64 {
    let d = digits.wrapping_mul(2561) >> 8; // pairs: 2561 = 10·2^8 + 1
    let d = (d & 0x00ff_00ff_00ff_00ff).wrapping_mul(6_553_601) >> 16; // fours: 100·2^16 + 1
    (d & 0x0000_ffff_0000_ffff).wrapping_mul(42_949_672_960_001) >> 32 // eights: 10000·2^32 + 1
}

/// Eight bytes from `at`, the first one lowest.
#[inline(always)]
pub(crate) fn word_at(window: &[u8; WINDOW], at: usize) -> u64 {
    // The mask spares the bounds check; see WINDOW for why it changes nothing.
    let at = at & REACH;
    let mut word = [0; 8];
    word.copy_from_slice(&window[at..at + 8]);
    u64::from_le_bytes(word)
}

#[inline(always)]
fn byte_at(window: &[u8; WINDOW], at: usize) -> u8 {
    window[at & REACH]
}

#[inline(always)]
fn is_digit_at(window: &[u8; WINDOW], at: usize) -> bool {
    byte_at(window, at).wrapping_sub(b'0') < 10
}

/// The number at `from` in `window` and where it ends, when it is of a plain kind: at most 8 digits before the mark, at
/// most 15 after it, 18 in all, and exactly representable parts.
///
/// With a mantissa ≤ 2^53 and a power of ten ≤ 10^22 both are exact in double precision, and one multiplication or
/// division rounds once, so the result is the correctly rounded one (W. D. Clinger, "How to read floating point
/// numbers accurately", PLDI 1990). It is always below [`OVERRANGE`]. `None` says nothing about the text: it may still
/// be a number.
#[inline(always)]
pub(crate) fn fast(window: &[u8; WINDOW], from: usize, mark: u8) -> Option<(f64, usize)> {
    let (mantissa, power, negative, end) = parts(window, from, mark)?;
    if mantissa > 1 << 53 {
        return None;
    }
    let magnitude = mantissa as f64;
    let exact = *EXACT_POWERS.get(power.unsigned_abs() as usize)?;
    let magnitude = if power < 0 { magnitude / exact } else { magnitude * exact };
    Some((with_sign(magnitude, negative), end))
}

/// As [`fast`], but only right to two units in the last place: multiplies by a rounded power of ten, which takes a third
/// of the time of a division. Good enough to see whether times are evenly spaced.
#[inline(always)]
pub(crate) fn near(window: &[u8; WINDOW], from: usize, mark: u8) -> Option<(f64, usize)> {
    let (mantissa, power, negative, end) = parts(window, from, mark)?;
    let scale = *NEAR_POWERS.get((power + 22) as usize)?;
    Some((with_sign(mantissa as f64 * scale, negative), end))
}

#[inline(always)]
fn with_sign(magnitude: f64, negative: bool) -> f64 {
    f64::from_bits(magnitude.to_bits() | u64::from(negative) << 63)
}

/// Mantissa, power of ten, sign and end of a plain number.
#[inline(always)]
fn parts(window: &[u8; WINDOW], from: usize, mark: u8) -> Option<(i64, i32, bool, usize)> {
    let first = byte_at(window, from);
    let negative = first == b'-';
    let mut at = from + usize::from(negative | (first == b'+'));
    let digit = byte_at(window, at).wrapping_sub(b'0');
    let mut mantissa = u64::from(digit);
    let mut digits = 1;
    if digit > 9 {
        // No whole part; digits must follow the mark.
        (mantissa, digits) = (0, 0);
    } else if is_digit_at(window, at + 1) {
        let (count, value) = leading_digits(word_at(window, at));
        if count == 8 && is_digit_at(window, at + 8) {
            return None;
        }
        (mantissa, digits) = (value, count);
    }
    at += digits;
    let mut power = 0i32;
    if byte_at(window, at) == mark {
        let (count, value) = leading_digits(word_at(window, at + 1));
        mantissa = mantissa * WHOLE_POWERS[count] + value;
        power = -(count as i32);
        at += 1 + count;
        if digits + count == 0 {
            return None;
        }
        if count == 8 && is_digit_at(window, at) {
            let (count, value) = leading_digits(word_at(window, at));
            if count == 8 || digits + 8 + count > 18 {
                return None;
            }
            mantissa = mantissa * WHOLE_POWERS[count] + value;
            power -= count as i32;
            at += count;
        }
    } else if digits == 0 {
        return None;
    }
    if byte_at(window, at) | 0x20 == b'e' {
        let sign = byte_at(window, at + 1);
        let down = sign == b'-';
        at += 1 + usize::from(down | (sign == b'+'));
        let tens = byte_at(window, at).wrapping_sub(b'0');
        let ones = byte_at(window, at + 1).wrapping_sub(b'0');
        if tens > 9 {
            return None;
        }
        let mut size = i32::from(tens);
        at += 1;
        if ones < 10 {
            size = 10 * size + i32::from(ones);
            at += 1;
            if is_digit_at(window, at) {
                size = 10 * size + i32::from(byte_at(window, at) - b'0');
                at += 1;
                if is_digit_at(window, at) {
                    return None;
                }
            }
        }
        power += if down { -size } else { size };
    }
    Some((mantissa as i64, power, negative, at))
}

/// How a number is written: what rounding of the printed text can explain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Printed {
    /// The decimal mark that stands in it.
    pub(crate) mark: Option<u8>,
    /// Significant digits.
    pub(crate) significant: u32,
    /// Power of ten of the last digit.
    pub(crate) last_power: i32,
    /// Digits after the mark.
    pub(crate) decimals: u32,
    /// Length of the exponent part, the letter included; 0 when there is none.
    pub(crate) exponent_len: u32,
}

/// How `field` is written when all of it is a number with either decimal mark, else `None`.
pub(crate) fn printed(field: &[u8]) -> Option<Printed> {
    let unsigned = field.strip_prefix(b"-").or_else(|| field.strip_prefix(b"+")).unwrap_or(field);
    let split = unsigned.iter().position(|b| b.eq_ignore_ascii_case(&b'e'));
    let (digits, exponent_text) = match split {
        Some(at) => (&unsigned[..at], Some(&unsigned[at + 1..])),
        None => (unsigned, None),
    };
    let (mut mark, mut count, mut decimals, mut significant) = (None, 0u32, 0u32, 0u32);
    for &b in digits {
        match b {
            b'0'..=b'9' => {
                count += 1;
                decimals += u32::from(mark.is_some());
                significant += u32::from(significant > 0 || b != b'0');
            }
            b'.' | b',' if mark.is_none() => mark = Some(b),
            _ => return None,
        }
    }
    if count == 0 {
        return None;
    }
    let mut exponent = 0i32;
    if let Some(text) = exponent_text {
        let (down, text) = match text {
            [b'-', rest @ ..] => (true, rest),
            [b'+', rest @ ..] => (false, rest),
            rest => (false, rest),
        };
        if text.is_empty() || text.len() > 6 || !text.iter().all(u8::is_ascii_digit) {
            return None;
        }
        exponent = text.iter().fold(0, |e, b| e * 10 + i32::from(b - b'0'));
        exponent = if down { -exponent } else { exponent };
    }
    let exponent_len = (unsigned.len() - digits.len()) as u32;
    let last_power = exponent - i32::try_from(decimals).ok()?;
    Some(Printed { mark, significant, last_power, decimals, exponent_len })
}

/// The value of `field` when all of it is a number with decimal mark `mark`.
pub(crate) fn exact(field: &[u8], mark: u8) -> Option<f64> {
    let found = printed(field)?;
    match found.mark {
        Some(other) if other != mark => None,
        Some(b',') => {
            let mut text = field.to_vec();
            text.iter_mut().filter(|b| **b == b',').for_each(|b| *b = b'.');
            fast_float2::parse(&text).ok()
        }
        _ => fast_float2::parse(field).ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn window(text: &str) -> [u8; WINDOW] {
        let mut window = [b'\n'; WINDOW];
        window[..text.len()].copy_from_slice(text.as_bytes());
        window
    }

    /// Bits of the fast path and of the fallback against the standard library's parser.
    fn check(text: &str) -> bool {
        let expected = text.parse::<f64>().map(f64::to_bits);
        let comma = text.replace('.', ",");
        assert_eq!(exact(text.as_bytes(), b'.').map(f64::to_bits), expected.clone().ok(), "{text}");
        assert_eq!(exact(comma.as_bytes(), b',').map(f64::to_bits), expected.clone().ok(), "{comma}");
        let got = fast(&window(text), 0, b'.');
        if let Some((value, len)) = got {
            assert_eq!(Ok(value.to_bits()), expected, "{text}");
            assert_eq!(len, text.len(), "{text}");
        }
        if let (Some((value, len)), Ok(expected)) = (near(&window(text), 0, b'.'), text.parse::<f64>()) {
            assert_eq!(len, text.len(), "{text}");
            assert!((value - expected).abs() <= 2.0 * f64::EPSILON * expected.abs(), "{text}");
        }
        let got_comma = fast(&window(&comma), 0, b',').map(|(v, n)| (v.to_bits(), n));
        assert_eq!(got_comma, got.map(|(v, n)| (v.to_bits(), n)));
        got.is_some()
    }

    #[test]
    fn usual_numbers_take_the_fast_path() {
        for text in [
            "0",
            "-0",
            "-4.99999900e-03",
            "4.62500e-01",
            "+1.5E+3",
            ".5",
            "5.",
            "0.0000004",
            "-12.345678",
            "1e22",
            "1e-22",
            "123456.789012345",
            "9007199254740992e0",
            "12345678",
            "0.000000000000001",
        ] {
            let taken = check(text);
            assert!(taken || text.starts_with("9007"), "{text} should be fast");
        }
    }

    #[test]
    fn no_number_gives_no_value() {
        for text in ["", "-", "+", ".", "e5", "1e", "1e+", "-.e1", "abc", "nan"] {
            assert_eq!(fast(&window(text), 0, b'.'), None, "{text}");
            assert_eq!(exact(text.as_bytes(), b'.'), None, "{text}");
        }
        assert_eq!(exact(b"1.5", b','), None);
        assert_eq!(exact(b"1.2.3", b'.'), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(20_000))]

        #[test]
        fn prop_fast_path_is_bit_for_bit_the_exact_value(
            sign in "[-+]?", whole in "[0-9]{1,10}", fraction in "(\\.[0-9]{0,20})?", exponent in "([eE][-+]?[0-9]{1,3})?",
        ) {
            let text = format!("{sign}{whole}{fraction}{exponent}");
            check(&text);
            if !fraction[..fraction.len().min(1)].is_empty() && fraction.len() > 1 {
                check(&format!("{sign}{fraction}{exponent}"));
            }
        }

        #[test]
        fn prop_printed_doubles_come_back(value in any::<f64>().prop_filter("finite", |v| v.is_finite())) {
            check(&format!("{value:e}"));
            check(&format!("{value:.7e}"));
        }

        #[test]
        fn prop_random_windows_never_panic(bytes in proptest::collection::vec(any::<u8>(), WINDOW)) {
            let mut window = [0; WINDOW];
            window.copy_from_slice(&bytes);
            let _ = fast(&window, 0, b'.');
            let _ = printed(&bytes);
            let _ = exact(&bytes, b',');
        }

        #[test]
        fn prop_windows_of_number_letters_agree(text in "[-+.eE0-9]{1,30}") {
            if let Some((value, len)) = fast(&window(&text), 0, b'.') {
                prop_assert_eq!(Ok(value.to_bits()), text[..len].parse::<f64>().map(f64::to_bits));
            }
        }
    }
}
