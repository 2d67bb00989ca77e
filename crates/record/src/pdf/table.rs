//! Tables: widths of columns, decimal points below each other, heads that come again on each page.

use super::drawing::{Ink, Op};
use super::flow::Flow;
use super::letters::{Letters, Style};
use crate::document::{Align, NOTHING, Row, RowKind, Table, at_point};

const LARGEST: f32 = 8.6;
const SMALLEST: f32 = 6.6;
/// Least distance between columns.
const GAP: f32 = 9.0;
/// Tables of so few columns are no wider than they have to be.
pub(crate) const COMPACT: usize = 3;
/// Above and below the text of a row.
const PAD: f32 = 2.3;

/// A table with its measures.
struct Set {
    size: f32,
    /// Left edge and width of each column.
    columns: Vec<(f32, f32)>,
    /// Width of the widest part from the decimal point on, for each column.
    behind: Vec<f32>,
    heads: Vec<Vec<String>>,
    /// Left and right end of its rules.
    span: (f32, f32),
}

impl Set {
    fn leading(&self) -> f32 {
        1.32 * self.size
    }

    fn head_height(&self) -> f32 {
        let lines = self.heads.iter().map(Vec::len).max().unwrap_or(1);
        lines as f32 * self.leading() + 2.0 * PAD + 2.0
    }

    fn cells(&self, letters: &Letters, table: &Table, row: &Row) -> Vec<Vec<String>> {
        let style = style(row.kind);
        let cell = |(at, cell): (usize, &String)| {
            let text = cell.as_str();
            match table.columns[at].align {
                // A hair of slack: words measured apart and together differ by their kerning.
                Align::Words | Align::Short => text
                    .split('\n')
                    .flat_map(|part| letters.lines(part, style, self.size, self.columns[at].1 + 0.8))
                    .collect(),
                Align::Decimal => vec![text.to_owned()],
            }
        };
        row.cells.iter().take(table.columns.len()).enumerate().map(cell).collect()
    }
}

fn style(kind: RowKind) -> Style {
    if kind == RowKind::Total { Style::Strong } else { Style::Text }
}

/// The least of a table that may stand at the foot of a page.
pub(super) fn lead(flow: &Flow<'_>, table: &Table) -> f32 {
    let set = measured(flow, table);
    let rows: f32 =
        table.rows.iter().take(2).map(|row| height(&set, &set.cells(flow.letters, table, row))).sum();
    24.0 + set.head_height() + rows.min(0.4 * flow.whole())
}

fn height(set: &Set, cells: &[Vec<String>]) -> f32 {
    let lines = cells.iter().map(Vec::len).max().unwrap_or(1).max(1);
    lines as f32 * set.leading() + 2.0 * PAD
}

/// Puts a table on the page, and on as many more as it takes.
pub(super) fn set<'a>(flow: &mut Flow<'a>, table: &'a Table) {
    let set = measured(flow, table);
    let span = set.span;
    flow.need(lead(flow, table));
    if !table.caption.is_empty() {
        flow.caption(&table.caption);
        flow.y += 2.0;
    }
    head(flow, &set, table, span);
    for (at, row) in table.rows.iter().enumerate() {
        let cells = set.cells(flow.letters, table, row);
        let tall = height(&set, &cells);
        let last = at + 1 == table.rows.len();
        // The sum stays with the row above it, and the last row does not stand alone.
        let is_last_but_one = at + 2 == table.rows.len();
        let next = table.rows.get(at + 1).filter(|next| next.kind == RowKind::Total || is_last_but_one);
        let with = next.map_or(0.0, |next| height(&set, &set.cells(flow.letters, table, next)));
        if tall <= 0.6 * flow.whole() {
            if flow.room() < tall + with.min(0.3 * flow.whole()) {
                turn(flow, &set, table, span);
            }
            whole_row(flow, &set, table, row, &cells);
        } else {
            long_row(flow, &set, table, row, cells, span);
        }
        let (width, ink) = if last { (0.8, Ink::Full) } else { (0.3, Ink::Hair) };
        flow.rule(flow.y, span, width, ink);
    }
    if table.rows.is_empty() {
        flow.rule(flow.y, span, 0.8, Ink::Full);
    }
}

