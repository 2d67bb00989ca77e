//! `flattop trim` on streams, folders and sockets, while a trimmer turns: captures come from closed forms.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Stdio};
use std::time::Duration;

use flattop_close::{assert_close, within};
use serde_json::Value;

use super::bench::{Bench, number};
use super::register::{done, furnished};
use super::signals::Signal;

/// A capture at error `e`; the trimmer is at the tip, on 108 pF.
pub(crate) fn signal(e: f64, seed: u64) -> Signal {
    // (1+e)/10 = C1/(C1+C2).
    let share = 0.1 * (1.0 + e);
    let shunt_f = 108e-12;
    let tip_f = shunt_f * share / (1.0 - share);
    Signal {
        seed,
        points: 5000,
        interval_s: 1e-6,
        step_v: 0.0,
        noise_v: 1e-3,
        ..Signal::with(tip_f, shunt_f)
    }
}

/// Captures as a stream of text, one for each error, each ended by a form feed.
fn stream(errors: &[f64]) -> String {
    errors.iter().enumerate().map(|(n, e)| format!("{}\x0c\n", signal(*e, 10 + n as u64).csv())).collect()
}

fn rest(errors: &[(f64, usize)]) -> Vec<f64> {
    errors.iter().flat_map(|(e, count)| std::iter::repeat_n(*e, *count)).collect()
}

