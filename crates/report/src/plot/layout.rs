//! Where everything stands: heading, record, residual, error against frequency.

use flattop_core::assessment::{Compensation, MeasuredPoint, Trace, Verdict};

use super::axis::{decades, linear, typographic};
use super::panel::{Mark, Panel};
use super::scene::{Anchor, Dash, Paint, Scene, Shape, Stroke, text_width};
use crate::format::{percent, plain, plain_percent};
use crate::subject::{COVERAGE_FACTOR_95, Method, Subject};
use crate::text::{turn_sentence, verdict_sentence};

/// The palette. Told apart by lightness as well as by hue: blue against orange stays distinct with every common
/// colour-vision deficiency.
pub(crate) mod colour {
    use super::Paint;

    pub(crate) const PAPER: Paint = Paint::solid([255, 255, 255]);
    pub(crate) const INK: Paint = Paint::solid([24, 32, 42]);
    pub(crate) const MUTED: Paint = Paint::solid([84, 94, 106]);
    pub(crate) const AXIS: Paint = Paint::solid([120, 130, 142]);
    pub(crate) const HAIR: Paint = Paint::solid([228, 232, 236]);
    pub(crate) const RECORD: Paint = Paint::solid([150, 178, 205]);
    pub(crate) const FIT: Paint = Paint::solid([14, 62, 108]);
    pub(crate) const ERROR: Paint = Paint::solid([186, 78, 8]);
    pub(crate) const LEFT_OUT: Paint = Paint::solid([240, 236, 226]);
    pub(crate) const ALLOWED: Paint = Paint::solid([226, 236, 230]);
    pub(crate) const ALLOWED_EDGE: Paint = Paint::solid([70, 120, 96]);
}

pub(crate) const WIDTH: f64 = 960.0;
pub(crate) const LEFT: f64 = 96.0;
pub(crate) const RIGHT: f64 = WIDTH - 36.0;
/// From the end of one panel to the start of the next: tick labels, axis title, heading.
pub(crate) const GAP: f64 = 92.0;

/// The whole drawing of one assessment.
pub(crate) fn scene(subject: &Subject) -> Scene {
    let found = &subject.assessment;
    let mut scene = Scene {
        width: WIDTH,
        height: 0.0,
        title: format!("{} {}", verdict_sentence(subject), subject.file),
        description: description(subject),
        shapes: Vec::new(),
    };
    let mut top = heading(&mut scene, subject) + 54.0;
    if !found.trace.time_s.is_empty() {
        top = record_and_residual(&mut scene, subject, top) + GAP;
    }
    if let Some(compensation) = &found.compensation {
        error(&mut scene, compensation, found.tolerance, &found.measured_response, (top, top + 270.0));
        top += 270.0 + GAP;
    }
    on_paper(scene, top - GAP)
}

/// Record and residual alone, without a heading; `None` when there is no record to draw.
pub fn record_scene(subject: &Subject) -> Option<Scene> {
    if subject.assessment.trace.time_s.is_empty() {
        return None;
    }
    let mut scene = empty(
        "Record, fit and residual",
        "Panel: the record over time, with the fitted response where there is one, and what is left between them.",
    );
    let bottom = record_and_residual(&mut scene, subject, 38.0);
    Some(on_paper(scene, bottom))
}

/// Error against frequency alone, without a heading; it needs no capture.
pub fn error_scene(compensation: &Compensation, tolerance: f64, measured: &[MeasuredPoint]) -> Scene {
    let mut scene = empty(
        "Error against frequency",
        "Panel: error of a sine's amplitude against its frequency, with a 95 % band and the tolerance.",
    );
    error(&mut scene, compensation, tolerance, measured, (38.0, 288.0));
    on_paper(scene, 288.0)
}

/// The mark of a verdict alone: its shape tells it, colour is not needed.
pub fn verdict_scene(verdict: Verdict) -> Scene {
    let name = crate::subject::verdict_code(verdict).replace('-', " ");
    let mut scene = Scene { width: 26.0, height: 26.0, ..empty(&name, &name) };
    verdict_mark(&mut scene, verdict, (13.0, 13.0));
    scene
}

pub(crate) fn empty(title: &str, description: &str) -> Scene {
    let (title, description) = (title.into(), description.into());
    Scene { width: WIDTH, height: 0.0, title, description, shapes: Vec::new() }
}

