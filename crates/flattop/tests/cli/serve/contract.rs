//! The OpenAPI document against the server: every route is described and there, real answers hold the fields that it says.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Value, json};

use super::super::bench::Bench;
use super::super::trim::signal;
use super::client::{JSON, Server};

/// What may stand in place of a part of a path.
fn filled(path: &str) -> String {
    path.replace("{id}", "x")
        .replace("{name}", "x")
        .replace("{number}", "1")
        .replace("{seq}", "1")
        .replace("{list}", "x")
        .replace("{file}", "x")
}

#[test]
fn every_route_is_described_and_there() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let document = server.done("GET", "/api/openapi.json", &json!(null));
    assert_eq!(
        (&document["info"]["title"], &document["info"]["version"]),
        (&json!("flattop serve"), &json!(env!("CARGO_PKG_VERSION")))
    );
    let written = include_str!("../../../../../docs/http.md");
    let table: BTreeSet<(String, String)> = written
        .lines()
        .filter_map(|line| {
            let (method, rest) = line.strip_prefix("| `")?.split_once(' ')?;
            let (path, _) = rest.split_once('`')?;
            path.starts_with("/api/").then(|| (method.to_lowercase(), path.to_owned()))
        })
        .collect();
    let mut described = BTreeSet::new();
    for (path, methods) in document["paths"].as_object().unwrap() {
        for (method, what) in methods.as_object().unwrap() {
            described.insert((method.clone(), path.clone()));
            assert!(
                what["summary"].as_str().is_some_and(|text| text.len() > 5),
                "{method} {path} says nothing"
            );
            assert!(
                what["tags"][0].is_string() && what["responses"].as_object().is_some_and(|r| !r.is_empty()),
                "{method} {path}"
            );
            // There: whatever is wrong with this request, it is not that nothing is at this path for this method.
            let answer = server.ask(&method.to_uppercase(), &filled(path), &[JSON], b"");
            let is_missing =
                answer.status == 405 || String::from_utf8_lossy(&answer.body).contains("there is nothing at");
            assert!(
                !is_missing || answer.header("content-type") == Some("text/event-stream"),
                "{method} {path}: {answer:?}"
            );
        }
    }
    let missing: Vec<_> = described.difference(&table).collect();
    let gone: Vec<_> = table.difference(&described).collect();
    assert!(
        missing.is_empty() && gone.is_empty(),
        "docs/http.md lacks {missing:?}, and has besides {gone:?}"
    );
    // Names of operations are those of functions in generated clients.
    let mut operations = BTreeMap::new();
    for (path, methods) in document["paths"].as_object().unwrap() {
        for (method, what) in methods.as_object().unwrap() {
            let id = what["operationId"].as_str().unwrap().to_owned();
            if let Some(other) = operations.insert(id.clone(), format!("{method} {path}")) {
                panic!("{id} is {other} and {method} {path}");
            }
        }
    }
}

/// The names of the fields of a schema, references and parts followed.
fn fields(document: &Value, schema: &Value) -> BTreeSet<String> {
    if let Some(place) = schema["$ref"].as_str() {
        return fields(document, document.pointer(place.trim_start_matches('#')).unwrap());
    }
    let parts = schema["allOf"].as_array().into_iter().flatten();
    let own = schema["properties"].as_object().into_iter().flat_map(|all| all.keys().cloned());
    own.chain(parts.flat_map(|part| fields(document, part))).collect()
}

