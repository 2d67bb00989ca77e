//! How e of one pairing went over time: marks with their 95 % bars, the tolerance, the turns of the trimmer.

use super::axis::linear;
use super::layout::{LEFT, RIGHT, colour, empty, on_paper, percent_ticks, widened};
use super::panel::{Mark, Panel, cross, disc};
use super::scene::{Anchor, Dash, Scene, Stroke};
use crate::format::plain_percent;
use crate::subject::COVERAGE_FACTOR_95;

/// What is drawn. Times are on any scale that rises evenly.
#[derive(Clone, Debug, PartialEq)]
pub struct TrendDrawing {
    /// Heading of the panel.
    pub heading: String,
    /// First and last time shown.
    pub time: (f64, f64),
    /// Where the axis of time is marked, and what is written there.
    pub ticks: Vec<(f64, String)>,
    /// The assessments.
    pub marks: Vec<TrendMark>,
    /// When the trimmer was turned.
    pub turned: Vec<f64>,
    /// The |e| still accepted, where there is one.
    pub tolerance: Option<f64>,
}

/// One assessment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrendMark {
    /// When.
    pub time: f64,
    /// e.
    pub error: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// What it counts for.
    pub place: TrendPlace,
}

/// What an assessment counts for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrendPlace {
    /// It counts.
    Counts,
    /// It was made before an adjustment.
    BeforeAdjustment,
    /// It was withdrawn.
    Withdrawn,
}

/// The drawing, without a heading of its own.
pub fn trend_scene(drawing: &TrendDrawing) -> Scene {
    let TrendDrawing { heading, time, ticks, marks, turned, tolerance } = drawing;
    let mut scene =
        empty(heading, "Panel: the compensation error of each assessment over time, with 95 % bars.");
    let reach = 1.5 * tolerance.unwrap_or(0.0);
    let (mut low, mut high) = (-reach, reach);
    for mark in marks.iter().filter(|mark| mark.error.is_finite()) {
        let half = COVERAGE_FACTOR_95 * mark.standard_uncertainty;
        low = low.min(mark.error - half);
        high = high.max(mark.error + half);
    }
    let (top, bottom) = (38.0, 228.0);
    let panel = Panel {
        left: LEFT,
        right: RIGHT,
        top,
        bottom,
        x: widened(time.0, time.1, 0.02),
        y: widened(100.0 * low, 100.0 * high, 0.08),
    };
    if let Some(tolerance) = tolerance {
        let ((x0, y0), (x1, y1)) =
            (panel.at(panel.x.0, 100.0 * tolerance), panel.at(panel.x.1, -100.0 * tolerance));
        scene.rectangle((x0, y0), (x1, y1), colour::ALLOWED);
        for y in [y0, y1] {
            scene.line(vec![(x0, y), (x1, y)], tolerance_edge());
        }
    }
    let (levels, _) = linear(panel.y.0, panel.y.1, 5);
    panel.y_axis(&mut scene, &percent_ticks(levels), "e, %");
    let turn = Stroke { paint: colour::INK, width: 1.0, dash: Dash::Dashed };
    for at in turned.iter().filter(|at| (panel.x.0..=panel.x.1).contains(at)) {
        let x = panel.at_x(*at);
        scene.line(vec![(x, top), (x, bottom)], turn);
    }
    for mark in marks.iter().filter(|mark| mark.error.is_finite()) {
        draw(&mut scene, &panel, mark);
    }
    let ticks: Vec<_> = ticks.iter().map(|(at, label)| (*at, label.as_str())).collect();
    panel.x_axis(&mut scene, &ticks, "");
    let allowed = tolerance.map(|tolerance| format!("tolerance ± {}", plain_percent(tolerance, 3)));
    let has = |place| marks.iter().any(|mark| mark.place == place);
    let mut key = vec![(Mark::Dot(colour::FIT), "e, 95 %")];
    if has(TrendPlace::BeforeAdjustment) {
        key.push((Mark::Ring(colour::FIT), "before adjustment"));
    }
    if has(TrendPlace::Withdrawn) {
        key.push((Mark::Cross(colour::MUTED), "withdrawn"));
    }
    if !turned.is_empty() {
        key.push((Mark::Line(turn), "trimmer turned"));
    }
    if let Some(allowed) = &allowed {
        key.push((Mark::Line(tolerance_edge()), allowed));
    }
    panel.heading(&mut scene, heading, &key);
    if marks.is_empty() {
        let middle = (0.5 * (LEFT + RIGHT), panel.at_y(0.0) - 8.0);
        scene.text(middle, 14.0, colour::MUTED, Anchor::Middle, "no assessment with a determined e");
    }
    let mut scene = on_paper(scene, bottom);
    scene.height -= 24.0; // there is no title below the axis of time
    scene
}

fn tolerance_edge() -> Stroke {
    Stroke { paint: colour::ALLOWED_EDGE, width: 1.2, dash: Dash::Dashed }
}

fn draw(scene: &mut Scene, panel: &Panel, mark: &TrendMark) {
    let half = COVERAGE_FACTOR_95 * mark.standard_uncertainty;
    let at = panel.at(mark.time, 100.0 * mark.error);
    let paint = if mark.place == TrendPlace::Withdrawn { colour::MUTED } else { colour::FIT };
    let bar = [mark.error - half, mark.error + half].map(|e| panel.at(mark.time, 100.0 * e));
    scene.line(bar.to_vec(), Stroke { paint, width: 1.2, dash: Dash::Solid });
    match mark.place {
        TrendPlace::Counts => disc(scene, at, 4.0, paint),
        TrendPlace::BeforeAdjustment => {
            disc(scene, at, 4.5, paint);
            disc(scene, at, 2.8, colour::PAPER);
        }
        TrendPlace::Withdrawn => cross(scene, at, paint),
    }
}

#[cfg(test)]
mod tests {
    use resvg::usvg;

    use super::*;

    fn drawing(marks: Vec<TrendMark>) -> TrendDrawing {
        TrendDrawing {
            heading: "probe-07 on bench-a/ch1".into(),
            time: (0.0, 10.0),
            ticks: vec![(0.0, "2026-01".into()), (10.0, "2026-02".into())],
            marks,
            turned: vec![5.0],
            tolerance: Some(0.01),
        }
    }

    #[test]
    fn each_mark_has_a_shape_of_its_own() {
        let mark = |place| TrendMark { time: 3.0, error: -0.02, standard_uncertainty: 1e-3, place };
        let places = [TrendPlace::Counts, TrendPlace::BeforeAdjustment, TrendPlace::Withdrawn];
        let shapes = places.map(|place| {
            let svg = super::super::svg::write(&trend_scene(&drawing(vec![mark(place)])));
            assert!(usvg::Tree::from_str(&svg, &usvg::Options::default()).is_ok());
            (svg.matches("<circle").count(), svg.matches("<path").count())
        });
        assert!(shapes[0] != shapes[1] && shapes[1] != shapes[2] && shapes[0] != shapes[2], "{shapes:?}");
    }

    #[test]
    fn nothing_measured_is_said() {
        let svg = super::super::inline(&trend_scene(&drawing(Vec::new())), "p1");
        assert!(svg.contains("no assessment with a determined e") && svg.contains("id=\"p1-title\""));
        assert!(!svg.contains("NaN") && !svg.contains("http"), "{svg}");
    }
}
