//! Streams of records, as standard input gives them.

use std::io::{Cursor, Read};
use std::sync::Arc;
use std::time::Duration;

use flattop_captures::ReadOptions;
use flattop_instruments::clock::{SharedClock, Steady};
use flattop_instruments::source::{Cause, Feed, Source, Step, Stream};

const LONG: Duration = Duration::from_secs(30);

fn record(level: u32) -> String {
    let rows = (0..20).map(|i| format!("{i}e-6,{}\n", f64::from(level) + f64::from(i % 2)));
    format!("Time (s),CH1 (V)\n{}", rows.collect::<String>())
}

fn clock() -> SharedClock {
    Steady::shared()
}

fn shown(step: Step) -> String {
    match step {
        Step::Arrived(arrived) => {
            format!(
                "{}: {} of {}",
                arrived.name,
                arrived.capture.record().samples.at(0),
                arrived.capture.points
            )
        }
        Step::Problem(problem) => format!("{}! {}", problem.name, problem.cause),
        Step::Nothing => "nothing".into(),
        Step::Ended => "ended".into(),
    }
}

#[test]
fn records_arrive_one_after_the_other() {
    let text = format!("{}\n{}\x0cno capture\n\x0c{}", record(1), record(2), record(4));
    let mut stream =
        Stream::new("standard input", Cursor::new(text), ReadOptions::default(), 10_000, clock());
    let mut next = || shown(stream.next(LONG));
    assert_eq!(next(), "standard input 1: 1 of 20");
    assert_eq!(next(), "standard input 2: 2 of 20");
    assert!(next().starts_with("standard input 3! standard input 3"));
    assert_eq!(next(), "standard input 4: 4 of 20");
    assert_eq!(next(), "ended");
    assert_eq!(next(), "ended");
}

/// A reader that fails.
struct Broken;

impl Read for Broken {
    fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
        Err(std::io::Error::other("pulled out"))
    }
}

#[test]
fn a_stream_that_breaks_ends_with_a_problem() {
    let reader = Cursor::new(format!("{}\n", record(1))).chain(Broken);
    let mut stream = Stream::new("pipe", reader, ReadOptions::default(), 10_000, clock());
    assert_eq!(shown(stream.next(LONG)), "pipe 1: 1 of 20");
    let step = stream.next(LONG);
    assert!(matches!(&step, Step::Problem(p) if matches!(p.cause, Cause::Stream { .. })), "{step:?}");
    assert_eq!(shown(stream.next(LONG)), "ended");
}

/// A reader that never comes back.
struct Silent(Arc<std::sync::Barrier>);

impl Read for Silent {
    fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
        self.0.wait();
        Ok(0)
    }
}

#[test]
fn silence_is_no_end() {
    let barrier = Arc::new(std::sync::Barrier::new(2));
    let reader = Silent(Arc::clone(&barrier));
    let mut stream = Stream::new("pipe", reader, ReadOptions::default(), 10_000, clock());
    assert_eq!(shown(stream.next(Duration::from_millis(5))), "nothing");
    barrier.wait();
    assert_eq!(shown(stream.next(LONG)), "ended");
}

/// A hundred captures at once, and room for three: the last ones are there, and the number of the others is told.
#[test]
fn the_newest_win() {
    let text: String = (1..=100).map(|level| format!("{}\n", record(level))).collect();
    let stream = Stream::new("pipe", Cursor::new(text), ReadOptions::default(), 10_000, clock());
    let mut feed = Feed::start(stream, 3);
    // Wait until the stream is over, then look.
    let (mut seen, mut left_out, mut last) = (0, 0, String::new());
    std::thread::sleep(Duration::from_millis(300));
    loop {
        match feed.next(LONG) {
            Step::Arrived(arrived) => {
                seen += 1;
                left_out += arrived.left_out;
                last = arrived.name;
            }
            Step::Ended => break,
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(seen + left_out, 100);
    assert_eq!(last, "pipe 100");
}
