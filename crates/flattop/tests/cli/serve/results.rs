//! What is answered is what the commands write: the same capture, plan and bench give the same object both ways.

use flattop_close::{assert_close, relative, within};
use serde_json::{Value, json};

use super::super::bench::{Bench, number};
use super::super::register::{done, furnished};
use super::super::signals::Signal;
use super::super::trim::signal;
use super::client::{BYTES, Server};

/// The object without what only the page is told, and without where files lie.
fn bare(mut object: Value, without: &[&str]) -> Value {
    let fields = object.as_object_mut().unwrap();
    for name in without {
        fields.shift_remove(*name);
    }
    object
}

#[test]
fn an_assessment_is_that_of_the_command() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1 --tolerance 2%");
    let shown = Signal::with(11e-12, 108e-12);
    bench.write("cap.csv", &shown.csv());
    let server = Server::start(&bench, &[]);
    let bytes = bench.read("cap.csv");
    for (query, args, status) in [
        ("name=cap.csv", vec!["assess", "cap.csv"], 3),
        (
            "name=cap.csv&tolerance=10%25&adjust=base&divider=9M:1M",
            vec!["assess", "cap.csv", "--tolerance", "10%", "--adjust", "base", "--divider", "9M:1M"],
            0,
        ),
        (
            "name=cap.csv&probe=probe-07&source_amplitude=3.3V",
            vec!["assess", "cap.csv", "--probe", "probe-07", "--source-amplitude", "3.3V", "--bench", "b"],
            3,
        ),
    ] {
        let answer = server.send(&format!("/api/assess?{query}"), &bytes);
        assert_eq!(answer.status, 200, "{answer:?}");
        let same = bench.json(&args, status);
        assert_eq!(bare(answer.json(), &["stored", "drawing"]), same, "{query}");
    }
    // Against the closed form: e = 10·C1/(C1+C2) − 1.
    let answer = server.send("/api/assess?keep=true", &bytes).json();
    assert_close!(number(&answer, "/compensation_error/value"), shown.error(), within(1e-3));
    let id = answer["stored"].as_str().unwrap();
    let window = server.done(
        "GET",
        &format!("/api/captures/{id}/window?from_s=0.0011&to_s=0.0012&stretches=4000"),
        &json!(null),
    );
    let times = window["time_s"].as_array().unwrap();
    assert_eq!((times.len(), &window["points_per_stretch"]), (501, &json!(1)), "0.1 ms at 0.2 µs, both ends");
    let logged = server.done(
        "POST",
        "/api/assess/log",
        &json!({"stored": id, "probe": "probe-07", "log": {"stage": "before", "by": "bench technician"}}),
    );
    assert_eq!(logged["pairing"]["logged_as"]["entry"].as_i64(), Some(2));
    assert_eq!(bench.run(&["log", "recompute", "--bench", "b"]).status, 0);
    for (query, body, status, code) in [
        ("tolerance=lots", bytes.as_slice(), 422, "invalid-fields"),
        ("column=9", &bytes, 422, "capture-unreadable"),
        ("", b"", 422, "capture-unreadable"),
        ("probe=nobody", &bytes, 422, "bench-unusable"),
        ("colour=red", &bytes, 422, "invalid-fields"),
    ] {
        let answer = server.ask("POST", &format!("/api/assess?{query}"), &[BYTES], body);
        assert_eq!((answer.status, answer.code().as_str()), (status, code), "{query}: {answer:?}");
    }
}

#[test]
fn what_the_eye_read_is_assessed_and_logged() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1");
    let server = Server::start(&bench, &[]);
    let read = json!({"start": "4.6", "end": "5.0", "resolution": 0.05, "frequency": "1 kHz"});
    let answer = server.done("POST", "/api/assess/by-eye", &read);
    let same = bench.json(
        &[
            "assess",
            "--by-eye",
            "--start",
            "4.6",
            "--end",
            "5.0",
            "--resolution",
            "0.05",
            "--frequency",
            "1kHz",
        ],
        3,
    );
    assert_eq!(bare(answer.clone(), &["stored", "drawing"]), same);
    assert_eq!(
        (&answer["drawing"]["time_s"], answer["drawing"]["error"]["value"].as_array().unwrap().len()),
        (&json!([]), 61)
    );
    let mut logged = read;
    logged["probe"] = json!("probe-07");
    logged["log"] = json!({"stage": "check"});
    let answer = server.done("POST", "/api/assess/by-eye", &logged);
    assert_eq!(answer["pairing"]["logged_as"]["entry"], 2, "{answer}");
    let refused =
        server.post("/api/assess/by-eye", &json!({"start": "4.6", "end": "460 mV", "resolution": "x"}));
    let error = &refused.json()["error"];
    let at: Vec<&Value> = error["fields"].as_array().unwrap().iter().map(|field| &field["at"]).collect();
    assert_eq!(at, ["resolution", "end"], "{error}");
}

