//! A table of words and numbers, at most 80 columns wide: one column gives way where the room is short.

use super::wrap::{Page, WIDTH};

/// On which side a column is flush.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Flush {
    Left,
    Right,
}

/// Headings and rows.
pub(crate) struct Columns {
    heads: Vec<(&'static str, Flush)>,
    rows: Vec<Vec<String>>,
    /// The column that is cut where the room is short.
    gives_way: usize,
}

impl Columns {
    pub(crate) fn new(heads: &[(&'static str, Flush)], gives_way: usize) -> Self {
        Self { heads: heads.to_vec(), rows: Vec::new(), gives_way }
    }

    pub(crate) fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }

    /// Writes head and rows behind `indent`.
    pub(crate) fn write(&self, page: &mut Page, indent: &str) {
        let count = self.heads.len();
        let mut widths: Vec<usize> = self.heads.iter().map(|(head, _)| head.chars().count()).collect();
        for row in &self.rows {
            for (width, cell) in widths.iter_mut().zip(row) {
                *width = (*width).max(cell.chars().count());
            }
        }
        let used = |widths: &[usize]| indent.chars().count() + widths.iter().sum::<usize>() + 2 * (count - 1);
        let over = used(&widths).saturating_sub(WIDTH);
        if let Some(width) = widths.get_mut(self.gives_way) {
            *width = width.saturating_sub(over).max(6).min(*width);
        }
        let heads: Vec<String> = self.heads.iter().map(|(head, _)| (*head).to_owned()).collect();
        for row in std::iter::once(&heads).chain(&self.rows) {
            let mut line = indent.to_owned();
            for (index, (cell, width)) in row.iter().zip(&widths).enumerate() {
                if index > 0 {
                    line.push_str("  ");
                }
                let cell = cut(cell, *width);
                let pad = " ".repeat(width - cell.chars().count());
                match self.heads[index].1 {
                    Flush::Left => line.extend([cell, pad]),
                    Flush::Right => line.extend([pad, cell]),
                }
            }
            page.line(&line);
        }
    }
}

/// The start of a text, with a mark where more was.
fn cut(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    text.chars().take(width.saturating_sub(1)).chain(['…']).collect()
}
