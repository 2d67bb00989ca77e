//! The bench over HTTP: begun from nothing, things with their fields, pairings, exchange; what the page is served from.

use serde_json::{Value, json};

use super::super::bench::Bench;
use super::super::register::furnished;
use super::client::{JSON, Server};

#[test]
fn a_bench_is_begun_from_the_page() {
    let bench = Bench::new();
    let server = Server::start(&bench, &[]);
    let about = server.done("GET", "/api/about", &json!(null));
    assert_eq!(
        (&about["bench"]["exists"], &about["bench"]["empty"]),
        (&json!(false), &json!(true)),
        "{about}"
    );
    assert!(
        about["cautions"].as_array().unwrap().iter().any(|c| c.as_str().unwrap().contains("earth")),
        "{about}"
    );
    let empty = server.done("GET", "/api/bench", &json!(null));
    assert_eq!(empty["probes"], json!([]));
    assert!(!bench.path("b").exists(), "looking makes nothing");
    assert_eq!(server.get("/api/compatibility").status, 404);

    server.done(
        "POST",
        "/api/bench/oscilloscopes",
        &json!({"id": "bench-a", "fields": {"label": "Bench A scope, 200 MHz"}}),
    );
    let input = json!({"name": "ch1", "fields": {"resistance": "1 MΩ ± 1 %", "capacitance": "15 pF ± 1 pF", "bandwidth": "200 MHz"}});
    server.done("POST", "/api/bench/oscilloscopes/bench-a/inputs", &input);
    let probe = json!({"id": "probe-07", "fields": {"ratio": 10, "tip_capacitance": "12 pF", "compensation_range": "8 pF to 18 pF", "adjusted_at": "tip"}});
    server.done("POST", "/api/bench/probes", &probe);
    server.done(
        "POST",
        "/api/bench/probes/probe-07/grounds",
        &json!({"name": "spring", "fields": {"length": "15 mm"}}),
    );
    let made = server.done(
        "POST",
        "/api/bench/pairings",
        &json!({"probe": "probe-07", "input": "bench-a/ch1", "tolerance": "1%", "interval": "90 days"}),
    );
    assert_eq!(made["pairing"], 1);
    let shown = server.done("GET", "/api/bench/probes/probe-07", &json!(null));
    assert_eq!(
        (&shown["fields"]["compensation_range"], &shown["pairings"][0]["state"]),
        (&json!("8 pF to 18 pF"), &json!("never-checked"))
    );
    // The command line sees the same bench.
    let run = bench.run(&["bench", "list", "--bench", "b"]);
    assert!(run.stdout.contains("probe-07") && run.stdout.contains("Bench A scope, 200 MHz"), "{run:?}");
    let matrix = server.done("GET", "/api/compatibility", &json!(null));
    let same: Value = bench.json(&["reach", "--bench", "b"], 0);
    assert_eq!(matrix, same, "the same object as on the command line");
    let toml = String::from_utf8(server.get("/api/bench/export").body).unwrap();
    let other = Bench::new();
    let second = Server::start(&other, &[]);
    let counts = second.done("POST", "/api/bench/import", &json!({"toml": toml}));
    assert_eq!((&counts["probes"], &counts["pairings"]), (&json!(1), &json!(1)), "{counts}");
}

#[test]
fn every_field_that_is_wrong_is_named_and_nothing_is_written() {
    let bench = furnished();
    let server = Server::start(&bench, &[]);
    let fields = json!({"ratio": "0.5", "bandwidth": "quick", "tip_capacitance": "12 pF ± 15 pF", "colour": "red", "label": "fine"});
    let answer = server.post("/api/bench/probes", &json!({"id": "Probe 8", "fields": fields}));
    assert_eq!((answer.status, answer.code().as_str()), (422, "invalid-fields"));
    let at = |answer: &Value| -> Vec<String> {
        answer["fields"].as_array().unwrap().iter().map(|f| f["at"].as_str().unwrap().to_owned()).collect()
    };
    let error = answer.json()["error"].clone();
    assert_eq!(at(&error), ["id", "bandwidth", "colour", "ratio", "tip_capacitance"]);
    assert_eq!(error["at"], "id");
    let checked = server.done("POST", "/api/bench/check", &json!({"kind": "probe", "fields": fields}));
    assert_eq!(at(&checked), ["bandwidth", "colour", "ratio", "tip_capacitance"]);
    let patch = server.ask(
        "PATCH",
        "/api/bench/probes/probe-07",
        &[JSON],
        br#"{"fields": {"ratio": "100", "bandwidth": "quick"}}"#,
    );
    assert_eq!(at(&patch.json()["error"]), ["bandwidth"]);
    let shown = server.done("GET", "/api/bench/probes/probe-07", &json!(null));
    assert_eq!(shown["ratio"], 10.0, "nothing of it was written");
    let changes = server.ask(
        "PATCH",
        "/api/bench/probes/probe-07",
        &[JSON],
        br#"{"fields": {"label": "Probe 07", "compensation_range": null}}"#,
    );
    assert_eq!(changes.json()["changes"].as_array().unwrap().len(), 2, "{changes:?}");
    assert!(server.done("GET", "/api/bench/probes/probe-07", &json!(null))["compensation_range_f"].is_null());
    // Names that are taken, pairings that are there, things that are not.
    assert_eq!(server.post("/api/bench/probes", &json!({"id": "probe-07"})).status, 409);
    server.done("POST", "/api/bench/pairings", &json!({"probe": "probe-07", "input": "bench-a/ch1"}));
    let pair = |moves: bool| {
        server
            .post("/api/bench/pairings", &json!({"probe": "probe-07", "input": "bench-b/ch1", "move": moves}))
    };
    assert_eq!(pair(false).code(), "conflict");
    let moved = pair(true).json();
    assert_eq!((&moved["pairing"], &moved["voided_pairing"]), (&json!(2), &json!(1)), "{moved}");
    assert_eq!(server.get("/api/bench/probes/probe-99").status, 404);
    assert_eq!(server.get("/api/bench/pairings/99").status, 404);
    assert_eq!(server.get("/api/bench/pairings/x").status, 404);
    let removed = server.done("DELETE", "/api/bench/probes/probe-07", &json!(null));
    assert_eq!(removed["retired"], true, "the logbook speaks of it");
    server.done("POST", "/api/bench/reinstate", &json!({"thing": "probe:probe-07"}));
    let unknown = server.post(
        "/api/bench/pairings",
        &json!({"probe": "probe-11", "input": "bench-a/ch2", "tolerence": "1%"}),
    );
    assert_eq!(at(&unknown.json()["error"]), ["tolerence"]);
}

