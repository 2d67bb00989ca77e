//! The person at the practice bench: keys in a terminal, or a line each on standard input.

use std::io::{BufRead, IsTerminal};
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

use console::{Key, Term};
use flattop_instruments::clock::SharedClock;
use flattop_practice::order::{self, Order};
use serde::Serialize;

use super::Args;
use super::running::{Practice, Standing};
use crate::output::{complain, print};
use crate::status::Ending;

/// Steps of the keys, degrees.
const FINE_DEG: f64 = 1.0;
const COARSE_DEG: f64 = 10.0;

const CAUTION: &str = "Practice: nothing real is measured. On a real bench the probe hangs on the probe-adjust output and on nothing \
                       else; its ground clip is joined to earth.";
const KEYS: &str =
    "Left and right turn by 1°, down and up by 10°; a digit chooses the input; r reveals; q ends.";

/// Where the bench can be reached.
#[derive(Clone, Copy, Debug)]
pub(super) struct Places {
    pub(super) raw: SocketAddr,
    pub(super) hislip: Option<SocketAddr>,
    pub(super) http: Option<SocketAddr>,
    pub(super) seed: u64,
}

/// A line of `--json`.
#[derive(Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
enum Event<'a> {
    /// It can be reached.
    Listening {
        address: String,
        #[serde(skip_serializing_if = "Option::is_none")]
        hislip: Option<String>,
        #[serde(skip_serializing_if = "Option::is_none")]
        http: Option<String>,
        seed: u64,
        caution: &'static str,
        #[serde(flatten)]
        standing: Standing,
    },
    /// An order was carried out.
    Standing {
        #[serde(flatten)]
        standing: Standing,
    },
    /// An order was none.
    Refused { message: &'a str },
    /// It is over; the setting is shown.
    Ended {
        #[serde(flatten)]
        standing: Standing,
    },
}

/// What somebody said.
enum Said {
    Order(Order),
    /// It was none.
    Wrong(String),
    /// Nobody says anything any more.
    Gone,
}

/// The desk.
pub(super) struct Desk<'a> {
    practice: &'a Arc<Practice>,
    clock: &'a SharedClock,
    for_s: Option<f64>,
    is_json: bool,
}

impl<'a> Desk<'a> {
    pub(super) fn new(args: &Args, practice: &'a Arc<Practice>, clock: &'a SharedClock) -> Self {
        Self { practice, clock, for_s: args.for_s, is_json: args.json }
    }

    /// Until the end.
    pub(super) fn sit(&self, places: &Places) -> Result<Ending, String> {
        let has_keys = std::io::stdin().is_terminal() && std::io::stdout().is_terminal() && !self.is_json;
        let mut written = self.opened(places, has_keys);
        let (sender, said) = mpsc::channel();
        std::thread::spawn(move || if has_keys { keys(&sender) } else { lines(&sender) });
        let end = self.for_s.map(|seconds| self.clock.now() + Duration::from_secs_f64(seconds.min(1e9)));
        while written == Ending::Good {
            let wait = end.map(|end| end.saturating_sub(self.clock.now()));
            let heard = match wait {
                Some(wait) => said.recv_timeout(wait),
                None => said.recv().map_err(|_| RecvTimeoutError::Disconnected),
            };
            match heard {
                Ok(Said::Order(Order::End)) | Err(RecvTimeoutError::Timeout) => break,
                Ok(Said::Order(order)) => {
                    written = match self.practice.carry_out(&order) {
                        Ok(()) => self.told(has_keys),
                        Err(message) => self.refused(&message),
                    };
                }
                Ok(Said::Wrong(message)) => written = self.refused(&message),
                // Without anybody it goes on until it is ended from outside, or its time is over.
                Ok(Said::Gone) | Err(RecvTimeoutError::Disconnected) => match end {
                    Some(end) => {
                        std::thread::sleep(end.saturating_sub(self.clock.now()));
                        break;
                    }
                    None => loop {
                        std::thread::park();
                    },
                },
            }
        }
        let ended = self.ended(has_keys);
        Ok(written.max(ended))
    }