/// Both panels below `top`. Returns the y of their end.
fn record_and_residual(scene: &mut Scene, subject: &Subject, top: f64) -> f64 {
    let has_fit = subject.assessment.trace.fit.iter().any(|v| v.is_finite());
    let height = if has_fit { 250.0 } else { 380.0 };
    let panel = record(scene, subject, has_fit, (top, top + height));
    if !has_fit {
        return top + height;
    }
    let top = top + height + GAP;
    let bar = (top - 36.0, top + 94.0);
    residual(scene, subject, panel, bar);
    bar.1
}

/// The drawing with its paper behind it, high enough for the last panel, which ends at `bottom`.
pub(crate) fn on_paper(mut scene: Scene, bottom: f64) -> Scene {
    scene.height = (bottom + 62.0).round();
    let paper = Shape::Area {
        points: vec![(0.0, 0.0), (WIDTH, 0.0), (WIDTH, scene.height), (0.0, scene.height)],
        fill: colour::PAPER,
    };
    scene.shapes.insert(0, paper);
    scene
}

fn description(subject: &Subject) -> String {
    let mut parts = vec![verdict_sentence(subject)];
    parts.extend(turn_sentence(subject));
    if !subject.assessment.trace.time_s.is_empty() {
        parts.push("Panel: the record over time, with the fitted response where there is one.".into());
    }
    if subject.assessment.compensation.is_some() {
        parts.push("Panel: error of a sine's amplitude against its frequency, with a 95 % band.".into());
    }
    parts.join(" ")
}

/// Verdict, what to turn, and where it came from. Returns the y below it.
fn heading(scene: &mut Scene, subject: &Subject) -> f64 {
    verdict_mark(scene, subject.assessment.verdict, (LEFT - 34.0, 43.0));
    let mut y = 50.0;
    for line in lines(&verdict_sentence(subject), 20.0) {
        scene.text((LEFT, y), 20.0, colour::INK, Anchor::Start, line);
        y += 27.0;
    }
    let next = turn_sentence(subject).or_else(|| Some(format!("Do next: {}", subject.remedy()?)));
    for line in next.iter().flat_map(|text| lines(text, 15.0)) {
        scene.text((LEFT, y), 15.0, colour::INK, Anchor::Start, line);
        y += 21.0;
    }
    let mut facts = Vec::new();
    if !subject.file.is_empty() {
        facts.push(subject.file.clone());
    }
    if subject.method == Method::ByEye {
        facts.push("read off the screen".into());
    }
    if let Some(wave) = &subject.assessment.square_wave {
        facts.extend(wave.frequency_hz.map(|f| format!("square wave of {}", plain(f.value, "Hz", 4))));
        facts.push(format!("{} edges", wave.edges));
    }
    if let Some(record) = &subject.record {
        facts.push(format!("{} points, {} apart", record.points, plain(record.interval_s, "s", 4)));
    }
    for line in lines(&facts.join("  ·  "), 13.0) {
        scene.text((LEFT, y + 2.0), 13.0, colour::MUTED, Anchor::Start, line);
        y += 18.0;
    }
    y - 18.0
}

/// A mark whose shape tells the verdict: triangle down low, triangle up high, disc within, ring segments unknown.
pub(crate) fn verdict_mark(scene: &mut Scene, verdict: Verdict, (x, y): (f64, f64)) {
    let r = 11.0;
    match verdict {
        Verdict::Undercompensated => {
            scene.area(vec![(x - r, y - 0.7 * r), (x + r, y - 0.7 * r), (x, y + r)], colour::ERROR);
        }
        Verdict::Overcompensated => {
            scene.area(vec![(x - r, y + 0.7 * r), (x + r, y + 0.7 * r), (x, y - r)], colour::ERROR);
        }
        Verdict::WithinTolerance => {
            scene.shapes.push(Shape::Disc { at: (x, y), radius: 0.9 * r, fill: colour::ALLOWED_EDGE });
            let tick = Stroke { paint: colour::PAPER, width: 2.5, dash: Dash::Solid };
            scene.line(vec![(x - 4.5, y + 0.5), (x - 1.0, y + 4.0), (x + 5.0, y - 3.5)], tick);
        }
        Verdict::Undetermined => {
            scene.shapes.push(Shape::Disc { at: (x, y), radius: 0.9 * r, fill: colour::MUTED });
            scene.text((x, y + 5.5), 15.0, colour::PAPER, Anchor::Middle, "?");
        }
    }
}

/// Text broken into lines that fit between the margins.
pub(crate) fn lines(text: &str, size: f64) -> Vec<String> {
    let room = (1.08 * (RIGHT - LEFT) / text_width("n", size)) as usize;
    crate::text::wrapped(text, room)
}

