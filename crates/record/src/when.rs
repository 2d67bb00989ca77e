//! Times as a record shows them: as the clock on the wall stood, with its offset.

use flattop_core::bench::Moment;
use flattop_register::time;

/// `2026-11-25`.
pub(crate) fn day(moment: Moment) -> String {
    part(&time::local(moment), 0..10)
}

/// `2026-11-25 16:17 +01:00`.
pub(crate) fn minute(moment: Moment) -> String {
    let text = time::local(moment);
    let offset = text.get(text.len().saturating_sub(6)..).unwrap_or("");
    format!("{} {} {offset}", part(&text, 0..10), part(&text, 11..16))
}

/// `2026-11-25T15:17:06.123Z`.
pub(crate) fn utc(moment: Moment) -> String {
    time::utc(moment.unix_ms)
}

fn part(text: &str, range: std::ops::Range<usize>) -> String {
    text.get(range).unwrap_or(text).to_owned()
}

/// Beginnings of months, quarters or years within `from..=until` (ms since 1970 UTC), twelve at most, with what is
/// written there. Where no month begins, both ends.
pub(crate) fn ticks(from: Moment, until: Moment) -> Vec<(f64, String)> {
    let first = time::local(from);
    let year: i64 = first.get(0..4).and_then(|y| y.parse().ok()).unwrap_or(1970);
    let (low, high) = (from.unix_ms, until.unix_ms.max(from.unix_ms));
    let offset = &first[first.len().saturating_sub(6)..];
    for months in [1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200] {
        let mut found = Vec::new();
        let mut month = 12 * (year - year % 100);
        loop {
            let text = format!("{:04}-{:02}-01T00:00:00{offset}", month / 12, month % 12 + 1);
            let Ok(at) = time::read(&text) else { break };
            if at.unix_ms > high || found.len() > 12 {
                break;
            }
            if at.unix_ms >= low {
                let label = if months < 12 { part(&text, 0..7) } else { part(&text, 0..4) };
                found.push((at.unix_ms as f64, label));
            }
            month += months;
        }
        if found.len() <= 12 {
            if found.len() < 2 {
                break;
            }
            return found;
        }
    }
    [from, until].map(|m| (m.unix_ms as f64, day(m))).to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_carry_their_offset() {
        let moment = time::read("2026-11-25T16:17:06.5+01:00").unwrap();
        assert_eq!(minute(moment), "2026-11-25 16:17 +01:00");
        assert_eq!((day(moment).as_str(), utc(moment).as_str()), ("2026-11-25", "2026-11-25T15:17:06.500Z"));
    }

    #[test]
    fn ticks_stand_at_beginnings() {
        let read = |text: &str| time::read(text).unwrap();
        let labels = |from: &str, until: &str| -> Vec<String> {
            ticks(read(from), read(until)).into_iter().map(|t| t.1).collect()
        };
        assert_eq!(labels("2026-01-15T00:00:00+01:00", "2026-03-15T00:00:00+01:00"), ["2026-02", "2026-03"]);
        assert_eq!(labels("2026-01-15T00:00:00Z", "2026-01-20T00:00:00Z"), ["2026-01-15", "2026-01-20"]);
        assert_eq!(labels("2026-01-01T00:00:00Z", "2027-01-01T00:00:00Z").len(), 7);
        assert_eq!(labels("1999-01-01T00:00:00Z", "2026-01-01T00:00:00Z").len(), 6);
        assert!(labels("0001-01-02T00:00:00Z", "9999-12-30T00:00:00Z").len() < 14);
    }
}
