//! A practice bench that several links and hands share, and what is shown of it.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use flattop_core::quantity::{Unit, format_engineering};
use flattop_instruments::clock::SharedClock;
use flattop_instruments::transport::{Loopback, Reply};
use flattop_practice::bench::{Bench, Input};
use flattop_practice::digitizer::{Digitizer, Next};
use flattop_practice::disturbance::{Disturbances, Key};
use flattop_practice::order::Order;
use flattop_practice::trimmer::{Stop, TRAVEL_DEG};
use serde::Serialize;
use utoipa::ToSchema;

/// The divider of every practice probe, as typed.
pub(crate) const DIVIDER: &str = "9M:1M";

/// What a practice bench is made of.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wish {
    pub(crate) inputs: usize,
    pub(crate) disturbances: Disturbances,
    pub(crate) seed: u64,
    /// Whether the setting is hidden until it is asked for.
    pub(crate) is_blind: bool,
    /// Where every probe stands at the start, if it is not left to the seed.
    pub(crate) start: Option<f64>,
}

/// The bench.
pub(crate) struct Practice {
    inside: Mutex<Inside>,
    clock: SharedClock,
}

struct Inside {
    bench: Bench,
    is_blind: bool,
    is_revealed: bool,
    /// The input that is turned, from 0.
    chosen: usize,
}

/// What can be seen of the bench.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub(crate) struct Standing {
    /// The divider, tip to shunt.
    divider: &'static str,
    /// Frequency of the source, Hz.
    frequency_hz: f64,
    /// Whether the setting is hidden until it is asked for.
    blind: bool,
    /// Whether it has been asked for.
    revealed: bool,
    /// The input that is turned where none is named.
    chosen: usize,
    disturbances: DisturbancesShown,
    inputs: Vec<InputStanding>,
}

/// What disturbs the signal, as it is written.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub(crate) struct DisturbancesShown {
    noise: String,
    hum: String,
    ringing: String,
    droop: String,
    hook: String,
    bits: u32,
}

/// A probe on its input.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub(crate) struct InputStanding {
    /// Number of the input, from 1.
    input: usize,
    /// What the hand has turned since the start, degrees; clockwise, towards more capacitance, is positive.
    turned_deg: f64,
    /// From stop to stop, degrees.
    travel_deg: f64,
    /// The stop at which it stands: `low` or `high`.
    at_stop: Option<&'static str>,
    /// Null while it is hidden.
    setting: Option<Setting>,
}

/// Where a trimmer stands.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub(crate) struct Setting {
    /// Angle from the lower stop, degrees.
    angle_deg: f64,
    /// Capacitance at the tip, F.
    capacitance_f: f64,
    /// e as it stands.
    compensation_error: f64,
    /// The angle at which the probe would be compensated; null where it is out of reach.
    matched_angle_deg: Option<f64>,
}

impl Practice {
    pub(crate) fn new(wish: Wish, clock: &SharedClock) -> Arc<Self> {
        let mut bench = Bench::new(wish.inputs, wish.disturbances, wish.seed);
        if let Some(error) = wish.start {
            (0..wish.inputs).for_each(|input| bench.start_at(input, error));
        }
        let inside = Inside { bench, is_blind: wish.is_blind, is_revealed: false, chosen: 0 };
        Arc::new(Self { inside: Mutex::new(inside), clock: Arc::clone(clock) })
    }

    fn lock(&self) -> MutexGuard<'_, Inside> {
        self.inside.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Time of the instrument.
    pub(crate) fn now(&self) -> Duration {
        self.clock.now()
    }

    /// Lets a digitizer go on by the time it is.
    pub(crate) fn next(&self, digitizer: &mut Digitizer) -> Next {
        let now = self.now();
        digitizer.next(&mut self.lock().bench, now)
    }

    /// Carries out an order; `End` is the caller's.
    ///
    /// # Errors
    /// It cannot be: the message says why and what can.
    pub(crate) fn carry_out(&self, order: &Order) -> Result<(), String> {
        match order {
            Order::Turn { by_deg, input } => self.turn(*by_deg, *input),
            Order::Input(number) => self.choose(*number),
            Order::Set { key, text } => self.set_all(&[(*key, text.clone())]).map_err(|(_, message)| message),
            Order::Reveal => {
                self.reveal();
                Ok(())
            }
            Order::End => Ok(()),
        }
    }

    /// Turns a trimmer, that of the chosen input where none is named.
    pub(crate) fn turn(&self, by_deg: f64, input: Option<usize>) -> Result<(), String> {
        let mut inside = self.lock();
        let number = input.unwrap_or(inside.chosen + 1);
        let count = inside.bench.inputs().len();
        match number.checked_sub(1).and_then(|index| inside.bench.turn(index, by_deg)) {
            Some(turned) => turned.map_err(|error| error.to_string()),
            None => Err(no_input(number, count)),
        }
    }

    fn choose(&self, number: usize) -> Result<(), String> {
        let mut inside = self.lock();
        let count = inside.bench.inputs().len();
        inside.chosen =
            number.checked_sub(1).filter(|k| *k < count).ok_or_else(|| no_input(number, count))?;
        Ok(())
    }

