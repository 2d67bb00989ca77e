//! Rust text with comments, strings or test code blanked out, so that plain searches tell the truth.
//!
//! Blanked text keeps its length and its lines: a place in it is a place in the original.

/// What to blank.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Blank {
    Comments,
    CommentsAndStrings,
}

/// `text` with what `blank` names replaced by spaces, byte for byte. The quotes of strings stay.
pub(super) fn blank(text: &str, blank: Blank) -> String {
    let bytes = text.as_bytes();
    let mut out = bytes.to_vec();
    let mut at = 0;
    while at < bytes.len() {
        let rest = &bytes[at..];
        let (length, keep) = if rest.starts_with(b"//") {
            (rest.iter().position(|b| *b == b'\n').unwrap_or(rest.len()), 0)
        } else if rest.starts_with(b"/*") {
            (block_comment(rest), 0)
        } else if let Some((opening, whole)) = string(rest, at.checked_sub(1).map(|i| bytes[i])) {
            if blank == Blank::Comments {
                at += whole;
                continue;
            }
            (whole, opening)
        } else if rest[0] == b'\'' {
            (character(rest), 1)
        } else {
            (1, 1)
        };
        // The opening of a string stays as it is, and so does its last quote.
        let end = at + length;
        let inner_end = if keep == 0 { end } else { end.saturating_sub(1).max(at + keep.min(length)) };
        for byte in &mut out[at + keep.min(length)..inner_end] {
            if *byte != b'\n' {
                *byte = b' ';
            }
        }
        at = end;
    }
    // Only whole comments and insides of literals were replaced, hence whole characters.
    String::from_utf8_lossy(&out).into_owned()
}

fn block_comment(rest: &[u8]) -> usize {
    let (mut depth, mut at) = (0usize, 0);
    while at < rest.len() {
        if rest[at..].starts_with(b"/*") {
            depth += 1;
            at += 2;
        } else if rest[at..].starts_with(b"*/") {
            depth -= 1;
            at += 2;
            if depth == 0 {
                break;
            }
        } else {
            at += 1;
        }
    }
    at.min(rest.len())
}

/// Length of the opening, up to and with the first quote, and of the whole string literal at the start of `rest`.
fn string(rest: &[u8], before: Option<u8>) -> Option<(usize, usize)> {
    if rest[0] == b'"' {
        let mut at = 1;
        while at < rest.len() && rest[at] != b'"' {
            at += if rest[at] == b'\\' { 2 } else { 1 };
        }
        return Some((1, (at + 1).min(rest.len())));
    }
    let inside_a_word = before.is_some_and(|b| b.is_ascii_alphanumeric() || b == b'_');
    if rest[0] != b'r' || (inside_a_word && before != Some(b'b')) {
        return None;
    }
    let hashes = rest[1..].iter().take_while(|b| **b == b'#').count();
    if rest.get(1 + hashes) != Some(&b'"') {
        return None;
    }
    let opening = 2 + hashes;
    let closing: Vec<u8> = std::iter::once(b'"').chain(std::iter::repeat_n(b'#', hashes)).collect();
    let inside = rest[opening..].windows(closing.len()).position(|w| w == closing);
    Some((opening, inside.map_or(rest.len(), |i| opening + i + closing.len())))
}

/// Length of the character literal at the start of `rest`, or 1 for the tick of a lifetime.
fn character(rest: &[u8]) -> usize {
    if rest.get(1) == Some(&b'\\') {
        return rest.iter().skip(3).position(|b| *b == b'\'').map_or(rest.len(), |i| i + 4);
    }
    // One character of up to four bytes, then the closing tick.
    (2..=5).find(|i| rest.get(*i) == Some(&b'\'') && one_character(&rest[1..*i])).map_or(1, |i| i + 1)
}

fn one_character(bytes: &[u8]) -> bool {
    std::str::from_utf8(bytes).is_ok_and(|text| text.chars().count() == 1)
}

/// `text`, whose comments and strings are blank, without the items that only tests compile.
pub(super) fn without_tests(text: &str) -> String {
    let mut out = text.to_owned();
    let marker = "#[cfg(test)]";
    while let Some(start) = out.find(marker) {
        let end = item_end(&out, start + marker.len());
        let spaces: String = out[start..end]
            .chars()
            .map(|c| if c == '\n' { "\n".into() } else { " ".repeat(c.len_utf8()) })
            .collect();
        out.replace_range(start..end, &spaces);
    }
    out
}

