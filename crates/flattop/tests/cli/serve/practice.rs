//! A practice bench behind a session of the page.

use serde_json::json;

use super::super::bench::{Bench, number};
use super::client::Server;

/// The session of the page with a practice bench of its own, turned to within tolerance by what its events say.
#[test]
fn a_session_of_the_page_has_its_own_practice_bench() {
    let bench = Bench::new();
    let server = Server::start(&bench, &[]);
    assert_eq!(server.get("/api/about").json()["sources"]["practice"], true);
    let source = json!({"kind": "practice", "blind": true, "seed": 5, "noise": "3 mV"});
    let session = server.done("POST", "/api/sessions", &json!({"source": source, "hold": 3}));
    let id = session["id"].as_str().unwrap().to_owned();
    let path = format!("/api/sessions/{id}/practice");
    let mut events = server.events(&id, None);
    let mut held = 0;
    for _ in 0..60 {
        let event = events.next_of("capture").data;
        held = event["held"].as_u64().unwrap();
        if held >= 3 {
            break;
        }
        let settled = event["averaged"].as_u64().unwrap_or(3) >= 3;
        if settled && event["verdict"] != "within-tolerance" {
            let change = number(&event, "/adjustment/change_f");
            let told = server.done("POST", &path, &json!({"turn_deg": change / 6e-12 * 270.0}));
            assert!(told["setting"].is_null());
            // What was captured before the turn comes first.
            events.next_of("capture");
        }
    }
    assert!(held >= 3);
    let shown = server.done("POST", &path, &json!({"reveal": true}));
    assert!(number(&shown, "/setting/compensation_error").abs() < 0.01, "{shown:#}");
    let wrong = server.post(&path, &json!({"set": {"noise": "9 V"}}));
    assert_eq!((wrong.status, wrong.code().as_str()), (422, "invalid-fields"));
    // Nothing of practice can be logged, and no pairing of the bench can be practised on.
    let asked = json!({"source": {"kind": "practice"}, "probe": "probe-07"});
    assert_eq!(server.post("/api/sessions", &asked).status, 422);
    assert_eq!(server.get("/api/sessions/none/practice").status, 404);
    let files = server.done("POST", "/api/sessions", &json!({"source": {"kind": "files"}}));
    assert_eq!(server.get(&format!("/api/sessions/{}/practice", files["id"].as_str().unwrap())).status, 404);
}
