//! What must not work: each test is one way in that was tried.
//!
//! Sources: DNS rebinding and cross-site requests as the Fetch standard and Fetch Metadata Request Headers (W3C) describe them;
//! the rest is common practice.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::json;

use super::super::bench::Bench;
use super::super::register::furnished;
use super::super::trim::signal;
use super::client::{BYTES, JSON, Server};

#[test]
fn a_name_that_was_made_to_point_here_is_refused() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let port = server.port;
    let foreign = [
        format!("evil.example:{port}"),
        "evil.example".to_owned(),
        "localhost".to_owned(),
        format!("localhost.evil.example:{port}"),
        format!("user@localhost:{port}"),
        format!("127.0.0.2:{port}"),
        String::new(),
    ];
    for host in &foreign {
        for path in ["/", "/api/about", "/api/log", "/nothing"] {
            let answer = server.ask("GET", path, &[("Host", host)], b"");
            assert_eq!((answer.status, answer.code().as_str()), (403, "foreign-host"), "{host} {path}");
        }
    }
    for host in [format!("localhost:{port}"), format!("127.0.0.1:{port}"), format!("[::1]:{port}")] {
        assert_eq!(server.ask("GET", "/api/about", &[("Host", &host)], b"").status, 200, "{host}");
    }
    // None, two, and a target that names another server than the header.
    let own = server.host();
    let none = server.raw(b"GET /api/about HTTP/1.1\r\nConnection: close\r\n\r\n");
    assert!(matches!(none.status, 400 | 403), "{none:?}");
    let two = server.ask("GET", "/api/about", &[("Host", &own), ("Host", "evil.example")], b"");
    assert!(matches!(two.status, 400 | 403), "{two:?}");
    let target = server.ask("GET", "http://evil.example/api/about", &[], b"");
    assert_eq!(target.status, 403, "{target:?}");
}

#[test]
fn pages_of_other_sites_can_neither_read_nor_write() {
    let bench = furnished();
    let server = Server::start(&bench, &[]);
    let port = server.port;
    let body = br#"{"id": "probe-66"}"#;
    let probes = "/api/bench/probes";
    let origins = [
        "http://evil.example".to_owned(),
        "null".to_owned(),
        format!("http://evil.example:{port}"),
        // Another server on this machine.
        "http://localhost:1".to_owned(),
        format!("ftp://localhost:{port}"),
        String::new(),
    ];
    for origin in &origins {
        let write = server.ask("POST", probes, &[JSON, ("Origin", origin)], body);
        assert_eq!((write.status, write.code().as_str()), (403, "foreign-origin"), "{origin}");
        let read = server.ask("GET", "/api/bench", &[("Origin", origin)], b"");
        assert_eq!(read.status, 403, "{origin}");
    }
    for site in ["cross-site", "same-site"] {
        let write = server.ask("POST", probes, &[JSON, ("Sec-Fetch-Site", site)], body);
        assert_eq!(write.status, 403, "{site}");
        assert_eq!(server.ask("GET", "/api/log", &[("Sec-Fetch-Site", site)], b"").status, 403, "{site}");
    }
    // What a form of another site can send without being asked first; old browsers name no origin.
    for kind in [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "text/plain; application/json",
        "",
    ] {
        let write = server.ask("POST", probes, &[("Content-Type", kind)], body);
        assert_eq!((write.status, write.code().as_str()), (415, "content-type"), "{kind}");
        let write = server.ask("POST", "/api/assess", &[("Content-Type", kind)], b"0,1\n");
        assert_eq!(write.status, 415, "{kind}");
    }
    assert_eq!(server.ask("POST", probes, &[], body).status, 415);
    assert_eq!(server.get("/api/bench/probes/probe-66").status, 404, "nothing was written");
    // The page itself may.
    let own = format!("http://{}", server.host());
    let write =
        server.ask("POST", probes, &[JSON, ("Origin", &own), ("Sec-Fetch-Site", "same-origin")], body);
    assert_eq!(write.status, 201, "{write:?}");
    // A link from elsewhere to the page is followed, one to the interface is not.
    assert_eq!(server.ask("GET", "/", &[("Sec-Fetch-Site", "cross-site")], b"").status, 200);
}

