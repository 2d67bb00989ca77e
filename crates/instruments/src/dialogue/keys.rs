//! Every key of a dialogue file, once: for documentation and tests.

use flattop_core::quantity::Unit;
use flattop_plan::document::{Dimension, Kind, Limits, Word};
use flattop_plan::{Key, Need};

use super::read::{CodeWord, CodingWord, EndingWord, OrderWord, WhenWord};

pub(super) const SECOND: Dimension = Dimension::Of(Unit::Second);
/// Most bytes that an answer of one line may be allowed.
pub(super) const MOST_ANSWER_BYTES: u32 = 1 << 24;
/// Most bytes that samples may be allowed: as many as nine digits can announce.
pub(super) const MOST_SAMPLE_BYTES: u32 = 999_999_999;
/// What a term may be.
pub(super) const TERM: &str = "a number with or without unit, an item of a query's answer such as \"preamble.3\", or a product such as \"scale / 25\"";

const fn key(
    path: &'static str,
    kind: Kind,
    need: Need,
    meaning: &'static str,
    example: &'static str,
) -> Key {
    Key { path, kind, need, meaning, example }
}

/// All keys of a dialogue file, in the order in which a conversation goes.
#[rustfmt::skip]
pub const KEYS: &[Key] = &[
    key("instrument.name", Kind::Text, Need::Required, "what the file is for", r#""Bench A scope, channel 1""#),
    key("instrument.ending", Kind::Word(EndingWord::WORDS), Need::Required, "what ends each message that is sent", r#""line-feed""#),
    key("limits.answer_time", Kind::Quantity(SECOND, Limits::Positive), Need::Required, "longest time for an answer, and for connecting", r#""5 s""#),
    key("limits.capture_time", Kind::Quantity(SECOND, Limits::Positive), Need::Required, "longest time from arming until a capture is there: waiting for the trigger", r#""30 s""#),
    key("limits.answer_bytes", Kind::Whole(16, MOST_ANSWER_BYTES), Need::Required, "longest answer, samples excepted, in bytes", r#"4096"#),
    key("limits.sample_bytes", Kind::Whole(16, MOST_SAMPLE_BYTES), Need::Required, "most bytes that the samples of a capture take up", r#"4000000"#),
    key("identify.ask", Kind::Text, Need::Required, "asks who is there, once after connecting", r#""*IDN?""#),
    key("identify.contains", Kind::Text, Need::Optional("any answer will do"), "what its answer must contain, so that no other instrument is spoken to", r#""Bench A scope""#),
    key("prepare.send", Kind::Texts, Need::Optional("nothing"), "sent after connecting, one after the other", r#"["*CLS", "FORMat:DATA REAL,32"]"#),
    key("prepare.errors", Kind::Text, Need::Optional("errors are not asked for"), "asks for the oldest error of the instrument's list, after each of these; the answer begins with its number, 0 for none", r#""SYSTem:ERRor?""#),
    key("arm.send", Kind::Texts, Need::Optional("nothing: captures are there by themselves"), "sent for each capture", r#"["INITiate"]"#),
    key("wait.ask", Kind::Text, Need::Optional("no waiting"), "asks whether the capture is there", r#""*OPC?""#),
    key("wait.until", Kind::Text, Need::RequiredIf("wait.ask is given"), "the answer that means yes; numbers are compared as numbers", r#""1""#),
    key("wait.every", Kind::Quantity(SECOND, Limits::NotNegative), Need::RequiredIf("wait.ask is given"), "time between two such questions", r#""100 ms""#),
    key("query.[].name", Kind::Text, Need::RequiredIf("there is a [[query]]"), "what its answer is called in terms: letters, digits and _", r#""preamble""#),
    key("query.[].ask", Kind::Text, Need::RequiredIf("there is a [[query]]"), "a question; its answer is one number, or several between commas", r#""SENSe:SWEep:TINTerval?""#),
    key("query.[].when", Kind::Word(WhenWord::WORDS), Need::RequiredIf("there is a [[query]]"), "when it is asked: once after connecting, or for each capture before its samples", r#""each-capture""#),
    key("samples.ask", Kind::Text, Need::Required, "asks for the samples", r#""FETCh?""#),
    key("samples.coding", Kind::Word(CodingWord::WORDS), Need::Required, "how they come: a block of IEEE 488.2 (definite or indefinite, it says itself which), or a list of decimal numbers", r#""block""#),
    key("samples.code", Kind::Word(CodeWord::WORDS), Need::RequiredIf("coding is block"), "what one sample of the block is", r#""float-32""#),
    key("samples.byte_order", Kind::Word(OrderWord::WORDS), Need::RequiredIf("a sample has more than one byte"), "which of its bytes comes first", r#""most-significant-first""#),
    key("samples.points", Kind::Written(TERM), Need::Optional("any number will do"), "how many samples must come", r#""points""#),
    key("volts.code_offset", Kind::Written(TERM), Need::Required, "volts = (code - code_offset) * step + origin", r#""preamble.5""#),
    key("volts.step", Kind::Written(TERM), Need::Required, "volts of one code", r#""scale / 25""#),
    key("volts.origin", Kind::Written(TERM), Need::Required, "voltage of the code offset", r#""-offset""#),
    key("volts.probe_factor", Kind::Written(TERM), Need::Optional("nothing is said"), "factor for the probe that is set on the instrument, which its voltages contain already", r#"10"#),
    key("seconds.interval", Kind::Written(TERM), Need::Required, "time between two samples", r#""interval""#),
    key("seconds.start", Kind::Written(TERM), Need::Optional("0 s"), "time of the first sample, from the trigger", r#""preamble.2""#),
    key("recover.send", Kind::Texts, Need::Optional("nothing"), "sent after a fault, to stop what the instrument is doing", r#"["ABORt"]"#),
    key("recover.synchronise", Kind::Text, Need::Optional("what comes late can't be told apart"), "a question that is answered with the {number} in it, to tell late answers apart after a fault", r#""*ESE {number};*ESE?""#),
];
