//! Sessions of trimming over HTTP: dropped captures, a watched folder, an instrument; events, what readers miss, the logbook.

use flattop_close::{assert_close, within};
use serde_json::{Value, json};

use super::super::bench::{Bench, number};
use super::super::register::{done, furnished};
use super::super::trim::{instrument, signal};
use super::client::{BYTES, Server};

fn start(server: &Server, body: &Value) -> String {
    let session = server.done("POST", "/api/sessions", body);
    assert!(session["history"].as_array().unwrap().is_empty() && session["last"].is_null(), "{session}");
    session["id"].as_str().unwrap().to_owned()
}

fn drop_in(server: &Server, id: &str, e: f64, seed: u64) -> Value {
    let answer = server
        .send(&format!("/api/sessions/{id}/captures?name=cap-{seed}.csv"), signal(e, seed).csv().as_bytes());
    assert_eq!(answer.status, 200, "{answer:?}");
    answer.json()
}

#[test]
fn dropped_captures_are_tracked_as_by_trim() {
    let bench = furnished();
    let server = Server::start(&bench, &[]);
    let id = start(&server, &json!({"source": {"kind": "files"}, "hold": 3, "tolerance": "1%"}));
    let mut events = server.events(&id, None);
    let mut last = Value::Null;
    for (n, e) in [-0.06, -0.06, -0.06, -0.03, 0.0005, 0.0005, 0.0005, 0.0005].into_iter().enumerate() {
        last = drop_in(&server, &id, e, 40 + n as u64);
        let event = events.next_of("capture");
        assert_eq!((&event.data["number"], &event.data["left_out"]), (&last["number"], &json!(0)));
        // The capture by itself, from the closed form it was made of.
        assert_close!(number(&event.data, "/newest/value"), e, within(2e-3));
    }
    assert_eq!((&last["verdict"], &last["phase"]), (&json!("within-tolerance"), &json!("settled")), "{last}");
    assert_close!(number(&last, "/travel/compensation_error/value"), 0.0605, within(2e-3));
    assert!(last["held"].as_u64().unwrap() >= 3, "{last}");
    // The drawing: lists of one length, the fit over the record, the band of the running estimate.
    let drawing = &last["drawing"];
    let lengths: Vec<usize> = ["time_s", "low_v", "high_v", "mean_v", "fit_v", "residual_v"]
        .map(|list| drawing[list].as_array().unwrap().len())
        .to_vec();
    assert!(
        lengths[0] > 500 && lengths[0] <= 1200 && lengths.iter().all(|n| *n == lengths[0]),
        "{lengths:?}"
    );
    let residuals: Vec<f64> =
        drawing["residual_v"].as_array().unwrap().iter().filter_map(Value::as_f64).collect();
    let rms = (residuals.iter().map(|r| r * r).sum::<f64>() / residuals.len() as f64).sqrt();
    // Noise of 1 mV, averaged over the samples of a stretch.
    assert!(residuals.len() > 800 && rms < 1.2e-3, "{rms}");
    let error = &drawing["error"];
    let at_top = |list: &str| error[list].as_array().unwrap().last().unwrap().as_f64().unwrap();
    assert_close!(at_top("value"), number(&last, "/compensation_error/value"), within(1e-5));
    assert!(at_top("low") < at_top("value") && at_top("value") < at_top("high"));
    // The session as it stands tells the same, and its history.
    let standing = server.done("GET", &format!("/api/sessions/{id}"), &json!(null));
    assert_eq!(standing["last"]["number"], last["number"]);
    assert_eq!(standing["history"].as_array().unwrap().len(), 8);
    let window = server.done(
        "GET",
        &format!("/api/sessions/{id}/window?from_s=0&to_s=0.001&stretches=100"),
        &json!(null),
    );
    assert!(
        window["time_s"].as_array().unwrap().len() <= 100 && number(&window, "/to_s") < 0.0011,
        "{window}"
    );
    // A file that cannot be read is the sender's matter only.
    let bad = server.ask("POST", &format!("/api/sessions/{id}/captures?name=x.csv"), &[BYTES], b"hello");
    assert_eq!((bad.status, bad.code().as_str()), (422, "capture-unreadable"));
    assert_eq!(server.ask("DELETE", &format!("/api/sessions/{id}"), &[], b"").status, 204);
    let ended = events.next_of("ended");
    assert!(ended.data["reason"].as_str().unwrap().contains("ended from the page"), "{ended:?}");
    assert!(events.next().is_none(), "the stream ends");
    assert_eq!(server.get(&format!("/api/sessions/{id}")).status, 404);
}

#[test]
fn a_reader_that_comes_late_is_told_the_newest_only() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let id = start(&server, &json!({"source": {"kind": "files"}}));
    for n in 0..5 {
        drop_in(&server, &id, -0.04, n);
    }
    let first = server.events(&id, None).next_of("capture");
    assert_eq!(first.data["number"], 5);
    // One that says what it knows is told what is newer, and nothing twice.
    let mut again = server.events(&id, Some(first.id));
    drop_in(&server, &id, -0.04, 5);
    let next = again.next_of("capture");
    assert_eq!((&next.data["number"], next.id > first.id), (&json!(6), true));
}