/// The next page, with the head of the table again.
fn turn<'a>(flow: &mut Flow<'a>, set: &Set, table: &'a Table, span: (f32, f32)) {
    flow.new_page();
    let caption =
        if table.caption.is_empty() { "Continued".into() } else { format!("{} (continued)", table.caption) };
    flow.caption(&caption);
    flow.y += 2.0;
    head(flow, set, table, span);
}

fn head<'a>(flow: &mut Flow<'a>, set: &Set, table: &'a Table, span: (f32, f32)) {
    flow.rule(flow.y, span, 0.8, Ink::Full);
    let tall = set.head_height();
    for (at, lines) in set.heads.iter().enumerate() {
        let (left, width) = set.columns[at];
        let mut y = flow.y + tall - PAD - 2.0 - set.leading() * lines.len() as f32;
        for line in lines {
            y += set.leading();
            let wide = flow.letters.width(line, Style::Strong, set.size - 0.6);
            let x = if table.columns[at].align == Align::Decimal { left + width - wide } else { left };
            flow.text((x, y - 0.32 * set.size), set.size - 0.6, Style::Strong, Ink::Muted, line.clone());
        }
    }
    flow.y += tall;
    flow.rule(flow.y, span, 0.5, Ink::Full);
}

fn whole_row<'a>(flow: &mut Flow<'a>, set: &Set, table: &'a Table, row: &Row, cells: &[Vec<String>]) {
    let lines = cells.iter().map(Vec::len).max().unwrap_or(1);
    if row.kind == RowKind::Total {
        flow.rule(flow.y, set.span, 0.5, Ink::Full);
    }
    flow.y += PAD;
    for line in 0..lines {
        flow.y += set.leading();
        line_of(flow, set, table, row, cells, line);
    }
    flow.y += PAD;
}

/// A row that is taller than half a page goes over page breaks, line by line.
fn long_row<'a>(
    flow: &mut Flow<'a>,
    set: &Set,
    table: &'a Table,
    row: &Row,
    cells: Vec<Vec<String>>,
    span: (f32, f32),
) {
    let lines = cells.iter().map(Vec::len).max().unwrap_or(1);
    flow.y += PAD;
    for line in 0..lines {
        if flow.room() < set.leading() + PAD {
            turn(flow, set, table, span);
            flow.y += PAD;
        }
        flow.y += set.leading();
        line_of(flow, set, table, row, &cells, line);
    }
    flow.y += PAD;
}

fn line_of<'a>(
    flow: &mut Flow<'a>,
    set: &Set,
    table: &'a Table,
    row: &Row,
    cells: &[Vec<String>],
    line: usize,
) {
    let ink = if row.kind == RowKind::Withdrawn { Ink::Muted } else { Ink::Full };
    let base = flow.y - 0.32 * set.size;
    for (at, lines) in cells.iter().enumerate() {
        let Some(text) = lines.get(line) else { continue };
        let (left, width) = set.columns[at];
        let wide = flow.letters.width(text, style(row.kind), set.size);
        let x = match table.columns[at].align {
            Align::Words | Align::Short => left,
            Align::Decimal => {
                let (before, _) = at_point(text);
                let before = flow.letters.width(before, style(row.kind), set.size);
                left + width - set.behind[at] - before
            }
        };
        flow.text((x, base), set.size, style(row.kind), ink, text.clone());
        if row.kind == RowKind::Withdrawn && NOTHING != text {
            let y = base - 0.26 * set.size;
            flow.put(Op::Rule { from: (x, y), to: (x + wide, y), width: 0.5, ink: Ink::Muted });
        }
    }
}

/// Widths of the columns: what fits as it is, words broken where it does not, letters smaller if even that will not do.
fn measured(flow: &Flow<'_>, table: &Table) -> Set {
    let room = flow.sheet.right - flow.sheet.left;
    let mut size = LARGEST;
    loop {
        let (natural, least, behind) = widths(flow.letters, table, size);
        let gaps = GAP * (table.columns.len().max(1) - 1) as f32;
        if least.iter().sum::<f32>() + gaps <= room || size <= SMALLEST {
            return place(flow, table, size, (&natural, &least), behind);
        }
        size -= 0.4;
    }
}

