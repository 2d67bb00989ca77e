//! Blocks set one below the other, from page to page.

use super::drawing::{Ink, Op};
use super::letters::{Letters, Style};
use super::table;
use super::{Paper, Sheet};
use crate::document::{Block, Document, Fact, Figure, Level, Notice, Statement, Table, Value};

pub(super) const TEXT: f32 = 9.2;
const LEADING: f32 = 13.0;
/// A line of about 78 letters: what an eye follows without losing its way.
const MEASURE: f32 = 372.0;
/// Width of the names of facts.
const NAMES: f32 = 132.0;
const SMALL: f32 = 7.8;
/// Of quotations and notices.
const INDENT: f32 = 12.0;
/// A drawing is made smaller down to this share before it goes to the next page.
const LEAST_SCALE: f32 = 0.74;
/// From one block to the next.
const BETWEEN: f32 = 7.0;

/// A place for the outline: heading, page, height on it.
pub(super) struct Place {
    pub(super) heading: String,
    pub(super) page: usize,
    pub(super) y: f32,
}

/// Where the next block goes.
pub(super) struct Flow<'a> {
    pub(super) letters: &'a Letters,
    pub(super) sheet: Sheet,
    pub(super) pages: Vec<Vec<Op<'a>>>,
    pub(super) outline: Vec<Place>,
    pub(super) y: f32,
}

/// Sets the whole record.
pub(super) fn set<'a>(document: &'a Document, paper: Paper, letters: &'a Letters) -> Flow<'a> {
    let sheet = Sheet::of(paper);
    let mut flow = Flow { letters, sheet, pages: vec![Vec::new()], outline: Vec::new(), y: sheet.top };
    flow.title(document);
    for (at, block) in document.blocks.iter().enumerate() {
        flow.block(block, &document.blocks[at + 1..]);
    }
    flow
}

impl<'a> Flow<'a> {
    pub(super) fn room(&self) -> f32 {
        self.sheet.bottom - self.y
    }

    /// Height of an empty page.
    pub(super) fn whole(&self) -> f32 {
        self.sheet.bottom - self.sheet.top
    }

    pub(super) fn is_at_top(&self) -> bool {
        self.y <= self.sheet.top + 0.1
    }

    pub(super) fn new_page(&mut self) {
        self.pages.push(Vec::new());
        self.y = self.sheet.top;
    }

    /// Starts a page if there is less room than this, unless a whole page would not do either.
    pub(super) fn need(&mut self, height: f32) {
        if self.room() < height && !self.is_at_top() {
            self.new_page();
        }
    }

    pub(super) fn put(&mut self, op: Op<'a>) {
        if let Some(page) = self.pages.last_mut() {
            page.push(op);
        }
    }

    pub(super) fn text(
        &mut self,
        at: (f32, f32),
        size: f32,
        style: Style,
        ink: Ink,
        text: impl Into<String>,
    ) {
        self.put(Op::Text { at, size, style, ink, text: text.into() });
    }

    pub(super) fn rule(&mut self, y: f32, (left, right): (f32, f32), width: f32, ink: Ink) {
        self.put(Op::Rule { from: (left, y), to: (right, y), width, ink });
    }

    fn full(&self) -> (f32, f32) {
        (self.sheet.left, self.sheet.right)
    }

    fn measure(&self) -> f32 {
        MEASURE.min(self.sheet.right - self.sheet.left)
    }

    fn title(&mut self, document: &Document) {
        let (left, right) = self.full();
        self.y += 6.0;
        for line in self.letters.lines(&document.title, Style::Text, 21.0, right - left) {
            self.y += 20.0;
            self.text((left, self.y), 21.0, Style::Text, Ink::Full, line);
            self.y += 5.0;
        }
        for line in self.letters.lines(&document.subtitle, Style::Text, 11.0, right - left) {
            self.y += 14.0;
            self.text((left, self.y), 11.0, Style::Text, Ink::Muted, line);
        }
        self.y += 12.0;
        self.rule(self.y, (left, right), 1.2, Ink::Full);
        self.y += 4.0;
    }

    fn block(&mut self, block: &'a Block, rest: &'a [Block]) {
        match block {
            Block::Heading(level, text) => self.heading(*level, text, rest),
            Block::Paragraph(text) => self.paragraph(text),
            Block::Quotation(text) => self.quotation(text),
            Block::Facts(facts) => self.facts(facts),
            Block::Table(table) => self.table(table),
            Block::Figure(figure) => self.figure(figure),
            Block::Notice(notice) => self.notice(notice),
            Block::Statement(statement) => self.statement(statement),
            Block::End(text) => self.end(text),
        }
    }

