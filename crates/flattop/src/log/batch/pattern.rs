//! How captures are named: `{probe}_{oscilloscope}-{input}.csv` finds out which probe and input a file is about.

use flattop_core::bench::{Id, InputId, Stage};

use crate::status::WrongUsage;

/// Words and places.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Pattern(Vec<Part>);

#[derive(Clone, Debug, PartialEq, Eq)]
enum Part {
    Letters(String),
    Probe,
    Oscilloscope,
    Input,
    Stage,
    Any,
}

/// What a name says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Named {
    pub(crate) probe: Option<Id>,
    oscilloscope: Option<Id>,
    input: Option<Id>,
    pub(crate) stage: Option<Stage>,
}

impl Named {
    /// The input, where the name says one.
    pub(crate) fn input(&self) -> Option<InputId> {
        Some(InputId { oscilloscope: self.oscilloscope.clone()?, name: self.input.clone()? })
    }
}

impl Pattern {
    /// Reads a pattern.
    pub(crate) fn new(text: &str) -> Result<Self, WrongUsage> {
        let wrong = |what: &str| WrongUsage {
            message: format!(
                "--named \"{text}\": {what}; write for example \"{{probe}}_{{oscilloscope}}-{{input}}.csv\""
            ),
        };
        let mut parts = Vec::new();
        let mut rest = text;
        while let Some(open) = rest.find('{') {
            if open > 0 {
                parts.push(Part::Letters(rest[..open].to_lowercase()));
            }
            let close = rest[open..].find('}').ok_or_else(|| wrong("a { has no }"))? + open;
            let part = match &rest[open + 1..close] {
                "probe" => Part::Probe,
                "oscilloscope" => Part::Oscilloscope,
                "input" => Part::Input,
                "stage" => Part::Stage,
                "any" => Part::Any,
                other => {
                    return Err(wrong(&format!(
                        "{{{other}}} is not known: there are {{probe}}, {{oscilloscope}}, {{input}}, {{stage}} and {{any}}"
                    )));
                }
            };
            if part != Part::Any && parts.contains(&part) {
                return Err(wrong("a part stands there twice"));
            }
            parts.push(part);
            rest = &rest[close + 1..];
        }
        if !rest.is_empty() {
            parts.push(Part::Letters(rest.to_lowercase()));
        }
        if !parts.contains(&Part::Probe) {
            return Err(wrong("{probe} is missing"));
        }
        if parts.contains(&Part::Oscilloscope) != parts.contains(&Part::Input) {
            return Err(wrong("{oscilloscope} and {input} go together"));
        }
        Ok(Self(parts))
    }

    /// Every way to read a name; capitals do not matter.
    pub(crate) fn readings(&self, name: &str) -> Vec<Named> {
        let mut found = Vec::new();
        read(&self.0, &name.to_lowercase(), &Named::default(), &mut found);
        found.dedup();
        found
    }
}

fn read(parts: &[Part], rest: &str, so_far: &Named, found: &mut Vec<Named>) {
    let Some((part, parts)) = parts.split_first() else {
        if rest.is_empty() && !found.contains(so_far) {
            found.push(so_far.clone());
        }
        return;
    };
    if let Part::Letters(letters) = part {
        if let Some(rest) = rest.strip_prefix(letters.as_str()) {
            read(parts, rest, so_far, found);
        }
        return;
    }
    let ends = rest.char_indices().map(|(at, _)| at).skip(1).chain((!rest.is_empty()).then_some(rest.len()));
    let from_nothing = (*part == Part::Any).then_some(0);
    for end in from_nothing.into_iter().chain(ends) {
        let (word, rest) = rest.split_at(end);
        let mut next = so_far.clone();
        let fits = match part {
            Part::Any => true,
            Part::Stage => {
                next.stage = match word {
                    "check" => Some(Stage::Check),
                    "before" => Some(Stage::BeforeAdjustment),
                    "after" => Some(Stage::AfterAdjustment),
                    _ => None,
                };
                next.stage.is_some()
            }
            _ => match Id::new(word) {
                Err(_) => false,
                Ok(id) => {
                    match part {
                        Part::Probe => next.probe = Some(id),
                        Part::Oscilloscope => next.oscilloscope = Some(id),
                        _ => next.input = Some(id),
                    }
                    true
                }
            },
        };
        if fits {
            read(parts, rest, &next, found);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_in_every_way_they_can_be() {
        let pattern = Pattern::new("{probe}_{oscilloscope}-{input}.csv").unwrap();
        let read = pattern.readings("Probe-07_bench-a-CH1.csv");
        // bench / a-ch1 and bench-a / ch1: the bench knows which.
        let inputs: Vec<_> = read.iter().map(|n| n.input().unwrap().to_string()).collect();
        assert_eq!(inputs, ["bench/a-ch1", "bench-a/ch1"]);
        assert!(read.iter().all(|n| n.probe == Some(Id::new("probe-07").unwrap())));
        assert!(pattern.readings("probe-07.csv").is_empty());
        let pattern = Pattern::new("{stage} {probe}{any}.npy").unwrap();
        let read = pattern.readings("before p7 (2).npy");
        assert!(
            read.iter()
                .any(|n| n.stage == Some(Stage::BeforeAdjustment) && n.probe == Some(Id::new("p7").unwrap()))
        );
    }

    #[test]
    fn patterns_that_cannot_work_are_refused() {
        for (text, part) in [
            ("{input}.csv", "{probe} is missing"),
            ("{probe}_{input}.csv", "go together"),
            ("{probe}{probe}.csv", "twice"),
            ("{prob}.csv", "{prob} is not known"),
            ("{probe.csv", "has no }"),
        ] {
            let message = Pattern::new(text).unwrap_err().message;
            assert!(message.contains(part), "{message}");
        }
    }
}
