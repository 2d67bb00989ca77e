//! `[probe]`: either the parts of a probe, or what its data sheet says.

use flattop_core::chain;
use flattop_core::quantity::Unit;

use crate::document::{Dimension, Limits, Quantity, Table};
use crate::input::RatedAs;
use crate::surroundings::Category;
use crate::words;

const OHM: Dimension = Dimension::Of(Unit::Ohm);
const FARAD: Dimension = Dimension::Of(Unit::Farad);
const HERTZ: Dimension = Dimension::Of(Unit::Hertz);
const METRE: Dimension = Dimension::Of(Unit::Metre);
const VOLT: Dimension = Dimension::Of(Unit::Volt);
const NIL: Quantity = Quantity::exact(0.0);

words! {
    /// Where a probe is adjusted.
    pub enum AdjustedAt {
        /// At the tip.
        Tip = "tip",
        /// At the compensation box.
        Base = "base",
        /// Not at all.
        Fixed = "fixed",
    }
}

/// A probe.
#[derive(Clone, Debug, PartialEq)]
pub struct Probe {
    /// What is known of its inside.
    pub model: ProbeModel,
    /// Where it is adjusted, if said.
    pub adjusted_at: Option<AdjustedAt>,
    /// What it stands, if said.
    pub rating: Option<Rating>,
}

/// What is known of a probe's inside.
#[derive(Clone, Debug, PartialEq)]
pub enum ProbeModel {
    /// Its parts.
    Parts(Parts),
    /// The figures of its data sheet, from which the parts have to be modelled.
    DataSheet(DataSheet),
}

/// A probe by its parts.
#[derive(Clone, Debug, PartialEq)]
pub struct Parts {
    /// N by which the oscilloscope multiplies; `None` where the resistances say it, see [`Parts::ratio_on`].
    pub ratio: Option<Quantity>,
    /// R1, Ω.
    pub tip_resistance: Quantity,
    /// C1, F.
    pub tip_capacitance: Quantity,
    /// In series with both, Ω; 0 where left out.
    pub series_resistance: Quantity,
    /// From the body to ground, F; 0 where left out.
    pub body_capacitance: Quantity,
    /// The cable; `None` for none.
    pub cable: Option<Cable>,
    /// In series at the cable's end, Ω; 0 where left out.
    pub box_series_resistance: Quantity,
    /// Behind it to ground, F; 0 where left out.
    pub box_capacitance: Quantity,
}

/// A cable by its constants.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cable {
    /// m.
    pub length: Quantity,
    /// F/m.
    pub capacitance: Quantity,
    /// H/m.
    pub inductance: Quantity,
    /// Ω/m; 0 where left out.
    pub resistance: Quantity,
    /// S/m; 0 where left out.
    pub conductance: Quantity,
    /// Hz; `None` where the resistance does not grow.
    pub skin_corner: Option<Quantity>,
}

/// What a data sheet says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DataSheet {
    /// N.
    pub ratio: Quantity,
    /// At the tip, F.
    pub input_capacitance: Quantity,
    /// Least and largest input capacitance that the trimmer can balance, F; `None` where there is nothing to adjust.
    pub compensation_range: Option<[f64; 2]>,
    /// −3 dB frequency, Hz, if said.
    pub bandwidth: Option<Quantity>,
    /// m, if said.
    pub cable_length: Option<Quantity>,
    /// e on this input, as measured; `None` for a probe that is adjusted as well as its trimmer can.
    pub compensation_error: Option<Quantity>,
}

/// What a probe stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Rating {
    /// Largest voltage against frequency.
    pub curve: Option<RatingCurve>,
    /// Largest direct voltage, V.
    pub dc: Option<Quantity>,
    /// Measurement category and the voltage up to which it holds, V.
    pub category: Option<(Category, Quantity)>,
}

/// Points of a derating curve.
#[derive(Clone, Debug, PartialEq)]
pub struct RatingCurve {
    /// Hz, rising.
    pub frequency_hz: Vec<f64>,
    /// V.
    pub voltage_v: Vec<f64>,
    /// How the voltages count.
    pub rated_as: RatedAs,
}

impl Parts {
    /// N on an input of `input_resistance_ohm`: as given, else (R1 + R2)/R2.
    pub fn ratio_on(&self, input_resistance_ohm: f64) -> f64 {
        self.ratio.map_or(1.0 + self.tip_resistance.value / input_resistance_ohm, |ratio| ratio.value)
    }

    /// The core's front end, without tolerances.
    pub fn tip(&self) -> chain::Tip {
        chain::Tip {
            body_capacitance_f: self.body_capacitance.value,
            resistance_ohm: self.tip_resistance.value,
            capacitance_f: self.tip_capacitance.value,
            series_resistance_ohm: self.series_resistance.value,
        }
    }

