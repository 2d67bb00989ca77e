//! Program messages taken apart, and the data in response messages.
//!
//! IEEE 488.2-1992, 7: units between semicolons, each a header, then data between commas; texts in quotes, blocks and
//! expressions may hold all of these marks. SCPI-1999, volume 1, 6.2.4: a header without a leading colon goes on from the
//! path of the one before it, common headers (`*IDN?`) leave the path alone.

use crate::block::BlockReader;
use crate::excerpt::excerpt;

/// Most units of a message, and most data of a unit, that are taken.
const MOST_PARTS: usize = 100_000;

/// One datum of a program or response message.
#[derive(Clone, Debug, PartialEq)]
pub enum Datum {
    /// A number; what stands for none is not-a-number.
    Number(f64),
    /// A word, or a number with its unit: as written.
    Word(String),
    /// A text that was in quotes.
    Text(Vec<u8>),
    /// The bytes of a block.
    Block(Vec<u8>),
    /// An expression, with its brackets.
    Expression(String),
}

/// One command or question.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    /// The header with its whole path and no leading colon, without the question mark; `*` in front of a common one.
    pub header: String,
    /// Whether it is a question.
    pub kind: UnitKind,
    /// Its data.
    pub data: Vec<Datum>,
}

/// What a unit is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnitKind {
    /// Nothing is answered.
    Command,
    /// An answer comes.
    Query,
}

/// What is wrong with a message.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("byte {byte}: expected {expected}, found {found}")]
pub struct SyntaxError {
    /// Place, counted from 1.
    pub byte: usize,
    /// What should stand there.
    pub expected: &'static str,
    /// What stands there.
    pub found: String,
}

/// Takes a program message apart. Empty units (`;;`) are passed over.
///
/// # Errors
/// It is no program message.
pub fn program(message: &[u8]) -> Result<Vec<Unit>, SyntaxError> {
    let mut reader = Reader { text: trimmed(message), at: 0 };
    let mut units = Vec::new();
    // Path of the last unit, its last word taken off.
    let mut path = String::new();
    while !reader.is_done() {
        reader.blanks();
        if reader.take(b';') {
            continue;
        }
        if reader.is_done() {
            break;
        }
        let (header, kind) = reader.header(&mut path)?;
        let data = if reader.blanks() { reader.data()? } else { Vec::new() };
        reader.separator("\";\" or the end of the message")?;
        units.push(Unit { header, kind, data });
        if units.len() > MOST_PARTS {
            return Err(reader.fault("fewer units"));
        }
    }
    Ok(units)
}

/// The data of a response message, by unit of the question.
///
/// # Errors
/// It is no response message. An indefinite block takes all up to the end.
pub fn response(message: &[u8]) -> Result<Vec<Vec<Datum>>, SyntaxError> {
    let mut reader = Reader { text: trimmed(message), at: 0 };
    let mut units = Vec::new();
    loop {
        reader.blanks();
        units.push(reader.data()?);
        if reader.is_done() {
            return Ok(units);
        }
        reader.separator("\",\", \";\" or the end of the message")?;
        if units.len() > MOST_PARTS {
            return Err(reader.fault("fewer units"));
        }
    }
}

/// Without the line feed, and a carriage return before it, that end a message.
fn trimmed(message: &[u8]) -> &[u8] {
    let message = message.strip_suffix(b"\n").unwrap_or(message);
    message.strip_suffix(b"\r").unwrap_or(message)
}

struct Reader<'a> {
    text: &'a [u8],
    at: usize,
}

