//! Times as text: RFC 3339, in UTC where they are stored, with the offset where people read them.

use flattop_core::bench::Moment;
use jiff::Timestamp;
use jiff::tz::Offset;

use crate::field::ValueError;

/// `2026-11-25T15:17:06.123Z`: always of one length, so that order of text is order of time.
pub fn utc(unix_ms: i64) -> String {
    match Timestamp::from_millisecond(unix_ms) {
        Ok(at) => format!("{at:.3}"),
        // Entities are checked before they come here; what is left is a time at the edge of what can be written.
        Err(_) => Timestamp::MAX.to_string(),
    }
}

/// `2026-11-25T16:17:06.123+01:00`.
pub fn local(moment: Moment) -> String {
    let offset = Offset::from_seconds(i32::from(moment.offset_minutes) * 60).unwrap_or(Offset::UTC);
    match Timestamp::from_millisecond(moment.unix_ms) {
        Ok(at) => {
            let sign = if moment.offset_minutes < 0 { '-' } else { '+' };
            let minutes = moment.offset_minutes.unsigned_abs();
            let time = offset.to_datetime(at);
            format!("{time:.3}{sign}{:02}:{:02}", minutes / 60, minutes % 60)
        }
        Err(_) => utc(moment.unix_ms),
    }
}

/// Reads RFC 3339 with an offset (`Z` counts as one); parts of a millisecond are cut off.
///
/// # Errors
/// No date and time, or no offset.
pub fn read(text: &str) -> Result<Moment, ValueError> {
    let wrong = || ValueError::Time { found: text.to_owned() };
    let pieces = jiff::fmt::temporal::DateTimeParser::new();
    let parsed = pieces.parse_pieces(text).map_err(|_| wrong())?;
    let at: Timestamp = text.parse().map_err(|_| wrong())?;
    let seconds = parsed.to_numeric_offset().map_or(0, Offset::seconds);
    let offset_minutes = i16::try_from(seconds / 60).map_err(|_| wrong())?;
    Ok(Moment { unix_ms: at.as_millisecond(), offset_minutes })
}

/// Reads what [`utc`] wrote.
pub(crate) fn read_utc(text: &str) -> Result<i64, ValueError> {
    let at: Timestamp = text.parse().map_err(|_| ValueError::Time { found: text.to_owned() })?;
    Ok(at.as_millisecond())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn times_as_people_read_them() {
        // RFC 3339, section 5.8, second example: 1996-12-19T16:39:57-08:00 is 1996-12-20T00:39:57Z.
        let moment = read("1996-12-19T16:39:57-08:00").unwrap();
        assert_eq!(utc(moment.unix_ms), "1996-12-20T00:39:57.000Z");
        assert_eq!(local(moment), "1996-12-19T16:39:57.000-08:00");
        assert!(read("1996-12-19").is_err() && read("1996-12-19T16:39:57").is_err());
        assert_eq!(read("1996-12-20T00:39:57Z").unwrap().offset_minutes, 0);
    }

    proptest! {
        #[test]
        fn prop_text_and_back(unix_ms in -62_135_510_400_000..253_402_214_400_000_i64, offset_minutes in -1439..1440_i16) {
            let moment = Moment { unix_ms, offset_minutes };
            prop_assert_eq!(read(&local(moment)).unwrap(), moment);
            prop_assert_eq!(read_utc(&utc(unix_ms)).unwrap(), unix_ms);
            prop_assert_eq!(utc(unix_ms).len(), 24);
        }
    }
}
