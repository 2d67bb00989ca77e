//! The words for people, at most 80 columns wide: what it comes to, a table where it fits, what needs a look, what is not known.

use std::cmp::Ordering;

use flattop_core::reach_matrix::{Cell, Standing};

use super::{
    Compatibility, Extent, Totals, capacitance_words, counted, frequency, keys, load_words, pico,
    range_words, tolerance_words,
};
use crate::format::significant;
use crate::text::wrap::{Page, WIDTH};
use crate::text::{capitalised, sentence};

/// Lines of a list that a terminal is still read on.
const MOST_LISTED: usize = 40;
/// Blocks of columns and rows of a table that is still read.
const MOST_BLOCKS: usize = 4;
const MOST_ROWS: usize = 60;
/// Letters of a name that a column takes.
const LONGEST_NAME: usize = 22;

/// The pairs of a bench, with a final line feed.
pub fn matrix(of: &Compatibility, extent: Extent) -> String {
    let sides = &of.sides;
    let mut page = Page::default();
    let totals = Totals::of(&of.sums);
    let both =
        format!("{} on {}", counted(sides.probes.len(), "probe"), counted(sides.inputs.len(), "input"));
    page.paragraph("", &format!("{both} ({}): {}.", sides.source, totals.words()));
    if extent == Extent::Sums {
        sums(&mut page, of);
        legend(&mut page, false);
        return page.into_text();
    }
    let fits = table_fits(of);
    if fits {
        table(&mut page, of);
    }
    let pairs = worst_first(of);
    let (heading, limit) =
        if fits { ("Look at these first", MOST_LISTED / 2) } else { ("The pairs, worst first", MOST_LISTED) };
    let wanted: Vec<_> = pairs
        .into_iter()
        .filter(|(_, _, cell)| !fits || (!cell.suits() && cell.standing != Standing::CannotBeSaid))
        .collect();
    if !wanted.is_empty() {
        page.heading(heading);
        list(&mut page, of, &wanted, limit);
    }
    wrong_loads(&mut page, of);
    unknown(&mut page, of);
    legend(&mut page, fits);
    page.into_text()
}

/// Candidates, best first, with a final line feed.
pub fn candidates(of: &Compatibility, order: &[usize], named_best: usize) -> String {
    let sides = &of.sides;
    let mut page = Page::default();
    let all = of.sums.iter().filter(|sum| sum.suits_all()).count();
    page.paragraph("", &headline(of, order, all));
    page.line("");
    let rows: Vec<[String; 7]> = order
        .iter()
        .take(named_best)
        .enumerate()
        .map(|(place, &index)| candidate(of, place + 1, index))
        .collect();
    aligned(
        &mut page,
        &["", "candidate", "suits", "least margin, pF", "on", "worst e, %", "bandwidth"],
        &rows,
        2,
    );
    if order.len() > named_best {
        page.line(&format!("and {} more; --csv lists all", order.len() - named_best));
    }
    let left_out = of.sums.iter().map(|sum| sum.left_out).max().unwrap_or(0);
    if left_out > 0 {
        page.line("");
        page.paragraph(
            "",
            &format!(
                "Compensated probes are judged on {} of {}: the rest is terminated in at most 1 kΩ, where they do not belong.",
                sides.inputs.len() - left_out,
                counted(sides.inputs.len(), "input"),
            ),
        );
    }
    unknown(&mut page, of);
    page.line("");
    page.paragraph(
        "",
        "suits: inputs that it reaches for sure, of those judged. least margin: where the tolerances leave least; ± is their sum. worst e: \
         how much too high (+) or too low (-) fast parts may read at the best setting. bandwidth: the smallest together with an input.",
    );
    page.into_text()
}

/// Which candidates do, in one sentence.
pub(super) fn headline(of: &Compatibility, order: &[usize], all: usize) -> String {
    let judged = order.first().map_or(0, |best| of.sums[*best].judged);
    let inputs = counted(judged, "input");
    let candidates = counted(order.len(), "candidate");
    match order.first().map(|best| (&of.sides.probes[*best], &of.sums[*best])) {
        None => "No candidates.".into(),
        Some((best, sum)) if all > 0 => {
            let least = sum.least.map_or(String::new(), |least| {
                format!(
                    " with at least {} pF of margin ({} pF on {}, tolerances {} pF)",
                    pico(least.spare_f()),
                    pico(least.margin_f),
                    of.sides.inputs[least.input].id,
                    pico(least.tolerance_f),
                )
            });
            format!(
                "{all} of {candidates} {} all of {inputs}; best {}{least}.",
                if all == 1 { "suits" } else { "suit" },
                best.id
            )
        }
        Some((best, sum)) => format!(
            "None of {candidates} suits all of {inputs}; {} suits {} of {}.",
            best.id, sum.suits, sum.judged
        ),
    }
}

