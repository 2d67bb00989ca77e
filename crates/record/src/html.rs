//! A record as one HTML file: style and drawings inside, nothing fetched, nothing run. A browser prints it well.

use flattop_report::plot;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::document::{
    Align, Block, Document, Fact, Figure, Level, NOTHING, Notice, NoticeKind, Row, RowKind, Statement, Table,
    Value, at_point,
};
use crate::pdf::{COMPACT, Paper};
use crate::when;

/// The record as an HTML page, laid out for this paper when it is printed.
pub fn write(document: &Document, paper: Paper) -> String {
    let mut drawings = 0;
    let blocks: Vec<Markup> = document.blocks.iter().map(|block| show(block, &mut drawings)).collect();
    let style = format!("@page {{ size: {}; }}\n{STYLE}", paper.css_name());
    let issued = format!("issued {} by {}", when::day(document.issued_at), document.program);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(clean(&document.program));
                @if let Some(author) = document.author.as_ref().or(document.laboratory.as_ref()) {
                    meta name="author" content=(clean(author));
                }
                title { (clean(&document.title)) ": " (clean(&document.subtitle)) }
                style { (PreEscaped(style)) }
            }
            body {
                main {
                    header {
                        @if let Some(laboratory) = &document.laboratory { p.laboratory { (clean(laboratory)) } }
                        h1 { (clean(&document.title)) }
                        p.subtitle { (clean(&document.subtitle)) }
                    }
                    @for block in &blocks { (block) }
                    footer { p { (clean(&document.identification)) } p { (clean(&issued)) } }
                }
            }
        }
    };
    let mut text = page.into_string();
    text.push('\n');
    text
}

fn show(block: &Block, drawings: &mut usize) -> Markup {
    match block {
        Block::Heading(Level::Section, text) => html! { h2 { (clean(text)) } },
        Block::Heading(Level::Part, text) => html! { h3 { (clean(text)) } },
        Block::Paragraph(text) => html! { p { (clean(text)) } },
        Block::Quotation(text) => html! { blockquote { (clean(text)) } },
        Block::Facts(facts) => html! { dl { @for fact in facts { (shown(fact)) } } },
        Block::Table(table) => tabled(table),
        Block::Figure(figure) => drawn(figure, drawings),
        Block::Notice(notice) => noted(notice),
        Block::Statement(statement) => stated(statement, drawings),
        Block::End(text) => html! { p.end { (clean(text)) } },
    }
}

fn shown(fact: &Fact) -> Markup {
    html! {
        div {
            dt { (clean(&fact.name)) }
            dd {
                @match &fact.value {
                    Value::Text(text) => (clean(text)),
                    Value::Code(text) => code { (clean(text)) },
                    Value::NotStated => span.nothing { (fact.value.shown()) },
                }
            }
        }
    }
}

fn tabled(table: &Table) -> Markup {
    // Room behind the decimal point, in widths of a figure.
    let behind = |at: usize| {
        let after = |row: &Row| row.cells.get(at).map_or(0, |cell| at_point(cell).1.chars().count());
        table.rows.iter().map(after).max().unwrap_or(0)
    };
    let places: Vec<usize> = (0..table.columns.len()).map(behind).collect();
    let class = |align: Align| match align {
        Align::Words => "words",
        Align::Short => "short",
        Align::Decimal => "figures",
    };
    html! {
        table class=[(table.columns.len() <= COMPACT).then_some("compact")] {
            @if !table.caption.is_empty() { caption { (clean(&table.caption)) } }
            thead { tr { @for column in &table.columns { th scope="col" class=(class(column.align)) { (clean(&column.head)) } } } }
            tbody {
                @for row in &table.rows {
                    tr class=[row_class(row.kind)] {
                        @for (at, (column, cell)) in table.columns.iter().zip(&row.cells).enumerate() {
                            td class=(class(column.align)) { (cell_of(cell, column.align, row.kind, places[at])) }
                        }
                    }
                }
            }
        }
    }
}