impl Reader<'_> {
    fn is_done(&self) -> bool {
        self.at >= self.text.len()
    }

    fn peek(&self) -> Option<u8> {
        self.text.get(self.at).copied()
    }

    fn take(&mut self, byte: u8) -> bool {
        let is_there = self.peek() == Some(byte);
        self.at += usize::from(is_there);
        is_there
    }

    /// Whether there was any.
    fn blanks(&mut self) -> bool {
        let start = self.at;
        // 7.4.1.2: white space is any control character or blank but the line feed.
        while self.peek().is_some_and(|b| b <= b' ' && b != b'\n') {
            self.at += 1;
        }
        self.at > start
    }

    fn fault(&self, expected: &'static str) -> SyntaxError {
        let rest = self.text.get(self.at..).unwrap_or(&[]);
        let found = if rest.is_empty() { "the end of the message".to_owned() } else { excerpt(rest) };
        SyntaxError { byte: self.at + 1, expected, found }
    }

    fn separator(&mut self, expected: &'static str) -> Result<(), SyntaxError> {
        self.blanks();
        if self.is_done() || self.take(b';') { Ok(()) } else { Err(self.fault(expected)) }
    }

    fn mnemonic(&mut self) -> Result<&str, SyntaxError> {
        let start = self.at;
        if !self.peek().is_some_and(|b| b.is_ascii_alphabetic()) {
            return Err(self.fault("a header that begins with a letter"));
        }
        while self.peek().is_some_and(|b| b.is_ascii_alphanumeric() || b == b'_') {
            self.at += 1;
        }
        Ok(std::str::from_utf8(&self.text[start..self.at]).unwrap_or(""))
    }

    fn header(&mut self, path: &mut String) -> Result<(String, UnitKind), SyntaxError> {
        let header = if self.take(b'*') {
            format!("*{}", self.mnemonic()?)
        } else {
            let mut header = if self.take(b':') { String::new() } else { path.clone() };
            loop {
                let word = self.mnemonic()?;
                header.push_str(word);
                if !self.take(b':') {
                    break;
                }
                header.push(':');
            }
            path.truncate(0);
            path.push_str(&header[..header.rfind(':').map_or(0, |at| at + 1)]);
            header
        };
        let kind = if self.take(b'?') { UnitKind::Query } else { UnitKind::Command };
        if !self.is_done() && !self.peek().is_some_and(|b| b <= b' ' || b == b';') {
            return Err(self.fault("a blank behind the header"));
        }
        Ok((header, kind))
    }

    fn data(&mut self) -> Result<Vec<Datum>, SyntaxError> {
        let mut data = Vec::new();
        if self.is_done() || self.peek() == Some(b';') {
            return Ok(data);
        }
        loop {
            self.blanks();
            data.push(self.datum()?);
            self.blanks();
            if !self.take(b',') {
                return Ok(data);
            }
            if data.len() > MOST_PARTS {
                return Err(self.fault("fewer data"));
            }
        }
    }

    fn datum(&mut self) -> Result<Datum, SyntaxError> {
        match self.peek() {
            Some(quote @ (b'"' | b'\'')) => self.quoted(quote),
            Some(b'(') => self.expression(),
            Some(b'#') if self.text.get(self.at + 1).is_some_and(u8::is_ascii_digit) => self.block(),
            _ => self.plain(),
        }
    }

    /// 7.7.5: a quote within is doubled.
    fn quoted(&mut self, quote: u8) -> Result<Datum, SyntaxError> {
        let opening = self.at;
        self.at += 1;
        let mut text = Vec::new();
        while let Some(byte) = self.peek() {
            self.at += 1;
            if byte == quote && !self.take(quote) {
                return Ok(Datum::Text(text));
            }
            text.push(byte);
        }
        self.at = opening;
        Err(self.fault("a text with its closing quote"))
    }

    fn expression(&mut self) -> Result<Datum, SyntaxError> {
        let opening = self.at;
        let mut depth = 0usize;
        while let Some(byte) = self.peek() {
            self.at += 1;
            match byte {
                b'(' => depth += 1,
                b')' => depth -= 1,
                _ => {}
            }
            if depth == 0 {
                return Ok(Datum::Expression(lossless(&self.text[opening..self.at])));
            }
        }
        self.at = opening;
        Err(self.fault("an expression with its closing bracket"))
    }

    fn block(&mut self) -> Result<Datum, SyntaxError> {
        let rest = &self.text[self.at..];
        let mut reader = BlockReader::new(rest.len());
        let taken = reader.feed(rest).ok();
        // An indefinite one reaches to the end; its line feed was taken off before.
        match taken {
            Some(taken) if reader.is_complete() || reader.is_indefinite() => {
                self.at += taken;
                Ok(Datum::Block(reader.into_data()))
            }
            _ => Err(self.fault("a whole block")),
        }
    }

    fn plain(&mut self) -> Result<Datum, SyntaxError> {
        let start = self.at;
        while self.peek().is_some_and(|b| !matches!(b, b',' | b';' | b'"' | b'\'')) {
            self.at += 1;
        }
        let text = self.text[start..self.at].trim_ascii();
        if text.is_empty() {
            return Err(self.fault("a datum"));
        }
        Ok(crate::numbers::number(text).map_or_else(|| Datum::Word(lossless(text)), Datum::Number))
    }
}

