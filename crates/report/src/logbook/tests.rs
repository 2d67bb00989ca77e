//! The drawing in letters, the drawing as SVG and the sentences about a drift.

use flattop_core::bench::{Id, InputId, MONTH_MS, Moment, Pairing, Stage, TrendPoint, trend};
use flattop_register::{Problem, Series, Verification};

use super::{History, plot, terminal, text};

/// One look a month at e = `from` + `by` · month, each with u = 0.05 %.
fn history(from: f64, by: f64, months: u32, tolerance: f64) -> History {
    let at = |month: u32| Moment {
        unix_ms: 1_767_600_000_000 + (f64::from(month) * MONTH_MS).round() as i64,
        offset_minutes: 60,
    };
    let points: Vec<TrendPoint> = (0..months)
        .map(|month| TrendPoint {
            at: at(month),
            compensation_error: from + by * f64::from(month),
            standard_uncertainty: Some(0.000_5),
            stage: Stage::Check,
        })
        .collect();
    History {
        pairing: Pairing {
            number: 3,
            probe: Id::new("probe-07").unwrap(),
            input: InputId::new("bench-a/ch1").unwrap(),
            tolerance: Some(tolerance),
            recheck_interval_days: None,
            made_at: at(0),
            made_by: None,
            voided: None,
        },
        series: Series { trend: trend(&points), points: (1..).zip(points).collect() },
        tolerance: Some(tolerance),
        offset_minutes: 60,
    }
}

#[test]
fn a_drift_says_when_the_tolerance_ends() {
    // From 0.1 % by 0.1 % a month, 6 looks: the last at 0.6 %, so four months are left of 1 %.
    let said = text::history(&history(0.001, 0.001, 6, 0.01));
    assert!(
        said.contains("+0.100 %") && said.contains("leaves its tolerance of 1 % in about 4 months"),
        "{said}"
    );
    let said = text::history(&history(-0.001, -0.001, 6, 0.01));
    assert!(said.contains("in about 4 months"), "{said}");
    let said = text::history(&history(0.001, 0.003, 6, 0.01));
    assert!(said.contains("outside its tolerance now"), "{said}");
    let said = text::history(&history(0.001, 0.0, 6, 0.01));
    assert!(said.contains("does not stand") && !said.contains("about"), "{said}");
    let said = text::history(&history(0.0, 0.0, 0, 0.01));
    assert!(said.contains("no assessment with a determined e"), "{said}");
}

/// Rows of letters that hold a dot of the points' columns, from the top.
fn rows_of(column: usize, drawing: &[String]) -> Vec<usize> {
    let dot = |line: &String| {
        line.chars().nth(11 + column).is_some_and(|c| c != '\u{2800}' && c != '⠁' && c != '⡀')
    };
    (0..10).filter(|row| dot(&drawing[*row])).collect()
}

#[test]
fn the_drawing_in_letters_rises_with_e_and_fits_a_terminal() {
    let drawing = terminal::draw(&history(-0.01, 0.004, 6, 0.005));
    assert_eq!(drawing.len(), 11);
    assert!(drawing.iter().all(|line| line.chars().count() <= 80));
    let (first, last) = (rows_of(0, &drawing), rows_of(61, &drawing));
    assert!(first.iter().all(|row| *row > 6) && last.iter().all(|row| *row < 4), "{drawing:#?}");
    assert!(
        drawing[10].contains("2026-01-05") && drawing[10].trim_end().ends_with("2026-06-06"),
        "{}",
        drawing[10]
    );
    assert!(terminal::draw(&history(0.0, 0.0, 0, 0.01)).is_empty());
    assert_eq!(terminal::draw(&history(0.001, 0.0, 1, 0.01)).len(), 11);
}

#[test]
fn the_drawing_tells_by_more_than_colour() {
    let svg = plot::svg(&history(0.001, 0.001, 6, 0.01));
    assert!(svg.contains("<title") && svg.contains("probe-07 on bench-a/ch1"));
    assert!(svg.contains("tolerance") && svg.contains(">drift<"), "{svg}");
    assert!(!svg.contains("NaN"));
    assert!(!plot::svg(&history(0.0, 0.0, 0, 0.01)).contains("NaN"));
    assert!(!plot::svg(&history(0.001, 0.0, 1, 0.01)).contains("NaN"));
    assert!(plot::png(&history(0.001, 0.001, 6, 0.01)).unwrap().starts_with(b"\x89PNG"));
}

#[test]
fn what_is_wrong_is_counted_and_told() {
    let found = Verification {
        entries: 1,
        captures: 2,
        head: None,
        problems: vec![Problem::Changed { seq: 4 }, Problem::Missing { first: 6, last: 8 }],
    };
    let said = text::verification(&found);
    assert!(said.starts_with("NOT INTACT: 2 problems in 1 entry and 2 captures:"), "{said}");
    assert!(said.contains("entry 4 was changed") && said.contains("entries 6 to 8 are missing"), "{said}");
}
