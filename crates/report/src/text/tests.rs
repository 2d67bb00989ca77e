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
    let turn = lines[2..5].join(" ");
    let way = "Turn the trimmer at the tip so that its capacitance grows by 0.889 pF (± ";
    assert!(turn.starts_with(way), "{turn}");
    assert!(turn.contains("95 %); the front of the top then rises to meet its end."), "{turn}");
}

#[test]
fn overcompensation_and_the_base_turn_the_other_way() {
    let over = subject(Capacitances { tip_f: 10e-12, shunt_f: 80e-12 }, 4e-4, 1e-2);
    assert!(verdict_sentence(&over).starts_with("OVERCOMPENSATED: fast parts read 11.111 % high"));
    let turn = turn_sentence(&over).unwrap();
    assert!(turn.starts_with("Turn the trimmer at the tip so that its capacitance shrinks by 1.1"), "{turn}");
    assert!(turn.ends_with("the front of the top then falls to meet its end."), "{turn}");
    let mut base = undercompensated();
    base.assumptions.adjusted_at = AdjustedAt::Base;
    let turn = turn_sentence(&base).unwrap();
    let way = "Turn the trimmer in the box at the oscilloscope end so that its capacitance shrinks by 8.0";
    assert!(turn.starts_with(way), "{turn}");
    assert!(turn.ends_with("the front of the top then rises to meet its end."), "{turn}");
}

#[test]
fn within_tolerance_asks_for_nothing() {
    let within = subject(Capacitances { tip_f: 10e-12, shunt_f: 90.1e-12 }, 4e-4, 1e-2);
    let text = one(&within);
    assert!(text.contains("WITHIN TOLERANCE: fast parts read 0.100 % low (± 0.078 %, 95 %), 1 % allowed."));
    let turn = turn_sentence(&within).unwrap();
    let way =
        "Nothing needs turning. Exactly flat would take 0.0111 pF (± 0.0087 pF, 95 %) more in the trimmer";
    assert!(turn.starts_with(way), "{turn}");
}

#[test]
fn a_change_within_its_doubt_is_not_asked_for() {
    // |e| of 0.0 % and 0.1 % with 95 % intervals of 0.28 %.
    let flat = subject(Capacitances { tip_f: 10e-12, shunt_f: 90e-12 }, 1.43e-3, 1e-2);
    assert_eq!(verdict_sentence(&flat), "WITHIN TOLERANCE: flat within ± 0.28 % (95 %), 1 % allowed.");
    assert_eq!(turn_sentence(&flat).unwrap(), "Nothing needs turning.");
    let nearly = subject(Capacitances { tip_f: 10e-12, shunt_f: 90.1e-12 }, 1.43e-3, 1e-2);
    assert!(verdict_sentence(&nearly).contains("0.10 % low (± 0.28 %, 95 %)"));
    assert_eq!(turn_sentence(&nearly).unwrap(), "Nothing needs turning.");
    let vague = subject(Capacitances { tip_f: 10e-12, shunt_f: 91e-12 }, 8e-3, 1e-2);
    assert!(turn_sentence(&vague).unwrap().starts_with("Turn nothing yet"));
    // A time constant that is hardly known hides how far, not which way.
    let mut slow = subject(Capacitances { tip_f: 10e-12, shunt_f: 91e-12 }, 4e-3, 1e-2);
    let compensation = slow.assessment.compensation.as_mut().unwrap();
    compensation.time_constant_s.standard_uncertainty = 6e-5;
    compensation.correlation = 0.0;
    let turn = turn_sentence(&slow).unwrap();
    assert!(
        turn.contains("not yet sure") && turn.contains("grows, until the front of the top rises"),
        "{turn}"
    );
}

