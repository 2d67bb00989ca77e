//! A page 80 columns wide: paragraphs, headings, and entries with a hanging indent.

/// The widest line, in characters.
pub(crate) const WIDTH: usize = 80;
/// Column at which the text of an entry starts.
const ENTRY: usize = 18;

/// Text growing downward.
#[derive(Default)]
pub(crate) struct Page {
    text: String,
}

impl Page {
    /// One line as it stands.
    pub(crate) fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    /// An empty line and a heading.
    pub(crate) fn heading(&mut self, heading: &str) {
        self.text.push('\n');
        self.line(heading);
    }

    /// Wrapped text, each line behind `indent`.
    pub(crate) fn paragraph(&mut self, indent: &str, text: &str) {
        self.hanging(indent, indent, text);
    }

    /// A name and its text, wrapped with a hanging indent.
    pub(crate) fn entry(&mut self, name: &str, text: &str) {
        let first = format!("  {name:<width$}", width = ENTRY - 2);
        self.hanging(&first, &" ".repeat(ENTRY), text);
    }

    /// The page.
    pub(crate) fn into_text(self) -> String {
        self.text
    }

    /// Wrapped text behind `first`, further lines behind `rest`.
    pub(crate) fn hanging(&mut self, first: &str, rest: &str, text: &str) {
        for (index, part) in wrap(text, WIDTH - rest.chars().count()).iter().enumerate() {
            self.line(&format!("{}{part}", if index == 0 { first } else { rest }));
        }
    }
}

/// Breaks at spaces so that no line is wider than `width`; a longer word is broken where it must be.
pub(crate) fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    let mut used = 0;
    for word in text.split_whitespace() {
        let mut rest: Vec<char> = word.chars().collect();
        if used > 0 && used + 1 + rest.len() > width {
            lines.push(std::mem::take(&mut line));
            used = 0;
        }
        while rest.len() > width {
            let tail = rest.split_off(width);
            lines.push(rest.iter().collect());
            rest = tail;
        }
        if used > 0 {
            line.push(' ');
            used += 1;
        }
        used += rest.len();
        line.extend(rest);
    }
    if used > 0 || lines.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::wrap;

    #[test]
    fn breaks_at_spaces_and_within_words_too_long_for_a_line() {
        assert_eq!(wrap("one two three", 7), ["one two", "three"]);
        assert_eq!(wrap("a abcdefgh b", 3), ["a", "abc", "def", "gh", "b"]);
        assert_eq!(wrap("", 5), [""]);
        assert_eq!(wrap("± ± ±", 3), ["± ±", "±"]);
    }
}