/// The record as the band between its extremes, and the fit as a line. Returns the panel, for its time axis.
fn record(scene: &mut Scene, subject: &Subject, has_fit: bool, (top, bottom): (f64, f64)) -> Panel {
    let trace = &subject.assessment.trace;
    let finite = |values: &[f64]| values.iter().copied().filter(|v| v.is_finite()).collect::<Vec<_>>();
    let low = finite(&trace.lowest).into_iter().fold(f64::INFINITY, f64::min);
    let high = finite(&trace.highest).into_iter().fold(f64::NEG_INFINITY, f64::max);
    let (low, high) = if low <= high { (low, high) } else { (0.0, 0.0) };
    let half_stretch_s = 0.5 * stretch_s(trace);
    let first = trace.time_s.first().map_or(0.0, |t| t - half_stretch_s);
    let last = trace.time_s.last().map_or(1.0, |t| t + half_stretch_s);
    let panel = Panel {
        left: LEFT,
        right: RIGHT,
        top,
        bottom,
        x: widened(first, last, 0.0),
        y: widened(low, high, 0.08),
    };

    if has_fit {
        shade_left_out(scene, trace, &panel);
    }
    let (ticks, prefix) = linear(panel.y.0, panel.y.1, 6);
    panel.y_axis(scene, &ticks, &format!("voltage, {prefix}V"));

    for run in runs(trace.time_s.len(), |i| trace.lowest[i].is_finite() && trace.highest[i].is_finite()) {
        let upper = run.clone().map(|i| panel.at(trace.time_s[i], trace.highest[i]));
        let lower = run.rev().map(|i| panel.at(trace.time_s[i], trace.lowest[i]));
        let outline: Vec<_> = upper.chain(lower).collect();
        // A hairline around the band keeps it visible where it is thinner than a pixel.
        let mut closed = outline.clone();
        closed.extend(outline.first());
        scene.line(closed, Stroke { paint: colour::RECORD, width: 1.0, dash: Dash::Solid });
        scene.area(outline, colour::RECORD);
    }
    let fit = Stroke { paint: colour::FIT, width: 1.8, dash: Dash::Solid };
    for run in runs(trace.fit.len(), |i| trace.fit[i].is_finite()) {
        scene.line(run.map(|i| panel.at(trace.time_s[i], trace.fit[i])).collect(), fit);
    }
    let mut key = vec![(Mark::Band(colour::RECORD), "lowest to highest sample")];
    if has_fit {
        key.push((Mark::Line(fit), "fit"));
        key.push((Mark::Band(colour::LEFT_OUT), "left out"));
        time_axis(scene, &panel, "");
    } else {
        time_axis(scene, &panel, "time");
    }
    let whole_s = subject.record.as_ref().map_or(0.0, |r| r.points as f64 * r.interval_s);
    let heading = if last - first < 0.9 * whole_s { "Record, its first periods" } else { "Record" };
    panel.heading(scene, heading, &key);
    panel
}

/// Mean of the record minus the fit, on the time axis of the record's panel.
fn residual(scene: &mut Scene, subject: &Subject, above: Panel, (top, bottom): (f64, f64)) {
    let trace = &subject.assessment.trace;
    let residual: Vec<f64> = trace.mean.iter().zip(&trace.fit).map(|(mean, fit)| mean - fit).collect();
    let largest = residual.iter().copied().filter(|r| r.is_finite()).fold(0.0, |a: f64, r| a.max(r.abs()));
    // The mean of n samples of white noise σ has standard deviation σ/√n. Long stretches are averaged over a share of
    // their samples only, 256 at least.
    let samples = subject.record.as_ref().map_or(1.0, |r| stretch_s(trace) / r.interval_s).clamp(1.0, 256.0);
    let noise = subject.assessment.square_wave.map(|w| COVERAGE_FACTOR_95 * w.noise_rms / samples.sqrt());
    // Against a reference column its noise is in the residual, too, and is not known apart.
    let noise = noise.filter(|n| n.is_finite() && *n > 0.0 && subject.method != Method::Reference);
    let reach = largest.max(noise.unwrap_or(0.0));
    let panel = Panel { top, bottom, y: widened(-reach, reach, 0.1), ..above };

    shade_left_out(scene, trace, &panel);
    if let Some(noise) = noise {
        let ((x0, y0), (x1, y1)) = (panel.at(panel.x.0, noise), panel.at(panel.x.1, -noise));
        scene.rectangle((x0, y0), (x1, y1), colour::RECORD.faded(0.35));
    }
    let (ticks, prefix) = linear(panel.y.0, panel.y.1, 4);
    panel.y_axis(scene, &ticks, &format!("residual, {prefix}V"));
    let stroke = Stroke { paint: colour::FIT, width: 1.2, dash: Dash::Solid };
    for run in runs(residual.len(), |i| residual[i].is_finite()) {
        scene.line(run.map(|i| panel.at(trace.time_s[i], residual[i])).collect(), stroke);
    }
    let mut key = vec![(Mark::Line(stroke), "mean of record − fit")];
    if noise.is_some() {
        key.push((Mark::Band(colour::RECORD.faded(0.35)), "95 % of noise alone"));
    }
    time_axis(scene, &panel, "time");
    panel.heading(scene, "Residual", &key);
}

