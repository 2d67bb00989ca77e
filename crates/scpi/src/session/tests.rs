//! Conversations as scripts: what is sent, what comes back when, and what becomes of it.

use super::*;
use crate::block;
use proptest::prelude::*;

const SECOND: Duration = Duration::from_secs(1);
const LINE: Expect = Expect::Line { limit: 10 };
const BLOCK: Expect = Expect::Block { limit: 10 };

fn ms(milliseconds: u64) -> Duration {
    Duration::from_millis(milliseconds)
}

/// A question sent at 0 with one second of time.
fn asked(expect: Expect) -> Session {
    let mut session = Session::new();
    session.ask(ms(0), b"A?", b"\n", expect, SECOND).unwrap();
    assert_eq!(session.output(), b"A?\n");
    session
}

/// What comes of pieces that arrive 10 ms apart, looked at `at` ms.
fn unmarked(expect: Expect, pieces: &[&[u8]], at: u64) -> Option<Result<Answer, Fault>> {
    let mut session = asked(expect);
    for (index, piece) in pieces.iter().enumerate() {
        session.input(ms(10 * (index as u64 + 1)), piece, Boundary::Unmarked);
    }
    session.outcome(ms(at))
}

fn words(outcome: Option<Result<Answer, Fault>>) -> String {
    outcome.unwrap().unwrap_err().to_string()
}

#[test]
fn lines() {
    assert_eq!(unmarked(LINE, &[b"1.5\n"], 20), Some(Ok(Answer::Line(b"1.5".to_vec()))));
    assert_eq!(unmarked(LINE, &[b"1.", b"5\r", b"\n"], 40), Some(Ok(Answer::Line(b"1.5".to_vec()))));
    assert_eq!(unmarked(LINE, &[b"1.5"], 999), None);
    let mut session = asked(LINE);
    session.input(ms(10), b"1.5", Boundary::End);
    assert_eq!(session.outcome(ms(10)), Some(Ok(Answer::Line(b"1.5".to_vec()))));
}

#[test]
fn blocks_end_by_line_feed_mark_or_silence() {
    let abc = Some(Ok(Answer::Block(b"abc".to_vec())));
    assert_eq!(unmarked(BLOCK, &[b"#13a", b"bc\n"], 20), abc);
    assert_eq!(unmarked(BLOCK, &[b" #13abc\r\n"], 20), abc);
    assert_eq!(unmarked(BLOCK, &[b"#13abc"], 159), None);
    assert_eq!(unmarked(BLOCK, &[b"#13abc"], 160), abc);
    assert_eq!(unmarked(BLOCK, &[b"#0abc\n"], 159), None);
    assert_eq!(unmarked(BLOCK, &[b"#0abc\n"], 160), abc);
    assert_eq!(unmarked(BLOCK, &[b"#0a\n", b"bc\n"], 170), Some(Ok(Answer::Block(b"a\nbc".to_vec()))));
    for bytes in [&b"#13abc"[..], b"#13abc\n", b"#0abc", b"#0abc\n"] {
        let mut session = asked(BLOCK);
        session.input(ms(10), bytes, Boundary::End);
        assert_eq!(session.outcome(ms(10)), abc, "{bytes:?}");
    }
}

#[test]
fn faults_are_named_for_what_happened() {
    let late_line = unmarked(LINE, &[b"1.5"], 1000);
    assert_eq!(late_line, Some(Err(Fault::TimedOut { question: "A?".into(), waited: SECOND, received: 3 })));
    assert_eq!(
        words(late_line),
        "no answer to \"A?\" within 1s, only 3 bytes of it; check that the instrument can do this, or allow it more time"
    );
    assert_eq!(
        words(unmarked(BLOCK, &[b"#15abc"], 1000)),
        "the answer to \"A?\" announces a block of 5 bytes, and 3 came"
    );
    assert_eq!(
        words(unmarked(BLOCK, &[b"#13abcd\n"], 20)),
        "the answer to \"A?\" announces a block of 3 bytes, but goes on behind it with \"d\\n\""
    );
}