#[test]
fn no_other_page_is_let_in_by_headers() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let own = format!("http://{}", server.host());
    let preflight = [
        ("Origin", own.as_str()),
        ("Access-Control-Request-Method", "POST"),
        ("Access-Control-Request-Headers", "content-type"),
    ];
    let answers = [
        server.get("/"),
        server.get("/api/about"),
        server.get("/api/nothing"),
        server.get("/assets/nothing.js"),
        server.ask("GET", "/api/about", &[("Host", "evil.example")], b""),
        server.ask("OPTIONS", "/api/bench/probes", &preflight, b""),
        server.ask("GET", "/api/about", &[("Origin", &own)], b""),
    ];
    for answer in &answers {
        let lower = answer.head.to_lowercase();
        assert!(!lower.contains("access-control-"), "{}", answer.head);
        let policy = answer.header("content-security-policy").unwrap();
        for part in [
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        ] {
            assert!(policy.contains(part), "{part}: {policy}");
        }
        assert!(!policy.contains("unsafe") && !policy.contains('*'), "{policy}");
        for (name, value) in [
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "no-referrer"),
            ("cross-origin-opener-policy", "same-origin"),
            ("cross-origin-resource-policy", "same-origin"),
            ("x-frame-options", "DENY"),
        ] {
            assert_eq!(answer.header(name), Some(value), "{name}: {}", answer.head);
        }
    }
    assert_eq!(answers[5].status, 405, "nobody may ask for leave: {}", answers[5].head);
}

#[test]
fn paths_lead_to_files_of_the_page_only() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    for path in [
        "/../Cargo.toml",
        "/..%2f..%2fCargo.toml",
        "/assets/../../package.json",
        "/%2e%2e/package.json",
        "//etc/passwd.txt",
        "/assets/..\\..\\package.json",
        "/index.html%00.js",
        "/api/downloads/../../etc/passwd",
        "/api/downloads/..%2f..%2fdemo.sqlite",
        "/api/captures/..%2fdemo.sqlite",
        "/api/records/..%2f..%2fx.html",
        "/api/sessions/../about/x",
    ] {
        let answer = server.get(path);
        assert!(
            matches!(answer.status, 400 | 404),
            "{path}: {} {}",
            answer.head,
            String::from_utf8_lossy(&answer.body)
        );
    }
}

#[cfg(unix)]
#[test]
fn watching_stays_within_the_folders_of_the_command_line() {
    let bench = Bench::new();
    std::fs::create_dir_all(bench.path("exports/sub")).unwrap();
    std::fs::create_dir(bench.path("private")).unwrap();
    bench.write("private/secret.csv", &signal(-0.05, 1).csv());
    std::os::unix::fs::symlink(bench.path("private"), bench.path("exports/link")).unwrap();
    let server = Server::start(&bench, &["--watch-root", "exports"]);
    let start = |root: &str, path: &str| {
        server.post("/api/sessions", &json!({"source": {"kind": "watch", "root": root, "path": path}}))
    };
    for path in ["..", "../private", "sub/../../private", "/etc", "link", "link/secret.csv", "sub/\u{0}x"] {
        let answer = start("exports", path);
        assert!(matches!(answer.status, 404 | 422), "{path}: {answer:?}");
        assert!(answer.code() == "outside-root" || answer.code() == "not-found", "{path}: {}", answer.code());
        let escaped = path.replace('/', "%2F").replace('\u{0}', "%00");
        assert_ne!(server.get(&format!("/api/watch?root=exports&path={escaped}")).status, 200, "{path}");
    }
    assert_eq!(start("private", "").code(), "unknown-source");
    assert_eq!(start(bench.path("private").to_str().unwrap(), "").code(), "unknown-source");
    // A link that is put there later leads nowhere, either.
    let session =
        server.done("POST", "/api/sessions", &json!({"source": {"kind": "watch", "root": "exports"}}));
    let mut events = server.events(session["id"].as_str().unwrap(), None);
    std::os::unix::fs::symlink(bench.path("private/secret.csv"), bench.path("exports/out.csv")).unwrap();
    let trouble = events.next_of("trouble");
    assert!(
        trouble.data["message"].as_str().unwrap().contains("leads out of the watched folder"),
        "{trouble:?}"
    );
    bench.write("exports/own.csv", &signal(-0.05, 1).csv());
    let capture = events.next_of("capture");
    assert_eq!(capture.data["capture"], "own.csv");
    assert_eq!(capture.data["number"], 1, "the link was never read");
    let folder = server.done("GET", "/api/watch?root=exports", &json!(null));
    assert_eq!(folder["folders"], json!(["sub"]), "links are no folders");
}

