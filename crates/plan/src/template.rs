//! A plan with all keys and their meaning, to be filled in.

use std::fmt::Write as _;

use crate::budget_keys::BUDGET_KEYS;
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

/// Keys of a budget that its template gives a value.
const ACTIVE_IN_BUDGETS: &[&str] = &[
    "reading.quantity",
    "reading.frequencies",
    "reading.gain",
    "reading.noise",
    "reading.step",
    "reading.time_base",
    "reading.response_form",
    "reading.compensation_error",
];

/// A plan that can be read as it stands, with every other key as a comment beside its meaning.
pub fn template() -> String {
    let mut text = head("`flattop predict`");
    lines(&mut text, KEYS);
    text
}

/// The same with the keys of a budget of uncertainty.
pub fn budget_template() -> String {
    let mut text =
        head("`flattop budget` (and `flattop predict`, which has no use for the tables from [reading] on)");
    lines(&mut text, KEYS);
    lines(&mut text, BUDGET_KEYS);
    text.push_str(
        "\n# For a delay between two probes: [second.node], [second.contact], [second.probe], [second.input],\n\
         # with the keys of the tables of the same name above.\n",
    );
    text
}

fn head(command: &str) -> String {
    format!(
        "# A plan for {command}. Keys behind a # are not in force: take the # away, and that of the [table] above.\n\
         # Values carry units (\"15 pF\", \"9M\", \"1.2 m\"), and a tolerance if there is one (\"15 pF ± 2 pF\", \"9M ± 1%\").\n\
         # Plain numbers are in V, ohm, F, H, Hz, s, m.\n"
    )
}

fn lines(text: &mut String, keys: &[Key]) {
    let mut last_table = String::new();
    for key in keys {
        let (table, name) = key.table_and_name();
        if table != last_table {
            let in_force = keys.iter().any(|key| key.table_and_name().0 == table && is_active(key));
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
}

fn is_active(key: &Key) -> bool {
    ACTIVE.contains(&key.path) || ACTIVE_IN_BUDGETS.contains(&key.path)
}