    fn opened(&self, places: &Places, has_keys: bool) -> Ending {
        let standing = self.practice.standing();
        if self.is_json {
            return self.event(&Event::Listening {
                address: format!("tcp://{}", places.raw),
                hislip: places.hislip.map(|place| format!("hislip://{place}")),
                http: places.http.map(|place| format!("http://{place}/api/practice")),
                seed: places.seed,
                caution: CAUTION,
                standing,
            });
        }
        let mut text = format!("{CAUTION}\n\n  flattop trim --connect tcp://{}\n", places.raw);
        if let Some(place) = places.hislip {
            text.push_str(&format!("  flattop trim --connect hislip://{place}\n"));
        }
        if let Some(place) = places.http {
            text.push_str(&format!("  http://{place}/api/practice\n"));
        }
        text.push_str(&format!(
            "\nSeed {}. Source {} Hz; probes {} adjusted at the tip.\n",
            places.seed,
            standing.frequency_hz(),
            super::running::DIVIDER
        ));
        for input in standing.inputs() {
            text.push_str(&format!("{}\n", input.line()));
        }
        if has_keys {
            text.push_str(&format!("\n{KEYS}\n"));
        }
        print(text.as_bytes())
    }

    fn told(&self, has_keys: bool) -> Ending {
        let standing = self.practice.standing();
        if self.is_json {
            return self.event(&Event::Standing { standing });
        }
        let line = standing.chosen().map(super::running::InputStanding::line).unwrap_or_default();
        if has_keys {
            // The same line over and over.
            print(format!("\r\x1b[K{line}").as_bytes())
        } else {
            print(format!("{line}\n").as_bytes())
        }
    }

    fn refused(&self, message: &str) -> Ending {
        if self.is_json {
            return self.event(&Event::Refused { message });
        }
        complain(message);
        Ending::Good
    }

    fn ended(&self, has_keys: bool) -> Ending {
        self.practice.reveal();
        let standing = self.practice.standing();
        if self.is_json {
            return self.event(&Event::Ended { standing });
        }
        let lines: String = standing.inputs().iter().map(|input| format!("{}\n", input.line())).collect();
        let lead = if has_keys { "\n" } else { "" };
        print(format!("{lead}At the end:\n{lines}").as_bytes())
    }

    fn event(&self, event: &Event<'_>) -> Ending {
        match serde_json::to_string(event) {
            Ok(line) => print(format!("{line}\n").as_bytes()),
            Err(error) => {
                complain(&format!("an event could not be written as JSON: {error}"));
                Ending::Unusable
            }
        }
    }
}

/// Hears lines until there are no more.
fn lines(said: &mpsc::Sender<Said>) {
    for line in std::io::stdin().lock().lines() {
        let Ok(line) = line else { break };
        let heard = match order::read(&line) {
            Ok(None) => continue,
            Ok(Some(order)) => Said::Order(order),
            Err(error) => Said::Wrong(error.to_string()),
        };
        if said.send(heard).is_err() {
            return;
        }
    }
    let _ = said.send(Said::Gone);
}

/// Hears keys. Ctrl-C ends the program, as everywhere.
fn keys(said: &mpsc::Sender<Said>) {
    let term = Term::stdout();
    loop {
        let turn = |by_deg| Some(Order::Turn { by_deg, input: None });
        let order = match term.read_key() {
            Ok(Key::ArrowLeft) => turn(-FINE_DEG),
            Ok(Key::ArrowRight) => turn(FINE_DEG),
            Ok(Key::ArrowDown) => turn(-COARSE_DEG),
            Ok(Key::ArrowUp) => turn(COARSE_DEG),
            Ok(Key::Char(digit @ '1'..='9')) => digit.to_digit(10).map(|digit| Order::Input(digit as usize)),
            Ok(Key::Char('r')) => Some(Order::Reveal),
            Ok(Key::Char('q') | Key::Escape) => Some(Order::End),
            Ok(_) => None,
            Err(_) => {
                let _ = said.send(Said::Gone);
                return;
            }
        };
        if let Some(order) = order
            && said.send(Said::Order(order)).is_err()
        {
            return;
        }
    }
}