fn row_class(kind: RowKind) -> Option<&'static str> {
    match kind {
        RowKind::Plain => None,
        RowKind::Total => Some("total"),
        RowKind::Withdrawn => Some("withdrawn"),
    }
}

fn cell_of(cell: &str, align: Align, kind: RowKind, places: usize) -> Markup {
    let inner = if align == Align::Decimal && places > 0 {
        let (before, after) = at_point(cell);
        html! { (clean(before)) span.after style=(format!("width:{places}ch")) { (clean(after)) } }
    } else {
        breakable(cell)
    };
    if kind == RowKind::Withdrawn && cell != NOTHING {
        html! { s { (inner) } }
    } else {
        inner
    }
}

fn drawn(figure: &Figure, drawings: &mut usize) -> Markup {
    *drawings += 1;
    let svg = plot::inline(&figure.scene, &format!("figure-{drawings}"));
    html! { figure { (PreEscaped(svg)) figcaption { (clean(&figure.caption)) } } }
}

fn noted(notice: &Notice) -> Markup {
    let class = match notice.kind {
        NoticeKind::Caution => "caution",
        NoticeKind::Remark => "remark",
    };
    html! {
        aside class=(class) {
            p.head { (clean(&notice.title)) }
            @for paragraph in &notice.paragraphs { p { (clean(paragraph)) } }
        }
    }
}

fn stated(statement: &Statement, drawings: &mut usize) -> Markup {
    *drawings += 1;
    let mark = plot::inline(&statement.mark, &format!("figure-{drawings}"));
    html! {
        div.statement {
            (PreEscaped(mark))
            div {
                p.head { (clean(&statement.sentence)) }
                @for text in &statement.detail { p { (clean(text)) } }
            }
        }
    }
}

/// Text whose very long words may be broken, so that no column is forced wide.
fn breakable(text: &str) -> Markup {
    const LONGEST: usize = 24;
    let text = clean(text);
    let mut pieces = vec![String::new()];
    let mut run = 0;
    for c in text.chars() {
        run = if c.is_whitespace() { 0 } else { run + 1 };
        if run > LONGEST {
            pieces.push(String::new());
            run = 1;
        }
        if let Some(last) = pieces.last_mut() {
            last.push(c);
        }
    }
    html! { @for (at, piece) in pieces.iter().enumerate() { @if at > 0 { wbr; } (piece) } }
}

/// Without the control characters that HTML does not admit; maud escapes the rest.
fn clean(text: &str) -> String {
    let admitted = |c: char| match c {
        '\n' | '\t' => c,
        c if c.is_control() || c == '\u{fffe}' || c == '\u{ffff}' => '\u{fffd}',
        c => c,
    };
    text.chars().map(admitted).collect()
}