    /// The core's cable, without tolerances; of length 0 for none.
    pub fn cable(&self) -> chain::Cable {
        let value = |get: fn(&Cable) -> Quantity| self.cable.as_ref().map_or(0.0, |cable| get(cable).value);
        chain::Cable {
            length_m: value(|c| c.length),
            resistance_ohm_per_m: value(|c| c.resistance),
            inductance_h_per_m: value(|c| c.inductance),
            capacitance_f_per_m: value(|c| c.capacitance),
            conductance_s_per_m: value(|c| c.conductance),
            skin_corner_hz: self.cable.and_then(|c| c.skin_corner).map(|corner| corner.value),
        }
    }

    /// The core's box, without tolerances.
    pub fn compensation_box(&self) -> chain::CompensationBox {
        chain::CompensationBox {
            series_resistance_ohm: self.box_series_resistance.value,
            capacitance_f: self.box_capacitance.value,
        }
    }
}

/// Keys of a probe that is known by its data sheet.
pub(crate) const SHEET_KEYS: [&str; 5] =
    ["input_capacitance", "compensation_range", "bandwidth", "cable_length", "compensation_error"];

/// Whether some part of the probe is given.
pub(crate) fn is_by_parts(table: &Table) -> bool {
    ["tip_resistance", "tip_capacitance", "series_resistance", "body_capacitance"]
        .iter()
        .any(|key| table.has(key))
        || table.table("cable").is_present()
        || table.table("box").is_present()
}

/// Asks for all keys of a probe that is not there, so that they are known.
pub(crate) fn ask(table: &Table) {
    table.text("id");
    table.word::<AdjustedAt>("adjusted_at");
    table.quantity("ratio", Dimension::Multiple, Limits::Positive);
    rating(&table.table("rating"));
    data_sheet(table, None);
    parts(table, None);
}

/// Reads a probe; `None` where something is wrong.
pub(crate) fn read(table: &Table) -> Option<Probe> {
    table.text("id");
    let ratio = table.quantity("ratio", Dimension::Multiple, Limits::Positive);
    let adjusted_at = table.word("adjusted_at");
    let rating = rating(&table.table("rating"));
    // Both ways are asked for, so that all keys are known.
    let by_parts = is_by_parts(table);
    // A thing of the bench is known by its data sheet.
    let by_sheet = table.is_looked_up() || SHEET_KEYS.iter().any(|key| table.has(key));
    let sheet = data_sheet(table, ratio);
    let parts = parts(table, ratio);
    // That it was not found was said when it was looked up.
    if table.has("id") && !table.is_looked_up() {
        return None;
    }
    let model = if by_parts {
        table.refuse(
            &SHEET_KEYS,
            "either the parts of the probe (tip_resistance and so on) or its data sheet",
            "both",
        );
        for key in ["tip_resistance", "tip_capacitance"] {
            table.required::<Quantity>(key, None, "a probe given by its parts needs it");
        }
        ProbeModel::Parts(parts?)
    } else if by_sheet {
        let why = "a probe given by its data sheet needs it";
        table.required("ratio", ratio, why);
        table.required::<Quantity>("input_capacitance", None, why);
        ProbeModel::DataSheet(sheet?)
    } else {
        table.problem(
            "tip_resistance",
            "the parts of the probe (tip_resistance, tip_capacitance) or its data sheet (ratio, input_capacitance)",
            "neither",
            "give one of the two: nothing can be assumed about a probe",
        );
        return None;
    };
    Some(Probe { model, adjusted_at, rating })
}

fn parts(table: &Table, ratio: Option<Quantity>) -> Option<Parts> {
    let quantity = |key: &str, dimension| table.quantity(key, dimension, Limits::NotNegative);
    let tip_resistance = quantity("tip_resistance", OHM);
    let tip_capacitance = quantity("tip_capacitance", FARAD);
    let series_resistance = quantity("series_resistance", OHM).unwrap_or(NIL);
    let body_capacitance = quantity("body_capacitance", FARAD).unwrap_or(NIL);
    let cable = cable(&table.table("cable"));
    let compensation_box = table.table("box");
    Some(Parts {
        ratio,
        box_series_resistance: compensation_box
            .quantity("series_resistance", OHM, Limits::NotNegative)
            .unwrap_or(NIL),
        box_capacitance: compensation_box.quantity("capacitance", FARAD, Limits::NotNegative).unwrap_or(NIL),
        tip_resistance: tip_resistance?,
        tip_capacitance: tip_capacitance?,
        series_resistance,
        body_capacitance,
        cable,
    })
}

