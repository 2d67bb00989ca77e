//! The header of an NPY file: a Python dictionary of three entries, read by its own small grammar.

use crate::columns::Number;
use crate::error::ReadError;

use super::MAGIC;

/// Longest header text that is read.
pub(super) const LONGEST: usize = 1 << 16;

/// What the header says.
#[derive(Debug, PartialEq)]
pub(crate) struct Header {
    pub(crate) number: Number,
    pub(crate) fortran_order: bool,
    pub(crate) shape: Vec<usize>,
    /// Byte of the shape, for errors.
    pub(crate) shape_at: usize,
    /// First byte of the array.
    pub(crate) data_at: usize,
}

pub(crate) fn fault(
    file: &str,
    byte: usize,
    expected: &str,
    found: impl Into<String>,
    remedy: &str,
) -> ReadError {
    ReadError::Byte {
        file: file.to_owned(),
        byte: byte as u64,
        expected: expected.into(),
        found: found.into(),
        remedy: remedy.into(),
    }
}

const SAVE_AGAIN: &str = "the file is damaged or of another kind; save the array again";

/// Reads the header of `bytes`, which starts with [`MAGIC`].
pub(crate) fn read(file: &str, bytes: &[u8]) -> Result<Header, ReadError> {
    let after_magic = &bytes[MAGIC.len()..];
    let (length, text_at) = match after_magic {
        [1, 0, a, b, ..] => (usize::from(u16::from_le_bytes([*a, *b])), 10),
        [2 | 3, 0, a, b, c, d, ..] => (u32::from_le_bytes([*a, *b, *c, *d]) as usize, 12),
        [major, minor, _, _, ..] if !matches!((major, minor), (1..=3, 0)) => {
            let found = format!("{major}.{minor}");
            return Err(fault(
                file,
                6,
                "NPY version 1.0, 2.0 or 3.0",
                found,
                "save the array in one of these versions",
            ));
        }
        _ => return Err(fault(file, bytes.len(), "an NPY header", "the end of the file", SAVE_AGAIN)),
    };
    if length > LONGEST {
        return Err(fault(file, 8, "a header of at most 65536 bytes", format!("{length}"), SAVE_AGAIN));
    }
    let Some(text) = bytes.get(text_at..text_at + length) else {
        return Err(fault(
            file,
            bytes.len(),
            &format!("a header of {length} bytes"),
            "the end of the file",
            SAVE_AGAIN,
        ));
    };
    let mut reader = Reader { file, text, at: 0, base: text_at };
    let (mut number, mut order, mut shape) = (None, None, None);
    reader.expect(b'{')?;
    while reader.peek() != Some(b'}') {
        let at = reader.place();
        let key = reader.string()?;
        reader.expect(b':')?;
        match key.as_str() {
            "descr" => number = Some(reader.number()?),
            "fortran_order" => order = Some(reader.truth()?),
            "shape" => shape = Some((reader.place(), reader.shape()?)),
            _ => {
                return Err(fault(file, at, "descr, fortran_order or shape", format!("{key:?}"), SAVE_AGAIN));
            }
        }
        if reader.peek() != Some(b'}') {
            reader.expect(b',')?;
        }
    }
    let missing =
        |what: &str| fault(file, text_at, "descr, fortran_order and shape", format!("no {what}"), SAVE_AGAIN);
    let (shape_at, shape) = shape.ok_or_else(|| missing("shape"))?;
    Ok(Header {
        number: number.ok_or_else(|| missing("descr"))?,
        fortran_order: order.ok_or_else(|| missing("fortran_order"))?,
        shape,
        shape_at,
        data_at: text_at + length,
    })
}

struct Reader<'a> {
    file: &'a str,
    text: &'a [u8],
    at: usize,
    base: usize,
}

impl Reader<'_> {
    fn place(&self) -> usize {
        self.base + self.at
    }

    fn peek(&mut self) -> Option<u8> {
        while self.text.get(self.at).is_some_and(u8::is_ascii_whitespace) {
            self.at += 1;
        }
        self.text.get(self.at).copied()
    }

    fn unexpected(&mut self, expected: &str) -> ReadError {
        let found = match self.peek() {
            Some(b) => format!("{:?}", char::from(b)),
            None => "the end of the header".into(),
        };
        fault(self.file, self.place(), expected, found, SAVE_AGAIN)
    }

    fn expect(&mut self, wanted: u8) -> Result<(), ReadError> {
        if self.peek() == Some(wanted) {
            self.at += 1;
            return Ok(());
        }
        Err(self.unexpected(&format!("{:?}", char::from(wanted))))
    }

    fn string(&mut self) -> Result<String, ReadError> {
        let Some(quote @ (b'\'' | b'"')) = self.peek() else { return Err(self.unexpected("a quoted word")) };
        let from = self.at + 1;
        let Some(len) = self.text[from..].iter().position(|b| *b == quote) else {
            return Err(fault(
                self.file,
                self.place(),
                "a closing quote",
                "the end of the header",
                SAVE_AGAIN,
            ));
        };
        self.at = from + len + 1;
        Ok(String::from_utf8_lossy(&self.text[from..from + len]).into_owned())
    }

    fn number(&mut self) -> Result<Number, ReadError> {
        const KINDS: &str = "real numbers f4, f8, i1, u1, i2, u2, i4, u4, i8 or u8";
        const REMEDY: &str = "save the samples as an array of one of these types";
        let at = {
            self.peek();
            self.place()
        };
        if self.peek() == Some(b'[') {
            return Err(fault(self.file, at, KINDS, "a record of named fields", REMEDY));
        }
        let written = self.string()?;
        let (order, kind) = match written.as_bytes() {
            [order @ (b'<' | b'>' | b'|' | b'='), kind @ ..] => (*order, kind),
            kind => (b'=', kind),
        };
        let big = order == b'>' || (matches!(order, b'=' | b'|') && cfg!(target_endian = "big"));
        Ok(match kind {
            b"f4" => Number::F32 { big },
            b"f8" => Number::F64 { big },
            b"i1" => Number::I8,
            b"u1" => Number::U8,
            b"i2" => Number::I16 { big },
            b"u2" => Number::U16 { big },
            b"i4" => Number::I32 { big },
            b"u4" => Number::U32 { big },
            b"i8" => Number::I64 { big },
            b"u8" => Number::U64 { big },
            _ => return Err(fault(self.file, at, KINDS, format!("{written:?}"), REMEDY)),
        })
    }

    fn truth(&mut self) -> Result<bool, ReadError> {
        self.peek();
        for (word, value) in [(&b"True"[..], true), (&b"False"[..], false)] {
            if self.text[self.at..].starts_with(word) {
                self.at += word.len();
                return Ok(value);
            }
        }
        Err(self.unexpected("True or False"))
    }

    fn shape(&mut self) -> Result<Vec<usize>, ReadError> {
        self.expect(b'(')?;
        let mut shape = Vec::new();
        while self.peek() != Some(b')') {
            let from = self.at;
            while self.text.get(self.at).is_some_and(u8::is_ascii_digit) {
                self.at += 1;
            }
            let digits = std::str::from_utf8(&self.text[from..self.at]).unwrap_or_default();
            let Ok(length) = digits.parse::<usize>() else { return Err(self.unexpected("a length")) };
            // Python 2 wrote long integers with an L.
            if self.text.get(self.at) == Some(&b'L') {
                self.at += 1;
            }
            shape.push(length);
            if self.peek() != Some(b')') {
                self.expect(b',')?;
            }
        }
        self.at += 1;
        Ok(shape)
    }
}