const STYLE: &str = "\
@page { margin: 18mm 17mm 20mm;
  @bottom-right { content: \"page \" counter(page) \" of \" counter(pages); font: 7.5pt system-ui, sans-serif; color: #585e66; } }
:root { color-scheme: light; --ink: #161a20; --muted: #585e66; --hair: #c4c8ce; }
* { box-sizing: border-box; }
body { margin: 0; background: #fff; color: var(--ink); font: 0.94rem/1.45 system-ui, sans-serif;
  font-variant-numeric: tabular-nums lining-nums; overflow-wrap: break-word; }
main { max-width: 52rem; margin: 2.5rem auto; padding: 0 1.5rem; }
header { border-bottom: 2px solid var(--ink); padding-bottom: 0.8rem; margin-bottom: 1rem; }
h1 { font-size: 1.9rem; font-weight: 400; line-height: 1.15; margin: 0; letter-spacing: -0.01em; }
p.subtitle { font-size: 1.05rem; color: var(--muted); margin: 0.3rem 0 0; }
p.laboratory { color: var(--muted); font-size: 0.85rem; text-align: right; margin: 0 0 0.6rem; max-width: none; }
h2 { font-size: 1.15rem; font-weight: 600; margin: 2rem 0 0.7rem; padding-bottom: 0.25rem; border-bottom: 1px solid var(--hair); }
h3 { font-size: 0.97rem; font-weight: 600; margin: 1.2rem 0 0.4rem; }
h2, h3 { break-after: avoid; }
p { margin: 0 0 0.6rem; max-width: 40rem; orphans: 2; widows: 2; }
blockquote { margin: 0 0 0.7rem; padding-left: 1rem; max-width: 40rem; white-space: pre-wrap; }
dl { margin: 0 0 0.8rem; }
dl > div { display: flex; gap: 1rem; break-inside: avoid; padding: 0.06rem 0; }
dt { flex: 0 0 13rem; color: var(--muted); }
dd { margin: 0; flex: 1; white-space: pre-wrap; min-width: 0; }
.nothing { color: var(--muted); font-style: italic; }
code { font: 0.88em ui-monospace, monospace; }
table { width: 100%; border-collapse: collapse; border-top: 1.5px solid var(--ink); border-bottom: 1.5px solid var(--ink);
  margin: 0.3rem 0 1.1rem; font-size: 0.87rem; line-height: 1.35; }
caption { caption-side: top; text-align: left; color: var(--muted); font-size: 0.82rem; padding-bottom: 0.3rem; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th { font-weight: 600; color: var(--muted); font-size: 0.8rem; text-align: left; vertical-align: bottom;
  border-bottom: 1px solid var(--ink); }
th, td { padding: 0.22rem 0.55rem; }
th:first-child, td:first-child { padding-left: 0; }
th:last-child, td:last-child { padding-right: 0; }
td { vertical-align: top; border-bottom: 1px solid #e4e6e9; white-space: pre-line; }
code { overflow-wrap: anywhere; }
td.short { white-space: pre; }
td.words { min-width: 5.5em; }
table.compact { width: auto; min-width: 18rem; }
th.figures, td.figures { text-align: right; white-space: nowrap; }
th.figures { white-space: normal; }
.after { display: inline-block; text-align: left; }
tr.total td { border-top: 1px solid var(--ink); font-weight: 600; }
tr.withdrawn { color: var(--muted); }
figure { margin: 0.6rem 0 1.2rem; break-inside: avoid; }
figure svg { width: 100%; height: auto; display: block; }
figcaption { color: var(--muted); font-size: 0.82rem; }
aside { border-left: 3px solid var(--ink); padding: 0.1rem 0 0.1rem 0.9rem; margin: 0.9rem 0 1.1rem; break-inside: avoid-page; }
aside p:last-child { margin-bottom: 0; }
.head { font-weight: 600; margin-bottom: 0.3rem; }
.statement { display: flex; gap: 0.9rem; border: 1px solid var(--ink); padding: 0.9rem 1rem; margin: 0.9rem 0 1.1rem;
  break-inside: avoid; }
.statement svg { flex: none; width: 1.75rem; height: 1.75rem; }
.statement .head { font-size: 1.08rem; }
.statement p:last-child { margin-bottom: 0; }
.end { text-align: center; color: var(--muted); font-size: 0.82rem; max-width: none; margin: 1.6rem 0; }
footer { border-top: 1px solid var(--hair); color: var(--muted); font-size: 0.78rem; padding-top: 0.4rem; }
footer p { margin: 0; }
@media screen and (max-width: 40rem) {
  main { margin: 1.2rem auto; padding: 0 1rem; }
  dl > div { flex-direction: column; gap: 0; padding-bottom: 0.35rem; }
  dt { flex: none; }
  table, table.compact { display: block; overflow-x: auto; min-width: 0; }
}
@media print {
  html { font-size: 9.6pt; }
  main { max-width: none; margin: 0; padding: 0; }
}
";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_cannot_become_markup() {
        let block = Block::Paragraph("<script>alert(1)</script> & \u{1}".into());
        let text = show(&block, &mut 0).into_string();
        let long = breakable(&"x".repeat(50)).into_string();
        assert_eq!(long, format!("{}<wbr>{}<wbr>xx", "x".repeat(24), "x".repeat(24)));
        assert_eq!(text, "<p>&lt;script&gt;alert(1)&lt;/script&gt; &amp; \u{fffd}</p>");
    }
}