fn cable(table: &Table) -> Option<Cable> {
    let length = table.quantity("length", METRE, Limits::NotNegative);
    let capacitance =
        table.quantity("capacitance_per_metre", Dimension::Of(Unit::FaradPerMetre), Limits::Positive);
    let inductance =
        table.quantity("inductance_per_metre", Dimension::Of(Unit::HenryPerMetre), Limits::Positive);
    let resistance =
        table.quantity("resistance_per_metre", Dimension::Of(Unit::OhmPerMetre), Limits::NotNegative);
    let conductance =
        table.quantity("conductance_per_metre", Dimension::ConductancePerLength, Limits::NotNegative);
    let skin_corner = table.quantity("skin_corner", HERTZ, Limits::Positive);
    if !table.is_present() {
        return None;
    }
    let length = table.required("length", length, "a cable needs it; leave the table out for no cable");
    // A cable of no length has no use for its constants.
    if length.is_some_and(|length| !(length.value > 0.0)) {
        return None;
    }
    let why = "a cable needs it: it is on the data sheet, or follows from wave impedance and velocity";
    let capacitance = table.required("capacitance_per_metre", capacitance, why);
    let inductance = table.required("inductance_per_metre", inductance, why);
    Some(Cable {
        length: length?,
        capacitance: capacitance?,
        inductance: inductance?,
        resistance: resistance.unwrap_or(NIL),
        conductance: conductance.unwrap_or(NIL),
        skin_corner,
    })
}

fn data_sheet(table: &Table, ratio: Option<Quantity>) -> Option<DataSheet> {
    let input_capacitance = table.quantity("input_capacitance", FARAD, Limits::Positive);
    let range = table.list("compensation_range", FARAD, Limits::NotNegative);
    let bandwidth = table.quantity("bandwidth", HERTZ, Limits::Positive);
    let cable_length = table.quantity("cable_length", METRE, Limits::NotNegative);
    let compensation_error = table.quantity("compensation_error", Dimension::Of(Unit::Ratio), Limits::Any);
    let compensation_range = match range.as_deref() {
        Some(&[least, most]) if least <= most => Some([least, most]),
        Some(other) => {
            let found = match other {
                [least, most] => format!("{least:e} F to {most:e} F"),
                _ => format!("{} numbers", other.len()),
            };
            table.problem(
                "compensation_range",
                "least and largest input capacitance, in this order",
                &found,
                "",
            );
            None
        }
        None => None,
    };
    Some(DataSheet {
        ratio: ratio?,
        input_capacitance: input_capacitance?,
        compensation_range,
        bandwidth,
        cable_length,
        compensation_error,
    })
}

fn rating(table: &Table) -> Option<Rating> {
    let frequency = table.list("frequency", HERTZ, Limits::NotNegative);
    let peak = table.list("peak", VOLT, Limits::Positive);
    let rms = table.list("rms", VOLT, Limits::Positive);
    let dc = table.quantity("dc", VOLT, Limits::Positive);
    let category = table.word("category");
    let category_voltage = table.quantity("category_voltage", VOLT, Limits::Positive);
    if !table.is_present() {
        return None;
    }
    if table.has("category") || table.has("category_voltage") {
        table.required("category", category, "category and category_voltage belong together");
        table.required("category_voltage", category_voltage, "category and category_voltage belong together");
    }
    if table.has("peak") && table.has("rms") {
        table.problem("rms", "either peak or rms", "both", "take one of the two out");
    }
    let has_voltages = table.has("peak") || table.has("rms");
    if has_voltages {
        table.required(
            "frequency",
            frequency.as_ref(),
            "the voltages need the frequencies at which they hold",
        );
    } else if table.has("frequency") {
        table.required("peak", peak.as_ref(), "the frequencies need the voltages, as peak or as rms");
    }
    let (key, voltages, rated_as) =
        if table.has("peak") { ("peak", peak, RatedAs::Peak) } else { ("rms", rms, RatedAs::Rms) };
    let curve = match (frequency, voltages) {
        (Some(frequency_hz), Some(voltage_v)) => {
            if frequency_hz.len() != voltage_v.len() {
                let expected = format!("as many voltages as frequencies, that is {}", frequency_hz.len());
                table.problem(key, &expected, &voltage_v.len().to_string(), "");
            }
            if frequency_hz.windows(2).any(|pair| !(pair[0] < pair[1])) {
                table.problem(
                    "frequency",
                    "rising frequencies",
                    "others",
                    "sort the points, each frequency once",
                );
            }
            Some(RatingCurve { frequency_hz, voltage_v, rated_as })
        }
        _ => None,
    };
    Some(Rating { curve, dc, category: category.zip(category_voltage) })
}
