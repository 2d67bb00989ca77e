//! `[signal]`: what the source would show with nothing connected.

use flattop_core::quantity::Unit;
use flattop_core::signal as core;

use crate::document::{Dimension, Limits, Quantity, Table};
use crate::words;

const SECOND: Dimension = Dimension::Of(Unit::Second);
const HERTZ: Dimension = Dimension::Of(Unit::Hertz);
const VOLT: Dimension = Dimension::Of(Unit::Volt);

/// A ramp takes 1/0.8 of its 10 to 90 % transition duration, as it is straight.
const RAMP_OF_10_90: f64 = 1.25;

/// Most periods of a burst.
pub(crate) const MOST_CYCLES: u32 = 1_000_000;

words! {
    /// Forms of a signal, as the plan names them.
    pub enum ShapeWord {
        /// A sine, for ever.
        Sine = "sine",
        /// A square wave, for ever.
        Square = "square",
        /// A trapezoidal wave, for ever.
        Trapezoid = "trapezoid",
        /// One pulse.
        Pulse = "pulse",
        /// One edge.
        Edge = "edge",
        /// An exponential approach.
        Exponential = "exponential",
        /// Some periods of a sine.
        Burst = "burst",
        /// A waveform in a file.
        File = "file",
    }
}

/// The signal of a plan.
#[derive(Clone, Debug, PartialEq)]
pub enum Signal {
    /// Between two levels.
    Levels {
        /// Low level, V.
        low: Quantity,
        /// High level, V.
        high: Quantity,
        /// What it does over time.
        shape: Shape,
    },
    /// A waveform, to be read from a file.
    File {
        /// The file as named in the plan.
        path: String,
        /// Period with which it repeats, s; `None` where it holds its ends.
        repeat: Option<Quantity>,
    },
}

/// Forms between two levels, as in the core's [`core::Shape`], with tolerances. Ramps count from 0 to 100 %, in seconds.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs, reason = "the fields are those of the core's type of the same name")]
pub enum Shape {
    /// A sine, for ever.
    Sine { frequency: Quantity },
    /// A square or trapezoidal wave, for ever.
    Trapezoid { frequency: Quantity, duty: Quantity, rise: Quantity, fall: Quantity },
    /// One pulse.
    Pulse { width: Quantity, rise: Quantity, fall: Quantity },
    /// One edge.
    Edge { rise: Quantity },
    /// An exponential approach.
    Exponential { time_constant: Quantity, width: Option<Quantity> },
    /// Some periods of a sine.
    Burst { frequency: Quantity, cycles: u32 },
}

impl Signal {
    /// The core's type, without tolerances; `None` for a file, which has to be read first.
    pub fn nominal(&self) -> Option<core::Signal> {
        let Signal::Levels { low, high, shape } = self else { return None };
        let shape = match *shape {
            Shape::Sine { frequency } => core::Shape::Sine { frequency_hz: frequency.value },
            Shape::Trapezoid { frequency, duty, rise, fall } => core::Shape::Trapezoid {
                frequency_hz: frequency.value,
                duty: duty.value,
                rise_s: rise.value,
                fall_s: fall.value,
            },
            Shape::Pulse { width, rise, fall } => {
                core::Shape::Pulse { width_s: width.value, rise_s: rise.value, fall_s: fall.value }
            }
            Shape::Edge { rise } => core::Shape::Edge { rise_s: rise.value },
            Shape::Exponential { time_constant, width } => core::Shape::Exponential {
                time_constant_s: time_constant.value,
                width_s: width.map(|w| w.value),
            },
            Shape::Burst { frequency, cycles } => {
                core::Shape::Burst { frequency_hz: frequency.value, cycles }
            }
        };
        Some(core::Signal { shape, low_v: low.value, high_v: high.value })
    }
}

/// Keys that only some shapes use, with these shapes.
const USED_BY: &[(&str, &[ShapeWord])] = {
    use ShapeWord::*;
    &[
        ("low", &[Sine, Square, Trapezoid, Pulse, Edge, Exponential, Burst]),
        ("high", &[Sine, Square, Trapezoid, Pulse, Edge, Exponential, Burst]),
        ("frequency", &[Sine, Square, Trapezoid, Burst]),
        ("duty", &[Square, Trapezoid]),
        ("rise", &[Square, Trapezoid, Pulse, Edge]),
        ("fall", &[Square, Trapezoid, Pulse]),
        ("rise_10_90", &[Square, Trapezoid, Pulse, Edge]),
        ("fall_10_90", &[Square, Trapezoid, Pulse]),
        ("width", &[Pulse, Exponential]),
        ("time_constant", &[Exponential]),
        ("cycles", &[Burst]),
        ("file", &[File]),
        ("repeat", &[File]),
    ]
};

