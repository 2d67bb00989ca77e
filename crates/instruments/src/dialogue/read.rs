//! From the text of a dialogue file to a checked [`Dialogue`].

use std::time::Duration;

use flattop_core::quantity::Unit;
use flattop_plan::document::{Document, Limits, Problems, Table, nearest};
use flattop_plan::words;
use flattop_scpi::numbers::{Code, Order};

use super::keys::{MOST_ANSWER_BYTES, MOST_SAMPLE_BYTES, SECOND, TERM};
use super::term::{self, Term};
use super::{Bounds, Coding, Dialogue, Query, Samples, Volts, Wait, When};

words! {
    /// What ends each message.
    pub enum EndingWord {
        /// LF.
        LineFeed = "line-feed",
        /// CR LF.
        CarriageReturnLineFeed = "carriage-return-line-feed",
        /// Nothing: the link marks the end.
        Nothing = "nothing",
    }
}

words! {
    /// When a query is asked.
    pub enum WhenWord {
        /// After connecting.
        Once = "once",
        /// For each capture.
        EachCapture = "each-capture",
    }
}

words! {
    /// How samples come.
    pub enum CodingWord {
        /// A block.
        Block = "block",
        /// A list of numbers.
        List = "list",
    }
}

words! {
    /// What a code of a block is.
    pub enum CodeWord {
        /// One byte.
        Unsigned8 = "unsigned-8",
        /// One byte.
        Signed8 = "signed-8",
        /// Two bytes.
        Unsigned16 = "unsigned-16",
        /// Two bytes.
        Signed16 = "signed-16",
        /// Four bytes.
        Unsigned32 = "unsigned-32",
        /// Four bytes.
        Signed32 = "signed-32",
        /// IEEE 754 binary32.
        Float32 = "float-32",
        /// IEEE 754 binary64.
        Float64 = "float-64",
    }
}

words! {
    /// Which byte comes first.
    pub enum OrderWord {
        /// Big-endian.
        MostSignificantFirst = "most-significant-first",
        /// Little-endian.
        LeastSignificantFirst = "least-significant-first",
    }
}

impl CodeWord {
    const fn code(self) -> Code {
        match self {
            CodeWord::Unsigned8 => Code::Unsigned8,
            CodeWord::Signed8 => Code::Signed8,
            CodeWord::Unsigned16 => Code::Unsigned16,
            CodeWord::Signed16 => Code::Signed16,
            CodeWord::Unsigned32 => Code::Unsigned32,
            CodeWord::Signed32 => Code::Signed32,
            CodeWord::Float32 => Code::Float32,
            CodeWord::Float64 => Code::Float64,
        }
    }
}

impl Dialogue {
    /// Reads and checks a dialogue file; `name` stands for it in messages.
    ///
    /// # Errors
    /// All that is wrong, with line, column and key.
    pub fn parse(name: &str, text: &str) -> Result<Self, Problems> {
        let document = Document::parse(name, text, &[])?;
        let dialogue = read(&document.root());
        document.finish(dialogue).map(|(dialogue, _)| dialogue)
    }
}

fn read(root: &Table) -> Option<Dialogue> {
    // Everything is read before anything is missed: all problems are to be found.
    let instrument = root.table("instrument");
    let name = required_text(&instrument, "name");
    let ending = instrument.word::<EndingWord>("ending");
    let ending = instrument.required("ending", ending, "");
    let bounds = bounds(&root.table("limits"));
    let identify = root.table("identify");
    let ask = message(&identify, "ask");
    let ask = identify.required("ask", ask, "instruments after IEEE 488.2 answer \"*IDN?\"");
    let identity_holds = identify.text("contains");
    let prepare = root.table("prepare");
    let (prepare_send, errors) = (messages(&prepare), message(&prepare, "errors"));
    let arm = messages(&root.table("arm"));
    let wait = wait(&root.table("wait"));
    let queries = queries(root);
    let samples = samples(&root.table("samples"));
    let volts = volts(&root.table("volts"));
    let seconds = root.table("seconds");
    let interval = required_term(&seconds, "interval", Unit::Second);
    if let Some(value) = interval.as_ref().and_then(Term::constant)
        && !(value > 0.0 && value.is_finite())
    {
        seconds.problem("interval", "a time above zero", &format!("{value} s"), "");
    }
    let start = term(&seconds, "start", Unit::Second);
    let recover = root.table("recover");
    let (after_fault, synchronise) = (messages(&recover), message(&recover, "synchronise"));
    if let Some(text) = synchronise.as_ref().filter(|text| !text.contains("{number}")) {
        let remedy = "the instrument must answer with that number: \"*ESE {number};*ESE?\"";
        recover.problem("synchronise", "a question with {number} in it", &format!("\"{text}\""), remedy);
    }
    let dialogue = Dialogue {
        name: name?,
        ending: match ending? {
            EndingWord::LineFeed => b"\n".to_vec(),
            EndingWord::CarriageReturnLineFeed => b"\r\n".to_vec(),
            EndingWord::Nothing => Vec::new(),
        },
        bounds: bounds?,
        identify: ask?,
        identity_holds,
        prepare: prepare_send,
        errors,
        arm,
        wait: wait?,
        queries: queries?,
        samples: samples?,
        volts: volts?,
        interval: interval?,
        start,
        after_fault,
        synchronise,
    };
    references(root, &dialogue);
    Some(dialogue)
}