#[test]
fn corrections_are_those_of_the_command_and_can_be_fetched() {
    let bench = furnished();
    bench.write("cap.csv", &signal(-0.08, 3).csv());
    let server = Server::start(&bench, &[]);
    let stored = server.send("/api/captures?name=cap.csv", &bench.read("cap.csv")).json();
    assert_eq!((&stored["points"], &stored["name"]), (&json!(5000), &json!("cap.csv")));
    let id = stored["id"].clone();
    let body = json!({"stored": id, "known": {"error": "-8 % ± 0.2 %", "time_constant": "107 us"}});
    let answer = server.done("POST", "/api/correct", &body);
    let same = bench.json(
        &[
            "correct",
            "cap.csv",
            "--error=-8 % ± 0.2 %",
            "--time-constant",
            "107 us",
            "-o",
            "cap-corrected.csv",
        ],
        0,
    );
    let own = ["download", "drawing", "known_from"];
    assert_eq!(bare(answer.clone(), &own), bare(same, &own));
    let file = server.get(answer["download"]["path"].as_str().unwrap());
    assert_eq!(file.body, bench.read("cap-corrected.csv"), "byte by byte");
    assert_eq!(file.header("content-length").unwrap(), answer["download"]["bytes"].to_string());
    assert!(file.header("content-disposition").unwrap().contains("cap-corrected.csv"));
    let drawing = &answer["drawing"];
    assert_eq!(drawing["time_s"].as_array().unwrap().len(), drawing["after_high"].as_array().unwrap().len());
    assert!(!drawing["close"]["time_s"].as_array().unwrap().is_empty(), "the first edge from near");
    // From an assessment, packed.
    let found = server.send("/api/assess", &bench.read("cap.csv")).json();
    let packed = server.done(
        "POST",
        "/api/correct",
        &json!({"stored": id, "known": {"assessment": found}, "form": "gzip"}),
    );
    assert_eq!(server.get(packed["download"]["path"].as_str().unwrap()).body[..2], [0x1f, 0x8b]);
    // The whole chain of a plan, its probe from the bench.
    let plan = json!({"probe": {"id": "probe-07"}, "input": {"id": "bench-a/ch1"}});
    let chain = server.done("POST", "/api/correct", &json!({"stored": id, "known": {"plan": plan}}));
    assert_eq!(chain["undone"], "chain", "{chain}");
    for (known, at) in [
        (json!({}), "known"),
        (json!({"error": "-8 %"}), "known.time_constant"),
        (json!({"error": "-200 %", "time_constant": "1us"}), "known.error"),
        (json!({"entry": 1, "colour": "red"}), "colour"),
    ] {
        let answer = server.post("/api/correct", &json!({"stored": id, "known": known}));
        assert_eq!((answer.status, &answer.json()["error"]["at"]), (422, &json!(at)), "{known}: {answer:?}");
    }
    assert_eq!(server.post("/api/correct", &json!({"stored": "none", "known": {"entry": 1}})).status, 422);
    let path = format!("/api/captures/{}", id.as_str().unwrap());
    assert_eq!(server.ask("DELETE", &path, &[], b"").status, 204);
    assert_eq!(server.get(&path).status, 404);
    let bad = server.send("/api/captures?name=x.csv", b"words only");
    assert_eq!((bad.status, bad.code().as_str()), (422, "capture-unreadable"));
}

