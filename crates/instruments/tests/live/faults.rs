//! Every fault is named for what it did, and the capture after it is right, without a restart.

use std::sync::Arc;
use std::time::Duration;

use flattop_instruments::Trouble;
use flattop_instruments::clock::{Hand, SharedClock};
use flattop_instruments::dialogue::{Dialogue, Instrument};
use flattop_instruments::source::{Cause, FromInstrument, Source, Step};
use flattop_instruments::transport::{Faulty, Injected, Loopback, Plan, Transport};

use crate::bench::{Digitizer, INTERVAL_S, capture_of};
use flattop_close::{assert_close, within};

/// Answers before the first capture: who it is, and three looks at its errors. Then, for each capture: `*OPC?`, points,
/// interval, samples.
const SAMPLES: u64 = 8;
const POINTS: u64 = 6;

fn faulty(plan: Plan) -> Instrument<Faulty<Loopback>> {
    let clock: SharedClock = Arc::new(Hand::new());
    let loopback = Loopback::new(Digitizer::new().replies(), Arc::clone(&clock));
    Instrument::new(Dialogue::scpi_1999().unwrap(), Faulty::new(loopback, plan), clock)
}

/// What a fault at this answer is called, and how the next capture comes.
fn name(fault: Injected, answer: u64) -> String {
    let mut instrument = faulty(Plan::Once { fault, answer });
    let trouble = instrument.capture().unwrap_err();
    let next = instrument.capture().unwrap();
    // The second capture was armed after the first one failed.
    assert_eq!(capture_of(&next.volts), Some(2), "{fault:?}");
    assert_close!(next.interval_s, INTERVAL_S, within(1e-18));
    let late = next.findings.iter().filter(|finding| finding.code == "late-answer").count();
    assert_eq!(late, usize::from(fault == Injected::Late), "{fault:?}");
    let again = instrument.capture().unwrap();
    assert_eq!(capture_of(&again.volts), Some(3));
    assert_eq!(again.findings, []);
    format!("{trouble:?}").split(' ').next().unwrap().to_owned()
}

#[test]
fn faults_within_samples_are_named_and_the_next_capture_is_right() {
    let names = Injected::ALL.map(|fault| (fault, name(fault, SAMPLES)));
    let expected = [
        (Injected::Hang, "TimedOut"),
        (Injected::Close, "Closed"),
        (Injected::Nonsense, "Nonsense"),
        // It is late, so it has not come in time; before the next capture it is passed over with a finding.
        (Injected::Late, "TimedOut"),
        (Injected::HalfBlock, "ShortBlock"),
        (Injected::WrongLength, "WrongLength"),
        (Injected::HugeBlock, "TooLarge"),
        (Injected::Flood, "Flood"),
    ];
    assert_eq!(names, expected.map(|(fault, name)| (fault, name.to_owned())));
}

#[test]
fn faults_within_a_line_are_named_and_the_next_capture_is_right() {
    let names = Injected::ALL.map(|fault| (fault, name(fault, POINTS)));
    let expected = [
        (Injected::Hang, "TimedOut"),
        (Injected::Close, "Closed"),
        (Injected::Nonsense, "Nonsense"),
        (Injected::Late, "TimedOut"),
        // Half a line has no end, and more behind a number makes it none.
        (Injected::HalfBlock, "TimedOut"),
        (Injected::WrongLength, "Nonsense"),
        (Injected::HugeBlock, "Nonsense"),
        (Injected::Flood, "Flood"),
    ];
    assert_eq!(names, expected.map(|(fault, name)| (fault, name.to_owned())));
}

#[test]
fn what_came_unasked_is_late() {
    let clock: SharedClock = Arc::new(Hand::new());
    let mut digitizer = Digitizer::new();
    let mut has_doubled = false;
    let twice = move |message: &[u8]| {
        let answer = digitizer.answer(message);
        // Once the points come twice.
        let times = if answer == b"40\n" && !std::mem::replace(&mut has_doubled, true) { 2 } else { 1 };
        let reply = flattop_instruments::transport::Reply::now(answer.clone());
        if answer.is_empty() { Vec::new() } else { vec![reply; times] }
    };
    let loopback = Loopback::new(twice, Arc::clone(&clock));
    let mut instrument = Instrument::new(Dialogue::scpi_1999().unwrap(), loopback, clock);
    let trouble = instrument.capture().unwrap_err();
    assert_eq!(
        trouble,
        Trouble::Late { question: "\"SENSe:SWEep:POINts?\"".into(), bytes: 3, excerpt: "\"40\\n\"".into() }
    );
    assert_eq!(capture_of(&instrument.capture().unwrap().volts), Some(2));
}

