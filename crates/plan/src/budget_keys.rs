//! The keys of a budget, once, as [`crate::KEYS`] has those of a plan.

use flattop_core::quantity::Unit;

use crate::budget::{DistributionWord, EvaluationWord, FormWord, MOST_AVERAGES, ReadQuantity};
use crate::document::{Dimension, Kind, Limits, Word};
use crate::keys::{Key, Need, key};

const HERTZ: Dimension = Dimension::Of(Unit::Hertz);
const VOLT: Dimension = Dimension::Of(Unit::Volt);
const SECOND: Dimension = Dimension::Of(Unit::Second);
const RATIO: Dimension = Dimension::Of(Unit::Ratio);
const MULTIPLE: Dimension = Dimension::Multiple;
const KELVIN: Dimension = Dimension::TemperatureDifference;

/// What a plan for `flattop budget` has beyond [`crate::KEYS`]. It may also have `[second.node]`, `[second.contact]`, `[second.probe]` and
/// `[second.input]`, with the keys of the tables of the same name.
#[rustfmt::skip]
pub const BUDGET_KEYS: &[Key] = &[
    key("reading.quantity", Kind::Word(ReadQuantity::WORDS), Need::RequiredIf("there is a [reading]"), "what is read off the screen", r#""amplitude""#),
    key("reading.frequencies", Kind::Grid(HERTZ, Limits::Positive), Need::Optional("the signal's frequency"), "at which frequencies an amplitude is read", r#""1 kHz:100 MHz:6""#),
    key("reading.shown", Kind::Quantity(VOLT, Limits::Any), Need::Optional("what the chain would show of the signal"), "voltage that the screen shows", r#""2.46 V""#),
    key("reading.shown_time", Kind::Quantity(SECOND, Limits::Any), Need::Optional("what the chain would show of the signal"), "time that the screen shows", r#""6.2 ns""#),
    key("reading.observations", Kind::List(VOLT, Limits::Any), Need::Optional("one reading, or none yet"), "repeated readings of a voltage; their mean counts, with t (type A)", r#"["2.46 V", "2.44 V", "2.47 V"]"#),
    key("reading.observed_times", Kind::List(SECOND, Limits::Any), Need::Optional("one reading, or none yet"), "repeated readings of a time; their mean counts, with t (type A)", r#"["6.2 ns", "6.3 ns", "6.2 ns"]"#),
    key("reading.gain", Kind::Quantity(RATIO, Limits::Any), Need::Optional("exact"), "gain error of the channel, with its tolerance", r#""0 % ± 1.5 %""#),
    key("reading.offset", Kind::Quantity(VOLT, Limits::Any), Need::Optional("none"), "offset of the channel at the tip, for mean and rms", r#""0 mV ± 20 mV""#),
    key("reading.noise", Kind::Quantity(VOLT, Limits::NotNegative), Need::Optional("none"), "rms noise of one reading at the tip (normal)", r#""15 mV""#),
    key("reading.averages", Kind::Whole(1, MOST_AVERAGES), Need::Optional("1"), "how many readings are averaged: the noise falls with the root", r#"16"#),
    key("reading.step", Kind::Quantity(VOLT, Limits::NotNegative), Need::Optional("none"), "one step of the quantisation, at the tip", r#""40 mV""#),
    key("reading.time_base", Kind::Quantity(RATIO, Limits::Any), Need::Optional("exact"), "error of the time base, with its tolerance", r#""0 ppm ± 25 ppm""#),
    key("reading.time_step", Kind::Quantity(SECOND, Limits::NotNegative), Need::Optional("none"), "resolution of times read", r#""50 ps""#),
    key("reading.skew", Kind::Quantity(SECOND, Limits::Any), Need::Optional("none"), "how much later the second channel shows than the first, for delays", r#""0 ps ± 100 ps""#),
    key("reading.response_form", Kind::Word(FormWord::WORDS), Need::Optional("known where [input] response is given, else unknown"), "whether the input's form of response is known", r#""known""#),
    key("reading.compensation_error", Kind::Quantity(RATIO, Limits::Any), Need::Optional("as the capacitances of the plan have it"), "compensation error e, as flattop assess states it", r#""-0.8 % ± 0.3 %""#),
    key("reading.time_constant", Kind::Quantity(SECOND, Limits::Positive), Need::Optional("as the capacitances of the plan have it"), "time constant of the divider, as flattop assess states it", r#""110 us ± 2 us""#),
    key("reading.temperature_difference", Kind::Quantity(KELVIN, Limits::Any), Need::Optional("none"), "temperature less that at which the other figures hold", r#""5 K ± 3 K""#),
    key("uncertain.[].key", Kind::Text, Need::RequiredIf("there is an [[uncertain]]"), "key of the value that is meant, tables with points between", r#""probe.tip_resistance""#),
    key("uncertain.[].distribution", Kind::Word(DistributionWord::WORDS), Need::Optional("rectangular"), "how likely the values within the tolerance are", r#""normal""#),
    key("uncertain.[].coverage_factor", Kind::Quantity(MULTIPLE, Limits::Positive), Need::RequiredIf("distribution is normal or t"), "how many standard uncertainties the tolerance is", r#"2"#),
    key("uncertain.[].degrees_of_freedom", Kind::Quantity(MULTIPLE, Limits::Positive), Need::RequiredIf("distribution is t; elsewhere left out: the tolerance is known"), "degrees of freedom of the standard uncertainty", r#"9"#),
    key("uncertain.[].doubt", Kind::Quantity(RATIO, Limits::Share), Need::RequiredIf("distribution is trapezoid"), "how far the limits may be off, as a share of the tolerance", r#""25 %""#),
    key("uncertain.[].deviations", Kind::List(RATIO, Limits::Any), Need::RequiredIf("distribution is samples"), "deviations seen, as shares of the value (of a value that is a share itself: plain)", r#"["0.1 %", "-0.2 %", "0.15 %"]"#),
    key("uncertain.[].evaluation", Kind::Word(EvaluationWord::WORDS), Need::Optional("B"), "type of evaluation (JCGM 100, 2.3)", r#""A""#),
    key("uncertain.[].temperature_coefficient", Kind::Quantity(RATIO, Limits::Any), Need::Optional("none"), "change per kelvin, as a share of the value (of reading.gain: plain)", r#""50 ppm ± 20 ppm""#),
    key("correlated.[].first", Kind::Text, Need::RequiredIf("there is a [[correlated]]"), "key of the one value", r#""reading.compensation_error""#),
    key("correlated.[].second", Kind::Text, Need::RequiredIf("there is a [[correlated]]"), "key of the other value", r#""reading.time_constant""#),
    key("correlated.[].coefficient", Kind::Quantity(RATIO, Limits::Any), Need::RequiredIf("there is a [[correlated]]"), "correlation coefficient of the two", r#"-0.65"#),
];