/// Error of a sine's amplitude against its frequency, with its 95 % band and the tolerance.
fn error(
    scene: &mut Scene,
    compensation: &Compensation,
    tolerance: f64,
    points: &[MeasuredPoint],
    (top, bottom): (f64, f64),
) {
    const DECADES: (f64, f64) = (1.0, 8.0);
    let steps = 280;
    let curve: Vec<(f64, f64, f64)> = (0..=steps)
        .map(|k| DECADES.0 + (DECADES.1 - DECADES.0) * f64::from(k) / f64::from(steps))
        .map(|log_f| (log_f, compensation.response_at(10f64.powf(log_f)).amplitude_error))
        .map(|(log_f, e)| (log_f, e.value, COVERAGE_FACTOR_95 * e.standard_uncertainty))
        .filter(|(_, value, half)| value.is_finite() && half.is_finite())
        .collect();
    // Measured gains are relative to the one at the lowest frequency; that one is set on the curve.
    let lowest_hz = points.iter().map(|p| p.frequency_hz).fold(f64::INFINITY, f64::min);
    let scale = 1.0 + compensation.response_at(lowest_hz).amplitude_error.value;
    let measured: Vec<(f64, f64, f64)> = points
        .iter()
        .map(|p| (p.frequency_hz.log10(), p.relative_gain))
        .map(|(log_f, gain)| (log_f, scale * gain.value - 1.0, scale * gain.standard_uncertainty))
        .map(|(log_f, value, u)| (log_f, value, COVERAGE_FACTOR_95 * u))
        .filter(|(log_f, value, half)| (DECADES.0..=DECADES.1).contains(log_f) && (value + half).is_finite())
        .collect();
    let (mut low, mut high) = (-1.5 * tolerance, 1.5 * tolerance);
    for (_, value, half) in curve.iter().chain(&measured) {
        low = low.min(value - half);
        high = high.max(value + half);
    }
    let percent_range = widened(100.0 * low, 100.0 * high, 0.06);
    let panel = Panel { left: LEFT, right: RIGHT, top, bottom, x: DECADES, y: percent_range };

    let ((x0, y0), (x1, y1)) =
        (panel.at(DECADES.0, 100.0 * tolerance), panel.at(DECADES.1, -100.0 * tolerance));
    scene.rectangle((x0, y0), (x1, y1), colour::ALLOWED);
    let (ticks, _) = linear(panel.y.0, panel.y.1, 6);
    panel.y_axis(scene, &percent_ticks(ticks), "amplitude error, %");
    let frequencies = decades(10.0, 1e8, "Hz");
    for tick in &frequencies {
        let x = panel.at_x(tick.at.log10());
        scene
            .line(vec![(x, top), (x, bottom)], Stroke { paint: colour::HAIR, width: 1.0, dash: Dash::Solid });
    }
    let edge = Stroke { paint: colour::ALLOWED_EDGE, width: 1.2, dash: Dash::Dashed };
    scene.line(vec![(x0, y0), (x1, y0)], edge);
    scene.line(vec![(x0, y1), (x1, y1)], edge);

    let band = colour::ERROR.faded(0.28);
    let upper = curve.iter().map(|&(log_f, value, half)| panel.at(log_f, 100.0 * (value + half)));
    let lower = curve.iter().rev().map(|&(log_f, value, half)| panel.at(log_f, 100.0 * (value - half)));
    scene.area(upper.chain(lower).collect(), band);
    let stroke = Stroke { paint: colour::ERROR, width: 2.2, dash: Dash::Solid };
    scene.line(curve.iter().map(|&(log_f, value, _)| panel.at(log_f, 100.0 * value)).collect(), stroke);
    for &(log_f, value, half) in &measured {
        let bar = vec![panel.at(log_f, 100.0 * (value - half)), panel.at(log_f, 100.0 * (value + half))];
        scene.line(bar, Stroke { paint: colour::FIT, width: 1.2, dash: Dash::Solid });
        scene.shapes.push(Shape::Disc { at: panel.at(log_f, 100.0 * value), radius: 3.0, fill: colour::FIT });
    }
    if let Some(&(_, value, half)) = curve.last() {
        // Beside the curve, on the side where there is more room.
        let above = 100.0 * value - panel.y.0 < panel.y.1 - 100.0 * value;
        let (_, y) = if above {
            panel.at(DECADES.1, 100.0 * (value + half))
        } else {
            panel.at(DECADES.1, 100.0 * (value - half))
        };
        let label = format!("e = {}", typographic(&percent(compensation.error).signed().with_units()));
        let y = if above { y - 9.0 } else { y + 19.0 };
        scene.text((panel.right - 8.0, y), 14.0, colour::ERROR, Anchor::End, label);
    }
    let ticks: Vec<_> = frequencies.iter().map(|tick| (tick.at.log10(), tick.label.as_str())).collect();
    panel.x_axis(scene, &ticks, "frequency of a sine");
    let allowed = format!("tolerance ± {}", plain_percent(tolerance, 3));
    let mut key = vec![(Mark::Line(stroke), "estimate"), (Mark::Band(band), "95 % band")];
    if !measured.is_empty() {
        key.push((Mark::Dot(colour::FIT), "measured, the lowest set on the curve"));
    }
    key.push((Mark::Line(edge), allowed.as_str()));
    panel.heading(scene, "Error against frequency", &key);
}

