//! A bench written as TOML, always in the same order and with all digits.

use std::fmt::Write as _;

use flattop_core::bench::{Oscilloscope, Pairing, Probe};

use super::FORMAT;
use crate::devices::shown;
use crate::time;

pub(super) fn write(oscilloscopes: &[Oscilloscope], probes: &[Probe], pairings: &[Pairing]) -> String {
    let mut out = Out(String::new());
    out.pair("format", FORMAT);
    for oscilloscope in oscilloscopes {
        out.table("[[oscilloscope]]");
        out.pair("id", oscilloscope.id.as_str());
        out.fields(&shown(oscilloscope), "");
        out.flag("retired", oscilloscope.retired);
        for input in &oscilloscope.inputs {
            out.table("[[oscilloscope.input]]");
            out.pair("name", input.name.as_str());
            out.fields(&shown(input), "");
            out.flag("retired", input.retired);
        }
    }
    for probe in probes {
        out.table("[[probe]]");
        out.pair("id", probe.id.as_str());
        let fields = shown(probe);
        out.fields(&fields, "");
        out.flag("retired", probe.retired);
        for group in ["cable", "box"] {
            if fields.iter().any(|(key, _)| key.split_once('.').is_some_and(|(g, _)| g == group)) {
                out.table(&format!("[probe.{group}]"));
                out.fields(&fields, group);
            }
        }
        for accessory in &probe.ground_accessories {
            out.table("[[probe.ground]]");
            out.pair("name", accessory.name.as_str());
            out.fields(&shown(accessory), "");
        }
    }
    for pairing in pairings {
        out.table("[[pairing]]");
        let _ = writeln!(out.0, "number = {}", pairing.number); // writing to a String cannot fail
        out.pair("probe", pairing.probe.as_str());
        out.pair("input", &pairing.input.to_string());
        out.fields(&shown(pairing), "");
        out.pair("made_at", &time::local(pairing.made_at));
        if let Some(by) = &pairing.made_by {
            out.pair("made_by", by);
        }
        if let Some(voided) = &pairing.voided {
            out.pair("voided_at", &time::local(voided.at));
            out.pair("voided_why", &voided.why);
        }
    }
    out.0
}

struct Out(String);

impl Out {
    fn table(&mut self, head: &str) {
        self.0.push('\n');
        self.0.push_str(head);
        self.0.push('\n');
    }

    fn pair(&mut self, key: &str, value: &str) {
        self.0.push_str(key);
        self.0.push_str(" = \"");
        for c in value.chars() {
            match c {
                '"' => self.0.push_str("\\\""),
                '\\' => self.0.push_str("\\\\"),
                '\n' => self.0.push_str("\\n"),
                '\t' => self.0.push_str("\\t"),
                c if c.is_control() => {
                    let _ = write!(self.0, "\\u{:04X}", c as u32); // writing to a String cannot fail
                }
                c => self.0.push(c),
            }
        }
        self.0.push_str("\"\n");
    }

    fn flag(&mut self, key: &str, set: bool) {
        if set {
            self.0.push_str(key);
            self.0.push_str(" = true\n");
        }
    }

    /// The fields of one group; those without a group where it is empty.
    fn fields(&mut self, fields: &[(&'static str, String)], group: &str) {
        for (key, value) in fields {
            let (of, name) = key.split_once('.').unwrap_or(("", key));
            if of == group {
                self.pair(name, value);
            }
        }
    }
}