#[test]
fn a_response_is_found_and_can_be_fetched_for_plans() {
    let bench = Bench::new();
    // An exponential step of 20 ns (10–90 %: 2.197τ = 43.9 ns; −3 dB at 1/2πτ = 7.96 MHz), the source beside it.
    let mut text = String::new();
    for k in 0..8000 {
        let t = (k as f64 - 1000.0) * 1e-9;
        let (probe, source) = if t < 0.0 { (0.0, 0.0) } else { (1.0 - (-t / 20e-9).exp(), 1.0) };
        text += &format!("{t:e},{probe:.9},{source}\n");
    }
    let server = Server::start(&bench, &["--demo"]);
    let stored = server.send("/api/captures?name=edge.csv&column=2&reference=3", text.as_bytes()).json();
    let answer = server.done(
        "POST",
        "/api/characterise",
        &json!({"stored": [stored["id"]], "column": 2, "reference": 3}),
    );
    assert_close!(number(&answer, "/bandwidth_hz/value"), 7.958e6, relative(0.01));
    assert_eq!(answer["captures"][0]["file"], "edge.csv");
    for (form, start) in [("s2p", "!"), ("json", "{"), ("csv", "frequency")] {
        let file = server.get(answer["downloads"][form]["path"].as_str().unwrap());
        let text = String::from_utf8(file.body).unwrap();
        assert!(text.starts_with(start), "{form}: {text:.80}");
    }
    let refused = server.post("/api/characterise", &json!({"stored": [], "sine": true}));
    assert_eq!(refused.code(), "invalid-fields");
}

#[test]
fn plans_are_answered_as_by_the_commands() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1");
    let server = Server::start(&bench, &[]);
    let plan = json!({
        "node": {"resistance": "50", "capacitance": "5 pF"},
        "signal": {"shape": "edge", "low": "0 V", "high": "5 V", "rise": "5 ns"},
        "contact": {"ground_length": "100 mm"},
        "probe": {"id": "probe-07"},
        "input": {"id": "bench-a/ch1"},
    });
    let answer = server.done(
        "POST",
        "/api/plan/predict",
        &json!({"plan": plan, "frequencies": "1k:100M:20", "error": "5%"}),
    );
    let args = [
        "predict",
        "--bench",
        "b",
        "--node.resistance",
        "50",
        "--node.capacitance",
        "5 pF",
        "--signal.shape",
        "edge",
        "--signal.low",
        "0 V",
        "--signal.high",
        "5 V",
        "--signal.rise",
        "5 ns",
        "--contact.ground_length",
        "100 mm",
        "--probe.id",
        "probe-07",
        "--input.id",
        "bench-a/ch1",
        "--frequencies",
        "1k:100M:20",
        "--error",
        "5%",
    ];
    assert_eq!(bare(answer, &["plan"]), bare(bench.json(&args, 0), &["plan"]));
    // What is wrong stands at its key; all of it at once.
    let mut wrong = plan.clone();
    wrong["signal"]["rise"] = json!("soon");
    wrong["node"]["resistence"] = json!("50");
    let error = server.post("/api/plan/predict", &json!({"plan": wrong})).json()["error"].clone();
    let at: Vec<&str> =
        error["fields"].as_array().unwrap().iter().map(|f| f["at"].as_str().unwrap()).collect();
    assert!(at.contains(&"signal.rise") && at.contains(&"node.resistence"), "{error}");
    // A key that is taken away, and a text with a mistake in a line.
    let toml = "[signal]\nshape = \"edge\"\nlow = \"0 V\"\nhigh = \"5 V\"\nrise = 5 ns\n";
    let error = server
        .post("/api/plan/predict", &json!({"toml": toml, "plan": {"signal": {"fall": null}}}))
        .json()["error"]
        .clone();
    assert_eq!(error["at"], "line 5", "{error}");

    let wanted = json!({"signal": plan["signal"], "node": plan["node"], "measurement": {"quantity": "transition", "tolerance": "3%"}});
    let choice = server.done("POST", "/api/plan/choose", &json!({"plan": wanted}));
    assert_eq!(
        (choice["ranking"].as_array().unwrap().len(), &choice["ranking"][0]["probe"]),
        (1, &json!("probe-07"))
    );
    let every = server.done("POST", "/api/plan/choose", &json!({"plan": wanted, "all": true}));
    assert!(every["ranking"].as_array().unwrap().len() >= 3, "{every}");

    let template = bench.run(&["budget", "--template"]).stdout;
    bench.write("plan.toml", &template);
    let budget =
        server.done("POST", "/api/plan/budget", &json!({"toml": template, "trials": 20_000, "seed": 7}));
    let same = bench.json(&["budget", "plan.toml", "--trials", "20000", "--seed", "7"], 0);
    assert_eq!(bare(budget, &["plan"]), bare(same, &["plan"]));
    assert_eq!(
        server.post("/api/plan/budget", &json!({"toml": template, "trials": 100_000_000})).status,
        422
    );

    let reach = server.done(
        "POST",
        "/api/reach",
        &json!({"range": "8 pF:18 pF", "tip": "10 pF", "inputs": ["20 pF ± 2 pF"]}),
    );
    assert_eq!(
        reach,
        bench.json(&["reach", "--range", "8pF:18pF", "--tip", "10pF", "--input", "20pF+-2pF"], 4)
    );
    let keys = server.done("GET", "/api/plan/keys", &json!(null));
    assert!(
        keys.as_array()
            .unwrap()
            .iter()
            .any(|key| key["path"] == "contact.ground_length" && key["unit"] == "m"),
        "{keys}"
    );
}