#[test]
fn a_reader_that_stands_still_makes_nothing_grow() {
    let bench = Bench::new();
    let server = Server::start(&bench, &["--demo"]);
    let id = start(&server, &json!({"source": {"kind": "files"}}));
    let mut still = server.events(&id, None);
    let mut quick = server.events(&id, None);
    // Far more than a socket holds: each event has some tens of kilobytes.
    for n in 0..250 {
        drop_in(&server, &id, -0.04, n % 5);
        if n % 50 == 0 {
            quick.next_of("capture");
        }
    }
    // It finds an old one, then the newest: what was between was never kept for it.
    let mut seen = vec![still.next_of("capture")];
    while seen.last().unwrap().data["number"] != 250 {
        seen.push(still.next_of("capture"));
    }
    let left_out: u64 = seen.iter().map(|event| event.data["left_out"].as_u64().unwrap()).sum();
    assert_eq!(seen.len() as u64 + left_out, 250 - (seen[0].data["number"].as_u64().unwrap() - 1));
    assert!(left_out > 50, "{left_out} of 250 were left out");
}

#[test]
fn before_and_after_go_into_the_logbook_when_it_is_said() {
    let bench = furnished();
    done(&bench, "pair probe-07 bench-a/ch1 --tolerance 1%");
    let server = Server::start(&bench, &[]);
    let id = start(&server, &json!({"source": {"kind": "files"}, "probe": "probe-07"}));
    let log = |stage: &str| {
        server.post(
            &format!("/api/sessions/{id}/log"),
            &json!({"stage": stage, "by": "bench technician", "temperature": "23"}),
        )
    };
    assert_eq!(log("before").status, 409, "there is nothing yet");
    for n in 0..4 {
        drop_in(&server, &id, -0.06, n);
    }
    let standing = server.done("GET", &format!("/api/sessions/{id}"), &json!(null));
    assert_eq!(standing["pairing"]["number"], 1);
    assert_eq!(standing["can_log"], json!({"before": false, "after": false, "check": true}), "{standing}");
    for n in 4..9 {
        drop_in(&server, &id, 0.001, n);
    }
    let standing = server.done("GET", &format!("/api/sessions/{id}"), &json!(null));
    assert_eq!(standing["can_log"], json!({"before": true, "after": true, "check": false}));
    let check = log("check");
    assert_eq!((check.status, check.code().as_str()), (409, "conflict"), "{check:?}");
    let before = log("before").json();
    let after = log("after").json();
    assert!(after["entry"].as_i64() > before["entry"].as_i64(), "{before} {after}");
    assert_eq!(log("after").status, 409, "once is enough");
    let entries = server.done("GET", "/api/log?kind=assessment", &json!(null));
    let stages: Vec<&Value> =
        entries["entries"].as_array().unwrap().iter().map(|e| &e["assessment"]["stage"]).collect();
    assert_eq!(stages, ["after-adjustment", "before-adjustment"]);
    assert_close!(number(&entries, "/entries/1/assessment/compensation_error/value"), -0.06, within(2e-3));
    assert_eq!(entries["entries"][0]["by"], "bench technician");
    // The capture is kept with it: worked out again by the command line, the figures are the same.
    let run = bench.run(&["log", "recompute", "--bench", "b"]);
    assert_eq!(run.status, 0, "{run:?}");
    // Without a pairing there is nothing to log to.
    let loose = start(&server, &json!({"source": {"kind": "files"}}));
    for n in 0..4 {
        drop_in(&server, &loose, 0.001, n);
    }
    assert_eq!(server.post(&format!("/api/sessions/{loose}/log"), &json!({"stage": "check"})).status, 409);
}

#[test]
fn a_watched_folder_and_an_instrument_are_followed() {
    let bench = Bench::new();
    std::fs::create_dir_all(bench.path("exports/today")).unwrap();
    bench.write("exports/today/old.csv", &signal(0.5, 1).csv());
    let address = instrument(vec![-0.05, -0.05, -0.05, 0.0]);
    let named = format!("bench-a={address}");
    let server = Server::start(&bench, &["--watch-root", "scope=exports", "--instrument", &named]);
    let about = server.done("GET", "/api/about", &json!(null));
    assert_eq!(about["sources"]["watch_roots"], json!([{"id": "scope", "name": "scope"}]));
    assert_eq!(about["sources"]["instruments"], json!([{"id": "bench-a", "name": "bench-a"}]));
    assert!(!about.to_string().contains(&address), "addresses are not told");

    let id = start(&server, &json!({"source": {"kind": "watch", "root": "scope", "path": "today"}}));
    let mut events = server.events(&id, None);
    bench.write("exports/today/new.csv", &signal(-0.03, 2).csv());
    let event = events.next_of("capture");
    assert_eq!(event.data["capture"], "new.csv", "what was there before is passed over");
    assert_close!(number(&event.data, "/newest/value"), -0.03, within(2e-3));
    bench.write("exports/today/broken.csv", "no numbers here");
    assert!(events.next_of("trouble").data["message"].as_str().unwrap().contains("broken.csv"));
    let refused = server.send(&format!("/api/sessions/{id}/captures"), b"0,1\n");
    assert_eq!(
        (refused.status, refused.code().as_str()),
        (409, "conflict"),
        "its captures come by themselves"
    );

    let id = start(&server, &json!({"source": {"kind": "instrument", "id": "bench-a"}}));
    let mut events = server.events(&id, None);
    loop {
        let event = events.next_of("capture");
        if event.data["number"].as_u64().unwrap() >= 6 {
            assert_close!(number(&event.data, "/newest/value"), 0.0, within(2e-3));
            break;
        }
    }
    let list = server.done("GET", "/api/sessions", &json!(null));
    assert_eq!(list["sessions"].as_array().unwrap().len(), 2);
}
