//! A record as plain data: what stands in it and in which order. Nothing here knows HTML, PDF or a page.

use flattop_core::bench::Moment;
use flattop_report::plot::scene::Scene;

/// A whole record.
#[derive(Clone, Debug, PartialEq)]
pub struct Document {
    /// What it is: "Record of a compensation assessment".
    pub title: String,
    /// What it is about, in one line.
    pub subtitle: String,
    /// What tells this record from all others; it stands on every page.
    pub identification: String,
    /// Who hands it out, for the head of every page; `None` when not stated.
    pub laboratory: Option<String>,
    /// Who signs for it; `None` when not stated.
    pub author: Option<String>,
    /// When it was made.
    pub issued_at: Moment,
    /// Name and version of the program.
    pub program: String,
    /// What it says.
    pub blocks: Vec<Block>,
}

/// One piece of a record.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A heading of a section, or of a part of one.
    Heading(Level, String),
    /// Running text.
    Paragraph(String),
    /// Text that must keep its line breaks, such as a note that a person wrote.
    Quotation(String),
    /// Names with what is known.
    Facts(Vec<Fact>),
    /// A table.
    Table(Table),
    /// A drawing.
    Figure(Figure),
    /// A text set apart by a rule.
    Notice(Notice),
    /// The result in one sentence, with the mark of the verdict.
    Statement(Statement),
    /// The line that says that nothing follows.
    End(String),
}

/// How high a heading stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// A section; it is in the outline.
    Section,
    /// A part of a section.
    Part,
}

/// A name and what is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fact {
    /// The name.
    pub name: String,
    /// What is known.
    pub value: Value,
}

/// What is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Value {
    /// Words or figures.
    Text(String),
    /// Letters that count one by one: a digest, a command.
    Code(String),
    /// Nobody said; printed as such, never made up.
    NotStated,
}

/// A table; every row has as many cells as there are columns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows.
    pub rows: Vec<Row>,
}

/// A column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// What stands at its head.
    pub head: String,
    /// How its cells stand.
    pub align: Align,
}

/// How cells of a column stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// Words that may be broken, from the left.
    Words,
    /// Short words that stay on one line, from the left.
    Short,
    /// Figures, their decimal points below each other.
    Decimal,
}

/// A row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// What it counts for.
    pub kind: RowKind,
    /// Its cells; [`NOTHING`] stands where there is nothing to say.
    pub cells: Vec<String>,
}

/// What a row counts for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RowKind {
    /// One among others.
    Plain,
    /// The sum of those above.
    Total,
    /// No longer valid: struck through.
    Withdrawn,
}

/// A drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// The drawing.
    pub scene: Scene,
    /// What it shows.
    pub caption: String,
}

/// A text set apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// Its kind.
    pub kind: NoticeKind,
    /// Its first line.
    pub title: String,
    /// Its text.
    pub paragraphs: Vec<String>,
}

/// Kinds of notices.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoticeKind {
    /// Somebody can be hurt.
    Caution,
    /// Something about the record itself.
    Remark,
}

/// The result in one sentence.
#[derive(Clone, Debug, PartialEq)]
pub struct Statement {
    /// The mark of the verdict.
    pub mark: Scene,
    /// The sentence.
    pub sentence: String,
    /// What it means for whoever uses the pairing.
    pub detail: Vec<String>,
}

impl Fact {
    /// Words or figures.
    pub fn text(name: &str, value: impl Into<String>) -> Self {
        Self { name: name.into(), value: Value::Text(value.into()) }
    }

    /// Words or figures if there are any.
    pub fn maybe(name: &str, value: Option<impl Into<String>>) -> Self {
        Self { name: name.into(), value: value.map_or(Value::NotStated, |v| Value::Text(v.into())) }
    }

    /// Letters that count one by one.
    pub fn code(name: &str, value: impl Into<String>) -> Self {
        Self { name: name.into(), value: Value::Code(value.into()) }
    }
}

impl Value {
    /// What is printed.
    pub fn shown(&self) -> &str {
        match self {
            Self::Text(text) | Self::Code(text) => text,
            Self::NotStated => NOT_STATED,
        }
    }
}

/// What stands in place of what nobody said.
pub const NOT_STATED: &str = "not stated";

impl Column {
    /// A column.
    pub fn new(head: &str, align: Align) -> Self {
        Self { head: head.into(), align }
    }
}

impl Row {
    /// One row among others.
    pub fn plain(cells: Vec<String>) -> Self {
        Self { kind: RowKind::Plain, cells }
    }

    /// A sum.
    pub fn total(cells: Vec<String>) -> Self {
        Self { kind: RowKind::Total, cells }
    }
}

/// What stands in a cell that has nothing to say.
pub const NOTHING: &str = "–";

/// Part before the decimal point (with the sign), and from the point on. Text that is no figure has no second part.
pub(crate) fn at_point(cell: &str) -> (&str, &str) {
    let is_figure = cell.chars().any(|c| c.is_ascii_digit());
    match cell.find('.') {
        Some(at) if is_figure => cell.split_at(at),
        _ => (cell, ""),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_split_at_their_point() {
        assert_eq!(at_point("−7.407"), ("−7", ".407"));
        assert_eq!(at_point("12"), ("12", ""));
        assert_eq!(at_point("n.a."), ("n.a.", ""));
        assert_eq!(at_point(""), ("", ""));
    }
}
