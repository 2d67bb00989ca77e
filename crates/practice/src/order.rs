//! What the user may say to the bench, a line each: `turn -15`, `turn 5 on 2`, `set noise 3 mV`, `reveal`, `end`.

use crate::disturbance::Key;

/// Something the user wants.
#[derive(Clone, Debug, PartialEq)]
pub enum Order {
    /// Turn the trimmer of an input, of the chosen one where none is named; the first is 1.
    Turn {
        /// Angle, degrees; positive is clockwise.
        by_deg: f64,
        /// Input.
        input: Option<usize>,
    },
    /// Choose the input that is turned.
    Input(usize),
    /// Change a disturbance, as it was written.
    Set {
        /// Which.
        key: Key,
        /// To what.
        text: String,
    },
    /// Show the setting, and end blindness.
    Reveal,
    /// End.
    End,
}

/// A line that is no order.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{line}\" is no order: {reason}; there are {FORMS}")]
pub struct OrderError {
    /// As it was written, cut short.
    pub line: String,
    /// Why.
    pub reason: String,
}

/// The orders, as they are written.
pub const FORMS: &str =
    "turn DEGREES [on INPUT], input N, set noise|hum|ringing|droop|hook|bits VALUE, reveal, end";

/// Reads a line; nothing for an empty one or a remark after `#`.
///
/// # Errors
/// It is no order.
pub fn read(line: &str) -> Result<Option<Order>, OrderError> {
    let text = line.split('#').next().unwrap_or("").trim();
    let fail =
        |reason: &str| OrderError { line: line.trim().chars().take(60).collect(), reason: reason.to_owned() };
    let words: Vec<&str> = text.split_whitespace().collect();
    let input = |word: &str| {
        let number: Option<usize> = word.parse().ok();
        number.filter(|n| *n >= 1).ok_or_else(|| fail("an input is a number from 1"))
    };
    let order = match words.as_slice() {
        [] => return Ok(None),
        ["turn", by, rest @ ..] => {
            let number = by.trim_end_matches('°').parse().ok().filter(|by: &f64| by.is_finite());
            let by_deg = number.ok_or_else(|| fail("an angle is a number of degrees"))?;
            let input = match rest {
                [] => None,
                ["on", number] => Some(input(number)?),
                _ => return Err(fail("after the angle stands \"on\" and the number of an input")),
            };
            Order::Turn { by_deg, input }
        }
        ["input", number] => Order::Input(input(number)?),
        ["set", name, value @ ..] if !value.is_empty() => {
            let key = Key::named(name).ok_or_else(|| fail("that is nothing that can be set"))?;
            Order::Set { key, text: value.join(" ") }
        }
        ["reveal"] => Order::Reveal,
        ["end"] => Order::End,
        _ => return Err(fail("that is none of them")),
    };
    Ok(Some(order))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn orders() {
        let get = |line| read(line).unwrap();
        assert_eq!(get(" turn -15 "), Some(Order::Turn { by_deg: -15.0, input: None }));
        assert_eq!(get("turn 2.5° on 2"), Some(Order::Turn { by_deg: 2.5, input: Some(2) }));
        assert_eq!(get("input 3"), Some(Order::Input(3)));
        assert_eq!(get("set noise 3 mV"), Some(Order::Set { key: Key::Noise, text: "3 mV".into() }));
        assert_eq!(get("reveal # now"), Some(Order::Reveal));
        assert_eq!(get("end"), Some(Order::End));
        assert_eq!(get("  # nothing"), None);
    }

    #[test]
    fn what_is_none_says_what_there_is() {
        for (line, part) in [
            ("turn", "none of them"),
            ("turn left", "number of degrees"),
            ("turn inf", "number of degrees"),
            ("turn 5 at 2", "\"on\""),
            ("turn 5 on 0", "from 1"),
            ("set colour 3", "nothing that can be set"),
            ("set noise", "none of them"),
        ] {
            let error = read(line).unwrap_err().to_string();
            assert!(error.contains(part) && error.contains("turn DEGREES"), "{error}");
        }
    }

    proptest! {
        #[test]
        fn prop_any_line_is_read_or_refused(line: String) {
            let _ = read(&line);
        }
    }
}
