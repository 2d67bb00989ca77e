//! Shown against true over time: close up, and the whole.

use flattop_core::prediction::Window;
use flattop_core::signal::Shape;

use super::{Drawn, SHOWN, TRUE, band, curve, panel};
use crate::format::plain;
use crate::plot::axis::linear;
use crate::plot::layout::widened;
use crate::plot::panel::{Mark, Panel};
use crate::plot::scene::Scene;
use crate::prediction::Subject;
use crate::subject::COVERAGE_FACTOR_95;

/// Fewest times that make a picture of a transition.
const LEAST: usize = 20;

/// How much longer than the close-up the whole has to be to be drawn, too.
const CLEARLY: f64 = 3.0;

/// What is drawn of a waveform.
struct View {
    from_s: f64,
    to_s: f64,
    /// By how much the shown waveform is drawn earlier, s.
    moved_s: f64,
}

/// About the first transition; `None` for signals without, or where no times lie there.
fn close_view(subject: &Subject) -> Option<View> {
    let window = Window::of(&subject.chain, &subject.signal);
    let first = *window.transitions_s.first()?;
    if matches!(subject.signal.shape, Shape::Burst { .. }) {
        return None;
    }
    let (from_s, to_s) = (first - 1.5 * window.fast_s, first + 7.0 * window.fast_s);
    // A delay that is longer than what follows the transition is a slow tail rather than a delay.
    let moved_s = subject.prediction.delay_s.filter(|d| d.abs() < 6.0 * window.fast_s).unwrap_or(0.0);
    let times = &subject.prediction.waveform.time_s;
    let inside = times.iter().filter(|t| (from_s..=to_s).contains(*t)).count();
    (inside >= LEAST).then_some(View { from_s, to_s, moved_s })
}

fn whole_view(subject: &Subject) -> Option<View> {
    let times = &subject.prediction.waveform.time_s;
    let (&from_s, &to_s) = (times.first()?, times.last()?);
    (to_s > from_s).then_some(View { from_s, to_s, moved_s: 0.0 })
}

/// The first transition, or all there is where there is none.
pub(super) fn close(scene: &mut Scene, subject: &Subject, top: f64) -> Option<Drawn> {
    let (view, heading) = match close_view(subject) {
        Some(view) => (view, "First transition"),
        None => (whole_view(subject)?, "Over time"),
    };
    draw(scene, subject, &view, heading, (top, 270.0));
    Some(Drawn { bottom: top + 270.0, describes: "Panel: the shown waveform against the true one." })
}

/// The whole stretch, where the close-up shows a small part of it only.
pub(super) fn whole(scene: &mut Scene, subject: &Subject, top: f64) -> Option<Drawn> {
    let (close, whole) = (close_view(subject)?, whole_view(subject)?);
    if whole.to_s - whole.from_s < CLEARLY * (close.to_s - close.from_s) {
        return None;
    }
    draw(scene, subject, &whole, "The whole", (top, 170.0));
    Some(Drawn { bottom: top + 170.0, describes: "Panel: the same over the whole stretch of time." })
}

fn draw(scene: &mut Scene, subject: &Subject, view: &View, heading: &str, (top, height): (f64, f64)) {
    let wave = &subject.prediction.waveform;
    let u = subject.prediction.doubts.as_ref().map(|d| &d.shown_v);
    let u = u.filter(|u| u.iter().any(|u| *u > 0.0) && u.iter().all(|u| u.is_finite()));
    let within = |t: f64| t >= view.from_s && t <= view.to_s;
    let shown: Vec<(f64, f64, f64)> = (0..wave.time_s.len())
        .map(|k| {
            (wave.time_s[k] - view.moved_s, wave.shown_v[k], u.map_or(0.0, |u| COVERAGE_FACTOR_95 * u[k]))
        })
        .filter(|(t, _, _)| within(*t))
        .collect();
    let truth: Vec<(f64, f64)> =
        wave.time_s.iter().copied().zip(wave.true_v.iter().copied()).filter(|(t, _)| within(*t)).collect();
    let values = truth.iter().map(|p| (p.1, 0.0)).chain(shown.iter().map(|p| (p.1, p.2)));
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (v, half)| {
        (low.min(v - half), high.max(v + half))
    });
    let (low, high) = if low <= high { (low, high) } else { (0.0, 0.0) };
    let panel = panel(top, height, (view.from_s, view.to_s), widened(low, high, 0.07));

    let (ticks, prefix) = linear(panel.y.0, panel.y.1, if height > 200.0 { 6 } else { 4 });
    panel.y_axis(scene, &ticks, &format!("voltage, {prefix}V"));
    let mut key = vec![(Mark::Line(TRUE), "true")];
    if u.is_some() {
        let upper: Vec<_> = shown.iter().map(|p| panel.at(p.0, p.1 + p.2)).collect();
        let lower: Vec<_> = shown.iter().map(|p| panel.at(p.0, p.1 - p.2)).collect();
        band(scene, &panel, &upper, &lower);
    }
    let on = |&(t, v): &(f64, f64)| panel.at(t, v);
    curve(scene, &panel, &shown.iter().map(|p| panel.at(p.0, p.1)).collect::<Vec<_>>(), SHOWN);
    curve(scene, &panel, &truth.iter().map(on).collect::<Vec<_>>(), TRUE);
    let moved = if view.moved_s.abs() > 0.0 {
        format!("shown, {} of delay taken out", plain(view.moved_s, "s", 3))
    } else {
        "shown".into()
    };
    key.push((Mark::Line(SHOWN), &moved));
    if u.is_some() {
        key.push((Mark::Band(SHOWN.paint.faded(0.28)), "95 % band"));
    }
    time_axis(scene, &panel);
    panel.heading(scene, heading, &key);
}

fn time_axis(scene: &mut Scene, panel: &Panel) {
    let (ticks, prefix) = linear(panel.x.0, panel.x.1, 8);
    let marks: Vec<_> = ticks.iter().map(|tick| (tick.at, tick.label.as_str())).collect();
    panel.x_axis(scene, &marks, &format!("time, {prefix}s"));
}