/// A fifth of all answers spoilt by chance: what arrives is right all the same, and the stream never ends.
#[test]
fn many_faults_by_chance_never_make_a_wrong_capture() {
    let (mut right, mut problems, mut late) = (0, 0, 0);
    for seed in 0..20 {
        let clock: SharedClock = Arc::new(Hand::new());
        let theirs = Arc::clone(&clock);
        let mut made = 0;
        let connect = move || {
            made += 1;
            assert_eq!(made, 1, "connected anew");
            let loopback = Loopback::new(Digitizer::new().replies(), Arc::clone(&theirs));
            let plan = Plan::Chance { share: 0.05, seed };
            Ok(Box::new(Faulty::new(loopback, plan)) as Box<dyn Transport>)
        };
        let dialogue = Dialogue::scpi_1999().unwrap();
        let mut source = FromInstrument::new("bench", dialogue, Box::new(connect), Arc::clone(&clock));
        let mut last = 0;
        for _ in 0..60 {
            let before = clock.now();
            match source.next(Duration::from_secs(10)) {
                Step::Arrived(arrived) => {
                    let record = arrived.capture.record();
                    let volts: Vec<f64> = record.samples.to_vec();
                    let number = capture_of(&volts).expect("a right capture");
                    assert!(number > last, "seed {seed}: {number} after {last}");
                    last = number;
                    right += 1;
                    late += arrived.findings.iter().filter(|f| f.code == "late-answer").count();
                }
                Step::Problem(problem) => {
                    assert!(matches!(problem.cause, Cause::Link(_)), "{:?}", problem.cause);
                    problems += 1;
                }
                Step::Nothing => {}
                Step::Ended => panic!("ended"),
            }
            // Each question has its limit, and there are few of them.
            assert!(clock.now() - before < Duration::from_secs(120));
        }
    }
    assert!(right > 400 && problems > 100 && late > 10, "{right} {problems} {late}");
}

/// An instrument that makes any noise at all: no panic, no endless wait.
#[test]
fn noise_ends_by_its_deadline() {
    for seed in 0..50u64 {
        let clock: SharedClock = Arc::new(Hand::new());
        let mut state = seed;
        let noise = move |_: &[u8]| {
            let mut next = || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) as u8
            };
            let pieces = next() % 4;
            let kinds: [&[u8]; 6] = [b"#", b"1\n", b"#15", b"\n", b"#0", b"0,\"x\"\n"];
            (0..pieces)
                .map(|_| {
                    let start = kinds[usize::from(next()) % kinds.len()];
                    let rest: Vec<u8> = (0..next() % 9).map(|_| next()).collect();
                    flattop_instruments::transport::Reply::now([start, &rest].concat())
                })
                .collect()
        };
        let loopback = Loopback::new(noise, Arc::clone(&clock));
        let mut instrument = Instrument::new(Dialogue::scpi_1999().unwrap(), loopback, Arc::clone(&clock));
        for _ in 0..20 {
            let before = clock.now();
            let _ = instrument.capture();
            assert!(clock.now() - before < Duration::from_secs(120), "seed {seed}");
        }
    }
}

#[test]
fn the_instrument_says_what_it_did_not_understand() {
    let clock: SharedClock = Arc::new(Hand::new());
    let text = flattop_instruments::dialogue::SCPI_1999.replace("\"FETCh?\"", "\"FETSCH?\"");
    let dialogue = Dialogue::parse("misspelt.toml", &text).unwrap();
    let theirs = Arc::clone(&clock);
    let connect = move || -> Result<Box<dyn Transport>, Trouble> {
        Ok(Box::new(Loopback::new(Digitizer::new().replies(), Arc::clone(&theirs))))
    };
    let mut source = FromInstrument::new("bench", dialogue, Box::new(connect), clock).asking_status();
    let Step::Problem(problem) = source.next(Duration::ZERO) else { panic!("a capture came") };
    let Cause::Explained { trouble, said } = &problem.cause else { panic!("{problem:?}") };
    assert!(matches!(trouble, Trouble::TimedOut { .. }), "{trouble:?}");
    // IEEE 488.2, 11.5.1: bit 5 of the event register is a command error. SCPI-1999, 21.8.9: -113 is an undefined header.
    assert!(said.contains("*ESR? 32: a message was not understood"), "{said}");
    assert!(said.contains("*STB? 4: errors are listed"), "{said}");
    assert!(said.contains("SYSTem:ERRor? -113,\"Undefined header\""), "{said}");
}