/// Runs with a stream on standard input.
fn trim(bench: &Bench, args: &[&str], input: &str) -> super::bench::Run {
    let args: Vec<&str> = ["trim", "-"].iter().chain(args).copied().collect();
    let mut child = bench
        .command(&args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_owned();
    // It may end before all is written.
    let writer = std::thread::spawn(move || drop(stdin.write_all(input.as_bytes())));
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap();
    super::bench::Run {
        status: output.status.code().expect("ended by a signal"),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

fn objects(run: &super::bench::Run) -> Vec<Value> {
    run.stdout
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}")))
        .collect()
}

fn has(line: &Value, code: &str) -> bool {
    line["findings"].as_array().unwrap().iter().any(|finding| finding["code"] == code)
}

#[test]
fn a_trimmer_is_followed_to_its_goal() {
    let bench = Bench::new();
    let errors = rest(&[(-0.06, 4), (-0.04, 1), (-0.02, 1), (0.001, 9)]);
    let run = trim(&bench, &["--json"], &stream(&errors));
    assert_eq!(run.status, 0, "{}", run.stderr);
    assert!(run.stderr.contains("probe-adjust output") && run.stderr.contains("earth"), "{}", run.stderr);
    let lines = objects(&run);
    // Held for five from the seventh on: it ends there, whatever else would come.
    assert_eq!(lines.len(), 11);
    for (line, e) in lines.iter().zip(&errors) {
        let u = number(line, "/compensation_error/standard_uncertainty");
        assert_close!(number(line, "/compensation_error/value"), *e, within(4.0 * u));
        assert!(u < 0.004, "{line:#}");
    }
    let phases: Vec<&str> = lines.iter().map(|line| line["phase"].as_str().unwrap()).collect();
    assert_eq!(&phases[4..7], ["moving"; 3]);
    assert_eq!(phases[3], "settled");
    assert_eq!(lines[4]["heading"], "towards");
    assert_eq!(lines[10]["held"], 5);
    assert_eq!(lines[10]["verdict"], "within-tolerance");
    // The whole way in picofarads: C1 from 10/9 · 108 pF·…, closed form of the signal.
    let way = signal(0.001, 0).tip_f - signal(-0.06, 0).tip_f;
    let u = number(&lines[10], "/travel/trimmer_f/standard_uncertainty");
    assert_close!(number(&lines[10], "/travel/trimmer_f/value"), way, within(4.0 * u));
    assert!(u < 0.05 * way, "{u:e} {way:e}");
    // Averaging narrows what scatters.
    let averaging: Vec<f64> =
        lines[6..].iter().map(|line| number(line, "/averaging_standard_uncertainty")).collect();
    assert!(averaging[4] < 0.55 * averaging[0], "{averaging:?}");
    assert_eq!(lines[0]["source"]["suits"], true);
    assert!(has(&lines[0], "source-suits"));
}

#[test]
fn turning_away_and_an_end_stop_are_said_in_lines_for_people() {
    let bench = Bench::new();
    let errors = rest(&[(-0.03, 4), (-0.04, 1), (-0.05, 1), (-0.06, 9)]);
    let run = trim(&bench, &[], &stream(&errors));
    assert_eq!(run.status, 3, "{run:?}");
    assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "{}", run.stdout);
    assert!(!run.stdout.contains('\x1b'), "{}", run.stdout);
    for part in [
        "ground clip",
        "(turning-away)",
        "(not-moving)",
        "If you are turning",
        "under  turn +0.",
        "settled (",
    ] {
        assert!(run.stdout.contains(part), "{part}: {}", run.stdout);
    }
    // Once, not for each capture.
    assert_eq!(run.stdout.matches("(not-moving)").count(), 1, "{}", run.stdout);
    assert_eq!(run.stdout.matches("(source-suits)").count(), 1);
}

#[test]
fn a_source_that_does_not_suit_is_told_why() {
    let bench = Bench::new();
    let fast: String = (0..3u64)
        .map(|n| format!("{}\x0c\n", Signal { frequency_hz: 2e3, ..signal(-0.05, n) }.csv()))
        .collect();
    let run = trim(&bench, &["--json"], &fast);
    let line = &objects(&run)[0];
    assert_eq!(line["source"]["suits"], false);
    assert!(has(line, "source-too-fast"), "{line:#}");
    assert!(number(line, "/source/suits_to_hz") < 2e3);
    assert!(number(line, "/source/uncertainty_ratio") > 1.5);
}

#[test]
fn what_cannot_be_used_does_not_end_a_session() {
    let bench = Bench::new();
    let flat: String = (0..200).map(|n| format!("{}e-6,0.1\n", n)).collect();
    let one = |e| format!("{}\x0c\n", signal(e, 3).csv());
    let mut input = format!("{}{flat}\x0c\nnonsense\nwithout numbers\n\x0c\n{}", one(0.0005), one(0.0005));
    input.push_str(&one(0.0005));
    let run = trim(&bench, &["--json", "--hold", "2"], &input);
    let lines = objects(&run);
    assert_eq!(run.status, 0, "{run:?}");
    assert_eq!(
        lines.iter().map(|line| line["used"].as_bool().unwrap()).collect::<Vec<_>>(),
        [true, false, true, true]
    );
    assert!(has(&lines[1], "flat-line"), "{:#}", lines[1]);
    // A capture that says nothing breaks the row; what is no capture at all is told on standard error.
    assert_eq!(lines.iter().map(|line| line["held"].as_u64().unwrap()).collect::<Vec<_>>(), [1, 0, 1, 2]);
    assert!(run.stderr.contains("standard input 3"), "{}", run.stderr);
    // Nothing at all.
    let run = trim(&bench, &[], "");
    assert_eq!(run.status, 4, "{run:?}");
    assert!(run.stderr.contains("not one capture came"), "{run:?}");
    let run = trim(&bench, &["--captures", "1"], &stream(&[0.2, 0.0, 0.0]));
    assert_eq!((run.status, run.stdout.matches("  over  turn -").count()), (3, 1), "{run:?}");
    for (args, status, part) in [
        (&["trim"][..], 2, "required"),
        (&["trim", "-", "--note", "x"], 2, "add --log"),
        (&["trim", "--connect", "192.0.2.7:5025"], 2, "tcp://192.0.2.7:5025"),
        (&["trim", "--watch", "no/such/place"], 1, "neither it nor its folder exists"),
        (&["trim", "-", "--probe", "probe-07", "--bench", "none"], 1, "there is no bench"),
    ] {
        let run = bench.run(args);
        assert_eq!(run.status, status, "{run:?}");
        assert!(run.stderr.contains(part), "{part}: {run:?}");
    }
}

#[test]
fn before_and_after_go_into_the_logbook_and_can_be_worked_out_again() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1|--tolerance|1%");
    let errors = rest(&[(-0.05, 4), (-0.02, 1), (0.0, 8)]);
    let args = [
        "--probe",
        "probe-07",
        "--log",
        "--by",
        "bench technician",
        "--temperature",
        "23",
        "--bench",
        "b",
        "--json",
    ];
    let run = trim(&bench, &args, &stream(&errors));
    assert_eq!(run.status, 0, "{run:?}");
    let lines = objects(&run);
    let logged: Vec<(usize, &str)> = lines
        .iter()
        .enumerate()
        .flat_map(|(n, line)| {
            line["logged"].as_array().unwrap().iter().map(move |l| (n, l["stage"].as_str().unwrap()))
        })
        .collect();
    // Before as soon as it moves, after once it has been held.
    assert_eq!(logged, [(4, "before"), (9, "after")]);
    let entries = bench.json(&["log", "--bench", "b"], 0);
    let entries: Vec<&Value> =
        entries.as_array().unwrap().iter().filter(|e| !e["assessment"].is_null()).collect();
    let stages: Vec<&str> = entries.iter().map(|e| e["assessment"]["stage"].as_str().unwrap()).collect();
    assert!(stages.contains(&"before-adjustment") && stages.contains(&"after-adjustment"), "{stages:?}");
    // The capture is kept, and gives the same figures.
    let run = bench.run(&["log", "verify", "--bench", "b"]);
    assert_eq!(run.status, 0, "{run:?}");
    for entry in &entries {
        let run = bench.run(&["log", "recompute", &entry["seq"].to_string(), "--bench", "b"]);
        assert_eq!(run.status, 0, "{run:?}");
    }
    // Nothing moved: a check. A trimmer that still moves at the end: nothing after.
    let run = trim(&bench, &args, &stream(&rest(&[(0.0, 6)])));
    assert_eq!(objects(&run)[4]["logged"][0]["stage"], "check", "{run:?}");
    let run = trim(&bench, &args, &stream(&rest(&[(0.05, 4), (0.02, 1)])));
    assert_eq!(run.status, 1, "{run:?}");
    assert!(run.stderr.contains("not logged: the trimmer moved"), "{run:?}");
}

