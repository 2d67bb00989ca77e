//! What was said on a link, as text that can be read, kept, and replayed.
//!
//! One line for each piece: `> ` sent, `< ` received, `<| ` received and the message ends, `! closed` the other side closed
//! the link, `! cleared` it was cleared. Pieces are printable ASCII with `\n`, `\r`, `\t`, `\\` and `\xNN`; a long one goes on
//! in lines that begin with `+ `. Lines that begin with `#` and empty ones say nothing. The first line is [`FIRST`].

use std::fmt::Write as _;

use flattop_scpi::excerpt::{escape, unescape};

/// First line of a transcript.
pub const FIRST: &str = "# flattop transcript 1";
/// Bytes in one line.
const LINE: usize = 64;

/// One thing that happened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Entry {
    /// A message was sent.
    Sent(Vec<u8>),
    /// Bytes arrived.
    Received(Vec<u8>),
    /// Bytes arrived, and the message ended with them.
    ReceivedEnd(Vec<u8>),
    /// The other side closed the link.
    Closed,
    /// The link was cleared.
    Cleared,
}

/// All that happened, in order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Transcript {
    /// What happened.
    pub entries: Vec<Entry>,
}

/// A text is no transcript.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: expected {expected}, found \"{found}\"")]
pub struct TranscriptError {
    /// Line, counted from 1.
    pub line: usize,
    /// What should stand there.
    pub expected: &'static str,
    /// What stands there.
    pub found: String,
}

impl Transcript {
    /// As text.
    pub fn to_text(&self) -> String {
        let mut text = format!("{FIRST}\n");
        for entry in &self.entries {
            let (mark, bytes) = match entry {
                Entry::Sent(bytes) => (">", bytes),
                Entry::Received(bytes) => ("<", bytes),
                Entry::ReceivedEnd(bytes) => ("<|", bytes),
                Entry::Closed => {
                    text.push_str("! closed\n");
                    continue;
                }
                Entry::Cleared => {
                    text.push_str("! cleared\n");
                    continue;
                }
            };
            let mut lines = bytes.chunks(LINE);
            let _ = writeln!(text, "{mark} {}", escape(lines.next().unwrap_or(b"")));
            for line in lines {
                let _ = writeln!(text, "+ {}", escape(line));
            }
        }
        text
    }

    /// From text.
    ///
    /// # Errors
    /// A line is none of a transcript.
    pub fn read(text: &str) -> Result<Self, TranscriptError> {
        let fault = |line: usize, expected, found: &str| TranscriptError {
            line: line + 1,
            expected,
            found: found.chars().take(60).collect(),
        };
        let first = text.lines().next().unwrap_or("");
        if first != FIRST {
            return Err(fault(0, FIRST, first));
        }
        let mut entries = Vec::new();
        for (index, line) in text.lines().enumerate() {
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let (mark, rest) = line.split_once(' ').unwrap_or((line, ""));
            if mark == "!" {
                entries.push(match rest {
                    "closed" => Entry::Closed,
                    "cleared" => Entry::Cleared,
                    _ => return Err(fault(index, "\"! closed\" or \"! cleared\"", line)),
                });
                continue;
            }
            let Some(bytes) = unescape(rest) else {
                return Err(fault(index, "printable ASCII with \\n, \\r, \\t, \\\\ and \\xNN", line));
            };
            match (mark, entries.last_mut()) {
                (">", _) => entries.push(Entry::Sent(bytes)),
                ("<", _) => entries.push(Entry::Received(bytes)),
                ("<|", _) => entries.push(Entry::ReceivedEnd(bytes)),
                ("+", Some(Entry::Sent(so_far) | Entry::Received(so_far) | Entry::ReceivedEnd(so_far))) => {
                    so_far.extend(bytes);
                }
                _ => return Err(fault(index, "a line that begins with >, <, <|, + or !", line)),
            }
        }
        Ok(Self { entries })
    }

    /// With `identity` in place of all that was answered to messages that hold `*IDN?`.
    pub fn with_identity(&self, identity: &str) -> Self {
        let mut entries = Vec::new();
        let mut was_asked = false;
        let mut is_given = false;
        for entry in &self.entries {
            match entry {
                Entry::Sent(message) => {
                    let upper = message.to_ascii_uppercase();
                    was_asked = upper.windows(5).any(|w| w == b"*IDN?");
                    is_given = false;
                    entries.push(entry.clone());
                }
                Entry::Received(_) | Entry::ReceivedEnd(_) if was_asked => {
                    let given = format!("{identity}\n").into_bytes();
                    let is_end = matches!(entry, Entry::ReceivedEnd(_));
                    if !is_given {
                        entries.push(if is_end { Entry::ReceivedEnd(given) } else { Entry::Received(given) });
                    }
                    is_given = true;
                }
                _ => entries.push(entry.clone()),
            }
        }
        Self { entries }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn identities_are_replaced() {
        let entries = vec![
            Entry::Sent(b"*idn?\n".to_vec()),
            Entry::Received(b"Some".to_vec()),
            Entry::Received(b"one\n".to_vec()),
            Entry::Sent(b"A?\n".to_vec()),
            Entry::Received(b"1\n".to_vec()),
        ];
        let text = Transcript { entries }.with_identity("Harrow Lane Lift Works,Bench A scope,0,0").to_text();
        assert_eq!(
            text,
            "# flattop transcript 1\n> *idn?\\n\n< Harrow Lane Lift Works,Bench A scope,0,0\\n\n> A?\\n\n< 1\\n\n"
        );
    }

    #[test]
    fn faults_point_at_their_line() {
        let fault = |text: &str| Transcript::read(text).unwrap_err().to_string();
        assert_eq!(fault("hello"), "line 1: expected # flattop transcript 1, found \"hello\"");
        assert_eq!(
            fault(&format!("{FIRST}\n+ a")),
            "line 2: expected a line that begins with >, <, <|, + or !, found \"+ a\""
        );
        assert_eq!(
            fault(&format!("{FIRST}\n\n! x")),
            "line 3: expected \"! closed\" or \"! cleared\", found \"! x\""
        );
        assert!(fault(&format!("{FIRST}\n> \\q")).starts_with("line 2: expected printable ASCII"));
    }

    fn entries() -> impl Strategy<Value = Vec<Entry>> {
        let bytes = || prop::collection::vec(any::<u8>(), 0..200);
        let entry = prop_oneof![
            bytes().prop_map(Entry::Sent),
            bytes().prop_map(Entry::Received),
            bytes().prop_map(Entry::ReceivedEnd),
            Just(Entry::Closed),
            Just(Entry::Cleared),
        ];
        prop::collection::vec(entry, 0..10)
    }

    proptest! {
        #[test]
        fn prop_transcripts_come_back(entries in entries()) {
            let transcript = Transcript { entries };
            prop_assert_eq!(Transcript::read(&transcript.to_text()), Ok(transcript));
        }

        #[test]
        fn prop_any_text_is_read_or_refused(text in "[ -~\n]{0,100}") {
            let _ = Transcript::read(&format!("{FIRST}\n{text}"));
        }
    }
}
