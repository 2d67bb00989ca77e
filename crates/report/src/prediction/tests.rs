use std::collections::BTreeSet;

use flattop_close::{assert_close, relative};
use resvg::{tiny_skia, usvg};
use serde_json::Value;

use super::fixtures::{all, edge_through_a_lead, hazardous_pulse, loaded_sine, undercompensated_square};
use super::{Subject, headline, json, plot, text};

const CONTRACT: &str = include_str!("../../../../docs/predict-json.md");

fn parsed(subject: &Subject) -> Value {
    serde_json::from_str(&json::of(subject)).unwrap()
}

/// All names of fields in a value, with a dot between levels; lists count as what is in them.
fn fields(value: &Value, path: &str, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            for (name, inner) in map {
                let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
                found.insert(path.clone());
                // Reasons are keyed by whatever is missing.
                if name != "why" {
                    fields(inner, &path, found);
                }
            }
        }
        Value::Array(list) => list.iter().for_each(|inner| fields(inner, path, found)),
        _ => {}
    }
}

#[test]
fn every_field_is_documented_and_every_documented_field_is_there() {
    let mut written = BTreeSet::new();
    for (_, subject) in all() {
        fields(&parsed(&subject), "", &mut written);
    }
    // Both waveforms have the same figures; an uncertain quantity is described once for all; a limit is a response.
    let written: BTreeSet<String> = written
        .into_iter()
        .map(|path| path.replace("pulse.true", "pulse.shown"))
        .filter(|path| !path.ends_with(".standard_uncertainty") || path.starts_with("assumed"))
        .filter(|path| {
            !path.ends_with(".value") || path.starts_with("assumed") || path.starts_with("ratings")
        })
        .collect();
    let documented: BTreeSet<String> = CONTRACT
        .lines()
        .filter_map(|line| line.strip_prefix("| `")?.split_once('`').map(|(name, _)| name.to_owned()))
        .filter(|name| name.contains(['.', '_']) || written.contains(name))
        .map(|name| name.replace("pulse.true", "pulse.shown"))
        .collect();
    // What these four have none of: a bandwidth limit that is switched in, measured elements.
    let rare = |name: &&String| name.starts_with("chain.measured.") || name.starts_with("chain.input.limit.");
    let not_there: Vec<_> = documented.difference(&written).filter(|n| !rare(n)).collect();
    let not_documented: Vec<_> = written.difference(&documented).collect();
    assert!(not_there.is_empty(), "documented but not written: {not_there:?}");
    assert!(not_documented.is_empty(), "written but not documented: {not_documented:?}");
}

#[test]
fn json_carries_the_figures_of_the_core_to_the_last_digit() {
    for (name, subject) in all() {
        let text = json::of(&subject);
        assert!(!text.contains("NaN") && !text.contains("inf"), "{name}");
        let value: Value = serde_json::from_str(&text).unwrap();
        let found = &subject.prediction;
        let list = |path: &str| -> Vec<f64> {
            value.pointer(path).unwrap().as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
        };
        assert_eq!(list("/response/gain_at_node"), found.gain_at_node, "{name}");
        assert_eq!(list("/response/frequency_hz"), subject.frequency_hz, "{name}");
        assert_eq!(list("/waveform/shown_v"), found.waveform.shown_v, "{name}");
        assert_eq!(list("/waveform/time_s").len(), list("/waveform/true_v").len(), "{name}");
        // A list of numbers takes one line.
        assert!(
            text.lines().any(|line| line.trim_start().starts_with("\"shown_v\": [") && line.ends_with("],"))
        );
    }
    let edge = parsed(&edge_through_a_lead());
    assert!(edge["response"]["gain_standard_uncertainty"].is_array());
    assert!(edge["limits"]["highest_sine_hz"]["standard_uncertainty"].as_f64().unwrap() > 0.0);
    assert_eq!(edge["errors"][0]["contributions"].as_array().unwrap().len(), 3);
    // A ramp of T = 2 ns through the node's own τ = 25 Ω · 2 pF is τ·(1 − exp(−t/τ)) late, so it crosses 10 % where
    // t − τ·(1 − exp(−t/τ)) = 0.1·T, and 90 % at 0.9·T + τ (the ramp response of one pole, worked out here).
    let (ramp_s, tau_s) = (2e-9, 50e-12);
    let tenth_s = (0..50).fold(0.1 * ramp_s, |t: f64, _| 0.1 * ramp_s + tau_s * (1.0 - (-t / tau_s).exp()));
    let true_s = edge["pulse"]["true"]["transitions"][0]["duration_10_90_s"].as_f64().unwrap();
    assert_close!(true_s, 0.9 * ramp_s + tau_s - tenth_s, relative(1e-6));
    assert!(edge["pulse"]["shown"]["period_s"].is_null());
    assert!(edge["pulse"]["shown"]["why"]["period_s"].as_str().unwrap().contains("third transition"));
    let sine = parsed(&loaded_sine());
    assert!(sine["pulse"]["true"].is_null() && sine["ratings"].is_null());
    assert!(sine["response"]["gain_standard_uncertainty"].is_null());
    assert_eq!(sine["within_accepted_error"], Value::Bool(false));
    let pulse = parsed(&hazardous_pulse());
    assert!(pulse["ratings"].as_array().unwrap().iter().any(|check| check["limit"].is_null()));
}

