//! What kinds of values keys take, and words that stand for the variants of an enum.

use super::number::{Dimension, Limits};

/// What a key takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// A number in SI units, or a text with unit and perhaps a tolerance.
    Quantity(Dimension, Limits),
    /// A text.
    Text,
    /// A text, or a list of them.
    Texts,
    /// A text or a number that the caller understands; the words say what is expected.
    Written(&'static str),
    /// A whole number between two, both included.
    Whole(u32, u32),
    /// One of some words.
    Word(&'static [&'static str]),
    /// A list of numbers or texts with units; no tolerances.
    List(Dimension, Limits),
    /// A list, or START:STOP:COUNT as text.
    Grid(Dimension, Limits),
}

impl Kind {
    /// What is expected, for messages.
    pub fn expected(self) -> String {
        match self {
            Kind::Quantity(dimension, limits) => {
                format!("{}{}, for example {}", dimension.quantity(), limits.words(), dimension.example())
            }
            Kind::Text => "a text in quotes".to_owned(),
            Kind::Texts => "a text in quotes, or a list of them".to_owned(),
            Kind::Written(expected) => expected.to_owned(),
            Kind::Whole(least, most) => format!("a whole number from {least} to {most}"),
            Kind::Word(words) => format!("one of {}", quoted(words)),
            Kind::List(dimension, limits) => format!(
                "a list, each element {}{}, for example {}",
                dimension.quantity(),
                limits.words(),
                dimension.example()
            ),
            Kind::Grid(dimension, limits) => format!(
                "a list or \"START:STOP:COUNT\", each {}{}, for example {}",
                dimension.quantity(),
                limits.words(),
                dimension.example()
            ),
        }
    }

    /// The unit in which plain numbers count; empty for none.
    pub fn symbol(self) -> &'static str {
        match self {
            Kind::Quantity(dimension, _) | Kind::List(dimension, _) | Kind::Grid(dimension, _) => {
                dimension.symbol()
            }
            _ => "",
        }
    }
}

fn quoted(words: &[&str]) -> String {
    words.iter().map(|word| format!("\"{word}\"")).collect::<Vec<_>>().join(", ")
}

/// An enum whose variants are written as words.
pub trait Word: Copy + 'static {
    /// The words.
    const WORDS: &'static [&'static str];
    /// The variants, in the order of the words.
    const ALL: &'static [Self];
}

/// Defines an enum with its words: `words! { /// Doc. pub enum X { /// Doc. A = "a" } }`.
#[macro_export]
macro_rules! words {
    ($(#[$doc:meta])* pub enum $name:ident { $($(#[$each:meta])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum $name { $($(#[$each])* $variant),+ }

        impl $crate::document::Word for $name {
            const WORDS: &'static [&'static str] = &[$($word),+];
            const ALL: &'static [Self] = &[$($name::$variant),+];
        }

        impl $name {
            /// The word that stands for it.
            pub const fn word(self) -> &'static str {
                match self { $($name::$variant => $word),+ }
            }
        }
    };
}