#[test]
fn undetermined_gives_the_reason_first_and_then_what_to_do() {
    let text = one(&undetermined());
    check_width(&text);
    let reason = text.find("UNDETERMINED: the record holds no edge").unwrap();
    let step = text.find("Do next: Connect the tip to the calibrator output").unwrap();
    assert!(reason < step);
    assert!(!text.contains("Turn "));
    // Below, the fault is only named.
    assert!(text.contains("  fault           no-edges (see above)\n"), "{text}");
    assert_eq!(text.matches("holds no edge").count(), 1);
    assert_eq!(text.matches("onnect the tip").count(), 1);
}

#[test]
fn several_columns_without_a_verdict_bring_the_hint_to_try_another() {
    let mut subject = undetermined();
    assert!(!one(&subject).contains("--column"));
    subject.record.as_mut().unwrap().columns = 4;
    let hint = "Column 2 (ch1_V) was read; the file has 4 columns: try --column 3.";
    assert!(one(&subject).contains(hint));
    subject.record.as_mut().unwrap().column = 4;
    assert!(one(&subject).contains("try --column 3."));
    let mut determined = undercompensated();
    determined.record.as_mut().unwrap().columns = 4;
    assert!(!one(&determined).contains("--column"));
}

#[test]
fn levels_that_are_hardly_known_are_left_out() {
    let mut subject = undercompensated();
    assert!(one(&subject).contains("low level"));
    let wave = subject.assessment.square_wave.as_mut().unwrap();
    // Half the step of 333 mV is 167 mV; 95 % of a normal distribution are 1.96 standard deviations.
    wave.low_level.standard_uncertainty = 0.09;
    wave.high_level.standard_uncertainty = 0.08;
    let text = one(&subject);
    assert!(!text.contains("low level") && text.contains("high level"), "{text}");
}

#[test]
fn several_captures_of_one_result_share_one_line() {
    let mut subject = undercompensated();
    let facts = subject.record.take().unwrap();
    let longer = RecordFacts { points: 50_000, interval_s: 2e-8, ..facts.clone() };
    subject.captures = vec![("at-1k.csv".into(), facts), ("at-100k.csv".into(), longer)];
    let text = one(&subject);
    assert_eq!(text.matches("\n  record  ").count(), 1, "{text}");
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let line =
        "2 captures, delimited text, 40000 to 50000 points, 20 ns to 100 ns apart, column 2 (ch1_V) of 2";
    assert!(text.contains(line), "{text}");
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
    assert!(
        text.contains("Best guess, not yet sure: turn the trimmer at the tip so that its capacitance grows")
    );
    assert!(text.contains("Do next: Capture more periods."));
    assert!(text.contains("Remedy: see above."));

    // The cause of the doubt knows the better remedy.
    close.assessment.findings.insert(0, Finding::note("short-flats", "the flats are short", "use 500 Hz"));
    let text = one(&close);
    assert!(text.contains("Do next: Use 500 Hz."), "{text}");

    let unknown = subject(Capacitances { tip_f: 10e-12, shunt_f: 91e-12 }, 8e-3, 1e-2);
    let sentence = verdict_sentence(&unknown);
    assert!(sentence.ends_with("95 %): not known well enough against the 1 % tolerance."), "{sentence}");
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

    // The levels of a fit that was refused are no levels.
    let mut refused = undercompensated();
    refused.assessment.square_wave.as_mut().unwrap().high_level.value = 1e4;
    assert!(hazard_caution(&refused).is_some());
    refused.assessment.compensation = None;
    assert!(hazard_caution(&refused).is_none());

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
    assert!(lines[3].ends_with("undetermined      no-edges"), "{}", lines[3]);
    assert!(lines[4].ends_with("not assessed      could not be read"), "{}", lines[4]);

    let mut close = subject(Capacitances { tip_f: 10e-12, shunt_f: 91e-12 }, 4e-3, 1e-2);
    close.assessment.findings.push(Finding::warning("too-close-to-call", "it is close", "capture more"));
    let text = several(&[Ok(undercompensated()), Ok(close)]);
    check_width(&text);
    let line = text.lines().nth(2).unwrap();
    assert!(line.contains("-0.99 ± 0.78 %") && line.ends_with("too-close-to-call"), "{line}");
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