/// Reads the table; `None` where it is not there, or wrong.
pub(crate) fn read(table: &Table) -> Option<Signal> {
    // All keys are asked for whatever the shape, so that they are known.
    let shape: Option<ShapeWord> = table.word("shape");
    let low = table.quantity("low", VOLT, Limits::Any);
    let high = table.quantity("high", VOLT, Limits::Any);
    let frequency = table.quantity("frequency", HERTZ, Limits::Positive);
    let duty = table.quantity("duty", Dimension::Of(Unit::Ratio), Limits::Share);
    let rise = ramp(table, "rise", "rise_10_90");
    let fall = ramp(table, "fall", "fall_10_90");
    let width = table.quantity("width", SECOND, Limits::Positive);
    let time_constant = table.quantity("time_constant", SECOND, Limits::Positive);
    let cycles = table.whole("cycles", 1, MOST_CYCLES);
    let path = table.text("file");
    let repeat = table.quantity("repeat", SECOND, Limits::Positive);
    if !table.is_present() {
        return None;
    }
    let word = table.required("shape", shape, "say what the signal does")?;
    for (key, shapes) in USED_BY {
        if !shapes.contains(&word) {
            let words: Vec<&str> = shapes.iter().map(|shape| shape.word()).collect();
            let expected = format!("this key with the shapes that use it only: {}", words.join(", "));
            table.refuse(&[key], &expected, &format!("shape \"{}\"", word.word()));
        }
    }
    let needed = |key: &str, value: Option<Quantity>| {
        table.required(key, value, &format!("shape \"{}\" needs it", word.word()))
    };
    if word == ShapeWord::File {
        let path = table.required("file", path, "shape \"file\" needs it")?;
        return Some(Signal::File { path, repeat });
    }
    // Both levels are looked at before either ends the reading.
    let levels = (needed("low", low), needed("high", high));
    let shape = match word {
        ShapeWord::Sine => needed("frequency", frequency).map(|frequency| Shape::Sine { frequency }),
        ShapeWord::Square | ShapeWord::Trapezoid => {
            let frequency = needed("frequency", frequency);
            let rise = if word == ShapeWord::Trapezoid {
                given_ramp(table, rise)
            } else {
                Some(rise.unwrap_or(NIL))
            };
            let duty = duty.unwrap_or(Quantity::exact(0.5));
            let (frequency, rise) = (frequency?, rise?);
            let fall = fall.unwrap_or(rise);
            let period = 1.0 / frequency.value;
            let room = period * duty.value.min(1.0 - duty.value);
            fits(table, rise, fall, room, "of the shorter of the two halves of the period");
            Some(Shape::Trapezoid { frequency, duty, rise, fall })
        }
        ShapeWord::Pulse => {
            let width = needed("width", width)?;
            let rise = rise.unwrap_or(NIL);
            let fall = fall.unwrap_or(rise);
            fits(table, rise, fall, width.value, "of the pulse");
            Some(Shape::Pulse { width, rise, fall })
        }
        ShapeWord::Edge => Some(Shape::Edge { rise: rise.unwrap_or(NIL) }),
        ShapeWord::Exponential => needed("time_constant", time_constant)
            .map(|time_constant| Shape::Exponential { time_constant, width }),
        ShapeWord::Burst => {
            let frequency = needed("frequency", frequency);
            let cycles = table.required("cycles", cycles, "shape \"burst\" needs it");
            Some(Shape::Burst { frequency: frequency?, cycles: cycles? })
        }
        ShapeWord::File => None,
    };
    let (low, high) = (levels.0?, levels.1?);
    if low.value.total_cmp(&high.value).is_eq() {
        table.problem("high", "another level than low", &format!("{} V for both", high.value), "");
    }
    Some(Signal::Levels { low, high, shape: shape? })
}

const NIL: Quantity = Quantity::exact(0.0);

/// A ramp by its whole duration or by its 10 to 90 % transition duration.
fn ramp(table: &Table, whole: &str, part: &str) -> Option<Quantity> {
    let ramp = table.quantity(whole, SECOND, Limits::NotNegative);
    let transition = table.quantity(part, SECOND, Limits::NotNegative);
    if table.has(whole) && table.has(part) {
        table.problem(part, &format!("either {whole} or {part}"), "both", "take one of the two out");
    }
    ramp.or(transition.map(|t| t.times(RAMP_OF_10_90)))
}

fn given_ramp(table: &Table, rise: Option<Quantity>) -> Option<Quantity> {
    if table.has("rise_10_90") { rise } else { table.required("rise", rise, "shape \"trapezoid\" needs it") }
}

/// Half of both ramps must fit between the half-way crossings.
fn fits(table: &Table, rise: Quantity, fall: Quantity, room_s: f64, of_what: &str) {
    let half = 0.5 * (rise.value + fall.value);
    // A triangle fills the period exactly, but for rounding.
    if half > room_s * (1.0 + 1e-12) {
        let key = if table.has("rise_10_90") { "rise_10_90" } else { "rise" };
        let expected = format!("ramps whose mean is at most the {room_s:e} s {of_what}");
        table.problem(key, &expected, &format!("{half:e} s"), "shorten the ramps");
    }
}