    fn heading(&mut self, level: Level, text: &str, rest: &'a [Block]) {
        let (above, size, leading) = match level {
            Level::Section => (17.0, 12.5, 17.0),
            Level::Part => (7.0, TEXT + 0.4, 14.0),
        };
        let (left, right) = self.full();
        let lines = self.letters.lines(text, Style::Strong, size, right - left);
        let own = above + leading * lines.len() as f32 + 6.0;
        self.need(own + self.lead(rest));
        if !self.is_at_top() {
            self.y += above;
        }
        if level == Level::Section {
            let page = self.pages.len() - 1;
            self.outline.push(Place { heading: text.into(), page, y: self.y });
        }
        for line in lines {
            self.text((left, self.y + size), size, Style::Strong, Ink::Full, line);
            self.y += leading;
        }
        if level == Level::Section {
            self.rule(self.y + 1.0, (left, right), 0.4, Ink::Hair);
            self.y += 4.0;
        }
        self.y += 2.0;
    }

    /// The least that has to stand below a heading.
    fn lead(&self, rest: &'a [Block]) -> f32 {
        let lines = |n: f32| n * LEADING;
        match rest.first() {
            None => 0.0,
            Some(Block::Heading(..)) => 24.0 + self.lead(&rest[1..]),
            Some(Block::Paragraph(_) | Block::Quotation(_)) => lines(3.0),
            Some(Block::Facts(facts)) => lines(2.0 * facts.len().min(2) as f32),
            Some(Block::Table(table)) => table::lead(self, table),
            Some(Block::Figure(figure)) => LEAST_SCALE * self.figure_height(figure),
            Some(Block::Notice(notice)) => self.notice_need(notice),
            Some(Block::Statement(_)) => lines(4.0),
            Some(Block::End(_)) => lines(1.0),
        }
    }

    fn paragraph(&mut self, text: &str) {
        let lines = self.letters.lines(text, Style::Text, TEXT, self.measure());
        self.lines(self.sheet.left, &lines, Style::Text, Ink::Full);
        self.y += BETWEEN;
    }

    /// Lines of running text; never one alone at the foot or the head of a page.
    fn lines(&mut self, x: f32, lines: &[String], style: Style, ink: Ink) {
        let mut rest = lines;
        while !rest.is_empty() {
            let mut fit = ((self.room() / LEADING).max(0.0) as usize).min(rest.len());
            if rest.len() - fit == 1 && fit < rest.len() {
                fit = fit.saturating_sub(1);
            }
            if fit < rest.len() && fit < 2 {
                if !self.is_at_top() {
                    self.new_page();
                    continue;
                }
                fit = rest.len().min(2);
            }
            for line in &rest[..fit] {
                self.y += LEADING;
                self.text((x, self.y - 3.4), TEXT, style, ink, line.clone());
            }
            rest = &rest[fit..];
            if !rest.is_empty() {
                self.new_page();
            }
        }
    }

    fn quotation(&mut self, text: &str) {
        let indent = INDENT;
        for part in text.split('\n') {
            let lines = self.letters.lines(part, Style::Text, TEXT, self.measure() - indent);
            self.lines(self.sheet.left + indent, &lines, Style::Text, Ink::Full);
        }
        self.y += BETWEEN;
    }

    fn facts(&mut self, facts: &'a [Fact]) {
        for fact in facts {
            self.fact(fact);
        }
        self.y += BETWEEN;
    }

    fn fact(&mut self, fact: &'a Fact) {
        let (left, right) = self.full();
        let names = self.letters.lines(&fact.name, Style::Text, TEXT, NAMES - 10.0);
        let (style, size) = match fact.value {
            Value::Code(_) => (Style::Code, SMALL),
            _ => (Style::Text, TEXT),
        };
        let ink = if fact.value == Value::NotStated { Ink::Muted } else { Ink::Full };
        let width = right - left - NAMES;
        let values: Vec<String> = fact
            .value
            .shown()
            .split('\n')
            .flat_map(|part| self.letters.lines(part, style, size, width))
            .collect();
        let height = LEADING * names.len().max(values.len()) as f32;
        self.need(height.min(4.0 * LEADING));
        let mut names = names.into_iter();
        for (at, value) in values.into_iter().enumerate() {
            // The last line never stands alone on the next page.
            if self.room() < LEADING && at > 0 {
                self.new_page();
            }
            self.y += LEADING;
            if let Some(name) = names.next() {
                self.text((left, self.y - 3.4), TEXT, Style::Text, Ink::Muted, name);
            }
            self.text((left + NAMES, self.y - 3.4), size, style, ink, value);
        }
        for name in names {
            self.y += LEADING;
            self.text((left, self.y - 3.4), TEXT, Style::Text, Ink::Muted, name);
        }
    }

    fn table(&mut self, table: &'a Table) {
        table::set(self, table);
        self.y += BETWEEN + 4.0;
    }

    fn scale_of(&self, figure: &Figure) -> f32 {
        let (left, right) = self.full();
        (right - left) / figure.scene.width.max(1.0) as f32
    }

    fn figure_height(&self, figure: &Figure) -> f32 {
        self.scale_of(figure) * figure.scene.height as f32 + 26.0
    }

