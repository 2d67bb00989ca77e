//! Tests of what is shown of a pairing.

use flattop_close::{assert_close, relative};
use flattop_core::assessment::AdjustedAt;
use flattop_core::divider::Divider;
use flattop_core::reach::{CompensationRange, TipCapacitance, reach};
use resvg::{tiny_skia, usvg};

use super::*;
use crate::plot::scene::text_width;

const PICO: f64 = 1e-12;

/// The range 8 pF to 18 pF with 10 pF at the tip, on an input in pF.
fn pairing(nominal: f64, tolerance: f64, range_tolerance: f64) -> Pairing {
    let probe = ReachProbe {
        divider: Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 },
        tip: TipCapacitance::SeenAtTip(10.0 * PICO),
        adjusted_at: AdjustedAt::Base,
        range: CompensationRange {
            least_f: 8.0 * PICO,
            most_f: 18.0 * PICO,
            tolerance_f: range_tolerance * PICO,
        },
    };
    let input = InputCapacitance { nominal_f: nominal * PICO, tolerance_f: tolerance * PICO };
    Pairing { probe, input, reach: reach(&probe, input).unwrap() }
}

#[test]
fn the_words_start_with_the_verdict_and_keep_to_the_page() {
    for (pairing, start) in [
        (
            pairing(20.0, 0.0, 0.0),
            "OUT OF REACH: an input of 20 pF lies 2 pF above the compensation range of",
        ),
        (pairing(5.0, 1.0, 1.0), "OUT OF REACH: an input of 5 pF ± 1 pF lies 3 pF below the compensation"),
        (pairing(17.5, 1.0, 0.0), "MAY REACH: an input of 17.5 pF ± 1 pF lies inside the compensation range"),
        (pairing(18.0, 1.0, 0.0), "MAY REACH: an input of 18 pF ± 1 pF lies right on a limit of the"),
        (pairing(18.0, 0.0, 0.0), "REACHES: an input of 18 pF lies right on a limit of"),
        (pairing(13.0, 2.0, 1.0), "REACHES: an input of 13 pF ± 2 pF lies inside the compensation range of"),
    ] {
        let text = one(&pairing);
        assert!(text.starts_with(start), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        assert!(!text.contains("NaN") && !text.contains("unknown"), "{text}");
    }
    // C1 = 10 pF·10/9; e = −2/(111.11 + 2) (the formula of DESIGN's reach, by hand).
    let text = one(&pairing(20.0, 0.0, 0.0));
    assert!(text.contains("e = -1.77 %: fast parts read 1.77 % low."), "{text}");
    assert!(text.contains("no tolerances stated"), "{text}");
}

#[test]
fn a_table_has_a_line_for_each_input() {
    let unfit = Unfit {
        input: InputCapacitance { nominal_f: 9.0 * PICO, tolerance_f: 0.0 },
        message: "no pairing".into(),
    };
    let all = [Ok(pairing(15.0, 2.0, 0.5)), Ok(pairing(20.0, 1.0, 0.5)), Err(unfit)];
    let text = several(&all);
    let lines: Vec<_> = text.lines().collect();
    assert!(lines[1].starts_with("15 pF ± 2 pF") && lines[1].contains(" reaches "), "{text}");
    assert!(lines[2].contains("out-of-reach") && lines[2].contains("-2 ± 1.5"), "{text}");
    assert!(lines[3].starts_with("9 pF") && lines[3].contains("not judged"), "{text}");
    assert!(lines.iter().all(|line| line.chars().count() <= 80), "{text}");
}

#[test]
fn json_states_the_figures_and_what_was_stated() {
    let pairing = pairing(20.0, 1.0, 0.0);
    let json: serde_json::Value = serde_json::from_str(&json::one(&Ok(pairing.clone()))).unwrap();
    assert_eq!(json["verdict"], "out-of-reach");
    assert_eq!(json["side"], "above");
    let number = |pointer: &str| json.pointer(pointer).unwrap().as_f64().unwrap();
    // −2/(100/0.9 + 2) and −3/(100/0.9 + 3), by hand.
    assert_close!(number("/compensation_error/value"), -0.017_681_728_880, relative(1e-9));
    assert_close!(number("/compensation_error_bounds/lowest"), -0.026_290_165_531, relative(1e-9));
    assert_close!(number("/tip_capacitance_f/value"), 1e-10 / 9.0, relative(1e-9));
    // Balanced shunt 9·C1 = 100 pF, and 2 pF more.
    assert_close!(number("/shunt_capacitance_f/value"), 1.02e-10, relative(1e-9));
    assert!(json.pointer("/tip_capacitance_f/standard_uncertainty").unwrap().is_null());
    assert!(json.pointer("/stated/tip_capacitance_f").unwrap().is_null());
    assert_close!(number("/stated/seen_at_tip_f"), 1e-11, relative(1e-12));
    let unfit = Unfit { input: pairing.input, message: "no pairing".into() };
    let both: serde_json::Value = serde_json::from_str(&json::several(&[Ok(pairing), Err(unfit)])).unwrap();
    assert_eq!(both[1]["error"], "no pairing");
}

#[test]
fn every_verdict_draws() {
    for (name, pairing) in [
        ("above", pairing(20.0, 2.0, 1.0)),
        ("far", pairing(80.0, 2.0, 0.0)),
        ("below", pairing(3.0, 0.0, 0.0)),
        ("may", pairing(17.5, 1.0, 0.5)),
        ("on the limit", pairing(18.0, 0.0, 0.0)),
        ("reaches", pairing(13.0, 2.0, 0.0)),
        ("wide", pairing(13.0, 12.0, 7.9)),
        ("wide input", pairing(13.0, 11.0, 0.0)),
    ] {
        let svg = svg(&pairing);
        let tree = usvg::Tree::from_str(&svg, &usvg::Options::default()).unwrap();
        assert!(tree.size().height() > 700.0, "{name}");
        assert!(!svg.contains("NaN") && !svg.contains("inf\"") && !svg.contains("inf "), "{name}");
        assert!(svg.contains("Compensation range and input"), "{name}");
        // No words start or end outside the margins (labels of lanes and ticks stand to the left of the panels).
        for words in svg.split("<text ").skip(1) {
            let x: f64 = words.split('"').nth(1).unwrap().parse().unwrap();
            let text = words.split_once('>').unwrap().1.split_once('<').unwrap().0;
            let width = text_width(text, 13.0);
            let turned = words.contains("rotate(");
            let left = match words {
                w if w.contains("\"end\"") => x - width,
                w if w.contains("\"middle\"") => x - 0.5 * width,
                _ => x,
            };
            assert!(turned || left > 20.0, "{name}: {text}");
        }
        let image = tiny_skia::Pixmap::decode_png(&png(&pairing).unwrap()).unwrap();
        assert_eq!(image.width(), 1920, "{name}");
    }
}
