//! `[node]`, `[contact]`, `[circuit]`, `[[measured]]` and `[output]`.

use flattop_core::chain;
use flattop_core::quantity::Unit;

use crate::document::{Dimension, Grid, Limits, Quantity, Table};
use crate::words;

const OHM: Dimension = Dimension::Of(Unit::Ohm);
const METRE: Dimension = Dimension::Of(Unit::Metre);
const NIL: Quantity = Quantity::exact(0.0);

/// The circuit under test at the point that the probe touches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Node {
    /// Resistance of the source, Ω; 0 where left out.
    pub resistance: Quantity,
    /// Capacitance to ground, F; 0 where left out.
    pub capacitance: Quantity,
}

impl Node {
    /// The core's type, without tolerances.
    pub fn nominal(&self) -> chain::Node {
        chain::Node { resistance_ohm: self.resistance.value, capacitance_f: self.capacitance.value }
    }
}

/// The loop through tip and ground lead.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contact {
    /// What makes its inductance.
    pub lead: Lead,
    /// Resistance in series, Ω; 0 where left out.
    pub resistance: Quantity,
}

/// How the inductance of the contact is given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lead {
    /// By its value, H; 0 where nothing is said.
    Inductance(Quantity),
    /// By its geometry, from which it has to be computed.
    Geometry {
        /// Length of the ground lead, m.
        ground_length: Quantity,
        /// Distance between tip and ground lead across the loop, m, if known.
        loop_width: Option<Quantity>,
        /// Diameter of the lead's wire, m, if known.
        wire_diameter: Option<Quantity>,
    },
}

words! {
    /// How the circuit under test is connected to earth.
    pub enum Connection {
        /// Its ground is at earth.
        Earthed = "earthed",
        /// It is supplied without a connection to earth.
        Floating = "floating",
        /// It is connected to the mains without isolation.
        Mains = "mains",
    }
}

words! {
    /// Measurement category (IEC 61010-2-030); plans name the one of the place of measurement, ratings that of the probe.
    pub enum Category {
        /// Not for direct connection to the mains. The standard of today calls this "not rated".
        I = "I",
        /// At socket outlets.
        II = "II",
        /// In the installation of the building.
        III = "III",
        /// At its source.
        IV = "IV",
    }
}

/// What the person and the probe are exposed to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circuit {
    /// How it is connected, if said.
    pub connection: Option<Connection>,
    /// Measurement category of the place, if said.
    pub category: Option<Category>,
    /// Working voltage between the circuit's ground and earth, V, if said.
    pub voltage_to_earth: Option<Quantity>,
}

words! {
    /// Where a measured network goes into the chain.
    pub enum PlaceWord {
        /// Between the node and the contact.
        BeforeContact = "before-contact",
        /// Between contact and tip.
        BeforeTip = "before-tip",
        /// Between tip and cable.
        BeforeCable = "before-cable",
        /// Between cable and box.
        BeforeBox = "before-box",
        /// Between box and input.
        BeforeInput = "before-input",
    }
}

impl PlaceWord {
    /// The core's type.
    pub fn place(self) -> chain::Place {
        match self {
            PlaceWord::BeforeContact => chain::Place::BeforeContact,
            PlaceWord::BeforeTip => chain::Place::BeforeTip,
            PlaceWord::BeforeCable => chain::Place::BeforeCable,
            PlaceWord::BeforeBox => chain::Place::BeforeBox,
            PlaceWord::BeforeInput => chain::Place::BeforeInput,
        }
    }
}

words! {
    /// How a measured network is used.
    pub enum Use {
        /// As it is, port 1 towards the node.
        TwoPort = "two-port",
        /// A one-port in the signal's way.
        Series = "series",
        /// A one-port to ground.
        Shunt = "shunt",
        /// Its transfer from port 1 to port 2 alone (S21); impedances are seen through it unchanged.
        Response = "response",
    }
}

/// An element known by measurement.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Where it goes.
    pub place: PlaceWord,
    /// Touchstone file as named in the plan.
    pub file: String,
    /// How it is used.
    pub usage: Use,
}

/// What to compute.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Output {
    /// Frequencies, Hz; `None` leaves them to the program.
    pub frequencies: Option<Grid>,
    /// Times, s; `None` leaves them to the program.
    pub times: Option<Grid>,
    /// Relative error up to which the set-up counts as carrying a signal.
    pub error: Option<f64>,
}

pub(crate) fn node(table: &Table) -> Node {
    Node {
        resistance: table.quantity("resistance", OHM, Limits::NotNegative).unwrap_or(NIL),
        capacitance: table
            .quantity("capacitance", Dimension::Of(Unit::Farad), Limits::NotNegative)
            .unwrap_or(NIL),
    }
}

pub(crate) fn contact(table: &Table) -> Contact {
    table.text("ground");
    let inductance = table.quantity("inductance", Dimension::Of(Unit::Henry), Limits::NotNegative);
    let ground_length = table.quantity("ground_length", METRE, Limits::Positive);
    let loop_width = table.quantity("loop_width", METRE, Limits::Positive);
    let wire_diameter = table.quantity("wire_diameter", METRE, Limits::Positive);
    if table.has("inductance") && table.has("ground_length") {
        table.problem(
            "ground_length",
            "either inductance or ground_length",
            "both",
            "take one of the two out",
        );
    }
    if !table.has("ground_length") {
        table.refuse(
            &["loop_width", "wire_diameter"],
            "this key together with ground_length only",
            "it alone",
        );
    }
    let lead = match ground_length {
        Some(ground_length) => Lead::Geometry { ground_length, loop_width, wire_diameter },
        None => Lead::Inductance(inductance.unwrap_or(NIL)),
    };
    Contact { lead, resistance: table.quantity("resistance", OHM, Limits::NotNegative).unwrap_or(NIL) }
}

pub(crate) fn circuit(table: &Table) -> Option<Circuit> {
    let circuit = Circuit {
        connection: table.word("connection"),
        category: table.word("category"),
        voltage_to_earth: table.quantity("voltage_to_earth", Dimension::Of(Unit::Volt), Limits::Any),
    };
    table.is_present().then_some(circuit)
}

pub(crate) fn measured(tables: &[Table]) -> Option<Vec<Measured>> {
    let each = |table: &Table| {
        let place = table.word("place");
        let file = table.text("file");
        let usage = table.word("use");
        let why = "each measured element needs it";
        let place = table.required("place", place, why);
        let file = table.required("file", file, why);
        let usage = table.required("use", usage, why);
        Some(Measured { place: place?, file: file?, usage: usage? })
    };
    let all: Vec<Option<Measured>> = tables.iter().map(each).collect();
    all.into_iter().collect()
}

pub(crate) fn output(table: &Table) -> Output {
    Output {
        frequencies: table.grid("frequencies", Dimension::Of(Unit::Hertz), Limits::Positive),
        times: table.grid("times", Dimension::Of(Unit::Second), Limits::Any),
        error: table.quantity("error", Dimension::Of(Unit::Ratio), Limits::Share).map(|error| error.value),
    }
}
