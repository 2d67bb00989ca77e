//! The server as a child process, and the smallest client that can say anything.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use serde_json::Value;

use super::super::bench::Bench;

/// A running server.
pub(super) struct Server {
    child: Child,
    pub(super) port: u16,
}

/// What was answered.
#[derive(Clone, Debug)]
pub(super) struct Answer {
    pub(super) status: u16,
    pub(super) head: String,
    pub(super) body: Vec<u8>,
}

impl Answer {
    pub(super) fn json(&self) -> Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|error| panic!("{error}: {} {}", self.head, String::from_utf8_lossy(&self.body)))
    }

    pub(super) fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|line| {
            let (found, value) = line.split_once(':')?;
            found.eq_ignore_ascii_case(name).then_some(value.trim())
        })
    }

    /// The code of an error.
    pub(super) fn code(&self) -> String {
        self.json()["error"]["code"].as_str().unwrap_or_default().to_owned()
    }
}

pub(super) const JSON: (&str, &str) = ("Content-Type", "application/json");
pub(super) const BYTES: (&str, &str) = ("Content-Type", "application/octet-stream");

impl Server {
    /// Starts it on a free port of this machine, with a bench in the folder of `bench`.
    pub(super) fn start(bench: &Bench, args: &[&str]) -> Self {
        let is_demo = args.contains(&"--demo");
        let mut all = vec!["serve", "--listen", "127.0.0.1:0"];
        if !is_demo {
            all.extend(["--bench", "b"]);
        }
        all.extend(args);
        Self::spawn(bench, &all)
    }

    pub(super) fn spawn(bench: &Bench, args: &[&str]) -> Self {
        Self::of(bench.command(args))
    }

    pub(super) fn of(mut command: Command) -> Self {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let port = line.trim().trim_end_matches('/').rsplit_once(':').and_then(|(_, port)| port.parse().ok());
        let Some(port) = port else {
            let mut said = String::new();
            child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
            panic!("no address in {line:?}: {said}");
        };
        Self { child, port }
    }

    pub(super) fn pid(&self) -> u32 {
        self.child.id()
    }

    pub(super) fn host(&self) -> String {
        format!("localhost:{}", self.port)
    }

    /// Sends bytes as they are, and reads until the other end closes.
    pub(super) fn raw(&self, bytes: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        // A refusal may come before all of it is sent.
        let _ = stream.write_all(bytes);
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let end = all.windows(4).position(|four| four == b"\r\n\r\n");
        let Some(end) = end else {
            return Answer { status: 0, head: String::new(), body: all };
        };
        let head = String::from_utf8(all[..end].to_vec()).unwrap();
        let status = head.split(' ').nth(1).and_then(|word| word.parse().ok()).unwrap_or(0);
        Answer { status, head, body: all[end + 4..].to_vec() }
    }

    /// Asks as the page would, with headers besides.
    pub(super) fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
        let host = self.host();
        let mut text = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        if headers.iter().all(|(name, _)| !name.eq_ignore_ascii_case("host")) {
            text += &format!("Host: {host}\r\n");
        }
        for (name, value) in headers {
            text += &format!("{name}: {value}\r\n");
        }
        if !body.is_empty() || matches!(method, "POST" | "PATCH" | "PUT") {
            text += &format!("Content-Length: {}\r\n", body.len());
        }
        text += "\r\n";
        self.raw(&[text.as_bytes(), body].concat())
    }

    pub(super) fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, &[], b"")
    }

    pub(super) fn post(&self, path: &str, body: &Value) -> Answer {
        self.ask("POST", path, &[JSON], body.to_string().as_bytes())
    }

    pub(super) fn send(&self, path: &str, bytes: &[u8]) -> Answer {
        self.ask("POST", path, &[BYTES], bytes)
    }

    /// The JSON that a request is answered with, which has to be a success.
    pub(super) fn done(&self, method: &str, path: &str, body: &Value) -> Value {
        let answer = match method {
            "GET" | "DELETE" => self.ask(method, path, &[], b""),
            _ => self.ask(method, path, &[JSON], body.to_string().as_bytes()),
        };
        assert!(
            (200..300).contains(&answer.status),
            "{method} {path}: {} {}",
            answer.head,
            String::from_utf8_lossy(&answer.body)
        );
        if answer.body.is_empty() { Value::Null } else { answer.json() }
    }

    /// Opens a stream of events.
    pub(super) fn events(&self, session: &str, last: Option<u64>) -> Events {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
        let last = last.map_or_else(String::new, |last| format!("Last-Event-ID: {last}\r\n"));
        let text =
            format!("GET /api/sessions/{session}/events HTTP/1.1\r\nHost: {}\r\n{last}\r\n", self.host());
        stream.write_all(text.as_bytes()).unwrap();
        let mut lines = BufReader::new(stream);
        // The head says that it is listening.
        let mut line = String::new();
        while lines.read_line(&mut line).unwrap() > 0 && line.trim() != "" {
            line.clear();
        }
        Events { lines }
    }

    /// Ends it as Ctrl-C would, and tells its status.
    #[cfg(unix)]
    pub(super) fn interrupt(mut self) -> Option<i32> {
        let pid = self.child.id().to_string();
        Command::new("kill").args(["-INT", &pid]).status().unwrap();
        self.child.wait().unwrap().code()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A stream of events.
pub(super) struct Events {
    lines: BufReader<TcpStream>,
}

/// One event.
#[derive(Clone, Debug)]
pub(super) struct Event {
    pub(super) id: u64,
    pub(super) kind: String,
    pub(super) data: Value,
}

impl Events {
    /// The next event; lengths of chunks and comments are passed over.
    pub(super) fn next(&mut self) -> Option<Event> {
        let (mut id, mut kind, mut data) = (0, String::new(), None);
        loop {
            let mut line = String::new();
            if self.lines.read_line(&mut line).unwrap() == 0 {
                return None;
            }
            let line = line.trim_end();
            if let Some(found) = line.strip_prefix("id: ") {
                id = found.parse().unwrap();
            } else if let Some(found) = line.strip_prefix("event: ") {
                kind = found.to_owned();
            } else if let Some(found) = line.strip_prefix("data: ") {
                data = Some(serde_json::from_str(found).unwrap());
            } else if line.is_empty()
                && let Some(data) = data.take()
            {
                return Some(Event { id, kind, data });
            }
        }
    }

    /// The next event of a kind.
    pub(super) fn next_of(&mut self, kind: &str) -> Event {
        loop {
            let event = self.next().unwrap_or_else(|| panic!("the stream ended before an event {kind}"));
            if event.kind == kind {
                return event;
            }
        }
    }
}