/// Natural and least width of each column, and what stands behind its decimal points.
fn widths(letters: &Letters, table: &Table, size: f32) -> (Vec<f32>, Vec<f32>, Vec<f32>) {
    let (mut natural, mut least, mut behind) = (Vec::new(), Vec::new(), Vec::new());
    for (at, column) in table.columns.iter().enumerate() {
        let cells = || {
            table
                .rows
                .iter()
                .filter_map(move |row| row.cells.get(at).map(|cell| (cell.as_str(), style(row.kind))))
        };
        let widest_line = |(cell, style): (&str, Style)| {
            cell.split('\n').map(|part| letters.width(part, style, size)).fold(0.0, f32::max)
        };
        let head = letters.width(&column.head, Style::Strong, size - 0.6);
        let head_word = letters.widest_word(&column.head, Style::Strong, size - 0.6);
        match column.align {
            Align::Words => {
                let widest = cells().map(widest_line).fold(0.0, f32::max);
                let word =
                    cells().map(|(cell, style)| letters.widest_word(cell, style, size)).fold(0.0, f32::max);
                natural.push(widest.max(head));
                // Longer words are broken.
                least.push(word.min(90.0).max(head_word));
                behind.push(0.0);
            }
            Align::Short => {
                let widest = cells().map(widest_line).fold(0.0, f32::max);
                natural.push(widest.max(head_word));
                least.push(widest.max(head_word).min(150.0));
                behind.push(0.0);
            }
            Align::Decimal => {
                let parts = |(cell, style)| {
                    let (before, after) = at_point(cell);
                    (letters.width(before, style, size), letters.width(after, style, size))
                };
                let (before, after) =
                    cells().map(parts).fold((0.0, 0.0), |(b, a): (f32, f32), (c, d)| (b.max(c), a.max(d)));
                natural.push((before + after).max(head_word));
                least.push((before + after).max(head_word));
                behind.push(after);
            }
        }
    }
    (natural, least, behind)
}

/// Widths that fill the room. Columns of long words give way first: what is beyond a usual width counts only once the
/// others have theirs.
fn shared(room: f32, natural: &[f32], least: &[f32]) -> Vec<f32> {
    const USUAL: f32 = 120.0;
    let usual: Vec<f32> = natural.iter().zip(least).map(|(n, l)| n.min(USUAL.max(*l))).collect();
    let (low, high) =
        if usual.iter().sum::<f32>() > room { (least, &usual[..]) } else { (&usual[..], natural) };
    let (floor, sum): (f32, f32) = (low.iter().sum(), high.iter().sum());
    let share = if sum > floor { ((room - floor) / (sum - floor)).max(0.0) } else { 0.0 };
    low.iter().zip(high).map(|(l, h)| l + share * (h - l)).collect()
}

fn place(
    flow: &Flow<'_>,
    table: &Table,
    size: f32,
    (natural, least): (&[f32], &[f32]),
    behind: Vec<f32>,
) -> Set {
    let count = table.columns.len().max(1);
    let room = flow.sheet.right - flow.sheet.left - GAP * (count - 1) as f32;
    let (mut widths, mut gap) = (natural.to_vec(), GAP);
    let sum: f32 = natural.iter().sum();
    if sum > room {
        widths = shared(room, natural, least);
    } else if count > table.columns.len().min(COMPACT) {
        let words: Vec<usize> =
            (0..table.columns.len()).filter(|at| table.columns[*at].align == Align::Words).collect();
        if words.is_empty() {
            gap += (room - sum) / (count - 1) as f32;
        } else {
            words.iter().for_each(|at| widths[*at] += (room - sum) / words.len() as f32);
        }
    } else {
        gap = 3.0 * GAP;
    }
    let mut left = flow.sheet.left;
    let columns: Vec<(f32, f32)> = widths
        .iter()
        .map(|width| {
            let here = (left, *width);
            left += width + gap;
            here
        })
        .collect();
    let heads = table
        .columns
        .iter()
        .zip(&columns)
        .map(|(column, (_, width))| flow.letters.lines(&column.head, Style::Strong, size - 0.6, width + 0.5))
        .collect();
    let end = columns.last().map_or(flow.sheet.right, |(left, width)| left + width);
    Set { size, columns, behind, heads, span: (flow.sheet.left, end) }
}
