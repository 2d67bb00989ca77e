//! JSON for people and programs at once: a line for each field, lists of numbers on one line.

use std::io::{self, Write};

use serde::Serialize;
use serde_json::ser::{Formatter, Serializer};

/// The JSON text of a value, with a final line feed. What is not finite becomes null.
pub(super) fn write<T: Serialize>(value: &T) -> String {
    let mut bytes = Vec::new();
    let mut serializer = Serializer::with_formatter(&mut bytes, Lines::default());
    // Writing to memory cannot fail, nor can types whose keys are all text.
    let _ = value.serialize(&mut serializer);
    bytes.push(b'\n');
    String::from_utf8(bytes).unwrap_or_default()
}

/// What is open, from the outside in.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Open {
    Object { empty: bool },
    Array { holds_objects: bool },
}

#[derive(Default)]
struct Lines {
    open: Vec<Open>,
}

impl Lines {
    fn line_feed<W: ?Sized + Write>(&self, writer: &mut W, depth: usize) -> io::Result<()> {
        writer.write_all(b"\n")?;
        (0..depth).try_for_each(|_| writer.write_all(b"  "))
    }
}

impl Formatter for Lines {
    fn begin_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        self.open.push(Open::Array { holds_objects: false });
        writer.write_all(b"[")
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        if first { Ok(()) } else { writer.write_all(b",") }
    }

    fn end_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        if self.open.pop() == Some(Open::Array { holds_objects: true }) {
            self.line_feed(writer, self.open.len())?;
        }
        writer.write_all(b"]")
    }

    fn begin_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        if let Some(Open::Array { holds_objects }) = self.open.last_mut() {
            *holds_objects = true;
            self.line_feed(writer, self.open.len())?;
        }
        self.open.push(Open::Object { empty: true });
        writer.write_all(b"{")
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        if let Some(last) = self.open.last_mut() {
            *last = Open::Object { empty: false };
        }
        if !first {
            writer.write_all(b",")?;
        }
        self.line_feed(writer, self.open.len())
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        writer.write_all(b": ")
    }

    fn end_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> io::Result<()> {
        if self.open.pop() == Some(Open::Object { empty: false }) {
            self.line_feed(writer, self.open.len())?;
        }
        writer.write_all(b"}")
    }
}

#[cfg(test)]
mod tests {
    use super::write;

    #[test]
    fn lists_of_numbers_stand_on_one_line() {
        let value = serde_json::json!({"a": [1.0, 2.5e-9, null], "b": [{"c": [3]}, {}], "d": {}, "e": []});
        let text = write(&value);
        assert_eq!(
            text,
            "{\n  \"a\": [1.0,2.5e-9,null],\n  \"b\": [\n    {\n      \"c\": [3]\n    },\n    {}\n  ],\n  \"d\": {},\n  \
             \"e\": []\n}\n"
        );
        assert_eq!(serde_json::from_str::<serde_json::Value>(&text).unwrap(), value);
        assert_eq!(write(&[f64::NAN, f64::INFINITY, 0.1]), "[null,null,0.1]\n");
    }
}