#[test]
#[allow(clippy::disallowed_methods)] // it measures how long it takes
fn a_body_without_end_or_pace_is_given_up() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let host = server.host();
    // Longer than is taken, said beforehand and not.
    let long = vec![b' '; (1 << 20) + 1];
    let answer = server.ask("POST", "/api/bench/check", &[JSON], &long);
    assert_eq!((answer.status, answer.code().as_str()), (413, "too-large"));
    let mut chunked = format!("POST /api/bench/check HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n").into_bytes();
    for _ in 0..17 {
        chunked.extend_from_slice(b"10000\r\n");
        chunked.extend_from_slice(&[b' '; 0x10000]);
        chunked.extend_from_slice(b"\r\n");
    }
    assert_eq!(server.raw(&chunked).status, 413);
    let declared = format!(
        "POST /api/assess HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Type: application/octet-stream\r\nContent-Length: 99999999999\r\n\r\n"
    );
    assert_eq!(server.raw(declared.as_bytes()).status, 413, "refused before anything of it has come");
    let head = format!("GET /api/about HTTP/1.1\r\nHost: {host}\r\nX-Long: {}\r\n\r\n", "x".repeat(100_000));
    assert!(matches!(server.raw(head.as_bytes()).status, 400 | 431));
    // Three that stop halfway: a body, a stored body, a head. All at once, as each takes its ten seconds.
    let begun = Instant::now();
    let halves = [
        format!(
            "POST /api/bench/check HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{{"
        ),
        format!(
            "POST /api/captures HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/octet-stream\r\nContent-Length: 100\r\n\r\n0"
        ),
        format!("GET /api/about HTTP/1.1\r\nHost: {host}\r\nX-Slow: "),
    ];
    let threads: Vec<_> = halves
        .map(|half| {
            let mut stream = TcpStream::connect(("127.0.0.1", server.port)).unwrap();
            stream.set_read_timeout(Some(Duration::from_secs(40))).unwrap();
            stream.write_all(half.as_bytes()).unwrap();
            std::thread::spawn(move || {
                let mut said = Vec::new();
                let mut part = [0; 4096];
                // Until the first word, or until it is closed.
                if let Ok(read) = stream.read(&mut part) {
                    said.extend_from_slice(&part[..read]);
                }
                String::from_utf8_lossy(&said).into_owned()
            })
        })
        .into_iter()
        .collect();
    // Meanwhile others are served.
    assert_eq!(server.get("/api/about").status, 200);
    let said: Vec<String> = threads.into_iter().map(|thread| thread.join().unwrap()).collect();
    assert!(begun.elapsed() < Duration::from_secs(30), "{:?}", begun.elapsed());
    assert!(said[0].starts_with("HTTP/1.1 408") && said[0].contains("too-slow"), "{said:?}");
    assert!(said[1].starts_with("HTTP/1.1 408"), "{said:?}");
    assert!(said[2].is_empty() || said[2].starts_with("HTTP/1.1 4"), "{said:?}");
}

