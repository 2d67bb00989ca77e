//! `[input]`: one channel of the oscilloscope.

use flattop_core::chain;
use flattop_core::finding::Finding;
use flattop_core::quantity::Unit;

use crate::document::{Dimension, Limits, Quantity, Table};
use crate::words;

const HERTZ: Dimension = Dimension::Of(Unit::Hertz);

/// Most poles of a maximally flat response.
pub(crate) const MOST_POLES: u32 = 10;

words! {
    /// Forms of response.
    pub enum ResponseWord {
        /// One real pole.
        SinglePole = "single-pole",
        /// Gaussian.
        Gaussian = "gaussian",
        /// Fourth-order Bessel.
        Bessel = "bessel",
        /// Maximally flat magnitude, of the order given.
        MaximallyFlat = "maximally-flat",
    }
}

words! {
    /// How the input is coupled.
    pub enum CouplingWord {
        /// Down to 0 Hz.
        Dc = "dc",
        /// Through a capacitor.
        Ac = "ac",
    }
}

words! {
    /// How a rated voltage counts.
    pub enum RatedAs {
        /// As the largest value at any moment.
        Peak = "peak",
        /// As root mean square.
        Rms = "rms",
        /// As direct voltage.
        Dc = "dc",
    }
}

/// An input.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    /// Resistance, Ω.
    pub resistance: Quantity,
    /// Capacitance, F.
    pub capacitance: Quantity,
    /// Between connector and screen; `None` where it has no limit.
    pub response: Option<Response>,
    /// Lower limit.
    pub coupling: Coupling,
    /// Bandwidth limit that is switched in.
    pub limit: Option<Response>,
    /// Largest voltage, V, and how it counts.
    pub rated_voltage: Option<(Quantity, RatedAs)>,
}

/// How it follows fast signals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// Form.
    pub shape: chain::ResponseShape,
    /// −3 dB frequency, Hz.
    pub bandwidth: Quantity,
}

/// How it is coupled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coupling {
    /// Down to 0 Hz.
    Dc,
    /// Through a capacitor, with this −3 dB frequency, Hz.
    Ac(Quantity),
}

impl Input {
    /// The core's type, without tolerances.
    pub fn nominal(&self) -> chain::Input {
        let response = |r: Response| chain::Response { shape: r.shape, bandwidth_hz: r.bandwidth.value };
        let unlimited =
            chain::Response { shape: chain::ResponseShape::SinglePole, bandwidth_hz: f64::INFINITY };
        chain::Input {
            resistance_ohm: self.resistance.value,
            capacitance_f: self.capacitance.value,
            response: self.response.map_or(unlimited, response),
            coupling: match self.coupling {
                Coupling::Dc => chain::Coupling::Dc,
                Coupling::Ac(corner) => chain::Coupling::Ac { corner_hz: corner.value },
            },
            limit: self.limit.map(response),
        }
    }
}

/// Asks for all keys of an input that is not there, so that they are known.
pub(crate) fn ask(table: &Table) {
    table.text("id");
    table.quantity("resistance", Dimension::Of(Unit::Ohm), Limits::Positive);
    table.quantity("capacitance", Dimension::Of(Unit::Farad), Limits::NotNegative);
    response(table, ["bandwidth", "response", "order"]);
    response(table, ["limit", "limit_response", "limit_order"]);
    coupling(table);
    table.quantity("rated_voltage", Dimension::Of(Unit::Volt), Limits::Positive);
    table.word::<RatedAs>("rated_as");
}

/// Reads the figures of an input; `None` where something is wrong.
pub(crate) fn read(table: &Table) -> Option<Input> {
    table.text("id");
    let resistance = table.quantity("resistance", Dimension::Of(Unit::Ohm), Limits::Positive);
    let capacitance = table.quantity("capacitance", Dimension::Of(Unit::Farad), Limits::NotNegative);
    let response = response(table, ["bandwidth", "response", "order"]);
    let limit = self::response(table, ["limit", "limit_response", "limit_order"]);
    let coupling = coupling(table);
    let rated_voltage = table.quantity("rated_voltage", Dimension::Of(Unit::Volt), Limits::Positive);
    let rated_as = table.word("rated_as");
    if table.has("rated_voltage") {
        table.required(
            "rated_as",
            rated_as,
            "say whether rated_voltage is a peak value, rms or a direct voltage",
        );
    } else {
        table.refuse(&["rated_as"], "this key together with rated_voltage only", "it alone");
    }
    // That it was not found was said when it was looked up.
    if table.has("id") && !table.is_looked_up() {
        return None;
    }
    let why = "nothing can be assumed about it; it is printed beside the connector";
    let resistance = table.required("resistance", resistance, why);
    let capacitance = table.required("capacitance", capacitance, why);
    Some(Input {
        resistance: resistance?,
        capacitance: capacitance?,
        response,
        coupling: coupling?,
        limit,
        rated_voltage: rated_voltage.zip(rated_as),
    })
}

/// A response by the names of its keys: bandwidth, form, order.
fn response(table: &Table, [bandwidth_key, form_key, order_key]: [&str; 3]) -> Option<Response> {
    let bandwidth = table.quantity(bandwidth_key, HERTZ, Limits::Positive);
    let form: Option<ResponseWord> = table.word(form_key);
    let order = table.whole(order_key, 1, MOST_POLES);
    if !table.has(bandwidth_key) {
        table.refuse(
            &[form_key, order_key],
            &format!("this key together with {bandwidth_key} only"),
            "it alone",
        );
        return None;
    }
    let bandwidth = bandwidth?;
    if !table.has(form_key) {
        table.remark(Finding::note(
            "response-assumed",
            format!("no {form_key} is given with {bandwidth_key}: a single pole is assumed"),
            format!("give {form_key} as the data sheet says"),
        ));
    }
    let form = if table.has(form_key) { form? } else { ResponseWord::SinglePole };
    let fixed = |poles: u32, what: &str| {
        if order.is_some_and(|order| order != poles) {
            table.problem(
                order_key,
                &format!("{poles}, as {what}"),
                &order.unwrap_or(0).to_string(),
                "take it out",
            );
        }
    };
    let shape = match form {
        ResponseWord::SinglePole => {
            fixed(1, "a single pole has order 1");
            chain::ResponseShape::SinglePole
        }
        ResponseWord::Gaussian => {
            table.refuse(&[order_key], "this key with maximally-flat only", "gaussian");
            chain::ResponseShape::Gaussian
        }
        ResponseWord::Bessel => {
            fixed(4, "only the fourth order is computed");
            chain::ResponseShape::Bessel4
        }
        ResponseWord::MaximallyFlat => {
            let order = table.required(order_key, order, "maximally-flat needs it")?;
            chain::ResponseShape::MaximallyFlat(u8::try_from(order).ok()?)
        }
    };
    Some(Response { shape, bandwidth })
}

fn coupling(table: &Table) -> Option<Coupling> {
    let word: Option<CouplingWord> = table.word("coupling");
    let corner = table.quantity("ac_corner", HERTZ, Limits::Positive);
    match word {
        Some(CouplingWord::Ac) => {
            table.required("ac_corner", corner, "coupling \"ac\" needs it").map(Coupling::Ac)
        }
        None if table.has("coupling") => None,
        _ => {
            table.refuse(&["ac_corner"], "this key with coupling \"ac\" only", "coupling \"dc\"");
            Some(Coupling::Dc)
        }
    }
}
