//! How quick it is, and how much it holds: a bound that every machine keeps, and the figures themselves for the asking.
//!
//! `cargo test --release -p flattop --test cli speed -- --ignored --nocapture` prints them.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::json;

use super::super::bench::Bench;
use super::super::signals::Signal;
use super::super::trim::signal;
use super::client::Server;

/// Resident memory of the server, kB.
#[cfg(target_os = "linux")]
#[allow(clippy::disallowed_methods)] // tests look at what the system says
fn resident_kb(server: &Server) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", server.pid())).unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// Captures of a connection that stays open, as a browser keeps it; the time until the last byte of each answer, ms.
fn times(server: &Server, path: &str, capture: &[u8], count: usize, pause: Option<Duration>) -> Vec<f64> {
    let mut stream = TcpStream::connect(("127.0.0.1", server.port)).unwrap();
    stream.set_nodelay(true).unwrap();
    let head = format!(
        "POST {path} HTTP/1.1\r\nHost: {}\r\nContent-Type: application/octet-stream\r\nContent-Length: {}\r\n\r\n",
        server.host(),
        capture.len()
    );
    let request = [head.as_bytes(), capture].concat();
    let mut times = Vec::new();
    let mut buffer = vec![0; 1 << 20];
    let mut due = now();
    for _ in 0..count {
        if let Some(pause) = pause {
            std::thread::sleep(due.saturating_duration_since(now()));
            due += pause;
        }
        let begun = now();
        stream.write_all(&request).unwrap();
        let (mut have, mut need) = (Vec::new(), usize::MAX);
        while have.len() < need {
            let read = stream.read(&mut buffer).unwrap();
            assert!(read > 0, "closed");
            have.extend_from_slice(&buffer[..read]);
            if need == usize::MAX
                && let Some(end) = have.windows(4).position(|four| four == b"\r\n\r\n")
            {
                let head = String::from_utf8_lossy(&have[..end]).to_lowercase();
                assert!(head.starts_with("http/1.1 200"), "{head}");
                let length = head.lines().find_map(|line| line.strip_prefix("content-length: ")).unwrap();
                need = end + 4 + length.trim().parse::<usize>().unwrap();
            }
        }
        times.push(begun.elapsed().as_secs_f64() * 1e3);
    }
    times
}

#[allow(clippy::disallowed_methods)] // tests measure time
fn now() -> Instant {
    Instant::now()
}

fn percentile(times: &mut [f64], share: f64) -> f64 {
    times.sort_by(f64::total_cmp);
    times[((times.len() - 1) as f64 * share).round() as usize]
}

fn ten_thousand() -> String {
    Signal { points: 10_000, interval_s: 5e-7, ..signal(-0.05, 9) }.csv()
}

#[cfg(target_os = "linux")]
#[test]
fn many_captures_leave_the_memory_as_it_was() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let session = server.done("POST", "/api/sessions", &json!({"source": {"kind": "files"}}));
    let path = format!("/api/sessions/{}/captures", session["id"].as_str().unwrap());
    let capture = ten_thousand();
    // Readers come and go, one stays and does not read.
    let _still = server.events(session["id"].as_str().unwrap(), None);
    times(&server, &path, capture.as_bytes(), 60, None);
    let before = resident_kb(&server);
    times(&server, &path, capture.as_bytes(), 240, None);
    let after = resident_kb(&server);
    assert!(after < before + 12_000, "{before} kB grew to {after} kB in 240 captures");
}

#[cfg(target_os = "linux")]
#[test]
#[ignore = "measures; takes minutes"]
fn figures() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let capture = ten_thousand();
    println!("capture: 10 000 points, {} kB of text", capture.len() / 1000);
    let mut direct = times(&server, "/api/assess", capture.as_bytes(), 1000, None);
    println!(
        "POST /api/assess, 1000 in a row: median {:.1} ms, 99th percentile {:.1} ms, longest {:.1} ms",
        percentile(&mut direct, 0.5),
        percentile(&mut direct, 0.99),
        percentile(&mut direct, 1.0)
    );
    let session = server.done("POST", "/api/sessions", &json!({"source": {"kind": "files"}}));
    let path = format!("/api/sessions/{}/captures", session["id"].as_str().unwrap());
    times(&server, &path, capture.as_bytes(), 100, None);
    let before = resident_kb(&server);
    let begun = now();
    let mut paced = times(&server, &path, capture.as_bytes(), 18_000, Some(Duration::from_millis(33)));
    let elapsed = begun.elapsed().as_secs_f64();
    println!(
        "session, {:.1} captures a second for {elapsed:.0} s: median {:.1} ms, 99th percentile {:.1} ms, longest {:.1} ms; memory {before} kB before, {} kB after",
        18_000.0 / elapsed,
        percentile(&mut paced, 0.5),
        percentile(&mut paced, 0.99),
        percentile(&mut paced, 1.0),
        resident_kb(&server)
    );
}