#[test]
fn words_fit_eighty_columns_and_say_what_matters_first() {
    for (name, subject) in all() {
        let words = text::of(&subject);
        for line in words.lines() {
            assert!(line.chars().count() <= 80, "{name}: {line}");
        }
        assert!(!words.contains("NaN") && !words.contains("unknown"), "{name}: {words}");
        let second = words.lines().nth(1).unwrap();
        assert!(second.starts_with("Shown: "), "{name}: {second}");
    }
}

/// Loading of a 1 MΩ node with 2 pF of its own by 10 MΩ ∥ 10.6 pF at 20 kHz, by hand: the node alone gives
/// 1/√(1 + 0.2513²) = 0.970 V, with the probe 0.909/√(1 + 1.44²) = 0.519 V.
#[test]
fn a_sine_is_told_by_its_amplitude() {
    let told = headline(&loaded_sine());
    assert_eq!(
        told,
        "Shown: 519 mV of amplitude where 970 mV is there (46.5 % low), 41.1° late. More than the 3 % accepted, \
         chiefly from the load on the node."
    );
    assert!(text::of(&loaded_sine()).contains("no sines: even slow ones are further off"));
}

#[test]
fn an_edge_is_told_by_its_transition_duration_with_the_doubt_about_it() {
    let told = headline(&edge_through_a_lead());
    assert!(
        told.starts_with("Shown: 2.3 ns edge (10–90 %) where 1.6 ns is there (+43.6 % ± 5.2 %), overshoot"),
        "{told}"
    );
    let words = text::of(&edge_through_a_lead());
    assert!(words.contains("± is a 95 % interval"), "{words}");
    assert!(words.contains("(lead-rings)"), "{words}");
    assert!(words.contains("probe.cable.length = 1.200 m ± 0.060 m"), "{words}");
}

#[test]
fn a_square_wave_behind_a_bad_trim_blames_the_trim() {
    let told = headline(&undercompensated_square());
    assert!(told.contains("times as long") && told.contains("chiefly from the compensation"), "{told}");
    // e = −12 %: the pole is at 1.8 kHz, so 10 kHz and above read 12 % low.
    let words = text::of(&undercompensated_square());
    assert!(words.contains("error e -12 %"), "{words}");
    let row = words.lines().find(|line| line.trim_start().starts_with("100 kHz")).unwrap();
    assert!(row.contains("-12 %"), "{row}");
}

#[test]
fn the_accepted_error_holds_for_every_measure() {
    let subject = hazardous_pulse();
    let told = headline(&subject);
    assert!(told.contains("within the 3 % accepted, but the peak-to-peak value is not"), "{told}");
    assert_eq!(super::is_within(&subject), Some(false));
}

#[test]
fn cautions_come_last_and_are_announced_at_the_top() {
    let subject = hazardous_pulse();
    let words = text::of(&subject);
    let at = |what: &str| words.find(what).unwrap();
    assert!(at("Read the CAUTIONS") < at("Errors in per cent"));
    assert!(at("\nFindings") < at("\nCAUTIONS"));
    assert!(at("\nCAUTIONS") < at("(hazardous-voltage)"));
    assert!(words.contains("NOT RATED there"), "{words}");
    assert!(plot::svg(&subject).contains("Caution: "));
    assert!(!text::of(&loaded_sine()).contains("CAUTION"));
}

#[test]
fn every_prediction_draws() {
    for (name, subject) in all() {
        let svg = plot::svg(&subject);
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{name}");
        let tree = usvg::Tree::from_str(&svg, &usvg::Options::default()).unwrap();
        assert!(tree.size().width() > 900.0 && tree.size().height() > 600.0, "{name}");
        let image = tiny_skia::Pixmap::decode_png(&plot::png(&subject).unwrap()).unwrap();
        assert_eq!(image.width(), 1920, "{name}");
        // A sine has no close-up of its own.
        assert_eq!(svg.contains(">The whole<"), name != "sine", "{name}");
        assert!(svg.contains(">Remainder, acting together<"), "{name}");
        assert_eq!(svg.contains("95 % band"), name == "edge", "{name}");
    }
}

#[test]
fn frequencies_may_be_few_or_none() {
    let full = edge_through_a_lead();
    for wanted in [0, 1, 3] {
        let mut subject = full.clone();
        let stride = full.frequency_hz.len() / 3;
        let keep: Vec<usize> = (0..wanted).map(|k| k * stride).collect();
        let take = |list: &[f64]| keep.iter().map(|k| list[*k]).collect::<Vec<f64>>();
        subject.frequency_hz = take(&full.frequency_hz);
        subject.prediction.gain_at_node = take(&full.prediction.gain_at_node);
        subject.prediction.response = keep.iter().map(|k| full.prediction.response[*k]).collect();
        if let Some(doubts) = &mut subject.prediction.doubts {
            doubts.gain_at_node = take(&doubts.gain_at_node);
        }
        let svg = plot::svg(&subject);
        usvg::Tree::from_str(&svg, &usvg::Options::default()).unwrap();
        assert_eq!(svg.contains(">Sines<"), wanted > 1);
        assert_eq!(text::of(&subject).contains("Response;"), wanted > 0);
    }
}