/// A program that is running, with its lines as they come.
struct Running {
    child: Child,
    lines: BufReader<std::process::ChildStdout>,
}

impl Running {
    fn start(bench: &Bench, args: &[&str]) -> Self {
        let mut child = bench.command(args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap());
        Self { child, lines }
    }

    fn line(&mut self) -> Value {
        let mut line = String::new();
        self.lines.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap_or_else(|e| {
            let mut said = String::new();
            let _ = self.child.stderr.take().unwrap().read_to_string(&mut said);
            panic!("{e}: {line:?} {said}")
        })
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_folder_is_followed_through_renames_and_slow_writers() {
    let bench = Bench::new();
    std::fs::create_dir(bench.path("exports")).unwrap();
    bench.write("exports/old.csv", &signal(0.3, 1).csv());
    let mut running =
        Running::start(&bench, &["trim", "--watch", "exports", "--json", "--hold", "2", "--for", "60s"]);
    // It says where it listens before it listens: give it a moment to begin.
    let mut said = [0; 64];
    let count = running.child.stderr.as_mut().unwrap().read(&mut said).unwrap();
    assert!(count > 0);
    std::thread::sleep(Duration::from_millis(700));
    // One by rename, one in two pieces, one by rename again.
    bench.write("exports/a.tmp", &signal(-0.05, 2).csv());
    std::fs::rename(bench.path("exports/a.tmp"), bench.path("exports/a.csv")).unwrap();
    let first = running.line();
    assert_eq!(first["capture"], "a.csv");
    assert_eq!(first["verdict"], "undercompensated");
    let text = signal(0.0, 3).csv();
    let mut file = std::fs::File::create(bench.path("exports/b.csv")).unwrap();
    file.write_all(&text.as_bytes()[..text.len() / 2]).unwrap();
    std::thread::sleep(Duration::from_millis(40));
    file.write_all(&text.as_bytes()[text.len() / 2..]).unwrap();
    drop(file);
    let second = running.line();
    assert_eq!(
        (second["capture"].as_str(), second["verdict"].as_str()),
        (Some("b.csv"), Some("within-tolerance"))
    );
    bench.write("exports/c.part", &signal(0.0, 4).csv());
    std::fs::rename(bench.path("exports/c.part"), bench.path("exports/c.csv")).unwrap();
    assert_eq!(running.line()["held"], 2);
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
}

/// An instrument after SCPI-1999 on a socket: each `INITiate` takes the next of `errors`, the last one for ever.
pub(crate) fn instrument(errors: Vec<f64>) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("tcp://{}", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            serve(stream.unwrap(), &errors);
        }
    });
    address
}