#[test]
fn more_faults() {
    assert_eq!(
        words(unmarked(BLOCK, &[b"#8123456789"], 20)),
        "the answer to \"A?\" announces a block of 12345678 bytes, and at most 10 are taken; record fewer points, or raise the limit"
    );
    assert_eq!(
        words(unmarked(BLOCK, &[b"#0", &[b'x'; 12]], 30)),
        "the answer to \"A?\" has no end after 12 bytes, and at most 10 are taken"
    );
    assert_eq!(
        words(unmarked(LINE, &[&[b'x'; 6], &[b'x'; 6]], 30)),
        "the answer to \"A?\" has no end after 12 bytes, and at most 10 are taken"
    );
    assert_eq!(
        words(unmarked(BLOCK, &[b"ERROR\n"], 20)),
        "the answer to \"A?\" is not what was expected: expected a block, which begins with \"#\", found \"ERROR\\n\""
    );
    assert_eq!(
        words(unmarked(LINE, &[b"1\n2\n"], 20)),
        "the answer to \"A?\" is not what was expected: expected one line, found more behind it: \"2\\n\""
    );
    let mut session = asked(LINE);
    session.input(ms(5), b"1", Boundary::Unmarked);
    session.closed();
    assert_eq!(session.outcome(ms(6)), Some(Err(Fault::Closed { question: "A?".into(), received: 1 })));
    // A message that ends within its block.
    let mut session = asked(BLOCK);
    session.input(ms(5), b"#15abc", Boundary::End);
    assert_eq!(
        session.outcome(ms(6)),
        Some(Err(Fault::ShortBlock { question: "A?".into(), announced: 5, received: 3 }))
    );
}

#[test]
fn what_came_unasked_is_late() {
    let mut session = asked(LINE);
    session.input(ms(10), b"1\n", Boundary::Unmarked);
    session.input(ms(20), b"1\n", Boundary::Unmarked);
    assert_eq!(session.outcome(ms(30)), Some(Ok(Answer::Line(b"1".to_vec()))));
    session.input(ms(40), b"1\n", Boundary::Unmarked);
    session.ask(ms(50), b"B?", b"\n", LINE, SECOND).unwrap();
    assert_eq!(session.output(), b"");
    assert_eq!(
        session.outcome(ms(50)),
        Some(Err(Fault::Late { question: "A?".into(), bytes: 4, excerpt: "\"1\\n1\\n\"".into() }))
    );
}

#[test]
fn after_a_fault_nothing_is_asked_before_the_link_is_in_step() {
    let mut session = asked(LINE);
    assert!(matches!(session.outcome(SECOND), Some(Err(Fault::TimedOut { .. }))));
    assert_eq!(session.ask(SECOND, b"B?", b"\n", LINE, SECOND), Err(NotReady::Unsettled));
    session.settle();
    assert_eq!(session.ask(SECOND, b"B?", b"\n", LINE, SECOND), Ok(()));
    assert_eq!(session.ask(SECOND, b"C?", b"\n", LINE, SECOND), Err(NotReady::Busy));
    assert_eq!(session.synchronise(SECOND, &|_| vec![], 9, SECOND), Err(NotReady::Busy));
}

fn mark(number: u8) -> Vec<u8> {
    format!("*ESE {number};*ESE?\n").into_bytes()
}

#[test]
fn a_mark_tells_what_is_late() {
    let mut session = asked(BLOCK);
    session.outcome(SECOND).unwrap().unwrap_err();
    session.synchronise(SECOND, &mark, 1000, SECOND).unwrap();
    assert_eq!(session.output(), b"*ESE 1;*ESE?\n");
    // The late block even holds the mark, and goes on.
    session.input(ms(1010), b"#0ab\n1\n", Boundary::Unmarked);
    assert_eq!(session.outcome(ms(1100)), None);
    session.input(ms(1110), b"cd\n1\n", Boundary::Unmarked);
    assert_eq!(session.outcome(ms(1259)), None);
    assert_eq!(
        session.outcome(ms(1260)),
        Some(Ok(Answer::Synchronised { late: 10, excerpt: "\"#0ab\\n1\\ncd\\n\"".into() }))
    );
    session.ask(ms(1300), b"B?", b"\n", LINE, SECOND).unwrap();
    assert_eq!(session.output(), b"B?\n");
    session.input(ms(1310), b"2\n", Boundary::Unmarked);
    assert_eq!(session.outcome(ms(1310)), Some(Ok(Answer::Line(b"2".to_vec()))));
    // Each mark has another number; one that ends with its digits is none.
    session.synchronise(ms(1400), &mark, 1000, SECOND).unwrap();
    assert_eq!(session.output(), b"*ESE 2;*ESE?\n");
    session.input(ms(1410), b"12\n", Boundary::Unmarked);
    assert!(matches!(session.outcome(ms(2400)), Some(Err(Fault::TimedOut { .. }))));
}

