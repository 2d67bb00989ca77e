//! How a run ended, and the one place that turns it into an exit status.

use std::process::ExitCode;

/// How a run ended. Of several, the later one in this order counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Ending {
    /// Done, and within tolerance where there is one.
    Good,
    /// Done, outside tolerance or out of reach.
    Outside,
    /// Done, but what was given cannot carry a verdict.
    Undetermined,
    /// Something could not be read, used or written.
    Unusable,
}

/// What was typed makes no sense: the message says what to type instead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct WrongUsage {
    /// What is wrong, and what to type instead.
    pub(crate) message: String,
}

/// Every exit status is decided here. `command` is where a wrong usage sends the reader.
pub(crate) fn exit_code(command: &str, outcome: Result<Ending, WrongUsage>) -> ExitCode {
    ExitCode::from(match outcome {
        Ok(Ending::Good) => 0,
        Ok(Ending::Unusable) => 1,
        Err(wrong) => {
            let more = format!("{}\n\nFor more, try 'flattop {command} --help'.", wrong.message);
            crate::output::complain(&more);
            2
        }
        Ok(Ending::Outside) => 3,
        Ok(Ending::Undetermined) => 4,
    })
}

#[cfg(test)]
mod tests {
    use super::Ending::*;

    #[test]
    fn the_worst_ending_counts() {
        assert_eq!([Good, Outside, Good].into_iter().max(), Some(Outside));
        assert_eq!([Undetermined, Outside].into_iter().max(), Some(Undetermined));
        assert_eq!([Undetermined, Unusable, Outside].into_iter().max(), Some(Unusable));
    }
}
