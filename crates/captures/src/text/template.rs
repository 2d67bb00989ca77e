//! The shape of the time field before: most times differ from the last one only in their last digits.

use super::number::{self, WINDOW};

/// Most digits that are read by the template.
const MOST_DIGITS: usize = 8;
/// Lessons before the template is judged.
const TRIAL: u32 = 4096;

/// A field of the form prefix, digits, suffix, in which prefix and suffix (the separator included) stay the same.
#[derive(Clone, Debug)]
pub(crate) struct Template {
    prefix: u64,
    prefix_mask: u64,
    digits_at: usize,
    digits_mask: u64,
    digits_shift: u32,
    suffix_at: usize,
    suffix: u64,
    suffix_mask: u64,
    /// Where the next field starts.
    next: usize,
    /// Value of the field with all digits zero, and of one unit of the last digit.
    base: f64,
    unit: f64,
    hits: u32,
    lessons: u32,
    /// Off once fields turn out to change their form all the time.
    on: bool,
}

impl Template {
    /// A template that fits nothing yet.
    pub(crate) fn new() -> Self {
        Self {
            prefix: 0,
            prefix_mask: u64::MAX, // text holds no eight zero bytes in a row
            digits_at: 0,
            digits_mask: 0,
            digits_shift: 0,
            suffix_at: 0,
            suffix: 1,
            suffix_mask: u64::MAX, // nor is the same word zero and one
            next: 0,
            base: 0.0,
            unit: 0.0,
            hits: 0,
            lessons: 0,
            on: true,
        }
    }

    /// The value of the field at the start of `window`, right to a few units in the last place, and where the next field
    /// starts; `None` when it has another form.
    #[inline(always)]
    pub(crate) fn read(&mut self, window: &[u8; WINDOW]) -> Option<(f64, usize)> {
        let digits = number::word_at(window, self.digits_at) ^ 0x3030_3030_3030_3030;
        let others = (digits.wrapping_add(0x7676_7676_7676_7676) | digits) & 0x8080_8080_8080_8080;
        let differs = ((number::word_at(window, 0) ^ self.prefix) & self.prefix_mask)
            | ((number::word_at(window, self.suffix_at) ^ self.suffix) & self.suffix_mask)
            | (others & self.digits_mask);
        if differs != 0 {
            return None;
        }
        self.hits = self.hits.wrapping_add(1);
        let value = number::eight_digits(digits.unbounded_shl(self.digits_shift));
        Some((self.base + value as i64 as f64 * self.unit, self.next))
    }

    /// Takes the form of a field that was read otherwise: `end` is its length, followed by the separator.
    #[cold]
    #[inline(never)]
    pub(crate) fn learn(&mut self, window: &[u8; WINDOW], end: usize, value: f64) {
        if !self.on {
            return;
        }
        self.lessons += 1;
        if self.lessons >= TRIAL {
            let worth = self.hits > 4 * self.lessons;
            *self = Self { on: worth, ..Self::new() };
        }
        let field = &window[..end.min(WINDOW)];
        let mantissa = field.iter().position(|b| b.eq_ignore_ascii_case(&b'e')).unwrap_or(field.len());
        let run = field[..mantissa].iter().rev().take_while(|b| b.is_ascii_digit()).count();
        let count = run.min(MOST_DIGITS);
        let digits_at = mantissa - count;
        let suffix_len = end + 1 - mantissa;
        let Some(written) = number::printed(field) else { return };
        if count == 0 || digits_at > 8 || suffix_len > 8 || !(-300..300).contains(&written.last_power) {
            return;
        }
        let low = |bytes: usize| if bytes == 0 { 0 } else { u64::MAX >> (64 - 8 * bytes) };
        self.prefix = number::word_at(window, 0);
        self.prefix_mask = low(digits_at);
        self.digits_at = digits_at;
        self.digits_mask = low(count);
        self.digits_shift = 64 - 8 * count as u32;
        self.suffix_at = mantissa;
        self.suffix = number::word_at(window, mantissa);
        self.suffix_mask = low(suffix_len);
        self.next = end + 1;
        let size = 10f64.powi(written.last_power);
        self.unit = if field[0] == b'-' { -size } else { size };
        let digits = field[digits_at..mantissa].iter().fold(0u32, |n, b| n * 10 + u32::from(b - b'0'));
        self.base = value - f64::from(digits) * self.unit;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};
    use proptest::prelude::*;

    fn window(text: &str) -> [u8; WINDOW] {
        let mut window = [b'\n'; WINDOW];
        window[..text.len()].copy_from_slice(text.as_bytes());
        window
    }

    proptest! {
        /// Whatever form was learnt: a field is read right, or not at all.
        #[test]
        fn prop_reads_right_or_not_at_all(
            first in "[-+]?[0-9]{1,4}(\\.[0-9]{0,9})?(e[-+]?[0-9]{1,2})?",
            second in "[-+]?[0-9]{1,4}(\\.[0-9]{0,9})?(e[-+]?[0-9]{1,2})?",
            last in "[0-9]",
        ) {
            // A sibling of the first field differs in one digit only, and mostly fits.
            let sibling = match first.rfind(|c: char| c.is_ascii_digit()).filter(|_| !first.contains('e')) {
                Some(at) => format!("{}{last}{}", &first[..at], &first[at + 1..]),
                None => second.clone(),
            };
            let mut template = Template::new();
            prop_assert_eq!(template.read(&window(&first)), None);
            let value: f64 = first.parse().expect("a number");
            template.learn(&window(&format!("{first},")), first.len(), value);
            for text in [first.clone(), second, sibling] {
                if let Some((read, next)) = template.read(&window(&format!("{text},1"))) {
                    let expected: f64 = text.parse().expect("a number");
                    let size = expected.abs().max(value.abs());
                    assert_close!(read, expected, within(8.0 * f64::EPSILON * size));
                    prop_assert_eq!(next, text.len() + 1);
                }
            }
        }
    }

    #[test]
    fn times_of_the_usual_forms_fit() {
        for (first, second) in [
            ("-4.99999900e-03", "-4.99999800e-03"),
            ("0.001234", "0.001235"),
            ("-0.004999999", "-0.004999998"),
            ("1234", "1235"),
            ("1.5E-6", "1.6E-6"),
        ] {
            let mut template = Template::new();
            template.learn(&window(&format!("{first};")), first.len(), first.parse().expect("a number"));
            let (value, next) = template.read(&window(&format!("{second};0.5"))).expect("the same form");
            let expected: f64 = second.parse().expect("a number");
            assert_close!(value, expected, within(4.0 * f64::EPSILON * expected.abs()));
            assert_eq!(next, second.len() + 1);
            // One digit more is another form.
            assert_eq!(template.read(&window(&format!("{second}0;0.5"))), None);
        }
    }
}
