//! One question under way: how its answer is put together, and when it is given up.

use std::time::Duration;

use super::{Answer, Boundary, Expect, Fault, KEPT, QUIET};
use crate::block::{BlockError, BlockReader};
use crate::excerpt::excerpt;

#[derive(Clone, Debug)]
pub(super) struct Exchange {
    question: String,
    asked_at: Duration,
    deadline: Duration,
    /// When silence ends the answer.
    quiet_at: Option<Duration>,
    received: usize,
    form: Form,
}

#[derive(Clone, Debug)]
enum Form {
    Nothing,
    Line { limit: usize, text: Vec<u8> },
    Block { limit: usize, reader: BlockReader, tail: Vec<u8> },
    Mark { number: u8, limit: usize, dropped: usize, start: Vec<u8>, text: Vec<u8> },
}

/// Longest line that is kept while a mark is looked for; a mark is shorter.
const MARK_WINDOW: usize = 8;

type Outcome = Option<Result<Answer, Fault>>;

impl Exchange {
    pub(super) fn new(question: String, expect: Expect, now: Duration, time_limit: Duration) -> Self {
        let form = match expect {
            Expect::Nothing => Form::Nothing,
            Expect::Line { limit } => Form::Line { limit, text: Vec::new() },
            Expect::Block { limit } => {
                Form::Block { limit, reader: BlockReader::new(limit), tail: Vec::new() }
            }
        };
        Self::of(question, form, now, time_limit)
    }

    pub(super) fn mark(
        question: String,
        number: u8,
        limit: usize,
        now: Duration,
        time_limit: Duration,
    ) -> Self {
        let form = Form::Mark { number, limit, dropped: 0, start: Vec::new(), text: Vec::new() };
        Self::of(question, form, now, time_limit)
    }

    fn of(question: String, form: Form, now: Duration, time_limit: Duration) -> Self {
        let deadline = now.saturating_add(time_limit);
        Self { question, asked_at: now, deadline, quiet_at: None, received: 0, form }
    }

    /// Bytes that came before the mark was asked for.
    pub(super) fn stray(&mut self, count: usize, bytes: &[u8]) {
        if let Form::Mark { dropped, start, .. } = &mut self.form {
            *dropped = count;
            *start = bytes.to_vec();
        }
    }

    pub(super) fn expects_nothing(&self) -> bool {
        matches!(self.form, Form::Nothing)
    }

    pub(super) fn next_deadline(&self) -> Duration {
        self.quiet_at.map_or(self.deadline, |quiet| quiet.min(self.deadline))
    }

    pub(super) fn input(&mut self, now: Duration, bytes: &[u8], boundary: Boundary) -> Outcome {
        self.received = self.received.saturating_add(bytes.len());
        self.quiet_at = None;
        match &mut self.form {
            // An answer to something that has none.
            Form::Nothing => None,
            Form::Line { .. } => self.line(bytes, boundary),
            Form::Block { .. } => self.block(now, bytes, boundary),
            Form::Mark { .. } => self.search(now, bytes),
        }
    }

    fn line(&mut self, bytes: &[u8], boundary: Boundary) -> Outcome {
        let Form::Line { limit, text } = &mut self.form else { return None };
        let end = bytes.iter().position(|b| *b == b'\n');
        let part = &bytes[..end.unwrap_or(bytes.len())];
        // One more for a carriage return.
        if text.len() + part.len() > *limit + 1 {
            let (received, limit) = (self.received, *limit);
            return Some(Err(Fault::Flood { question: self.question.clone(), received, limit }));
        }
        text.extend_from_slice(part);
        let surplus = end.map_or(&[][..], |at| &bytes[at + 1..]);
        if !surplus.is_empty() {
            return Some(Err(Fault::Nonsense {
                question: self.question.clone(),
                expected: "one line".to_owned(),
                found: format!("more behind it: {}", excerpt(surplus)),
            }));
        }
        (end.is_some() || boundary == Boundary::End).then(|| {
            let mut line = std::mem::take(text);
            if line.last() == Some(&b'\r') {
                line.pop();
            }
            Ok(Answer::Line(line))
        })
    }