fn required_text(table: &Table, key: &str) -> Option<String> {
    let text = table.text(key);
    table.required(key, text, "")
}

/// A message to send: printable, and in one line.
fn message(table: &Table, key: &str) -> Option<String> {
    let text = table.text(key)?;
    check_message(table, key, &text).then_some(text)
}

fn check_message(table: &Table, key: &str, text: &str) -> bool {
    let fine = text.chars().all(|c| (' '..='~').contains(&c));
    if !fine {
        let found = format!("\"{}\"", text.escape_debug());
        table.problem(key, "a message in one line of plain ASCII", &found, "its end is sent by itself");
    }
    fine
}

fn messages(table: &Table) -> Vec<String> {
    let texts = table.texts("send").unwrap_or_default();
    texts.into_iter().filter(|text| check_message(table, "send", text)).collect()
}

fn bounds(table: &Table) -> Option<Bounds> {
    let time = |key: &str| {
        let quantity = table.quantity(key, SECOND, Limits::Positive);
        let quantity = table.required(key, quantity, "")?;
        seconds(table, key, quantity.value)
    };
    let (answer_time, capture_time) = (time("answer_time"), time("capture_time"));
    let answer_bytes = table.whole("answer_bytes", 16, MOST_ANSWER_BYTES);
    let answer_bytes = table.required("answer_bytes", answer_bytes, "");
    let sample_bytes = table.whole("sample_bytes", 16, MOST_SAMPLE_BYTES);
    let sample_bytes = table.required("sample_bytes", sample_bytes, "");
    Some(Bounds {
        answer_time: answer_time?,
        capture_time: capture_time?,
        answer_bytes: answer_bytes? as usize,
        sample_bytes: sample_bytes? as usize,
    })
}

/// A duration of at most a day.
fn seconds(table: &Table, key: &str, value_s: f64) -> Option<Duration> {
    let day_s = 86_400.0;
    if value_s > day_s {
        table.problem(key, "a time of at most 86400 s, one day", &format!("{value_s} s"), "");
        return None;
    }
    Duration::try_from_secs_f64(value_s).ok()
}

/// `None` for a fault, `Some(None)` where there is no waiting.
fn wait(table: &Table) -> Option<Option<Wait>> {
    let (ask, until) = (message(table, "ask"), table.text("until"));
    let every = table.quantity("every", SECOND, Limits::NotNegative);
    if !table.is_present() {
        return Some(None);
    }
    let ask = table.required("ask", ask, "leave the table [wait] out where there is nothing to wait for");
    let until = table.required("until", until, "");
    let every = table.required("every", every, "");
    let every = seconds(table, "every", every?.value);
    Some(Some(Wait { ask: ask?, until: until?.trim().to_owned(), every: every? }))
}

fn queries(root: &Table) -> Option<Vec<Query>> {
    let mut all = Some(Vec::<Query>::new());
    for table in root.tables("query") {
        let name = required_text(&table, "name");
        let ask = message(&table, "ask");
        let ask = table.required("ask", ask, "");
        let when = table.word::<WhenWord>("when");
        let when = table.required("when", when, "");
        if let Some(name) = &name {
            let is_taken = all.as_ref().is_some_and(|all| all.iter().any(|query| query.name == *name));
            if is_taken {
                table.problem("name", "a name that no other query has", &format!("\"{name}\""), "");
            } else if !term::is_name(name) {
                let expected = "letters, digits and _, a letter first";
                table.problem("name", expected, &format!("\"{}\"", name.escape_debug()), "");
            }
        }
        let query = (|| {
            let when = match when? {
                WhenWord::Once => When::Once,
                WhenWord::EachCapture => When::EachCapture,
            };
            Some(Query { name: name?, ask: ask?, when })
        })();
        match (query, &mut all) {
            (Some(query), Some(all)) => all.push(query),
            _ => all = None,
        }
    }
    all
}