#[test]
fn a_flood_ends_the_search_for_a_mark() {
    let mut session = Session::new();
    session.synchronise(ms(0), &mark, 100, SECOND).unwrap();
    session.output();
    for at in 0..30 {
        session.input(ms(at), b"xxxxx", Boundary::Unmarked);
    }
    assert!(matches!(session.outcome(ms(30)), Some(Err(Fault::Flood { limit: 100, .. }))));
}

#[test]
fn commands_are_done_when_sent() {
    let mut session = Session::new();
    session.ask(ms(0), b"INIT", b"\n", Expect::Nothing, SECOND).unwrap();
    assert_eq!(session.next_deadline(), Some(SECOND));
    assert_eq!(session.outcome(ms(1)), None);
    assert_eq!(session.output(), b"INIT\n");
    assert_eq!(session.outcome(ms(1)), Some(Ok(Answer::Sent)));
    assert_eq!(session.next_deadline(), None);
}

#[derive(Clone, Debug)]
enum Step {
    Input(Vec<u8>, bool),
    Closed,
    Wait(u64),
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let interesting = prop_oneof![
        Just(b"#15abcde\n".to_vec()),
        Just(b"#0ab".to_vec()),
        Just(b"\n".to_vec()),
        Just(b"1\n".to_vec()),
        Just(b"#9".to_vec()),
        prop::collection::vec(any::<u8>(), 0..30),
    ];
    let step = prop_oneof![
        6 => (interesting, any::<bool>()).prop_map(|(bytes, end)| Step::Input(bytes, end)),
        1 => Just(Step::Closed),
        3 => (0u64..400).prop_map(Step::Wait),
    ];
    prop::collection::vec(step, 0..20)
}

proptest! {
    /// Whatever comes: a question has its outcome by its deadline, and no more is kept than the limits allow.
    #[test]
    fn prop_every_question_ends_by_its_deadline(steps in steps(), kind in 0usize..4) {
        let mut session = Session::new();
        match kind {
            0 => session.ask(ms(0), b"A?", b"\n", LINE, SECOND).unwrap(),
            1 => session.ask(ms(0), b"A?", b"\n", BLOCK, SECOND).unwrap(),
            2 => session.ask(ms(0), b"A", b"\n", Expect::Nothing, SECOND).unwrap(),
            _ => session.synchronise(ms(0), &mark, 40, SECOND).unwrap(),
        }
        session.output();
        let mut now = ms(0);
        let mut over = false;
        for step in steps {
            match step {
                Step::Input(bytes, end) => {
                    session.input(now, &bytes, if end { Boundary::End } else { Boundary::Unmarked });
                }
                Step::Closed => session.closed(),
                Step::Wait(time) => now += ms(time),
            }
            if let Some(deadline) = session.next_deadline() {
                prop_assert!(deadline <= SECOND);
            }
            match session.outcome(now) {
                Some(Ok(Answer::Line(line))) => { prop_assert!(line.len() <= 11); over = true }
                Some(Ok(Answer::Block(data))) => { prop_assert!(data.len() <= 10); over = true }
                Some(_) => over = true,
                None => {}
            }
            prop_assert!(over || now < SECOND);
        }
        prop_assert!(over || session.outcome(SECOND).is_some());
    }

    #[test]
    fn prop_blocks_arrive_at_any_split(data in prop::collection::vec(any::<u8>(), 0..60), cut in 0usize..70, indefinite: bool) {
        let coded = if indefinite {
            block::indefinite(&data)
        } else {
            [block::definite(&data).unwrap(), b"\n".to_vec()].concat()
        };
        let cut = cut.min(coded.len());
        let mut session = asked(Expect::Block { limit: 60 });
        session.input(ms(10), &coded[..cut], Boundary::Unmarked);
        session.input(ms(20), &coded[cut..], Boundary::Unmarked);
        prop_assert_eq!(session.outcome(ms(400)), Some(Ok(Answer::Block(data))));
    }
}