#[test]
fn the_demonstration_has_a_year_to_look_at() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let about = server.done("GET", "/api/about", &json!(null));
    assert!(
        about["demo"] == true
            && about["bench"]["probes"].as_u64() > Some(8)
            && about["bench"]["due"].as_u64() > Some(2),
        "{about}"
    );
    // Page by page the whole logbook, newest first.
    let (mut seqs, mut before) = (Vec::new(), String::new());
    loop {
        let page = server.done("GET", &format!("/api/log?limit=20{before}"), &json!(null));
        seqs.extend(page["entries"].as_array().unwrap().iter().map(|e| e["seq"].as_i64().unwrap()));
        let Some(next) = page["next_before_seq"].as_i64() else {
            assert_eq!(page["total"].as_u64(), Some(seqs.len() as u64));
            break;
        };
        before = format!("&before_seq={next}");
    }
    assert!(seqs.len() > 60 && seqs.windows(2).all(|pair| pair[1] < pair[0]), "{seqs:?}");
    let verified = server.done("GET", "/api/log/verify", &json!(null));
    assert_eq!((&verified["intact"], verified["entries"].as_u64()), (&json!(true), Some(seqs.len() as u64)));
    let trends = server.done("GET", "/api/trends?probe=probe-07", &json!(null));
    // A trimmer that creeps by -0.055 % a month, as the demonstration was made.
    assert_close!(number(&trends, "/0/trend/drift_per_month/value"), -0.000_55, within(0.000_2));
    let pairs = server.done(
        "POST",
        "/api/plan/pair",
        &json!({"a": "probe-01", "b": "probe-02", "common_mode": "400 V"}),
    );
    assert!(
        pairs["consequences"].as_array().unwrap().iter().any(|one| one["code"] == "difference-error"),
        "{pairs}"
    );
    let entry = server.done("GET", "/api/log?kind=assessment&verdict=within-tolerance&limit=1", &json!(null))
        ["entries"][0]["seq"]
        .clone();
    let drawn = server.done("GET", &format!("/api/log/{entry}/plot"), &json!(null));
    assert!(drawn["drawing"]["time_s"].as_array().unwrap().len() > 500);
    let again = server.done("POST", &format!("/api/log/{entry}/recompute"), &json!({}));
    assert_eq!((&again["same"], &again["entry"]), (&json!(true), &entry));
    let capture = server.get(&format!("/api/log/{entry}/capture"));
    assert!(capture.body.starts_with(b"time_s,tip_V"), "{}", capture.head);
    for (path, kind, start) in [
        (
            format!("/api/records/assessment.html?entry={entry}&laboratory=Harrow%20Lane%20Lift%20Works"),
            "text/html; charset=utf-8",
            "<!DOCTYPE",
        ),
        (format!("/api/records/assessment.pdf?entry={entry}&save=true"), "application/pdf", "%PDF"),
        ("/api/records/bench.html?paper=letter".to_owned(), "text/html; charset=utf-8", "<!DOCTYPE"),
        ("/api/records/period.pdf?from=2020-01-01&to=2030-12-31".to_owned(), "application/pdf", "%PDF"),
    ] {
        let record = server.get(&path);
        assert_eq!((record.status, record.header("content-type")), (200, Some(kind)), "{path}: {record:?}");
        assert!(record.body.starts_with(start.as_bytes()), "{path}");
        let is_saved = record.header("content-disposition").unwrap().starts_with("attachment");
        assert_eq!(is_saved, path.contains("save"), "{path}");
    }
    assert_eq!(server.get("/api/records/assessment.html?entry=9999").status, 404);
    assert_eq!(server.get("/api/records/period.html?from=2026-12-31&to=2026-01-01").code(), "invalid-fields");
    let note =
        server.done("POST", "/api/log/notes", &json!({"text": "new lamp at bench A", "about": "bench-a"}));
    let wrong =
        server.done("POST", &format!("/api/log/{}/correct", note["entry"]), &json!({"text": "at bench B"}));
    assert_eq!(wrong["entry"].as_i64(), note["entry"].as_i64().map(|n| n + 1));
    let csv = String::from_utf8(server.get("/api/log.csv?kind=note").body).unwrap();
    assert!(csv.contains("new lamp at bench A"), "{csv}");
}

