use flattop_core::assessment::AdjustedAt;
use flattop_core::divider::Capacitances;
use flattop_core::finding::Finding;

use super::wrap::WIDTH;
use super::*;
use crate::fixtures::{subject, undercompensated, undetermined};

fn check_width(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= WIDTH, "too wide: {line}");
        assert_eq!(line, line.trim_end(), "trailing blanks");
    }
}

#[test]
fn the_verdict_comes_first_and_the_turn_second() {
    let text = one(&undercompensated());
    check_width(&text);
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines[0], "bench-a-ch1-probe07.csv");
    assert_eq!(lines[1], "UNDERCOMPENSATED: fast parts read 7.407 % low (± 0.078 %, 95 %).");
    assert!(lines[2].starts_with("Turn: increase the trimmer at the tip by 0.889 pF (± "), "{}", lines[2]);
}

#[test]
fn overcompensation_and_the_base_turn_the_other_way() {
    let over = subject(Capacitances { tip_f: 10e-12, shunt_f: 80e-12 }, 4e-4, 1e-2);
    assert!(verdict_sentence(&over).starts_with("OVERCOMPENSATED: fast parts read 11.111 % high"));
    assert!(turn_sentence(&over).unwrap().starts_with("Turn: decrease the trimmer at the tip by 1.1"));
    let mut base = undercompensated();
    base.assumptions.adjusted_at = AdjustedAt::Base;
    let turn = turn_sentence(&base).unwrap();
    assert!(
        turn.starts_with("Turn: decrease the trimmer in the box at the oscilloscope end by 8.0"),
        "{turn}"
    );
}

#[test]
fn within_tolerance_asks_for_nothing() {
    let within = subject(Capacitances { tip_f: 10e-12, shunt_f: 90.1e-12 }, 4e-4, 1e-2);
    let text = one(&within);
    assert!(text.contains("WITHIN TOLERANCE: fast parts read 0.100 % low (± 0.078 %, 95 %), 1 % allowed."));
    assert!(text.contains("Nothing needs turning."));
}

#[test]
fn undetermined_gives_the_reason_first_and_then_what_to_do() {
    let text = one(&undetermined());
    check_width(&text);
    let reason = text.find("UNDETERMINED: the record holds no edge").unwrap();
    let step = text.find("Do next: Connect the tip to the calibrator output").unwrap();
    assert!(reason < step);
    assert!(!text.contains("Turn:"));
}

#[test]
fn too_close_to_call_says_so() {
    let mut close = subject(Capacitances { tip_f: 10e-12, shunt_f: 91e-12 }, 4e-3, 1e-2);
    close.assessment.findings.push(Finding::warning(
        "too-close-to-call",
        "it is close",
        "capture more periods",
    ));
    let text = one(&close);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("too close to the tolerance of 1 % to call"), "{text}");
    assert!(text.contains("Best guess, not yet sure: increase"));
    assert!(text.contains("Do next: Capture more periods."));
}

#[test]
fn caution_appears_only_above_the_limits() {
    // IEC 61010-031:2015, published abstract: 30 V rms, 42.4 V peak, 60 V dc.
    let with_levels = |low: f64, high: f64| {
        let mut subject = undercompensated();
        let wave = subject.assessment.square_wave.as_mut().unwrap();
        wave.low_level.value = low;
        wave.high_level.value = high;
        hazard_caution(&subject).is_some()
    };
    assert!(!with_levels(0.0, 42.0));
    assert!(with_levels(0.0, 42.5));
    assert!(!with_levels(-29.0, 29.0));
    assert!(with_levels(-31.0, 31.0));

    let mut stated = undercompensated();
    stated.assumptions.source_amplitude_v = Some(42.0);
    assert!(hazard_caution(&stated).is_none());
    stated.assumptions.source_amplitude_v = Some(50.0);
    assert!(one(&stated).contains("Caution:"));
}

#[test]
fn several_captures_fit_one_table() {
    let mut long = undercompensated();
    long.file = "captures/harrow-lane-lift-works/bench-a/bench-a-ch2-probe11.csv".into();
    let failure = Failure { file: "empty.csv".into(), message: "no samples".into() };
    let text = several(&[Ok(undercompensated()), Ok(long), Ok(undetermined()), Err(failure)]);
    check_width(&text);
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines[0].starts_with("capture"));
    assert!(lines[1].contains("undercompensated  -7.407 ± 0.078 %    +0.889"), "{}", lines[1]);
    assert!(lines[2].starts_with('…') && lines[2].contains("ch2-probe11.csv"));
    assert!(lines[3].contains("undetermined"));
    assert!(lines[4].contains("not assessed"));
}

#[test]
fn findings_come_with_their_remedies_and_long_words_are_broken() {
    let mut subject = undercompensated();
    subject.file = "x".repeat(200);
    let text = one(&subject);
    check_width(&text);
    assert!(text.contains("Remedy: Keep the ground lead short"));
    assert!(text.contains("(mains-hum)"));
}