    fn block(&mut self, now: Duration, bytes: &[u8], boundary: Boundary) -> Outcome {
        let Form::Block { reader, tail, .. } = &mut self.form else { return None };
        // Blanks and ends of lines in front of a block are left over from nobody: some instruments begin so.
        let blank = if self.received == bytes.len() {
            bytes.iter().take(KEPT).take_while(|b| matches!(b, b' ' | b'\t')).count()
        } else {
            0
        };
        let bytes = &bytes[blank..];
        match reader.feed(bytes) {
            Ok(taken) => tail.extend_from_slice(&bytes[taken..][..(bytes.len() - taken).min(KEPT)]),
            Err(error) => return Some(Err(self.block_fault(error))),
        }
        if !tail.is_empty() && !b"\r\n".starts_with(tail) && *tail != b"\n" {
            let announced = reader.announced().unwrap_or(0);
            let surplus = excerpt(tail);
            return Some(Err(Fault::WrongLength { question: self.question.clone(), announced, surplus }));
        }
        if boundary == Boundary::End || tail.ends_with(b"\n") {
            return Some(self.finish_block());
        }
        // Without marks silence tells.
        if reader.is_complete() || (reader.is_indefinite() && reader.data().ends_with(b"\n")) {
            self.quiet_at = Some(now.saturating_add(QUIET));
        }
        None
    }

    fn finish_block(&mut self) -> Result<Answer, Fault> {
        let Form::Block { limit, reader, .. } = &mut self.form else { return Ok(Answer::Sent) };
        match reader.end() {
            Ok(()) if reader.data().len() > *limit => {
                let (received, limit) = (reader.data().len(), *limit);
                Err(Fault::Flood { question: self.question.clone(), received, limit })
            }
            Ok(()) => {
                let whole = std::mem::replace(reader, BlockReader::new(0));
                Ok(Answer::Block(whole.into_data()))
            }
            Err(error) => Err(self.block_fault(error)),
        }
    }

    fn block_fault(&self, error: BlockError) -> Fault {
        let question = self.question.clone();
        match error {
            BlockError::TooLarge { announced, limit } => Fault::TooLarge { question, announced, limit },
            BlockError::Endless { received, limit } => Fault::Flood { question, received, limit },
            BlockError::Short { announced, received } => Fault::ShortBlock { question, announced, received },
            BlockError::NotABlock { found } => {
                Fault::Nonsense { question, expected: "a block, which begins with \"#\"".to_owned(), found }
            }
            BlockError::BadLength { digits, found } => {
                let expected = format!("the length of a block in {digits} digits");
                Fault::Nonsense { question, expected, found }
            }
            BlockError::NoLength { found } => {
                Fault::Nonsense { question, expected: "a block with its length".to_owned(), found }
            }
        }
    }

    /// Looks for the mark as the last line.
    fn search(&mut self, now: Duration, bytes: &[u8]) -> Outcome {
        let Form::Mark { number, limit, dropped, start, text } = &mut self.form else { return None };
        text.extend_from_slice(bytes);
        let own = format!("{number}");
        // Some print a sign.
        let trimmed = text.trim_ascii_end();
        let ends_line = text.len() > trimmed.len();
        let signed = trimmed.strip_suffix(own.as_bytes()).map(|t| t.strip_suffix(b"+").unwrap_or(t));
        let found = signed.filter(|before| ends_line && before.last().is_none_or(|b| !b.is_ascii_digit()));
        if let Some(before) = found {
            // Silence behind it tells it from the same bytes within a block.
            self.quiet_at = Some(now.saturating_add(QUIET));
            let room = KEPT.saturating_sub(start.len()).min(before.len());
            start.extend_from_slice(&before[..room]);
            *dropped = dropped.saturating_add(before.len());
            text.drain(..before.len());
        } else if text.len() > MARK_WINDOW {
            let surplus = text.len() - MARK_WINDOW;
            let room = KEPT.saturating_sub(start.len()).min(surplus);
            start.extend_from_slice(&text[..room]);
            *dropped = dropped.saturating_add(surplus);
            text.drain(..surplus);
        }
        (*dropped > *limit)
            .then(|| Err(Fault::Flood { question: self.question.clone(), received: *dropped, limit: *limit }))
    }

    pub(super) fn closed(&mut self) -> Fault {
        Fault::Closed { question: self.question.clone(), received: self.received }
    }

    /// What silence until `now` means.
    pub(super) fn at(&mut self, now: Duration) -> Outcome {
        if self.quiet_at.is_some_and(|quiet| quiet <= now) {
            return Some(match &self.form {
                Form::Mark { dropped, start, .. } => {
                    Ok(Answer::Synchronised { late: *dropped, excerpt: excerpt(start) })
                }
                _ => self.finish_block(),
            });
        }
        if now < self.deadline {
            return None;
        }
        let question = self.question.clone();
        if let Form::Block { reader, .. } = &self.form {
            if reader.is_complete() {
                return Some(self.finish_block());
            }
            if let Some(announced) = reader.announced() {
                let received = reader.data().len();
                return Some(Err(Fault::ShortBlock { question, announced, received }));
            }
        }
        let waited = now.saturating_sub(self.asked_at);
        Some(Err(Fault::TimedOut { question, waited, received: self.received }))
    }
}