    /// Changes several disturbances, or, where one of them cannot be, none.
    pub(crate) fn set_all(&self, changes: &[(Key, String)]) -> Result<(), (Key, String)> {
        let mut inside = self.lock();
        let mut all = *inside.bench.disturbances();
        for (key, text) in changes {
            all.set(*key, text).map_err(|error| (*key, error.to_string()))?;
        }
        inside.bench.disturb(all);
        Ok(())
    }

    /// Shows the setting from now on.
    pub(crate) fn reveal(&self) {
        self.lock().is_revealed = true;
    }

    /// What can be seen.
    pub(crate) fn standing(&self) -> Standing {
        let inside = self.lock();
        let is_seen = !inside.is_blind || inside.is_revealed;
        let all = inside.bench.disturbances();
        Standing {
            divider: DIVIDER,
            frequency_hz: inside.bench.frequency_hz(),
            blind: inside.is_blind,
            revealed: inside.is_revealed,
            chosen: inside.chosen + 1,
            disturbances: DisturbancesShown::of(all),
            inputs: inside
                .bench
                .inputs()
                .iter()
                .enumerate()
                .map(|(index, input)| InputStanding::of(index, input, is_seen))
                .collect(),
        }
    }

    /// A way to the instrument within this program. What a message waits for is reckoned ahead, with the trimmer as it stands.
    pub(crate) fn loopback(self: &Arc<Self>, most_per_second: f64) -> Loopback {
        let (practice, mut digitizer) = (Arc::clone(self), Digitizer::new(most_per_second));
        let answer = move |message: &[u8]| {
            digitizer.message(message);
            let begin = practice.now();
            let (mut now, mut last) = (begin, begin);
            let mut replies = Vec::new();
            loop {
                let next = digitizer.next(&mut practice.lock().bench, now);
                match next {
                    Next::Answer(bytes) => {
                        replies.push(Reply { after: now - last, ..Reply::now(bytes) });
                        last = now;
                    }
                    Next::At(time) if digitizer.has_work() => now = now.max(time),
                    Next::At(_) | Next::Idle => return replies,
                }
            }
        };
        Loopback::new(answer, Arc::clone(&self.clock))
    }
}

fn no_input(number: usize, count: usize) -> String {
    format!("there is no input {number}; the inputs are 1 to {count}")
}

impl DisturbancesShown {
    fn of(all: &Disturbances) -> Self {
        Self {
            noise: all.text(Key::Noise),
            hum: all.text(Key::Hum),
            ringing: all.text(Key::Ringing),
            droop: all.text(Key::Droop),
            hook: all.text(Key::Hook),
            bits: all.bits,
        }
    }
}

impl InputStanding {
    fn of(index: usize, input: &Input, is_seen: bool) -> Self {
        let trimmer = input.trimmer();
        Self {
            input: index + 1,
            turned_deg: trimmer.turned_deg(),
            travel_deg: TRAVEL_DEG,
            at_stop: trimmer.stop().map(|stop| match stop {
                Stop::Low => "low",
                Stop::High => "high",
            }),
            setting: is_seen.then(|| Setting {
                angle_deg: trimmer.angle_deg(),
                capacitance_f: trimmer.capacitance_f(),
                compensation_error: input.shelf().error,
                matched_angle_deg: input.matched_angle_deg(),
            }),
        }
    }

    /// In words, one line.
    pub(crate) fn line(&self) -> String {
        let mut line = format!("input {}: turned {:+.1}°", self.input, self.turned_deg);
        match self.at_stop {
            Some("low") => line.push_str(", at the lower stop"),
            Some(_) => line.push_str(", at the upper stop"),
            None => {}
        }
        match &self.setting {
            Some(setting) => {
                line.push_str(&format!(
                    ", stands at {:.1}° of {TRAVEL_DEG}° ({}), e = {:+.2} %",
                    setting.angle_deg,
                    format_engineering(setting.capacitance_f, Unit::Farad, 4),
                    100.0 * setting.compensation_error
                ));
                match setting.matched_angle_deg {
                    Some(angle) => line.push_str(&format!(", flat at {angle:.1}°")),
                    None => line.push_str(", flat out of reach"),
                }
            }
            None => line.push_str(", setting hidden"),
        }
        line
    }
}

impl Standing {
    /// One of its inputs.
    pub(crate) fn input(&self, number: usize) -> Option<&InputStanding> {
        self.inputs.iter().find(|one| one.input == number)
    }

    /// All of them.
    pub(crate) fn inputs(&self) -> &[InputStanding] {
        &self.inputs
    }

    /// The one that is turned where none is named.
    pub(crate) fn chosen(&self) -> Option<&InputStanding> {
        self.input(self.chosen)
    }

    /// What disturbs the signal.
    pub(crate) fn disturbances(&self) -> &DisturbancesShown {
        &self.disturbances
    }

    pub(crate) fn is_blind(&self) -> bool {
        self.blind
    }

    pub(crate) fn is_revealed(&self) -> bool {
        self.revealed
    }

    /// Frequency of the source, Hz.
    pub(crate) fn frequency_hz(&self) -> f64 {
        self.frequency_hz
    }
}
