//! Units as exports write them, and names with a unit attached.

use flattop_core::quantity::format_engineering;

/// What a unit measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Quantity {
    Time,
    Voltage,
}

/// A unit that is understood: value in SI = written value · 10^`power`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Unit {
    pub(crate) quantity: Quantity,
    pub(crate) power: i32,
}

impl Unit {
    /// Seconds.
    pub(crate) const SECOND: Self = Self { quantity: Quantity::Time, power: 0 };

    /// Converts a written value to SI, rounding once for a negative power.
    pub(crate) fn to_si(self, written: f64) -> f64 {
        let scale = 10f64.powi(self.power.abs());
        if self.power < 0 { written / scale } else { written * scale }
    }

    /// SI units per written unit.
    pub(crate) fn scale(self) -> f64 {
        self.to_si(1.0)
    }
}

/// A time in words such as `1 µs`: at most `digits` significant digits, without zeros at the end.
pub(crate) fn seconds(time_s: f64, digits: usize) -> String {
    let text = format_engineering(time_s, flattop_core::quantity::Unit::Second, digits);
    match text.split_once(' ') {
        Some((number, unit)) if number.contains('.') => {
            format!("{} {unit}", number.trim_end_matches('0').trim_end_matches('.'))
        }
        _ => text,
    }
}

/// The unit `text` stands for. SI prefixes keep their case, so that `mV` and `MV` differ; micro may be written with
/// U+00B5, U+03BC or `u`.
pub(crate) fn unit(text: &str) -> Option<Unit> {
    let text = text.trim().trim_end_matches('.');
    let whole = match text.to_ascii_lowercase().as_str() {
        "second" | "seconds" | "sec" | "secs" => Some((Quantity::Time, 0)),
        "millisecond" | "milliseconds" | "msec" => Some((Quantity::Time, -3)),
        "microsecond" | "microseconds" | "usec" => Some((Quantity::Time, -6)),
        "nanosecond" | "nanoseconds" | "nsec" => Some((Quantity::Time, -9)),
        "picosecond" | "picoseconds" => Some((Quantity::Time, -12)),
        "volt" | "volts" | "v" => Some((Quantity::Voltage, 0)),
        "millivolt" | "millivolts" => Some((Quantity::Voltage, -3)),
        "microvolt" | "microvolts" => Some((Quantity::Voltage, -6)),
        _ => None,
    };
    if let Some((quantity, power)) = whole {
        return Some(Unit { quantity, power });
    }
    let last = text.chars().next_back()?;
    let quantity = match last {
        's' | 'S' => Quantity::Time,
        'V' | 'v' => Quantity::Voltage,
        _ => return None,
    };
    let power = match &text[..text.len() - last.len_utf8()] {
        "" => 0,
        "m" => -3,
        "\u{b5}" | "\u{3bc}" | "u" => -6,
        "n" => -9,
        "p" => -12,
        "f" => -15,
        "k" => 3,
        "M" => 6,
        _ => return None,
    };
    Some(Unit { quantity, power })
}

/// Splits a heading into name and unit: `CH1 (mV)`, `t[s]`, `U / V`, `time_s`, `Time ms`, `in mV`.
///
/// In brackets any text counts as a unit; elsewhere only a known one does.
pub(crate) fn split_heading(heading: &str) -> (String, Option<String>) {
    let heading = heading.trim();
    for (open, close) in [('(', ')'), ('[', ']'), ('<', '>')] {
        if let Some(inner) = heading.strip_suffix(close)
            && let Some(at) = inner.rfind(open)
        {
            let name = inner[..at].trim().to_owned();
            let written = inner[at + 1..].trim();
            let written = written.strip_prefix("in ").unwrap_or(written).trim();
            return (name, (!written.is_empty()).then(|| written.to_owned()));
        }
    }
    for mark in ['/', '_', ' ', '-', ':', '.'] {
        if let Some((name, written)) = heading.rsplit_once(mark) {
            let written = written.trim();
            let name = name.trim();
            let name = name.strip_suffix(" in").unwrap_or(name).trim();
            // A capital S or a lower-case v alone is more likely part of the name.
            if !name.is_empty() && !matches!(written, "S") && unit(written).is_some() {
                return (name.to_owned(), Some(written.to_owned()));
            }
        }
    }
    (heading.to_owned(), None)
}

