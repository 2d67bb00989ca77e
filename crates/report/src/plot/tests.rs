use flattop_close::{assert_close, within};
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

/// Centres of the discs that mark measured points, from the SVG's own text.
fn dots(svg: &str) -> Vec<(f64, f64)> {
    let number = |element: &str, name: &str| -> f64 {
        let rest = element.split_once(&format!(" {name}=\"")).unwrap().1;
        rest.split_once('"').unwrap().0.parse().unwrap()
    };
    svg.split("<circle")
        .skip(1)
        .map(|element| element.split_once('>').unwrap().0)
        .filter(|element| element.contains(" r=\"3\""))
        .map(|element| (number(element, "cx"), number(element, "cy")))
        .collect()
}

#[test]
fn measured_points_start_on_the_curve() {
    let mut subject = undercompensated();
    let compensation = subject.assessment.compensation.unwrap();
    let error = |frequency_hz| compensation.response_at(frequency_hz).amplitude_error.value;
    // What a perfect measurement gives: gains over the gain at the lowest frequency, 3 kHz, already 4 % low there.
    let relative = |frequency_hz| MeasuredPoint {
        frequency_hz,
        relative_gain: Estimate {
            value: (1.0 + error(frequency_hz)) / (1.0 + error(3e3)),
            standard_uncertainty: 1e-4,
        },
        phase_rad: Estimate { value: 0.0, standard_uncertainty: 1e-4 },
    };
    subject.assessment.measured_response = vec![relative(3e3), relative(1e7)];
    subject.method = Method::Reference;
    let svg = svg(&subject);
    assert!(svg.contains("measured, the lowest set on the curve"));
    assert!(!svg.contains("95 % of noise alone"), "the reference's noise is not known");
    let dots = dots(&svg);
    assert_eq!(dots.len(), 2, "{svg}");
    // The dashed edges of the tolerance, + 1 % and − 1 %, tell the scale.
    let edges: Vec<f64> = svg
        .split('<')
        .filter(|element| element.contains("stroke-dasharray"))
        .map(|element| {
            let start = element.split_once(" d=\"M").unwrap().1.split_once('L').unwrap().0;
            start.split_once(' ').unwrap().1.parse().unwrap()
        })
        .collect();
    let (top, bottom) = (edges[0], edges[1]);
    for (&(_, y), frequency_hz) in dots.iter().zip([3e3, 1e7]) {
        let shown = 0.01 - 0.02 * (y - top) / (bottom - top);
        assert_close!(shown, error(frequency_hz), within(5e-4));
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