fn candidate(of: &Compatibility, rank: usize, index: usize) -> [String; 7] {
    let sum = &of.sums[index];
    let name = |input: usize| of.sides.inputs[input].id.to_string();
    let dash = || "-".to_owned();
    [
        rank.to_string(),
        shortened(of.sides.probes[index].id.as_str()),
        format!("{}/{}", sum.suits, sum.judged),
        sum.least.map_or_else(dash, |least| {
            format!("{}{}", pico(least.margin_f), tolerance_words(&of.sides, least.input, least.tolerance_f))
        }),
        sum.least.map_or_else(dash, |least| shortened(&name(least.input))),
        sum.worst_error.map_or_else(dash, |(_, error)| percent(error)),
        frequency(sum.least_bandwidth.map(|(_, hertz)| hertz)),
    ]
}

fn sums(page: &mut Page, of: &Compatibility) {
    let mut order: Vec<usize> = (0..of.sums.len()).collect();
    order.sort_by(|a, b| flattop_core::reach_matrix::rank(&of.sums[*b], &of.sums[*a]));
    page.heading("The probes, worst first");
    let rows: Vec<[String; 7]> = order
        .iter()
        .take(MOST_LISTED)
        .enumerate()
        .map(|(place, &index)| candidate(of, place + 1, index))
        .collect();
    aligned(page, &["", "probe", "suits", "least margin, pF", "on", "worst e, %", "bandwidth"], &rows, 2);
    if order.len() > MOST_LISTED {
        page.line(&format!("and {} more; --csv lists all", order.len() - MOST_LISTED));
    }
}

/// Word and margin of a cell.
fn short(cell: &Cell) -> String {
    if cell.wrong_load() {
        return "LOAD".into();
    }
    let margin = cell.margin_f.map(pico).unwrap_or_default();
    match cell.standing {
        Standing::Reaches => format!("ok {margin}"),
        Standing::MayReach => format!("may {margin}"),
        Standing::OutOfReach => format!("OUT {margin}"),
        Standing::CannotBeSaid => "?".into(),
        Standing::NothingToBalance => "ok".into(),
    }
}

fn widths(of: &Compatibility) -> (usize, usize) {
    let letters = |text: &str| text.chars().count();
    let left = of
        .sides
        .probes
        .iter()
        .flat_map(|probe| [letters(probe.id.as_str()), letters(&range_words(probe)) + 2])
        .max()
        .unwrap_or(0);
    let heads = of.sides.inputs.iter().flat_map(|named| {
        [
            letters(named.id.oscilloscope.as_str()),
            letters(named.id.name.as_str()),
            letters(&capacitance_words(&named.input)),
        ]
    });
    (left, heads.max().unwrap_or(0).max(9))
}

/// How many columns stand side by side.
fn columns((left, column): (usize, usize)) -> usize {
    (WIDTH.saturating_sub(left)) / (column + 2)
}

fn table_fits(of: &Compatibility) -> bool {
    let widths = widths(of);
    let side_by_side = columns(widths);
    of.sides.probes.len() <= MOST_ROWS
        && widths.0 <= LONGEST_NAME
        && side_by_side > 1
        && of.sides.inputs.len() <= MOST_BLOCKS * side_by_side
}