fn serve(mut stream: TcpStream, errors: &[f64]) {
    let mut lines = BufReader::new(stream.try_clone().unwrap()).lines();
    let mut taken = 0;
    while let Some(Ok(line)) = lines.next() {
        let signal = |n: usize| signal(errors[n.clamp(1, errors.len()) - 1], n as u64);
        let answer: Vec<u8> = match line.trim() {
            "*IDN?" => b"Harrow Lane Lift Works,Bench A scope,0,0".to_vec(),
            "*OPC?" => {
                // A capture takes its time: those that come faster than they are worked through are left out.
                std::thread::sleep(std::time::Duration::from_millis(100));
                b"1".to_vec()
            }
            "SYSTem:ERRor?" => b"0,\"No error\"".to_vec(),
            "SENSe:SWEep:POINts?" => signal(1).points.to_string().into_bytes(),
            "SENSe:SWEep:TINTerval?" => format!("{:e}", signal(1).interval_s).into_bytes(),
            "FETCh?" => {
                let samples = signal(taken).samples();
                let bytes: Vec<u8> = samples.iter().flat_map(|v| (*v as f32).to_be_bytes()).collect();
                let length = bytes.len().to_string();
                [format!("#{}{length}", length.len()).into_bytes(), bytes].concat()
            }
            "INITiate" => {
                taken += 1;
                continue;
            }
            other => {
                // After a fault both sides are brought in step by a number.
                if let Some(number) = other.strip_prefix("*ESE ").and_then(|rest| rest.strip_suffix(";*ESE?"))
                {
                    stream.write_all(format!("{number}\n").as_bytes()).unwrap();
                }
                continue;
            }
        };
        if stream.write_all(&[answer, b"\n".to_vec()].concat()).is_err() {
            return;
        }
    }
}

#[test]
fn an_instrument_is_followed_and_its_session_replayed() {
    let bench = Bench::new();
    let address = instrument(rest(&[(-0.05, 3), (0.0, 1)]));
    let run = bench.run(&["trim", "--connect", &address, "--json", "--hold", "3"]);
    assert_eq!(run.status, 0, "{run:?}");
    let lines = objects(&run);
    assert_eq!(lines.len(), 6);
    assert_eq!(lines[0]["verdict"], "undercompensated");
    assert_eq!(lines[3]["phase"], "moving");
    // The same with the file that the program prints, tried, written down and replayed.
    bench.write("bench-a.toml", &bench.run(&["dialogue", "template"]).stdout);
    let run = bench.run(&["dialogue", "try", "bench-a.toml", &address, "--record", "said.transcript"]);
    assert_eq!(run.status, 0, "{run:?}");
    assert!(
        run.stdout.contains("Bench A scope") && run.stdout.contains("Samples     5000"),
        "{}",
        run.stdout
    );
    let run = bench.run(&["dialogue", "replay", "bench-a.toml", "said.transcript"]);
    assert_eq!(run.status, 0, "{run:?}");
    assert!(run.stdout.contains("1 capture"), "{}", run.stdout);
    let run = bench.run(&["trim", "--connect", &address, "--dialogue", "bench-a.toml", "--captures", "1"]);
    assert_eq!(run.status, 3, "{run:?}");
}

#[test]
fn an_instrument_that_is_not_there_is_a_source_of_no_use() {
    let bench = Bench::new();
    // A port that nobody listens on: bound and given back.
    let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let run = bench.run(&["trim", "--connect", &format!("tcp://{address}"), "--for", "600ms"]);
    assert_eq!(run.status, 1, "{run:?}");
    assert!(run.stderr.contains("no connection"), "{run:?}");
    assert_eq!(run.stderr.matches("no connection").count(), 1, "{run:?}");
}