/// Whether a name says that the column is time.
pub(crate) fn names_time(name: &str) -> bool {
    let name = name.trim().trim_matches(|c: char| !c.is_alphanumeric()).to_lowercase();
    const WORDS: [&str; 14] = [
        "t", "x", "x-axis", "xaxis", "x axis", "zeit", "temps", "tiempo", "tempo", "tid", "tijd", "czas",
        "second", "seconds",
    ];
    WORDS.contains(&name.as_str())
        || name.strip_prefix("time").is_some_and(|rest| !rest.starts_with(char::is_alphabetic))
        || name.strip_suffix("time").is_some_and(|rest| !rest.ends_with(char::is_alphabetic))
}

/// Whether a name says that the column counts samples.
pub(crate) fn names_index(name: &str) -> bool {
    let name = name.trim().trim_end_matches(['.', ':']).to_lowercase();
    const WORDS: [&str; 18] = [
        "#",
        "n",
        "no",
        "nr",
        "num",
        "number",
        "index",
        "idx",
        "sample",
        "samples",
        "sample no",
        "sample number",
        "point",
        "points",
        "sequence",
        "seq",
        "row",
        "sample index",
    ];
    WORDS.contains(&name.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_with_prefixes_of_the_si_brochure() {
        // SI brochure, 9th edition (2019), table 7: m 10^-3, µ 10^-6, n 10^-9, p 10^-12, k 10^3, M 10^6.
        let cases = [
            ("s", Quantity::Time, 0),
            ("ms", Quantity::Time, -3),
            ("\u{b5}s", Quantity::Time, -6),
            ("\u{3bc}s", Quantity::Time, -6),
            ("us", Quantity::Time, -6),
            ("ns", Quantity::Time, -9),
            ("ps", Quantity::Time, -12),
            ("V", Quantity::Voltage, 0),
            ("mV", Quantity::Voltage, -3),
            ("MV", Quantity::Voltage, 6),
            ("kV", Quantity::Voltage, 3),
            ("Volts", Quantity::Voltage, 0),
        ];
        for (text, quantity, power) in cases {
            assert_eq!(unit(text), Some(Unit { quantity, power }), "{text}");
        }
        for text in ["A", "dB", "Hz", "", "div", "xs"] {
            assert_eq!(unit(text), None, "{text}");
        }
    }

    #[test]
    fn times_in_words() {
        let cases = [(1e-6, 5, "1 µs"), (4.000_01e-4, 5, "400 µs"), (-1.1e-5, 12, "-11 µs"), (0.0, 5, "0 s")];
        for (time_s, digits, words) in cases {
            assert_eq!(seconds(time_s, digits), words);
        }
        assert_eq!(seconds(0.500_000_1, 12), "500.0001 ms");
        assert_eq!(seconds(1200.0, 5), "1.2 ks");
    }

    #[test]
    fn headings_in_every_dress() {
        let cases = [
            ("Time (ms)", "Time", Some("ms")),
            ("CH1 [mV]", "CH1", Some("mV")),
            ("t[s]", "t", Some("s")),
            ("U / V", "U", Some("V")),
            ("time_s", "time", Some("s")),
            ("ch1_V", "ch1", Some("V")),
            ("Time in us", "Time", Some("us")),
            ("Volt", "Volt", None),
            ("CH1", "CH1", None),
            ("Channel A (A)", "Channel A", Some("A")),
            ("CH 1 ()", "CH 1", None),
        ];
        for (heading, name, written) in cases {
            assert_eq!(split_heading(heading), (name.to_owned(), written.map(str::to_owned)), "{heading}");
        }
        for name in ["Time", "t", "TIME", "Zeit", "X-Axis", "Rel. Time", "time_1", "x"] {
            assert!(names_time(name), "{name}");
        }
        for name in ["CH1", "Timer", "tip", "voltage", ""] {
            assert!(!names_time(name), "{name}");
        }
    }
}
