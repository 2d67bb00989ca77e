//! Faults on purpose: a transport that wraps another and spoils some of its answers, the same ones for the same seed.

use std::collections::VecDeque;
use std::time::Duration;

use flattop_scpi::session::Boundary;

use super::{PIECE, Received, Transport, Trouble};

/// What is done to an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Injected {
    /// It never comes.
    Hang,
    /// The link is closed instead.
    Close,
    /// Other bytes come instead.
    Nonsense,
    /// It comes in front of the next answer, whatever is done to the link in between.
    Late,
    /// Its first half comes.
    HalfBlock,
    /// More comes than it announces.
    WrongLength,
    /// It announces far more than there is.
    HugeBlock,
    /// It has no end.
    Flood,
}

impl Injected {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::Hang,
        Self::Close,
        Self::Nonsense,
        Self::Late,
        Self::HalfBlock,
        Self::WrongLength,
        Self::HugeBlock,
        Self::Flood,
    ];
}

/// Which answers are spoilt.
#[derive(Clone, Debug, PartialEq)]
pub enum Plan {
    /// The answer with this number, counted from 1.
    Once {
        /// What is done.
        fault: Injected,
        /// To which answer.
        answer: u64,
    },
    /// This share of all answers, by chance.
    Chance {
        /// 0 for none, 1 for all.
        share: f64,
        /// The same seed spoils the same answers in the same way.
        seed: u64,
    },
}

/// A link that goes wrong.
pub struct Faulty<T> {
    inner: T,
    plan: Plan,
    chance: SplitMix,
    answers: u64,
    /// What is being done to the present answer.
    now: Option<Injected>,
    /// An answer that comes late.
    held: Vec<u8>,
    ready: VecDeque<Received>,
    is_closed: bool,
    is_flooding: bool,
}

impl<T: Transport> Faulty<T> {
    /// Wraps a link.
    pub fn new(inner: T, plan: Plan) -> Self {
        let seed = if let Plan::Chance { seed, .. } = plan { seed } else { 0 };
        Self {
            inner,
            plan,
            chance: SplitMix(seed),
            answers: 0,
            now: None,
            held: Vec::new(),
            ready: VecDeque::new(),
            is_closed: false,
            is_flooding: false,
        }
    }

    fn choose(&mut self) -> Option<Injected> {
        match self.plan {
            Plan::Once { fault, answer } => (answer == self.answers).then_some(fault),
            Plan::Chance { share, .. } => {
                let draw = self.chance.next() as f64 / 2f64.powi(64);
                let which = self.chance.next() as usize % Injected::ALL.len();
                (draw < share).then(|| Injected::ALL[which])
            }
        }
    }

    /// The whole answer of the inner link, which is at an end when it is silent.
    fn whole(&mut self, time_limit: Duration) -> Result<Vec<u8>, Trouble> {
        let mut answer = Vec::new();
        let mut wait = time_limit;
        // An endless inner link is not this one's fault.
        while answer.len() < 64 * PIECE {
            match self.inner.receive(wait)? {
                Received::Bytes(bytes, boundary) => {
                    answer.extend(bytes);
                    if boundary == Boundary::End {
                        break;
                    }
                    wait = Duration::from_millis(20).min(time_limit);
                }
                _ => break,
            }
        }
        Ok(answer)
    }

    fn spoil(&mut self, fault: Injected, time_limit: Duration) -> Result<Received, Trouble> {
        let unmarked = |bytes| Received::Bytes(bytes, Boundary::Unmarked);
        match fault {
            Injected::Hang => {
                self.inner.receive(time_limit)?;
                Ok(Received::Nothing)
            }
            Injected::Close => {
                self.is_closed = true;
                self.inner.close();
                Ok(Received::Closed)
            }
            Injected::Late => {
                let answer = self.whole(time_limit)?;
                self.held.extend(answer);
                Ok(Received::Nothing)
            }
            Injected::Flood if self.is_flooding => Ok(unmarked(vec![b'x'; 4096])),
            Injected::Flood => {
                self.is_flooding = true;
                // What begins as a block goes on as one.
                let answer = self.whole(time_limit)?;
                let start: &[u8] = if answer.starts_with(b"#") { b"#0" } else { b"" };
                Ok(unmarked([start, &[b'x'; 4096]].concat()))
            }
            Injected::Nonsense => {
                self.whole(time_limit)?;
                self.now = Some(Injected::Hang);
                let junk: Vec<u8> = (0..12).map(|_| b'a' + (self.chance.next() % 26) as u8).collect();
                Ok(unmarked([&b"?!"[..], &junk, b"\n"].concat()))
            }
            Injected::HalfBlock | Injected::WrongLength | Injected::HugeBlock => {
                let mut answer = self.whole(time_limit)?;
                self.now = Some(Injected::Hang);
                match fault {
                    Injected::HalfBlock => answer.truncate(answer.len() / 2),
                    Injected::WrongLength => {
                        let ends = answer.ends_with(b"\n");
                        answer.truncate(answer.len() - usize::from(ends));
                        answer.extend(b"and more\n");
                    }
                    _ => answer.splice(..0, *b"#9999999999").for_each(drop),
                }
                if answer.is_empty() { Ok(Received::Nothing) } else { Ok(unmarked(answer)) }
            }
        }
    }
}

impl<T: Transport> Transport for Faulty<T> {
    fn send(&mut self, message: &[u8], time_limit: Duration) -> Result<(), Trouble> {
        if self.is_closed {
            return Err(Trouble::Closed { doing: self.name(), received: 0 });
        }
        if message.contains(&b'?') {
            self.answers += 1;
            self.now = self.choose();
            self.is_flooding = false;
            let held = std::mem::take(&mut self.held);
            if !held.is_empty() {
                self.ready.push_back(Received::Bytes(held, Boundary::Unmarked));
            }
        }
        self.inner.send(message, time_limit)
    }

    fn receive(&mut self, time_limit: Duration) -> Result<Received, Trouble> {
        if self.is_closed {
            return Ok(Received::Closed);
        }
        if let Some(ready) = self.ready.pop_front() {
            return Ok(ready);
        }
        match self.now {
            // A look in passing finds what a fault has begun, but begins none.
            Some(fault) if !time_limit.is_zero() => self.spoil(fault, time_limit),
            _ => self.inner.receive(time_limit),
        }
    }

    fn clear(&mut self, time_limit: Duration) -> Result<(), Trouble> {
        self.now = None;
        self.ready.clear();
        self.is_closed = false;
        self.inner.clear(time_limit)
    }

    fn close(&mut self) {
        self.inner.close();
    }

    fn name(&self) -> String {
        format!("{}, with faults on purpose", self.inner.name())
    }
}

/// SplitMix64 (Steele, Lea, Flood 2014): enough to spoil answers by.
struct SplitMix(u64);

impl SplitMix {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let a = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let b = (a ^ (a >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        b ^ (b >> 31)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first numbers for the seed 1234567, as its authors' program prints them (from memory).
    #[test]
    fn chance_is_the_published_one() {
        let mut chance = SplitMix(1_234_567);
        assert_eq!(chance.next(), 6_457_827_717_110_365_317);
        assert_eq!(chance.next(), 3_203_168_211_198_807_973);
    }
}