/// Captures of ngspice (testdata/ngspice/measured.csv) whose netlists have 13 pF at the input.
#[test]
fn values_are_measured_as_by_the_command() {
    let bench = super::super::measure::furnished("tip");
    let server = Server::spawn(&bench, &["serve", "--listen", "127.0.0.1:0", "--bench", "bench.sqlite"]);
    let capture = super::super::measure::capture;
    #[allow(clippy::disallowed_methods)] // the bytes that a browser would send
    let store = |case: &str| {
        let bytes = std::fs::read(capture(case)).unwrap();
        server.send(&format!("/api/captures?name={case}.csv.gz"), &bytes).json()["id"].clone()
    };
    let (known, unknown) = (store("input_20p"), store("input_13p"));
    let asked = json!({"what": "input-capacitance", "probe": "probe-07", "input": "bench-a/ch2", "known": "bench-a/ch1",
        "captures": {"known-input": [known], "unknown-input": [unknown]}});
    let answer = server.done("POST", "/api/bench/measure", &asked);
    assert_close!(number(&answer, "/value_f/value"), 13e-12, within(0.2e-12));
    let [on_known, here] = ["input_20p", "input_13p"].map(capture);
    let args = [
        "bench",
        "measure",
        "input-capacitance",
        "bench-a/ch2",
        &here,
        "--known",
        "bench-a/ch1",
        "--on-known",
        &on_known,
    ];
    let args: Vec<&str> =
        args.into_iter().chain(["--probe", "probe-07", "--bench", "bench.sqlite"]).collect();
    let told = bench.json(&args, 0);
    let bare_of = |object: Value| {
        let text =
            object.to_string().replace(&on_known, "input_20p.csv.gz").replace(&here, "input_13p.csv.gz");
        serde_json::from_str::<Value>(&text).unwrap()
    };
    assert_eq!(answer, bare_of(told));
    // Onto the bench and into the logbook, by whom.
    let mut logged = asked.clone();
    logged["log"] = json!(true);
    logged["by"] = json!("bench technician 2");
    let entry = server.done("POST", "/api/bench/measure", &logged)["entries"][0].clone();
    let shown = server.get(&format!("/api/log/{entry}")).json();
    assert_eq!((&shown["kind"], &shown["by"]), (&json!("measurement"), &json!("bench technician 2")));
    assert!(
        !shown["settings"].to_string().contains("flattop-serve-"),
        "where files lay is nobody's business"
    );
    // Every field that is wrong is named; what the bench does not know is told.
    let wrong = json!({"what": "compensation-range", "probe": "", "input": "bench-a/ch1", "resistor": "10M",
        "captures": {"one-stop": [], "straight": ["x"]}, "temprature": 20});
    let answer = server.post("/api/bench/measure", &wrong);
    let named: Vec<String> = answer.json()["error"]["fields"]
        .as_array()
        .unwrap()
        .iter()
        .map(|field| field["at"].as_str().unwrap().to_owned())
        .collect();
    for at in
        ["probe", "captures.one-stop", "captures.other-stop", "captures.straight", "resistor", "temprature"]
    {
        assert!(named.iter().any(|name| name == at), "{at}: {named:?}");
    }
    let lost = json!({"what": "tip-capacitance", "probe": "probe-07", "input": "bench-a/ch1", "captures": {"straight": ["nothing"]}});
    assert_eq!(server.post("/api/bench/measure", &lost).status, 404);
    let same = json!({"what": "input-capacitance", "probe": "probe-07", "input": "bench-a/ch1", "known": "bench-a/ch1",
        "captures": {"known-input": [known], "unknown-input": [unknown]}});
    let answer = server.post("/api/bench/measure", &same);
    assert_eq!((answer.status, answer.code().as_str()), (422, "bench-unusable"), "{answer:?}");
}