/// Where the item that starts at `from` ends: behind its `;` or its closing brace.
fn item_end(text: &str, from: usize) -> usize {
    let (mut braces, mut others) = (0usize, 0usize);
    for (index, byte) in text.bytes().enumerate().skip(from) {
        match byte {
            b'(' | b'[' => others += 1,
            b')' | b']' => others = others.saturating_sub(1),
            b'{' => braces += 1,
            b'}' => {
                braces = braces.saturating_sub(1);
                if braces == 0 {
                    return index + 1;
                }
            }
            b';' if braces == 0 && others == 0 => return index + 1,
            _ => {}
        }
    }
    text.len()
}

/// Line of a place in `text`, counted from 1.
pub(super) fn line_of(text: &str, at: usize) -> usize {
    text.as_bytes()[..at].iter().filter(|b| **b == b'\n').count() + 1
}

/// Places of `word` in `text` where it does not continue a longer word to its left.
pub(super) fn places<'a>(text: &'a str, word: &'a str) -> impl Iterator<Item = usize> + 'a {
    text.match_indices(word).map(|(at, _)| at).filter(|at| {
        let before = text[..*at].chars().next_back();
        !before.is_some_and(|c| c.is_alphanumeric() || c == '_')
    })
}

/// Length of the group in `text` that starts with its opening bracket, both brackets included.
pub(super) fn group(text: &str) -> usize {
    let mut depth = 0usize;
    for (index, byte) in text.bytes().enumerate() {
        match byte {
            b'(' | b'[' | b'{' => depth += 1,
            b')' | b']' | b'}' => {
                depth = depth.saturating_sub(1);
                if depth == 0 {
                    return index + 1;
                }
            }
            _ => {}
        }
    }
    text.len()
}

/// The parts of `text` between separators that stand outside all brackets.
pub(super) fn split_outside<'a>(text: &'a str, separator: &str) -> Vec<&'a str> {
    let (mut parts, mut start, mut at) = (Vec::new(), 0, 0);
    while at < text.len() {
        if text[at..].starts_with(separator) {
            parts.push(&text[start..at]);
            at += separator.len();
            start = at;
        } else if text[at..].starts_with(['(', '[', '{']) {
            at += group(&text[at..]);
        } else {
            at += text[at..].chars().next().map_or(1, char::len_utf8);
        }
    }
    parts.push(&text[start..]);
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_and_literals_are_blanked() {
        let all = |text| blank(text, Blank::CommentsAndStrings);
        assert_eq!(all("a // b\nc"), "a     \nc");
        assert_eq!(all("a /* b /* c */ d */ e"), format!("a {} e", " ".repeat(17)));
        assert_eq!(all(r#"f("a \" // b") + c"#), r#"f("         ") + c"#);
        // Of a raw string only the opening and the very last character stay.
        assert_eq!(all("r#\"a \" b\"# c"), "r#\"      # c");
        assert_eq!(all("'\"' 'a 'é' '\\'' b"), "' ' 'a '  ' '  ' b");
        assert_eq!(blank("\"a\" // b", Blank::Comments), "\"a\"     ");
    }

    #[test]
    fn test_items_are_blanked() {
        let text = "fn a() {}\n#[cfg(test)]\nmod tests {\n fn b() { x(); }\n}\nfn c() {}\n#[cfg(test)]\nuse d;\nfn e() {}";
        let left = without_tests(text);
        assert_eq!(left.split_whitespace().collect::<Vec<_>>().join(" "), "fn a() {} fn c() {} fn e() {}");
        assert_eq!(left.len(), text.len());
        assert_eq!(line_of(&left, left.find("fn e").unwrap()), 9);
    }

    #[test]
    fn parts_are_split_outside_brackets_only() {
        assert_eq!(split_outside("a(b, c), d[e, f] , {g, h}", ","), ["a(b, c)", " d[e, f] ", " {g, h}"]);
        assert_eq!(places("reprint! print!", "print!").collect::<Vec<_>>(), [9]);
    }
}