    fn figure(&mut self, figure: &'a Figure) {
        let height = self.figure_height(figure);
        self.need((LEAST_SCALE * height).min(self.whole()));
        let scale = self.scale_of(figure) * (self.room() / height).min(1.0);
        self.put(Op::Scene { scene: &figure.scene, at: (self.sheet.left, self.y), scale });
        self.y += scale * figure.scene.height as f32 + 2.0;
        self.caption(&figure.caption);
        self.y += BETWEEN;
    }

    pub(super) fn caption(&mut self, caption: &str) {
        let (left, right) = self.full();
        for line in self.letters.lines(caption, Style::Text, SMALL, right - left) {
            self.y += 10.5;
            self.text((left, self.y - 2.5), SMALL, Style::Text, Ink::Muted, line);
        }
    }

    /// Room that a notice asks for: all of it together, unless that is more than half a page.
    fn notice_need(&self, notice: &Notice) -> f32 {
        let width = self.measure() - INDENT;
        let count = |text: &String| self.letters.lines(text, Style::Text, TEXT, width).len();
        let lines: usize = notice.paragraphs.iter().map(count).sum();
        let height = LEADING * (lines + 1) as f32 + 3.0 * notice.paragraphs.len() as f32 + 8.0;
        if height < 0.5 * self.whole() { height } else { 5.0 * LEADING }
    }

    fn notice(&mut self, notice: &'a Notice) {
        let indent = INDENT;
        let width = self.measure() - indent;
        let parts: Vec<Vec<String>> =
            notice.paragraphs.iter().map(|p| self.letters.lines(p, Style::Text, TEXT, width)).collect();
        self.y += 3.0;
        self.need(self.notice_need(notice));
        let (mut page, mut start) = (self.pages.len(), self.y);
        let titles = self.letters.lines(&notice.title, Style::Strong, TEXT, width);
        self.lines(self.sheet.left + indent, &titles, Style::Strong, Ink::Full);
        for lines in parts {
            self.y += 3.0;
            self.lines(self.sheet.left + indent, &lines, Style::Text, Ink::Full);
        }
        // The rule beside it, on each page that it covers.
        let (left, bottom, top) = (self.sheet.left + 2.0, self.sheet.bottom, self.sheet.top);
        while page <= self.pages.len() {
            let end = if page == self.pages.len() { self.y + 2.0 } else { bottom };
            if let Some(ops) = self.pages.get_mut(page - 1) {
                ops.push(Op::Rule { from: (left, start), to: (left, end), width: 2.2, ink: Ink::Full });
            }
            page += 1;
            start = top;
        }
        self.y += BETWEEN + 3.0;
    }

    fn statement(&mut self, statement: &'a Statement) {
        let (left, right) = self.full();
        let (pad, mark) = (11.0, 22.0);
        let x = left + pad + mark + 10.0;
        let width = right - x - pad;
        let sentence = self.letters.lines(&statement.sentence, Style::Strong, 12.0, width);
        let detail: Vec<String> = statement
            .detail
            .iter()
            .flat_map(|text| self.letters.lines(text, Style::Text, TEXT, width.min(MEASURE + 20.0)))
            .collect();
        let height = 2.0 * pad + 16.0 * sentence.len() as f32 + LEADING * detail.len() as f32;
        self.y += 4.0;
        self.need(height.min(self.whole()));
        let top = self.y;
        let scale = mark / statement.mark.width.max(1.0) as f32;
        self.put(Op::Scene { scene: &statement.mark, at: (left + pad, top + pad - 3.0), scale });
        self.y += pad;
        for line in sentence {
            self.text((x, self.y + 12.0), 12.0, Style::Strong, Ink::Full, line);
            self.y += 16.0;
        }
        for line in detail {
            self.text((x, self.y + 10.5), TEXT, Style::Text, Ink::Full, line);
            self.y += LEADING;
        }
        self.y += pad;
        let (bottom, width) = (self.y, 0.8);
        for (from, to) in [
            ((left, top), (right, top)),
            ((right, top), (right, bottom)),
            ((right, bottom), (left, bottom)),
            ((left, bottom), (left, top)),
        ] {
            self.put(Op::Rule { from, to, width, ink: Ink::Full });
        }
        self.y += BETWEEN + 4.0;
    }

    fn end(&mut self, text: &str) {
        self.need(3.0 * LEADING);
        let (left, right) = self.full();
        self.y += 14.0;
        let width = self.letters.width(text, Style::Text, SMALL);
        let middle = 0.5 * (left + right);
        self.rule(self.y - 2.5, (left, middle - 0.5 * width - 10.0), 0.4, Ink::Hair);
        self.rule(self.y - 2.5, (middle + 0.5 * width + 10.0, right), 0.4, Ink::Hair);
        self.text((middle - 0.5 * width, self.y), SMALL, Style::Text, Ink::Muted, text);
        self.y += 6.0;
    }
}
