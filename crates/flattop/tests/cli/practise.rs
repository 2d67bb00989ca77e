//! The practice bench from outside: a controller on its socket, a hand on its trimmer, `flattop trim` between them.

use std::io::{BufRead, BufReader, Lines, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::process::{Child, ChildStdin, ChildStdout, Stdio};
use std::time::Duration;

use flattop_close::{assert_close, within};
use serde_json::Value;

use super::bench::{Bench, number};

/// The running bench.
struct Practice {
    child: Child,
    hand: ChildStdin,
    events: Lines<BufReader<ChildStdout>>,
    opened: Value,
}

impl Practice {
    fn start(bench: &Bench, args: &[&str]) -> Self {
        let args: Vec<&str> =
            ["practise", "--listen", "127.0.0.1:0", "--json"].iter().chain(args).copied().collect();
        let mut child = bench.command(&args).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        let hand = child.stdin.take().unwrap();
        let mut events = BufReader::new(child.stdout.take().unwrap()).lines();
        let opened = serde_json::from_str(&events.next().unwrap().unwrap()).unwrap();
        Self { child, hand, events, opened }
    }

    fn address(&self) -> &str {
        self.opened["address"].as_str().unwrap()
    }

    fn socket(&self) -> Socket {
        Socket::open(self.address().strip_prefix("tcp://").unwrap())
    }

    /// Gives an order, and what is told of it.
    fn order(&mut self, line: &str) -> Value {
        writeln!(self.hand, "{line}").unwrap();
        serde_json::from_str(&self.events.next().unwrap().unwrap()).unwrap()
    }
}

impl Drop for Practice {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A controller that knows lines and blocks, and nothing of ours.
struct Socket {
    stream: BufReader<TcpStream>,
}

impl Socket {
    fn open(place: &str) -> Self {
        let stream = TcpStream::connect(place.parse::<SocketAddr>().unwrap()).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        Self { stream: BufReader::new(stream) }
    }

    fn say(&mut self, message: &str) {
        self.stream.get_mut().write_all(format!("{message}\n").as_bytes()).unwrap();
    }

    fn ask(&mut self, message: &str) -> String {
        self.say(message);
        let mut line = String::new();
        self.stream.read_line(&mut line).unwrap();
        line.trim_end().to_owned()
    }

    /// Samples of a block of floats, most significant byte first.
    fn floats(&mut self, message: &str) -> Vec<f32> {
        self.say(message);
        let mut byte = [0; 2];
        self.stream.read_exact(&mut byte).unwrap();
        assert_eq!(byte[0], b'#');
        let mut digits = vec![0; usize::from(byte[1] - b'0')];
        self.stream.read_exact(&mut digits).unwrap();
        let length: usize = String::from_utf8(digits).unwrap().parse().unwrap();
        let mut bytes = vec![0; length + 1];
        self.stream.read_exact(&mut bytes).unwrap();
        assert_eq!(bytes.pop(), Some(b'\n'));
        bytes.chunks_exact(4).map(|four| f32::from_be_bytes(four.try_into().unwrap())).collect()
    }
}

fn trim(bench: &Bench, address: &str, args: &[&str]) -> (i32, Vec<Value>) {
    let args: Vec<&str> = ["trim", "--connect", address, "--json"].iter().chain(args).copied().collect();
    let run = bench.run(&args);
    let lines = run.stdout.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    (run.status, lines)
}

/// Only by what `trim` says, a blind trimmer is brought within tolerance; then the setting proves it.
#[test]
fn a_blind_trimmer_is_found_by_what_trim_says() {
    for (seed, extra) in [("3", &[][..]), ("8", &["--hum", "50mV", "--ringing", "5%"][..])] {
        let bench = Bench::new();
        let args: Vec<&str> =
            ["--blind", "--rate", "200", "--seed", seed].iter().chain(extra).copied().collect();
        let mut practice = Practice::start(&bench, &args);
        assert!(practice.opened["caution"].as_str().unwrap().contains("probe-adjust output"));
        assert!(practice.opened["inputs"][0]["setting"].is_null());
        let mut is_found = false;
        for _ in 0..12 {
            let (status, lines) = trim(&bench, practice.address(), &["--captures", "6"]);
            let last = lines.last().unwrap();
            if status == 0 {
                is_found = true;
                break;
            }
            // 6 pF in 270 degrees; "increase" is clockwise.
            let change = number(last, "/adjustment/change_f");
            let told = practice.order(&format!("turn {}", change / 6e-12 * 270.0));
            assert_eq!(told["event"], "standing");
            assert!(told["inputs"][0]["setting"].is_null(), "{told:#}");
        }
        assert!(is_found);
        let (_, lines) = trim(&bench, practice.address(), &["--captures", "10", "--hold", "0"]);
        let last = lines.last().unwrap();
        let shown = practice.order("reveal");
        let e = number(&shown, "/inputs/0/setting/compensation_error");
        let u = number(last, "/compensation_error/standard_uncertainty");
        assert!(e.abs() < 0.01, "{e}");
        assert_close!(number(last, "/compensation_error/value"), e, within(4.0 * u));
    }
}

#[test]
fn a_controller_reads_what_the_trimmer_stands_at() {
    let bench = Bench::new();
    let mut practice =
        Practice::start(&bench, &["--start=-8%", "--seed", "1", "--inputs", "3", "--rate", "500"]);
    assert_close!(number(&practice.opened, "/inputs/2/setting/compensation_error"), -0.08, within(1e-9));
    let mut socket = practice.socket();
    assert!(socket.ask("*IDN?").starts_with("HARROW LANE LIFT WORKS,PRACTICE DIGITIZER,"));
    socket.say("FORM REAL,32;:ROUT:CLOS (@3);:SENS:SWE:POIN 5000");
    assert_eq!(socket.ask("INIT;*OPC?"), "1");
    let volts = socket.floats("FETC?");
    assert_eq!(volts.len(), 5000);
    // The square wave of 0 V and 3 V, 8 % short at the start of its flats: closed form of the shelf.
    let top = volts[505..520].iter().sum::<f32>() / 15.0;
    assert!((2.74..2.80).contains(&top), "{top}");
    assert_eq!(socket.ask("SYST:ERR?"), "0,\"No error\"");
    // A second link is another controller; the trimmers are the same.
    let mut other = practice.socket();
    assert_eq!(other.ask("ROUT:CLOS:STAT?"), "(@1)");
    let told = practice.order("turn 30 on 3");
    assert_close!(number(&told, "/inputs/2/turned_deg"), 30.0, within(1e-9));
    assert_eq!(socket.ask("INIT;*OPC?"), "1");
    let after = socket.floats("FETC?")[505..520].iter().sum::<f32>() / 15.0;
    assert!(after > top + 0.02, "{top} {after}");
    let stop = practice.order("turn 400 on 3");
    assert_eq!(stop["inputs"][2]["at_stop"], "high");
    for (line, part) in
        [("turn left", "number of degrees"), ("turn 5 on 4", "1 to 3"), ("set droop 50 %", "10 %")]
    {
        let told = practice.order(line);
        assert_eq!(told["event"], "refused");
        assert!(told["message"].as_str().unwrap().contains(part), "{told}");
    }
    let told = practice.order("set noise 20 mV");
    assert_eq!(told["disturbances"]["noise"], "20 mV");
    let ended = practice.order("end");
    assert_eq!(ended["event"], "ended");
    assert_eq!(practice.child.wait().unwrap().code(), Some(0));
}

#[test]
fn hislip_and_raw_sockets_lead_to_the_same_instrument() {
    let bench = Bench::new();
    let practice = Practice::start(&bench, &["--hislip", "127.0.0.1:0", "--start", "0.1%", "--rate", "200"]);
    let hislip = practice.opened["hislip"].as_str().unwrap();
    for address in [practice.address(), hislip] {
        let (status, lines) = trim(&bench, address, &["--hold", "3", "--for", "60s"]);
        assert_eq!(status, 0, "{address}");
        assert!(lines.len() >= 3);
    }
}

#[test]
fn trim_goes_on_through_every_misbehaviour() {
    let bench = Bench::new();
    let practice =
        Practice::start(&bench, &["--start=-5%", "--rate", "500", "--faults", "2", "--one-in", "25"]);
    let (_, lines) = trim(&bench, practice.address(), &["--hold", "0", "--captures", "10", "--for", "120s"]);
    let used: Vec<&Value> = lines.iter().filter(|line| line["used"] == true).collect();
    assert!(used.len() >= 6, "{}", used.len());
    for line in used {
        let u = number(line, "/compensation_error/standard_uncertainty");
        assert_close!(number(line, "/compensation_error/value"), -0.05, within(5.0 * u));
    }
}

#[test]
fn the_hand_over_http_is_guarded() {
    let bench = Bench::new();
    let practice = Practice::start(&bench, &["--http", "127.0.0.1:0", "--blind"]);
    let url = practice.opened["http"].as_str().unwrap().to_owned();
    let place = url.trim_start_matches("http://").trim_end_matches("/api/practice").to_owned();
    let ask = |method: &str, head: &str, body: &str| {
        let mut stream = TcpStream::connect(place.parse::<SocketAddr>().unwrap()).unwrap();
        let request = format!(
            "{method} /api/practice HTTP/1.1\r\n{head}Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        );
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let status: u16 = answer.split(' ').nth(1).unwrap().parse().unwrap();
        (status, answer.split("\r\n\r\n").nth(1).unwrap().to_owned())
    };
    let own = format!("Host: {place}\r\nContent-Type: application/json\r\n");
    let (status, body) = ask("POST", &own, r#"{"turn_deg": 12, "set": {"bits": 8, "hum": "10 mV"}}"#);
    assert_eq!(status, 200, "{body}");
    let told: Value = serde_json::from_str(&body).unwrap();
    assert_close!(number(&told, "/inputs/0/turned_deg"), 12.0, within(1e-9));
    assert_eq!(told["disturbances"]["bits"], 8);
    assert!(told["inputs"][0]["setting"].is_null());
    // Nothing of a request that is wrong in one place is done.
    let (status, body) = ask("POST", &own, r#"{"turn_deg": 5, "set": {"bits": 3, "hum": "20 mV"}}"#);
    assert!(status == 422 && body.contains("set.bits"), "{status} {body}");
    let (status, _) = ask("POST", &own, r#"{"turn_by": 5}"#);
    assert_eq!(status, 422);
    // Another name, another page, a form of another site.
    for head in [
        "Host: evil.example\r\nContent-Type: application/json\r\n".to_owned(),
        format!("{own}Origin: http://evil.example\r\n"),
        format!("{own}Sec-Fetch-Site: cross-site\r\n"),
    ] {
        assert_eq!(ask("POST", &head, r#"{"turn_deg": 90}"#).0, 403, "{head}");
    }
    let plain = format!("Host: {place}\r\nContent-Type: text/plain\r\n");
    assert_eq!(ask("POST", &plain, r#"{"turn_deg": 90}"#).0, 415);
    let (status, body) = ask("GET", &own, "");
    let told: Value = serde_json::from_str(&body).unwrap();
    assert_eq!(status, 200);
    assert_close!(number(&told, "/inputs/0/turned_deg"), 12.0, within(1e-9));
    assert_eq!(told["disturbances"]["hum"], "10 mV");
}

#[test]
fn what_cannot_be_practised_says_why() {
    let bench = Bench::new();
    for (args, status, part) in [
        (&["--listen", "0.0.0.0:0"][..], 2, "loopback"),
        (&["--noise", "2 V"], 2, "out of range"),
        (&["--bits", "5"], 2, "6 to 16"),
        (&["--rate", "0"], 2, "0.1 to 1000"),
        (&["--start", "90%"], 2, "out of range"),
        (&["--inputs", "5"], 2, "5"),
    ] {
        let run = bench.run(&[&["practise"], args].concat());
        assert_eq!(run.status, status, "{run:?}");
        assert!(run.stderr.contains(part), "{}", run.stderr);
    }
    let practice = Practice::start(&bench, &[]);
    let taken = practice.address().trim_start_matches("tcp://");
    let run = bench.run(&["practise", "--listen", taken]);
    assert_eq!(run.status, 1);
    assert!(run.stderr.contains("--listen 127.0.0.1:0"), "{}", run.stderr);
    // Without a terminal it writes lines, ends by itself, and shows where everything stood.
    let run = bench.run(&["practise", "--listen", "127.0.0.1:0", "--blind", "--for", "100ms"]);
    assert_eq!(run.status, 0);
    assert!(run.stdout.contains("setting hidden") && run.stdout.contains("At the end:"), "{}", run.stdout);
    assert!(run.stdout.contains("earth") && !run.stdout.contains('\x1b'), "{}", run.stdout);
}

/// The list of headers in the documents is the instrument's own, and every header is answered without an error by one that asks it.
#[test]
#[allow(clippy::disallowed_methods)] // a test reads the documents
fn documents_list_the_headers_that_there_are() {
    let text =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/practise.md")).unwrap();
    let listed: Vec<&str> = text
        .lines()
        .skip_while(|line| !line.starts_with("| header |"))
        .filter_map(|line| line.strip_prefix("| `")?.split_once("` |").map(|(header, _)| header))
        .collect();
    let known: Vec<&str> = flattop_practice::digitizer::headers().map(|(header, _)| header).collect();
    assert_eq!(listed, known);
}