fn table(page: &mut Page, of: &Compatibility) {
    let sides = &of.sides;
    let (left, column) = widths(of);
    let all: Vec<usize> = (0..sides.inputs.len()).collect();
    for block in all.chunks(columns((left, column))) {
        page.line("");
        let line = |head: &str, cell: &dyn Fn(usize) -> String| {
            let mut text = format!("{head:<left$}");
            for &input in block {
                text.push_str(&format!("  {:<column$}", cell(input)));
            }
            text
        };
        page.line(&line("", &|input| sides.inputs[input].id.oscilloscope.to_string()));
        page.line(&line("", &|input| sides.inputs[input].id.name.to_string()));
        page.line(&line("", &|input| capacitance_words(&sides.inputs[input].input)));
        for (probe, row) in sides.probes.iter().zip(&of.rows) {
            page.line(&line(probe.id.as_str(), &|input| short(&row.cell(input))));
            page.line(&line(&format!("  {}", range_words(probe)), &|input| {
                frequency(row.cell(input).bandwidth_hz)
            }));
        }
    }
}

/// All pairs but those left out and those of a wrong load, worst first: out of reach, may reach, not known, the rest, each by what the
/// tolerances leave of the margin.
fn worst_first(of: &Compatibility) -> Vec<(usize, usize, Cell)> {
    let mut pairs: Vec<(usize, usize, Cell)> = Vec::new();
    for (probe, row) in of.rows.iter().enumerate() {
        for (input, cell) in row.cells().enumerate() {
            let left_out = of.sides.ready.balances(probe) && of.sides.loads.is_matched(input);
            if !left_out && !cell.wrong_load() {
                pairs.push((probe, input, cell));
            }
        }
    }
    pairs.sort_by(|a, b| worse(&a.2, &b.2));
    pairs
}

fn worse(a: &Cell, b: &Cell) -> Ordering {
    let class = |cell: &Cell| match cell.standing {
        Standing::OutOfReach => 1,
        Standing::MayReach => 2,
        Standing::CannotBeSaid => 3,
        Standing::Reaches => 4,
        Standing::NothingToBalance => 5,
    };
    let spare = |cell: &Cell| cell.margin_f.zip(cell.tolerance_f).map_or(0.0, |(m, t)| m - t);
    class(a).cmp(&class(b)).then_with(|| spare(a).total_cmp(&spare(b)))
}

fn list(page: &mut Page, of: &Compatibility, pairs: &[(usize, usize, Cell)], limit: usize) {
    let rows: Vec<[String; 6]> = pairs
        .iter()
        .take(limit)
        .map(|(probe, input, cell)| {
            let margin = cell.margin_f.map_or_else(
                || "-".into(),
                |m| {
                    format!(
                        "{}{}",
                        pico(m),
                        tolerance_words(&of.sides, *input, cell.tolerance_f.unwrap_or(0.0))
                    )
                },
            );
            [
                shortened(of.sides.probes[*probe].id.as_str()),
                shortened(&of.sides.inputs[*input].id.to_string()),
                word(cell),
                margin,
                cell.error.map_or_else(|| "-".into(), percent),
                frequency(cell.bandwidth_hz),
            ]
        })
        .collect();
    aligned(page, &["probe", "input", "verdict", "margin, pF", "e, %", "bandwidth"], &rows, 3);
    if pairs.len() > limit {
        page.line(&format!("and {} more; --csv lists all", pairs.len() - limit));
    }
}

/// Probes on inputs of another resistance than they are made for.
fn wrong_loads(page: &mut Page, of: &Compatibility) {
    let mut lines = Vec::new();
    for (probe, row) in of.sides.probes.iter().zip(&of.rows).enumerate().map(|(index, (probe, row))| {
        let judged = |input: usize| !(of.sides.ready.balances(index) && of.sides.loads.is_matched(input));
        (
            probe,
            row.cells()
                .enumerate()
                .filter(|(input, cell)| judged(*input) && cell.wrong_load())
                .collect::<Vec<_>>(),
        )
    }) {
        let Some((first, cell)) = row.first() else { continue };
        let on = match row.len() {
            1 => of.sides.inputs[*first].id.to_string(),
            many => format!("{many} inputs"),
        };
        let made = match probe.tip_resistance_ohm.zip(probe.ratio) {
            Some((r, n)) => crate::format::plain(r.value / (n - 1.0), "Ω", 2),
            None => "another resistance".into(),
        };
        let words = load_words(cell).unwrap_or_default();
        lines.push(format!("{} on {on} {words}: it is made for one of {made}.", probe.id));
    }
    if lines.is_empty() {
        return;
    }
    page.heading("Wrong input resistance");
    for line in lines.iter().take(MOST_LISTED / 2) {
        page.paragraph("  ", line);
    }
    if lines.len() > MOST_LISTED / 2 {
        page.line(&format!("  and {} more", lines.len() - MOST_LISTED / 2));
    }
}