#[test]
fn fields_are_told_with_their_forms() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let all = server.done("GET", "/api/bench/fields", &json!(null));
    // What is given as an example can be typed.
    for kind in ["oscilloscope", "input", "probe", "ground"] {
        for field in all[kind].as_array().unwrap() {
            let text = match field["words"].as_array().unwrap().last() {
                Some(word) => word.clone(),
                None => field["example"].clone(),
            };
            let checked = server.done(
                "POST",
                "/api/bench/check",
                &json!({"kind": kind, "fields": {field["key"].as_str().unwrap(): text}}),
            );
            assert_eq!(checked["fields"], json!([]), "{kind} {field}");
        }
    }
}

#[test]
fn the_page_is_served_packed_and_kept() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let page = server.get("/");
    assert_eq!((page.status, page.header("content-type")), (200, Some("text/html; charset=utf-8")));
    assert!(String::from_utf8_lossy(&page.body).to_lowercase().contains("<!doctype html>"));
    let tag = page.header("etag").unwrap().to_owned();
    let again = server.ask("GET", "/", &[("If-None-Match", &tag)], b"");
    assert_eq!((again.status, again.body.len()), (304, 0));
    for (accepted, packing) in
        [("gzip, br;q=0", None::<&str>), ("gzip", Some("gzip")), ("gzip, deflate, br", Some("br"))]
    {
        let answer = server.ask("GET", "/", &[("Accept-Encoding", accepted)], b"");
        let found = answer.header("content-encoding");
        assert!(
            found.is_none() || packing.is_none_or(|packing| found == Some(packing)),
            "{accepted}: {found:?}"
        );
        assert!(accepted != "gzip, br;q=0" || found != Some("br"), "{found:?}");
    }
    // Places within the page are the page; files that are not there are not.
    assert_eq!(server.get("/bench").body, page.body);
    assert_eq!(server.get("/assets/none.js").status, 404);
    let write = server.ask("POST", "/", &[JSON], b"{}");
    assert_eq!((write.status, write.header("allow")), (405, Some("GET, HEAD")));
    assert_eq!(server.ask("PUT", "/api/bench", &[JSON], b"{}").code(), "method-not-allowed");
    let head = server.ask("HEAD", "/", &[], b"");
    assert_eq!((head.status, head.body.len()), (200, 0));
}

#[cfg(unix)]
#[test]
fn it_ends_cleanly_and_leaves_nothing_behind() {
    let bench = Bench::new();
    std::fs::create_dir(bench.path("tmp")).unwrap();
    let folder = bench.path("tmp");
    let mut command = bench.command(&["serve", "--demo", "--listen", "127.0.0.1:0"]);
    command.env("TMPDIR", &folder);
    let server = Server::of(command);
    assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 1, "a folder of its own");
    use std::os::unix::fs::PermissionsExt;
    let own = std::fs::read_dir(&folder).unwrap().next().unwrap().unwrap();
    assert_eq!(own.metadata().unwrap().permissions().mode() & 0o077, 0, "nobody else may look into it");
    let session = server.done("POST", "/api/sessions", &json!({"source": {"kind": "files"}}));
    let mut events = server.events(session["id"].as_str().unwrap(), None);
    assert_eq!(server.interrupt(), Some(0));
    assert_eq!(events.next_of("ended").data["reason"], "the server ends");
    assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 0);
}

#[test]
fn what_cannot_be_started_says_why() {
    let bench = furnished();
    bench.write("not-a-bench", "hello");
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    for (args, status, part) in [
        (vec!["--listen", address.as_str(), "--bench", "b"], 1, "--listen 127.0.0.1:0"),
        (vec!["--bench", "not-a-bench"], 1, "is not a bench"),
        (vec!["--bench", "b", "--watch-root", "nowhere"], 1, "no folder"),
        (vec!["--bench", "b", "--instrument", "a=tcp://127.0.0.1:1,none.toml"], 1, "none.toml"),
        (vec!["--bench", "b", "--secret-file", "none"], 1, "cannot be read"),
        (vec!["--bench", "b", "--instrument", "a=nowhere"], 2, "tcp://"),
        (vec!["--bench", "b", "--watch-root", "x=.", "--watch-root", "x=.."], 2, "two folders are named"),
        (vec!["--demo", "--bench", "b"], 2, "--bench"),
    ] {
        let all: Vec<&str> = ["serve"].into_iter().chain(args).collect();
        let run = bench.run(&all);
        assert_eq!(run.status, status, "{all:?}: {run:?}");
        assert!(run.stderr.contains(part), "{part}: {run:?}");
    }
}
