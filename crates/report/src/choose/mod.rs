//! A ranked list of pairings for one measurement: as JSON, in words, as a drawing.

pub mod json;
pub mod plot;
pub mod text;

use flattop_core::choice::{Judged, Standing, Wanted};
use flattop_core::finding::Finding;
use flattop_core::signal::Signal;

/// A list of pairings, best first, and what they were judged for.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// The list as the user named it.
    pub list: String,
    /// What is to be read, and how well.
    pub wanted: Wanted,
    /// The signal.
    pub signal: Signal,
    /// Best first.
    pub judged: Vec<Judged>,
    /// Remarks that hold for all pairings.
    pub findings: Vec<Finding>,
}

impl Subject {
    /// The best pairing that suits or may suit.
    pub fn best(&self) -> Option<&Judged> {
        self.judged.first().filter(|j| matches!(j.standing, Standing::Suits | Standing::MaySuit))
    }
}

/// The stable name of a standing.
pub fn standing_code(standing: Standing) -> &'static str {
    match standing {
        Standing::Suits => "suits",
        Standing::MaySuit => "may-suit",
        Standing::TooFarOff => "too-far-off",
        Standing::Refused => "refused",
    }
}
