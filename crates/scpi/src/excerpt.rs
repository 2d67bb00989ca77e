//! Bytes as text that can be printed, stored and read back.

use std::fmt::Write as _;

/// Most bytes of a message that an error shows.
pub const LONGEST: usize = 48;

/// Bytes as printable ASCII: `\n`, `\r`, `\t`, `\\` and `\xNN` stand for what is not.
pub fn escape(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len());
    for &byte in bytes {
        match byte {
            b'\n' => text.push_str("\\n"),
            b'\r' => text.push_str("\\r"),
            b'\t' => text.push_str("\\t"),
            b'\\' => text.push_str("\\\\"),
            b' '..=b'~' => text.push(char::from(byte)),
            _ => {
                let _ = write!(text, "\\x{byte:02x}");
            }
        }
    }
    text
}

/// The bytes that [`escape`] made `text` of; `None` where it can't have. Characters beyond ASCII are refused.
pub fn unescape(text: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let Some((&first, behind)) = rest.split_first() {
        rest = behind;
        if first != b'\\' {
            if !matches!(first, b' '..=b'~') {
                return None;
            }
            bytes.push(first);
            continue;
        }
        let (&kind, behind) = rest.split_first()?;
        rest = behind;
        bytes.push(match kind {
            b'n' => b'\n',
            b'r' => b'\r',
            b't' => b'\t',
            b'\\' => b'\\',
            b'x' => {
                let digits = std::str::from_utf8(rest.get(..2)?).ok()?;
                if !digits.bytes().all(|d| d.is_ascii_hexdigit()) {
                    return None;
                }
                rest = &rest[2..];
                u8::from_str_radix(digits, 16).ok()?
            }
            _ => return None,
        });
    }
    Some(bytes)
}

/// The start of a message, in quotes, short enough for one line.
pub fn excerpt(bytes: &[u8]) -> String {
    let shown = escape(&bytes[..bytes.len().min(LONGEST)]);
    let more = if bytes.len() > LONGEST { "…" } else { "" };
    format!("\"{shown}{more}\"")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_cannot_be_printed_is_spelt_out() {
        assert_eq!(escape(b"a\\b\r\n\x00\xff"), "a\\\\b\\r\\n\\x00\\xff");
        assert_eq!(excerpt(b"*IDN?\n"), "\"*IDN?\\n\"");
        assert_eq!(excerpt(&[b'x'; 100]), format!("\"{}…\"", "x".repeat(LONGEST)));
        for bad in ["\\", "\\q", "\\x1", "\\x+1", "é", "\n"] {
            assert_eq!(unescape(bad), None, "{bad:?}");
        }
    }

    proptest! {
        #[test]
        fn prop_escaped_bytes_come_back(bytes: Vec<u8>) {
            prop_assert_eq!(unescape(&escape(&bytes)), Some(bytes));
        }
    }
}
