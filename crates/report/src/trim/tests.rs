//! The faces of a session: within 80 columns, without colour, in ASCII where nothing else is to be had.

use flattop_core::source_wave::{Setup, advise};
use flattop_core::tracking::{Reading, Settings, State, Track};
use serde_json::Value;

use super::*;
use crate::fixtures::undercompensated;

/// A session that began at −7.4 %, and has come to `errors` one after the other.
fn session(errors: &[f64]) -> (Track, State, Assessment) {
    let assessment = undercompensated().assessment;
    let base = assessment.compensation.unwrap();
    let mut track = Track::new(Settings { tolerance: 0.01, adjusted_at: AdjustedAt::Tip });
    let mut last = None;
    for (n, e) in errors.iter().enumerate() {
        let mut compensation = base;
        compensation.error.value = *e;
        last = Some(track.push(Reading { time_s: n as f64, compensation, scatter: Some(3e-4) }));
    }
    (track, last.unwrap(), assessment)
}

fn with<R>(errors: &[f64], use_it: impl FnOnce(&Shown<'_>) -> R) -> R {
    let (track, state, assessment) = session(errors);
    let advice = advise(&Setup {
        time_constant_s: 9.7e-5,
        frequency_hz: Some(1e3),
        interval_s: 1e-7,
        points: 40_000,
        transition_s: None,
    });
    let mut findings = state.findings.clone();
    findings.extend(assessment.findings.iter().cloned());
    let logged = [Logged { stage: "before", entry: 7, digest: "ab".into() }];
    use_it(&Shown {
        title: "probe-07 on bench-a/ch1, watching exports",
        capture: "export-17.csv",
        number: errors.len(),
        time_s: 12.5,
        assessment: &assessment,
        state: Some(&state),
        is_used: true,
        stops: track.stops(),
        history: errors,
        hold: 5,
        tolerance: 0.01,
        adjusted_at: AdjustedAt::Tip,
        frequency_hz: Some(1000.0),
        advice: Some(&advice),
        findings: &findings,
        logged: &logged,
    })
}

/// From rest at −7.4 % over two turns away to rest.
const AWAY: [f64; 10] = [-0.074, -0.074, -0.074, -0.08, -0.09, -0.1, -0.1, -0.1, -0.1, -0.1];

#[test]
fn a_panel_fits_a_terminal_and_says_all_in_words() {
    let text = with(&AWAY, |shown| panel(shown, Letters::Unicode));
    assert_eq!(text.len(), HEIGHT);
    let all = text.join("\n");
    assert!(text.iter().all(|line| line.chars().count() < 80), "{all}");
    for part in [
        "probe-07 on bench-a/ch1",
        "UNDERCOMPENSATED",
        "To go: 1.",
        "pF more at the tip",
        "Come so far: -2.6",
        "Rests    -7.4",
        "1 kHz suits",
        "[",
        "●",
        "█",
    ] {
        assert!(all.contains(part), "{part}: {all}");
    }
    assert!(text.iter().any(|line| line.starts_with("low ") && line.ends_with(" high")), "{all}");
    let plain = with(&AWAY, |shown| panel(shown, Letters::Ascii));
    assert!(plain.iter().all(|line| line.is_ascii()), "{plain:?}");
    assert!(plain.join("\n").contains("+/-"));
    let within = with(&[-0.074, 0.001, 0.001, 0.001], |shown| panel(shown, Letters::Unicode)).join("\n");
    assert!(within.contains("WITHIN TOLERANCE") && within.contains("held for 3 captures of 5"), "{within}");
    // The newest captures are within; the first stands high.
    assert!(within.contains("___"), "{within}");
    // Never higher, whatever there is to say: what is painted over must be as high as before.
    for errors in [&[-0.5][..], &[2.0, 3.0], &[f64::NAN], &[0.0; 300]] {
        let lines = with(errors, |shown| panel(shown, Letters::Unicode));
        assert_eq!(lines.len(), HEIGHT);
        assert!(lines.iter().all(|line| line.chars().count() < 80));
    }
}

#[test]
fn lines_fit_eighty_columns() {
    let text = with(&AWAY, line);
    assert!(
        text.starts_with("  10    12.5 s  e -10.000 ± 0.0") && text.contains("%  under  turn +1.2"),
        "{text}"
    );
    assert!(text.ends_with(" pF  settled (5)\n") && text.chars().count() <= 81, "{text}");
    let text = with(&[-0.074, 0.001, 0.001, 0.001], line);
    assert!(text.ends_with("  within  settled (3)  held 3\n"), "{text}");
    let findings = with(&AWAY, |shown| shown.findings.iter().map(finding_lines).collect::<String>());
    assert!(findings.lines().all(|line| line.chars().count() <= 80), "{findings}");
    assert!(findings.contains("Remedy: "));
    assert!(CAUTIONS.contains("ground clip") && CAUTIONS.lines().all(|line| line.len() <= 80));
}

#[test]
fn a_line_of_json_holds_what_was_found() {
    let text = with(&AWAY, json);
    assert_eq!(text.lines().count(), 1);
    let json: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(json["verdict"], "undercompensated");
    assert_eq!(json["phase"], "settled");
    assert_eq!(json["adjustment"]["direction"], "increase");
    assert_eq!(json["since_change"]["captures"], 5);
    assert_eq!(json["logged"][0]["entry"], 7);
    assert_eq!(json["source"]["suits"], true);
    flattop_close::assert_close!(
        json["travel"]["compensation_error"]["value"].as_f64().unwrap(),
        -0.026,
        flattop_close::relative(1e-9)
    );
}

#[test]
fn every_field_is_described() {
    let text = with(&AWAY, json);
    let Value::Object(fields) = serde_json::from_str(&text).unwrap() else { panic!("no object") };
    let document = include_str!("../../../../docs/trim-json.md");
    let mut names = Vec::new();
    for (name, value) in &fields {
        names.push(name.clone());
        if let Value::Object(inner) = value
            && !inner.contains_key("value")
        {
            names.extend(inner.keys().map(|key| format!("{name}.{key}")));
        }
    }
    let described: Vec<&str> = document
        .lines()
        .filter_map(|line| line.strip_prefix("| `")?.split_once('`'))
        .map(|(name, _)| name)
        .collect();
    assert_eq!(described, names.iter().map(String::as_str).collect::<Vec<_>>());
}

#[test]
fn the_bell_falls_silent_within_the_tolerance() {
    let interval = |e: f64| {
        let (_, state, _) = session(&[e]);
        bell_interval_s(&state, 0.01)
    };
    assert_eq!(interval(0.001), None);
    let (near, far) = (interval(0.015).unwrap(), interval(-0.2).unwrap());
    assert!(far < near && far >= 0.4 && near <= 2.0, "{near} {far}");
}
