//! A plan with all keys and their meaning, to be filled in.

use std::fmt::Write as _;

use crate::keys::{KEYS, Key};

/// Keys that the template gives a value; all others stand there behind a `#`.
const ACTIVE: &[&str] = &[
    "node.resistance",
    "node.capacitance",
    "signal.shape",
    "signal.frequency",
    "signal.low",
    "signal.high",
    "signal.rise",
    "contact.ground_length",
    "contact.wire_diameter",
    "probe.ratio",
    "probe.adjusted_at",
    "probe.input_capacitance",
    "probe.compensation_range",
    "probe.bandwidth",
    "probe.cable_length",
    "input.resistance",
    "input.capacitance",
    "input.bandwidth",
    "input.response",
    "circuit.connection",
];

/// A plan that can be read as it stands, with every other key as a comment beside its meaning.
pub fn template() -> String {
    let mut text = String::from(
        "# A plan for `flattop predict`. Keys behind a # are not in force: take the # away, and that of the [table] above.\n\
         # Values carry units (\"15 pF\", \"9M\", \"1.2 m\"), and a tolerance if there is one (\"15 pF ± 2 pF\", \"9M ± 1%\").\n\
         # Plain numbers are in V, ohm, F, H, Hz, s, m.\n",
    );
    let mut last_table = String::new();
    for key in KEYS {
        let (table, name) = key.table_and_name();
        if table != last_table {
            let in_force = KEYS.iter().any(|key| key.table_and_name().0 == table && is_active(key));
            let _ = writeln!(text, "\n{}{table}", if in_force { "" } else { "#" });
            last_table = table;
        }
        let mark = if is_active(key) { "" } else { "#" };
        let _ = writeln!(
            text,
            "# {} ({}; {})\n{mark}{name} = {}",
            key.meaning,
            key.takes(),
            key.need_text(),
            key.example
        );
    }
    text
}

fn is_active(key: &Key) -> bool {
    ACTIVE.contains(&key.path)
}