/// The ticks of an axis in percent never take a prefix.
pub(crate) fn percent_ticks(ticks: Vec<super::axis::Tick>) -> Vec<super::axis::Tick> {
    let step = if ticks.len() > 1 { ticks[1].at - ticks[0].at } else { 1.0 };
    let places = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
    let relabelled = |tick: super::axis::Tick| super::axis::Tick {
        label: typographic(&format!("{:.places$}", tick.at)),
        at: tick.at,
    };
    ticks.into_iter().map(relabelled).collect()
}

fn time_axis(scene: &mut Scene, panel: &Panel, title: &str) {
    let (ticks, prefix) = linear(panel.x.0, panel.x.1, 8);
    let hidden = title.is_empty();
    let marks: Vec<_> =
        ticks.iter().map(|tick| (tick.at, if hidden { "" } else { tick.label.as_str() })).collect();
    let title = if hidden { String::new() } else { format!("{title}, {prefix}s") };
    panel.x_axis(scene, &marks, &title);
}

/// Shades the stretches that the fit leaves out.
fn shade_left_out(scene: &mut Scene, trace: &Trace, panel: &Panel) {
    let half = 0.5 * stretch_s(trace);
    for run in runs(trace.fit.len(), |i| trace.fit[i].is_nan()) {
        let (first, last) = (trace.time_s[run.start] - half, trace.time_s[run.end - 1] + half);
        scene.rectangle(
            (panel.at_x(first.max(panel.x.0)), panel.top),
            (panel.at_x(last.min(panel.x.1)), panel.bottom),
            colour::LEFT_OUT,
        );
    }
}

/// Mean distance between the stretches of a trace, s.
fn stretch_s(trace: &Trace) -> f64 {
    match (trace.time_s.first(), trace.time_s.last()) {
        (Some(first), Some(last)) if trace.time_s.len() > 1 => {
            (last - first) / (trace.time_s.len() - 1) as f64
        }
        _ => 1.0,
    }
}

/// Maximal runs of indices for which `holds`.
fn runs(len: usize, holds: impl Fn(usize) -> bool) -> Vec<std::ops::Range<usize>> {
    let mut found = Vec::new();
    let mut start = None;
    for i in 0..=len {
        let here = i < len && holds(i);
        match start {
            None if here => start = Some(i),
            Some(first) if !here => {
                found.push(first..i);
                start = None;
            }
            _ => {}
        }
    }
    found
}

/// A range with a share of room on both sides, never empty.
pub(crate) fn widened(low: f64, high: f64, share: f64) -> (f64, f64) {
    let span = high - low;
    if span > 0.0 && span.is_finite() {
        (low - share * span, high + share * span)
    } else {
        let room = low.abs().max(1e-3) * 0.5;
        (low - room, low + room)
    }
}