fn lossless(bytes: &[u8]) -> String {
    std::str::from_utf8(bytes).map_or_else(|_| crate::excerpt::escape(bytes), str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn headers(message: &str) -> Vec<String> {
        let mark = |u: &Unit| if u.kind == UnitKind::Query { "?" } else { "" };
        program(message.as_bytes()).unwrap().iter().map(|u| format!("{}{}", u.header, mark(u))).collect()
    }

    /// From memory: the examples of SCPI-1999, volume 1, 6.2.4, of how a compound message goes on from a path.
    #[test]
    fn compound_headers_follow_the_path() {
        assert_eq!(headers(":FREQ:STAR 3 MHZ;STOP 5 MHZ\n"), ["FREQ:STAR", "FREQ:STOP"]);
        assert_eq!(headers(":FREQ:STAR 3;:FREQ:STOP 5"), ["FREQ:STAR", "FREQ:STOP"]);
        assert_eq!(headers("SENS:SWE:POIN?;*OPC?;TINT?"), ["SENS:SWE:POIN?", "*OPC?", "SENS:SWE:TINT?"]);
        assert_eq!(headers("INIT;;*WAI ; FETC?"), ["INIT", "*WAI", "FETC?"]);
        assert_eq!(headers("\r\n"), [""; 0]);
    }

    #[test]
    fn data_of_all_kinds() {
        let message = b"A:B 1.5E3, REAL , 3 MHZ,'it''s; \"a\"',(@1,2),#13a;\n,#H1F;C\r\n";
        let units = program(message).unwrap();
        assert_eq!(
            units[0].data,
            [
                Datum::Number(1500.0),
                Datum::Word("REAL".into()),
                Datum::Word("3 MHZ".into()),
                Datum::Text(b"it's; \"a\"".to_vec()),
                Datum::Expression("(@1,2)".into()),
                Datum::Block(b"a;\n".to_vec()),
                Datum::Number(31.0),
            ]
        );
        assert_eq!(units[1].header, "A:C");
        assert_eq!(units[1].kind, UnitKind::Command);
    }

    #[test]
    fn responses() {
        assert_eq!(
            response(b"1;\"a\",2\n").unwrap(),
            [vec![Datum::Number(1.0)], vec![Datum::Text(b"a".to_vec()), Datum::Number(2.0)]]
        );
        assert_eq!(response(b"#0ab\ncd\n").unwrap(), [vec![Datum::Block(b"ab\ncd".to_vec())]]);
        assert_eq!(response(b"\n").unwrap(), [vec![]]);
    }

    #[test]
    fn faults_point_at_their_byte() {
        let fault = |message: &[u8]| program(message).unwrap_err().to_string();
        assert_eq!(fault(b"1A"), "byte 1: expected a header that begins with a letter, found \"1A\"");
        assert_eq!(fault(b"A:?"), "byte 3: expected a header that begins with a letter, found \"?\"");
        assert_eq!(fault(b"A 1,,2"), "byte 5: expected a datum, found \",2\"");
        assert_eq!(fault(b"A 'b"), "byte 3: expected a text with its closing quote, found \"'b\"");
        assert_eq!(fault(b"A #15ab"), "byte 3: expected a whole block, found \"#15ab\"");
        assert_eq!(
            fault(b"A\"b\""),
            "byte 2: expected a blank behind the header, found \"\\\"b\\\"\"".replace("\\\"b\\\"", "\"b\"")
        );
        assert_eq!(fault(b"A (1"), "byte 3: expected an expression with its closing bracket, found \"(1\"");
    }

    proptest! {
        #[test]
        fn prop_any_bytes_are_taken_apart_or_refused(message: Vec<u8>) {
            let _ = program(&message);
            let _ = response(&message);
        }

        #[test]
        fn prop_texts_and_blocks_come_back(bytes: Vec<u8>) {
            let mut message = b"A:B ".to_vec();
            message.extend(crate::block::definite(&bytes).unwrap());
            message.extend(b",\"");
            for &b in &bytes {
                message.extend(std::iter::repeat_n(b, if b == b'"' { 2 } else { 1 }));
            }
            message.extend(b"\"\n");
            let units = program(&message).unwrap();
            prop_assert_eq!(&units[0].data, &[Datum::Block(bytes.clone()), Datum::Text(bytes)]);
        }
    }
}
