//! Against frequency: error of the gain, impedance at the contact.

use super::{Drawn, SHOWN, band, curve, panel};
use crate::format::plain_percent;
use crate::plot::axis::{decades, linear};
use crate::plot::layout::{colour, percent_ticks, widened};
use crate::plot::panel::{Mark, Panel};
use crate::plot::scene::{Dash, Scene, Shape, Stroke};
use crate::prediction::Subject;
use crate::subject::COVERAGE_FACTOR_95;

/// A resonance higher than this is cut off: it would flatten all else.
const HIGHEST_ERROR: f64 = 1.5;

/// Points above 0 Hz as (log10 of the frequency, index), from low to high; `None` for fewer than two.
fn axis(subject: &Subject) -> Option<Vec<(f64, usize)>> {
    let mut points: Vec<(f64, usize)> = subject
        .frequency_hz
        .iter()
        .enumerate()
        .filter(|(k, f)| **f > 0.0 && *k < subject.prediction.response.len())
        .map(|(k, f)| (f.log10(), k))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let span = points.last()?.0 - points.first()?.0;
    (span > 0.01).then_some(points)
}

/// Error of the gain against the node without the probe.
pub(super) fn gain(scene: &mut Scene, subject: &Subject, top: f64) -> Option<Drawn> {
    const HEIGHT: f64 = 240.0;
    let points = axis(subject)?;
    let found = &subject.prediction;
    let u = found.doubts.as_ref().map(|d| &d.gain_at_node).filter(|u| u.iter().all(|u| u.is_finite()));
    let rows: Vec<(f64, f64, f64)> = points
        .iter()
        .map(|&(x, k)| (x, found.gain_at_node[k] - 1.0, u.map_or(0.0, |u| COVERAGE_FACTOR_95 * u[k])))
        .filter(|(_, error, _)| error.is_finite())
        .collect();
    let accepted = found.limits.accepted_error;
    let (mut low, mut high) = (-1.5 * accepted, 1.5 * accepted);
    for (_, error, half) in &rows {
        low = low.min(error - half).max(-1.0);
        high = high.max(error + half).min(HIGHEST_ERROR);
    }
    let x = (points.first()?.0, points.last()?.0);
    let panel = panel(top, HEIGHT, x, widened(100.0 * low, 100.0 * high, 0.05));
    // Hairlines lie below everything else.
    frequency_axis(scene, &panel);
    let ((x0, y0), (x1, y1)) = (panel.at(x.0, 100.0 * accepted), panel.at(x.1, -100.0 * accepted));
    scene.rectangle((x0, y0), (x1, y1), colour::ALLOWED);
    let (ticks, _) = linear(panel.y.0, panel.y.1, 6);
    panel.y_axis(scene, &percent_ticks(ticks), "gain error, %");
    let edge = Stroke { paint: colour::ALLOWED_EDGE, width: 1.2, dash: Dash::Dashed };
    scene.line(vec![(x0, y0), (x1, y0)], edge);
    scene.line(vec![(x0, y1), (x1, y1)], edge);
    let on = |x: f64, share: f64| panel.at(x, 100.0 * share);
    if u.is_some() {
        let upper: Vec<_> = rows.iter().map(|r| on(r.0, r.1 + r.2)).collect();
        let lower: Vec<_> = rows.iter().map(|r| on(r.0, r.1 - r.2)).collect();
        band(scene, &panel, &upper, &lower);
    }
    let line: Vec<_> = rows.iter().map(|r| on(r.0, r.1)).collect();
    draw(scene, &panel, &line, SHOWN);
    let allowed = format!("accepted error ± {}", plain_percent(accepted, 3));
    let mut key = vec![(Mark::Line(SHOWN), "shown against the node without the probe")];
    if u.is_some() {
        key.push((Mark::Band(SHOWN.paint.faded(0.28)), "95 % band"));
    }
    key.push((Mark::Line(edge), allowed.as_str()));
    panel.heading(scene, "Sines", &key);
    Some(Drawn {
        bottom: panel.bottom,
        describes: "Panel: error of a sine's amplitude against its frequency, with the accepted error.",
    })
}

/// Impedance from the node into the contact.
pub(super) fn impedance(scene: &mut Scene, subject: &Subject, top: f64) -> Option<Drawn> {
    const HEIGHT: f64 = 180.0;
    let points = axis(subject)?;
    let rows: Vec<(f64, f64)> = points
        .iter()
        .map(|&(x, k)| (x, subject.prediction.response[k].impedance_ohm.log10()))
        .filter(|(_, z)| z.is_finite())
        .collect();
    let low = rows.iter().map(|r| r.1).fold(f64::INFINITY, f64::min);
    let high = rows.iter().map(|r| r.1).fold(f64::NEG_INFINITY, f64::max);
    let x = (points.first()?.0, points.last()?.0);
    let y = if low <= high { widened(low, high, 0.06) } else { return None };
    let panel = panel(top, HEIGHT, x, y);
    frequency_axis(scene, &panel);
    let mut ticks = decades(10f64.powf(y.0), 10f64.powf(y.1), "Ω");
    for tick in &mut ticks {
        tick.at = tick.at.log10();
    }
    panel.y_axis(scene, &ticks, "impedance");
    let stroke = Stroke { paint: colour::FIT, width: 2.0, dash: Dash::Solid };
    let line: Vec<_> = rows.iter().map(|r| panel.at(r.0, r.1)).collect();
    draw(scene, &panel, &line, stroke);
    // What a resistive node can be loaded with: where the node's own resistance stands.
    let node = subject.chain.node.resistance_ohm.log10();
    let mut key = vec![(Mark::Line(stroke), "magnitude at the contact")];
    if node > y.0 && node < y.1 {
        let own = Stroke { paint: colour::MUTED, width: 1.2, dash: Dash::Dashed };
        scene.line(vec![panel.at(x.0, node), panel.at(x.1, node)], own);
        key.push((Mark::Line(own), "resistance of the node"));
    }
    panel.heading(scene, "What the probe is to the circuit", &key);
    Some(Drawn { bottom: panel.bottom, describes: "Panel: impedance at the contact against frequency." })
}

/// A curve, with a dot at each point where they are few.
fn draw(scene: &mut Scene, panel: &Panel, line: &[(f64, f64)], stroke: Stroke) {
    curve(scene, panel, line, stroke);
    if line.len() <= 24 {
        for &at in line.iter().filter(|p| (panel.top..=panel.bottom).contains(&p.1)) {
            scene.shapes.push(Shape::Disc { at, radius: 3.0, fill: stroke.paint });
        }
    }
}

fn frequency_axis(scene: &mut Scene, panel: &Panel) {
    let mut ticks = decades(10f64.powf(panel.x.0), 10f64.powf(panel.x.1), "Hz");
    if ticks.len() < 2 {
        let (linear, prefix) = linear(10f64.powf(panel.x.0), 10f64.powf(panel.x.1), 5);
        ticks = linear;
        ticks.retain(|t| t.at > 0.0);
        for tick in &mut ticks {
            tick.label = format!("{} {prefix}Hz", tick.label);
        }
    }
    let hair = Stroke { paint: colour::HAIR, width: 1.0, dash: Dash::Solid };
    for tick in &ticks {
        let x = panel.at_x(tick.at.log10());
        scene.line(vec![(x, panel.top), (x, panel.bottom)], hair);
    }
    let marks: Vec<_> = ticks.iter().map(|t| (t.at.log10(), t.label.as_str())).collect();
    panel.x_axis(scene, &marks, "frequency of a sine");
}
