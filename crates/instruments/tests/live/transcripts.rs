//! What was said is written down, and replayed in place of the instrument.

use std::sync::Arc;

use flattop_instruments::Trouble;
use flattop_instruments::clock::{Hand, SharedClock};
use flattop_instruments::dialogue::{Dialogue, Instrument};
use flattop_instruments::transport::{
    Faulty, Injected, Loopback, Plan, Recorder, Replay, Transcript, Transport,
};

use crate::bench::{Digitizer, capture_of};

/// Two captures of the simulated digitizer, as the recorder wrote them.
const COMMITTED: &str = include_str!("scpi-1999.transcript");

fn record(plan: Plan, captures: usize) -> Transcript {
    let clock: SharedClock = Arc::new(Hand::new());
    let loopback = Loopback::new(Digitizer::new().replies(), Arc::clone(&clock));
    let (recorder, recording) = Recorder::new(Faulty::new(loopback, plan));
    let mut instrument = Instrument::new(Dialogue::scpi_1999().unwrap(), recorder, clock);
    for _ in 0..captures {
        let _ = instrument.capture();
    }
    recording.transcript()
}

fn replay(transcript: &Transcript, captures: usize) -> Vec<Result<Vec<f64>, Trouble>> {
    let clock: SharedClock = Arc::new(Hand::new());
    let replay = Replay::new("transcript", transcript.clone(), Arc::clone(&clock));
    let mut instrument = Instrument::new(Dialogue::scpi_1999().unwrap(), replay, clock);
    (0..captures).map(|_| instrument.capture().map(|acquired| acquired.volts)).collect()
}

const NO_FAULT: Plan = Plan::Once { fault: Injected::Hang, answer: 0 };

#[test]
fn a_transcript_replays_with_an_invented_identity() {
    let said = record(NO_FAULT, 2);
    let text = said.with_identity("Harrow Lane Lift Works,Bench A scope,0,0").to_text();
    assert!(text == COMMITTED, "the committed transcript should be:\n{text}");
    let volts = replay(&Transcript::read(COMMITTED).unwrap(), 2);
    let numbers: Vec<_> = volts.iter().map(|v| capture_of(v.as_ref().unwrap())).collect();
    assert_eq!(numbers, [Some(1), Some(2)]);
}

#[test]
fn faults_replay_too() {
    for fault in Injected::ALL.into_iter().filter(|fault| *fault != Injected::Flood) {
        let said = record(Plan::Once { fault, answer: 8 }, 2);
        let said = Transcript::read(&said.to_text()).unwrap();
        let outcomes = replay(&said, 2);
        assert!(outcomes[0].is_err(), "{fault:?}");
        assert_eq!(capture_of(outcomes[1].as_ref().unwrap()), Some(2), "{fault:?}");
    }
}

#[test]
fn another_conversation_is_refused() {
    let clock: SharedClock = Arc::new(Hand::new());
    let mut replay = Replay::new("transcript", Transcript::read(COMMITTED).unwrap(), clock);
    let trouble = replay.send(b"*RST\n", std::time::Duration::ZERO).unwrap_err();
    assert_eq!(trouble.to_string(), "transcript, entry 1: expected \"*IDN?\\n\", found \"*RST\\n\"");
    assert!(!replay.is_over());
}
