//! How a pairing stands at a given time.
//!
//! The states exclude each other; the first rule that holds decides:
//!
//! | rank | state | holds when |
//! | --- | --- | --- |
//! | 1 | void (moved) | the pairing was ended |
//! | 2 | out of reach | the last check found it outside its tolerance, or there was none, and the trimmer cannot balance the input |
//! | 3 | out of tolerance | the last check found it outside its tolerance |
//! | 4 | never checked | no check carries a judgement |
//! | 5 | due | the last check was good, but the interval has passed, or it was adjusted since |
//! | 6 | in tolerance | the last check was good |
//!
//! A measurement outranks the data sheet: a pairing found in tolerance is not out of reach, whatever the rated range says.
//! Checks that could not decide count as no check.

use super::entities::{Moment, Pairing, Range, Toleranced};
use crate::assessment::Verdict;
use crate::reach::{self, CompensationRange, InputCapacitance};

const DAY_MS: i64 = 86_400_000;

/// What the logbook knows of one pairing, withdrawn entries left out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PairingHistory {
    /// Assessments, oldest first.
    pub checks: Vec<Check>,
    /// When the trimmer was last turned without an assessment afterwards being part of the same entry.
    pub last_adjustment: Option<Moment>,
}

/// One assessment, as far as the state depends on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Check {
    /// When.
    pub at: Moment,
    /// Its verdict, against the tolerance of that day.
    pub verdict: Verdict,
    /// e, if it was determined.
    pub compensation_error: Option<f64>,
    /// Its standard uncertainty, if it was stated.
    pub standard_uncertainty: Option<f64>,
}

/// Whether the rated compensation range contains the input's capacitance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReachKnown {
    /// It does, or may.
    Possible,
    /// It does not, tolerances included.
    OutOfReach,
    /// Range or capacitance is not known.
    Unknown,
}

impl ReachKnown {
    /// Compares a rated range with an input's capacitance and its tolerance (nil where that is not known), both F.
    /// Only whether they overlap at all: how far off and what to do is the matter of [`crate::reach`].
    pub fn of(range_f: Option<Range>, capacitance_f: Option<Toleranced>) -> Self {
        let (Some(range), Some(c)) = (range_f, capacitance_f) else { return ReachKnown::Unknown };
        let range = CompensationRange { least_f: range.low, most_f: range.high, tolerance_f: 0.0 };
        let input = InputCapacitance { nominal_f: c.value, tolerance_f: c.tolerance.unwrap_or(0.0) };
        match range.margin(input).verdict {
            reach::Verdict::Reaches | reach::Verdict::MayReach => ReachKnown::Possible,
            reach::Verdict::OutOfReach => ReachKnown::OutOfReach,
        }
    }
}

/// How a pairing stands. See the table of the module.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PairingState {
    /// The pairing was ended.
    VoidMoved,
    /// The trimmer cannot balance the input.
    OutOfReach,
    /// Last found outside its tolerance.
    OutOfTolerance,
    /// Not checked yet.
    NeverChecked,
    /// To be checked again.
    Due,
    /// Last found inside its tolerance.
    InTolerance,
}

impl PairingState {
    /// All states, by rank.
    pub const ALL: [PairingState; 6] = [
        PairingState::VoidMoved,
        PairingState::OutOfReach,
        PairingState::OutOfTolerance,
        PairingState::NeverChecked,
        PairingState::Due,
        PairingState::InTolerance,
    ];

    /// Stable code in kebab case.
    pub fn code(self) -> &'static str {
        match self {
            PairingState::VoidMoved => "void-moved",
            PairingState::OutOfReach => "out-of-reach",
            PairingState::OutOfTolerance => "out-of-tolerance",
            PairingState::NeverChecked => "never-checked",
            PairingState::Due => "due",
            PairingState::InTolerance => "in-tolerance",
        }
    }

    /// Whether somebody has to do something before measuring with it.
    pub fn wants_attention(self) -> bool {
        !matches!(self, PairingState::VoidMoved | PairingState::InTolerance)
    }
}

/// A state with what it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairingStatus {
    /// The state.
    pub state: PairingState,
    /// The check it rests on.
    pub last_check: Option<Check>,
    /// When it falls due by its interval, ms since 1970 UTC.
    pub due_at_unix_ms: Option<i64>,
    /// Whether the trimmer was turned after that check.
    pub adjusted_since: bool,
}

/// How `pairing` stands at `now_unix_ms` (ms since 1970 UTC). An interval that ends exactly now has passed.
pub fn pairing_status(
    pairing: &Pairing,
    history: &PairingHistory,
    reach: ReachKnown,
    now_unix_ms: i64,
) -> PairingStatus {
    let last_check =
        history.checks.iter().filter(|c| c.verdict != Verdict::Undetermined).max_by_key(|c| c.at.unix_ms);
    let good = last_check.map(|check| inside(check, pairing.tolerance));
    let due_at_unix_ms = match (last_check, pairing.recheck_interval_days) {
        (Some(check), Some(days)) => Some(check.at.unix_ms.saturating_add(i64::from(days) * DAY_MS)),
        _ => None,
    };
    let adjusted_since = match (last_check, history.last_adjustment) {
        (Some(check), Some(adjusted)) => check.at.unix_ms < adjusted.unix_ms,
        _ => false,
    };
    let late = due_at_unix_ms.is_some_and(|due| due <= now_unix_ms);
    let state = match good {
        _ if pairing.voided.is_some() => PairingState::VoidMoved,
        None | Some(false) if reach == ReachKnown::OutOfReach => PairingState::OutOfReach,
        Some(false) => PairingState::OutOfTolerance,
        None => PairingState::NeverChecked,
        Some(true) if late || adjusted_since => PairingState::Due,
        Some(true) => PairingState::InTolerance,
    };
    PairingStatus { state, last_check: last_check.copied(), due_at_unix_ms, adjusted_since }
}

