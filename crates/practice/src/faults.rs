//! How an instrument misbehaves on purpose, out of a seed: the same kinds of faults that real ones show.

use std::time::Duration;

use flattop_core::uncertainty::Stream;

/// Longest that it stays silent for a fault, and that it pauses within an answer.
const SILENCE: Duration = Duration::from_secs(8);
const PAUSE: Duration = Duration::from_millis(300);
/// Bytes of a flood.
const FLOOD: usize = 1 << 20;

/// Something it does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Act {
    /// Sends these bytes.
    Send(Vec<u8>),
    /// Does nothing for so long.
    Pause(Duration),
    /// Closes the link.
    Close,
}

/// What kind of fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// No answer.
    Silence,
    /// The answer comes late.
    Late,
    /// Half of the answer, then the rest after a pause.
    Halting,
    /// Half of the answer, and no more.
    Half,
    /// Half of the answer, and the link is closed.
    Cut,
    /// The link is closed.
    Closed,
    /// Bytes that mean nothing.
    Nonsense,
    /// A byte of the answer is another one.
    Changed,
    /// The answer twice.
    Twice,
    /// Far more than was asked for.
    Flood,
}

/// All kinds.
pub const FAULTS: [Fault; 10] = [
    Fault::Silence,
    Fault::Late,
    Fault::Halting,
    Fault::Half,
    Fault::Cut,
    Fault::Closed,
    Fault::Nonsense,
    Fault::Changed,
    Fault::Twice,
    Fault::Flood,
];

/// Faults out of a seed.
#[derive(Clone, Debug)]
pub struct Faults {
    draw: Stream,
    /// One answer in so many goes wrong.
    one_in: f64,
}

impl Faults {
    /// Faults in one of `one_in` answers on average; `link` makes each connection misbehave in its own way.
    pub fn new(seed: u64, link: u64, one_in: u32) -> Self {
        Self { draw: Stream::new(seed, link, 77), one_in: f64::from(one_in.max(1)) }
    }

    /// What becomes of an answer, and which fault that is.
    pub fn of(&mut self, answer: Vec<u8>) -> (Vec<Act>, Option<Fault>) {
        if self.draw.uniform() * self.one_in >= 1.0 {
            return (vec![Act::Send(answer)], None);
        }
        let fault = FAULTS[self.below(FAULTS.len())];
        let half = self.below(answer.len().max(1));
        let acts = match fault {
            Fault::Silence => vec![Act::Pause(SILENCE)],
            Fault::Late => vec![Act::Pause(PAUSE), Act::Send(answer)],
            Fault::Halting => {
                vec![
                    Act::Send(answer[..half].to_vec()),
                    Act::Pause(PAUSE),
                    Act::Send(answer[half..].to_vec()),
                ]
            }
            Fault::Half => vec![Act::Send(answer[..half].to_vec()), Act::Pause(SILENCE)],
            Fault::Cut => vec![Act::Send(answer[..half].to_vec()), Act::Close],
            Fault::Closed => vec![Act::Close],
            Fault::Nonsense => {
                let length = 1 + self.below(200);
                vec![Act::Send((0..length).map(|_| self.draw.bits() as u8).chain([b'\n']).collect())]
            }
            Fault::Changed => {
                let mut changed = answer;
                if let Some(byte) = changed.get_mut(half) {
                    *byte ^= 1 << self.below(8);
                }
                vec![Act::Send(changed)]
            }
            Fault::Twice => vec![Act::Send([answer.as_slice(), answer.as_slice()].concat())],
            Fault::Flood => vec![Act::Send(vec![b'7'; FLOOD])],
        };
        (acts, Some(fault))
    }

    fn below(&mut self, count: usize) -> usize {
        // `uniform` stays below 1.
        (self.draw.uniform() * count as f64) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_comes_as_often_as_asked_and_the_same_from_a_seed() {
        let run = || {
            let mut faults = Faults::new(4, 1, 5);
            (0..4000).map(|_| faults.of(b"1.5,2.5\n".to_vec())).collect::<Vec<_>>()
        };
        let all = run();
        assert_eq!(all, run());
        let count = all.iter().filter(|(_, fault)| fault.is_some()).count();
        // A fifth of 4000, with a standard deviation of 25.
        assert!((700..900).contains(&count), "{count}");
        for kind in FAULTS {
            assert!(all.iter().any(|(_, fault)| *fault == Some(kind)), "{kind:?}");
        }
        for (acts, fault) in all {
            assert!(fault.is_some() || acts == [Act::Send(b"1.5,2.5\n".to_vec())]);
        }
        // An empty answer breaks nothing.
        let mut faults = Faults::new(4, 2, 1);
        for _ in 0..200 {
            faults.of(Vec::new());
        }
    }
}
