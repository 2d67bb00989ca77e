//! Where reading and screwdriver disagree, in words.

use super::{AWAY, NOT_MOVING, State};
use crate::assessment::Verdict;
use crate::finding::Finding;

pub(super) fn of(state: &State, away: usize) -> Vec<Finding> {
    let mut findings = Vec::new();
    let is_outside = matches!(state.verdict, Verdict::Undercompensated | Verdict::Overcompensated);
    let percent = 100.0 * state.compensation.error.value;
    if away >= AWAY && is_outside {
        findings.push(Finding::warning(
            "turning-away",
            format!("The error grows with every turn and is {percent:+.2} % now: the trimmer is turned away from its goal."),
            "Turn the other way. Many trimmers have no stop and repeat themselves every half turn: then going on leads there too.",
        ));
    }
    if is_outside && state.since_change >= NOT_MOVING && state.changes > 0 {
        findings.push(Finding::note(
            "not-moving",
            format!(
                "The reading has not moved for {} captures ({:.1} s) and stays at {percent:+.2} %. If you are turning, the trimmer \
                 is at its end stop, or the screwdriver does not grip. If you rest, all is well.",
                state.since_change, state.since_change_s
            ),
            "Turn back a little and watch the reading answer, then go on towards the goal. If it stops here again, the trimmer's \
             range ends before the goal and the probe cannot be compensated on this input; flattop reach says what is left.",
        ));
    }
    if state.scatter_ratio > 1.0 {
        findings.push(Finding::warning(
            "readings-scatter",
            format!(
                "The captures differ among themselves {:.1} times more than the noise on them explains; the uncertainty was widened \
                 for it.",
                state.scatter_ratio
            ),
            "Keep hand and screwdriver blade off the probe's metal (use a plastic blade), and see that tip and ground sit firmly.",
        ));
    }
    findings
}
