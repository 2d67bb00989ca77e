//! Words, JSON and CSV of a made-up response.

use flattop_core::assessment::Estimate;
use flattop_core::characterise::{Bandwidth, Characteristic, End, Method, Point, Step};
use flattop_core::finding::Finding;

use super::*;

fn subject() -> Subject {
    let estimate = |value, standard_uncertainty| Estimate { value, standard_uncertainty };
    let point = |k: i32| Point {
        frequency_hz: 10f64.powi(k),
        gain: estimate(1.0 - 0.01 * f64::from(k), 1e-3),
        phase_rad: estimate(-0.01 * f64::from(k), 2e-3),
    };
    Subject {
        captures: Vec::new(),
        stated_source_s: None,
        found: Characteristic {
            method: Method::EdgesAlone,
            points: (4..9).map(point).collect(),
            end: End::Uncertainty,
            expanded_limit: 0.03,
            low_frequency_gain: None,
            delay_s: None,
            bandwidth: Some(Bandwidth::Above(1e8)),
            transition: None,
            band_hz: None,
            flatness: None,
            aberrations: None,
            edges: 3,
            noise: Some(1e-3),
            step: Step::default(),
            findings: vec![Finding::warning("aliasing", "too fast", "sample faster")],
        },
        written_to: Some("response.s2p".into()),
    }
}

#[test]
fn words_state_a_lower_bound_and_never_more() {
    let text = of(&subject());
    assert!(text.starts_with("Bandwidth above 100 MHz: the gain does not fall by 3 dB"), "{text}");
    assert!(text.contains("Known from 10 kHz to 100 MHz") && text.contains("use = \"response\""), "{text}");
    assert!(text.contains("Sample faster."), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

#[test]
fn json_has_null_for_what_is_not_known() {
    let value: serde_json::Value = serde_json::from_str(&json::of(&subject())).unwrap();
    assert!(value["bandwidth_hz"].is_null() && value["transition"].is_null() && value["delay_s"].is_null());
    assert_eq!(value["bandwidth_above_hz"], 1e8);
    assert_eq!(value["response"].as_array().unwrap().len(), 5);
    assert_eq!(value["ended_by"], "uncertainty");
}

#[test]
fn csv_has_a_line_for_each_frequency() {
    let text = csv(&subject());
    assert_eq!(text.lines().count(), 6);
    assert_eq!(text.lines().nth(1), Some("1e4,9.6e-1,1e-3,-4e-2,2e-3"));
}

#[test]
fn the_drawing_says_what_it_shows() {
    let svg = svg(&subject());
    assert!(svg.contains("Bandwidth above 100 MHz") && svg.contains("95 % band"), "{svg}");
}