#[test]
fn the_network_needs_a_secret() {
    let bench = furnished();
    for address in ["0.0.0.0:0", "[::]:0", "192.0.2.7:8437"] {
        let run = bench.run(&["serve", "--listen", address, "--bench", "b"]);
        assert_eq!(run.status, 2, "{run:?}");
        assert!(run.stderr.contains("--make-secret") && run.stderr.contains("--secret-file"), "{run:?}");
    }
    let made = bench.run(&["serve", "--make-secret", "bench.secret"]);
    assert_eq!(made.status, 0, "{made:?}");
    let secret = made.stdout.lines().nth(1).unwrap().trim().to_owned();
    let kept = String::from_utf8(bench.read("bench.secret")).unwrap();
    assert!(kept.starts_with("$argon2id$") && !kept.contains(&secret), "{kept}");
    assert_eq!(bench.run(&["serve", "--make-secret", "bench.secret"]).status, 1, "no secret is overwritten");
    bench.write("plain.secret", &secret);
    let run =
        bench.run(&["serve", "--listen", "127.0.0.1:0", "--secret-file", "plain.secret", "--bench", "b"]);
    assert_eq!(run.status, 1, "a secret that is not hashed is refused: {run:?}");

    let server = Server::spawn(
        &bench,
        &[
            "serve",
            "--listen",
            "0.0.0.0:0",
            "--secret-file",
            "bench.secret",
            "--bench",
            "b",
            "--watch-root",
            ".",
        ],
    );
    let about = server.done("GET", "/api/about", &json!(null));
    assert_eq!((&about["signed_in"], &about["secret_needed"]), (&json!(false), &json!(true)));
    assert!(about["bench"].is_null() && about["sources"]["watch_roots"] == json!([]), "{about}");
    for path in [
        "/api/bench",
        "/api/log",
        "/api/openapi.json",
        "/api/bench/export",
        "/api/records/bench.html",
        "/api/nothing",
    ] {
        let answer = server.get(path);
        assert_eq!((answer.status, answer.code().as_str()), (401, "sign-in-needed"), "{path}");
    }
    let add = server.post("/api/bench/probes", &json!({"id": "probe-66"}));
    assert_eq!(add.status, 401);
    for cookie in ["flattop=", "flattop=0000", "flattop=' or 1=1", "x=y"] {
        assert_eq!(server.ask("GET", "/api/bench", &[("Cookie", cookie)], b"").status, 401, "{cookie}");
    }
    // An address in place of a name is nobody's to point here; a name is.
    let port = server.port;
    assert_eq!(server.ask("GET", "/api/about", &[("Host", &format!("192.0.2.7:{port}"))], b"").status, 200);
    assert_eq!(
        server.ask("GET", "/api/about", &[("Host", &format!("evil.example:{port}"))], b"").status,
        403
    );

    let right = server.post("/api/sign-in", &json!({"secret": secret}));
    assert_eq!(right.status, 204, "{right:?}");
    let cookie = right.header("set-cookie").unwrap().to_owned();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    let cookie = cookie.split(';').next().unwrap().to_owned();
    assert_eq!(server.ask("GET", "/api/bench", &[("Cookie", &cookie)], b"").status, 200);
    let out = server.ask("DELETE", "/api/sign-in", &[("Cookie", &cookie)], b"");
    assert_eq!(out.status, 204);
    assert_eq!(server.ask("GET", "/api/bench", &[("Cookie", &cookie)], b"").status, 401, "signed out");

    // Guessing ends after a few tries, also with the right secret.
    let wrong: Vec<(u16, String)> = (0..6)
        .map(|n| {
            let answer = server.post("/api/sign-in", &json!({"secret": format!("guess-{n}")}));
            (answer.status, answer.code())
        })
        .collect();
    assert!(wrong[..4].iter().all(|(status, code)| *status == 401 && code == "wrong-secret"), "{wrong:?}");
    assert_eq!(wrong[5], (429, "too-many-tries".to_owned()));
    let late = server.post("/api/sign-in", &json!({"secret": secret}));
    assert_eq!(late.status, 429);
    assert!(late.header("retry-after").unwrap().parse::<u32>().unwrap() <= 60, "{}", late.head);
}

#[test]
fn only_instruments_of_the_command_line_are_contacted() {
    let bench = Bench::new();
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    listener.set_nonblocking(true).unwrap();
    let address = format!("tcp://{}", listener.local_addr().unwrap());
    let other = "bench-a=tcp://127.0.0.1:1";
    let server = Server::start(&bench, &["--instrument", other]);
    for source in [
        json!({"kind": "instrument", "id": address}),
        json!({"kind": "instrument", "id": "bench-b"}),
        json!({"kind": "instrument", "id": "bench-a", "address": address}),
        json!({"kind": "instrument", "address": address}),
        json!({"kind": "connect", "id": address}),
        json!({"kind": "practice", "address": address}),
    ] {
        let answer = server.post("/api/sessions", &json!({"source": source}));
        assert!(matches!(answer.code().as_str(), "unknown-source" | "invalid-json"), "{source}: {answer:?}");
    }
    std::thread::sleep(Duration::from_millis(300));
    assert!(listener.accept().is_err(), "an address that the page named was contacted");
}

