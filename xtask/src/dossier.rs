//! The validation dossier: every check as one line of `docs/validation.md`.

use crate::checks::{Row, Topic, topics};
use std::fmt::Write as _;
use std::path::PathBuf;

/// Where the dossier is kept.
fn path() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../docs/validation.md")
}

/// Writes the dossier, or with `check` compares it with the file. `Err` says what failed.
pub(crate) fn run(check: bool) -> Result<String, String> {
    let topics = topics();
    let rows: usize = topics.iter().map(|t| t.rows.len()).sum();
    let text = text(&topics);
    let failing: Vec<String> = topics
        .iter()
        .flat_map(|t| &t.rows)
        .filter(|r| !r.passes())
        .map(|r| {
            format!("{} {}: expected {}, got {}, allowed ±{}", r.id, r.what, r.expected, r.got, r.tolerance)
        })
        .collect();
    let path = path();
    if check {
        #[allow(clippy::disallowed_methods, reason = "a chore program reads and writes the repository")]
        let kept = std::fs::read_to_string(&path).map_err(|e| format!("{}: {e}", path.display()))?;
        if kept != text {
            let line = kept.lines().zip(text.lines()).take_while(|(a, b)| a == b).count() + 1;
            return Err(format!("{}:{line} is out of date: run `cargo xtask dossier`", path.display()));
        }
    } else {
        #[allow(clippy::disallowed_methods, reason = "a chore program reads and writes the repository")]
        std::fs::write(&path, &text).map_err(|e| format!("{}: {e}", path.display()))?;
    }
    if failing.is_empty() {
        Ok(format!("{rows} checks, all inside their tolerance"))
    } else {
        Err(format!("{} of {rows} checks fail:\n{}", failing.len(), failing.join("\n")))
    }
}

fn text(topics: &[Topic]) -> String {
    let mut out = String::from(
        "# Validation dossier\n\n\
         Every line compares a number computed by `flattop-core` with one that comes from outside.\n\
         The file is written by `cargo xtask dossier`; `cargo xtask dossier --check` fails when a line is outside its\n\
         tolerance or when the file is out of date.\n\n\
         *Kind*: **published** = printed in the source; **derived** = worked out by an independent program from a\n\
         formula or data of the source; **from memory** = recalled; **common practice** = what the trade knows, no source.\n\
         *Allowed* is half a unit of the last printed digit unless the line says otherwise.\n\
         *Used* is the share of the allowance that the deviation takes up.\n\n",
    );
    let total: usize = topics.iter().map(|t| t.rows.len()).sum();
    let passing = topics.iter().flat_map(|t| &t.rows).filter(|r| r.passes()).count();
    let _ = writeln!(out, "{passing} of {total} checks pass.");
    for topic in topics {
        let _ = writeln!(out, "\n## {}\n\n{}\n", topic.title, topic.remark);
        out.push_str("| id | what | expected | got | allowed | unit | used | kind | source |\n");
        out.push_str("| --- | --- | ---: | ---: | ---: | --- | --- | --- | --- |\n");
        for row in &topic.rows {
            let _ = writeln!(
                out,
                "| {} | {} | {} | {} | ±{} | {} | {} | {} | {} |",
                row.id,
                row.what.replace('|', "\\|"),
                number(row.expected, row.tolerance),
                number(row.got, row.tolerance),
                short(row.tolerance),
                row.unit,
                used(row),
                row.tag.label(),
                row.source
            );
        }
    }
    out.push_str(BESIDE);
    out
}

/// What needs another program beside ours, and is no row for that reason.
const BESIDE: &str = "
## Other programs beside ours

`scripts/test` runs these; each ends with an error of its own where something else comes out.

| check | other program | what has to come out |
| --- | --- | --- |
| `reference/regenerate.sh --check` | ngspice, SciPy, NumPy, scikit-rf | the captures and tables in `testdata/` |
| `reference/second_client.py`, raw socket and HiSLIP | PyVISA with PyVISA-py, which speak to `flattop practise`; least squares of SciPy | e within 0.2 % of where the trimmer stands (−6 %), in four codings; an identity, errors −113 in the queue, a device clear |
| page tests | axe-core in Chromium | no violation of WCAG 2.2 A and AA in any view, light, dark and on a phone |
";

/// One digit beyond the tolerance and no more, so that another machine's last bits do not show.
fn number(value: f64, tolerance: f64) -> String {
    let decimals = (1.0 - tolerance.log10().floor()).clamp(0.0, 12.0) as usize;
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" || text.is_empty() { "0".to_owned() } else { text.to_owned() }
}

/// A tolerance with at most two figures.
fn short(tolerance: f64) -> String {
    if (1e-3..1e3).contains(&tolerance) {
        let decimals = (1.0 - tolerance.log10().floor()).max(0.0) as usize;
        let text = format!("{tolerance:.decimals$}");
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    } else {
        let text = format!("{tolerance:.1e}");
        text.replace(".0e", "e")
    }
}

/// Coarse on purpose: see [`number`].
fn used(row: &Row) -> &'static str {
    let share = (row.got - row.expected).abs() / row.tolerance;
    if share <= 0.1 {
        "under a tenth"
    } else if share <= 1.0 {
        "a tenth to all"
    } else {
        "**fails**"
    }
}
