use flattop_core::assessment::{Estimate, MeasuredPoint, Trace};
use flattop_core::divider::Capacitances;
use resvg::{tiny_skia, usvg};

use super::*;
use crate::fixtures::{subject, undercompensated, undetermined};
use crate::subject::Method;

/// The document parsed by an XML and SVG reader that is not ours.
fn parsed(svg: &str) -> usvg::Tree {
    usvg::Tree::from_str(svg, &usvg::Options::default()).unwrap()
}

#[test]
fn every_kind_of_assessment_draws() {
    let mut by_eye = undercompensated();
    by_eye.method = Method::ByEye;
    by_eye.file.clear();
    by_eye.record = None;
    by_eye.assessment.trace = Trace::default();
    let mut measured = undercompensated();
    measured.assessment.measured_response = (1..7)
        .map(|k| MeasuredPoint {
            frequency_hz: 3.0 * 10f64.powi(k),
            relative_gain: Estimate { value: 1.0 - 0.01 * f64::from(k), standard_uncertainty: 2e-3 },
            phase_rad: Estimate { value: 0.0, standard_uncertainty: 1e-3 },
        })
        .collect();
    let within = subject(Capacitances { tip_f: 10e-12, shunt_f: 90.3e-12 }, 8e-4, 1e-2);
    let cases = [
        ("under", undercompensated()),
        ("over", subject(Capacitances { tip_f: 11e-12, shunt_f: 80e-12 }, 4e-3, 2e-2)),
        ("within", within),
        ("undetermined", undetermined()),
        ("by-eye", by_eye),
        ("measured", measured),
    ];
    for (name, subject) in cases {
        let svg = svg(&subject);
        let tree = parsed(&svg);
        assert!(tree.size().width() > 500.0 && tree.size().height() > 300.0, "{name}");
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{name}");
        let image = tiny_skia::Pixmap::decode_png(&png(&subject).unwrap()).unwrap();
        assert_eq!(image.width(), 1920, "{name}");
    }
}

#[test]
fn the_words_are_in_the_drawing_and_escaped() {
    let mut subject = undercompensated();
    subject.file = "a<b>&\u{1}.csv".into();
    let svg = svg(&subject);
    parsed(&svg);
    assert!(svg.contains("a&lt;b&gt;&amp;\u{fffd}.csv"));
    assert!(svg.contains("UNDERCOMPENSATED: fast parts read 7.407 % low"));
    assert!(svg.contains("<title id=\"title\">") && svg.contains("<desc id=\"description\">"));
    assert!(svg.contains("e = −7.407 % ± 0.078 %"));
}

#[test]
fn the_brought_font_has_every_sign_that_is_drawn() {
    let with_text = |text: &str| {
        let mut subject = undercompensated();
        subject.file = text.into();
        png(&subject).unwrap()
    };
    // A font without a sign draws it as its empty box or as nothing, so two missing signs look the same.
    let missing = with_text("\u{10fffd}");
    for sign in ["−", "±", "µ", "Ω", "·", "%"] {
        assert_ne!(with_text(sign), missing, "{sign}");
    }
}