#[test]
fn sessions_and_their_readers_are_limited() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let start = || server.post("/api/sessions", &json!({"source": {"kind": "files"}}));
    let ids: Vec<String> = (0..8).map(|_| start().json()["id"].as_str().unwrap().to_owned()).collect();
    let ninth = start();
    assert_eq!((ninth.status, ninth.code().as_str()), (429, "too-many-sessions"));
    let unknown = server.get("/api/sessions/s1-000000/events");
    assert_eq!(unknown.status, 404);
    assert_eq!(server.ask("DELETE", &format!("/api/sessions/{}", ids[0]), &[], b"").status, 204);
    assert_eq!(start().status, 201);
    let readers: Vec<_> = (0..64).map(|n| server.events(&ids[1 + n % 7], None)).collect();
    assert_eq!(server.get(&format!("/api/sessions/{}/events", ids[1])).status, 429, "readers without end");
    drop(readers);
}

#[test]
fn what_is_sent_never_becomes_a_header_or_markup() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let name = "a%0d%0aSet-Cookie:%20x=1%22.csv";
    let stored = server.send(&format!("/api/captures?name={name}"), signal(-0.05, 1).csv().as_bytes());
    assert_eq!(stored.status, 201, "{stored:?}");
    let id = stored.json()["id"].clone();
    let corrected = server.done(
        "POST",
        "/api/correct",
        &json!({"stored": id, "known": {"error": "-5%", "time_constant": "100us"}}),
    );
    let file = server.get(corrected["download"]["path"].as_str().unwrap());
    assert_eq!(file.status, 200);
    assert!(
        file.header("set-cookie").is_none()
            && file.header("content-disposition").unwrap().starts_with("attachment"),
        "{}",
        file.head
    );
    let folder = server.done("GET", &format!("/api/captures/{}", id.as_str().unwrap()), &json!(null));
    assert!(!folder["name"].as_str().unwrap().contains(['\r', '\n', '"', '/', ':']), "{folder}");
    // A record shows what was typed as text.
    let record = server.get("/api/records/bench.html?laboratory=%3Cscript%3Ealert(1)%3C/script%3E");
    let text = String::from_utf8(record.body.clone()).unwrap();
    assert!(
        record.status == 200 && !text.contains("<script") && text.contains("&lt;script"),
        "{}",
        record.head
    );
    let policy = record.header("content-security-policy").unwrap();
    assert!(
        policy.starts_with("default-src 'none'")
            && policy.contains("sandbox")
            && !policy.contains("script-src"),
        "{policy}"
    );
    // Errors are JSON, never a page.
    let answer = server.get("/api/%3Cscript%3E");
    assert_eq!((answer.status, answer.header("content-type")), (404, Some("application/json")));
}

#[test]
fn a_plan_cannot_make_the_server_read_files() {
    let bench = furnished();
    bench.write("wave.csv", &signal(-0.05, 1).csv());
    let server = Server::start(&bench, &[]);
    let probe = json!({"id": "probe-07"});
    let input = json!({"id": "bench-a/ch1"});
    let file = bench.path("wave.csv");
    for plan in [
        json!({"probe": probe, "input": input, "signal": {"shape": "file", "file": file}}),
        json!({"probe": probe, "input": input, "signal": {"shape": "file", "file": "../../etc/passwd"}}),
    ] {
        for path in ["/api/plan/predict", "/api/plan/budget"] {
            let answer = server.post(path, &json!({"plan": plan}));
            assert_eq!(
                (answer.status, answer.code().as_str()),
                (422, "files-not-read"),
                "{path} {plan}: {answer:?}"
            );
        }
    }
    let toml = "[[measured]]\nplace = \"before-input\"\nuse = \"response\"\nfile = \"/etc/passwd\"\n";
    let answer =
        server.post("/api/plan/predict", &json!({"plan": {"probe": probe, "input": input}, "toml": toml}));
    assert_eq!(answer.code(), "files-not-read", "{answer:?}");
    let answer = server.ask("POST", "/api/assess?name=/etc/passwd", &[BYTES], b"not a capture");
    assert_eq!(answer.code(), "capture-unreadable");
}
