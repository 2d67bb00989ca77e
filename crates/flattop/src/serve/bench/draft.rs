//! A thing that is being filled in: fields are set one by one, and everything that is wrong is named at its field.

use flattop_core::bench::{EntityError, GroundAccessory, Id, Input, Oscilloscope, Probe};
use flattop_register::{
    Register, RegisterError, Thing, set_ground_field, set_input_field, set_oscilloscope_field,
    set_probe_field, unknown_ground, unknown_input, unknown_oscilloscope, unknown_probe,
};
use serde::Deserialize;
use utoipa::ToSchema;

use super::super::answer::FieldProblem;
use super::Fields;

/// What things there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub(in crate::serve) enum Kind {
    Oscilloscope,
    Input,
    Probe,
    Ground,
}

/// A thing that is not stored.
pub(super) enum Draft {
    Oscilloscope(Oscilloscope),
    Input(Input),
    Probe(Box<Probe>),
    Ground(GroundAccessory),
}

impl Draft {
    /// One of which nothing is known, with a name that does not matter.
    pub(super) fn new(kind: Kind) -> Result<Self, RegisterError> {
        Ok(Self::named(kind, Id::new("new")?))
    }

    pub(super) fn named(kind: Kind, name: Id) -> Self {
        match kind {
            Kind::Oscilloscope => Self::Oscilloscope(unknown_oscilloscope(name)),
            Kind::Input => Self::Input(unknown_input(name)),
            Kind::Probe => Self::Probe(Box::new(unknown_probe(name))),
            Kind::Ground => Self::Ground(unknown_ground(name)),
        }
    }

    /// A thing as it is on the bench; `None` of a pairing, whose fields have no rules among themselves.
    pub(super) fn of(register: &Register, thing: &Thing) -> Result<Option<Self>, RegisterError> {
        Ok(match thing {
            Thing::Oscilloscope(id) => Some(Self::Oscilloscope(register.oscilloscope(id)?)),
            Thing::Input(id) => Some(Self::Input(register.input(id)?)),
            Thing::Probe(id) => Some(Self::Probe(Box::new(register.probe(id)?))),
            Thing::Ground(probe, name) => {
                let all = register.probe(probe)?.ground_accessories;
                all.into_iter().find(|accessory| accessory.name == *name).map(Self::Ground)
            }
            Thing::Pairing(_) => None,
        })
    }

    fn set(&mut self, key: &str, text: Option<&str>) -> Result<(), RegisterError> {
        match self {
            Self::Oscilloscope(scope) => set_oscilloscope_field(scope, key, text),
            Self::Input(input) => set_input_field(input, key, text),
            Self::Probe(probe) => set_probe_field(probe, key, text),
            Self::Ground(accessory) => set_ground_field(accessory, key, text),
        }
    }

    fn check(&self) -> Result<(), EntityError> {
        match self {
            Self::Oscilloscope(scope) => scope.check(),
            Self::Input(input) => input.check(),
            Self::Probe(probe) => probe.check(),
            Self::Ground(accessory) => accessory.check(),
        }
    }

    /// Sets all fields, and names every one that is wrong.
    pub(super) fn fill(&mut self, fields: &Fields) -> Vec<FieldProblem> {
        let mut problems = Vec::new();
        for (key, text) in typed(fields) {
            if let Err(error) = self.set(key, text) {
                problems.push(FieldProblem { at: key.to_owned(), message: error.to_string() });
            } else if let Err(error) = self.check() {
                // Named once, at the field that it is about.
                let at = error.key();
                if problems.iter().all(|known| known.at != at) {
                    problems.push(FieldProblem { at: at.to_owned(), message: error.to_string() });
                }
                // The others are looked at as if this one were not known.
                if self.set(key, None).is_err() {
                    break;
                }
            }
        }
        problems
    }
}

/// Fields with their texts; an empty one is not known.
pub(super) fn typed(fields: &Fields) -> impl Iterator<Item = (&str, Option<&str>)> {
    fields.iter().map(|(key, text)| {
        (key.as_str(), text.as_ref().map(|text| text.0.as_str()).filter(|text| !text.trim().is_empty()))
    })
}

#[cfg(test)]
mod tests {
    use super::super::Text;
    use super::*;

    #[test]
    fn every_field_that_is_wrong_is_named() {
        let mut draft = Draft::new(Kind::Probe).unwrap();
        let fields: Fields = [
            ("ratio", "0.1"),
            ("tip_capacitance", "12 pF ± 1 pF"),
            ("bandwidth", "fast"),
            ("colour", "red"),
            ("compensation_range", "18 pF to 8 pF"),
            ("label", ""),
        ]
        .map(|(key, text)| (key.to_owned(), Some(Text(text.to_owned()))))
        .into();
        let wrong: Vec<String> = draft.fill(&fields).into_iter().map(|problem| problem.at).collect();
        assert_eq!(wrong, ["bandwidth", "colour", "compensation_range", "ratio"]);
    }
}