/// Inside the tolerance that holds now; the verdict of its day decides where e or the tolerance is not known.
fn inside(check: &Check, tolerance: Option<f64>) -> bool {
    match (check.compensation_error, tolerance) {
        (Some(e), Some(tolerance)) => e.abs() <= tolerance,
        _ => check.verdict == Verdict::WithinTolerance,
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Id, InputId, Voided};
    use super::*;
    use proptest::prelude::*;

    fn at(day: i64) -> Moment {
        Moment { unix_ms: day * DAY_MS, offset_minutes: 60 }
    }

    fn pairing() -> Pairing {
        Pairing {
            number: 1,
            probe: Id::new("probe-07").unwrap(),
            input: InputId::new("bench-a/ch1").unwrap(),
            tolerance: Some(0.01),
            recheck_interval_days: Some(90),
            made_at: at(0),
            made_by: None,
            voided: None,
        }
    }

    fn found(day: i64, e: f64) -> Check {
        let verdict = if e.abs() <= 0.01 { Verdict::WithinTolerance } else { Verdict::Overcompensated };
        Check { at: at(day), verdict, compensation_error: Some(e), standard_uncertainty: None }
    }

    fn state(pairing: &Pairing, history: &PairingHistory, reach: ReachKnown, day: i64) -> PairingState {
        pairing_status(pairing, history, reach, day * DAY_MS).state
    }

    #[test]
    fn each_state_in_its_turn() {
        let mut pairing = pairing();
        let mut history = PairingHistory::default();
        let reach = ReachKnown::Possible;
        assert_eq!(state(&pairing, &history, reach, 1), PairingState::NeverChecked);
        assert_eq!(state(&pairing, &history, ReachKnown::OutOfReach, 1), PairingState::OutOfReach);
        history.checks.push(Check {
            at: at(1),
            verdict: Verdict::Undetermined,
            compensation_error: None,
            standard_uncertainty: None,
        });
        assert_eq!(state(&pairing, &history, reach, 1), PairingState::NeverChecked);
        history.checks.push(found(2, 0.05));
        assert_eq!(state(&pairing, &history, reach, 2), PairingState::OutOfTolerance);
        assert_eq!(state(&pairing, &history, ReachKnown::OutOfReach, 2), PairingState::OutOfReach);
        history.checks.push(found(3, 0.001));
        assert_eq!(state(&pairing, &history, ReachKnown::OutOfReach, 3), PairingState::InTolerance);
        assert_eq!(state(&pairing, &history, reach, 92), PairingState::InTolerance);
        assert_eq!(state(&pairing, &history, reach, 93), PairingState::Due);
        history.last_adjustment = Some(at(4));
        assert_eq!(state(&pairing, &history, reach, 5), PairingState::Due);
        pairing.tolerance = Some(1e-4);
        assert_eq!(state(&pairing, &history, reach, 5), PairingState::OutOfTolerance);
        pairing.voided = Some(Voided { at: at(6), why: "moved".into() });
        assert_eq!(state(&pairing, &history, reach, 6), PairingState::VoidMoved);
    }

    #[test]
    fn reach_counts_the_tolerance() {
        let range = Some(Range { low: 10.0, high: 25.0 });
        let of = |value, tolerance| ReachKnown::of(range, Some(Toleranced { value, tolerance }));
        assert_eq!(of(8.0, Some(1.0)), ReachKnown::OutOfReach);
        assert_eq!(of(9.0, Some(1.0)), ReachKnown::Possible);
        assert_eq!(of(26.0, None), ReachKnown::OutOfReach);
        assert_eq!(ReachKnown::of(range, None), ReachKnown::Unknown);
    }

    proptest! {
        #[test]
        fn prop_time_alone_only_ever_makes_a_pairing_due(
            errors in proptest::collection::vec(-0.03..0.03_f64, 0..5), day in 0..400_i64, later in 0..400_i64,
        ) {
            let checks = errors.iter().enumerate().map(|(d, e)| found(d as i64, *e)).collect();
            let history = PairingHistory { checks, last_adjustment: None };
            let (before, after) = (
                state(&pairing(), &history, ReachKnown::Unknown, day),
                state(&pairing(), &history, ReachKnown::Unknown, day + later),
            );
            prop_assert!(
                before == after || (before == PairingState::InTolerance && after == PairingState::Due)
            );
        }

        #[test]
        fn prop_order_of_the_checks_does_not_matter(errors in proptest::collection::vec(-0.03..0.03_f64, 1..6)) {
            let mut checks: Vec<Check> = errors.iter().enumerate().map(|(d, e)| found(d as i64, *e)).collect();
            let forward = PairingHistory { checks: checks.clone(), last_adjustment: None };
            checks.reverse();
            let backward = PairingHistory { checks, last_adjustment: None };
            prop_assert_eq!(
                pairing_status(&pairing(), &forward, ReachKnown::Unknown, 0),
                pairing_status(&pairing(), &backward, ReachKnown::Unknown, 0)
            );
        }
    }
}