fn samples(table: &Table) -> Option<Samples> {
    let ask = message(table, "ask");
    let ask = table.required("ask", ask, "");
    let coding = table.word::<CodingWord>("coding");
    let coding = table.required("coding", coding, "");
    let (code, order) = (table.word::<CodeWord>("code"), table.word::<OrderWord>("byte_order"));
    let points = term(table, "points", Unit::Ratio);
    let coding = match coding? {
        CodingWord::List => {
            table.refuse(&["code", "byte_order"], "no code where coding is list", "one");
            Coding::List
        }
        CodingWord::Block => {
            let code = table.required("code", code, "see what the manual says about the data format")?.code();
            let order = if code.bytes() == 1 {
                table.refuse(&["byte_order"], "no byte order for codes of one byte", "one");
                Order::MostSignificantFirst
            } else {
                match table.required("byte_order", order, "")? {
                    OrderWord::MostSignificantFirst => Order::MostSignificantFirst,
                    OrderWord::LeastSignificantFirst => Order::LeastSignificantFirst,
                }
            };
            Coding::Block(code, order)
        }
    };
    Some(Samples { ask: ask?, coding, points })
}

fn volts(table: &Table) -> Option<Volts> {
    let code_offset = required_term(table, "code_offset", Unit::Ratio);
    let step = required_term(table, "step", Unit::Volt);
    let origin = required_term(table, "origin", Unit::Volt);
    let probe_factor = term(table, "probe_factor", Unit::Ratio);
    if step.as_ref().and_then(Term::constant).is_some_and(|step| step == 0.0) {
        table.problem(
            "step",
            "volts of one code, not 0",
            "0 V",
            "write 1 where the samples are volts already",
        );
    }
    if let Some(factor) = probe_factor.as_ref().and_then(Term::constant)
        && !(factor > 0.0)
    {
        table.problem("probe_factor", "a factor above 0", &factor.to_string(), "");
    }
    Some(Volts { code_offset: code_offset?, step: step?, origin: origin?, probe_factor })
}

fn term(table: &Table, key: &str, unit: Unit) -> Option<Term> {
    let text = table.written(key, TERM)?;
    match Term::parse(&text, unit) {
        Ok(term) => Some(term),
        Err((found, remedy)) => {
            table.problem(key, TERM, &found, &remedy);
            None
        }
    }
}

fn required_term(table: &Table, key: &str, unit: Unit) -> Option<Term> {
    let term = term(table, key, unit);
    table.required(key, term, "")
}

/// Each query that a term names must be there.
fn references(root: &Table, dialogue: &Dialogue) {
    let known = || dialogue.queries.iter().map(|query| query.name.as_str());
    let check = |table: &str, key: &str, term: Option<&Term>| {
        for reference in term.into_iter().flat_map(Term::references) {
            if known().any(|name| name == reference.query) {
                continue;
            }
            let remedy = match nearest(&reference.query, known()) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None if dialogue.queries.is_empty() => "add a [[query]] of this name".to_owned(),
                None => format!("the queries are {}", known().collect::<Vec<_>>().join(", ")),
            };
            let found = format!("\"{}\"", reference.query);
            root.table(table).problem(key, "the name of a [[query]]", &found, &remedy);
        }
    };
    check("samples", "points", dialogue.samples.points.as_ref());
    let volts = &dialogue.volts;
    check("volts", "code_offset", Some(&volts.code_offset));
    check("volts", "step", Some(&volts.step));
    check("volts", "origin", Some(&volts.origin));
    check("volts", "probe_factor", volts.probe_factor.as_ref());
    check("seconds", "interval", Some(&dialogue.interval));
    check("seconds", "start", dialogue.start.as_ref());
}

/// All keys that reading `text` asks for.
#[cfg(test)]
pub(super) fn asked(text: &str) -> std::collections::BTreeMap<String, flattop_plan::document::Kind> {
    let document = Document::parse("x", text, &[]).expect("TOML");
    read(&document.root());
    document.asked()
}
