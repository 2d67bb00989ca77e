//! Every key of a plan and of a list to choose from, once: for help, template, documentation and tests.

use std::fmt::Write as _;

use flattop_core::quantity::Unit;

use crate::choose::MeasuredQuantity;
use crate::document::{Dimension, Kind, Limits, Word};
use crate::input::{CouplingWord, MOST_POLES, RatedAs, ResponseWord};
use crate::probe::AdjustedAt;
use crate::signal::{MOST_CYCLES, ShapeWord};
use crate::surroundings::{Category, Connection, PlaceWord, Use};

/// One key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Key {
    /// Its place, tables with points between, elements of arrays as `[]`: `probe.cable.length`, `measured.[].file`.
    pub path: &'static str,
    /// What it takes.
    pub kind: Kind,
    /// Whether it must be given.
    pub need: Need,
    /// What it means.
    pub meaning: &'static str,
    /// A value as written in TOML.
    pub example: &'static str,
}

/// Whether a key must be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Always.
    Required,
    /// When the text holds.
    RequiredIf(&'static str),
    /// Never; the text says what leaving it out means.
    Optional(&'static str),
}

const OHM: Dimension = Dimension::Of(Unit::Ohm);
const FARAD: Dimension = Dimension::Of(Unit::Farad);
const HENRY: Dimension = Dimension::Of(Unit::Henry);
const HERTZ: Dimension = Dimension::Of(Unit::Hertz);
const VOLT: Dimension = Dimension::Of(Unit::Volt);
const SECOND: Dimension = Dimension::Of(Unit::Second);
const METRE: Dimension = Dimension::Of(Unit::Metre);
const RATIO: Dimension = Dimension::Of(Unit::Ratio);
const OHM_PER_METRE: Dimension = Dimension::Of(Unit::OhmPerMetre);
const FARAD_PER_METRE: Dimension = Dimension::Of(Unit::FaradPerMetre);
const HENRY_PER_METRE: Dimension = Dimension::Of(Unit::HenryPerMetre);
const SIEMENS_PER_METRE: Dimension = Dimension::ConductancePerLength;
const MULTIPLE: Dimension = Dimension::Multiple;

pub(crate) const fn key(
    path: &'static str,
    kind: Kind,
    need: Need,
    meaning: &'static str,
    example: &'static str,
) -> Key {
    Key { path, kind, need, meaning, example }
}

/// All keys of a plan, in the order of the template.
#[rustfmt::skip]
pub const KEYS: &[Key] = &[
    key("node.resistance", Kind::Quantity(OHM, Limits::NotNegative), Need::Optional("0: a stiff node"), "resistance of the circuit at the point of measurement", r#""10k ± 1%""#),
    key("node.capacitance", Kind::Quantity(FARAD, Limits::NotNegative), Need::Optional("none"), "capacitance there to ground, without the probe", r#""5 pF""#),
    key("signal.shape", Kind::Word(ShapeWord::WORDS), Need::RequiredIf("there is a [signal]"), "what the signal does over time", r#""square""#),
    key("signal.frequency", Kind::Quantity(HERTZ, Limits::Positive), Need::RequiredIf("shape is sine, square, trapezoid or burst"), "repetition frequency", r#""100 kHz""#),
    key("signal.low", Kind::Quantity(VOLT, Limits::Any), Need::RequiredIf("shape is not file"), "low level", r#""0 V""#),
    key("signal.high", Kind::Quantity(VOLT, Limits::Any), Need::RequiredIf("shape is not file"), "high level; below low the signal is upside down", r#""5 V""#),
    key("signal.rise", Kind::Quantity(SECOND, Limits::NotNegative), Need::RequiredIf("shape is trapezoid; elsewhere left out: 0"), "duration of the ramp up, all of it, 0 to 100 %", r#""5 ns""#),
    key("signal.fall", Kind::Quantity(SECOND, Limits::NotNegative), Need::Optional("as rise"), "duration of the ramp down, all of it, 0 to 100 %", r#""8 ns""#),
    key("signal.rise_10_90", Kind::Quantity(SECOND, Limits::NotNegative), Need::Optional("see rise, which it replaces"), "10 to 90 % transition duration of the ramp up, 0.8 of rise", r#""4 ns""#),
    key("signal.fall_10_90", Kind::Quantity(SECOND, Limits::NotNegative), Need::Optional("see fall, which it replaces"), "10 to 90 % transition duration of the ramp down, 0.8 of fall", r#""6.4 ns""#),
    key("signal.duty", Kind::Quantity(RATIO, Limits::Share), Need::Optional("50 %"), "share of the period between the half-way crossings up and down", r#""50 %""#),
    key("signal.width", Kind::Quantity(SECOND, Limits::Positive), Need::RequiredIf("shape is pulse; for exponential left out: it never turns back"), "duration of the pulse between the half-way crossings; of exponential, when it turns back", r#""200 ns""#),
    key("signal.time_constant", Kind::Quantity(SECOND, Limits::Positive), Need::RequiredIf("shape is exponential"), "time constant", r#""10 us""#),
    key("signal.cycles", Kind::Whole(1, MOST_CYCLES), Need::RequiredIf("shape is burst"), "how many periods", r#"5"#),
    key("signal.file", Kind::Text, Need::RequiredIf("shape is file"), "capture whose waveform is the signal", r#""door-motor.csv""#),
    key("signal.repeat", Kind::Quantity(SECOND, Limits::Positive), Need::Optional("it holds its first and last value"), "period with which the waveform of the file repeats", r#""20 ms""#),
    key("contact.ground", Kind::Text, Need::Optional("the figures below hold"), "ground accessory that the bench has with the probe of [probe] id; figures given here go before those of the bench", r#""spring""#),
    key("contact.inductance", Kind::Quantity(HENRY, Limits::NotNegative), Need::Optional("none, or that of ground_length"), "inductance of tip and ground lead", r#""120 nH""#),
    key("contact.resistance", Kind::Quantity(OHM, Limits::NotNegative), Need::Optional("none"), "resistance in series with the tip, put there to damp", r#""100 ohm""#),
    key("contact.ground_length", Kind::Quantity(METRE, Limits::Positive), Need::Optional("inductance holds"), "length of the ground lead, in place of inductance", r#""150 mm""#),
    key("contact.loop_width", Kind::Quantity(METRE, Limits::Positive), Need::Optional("not known"), "distance between tip and ground lead across the loop", r#""40 mm""#),
    key("contact.wire_diameter", Kind::Quantity(METRE, Limits::Positive), Need::Optional("not known"), "diameter of the ground lead's wire", r#""1 mm""#),
    key("probe.id", Kind::Text, Need::Optional("the figures below hold"), "name of the probe on the bench (--bench); figures given here go before those of the bench", r#""probe-07""#),
    key("probe.ratio", Kind::Quantity(MULTIPLE, Limits::Positive), Need::RequiredIf("the probe is given by its data sheet; by its parts left out: (tip + input resistance)/input resistance"), "factor by which the oscilloscope multiplies", r#""10x""#),
    key("probe.tip_resistance", Kind::Quantity(OHM, Limits::NotNegative), Need::RequiredIf("the probe is given by its parts"), "R1; 0 for a 1x probe", r#""9M ± 1%""#),
    key("probe.tip_capacitance", Kind::Quantity(FARAD, Limits::NotNegative), Need::RequiredIf("the probe is given by its parts"), "C1, across R1", r#""12 pF""#),
    key("probe.series_resistance", Kind::Quantity(OHM, Limits::NotNegative), Need::Optional("none"), "resistance in series with R1 and C1", r#""50 ohm""#),
    key("probe.body_capacitance", Kind::Quantity(FARAD, Limits::NotNegative), Need::Optional("none"), "capacitance of the probe's body to ground, in front of R1", r#""1 pF""#),
    key("probe.adjusted_at", Kind::Word(AdjustedAt::WORDS), Need::Optional("not known"), "where the probe is adjusted", r#""base""#),
    key("probe.input_capacitance", Kind::Quantity(FARAD, Limits::Positive), Need::RequiredIf("the probe is given by its data sheet"), "capacitance at the tip", r#""13 pF ± 2 pF""#),
    key("probe.compensation_range", Kind::List(FARAD, Limits::NotNegative), Need::Optional("nothing to adjust"), "least and largest input capacitance that the trimmer balances", r#"["8 pF", "18 pF"]"#),
    key("probe.bandwidth", Kind::Quantity(HERTZ, Limits::Positive), Need::Optional("not known"), "-3 dB frequency of the data sheet", r#""200 MHz""#),
    key("probe.cable_length", Kind::Quantity(METRE, Limits::NotNegative), Need::Optional("not known"), "length of the cable", r#""1.2 m""#),
    key("probe.compensation_error", Kind::Quantity(RATIO, Limits::Any), Need::Optional("as last assessed, where probe and input are of the bench; else adjusted as well as the trimmer can"), "compensation error of the probe on this input, as measured; only for a probe given by its data sheet", r#""-2 % ± 0.5 %""#),
    key("probe.cable.length", Kind::Quantity(METRE, Limits::NotNegative), Need::RequiredIf("there is a [probe.cable]; 0 for no cable"), "length of the cable", r#""1.2 m""#),
    key("probe.cable.capacitance_per_metre", Kind::Quantity(FARAD_PER_METRE, Limits::Positive), Need::RequiredIf("the cable has a length"), "capacitance", r#""60 pF/m""#),
    key("probe.cable.inductance_per_metre", Kind::Quantity(HENRY_PER_METRE, Limits::Positive), Need::RequiredIf("the cable has a length"), "inductance", r#""330 nH/m""#),
    key("probe.cable.resistance_per_metre", Kind::Quantity(OHM_PER_METRE, Limits::NotNegative), Need::Optional("none"), "resistance of the conductor; probe cables are made lossy on purpose", r#""160 ohm/m""#),
    key("probe.cable.conductance_per_metre", Kind::Quantity(SIEMENS_PER_METRE, Limits::NotNegative), Need::Optional("none"), "conductance between the conductors", r#""1 nS/m""#),
    key("probe.cable.skin_corner", Kind::Quantity(HERTZ, Limits::Positive), Need::Optional("the resistance does not grow"), "frequency above which the resistance grows with the root of the frequency", r#""50 MHz""#),
    key("probe.box.series_resistance", Kind::Quantity(OHM, Limits::NotNegative), Need::Optional("none"), "resistance in series at the cable's end", r#""100 ohm""#),
    key("probe.box.capacitance", Kind::Quantity(FARAD, Limits::NotNegative), Need::Optional("none"), "trimmer and stray capacitance behind it", r#""20 pF""#),
    key("probe.rating.frequency", Kind::List(HERTZ, Limits::NotNegative), Need::RequiredIf("peak or rms is given"), "frequencies of the derating curve, rising", r#"["0 Hz", "1 MHz", "100 MHz"]"#),
    key("probe.rating.peak", Kind::List(VOLT, Limits::Positive), Need::Optional("rms holds, or nothing is said"), "largest peak voltage at each of these", r#"["600 V", "600 V", "30 V"]"#),
    key("probe.rating.rms", Kind::List(VOLT, Limits::Positive), Need::Optional("peak holds, or nothing is said"), "largest rms voltage at each of these", r#"["300 V", "300 V", "20 V"]"#),
    key("probe.rating.dc", Kind::Quantity(VOLT, Limits::Positive), Need::Optional("nothing is said"), "largest direct voltage", r#""600 V""#),
    key("probe.rating.category", Kind::Word(Category::WORDS), Need::RequiredIf("category_voltage is given"), "measurement category of the probe", r#""II""#),
    key("probe.rating.category_voltage", Kind::Quantity(VOLT, Limits::Positive), Need::RequiredIf("category is given"), "voltage up to which the category holds", r#""300 V""#),
    key("input.id", Kind::Text, Need::Optional("the figures below hold"), "name of the input on the bench (--bench); figures given here go before those of the bench", r#""bench-a/ch1""#),
    key("input.resistance", Kind::Quantity(OHM, Limits::Positive), Need::Required, "resistance of the input", r#""1M ± 1%""#),
    key("input.capacitance", Kind::Quantity(FARAD, Limits::NotNegative), Need::Required, "capacitance of the input", r#""15 pF ± 2 pF""#),
    key("input.bandwidth", Kind::Quantity(HERTZ, Limits::Positive), Need::Optional("no limit"), "-3 dB frequency", r#""200 MHz""#),
    key("input.response", Kind::Word(ResponseWord::WORDS), Need::Optional("single-pole, with a remark, where bandwidth is given"), "form of the response", r#""gaussian""#),
    key("input.order", Kind::Whole(1, MOST_POLES), Need::RequiredIf("response is maximally-flat"), "number of poles", r#"3"#),
    key("input.coupling", Kind::Word(CouplingWord::WORDS), Need::Optional("dc"), "how the input is coupled", r#""dc""#),
    key("input.ac_corner", Kind::Quantity(HERTZ, Limits::Positive), Need::RequiredIf("coupling is ac"), "-3 dB frequency of the coupling", r#""7 Hz""#),
    key("input.limit", Kind::Quantity(HERTZ, Limits::Positive), Need::Optional("not switched in"), "bandwidth limit that is switched in", r#""20 MHz""#),
    key("input.limit_response", Kind::Word(ResponseWord::WORDS), Need::Optional("single-pole, with a remark, where limit is given"), "form of the bandwidth limit", r#""maximally-flat""#),
    key("input.limit_order", Kind::Whole(1, MOST_POLES), Need::RequiredIf("limit_response is maximally-flat"), "number of poles of the bandwidth limit", r#"2"#),
    key("input.rated_voltage", Kind::Quantity(VOLT, Limits::Positive), Need::Optional("nothing is said"), "largest voltage at the input itself", r#""300 V""#),
    key("input.rated_as", Kind::Word(RatedAs::WORDS), Need::RequiredIf("rated_voltage is given"), "how it counts", r#""rms""#),
    key("circuit.connection", Kind::Word(Connection::WORDS), Need::Optional("nothing is said"), "how the circuit under test is connected to earth", r#""floating""#),
    key("circuit.category", Kind::Word(Category::WORDS), Need::Optional("nothing is said"), "measurement category of the place of measurement", r#""II""#),
    key("circuit.voltage_to_earth", Kind::Quantity(VOLT, Limits::Any), Need::Optional("nothing is said"), "working voltage between the circuit's ground and earth", r#""30 V""#),
    key("measured.[].place", Kind::Word(PlaceWord::WORDS), Need::RequiredIf("there is a [[measured]]"), "where the measured element goes", r#""before-cable""#),
    key("measured.[].file", Kind::Text, Need::RequiredIf("there is a [[measured]]"), "Touchstone file", r#""adapter.s2p""#),
    key("measured.[].use", Kind::Word(Use::WORDS), Need::RequiredIf("there is a [[measured]]"), "how it is used; one-ports go in series or to ground", r#""two-port""#),
    key("output.frequencies", Kind::Grid(HERTZ, Limits::Positive), Need::Optional("chosen by the program"), "frequencies of the response: a list, or START:STOP:COUNT evenly on a logarithmic scale", r#""100 Hz:500 MHz:200""#),
    key("output.times", Kind::Grid(SECOND, Limits::Any), Need::Optional("chosen by the program"), "times of the waveform: a list, or START:STOP:COUNT", r#""0 s:20 us:2001""#),
    key("output.error", Kind::Quantity(RATIO, Limits::Share), Need::Optional("chosen by the program"), "relative error up to which the set-up counts as carrying a signal", r#""3 %""#),
];

/// What a list to choose from has beyond the keys of a plan. It has the plan's tables but `[[measured]]` and `[output]`,
/// and its probes and inputs are elements: `probe.ratio` becomes `probe.[].ratio`.
#[rustfmt::skip]
pub const CHOOSE_KEYS: &[Key] = &[
    key("measurement.quantity", Kind::Word(MeasuredQuantity::WORDS), Need::Required, "what is to be measured", r#""transition""#),
    key("measurement.tolerance", Kind::Quantity(RATIO, Limits::Share), Need::Required, "largest relative error that is still accepted", r#""3 %""#),
    key("probe.[].label", Kind::Text, Need::RequiredIf("there is no id, which is the name then"), "name of the probe in the ranking", r#""Probe 07""#),
    key("input.[].label", Kind::Text, Need::RequiredIf("there is no id, which is the name then"), "name of the input in the ranking", r#""Bench A scope, channel 1""#),
];

impl Key {
    /// Table and key as people read them: `[probe.cable]` and `length`, `[[measured]]` and `file`.
    pub fn table_and_name(&self) -> (String, &'static str) {
        let (table, name) = self.path.rsplit_once('.').unwrap_or(("", self.path));
        match table.strip_suffix(".[]") {
            Some(array) => (format!("[[{array}]]"), name),
            None => (format!("[{table}]"), name),
        }
    }

    /// Whether it must be given, in words.
    pub fn need_text(&self) -> String {
        match self.need {
            Need::Required => "required".to_owned(),
            Need::RequiredIf(when) => format!("required if {when}"),
            Need::Optional(meaning) => format!("left out: {meaning}"),
        }
    }

    /// What it takes, in short: a unit, or words.
    pub fn takes(&self) -> String {
        match self.kind {
            Kind::Text => "text".to_owned(),
            Kind::Texts => "text, or list of texts".to_owned(),
            Kind::Written(_) => "term".to_owned(),
            Kind::Whole(least, most) => format!("whole number, {least} to {most}"),
            Kind::Word(words) => words.join(", "),
            Kind::List(dimension, _) => format!("list, {}", dimension.symbol()),
            Kind::Grid(dimension, _) => format!("list or range, {}", dimension.symbol()),
            Kind::Quantity(dimension, _) if dimension.symbol().is_empty() => "number".to_owned(),
            Kind::Quantity(dimension, _) => dimension.symbol().to_owned(),
        }
    }
}

/// The table of `keys` for documents.
pub fn keys_markdown(keys: &[Key]) -> String {
    let mut text = String::from(
        "| table | key | takes | meaning | needed | example |\n| --- | --- | --- | --- | --- | --- |\n",
    );
    for key in keys {
        let (table, name) = key.table_and_name();
        let (takes, need) = (key.takes(), key.need_text());
        let _ = writeln!(
            text,
            "| `{table}` | `{name}` | {takes} | {} | {need} | `{}` |",
            key.meaning, key.example
        );
    }
    text
}
