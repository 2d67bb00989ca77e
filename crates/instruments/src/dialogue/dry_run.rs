//! The conversation that a dialogue would have, in words: nothing is sent.

use std::fmt::Write as _;

use flattop_scpi::excerpt::escape;
use flattop_scpi::numbers::{Code, Order};

use super::{Coding, Dialogue, Term, When};

impl Dialogue {
    /// What would be sent, and what is expected in return.
    pub fn dry_run(&self) -> String {
        let mut text = format!("Dialogue: {}\nNothing has been sent.\n", self.name);
        let ending = match escape(&self.ending) {
            none if none.is_empty() => "no ending".to_owned(),
            some => format!("the ending {some}"),
        };
        let answer = format!(
            "one line within {:?}, at most {} bytes",
            self.bounds.answer_time, self.bounds.answer_bytes
        );
        let _ = writeln!(text, "Each message is sent with {ending}.\n\nAfter connecting:");
        let ask = |text: &mut String, question: &str, meaning: &str| {
            let _ = writeln!(text, "  > {question}\n  < {answer}: {meaning}");
        };
        let identity =
            self.identity_holds.as_ref().map_or("any".to_owned(), |c| format!("must contain \"{c}\""));
        ask(&mut text, &self.identify, &format!("who it is, {identity}"));
        for message in &self.prepare {
            let _ = writeln!(text, "  > {message}");
            if let Some(errors) = &self.errors {
                ask(&mut text, errors, "0 for no error");
            }
        }
        for query in self.queries.iter().filter(|query| query.when == When::Once) {
            ask(&mut text, &query.ask, &format!("\"{}\"", query.name));
        }
        text.push_str("\nFor each capture:\n");
        for message in &self.arm {
            let _ = writeln!(text, "  > {message}");
        }
        if let Some(wait) = &self.wait {
            let _ = writeln!(
                text,
                "  > {}\n  < \"{}\" when the capture is there; else asked again every {:?}, for at most {:?}",
                wait.ask, wait.until, wait.every, self.bounds.capture_time
            );
        }
        for query in self.queries.iter().filter(|query| query.when == When::EachCapture) {
            ask(&mut text, &query.ask, &format!("\"{}\"", query.name));
        }
        let coding = match self.samples.coding {
            Coding::List => "a list of decimal numbers".to_owned(),
            Coding::Block(code, order) => format!("a definite or indefinite block of {}", codes(code, order)),
        };
        let points = self
            .samples
            .points
            .as_ref()
            .map_or_else(String::new, |points| format!(", {} samples", shown(points)));
        let _ = writeln!(
            text,
            "  > {}\n  < {coding}{points}, within {:?}, at most {} bytes",
            self.samples.ask, self.bounds.answer_time, self.bounds.sample_bytes
        );
        let _ = writeln!(
            text,
            "\nvolts = (sample - {}) * {} + {}",
            shown(&self.volts.code_offset),
            shown(&self.volts.step),
            shown(&self.volts.origin)
        );
        if let Some(factor) = &self.volts.probe_factor {
            let _ = writeln!(text, "these contain the probe's factor, {}", shown(factor));
        }
        let start = self.start.as_ref().map_or_else(|| "0 s".to_owned(), shown);
        let _ = writeln!(text, "seconds = {start} + number * {}, numbers from 0", shown(&self.interval));
        text.push_str("\nAfter a fault the link is cleared, or opened anew, then:\n");
        for message in &self.after_fault {
            let _ = writeln!(text, "  > {message}");
        }
        match &self.synchronise {
            Some(question) => {
                let question = question.replace("{number}", "1");
                let _ = writeln!(text, "  > {question}\n  < 1; what comes before it is late and left out");
            }
            None => text.push_str("  late answers can't be told apart\n"),
        }
        text
    }
}

fn shown(term: &Term) -> String {
    if term.factors.len() > 1 { format!("({})", term.text) } else { term.text.clone() }
}

fn codes(code: Code, order: Order) -> String {
    let kind = match code {
        Code::Unsigned8 | Code::Unsigned16 | Code::Unsigned32 => "unsigned codes",
        Code::Signed8 | Code::Signed16 | Code::Signed32 => "signed codes",
        Code::Float32 | Code::Float64 => "floating-point numbers",
    };
    let order = match (code.bytes(), order) {
        (1, _) => "",
        (_, Order::MostSignificantFirst) => ", the most significant first",
        (_, Order::LeastSignificantFirst) => ", the least significant first",
    };
    format!("{kind} of {} bits{order}", 8 * code.bytes())
}