fn word(cell: &Cell) -> String {
    match cell.standing {
        _ if cell.wrong_load() => "wrong load",
        Standing::Reaches => "reaches",
        Standing::MayReach => "may reach",
        Standing::OutOfReach if cell.nearer_the_upper => "OUT, above",
        Standing::OutOfReach => "OUT, below",
        Standing::CannotBeSaid => "unknown",
        Standing::NothingToBalance => "no trimmer",
    }
    .into()
}

/// Which values are missing, thing by thing.
fn unknown(page: &mut Page, of: &Compatibility) {
    let sides = &of.sides;
    let mut lines = Vec::new();
    for (index, probe) in sides.probes.iter().enumerate() {
        if let Some(error) = sides.ready.unfit(index) {
            lines.push((shortened(probe.id.as_str()), sentence(&capitalised(&error.to_string()))));
        }
        let missing = keys(sides.ready.lacking(index), false);
        if !missing.is_empty() {
            lines.push((shortened(probe.id.as_str()), missing.join(", ")));
        }
    }
    for (index, named) in sides.inputs.iter().enumerate() {
        let missing = keys(sides.loads.lacking(index), true);
        if !missing.is_empty() {
            lines.push((shortened(&named.id.to_string()), missing.join(", ")));
        }
    }
    if lines.is_empty() {
        return;
    }
    page.heading("Not known");
    let listed = &lines[..lines.len().min(MOST_LISTED / 2)];
    let width = listed.iter().map(|(name, _)| name.chars().count()).max().unwrap_or(0);
    for (name, what) in listed {
        page.hanging(&format!("  {name:<width$}  "), &" ".repeat(width + 4), what);
    }
    if lines.len() > MOST_LISTED / 2 {
        page.line(&format!("  and {} more", lines.len() - MOST_LISTED / 2));
    }
    page.paragraph(
        "  ",
        "Take these from the data sheets; without them the pairs concerned cannot be judged.",
    );
}

fn legend(page: &mut Page, with_table: bool) {
    page.line("");
    if with_table {
        page.paragraph(
            "",
            "Table: verdict and margin in pF, below it the bandwidth of probe and input together; ? a value is not known, LOAD the divider \
             is made for another input resistance.",
        );
    }
    page.paragraph(
        "",
        "margin: distance of the input from the nearest limit of the range, below 0 outside; ± is the sum of the tolerances, ? one that is not known. e: how much \
         too high (+) or too low (-) fast parts read at the best setting. Above the range use another probe; below it pad the input by the \
         margin. Bandwidth: 1/B² = 1/Bp² + 1/Bi², exact for two Gaussian responses.",
    );
}

fn percent(ratio: f64) -> String {
    let sign = if ratio > 0.0 { "+" } else { "" };
    format!("{sign}{}", significant(100.0 * ratio, 3))
}

fn shortened(name: &str) -> String {
    if name.chars().count() <= LONGEST_NAME {
        return name.to_owned();
    }
    let head: String = name.chars().take(LONGEST_NAME - 1).collect();
    format!("{head}…")
}

/// Columns under their headings; the first `words` of them to the left, numbers to the right.
fn aligned<const N: usize>(page: &mut Page, headings: &[&str; N], rows: &[[String; N]], words: usize) {
    let mut widths = headings.map(|heading| heading.chars().count());
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    // Names long enough to burst the page stand on a line of their own.
    let gap = 2;
    let whole: usize = widths.iter().sum::<usize>() + gap * (N - 1);
    let split = whole > WIDTH;
    let cells = |row: &[String; N], from: usize, to: usize| {
        let cells = (from..to).map(|k| {
            let (cell, width) = (&row[k], widths[k]);
            if k < words || N == 7 && k == 4 { format!("{cell:<width$}") } else { format!("{cell:>width$}") }
        });
        cells.collect::<Vec<_>>().join("  ")
    };
    for row in std::iter::once(&headings.map(String::from)).chain(rows) {
        if split {
            page.line(&cells(row, 0, 2));
            page.line(&format!("    {}", cells(row, 2, N)));
        } else {
            page.line(&cells(row, 0, N));
        }
    }
}
