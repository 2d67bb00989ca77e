use flattop_close::{assert_close, relative, within};
use flattop_core::assessment::{AdjustedAt, MeasuredPoint};
use flattop_core::divider::Capacitances;
use serde_json::Value;

use super::*;
use crate::fixtures::{subject, undercompensated, undetermined};

fn parse(text: &str) -> Value {
    assert!(text.ends_with('\n'));
    serde_json::from_str(text).unwrap()
}

fn number(value: &Value, pointer: &str) -> f64 {
    value.pointer(pointer).unwrap_or_else(|| panic!("no {pointer}")).as_f64().unwrap()
}

#[test]
fn the_contract_has_its_fields() {
    let json = parse(&one(&Ok(undercompensated())));
    // C1 = 10 pF, C2 = 98 pF, R1 : R2 = 9 : 1, from the two-capacitor formulas by hand:
    // e = 10/108·10 − 1, τp = 0.9 MΩ · 108 pF, C1 must become 98/9 pF.
    assert_eq!(json["verdict"], "undercompensated");
    assert_close!(number(&json, "/compensation_error/value"), 100.0 / 108.0 - 1.0, relative(1e-12));
    assert_close!(number(&json, "/compensation_error/standard_uncertainty"), 4e-4, relative(1e-12));
    assert_close!(number(&json, "/time_constant_s/value"), 97.2e-6, relative(1e-12));
    assert_close!(number(&json, "/tip_capacitance_f/value"), 10e-12, relative(1e-9));
    assert_close!(number(&json, "/shunt_capacitance_f/value"), 98e-12, relative(1e-9));
    assert_eq!(json["adjustment"]["at"], "tip");
    assert_eq!(json["adjustment"]["direction"], "increase");
    assert_close!(number(&json, "/adjustment/change_f"), 98e-12 / 9.0 - 10e-12, relative(1e-9));
    assert!(number(&json, "/adjustment/change_standard_uncertainty_f") > 0.0);
    assert_close!(number(&json, "/square_wave/frequency_hz"), 1000.02, relative(1e-12));
    assert_close!(number(&json, "/square_wave/high_level"), 0.331, relative(1e-12));
    let errors = json["amplitude_error"].as_array().unwrap();
    assert_eq!(errors.len(), STATED_FREQUENCIES_HZ.len());
    assert_close!(number(&errors[8], "/frequency_hz"), 1e7, relative(1e-12));
    // Far above 1/(2πτp) the amplitude error is e itself.
    assert_close!(number(&errors[8], "/value"), -8.0 / 108.0, relative(1e-6));
    assert_eq!(json["findings"][0]["code"], "mains-hum");
    assert_eq!(json["findings"][0]["severity"], "warning");
    assert_eq!(json["record"]["points"], 40_000);
    assert_eq!(json["record"]["columns"], 2);
    assert_eq!(json["record"]["sha256"].as_str().unwrap().len(), 64);
}

#[test]
fn at_the_base_the_trimmer_turns_the_other_way() {
    let mut subject = undercompensated();
    subject.assumptions.adjusted_at = AdjustedAt::Base;
    let json = parse(&one(&Ok(subject)));
    assert_eq!(json["adjustment"]["direction"], "decrease");
    assert_close!(number(&json, "/adjustment/change_f"), 90e-12 - 98e-12, relative(1e-9));
}

#[test]
fn what_is_unknown_is_null_and_present() {
    let json = parse(&one(&Ok(undetermined())));
    assert_eq!(json["verdict"], "undetermined");
    for field in [
        "compensation_error",
        "time_constant_s",
        "correlation",
        "tip_capacitance_f",
        "shunt_capacitance_f",
        "seen_at_tip_f",
        "adjustment",
        "square_wave",
        "amplitude_error",
        "phase_error",
        "measured_response",
        "captures",
    ] {
        assert_eq!(json.get(field), Some(&Value::Null), "{field}");
    }
}

#[test]
fn a_fault_withholds_the_adjustment_but_a_close_call_does_not() {
    let close = subject(Capacitances { tip_f: 10e-12, shunt_f: 91e-12 }, 4e-3, 1e-2);
    let json = parse(&one(&Ok(close.clone())));
    assert_eq!(json["verdict"], "undetermined");
    assert_eq!(json["adjustment"]["direction"], "increase");

    let mut faulty = close;
    faulty.assessment.findings = undetermined().assessment.findings;
    assert_eq!(parse(&one(&Ok(faulty)))["adjustment"], Value::Null);
}

#[test]
fn numbers_that_are_not_finite_become_null() {
    let mut subject = undercompensated();
    let compensation = subject.assessment.compensation.as_mut().unwrap();
    compensation.time_constant_s.standard_uncertainty = f64::INFINITY;
    compensation.correlation = f64::NAN;
    let wave = subject.assessment.square_wave.as_mut().unwrap();
    wave.low_level.value = f64::NAN;
    let json = parse(&one(&Ok(subject)));
    assert_eq!(json["time_constant_s"]["standard_uncertainty"], Value::Null);
    assert_eq!(json["correlation"], Value::Null);
    assert_eq!(json["square_wave"]["low_level"], Value::Null);
}

#[test]
fn several_captures_make_an_array_with_failures_in_their_place() {
    let failure = Failure { file: "empty.csv".into(), message: "empty.csv: no samples".into() };
    let json = parse(&several(&[Ok(undercompensated()), Err(failure)]));
    assert_eq!(json.as_array().unwrap().len(), 2);
    assert_eq!(json[1]["file"], "empty.csv");
    assert_eq!(json[1]["error"], "empty.csv: no samples");
}

#[test]
fn measured_points_carry_gain_and_phase() {
    let estimate = |value| assessment::Estimate { value, standard_uncertainty: 1e-4 };
    let mut subject = undercompensated();
    subject.assessment.measured_response =
        vec![MeasuredPoint { frequency_hz: 3e3, relative_gain: estimate(0.95), phase_rad: estimate(-0.02) }];
    let json = parse(&one(&Ok(subject)));
    assert_close!(number(&json, "/measured_response/0/relative_gain/value"), 0.95, within(1e-12));
    assert_close!(number(&json, "/measured_response/0/phase_rad/value"), -0.02, within(1e-12));
}

#[test]
fn one_result_from_several_captures_lists_them() {
    let mut subject = undercompensated();
    let facts = subject.record.take().unwrap();
    subject.file = "at-1k.csv, at-100k.csv".into();
    subject.captures = vec![("at-1k.csv".into(), facts.clone()), ("at-100k.csv".into(), facts)];
    let json = parse(&one(&Ok(subject)));
    assert_eq!((&json["file"], &json["record"]), (&Value::Null, &Value::Null));
    assert_eq!(json["captures"][1]["file"], "at-100k.csv");
    assert_eq!(json["captures"][1]["record"]["points"], 40_000);
}
