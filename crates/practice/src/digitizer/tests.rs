//! The digitizer by what it answers. Behaviour after IEEE 488.2-1992 and SCPI-1999; clauses from memory.

use std::time::Duration;

use flattop_close::{assert_close, compare, within};
use flattop_scpi::message::{Datum, response};
use flattop_scpi::numbers::{Code, Order, decode, list};
use proptest::prelude::*;

use super::*;
use crate::disturbance::Disturbances;

struct Desk {
    bench: Bench,
    digitizer: Digitizer,
    now: Duration,
}

impl Desk {
    fn new() -> Self {
        let bench = Bench::new(3, Disturbances::usual(), 1);
        Self { bench, digitizer: Digitizer::new(1e3), now: Duration::ZERO }
    }

    /// Sends a message, waits as long as it takes, and gives every answer.
    fn all(&mut self, message: &str) -> Vec<Vec<u8>> {
        self.digitizer.message(message.as_bytes());
        let mut answers = Vec::new();
        loop {
            match self.digitizer.next(&mut self.bench, self.now) {
                Next::Answer(answer) => answers.push(answer),
                Next::At(time) => {
                    assert!(time > self.now, "{message}");
                    self.now = time;
                }
                Next::Idle => return answers,
            }
        }
    }

    fn text(&mut self, message: &str) -> String {
        self.all(message).iter().map(|answer| String::from_utf8_lossy(answer).into_owned()).collect()
    }

    fn error(&mut self) -> i32 {
        let text = self.text("SYST:ERR?");
        text.split(',').next().and_then(|number| number.parse().ok()).unwrap()
    }