#[test]
fn answers_hold_what_the_document_says() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let document = server.done("GET", "/api/openapi.json", &json!(null));
    let capture = signal(-0.05, 1).csv();
    let stored = server.send("/api/captures?name=cap.csv", capture.as_bytes());
    let id = stored.json()["id"].as_str().unwrap().to_owned();
    let session = server.done("POST", "/api/sessions", &json!({"source": {"kind": "files"}}));
    let session_id = session["id"].as_str().unwrap().to_owned();
    let plan = json!({
        "signal": {"shape": "sine", "frequency": "1 MHz", "low": "0 V", "high": "5 V"},
        "probe": {"id": "probe-01"}, "input": {"id": "bench-a/ch1"},
    });
    let wanted =
        json!({"signal": plan["signal"], "measurement": {"quantity": "amplitude", "tolerance": "3%"}});
    let reading = json!({"signal": plan["signal"], "probe": plan["probe"], "input": plan["input"], "reading": {"quantity": "amplitude"}});
    let requests = [
        ("get", "/api/about", "/api/about".to_owned(), None),
        ("post", "/api/assess/by-eye", String::new(), Some(json!({"start": "4.6", "end": "5.0"}))),
        ("get", "/api/captures/{id}", format!("/api/captures/{id}"), None),
        ("get", "/api/captures/{id}/window", format!("/api/captures/{id}/window"), None),
        ("get", "/api/sessions", String::new(), None),
        ("get", "/api/sessions/{id}", format!("/api/sessions/{session_id}"), None),
        ("post", "/api/sessions", String::new(), Some(json!({"source": {"kind": "files"}}))),
        ("get", "/api/bench", String::new(), None),
        ("get", "/api/bench/fields", String::new(), None),
        ("post", "/api/bench/check", String::new(), Some(json!({"kind": "probe", "fields": {}}))),
        ("post", "/api/bench/probes", String::new(), Some(json!({"id": "probe-66"}))),
        (
            "patch",
            "/api/bench/probes/{id}",
            "/api/bench/probes/probe-66".to_owned(),
            Some(json!({"fields": {"ratio": "10"}})),
        ),
        (
            "post",
            "/api/bench/pairings",
            String::new(),
            Some(json!({"probe": "probe-66", "input": "bench-a/ch2"})),
        ),
        (
            "post",
            "/api/bench/pairings/{number}/adjusted",
            "/api/bench/pairings/1/adjusted".to_owned(),
            Some(json!({})),
        ),
        (
            "get",
            "/api/bench/forecast",
            "/api/bench/forecast?probe=probe-01&input=bench-b/ch1".to_owned(),
            None,
        ),
        ("delete", "/api/bench/probes/{id}", "/api/bench/probes/probe-66".to_owned(), None),
        ("get", "/api/compatibility", String::new(), None),
        ("post", "/api/plan/predict", String::new(), Some(json!({"plan": plan}))),
        ("post", "/api/plan/choose", String::new(), Some(json!({"plan": wanted}))),
        ("post", "/api/plan/budget", String::new(), Some(json!({"plan": reading, "trials": 10_000}))),
        ("post", "/api/plan/pair", String::new(), Some(json!({"a": "probe-01", "b": "probe-02"}))),
        (
            "post",
            "/api/correct",
            String::new(),
            Some(json!({"stored": id, "known": {"error": "-5%", "time_constant": "100us"}})),
        ),
        ("post", "/api/characterise", String::new(), Some(json!({"stored": [id]}))),
        ("get", "/api/log", String::new(), None),
        ("get", "/api/log/{seq}", "/api/log/20".to_owned(), None),
        ("get", "/api/log/{seq}/plot", "/api/log/20/plot".to_owned(), None),
        ("post", "/api/log/{seq}/recompute", "/api/log/20/recompute".to_owned(), Some(json!({}))),
        ("post", "/api/log/notes", String::new(), Some(json!({"text": "hello"}))),
        ("get", "/api/log/verify", String::new(), None),
    ];
    let held = |method: &str, path: &str, answer: &Value| {
        let responses = &document["paths"][path][method]["responses"];
        let response = ["200", "201"].iter().find_map(|status| responses.get(status)).unwrap();
        let schema = &response["content"]["application/json"]["schema"];
        let said = fields(&document, schema);
        let found: BTreeSet<String> = answer.as_object().unwrap().keys().cloned().collect();
        assert!(!said.is_empty(), "{method} {path} says nothing of its answer");
        assert_eq!(found, said, "{method} {path}");
    };
    for (method, path, at, body) in requests {
        let at = if at.is_empty() { path } else { &at };
        let answer = server.done(&method.to_uppercase(), at, &body.unwrap_or_default());
        // Of sessions those in the list are told in brief.
        held(method, path, &answer);
    }
    held("post", "/api/captures", &stored.json());
    held("post", "/api/assess", &server.send("/api/assess", capture.as_bytes()).json());
    held(
        "post",
        "/api/sessions/{id}/captures",
        &server.send(&format!("/api/sessions/{session_id}/captures"), capture.as_bytes()).json(),
    );
    // Errors have one form.
    let error = server.get("/api/nothing").json();
    let said = fields(&document, &json!({"$ref": "#/components/schemas/ErrorBody"}));
    assert_eq!(error["error"].as_object().unwrap().keys().cloned().collect::<BTreeSet<_>>(), said);
}
