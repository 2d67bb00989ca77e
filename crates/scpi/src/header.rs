//! Patterns of command headers: which spellings of a header are meant.
//!
//! SCPI-1999, volume 1, 6.2.1: a mnemonic has a long and a short form, the short one in capitals in print, and no other.
//! 6.2.5: a number at its end picks one of several, and none means 1.

/// A header as a manual prints it: `SENSe:SWEep:TINTerval`, optional parts in brackets `[SENSe:]VOLTage`, and `#` where
/// a number may stand: `INPut#`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pattern {
    nodes: Vec<Node>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Node {
    long: String,
    short: String,
    is_optional: bool,
    is_numbered: bool,
}

impl Pattern {
    /// A pattern from its print; `None` where it is none.
    pub fn new(print: &str) -> Option<Self> {
        let mut nodes = Vec::new();
        let mut name = String::new();
        let (mut inside, mut is_optional) = (false, false);
        for c in print.chars() {
            match c {
                '[' if !inside => inside = true,
                ']' if inside => inside = false,
                ':' => {
                    // Nothing stands in front of the colon of `[:NEXT]` where it is the first part.
                    if !name.is_empty() {
                        nodes.push(Node::new(&std::mem::take(&mut name), is_optional)?);
                    } else if !nodes.is_empty() {
                        return None;
                    }
                }
                _ => {
                    if name.is_empty() {
                        is_optional = inside;
                    }
                    name.push(c);
                }
            }
        }
        if inside {
            return None;
        }
        nodes.push(Node::new(&name, is_optional)?);
        Some(Self { nodes })
    }

    /// The numbers in `header`, 1 for each left out, or `None` where it is another header. `header` as
    /// [`Unit::header`](crate::message::Unit::header) has it.
    pub fn numbers(&self, header: &str) -> Option<Vec<u32>> {
        let words: Vec<&str> = header.split(':').collect();
        let mut numbers = Vec::new();
        matches(&self.nodes, &words, &mut numbers).then_some(numbers)
    }
}

fn matches(nodes: &[Node], words: &[&str], numbers: &mut Vec<u32>) -> bool {
    let Some((node, later)) = nodes.split_first() else { return words.is_empty() };
    let known = numbers.len();
    if let Some((word, rest)) = words.split_first()
        && let Some(number) = node.number(word)
    {
        numbers.extend(node.is_numbered.then_some(number));
        if matches(later, rest, numbers) {
            return true;
        }
        numbers.truncate(known);
    }
    if !node.is_optional {
        return false;
    }
    numbers.extend(node.is_numbered.then_some(1));
    if matches(later, words, numbers) {
        return true;
    }
    numbers.truncate(known);
    false
}

impl Node {
    fn new(print: &str, is_optional: bool) -> Option<Self> {
        let (name, is_numbered) = print.strip_suffix('#').map_or((print, false), |name| (name, true));
        let letters = name.strip_prefix('*').unwrap_or(name);
        let short: String = name.chars().filter(|c| !c.is_ascii_lowercase()).collect();
        let is_name = letters.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
        let begins = |n: &str| n.starts_with(|c: char| c.is_ascii_uppercase());
        (is_name && begins(letters)).then(|| Self {
            long: name.to_ascii_uppercase(),
            short,
            is_optional,
            is_numbered,
        })
    }

    /// The number at the end of a word that is meant, 1 where none stands.
    fn number(&self, word: &str) -> Option<u32> {
        let word = word.to_ascii_uppercase();
        let is = |name: &str| name == self.long || name == self.short;
        if is(&word) {
            return Some(1);
        }
        let name = word.trim_end_matches(|c: char| c.is_ascii_digit());
        (self.is_numbered && is(name)).then(|| word[name.len()..].parse().ok())?
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn numbers(print: &str, header: &str) -> Option<Vec<u32>> {
        Pattern::new(print).unwrap().numbers(header)
    }

    #[test]
    fn long_and_short_forms_only() {
        for header in ["SENSE:SWEEP:POINTS", "sens:swe:poin", "Sense:SWE:Points"] {
            assert_eq!(numbers("SENSe:SWEep:POINts", header), Some(vec![]), "{header}");
        }
        for header in ["SENS:SWEE:POIN", "SENS:SWE", "SENS:SWE:POIN:X", "SEN:SWE:POIN", "", "SENS:SWE:POIN2"]
        {
            assert_eq!(numbers("SENSe:SWEep:POINts", header), None, "{header}");
        }
        assert_eq!(numbers("*IDN", "*idn"), Some(vec![]));
    }

    #[test]
    fn parts_left_out_and_numbers() {
        for print in ["[SENSe:]VOLTage:RANGe", "[SENSe]:VOLTage:RANGe"] {
            assert_eq!(numbers(print, "VOLT:RANG"), Some(vec![]), "{print}");
            assert_eq!(numbers(print, "SENS:VOLT:RANG"), Some(vec![]), "{print}");
            assert_eq!(numbers(print, "SENS:RANG"), None, "{print}");
        }
        for print in ["SYSTem:ERRor[:NEXT]", "SYSTem:ERRor:[NEXT]"] {
            assert_eq!(numbers(print, "SYST:ERR"), Some(vec![]), "{print}");
            assert_eq!(numbers(print, "SYST:ERR:NEXT"), Some(vec![]), "{print}");
            assert_eq!(numbers(print, "SYST"), None, "{print}");
        }
        assert_eq!(numbers("INPut#:STATe", "INP:STAT"), Some(vec![1]));
        assert_eq!(numbers("INPut#:STATe", "INPUT12:STAT"), Some(vec![12]));
        assert_eq!(numbers("INPut#", "INP99999999999"), None);
        assert_eq!(numbers("[SENSe#:]VOLTage#", "VOLT3"), Some(vec![1, 3]));
        for bad in ["", "A::B", "volt", "A B"] {
            assert_eq!(Pattern::new(bad), None, "{bad:?}");
        }
    }

    proptest! {
        #[test]
        fn prop_any_text_is_compared(print in "[\\PC]{0,12}", header in "[\\PC]{0,12}") {
            if let Some(pattern) = Pattern::new(&print) {
                let _ = pattern.numbers(&header);
            }
        }
    }
}