    /// The block that a message is answered with.
    fn block(&mut self, message: &str) -> Vec<u8> {
        let answers = self.all(message);
        match response(&answers[0]).unwrap().remove(0).as_slice() {
            [Datum::Block(block)] => block.clone(),
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn the_dialogue_of_a_capture() {
    let mut desk = Desk::new();
    assert!(desk.text("*IDN?").starts_with("HARROW LANE LIFT WORKS,PRACTICE DIGITIZER,0,"));
    assert_eq!(desk.text("*RST;*CLS;FORM REAL,32;:FORM:BORD NORM;*OPC?"), "1\n");
    assert_eq!(
        desk.text("SENS:SWE:POIN 2000;TINT 2 US;POIN?;TINT?;TIME?"),
        "2000;2.000000000E-06;4.000000000E-03\n"
    );
    desk.digitizer.message(b"INIT;*OPC?\n");
    // Complete after the record's 4 ms, not before.
    let Next::At(at) = desk.digitizer.next(&mut desk.bench, desk.now) else { panic!("it does not wait") };
    assert_close!(at.as_secs_f64() - desk.now.as_secs_f64(), 4e-3, within(1e-9));
    assert_eq!(desk.digitizer.next(&mut desk.bench, at), Next::Answer(b"1\n".to_vec()));
    desk.now = at;
    let volts = decode(&desk.block("FETC?"), Code::Float32, Order::MostSignificantFirst).unwrap();
    assert_eq!(volts.len(), 2000);
    assert!(volts.iter().any(|v| *v > 2.7) && volts.iter().any(|v| *v < 0.3));
    assert_eq!(desk.error(), 0);
}

#[test]
fn every_format_sends_the_same_capture() {
    let mut desk = Desk::new();
    desk.text("SENS:SWE:POIN 500;:INIT;*WAI");
    let truth = desk.digitizer.capture.clone().unwrap();
    let ascii = desk.text("FORM ASC;:FETC?");
    compare(&list(ascii.as_bytes(), 500).unwrap(), &truth.volts(), within(1e-9)).unwrap();
    for (border, order) in [("NORM", Order::MostSignificantFirst), ("SWAP", Order::LeastSignificantFirst)] {
        for (format, code, tolerance) in
            [("REAL,32", Code::Float32, 1e-6), ("REAL,64", Code::Float64, 0.0), ("REAL", Code::Float32, 1e-6)]
        {
            let bytes = desk.block(&format!("FORM:DATA {format};BORD {border};:FETC?"));
            compare(&decode(&bytes, code, order).unwrap(), &truth.volts(), within(tolerance)).unwrap();
        }
        for (format, code) in
            [("INT,8", Code::Signed8), ("INT,16", Code::Signed16), ("INT,32", Code::Signed32)]
        {
            let bytes = desk.block(&format!("FORM {format};FORM:BORD {border};:FETC?"));
            let scale = desk.text("VOLT:RES?;RANG:OFFS?");
            let [step, origin] = list(scale.as_bytes(), 2).unwrap()[..] else { panic!("{scale}") };
            let codes = decode(&bytes, code, order).unwrap();
            let volts: Vec<f64> = codes.iter().map(|code| origin + step * code).collect();
            compare(&volts, &truth.volts(), within(0.51 * step)).unwrap();
        }
    }
    assert_eq!(desk.text("FORM?;FORM:BORD?"), "INT,32;SWAP\n");
    assert_eq!(desk.error(), 0);
}

#[test]
fn inputs_and_settings() {
    let mut desk = Desk::new();
    assert_eq!(desk.text("ROUT:CLOS (@3);CLOS:STAT?"), "(@3)\n");
    desk.text("SENS:SWE:POIN 200;:INIT;*WAI");
    assert_eq!(
        desk.digitizer.capture,
        Bench::new(3, Disturbances::usual(), 1).capture(2, desk.digitizer.timing)
    );
    // What was captured under other settings is not given any more.
    desk.text("SWE:POIN 300;:FETC?");
    assert_eq!(desk.error(), -230);
    assert_eq!(desk.text("SWE:POIN? MAX;POIN? MIN;POIN? DEF"), "1000000;100;10000\n");
    assert_eq!(desk.text("SWE:TINT MIN;TINT?;TINT? MAX"), "1.000000000E-09;1.000000000E-03\n");
    assert_eq!(desk.text("*RST;SWE:POIN?;:ROUT:CLOS:STAT?;:FORM?"), "10000;(@1);ASC,10\n");
    assert_eq!(desk.text("SYST:VERS?;*TST?"), "1999.0;0\n");
    assert_eq!(desk.error(), 0);
}

#[test]
fn read_begins_a_capture_of_its_own() {
    let mut desk = Desk::new();
    desk.text("SWE:POIN 100");
    let (first, second) = (desk.text("READ?"), desk.text("READ?"));
    assert_eq!(list(first.as_bytes(), 100).unwrap().len(), 100);
    assert_ne!(first, second);
    assert_eq!(desk.text("FETC?"), second);
    // READ? gives up what was under way.
    assert_eq!(desk.text("INIT;READ?;:SYST:ERR?").matches(';').count(), 1);
}

#[test]
fn captures_keep_their_pace() {
    let mut desk = Desk::new();
    desk.digitizer = Digitizer::new(20.0);
    desk.text("SWE:POIN 1000");
    let times: Vec<f64> = (0..4)
        .map(|_| {
            desk.text("INIT;*OPC?");
            desk.now.as_secs_f64()
        })
        .collect();
    assert_close!(times[0], 1e-3, within(1e-9));
    for pair in times.windows(2) {
        assert_close!(pair[1] - pair[0], 0.05, within(1e-9));
    }
}

#[test]
fn errors_have_their_standard_numbers() {
    let mut desk = Desk::new();
    for (message, number) in [
        ("1A", -102),
        ("FORM 'a'", -104),
        ("SWE:POIN 1,2", -108),
        ("*RST 1", -108),
        ("SWE:POIN", -109),
        ("ABOR?", -113),
        ("*IDN", -113),
        ("DISPlay:TEXT 'a'", -113),
        ("SWE:TINT 1 V", -131),
        ("SWE:POIN 1 S", -138),
        ("*TRG", -211),
        ("INIT;INIT;ABOR", -213),
        ("SWE:POIN 99", -222),
        ("SWE:POIN 9.91E37", -222),
        ("ROUT:CLOS (@4)", -222),
        ("*ESE 256", -222),
        ("FORM PACK", -224),
        ("FORM REAL,16", -224),
        ("FORM:BORD UP", -224),
        ("ROUT:CLOS (1)", -224),
        ("FETC?", -230),
    ] {
        assert_eq!(desk.text(message), "", "{message}");
        assert_eq!(desk.error(), number, "{message}");
        assert_eq!(desk.error(), 0, "{message}");
    }
    desk.digitizer.message(&vec![b'*'; MOST_MESSAGE + 1]);
    assert_eq!(desk.error(), -363);
    // Every number that can be given has its words.
    for number in [-102, -104, -108, -109, -113, -131, -138, -211, -213, -222, -224, -230, -363] {
        assert!(!flattop_scpi::status::DeviceError::standard(number).text.is_empty(), "{number}");
    }
}

#[test]
fn a_bad_unit_leaves_the_others() {
    let mut desk = Desk::new();
    assert_eq!(desk.text("SWE:POIN?;NONSense?;:SWE:TINT?"), "10000;1.000000000E-06\n");
    assert_eq!(desk.error(), -113);
}

#[test]
fn status_is_reported_as_the_standard_has_it() {
    let mut desk = Desk::new();
    assert_eq!(desk.text("*ESR?;*ESR?"), "128;0\n");
    desk.text("*ESE 32;*SRE 32;NONSENSE");
    assert_eq!(desk.digitizer.status_byte(), 4 | 32 | 64);
    assert_eq!(desk.text("*ESR?;*STB?"), "32;20\n");
    assert_eq!(desk.text("SYST:ERR:COUN?"), "1\n");
    desk.text("*CLS");
    assert_eq!((desk.digitizer.status_byte(), desk.error()), (0, 0));
    // *OPC sets its event when the capture is complete.
    desk.digitizer.message(b"INIT;*OPC;*ESR?;:STAT:OPER:COND?");
    assert_eq!(desk.digitizer.next(&mut desk.bench, desk.now), Next::Answer(b"0;16\n".to_vec()));
    assert_eq!(desk.text("*WAI;*ESR?;:STAT:OPER?;:STAT:OPER:COND?"), "1;16;0\n");
    desk.text("STAT:OPER:ENAB 16;:STAT:QUES:ENAB 3;:INIT;*WAI");
    assert_eq!(desk.digitizer.status_byte(), 128);
    assert_eq!(desk.text("STAT:PRES;OPER:ENAB?;:STAT:QUES:ENAB?;EVEN?;COND?;*SRE?;*ESE?"), "0;0;0;0;32;32\n");
}

#[test]
fn a_full_queue_of_errors_says_so() {
    let mut desk = Desk::new();
    for _ in 0..40 {
        desk.text("NONSENSE");
    }
    assert_eq!(desk.text("SYST:ERR:COUN?"), "16\n");
    let numbers: Vec<i32> = (0..17).map(|_| desk.error()).collect();
    assert_eq!((numbers[0], numbers[15], numbers[16]), (-113, -350, 0));
}

#[test]
fn clear_forgets_what_waits() {
    let mut desk = Desk::new();
    desk.digitizer.message(b"*IDN?;INIT;*OPC?");
    assert!(matches!(desk.digitizer.next(&mut desk.bench, desk.now), Next::At(_)));
    assert_eq!(desk.digitizer.status_byte() & 16, 16);
    desk.digitizer.clear();
    assert_eq!(desk.digitizer.status_byte() & 16, 0);
    assert_eq!(desk.text("ABOR;SWE:POIN?"), "10000\n");
}

#[test]
fn too_much_at_once_is_an_overrun() {
    let mut desk = Desk::new();
    desk.digitizer.message(b"INIT;*WAI");
    let message = "*CLS;".repeat(MOST_WAITING);
    desk.digitizer.message(message.as_bytes());
    assert_eq!(desk.error(), -363);
}

#[test]
fn every_header_that_is_listed_is_answered_or_carried_out() {
    for (print, _) in headers() {
        let mut desk = Desk::new();
        desk.text("SWE:POIN 100;:INIT;*WAI");
        let header = print.replace(['[', ']'], "");
        let data = match print {
            "*ESE" | "*SRE" => "1",
            "FORMat[:DATA]" => "ASC",
            "FORMat:BORDer" => "SWAP",
            "ROUTe:CLOSe" => "(@1)",
            "[SENSe:]SWEep:POINts" | "[SENSe:]SWEep:TINTerval" => "DEF",
            "STATus:OPERation:ENABle" | "STATus:QUEStionable:ENABle" => "0",
            _ => "",
        };
        desk.text(&format!("{header} {data}"));
        let as_command = desk.error();
        let answer = desk.text(&format!("{header}?"));
        let as_query = desk.error();
        assert!(as_command == 0 || as_query == 0 || print == "*TRG", "{print}: {as_command}, {as_query}");
        assert_eq!(
            as_query == 0 && print != "SYSTem:ERRor[:NEXT]",
            !answer.is_empty() && print != "SYSTem:ERRor[:NEXT]",
            "{print}"
        );
    }
}

/// Pieces of messages, right and wrong ones.
fn pieces() -> impl Strategy<Value = String> {
    let known =
        prop::sample::select(headers::HEADERS.map(|(print, ..)| print.replace(['[', ']'], "")).to_vec());
    let data = prop::sample::select(vec![
        "", "?", " 1", " MIN", " REAL,32", " (@1)", "? MAX", " 'a'", " 1 US", " #11a", ";", "\n",
    ]);
    (known, data).prop_map(|(header, data)| format!("{header}{data}"))
}

proptest! {
    #[test]
    fn prop_no_message_stops_it(messages in prop::collection::vec(prop_oneof![
        prop::collection::vec(pieces(), 1..4).prop_map(|all| all.join(";").into_bytes()),
        prop::collection::vec(any::<u8>(), 0..40),
    ], 1..12)) {
        let mut desk = Desk::new();
        desk.text("SWE:POIN 100");
        for message in messages {
            desk.digitizer.message(&message);
            let mut steps = 0;
            loop {
                match desk.digitizer.next(&mut desk.bench, desk.now) {
                    Next::Answer(answer) => prop_assert!(answer.ends_with(b"\n")),
                    Next::At(time) => { prop_assert!(time > desk.now); desk.now = time; }
                    Next::Idle => break,
                }
                steps += 1;
                prop_assert!(steps < 50);
            }
        }
        desk.text("*CLS");
        prop_assert_eq!(desk.text("*ESE 7;*ESE?"), "7\n");
    }

    #[test]
    fn prop_time_between_makes_no_difference(stops in prop::collection::vec(0u64..20_000, 0..8)) {
        let run = |stops: &[u64]| {
            let mut desk = Desk::new();
            desk.digitizer.message(b"SWE:POIN 200;:INIT;*OPC?;FETC?");
            let mut answers = Vec::new();
            assert!(matches!(desk.digitizer.next(&mut desk.bench, desk.now), Next::At(_)));
            for stop in stops.iter().copied().chain([40_000, 80_000]) {
                desk.now = desk.now.max(Duration::from_micros(stop));
                while let Next::Answer(answer) = desk.digitizer.next(&mut desk.bench, desk.now) {
                    answers.push(answer);
                }
            }
            answers
        };
        prop_assert_eq!(run(&stops), run(&[]));
    }
}
