//! The plot of one pairing: range and input on an axis, the 1 kHz square wave, the error against frequency.

use flattop_core::assessment;
use flattop_core::divider::Shelf;
use flattop_core::reach::Verdict;

use super::text::{left_sentence, next_sentence, verdict_sentence};
use super::{Pairing, capacitance, input_words, signed_percent};
use crate::plot::axis::{decades, linear, typographic};
use crate::plot::layout::{
    GAP, LEFT, RIGHT, WIDTH, colour, lines, on_paper, percent_ticks, verdict_mark, widened,
};
use crate::plot::panel::{Mark, Panel};
use crate::plot::scene::{Anchor, Dash, Paint, Scene, Shape, Stroke, text_width};
use crate::plot::{PngError, png as image, svg as document};

/// The plot as an SVG document.
pub fn svg(pairing: &Pairing) -> String {
    document::write(&scene(pairing))
}

/// The plot as a PNG image, two pixels for each unit of the SVG document.
///
/// # Errors
/// [`PngError`] when the drawing cannot be turned into an image.
pub fn png(pairing: &Pairing) -> Result<Vec<u8>, PngError> {
    image::render(&svg(pairing))
}

/// Frequency of the square wave, Hz.
const SQUARE_WAVE_HZ: f64 = 1e3;

fn scene(pairing: &Pairing) -> Scene {
    let mut scene = Scene {
        width: WIDTH,
        height: 0.0,
        title: verdict_sentence(pairing),
        description: format!(
            "{} {} Panels: compensation range and input on an axis of capacitance; a 1 kHz square wave at the best \
             setting against the ideal one; error of a sine's amplitude against its frequency.",
            left_sentence(pairing),
            next_sentence(pairing)
        ),
        shapes: Vec::new(),
    };
    let mut top = heading(&mut scene, pairing) + 54.0;
    capacitances(&mut scene, pairing, (top, top + 150.0));
    top += 150.0 + GAP;
    square_wave(&mut scene, pairing, (top, top + 220.0));
    top += 220.0 + GAP;
    sines(&mut scene, pairing, (top, top + 240.0));
    on_paper(scene, top + 240.0)
}

/// Verdict, what is left, what to do. Returns the y of the last line.
fn heading(scene: &mut Scene, pairing: &Pairing) -> f64 {
    let verdict = match pairing.reach.margin.verdict {
        Verdict::Reaches => assessment::Verdict::WithinTolerance,
        Verdict::MayReach => assessment::Verdict::Undetermined,
        Verdict::OutOfReach if pairing.reach.residual.error < 0.0 => assessment::Verdict::Undercompensated,
        Verdict::OutOfReach => assessment::Verdict::Overcompensated,
    };
    verdict_mark(scene, verdict, (LEFT - 34.0, 43.0));
    let mut y = 50.0;
    for line in lines(&verdict_sentence(pairing), 20.0) {
        scene.text((LEFT, y), 20.0, colour::INK, Anchor::Start, line);
        y += 27.0;
    }
    for text in [left_sentence(pairing), next_sentence(pairing)] {
        for line in lines(&typographic(&text.replace(" -", " −")), 15.0) {
            scene.text((LEFT, y), 15.0, colour::INK, Anchor::Start, line);
            y += 21.0;
        }
    }
    y - 21.0
}

const fn solid(paint: Paint, width: f64) -> Stroke {
    Stroke { paint, width, dash: Dash::Solid }
}

const fn dashed(paint: Paint, width: f64) -> Stroke {
    Stroke { paint, width, dash: Dash::Dashed }
}

/// Three lanes over one axis of capacitance: the range, the margin, the input.
fn capacitances(scene: &mut Scene, pairing: &Pairing, (top, bottom): (f64, f64)) {
    const PICO: f64 = 1e-12;
    let Pairing { probe, input, reach } = pairing;
    let range = probe.range;
    let (a, b, t) = (range.least_f / PICO, range.most_f / PICO, range.tolerance_f / PICO);
    let (c, u) = (input.nominal_f / PICO, input.tolerance_f / PICO);
    let (low, high) = widened((a - t).min(c - u), (b + t).max(c + u), 0.12);
    let panel = Panel { left: LEFT, right: RIGHT, top, bottom, x: (low.max(0.0), high), y: (0.0, 3.0) };
    let (ticks, _) = linear(panel.x.0, panel.x.1, 10);
    for (lane, name) in [(2.4, "range"), (1.4, "margin"), (0.5, "input")] {
        scene.text((LEFT - 12.0, panel.at_y(lane) + 4.0), 12.5, colour::INK, Anchor::End, name);
    }
    // The range: what is sure to be in it, and up to where the tolerance of the limits may carry it.
    let (upper, lower) = (2.8, 2.0);
    if t > 0.0 {
        let outer = (panel.at((a - t).max(panel.x.0), upper), panel.at(b + t, lower));
        scene.rectangle(outer.0, outer.1, colour::ALLOWED.faded(0.5));
    }
    if b - t > a + t {
        scene.rectangle(panel.at(a + t, upper), panel.at(b - t, lower), colour::ALLOWED);
    }
    let mut edges = vec![(a, solid(colour::ALLOWED_EDGE, 2.0)), (b, solid(colour::ALLOWED_EDGE, 2.0))];
    if t > 0.0 {
        edges.extend([a - t, a + t, b - t, b + t].map(|at| (at, dashed(colour::ALLOWED_EDGE, 1.0))));
    }
    for (at, stroke) in edges {
        if at >= panel.x.0 {
            scene.line(vec![panel.at(at, upper), panel.at(at, lower)], stroke);
        }
    }
    let words = format!("balances {} to {}", capacitance(range.least_f), capacitance(range.most_f));
    let tolerance = if t > 0.0 { format!(" ± {}", capacitance(range.tolerance_f)) } else { String::new() };
    let words = format!("{words}{tolerance}");
    let spans = (panel.at_x(a + t), panel.at_x(b - t));
    let mut key = Vec::new();
    if spans.1 - spans.0 > text_width(&words, 13.0) + 12.0 {
        let middle = 0.5 * (spans.0 + spans.1);
        scene.text(
            (middle, panel.at_y(2.4) + 4.5),
            13.0,
            colour::ALLOWED_EDGE,
            Anchor::Middle,
            words.as_str(),
        );
    } else {
        key.push((Mark::Line(solid(colour::ALLOWED_EDGE, 2.0)), words.as_str()));
    }
    panel.heading(scene, "Compensation range and input", &key);

    // The margin, between the input and the nearest limit.
    let limit = if c - a < b - c { a } else { b };
    let (from, to) = (panel.at_x(limit.min(c)), panel.at_x(limit.max(c)));
    let paint = if reach.margin.margin_f < 0.0 { colour::ERROR } else { colour::ALLOWED_EDGE };
    let y = panel.at_y(1.4);
    scene.line(vec![panel.at(limit, lower), panel.at(limit, 1.2)], solid(paint, 1.0));
    scene.line(vec![panel.at(c, 1.6), panel.at(c, 0.5)], solid(paint, 1.0));
    scene.line(vec![(from, y), (to, y)], solid(paint, 2.2));
    let place = if reach.margin.margin_f < 0.0 { "outside" } else { "inside" };
    let words = format!("{} {place}", capacitance(reach.margin.margin_f.abs()));
    let words = if reach.margin.tolerance_f > 0.0 {
        format!("{words}, tolerances {}", capacitance(reach.margin.tolerance_f))
    } else {
        words
    };
    beside(scene, (from, to), y, paint, &words);

    // The input with its tolerance.
    let y = panel.at_y(0.5);
    let stroke = solid(colour::FIT, 2.0);
    let ends = (panel.at_x((c - u).max(panel.x.0)), panel.at_x(c + u));
    if u > 0.0 {
        scene.line(vec![(ends.0, y), (ends.1, y)], stroke);
        for x in [ends.0, ends.1] {
            scene.line(vec![(x, y - 6.0), (x, y + 6.0)], stroke);
        }
    }
    scene.shapes.push(Shape::Disc { at: (panel.at_x(c), y), radius: 5.0, fill: colour::FIT });
    beside(scene, (ends.0 - 6.0, ends.1 + 6.0), y, colour::FIT, &input_words(*input));

    let marks: Vec<_> = ticks.iter().map(|tick| (tick.at, tick.label.as_str())).collect();
    panel.x_axis(scene, &marks, "input capacitance, pF");
}

/// Words to the right of a mark where they fit, else to its left, else above it.
fn beside(scene: &mut Scene, around: (f64, f64), y: f64, paint: Paint, words: &str) {
    let width = text_width(words, 13.0) + 10.0;
    let (x, y, anchor) = if around.1 + width < RIGHT {
        (around.1 + 10.0, y + 4.5, Anchor::Start)
    } else if around.0 - width > LEFT {
        (around.0 - 10.0, y + 4.5, Anchor::End)
    } else {
        (around.1 - 10.0, y - 9.0, Anchor::End)
    };
    scene.text((x, y), 13.0, paint, anchor, words);
}

/// The shelf with another e on the same tip: τz = R1·C1 stays, τp = τz/(1+e).
fn with_error(shelf: Shelf, error: f64) -> Shelf {
    Shelf { error, time_constant_s: shelf.time_constant_s * (1.0 + shelf.error) / (1.0 + error) }
}

/// Deviation of a settled square wave from the ideal one `t_s` after an edge, as a share of the step.
fn deviation(shelf: Shelf, t_s: f64) -> f64 {
    let (start, _) = shelf.square_wave_deviation(SQUARE_WAVE_HZ);
    start * (-t_s / shelf.time_constant_s).exp()
}

/// Percent range that holds all that e may be, and 1 % where that is nothing.
fn error_range(pairing: &Pairing) -> (f64, f64) {
    let (lowest, highest) = pairing.reach.residual.bounds;
    let (low, high) = (100.0 * lowest.min(0.0), 100.0 * highest.max(0.0));
    let span = high - low;
    if span > 0.0 { (low - 0.22 * span, high + 0.22 * span) } else { (-1.0, 1.0) }
}

/// The whole wave to the left, its flat top magnified to the right.
fn square_wave(scene: &mut Scene, pairing: &Pairing, (top, bottom): (f64, f64)) {
    let residual = &pairing.reach.residual;
    let half_s = 0.5 / SQUARE_WAVE_HZ;
    let ideal = dashed(colour::AXIS, 1.4);
    let shown = solid(colour::ERROR, 2.2);
    let middle = 0.5 * (LEFT + RIGHT);

    let whole = Panel {
        left: LEFT,
        right: middle - 40.0,
        top,
        bottom,
        x: (-0.25 / SQUARE_WAVE_HZ, 1.25 / SQUARE_WAVE_HZ),
        y: (-0.15, 1.15),
    };
    let (ticks, _) = linear(0.0, 1.0, 4);
    whole.y_axis(scene, &ticks, "share of the step");
    // High from 0 to half a period, low before and after, high again from a whole period on.
    let (mut wave, mut square) = (Vec::new(), Vec::new());
    for (edge_s, level, way) in
        [(-half_s, 0.0, -1.0), (0.0, 1.0, 1.0), (half_s, 0.0, -1.0), (2.0 * half_s, 1.0, 1.0)]
    {
        for k in 0..=100 {
            let after_s = half_s * f64::from(k) / 100.0;
            let t_s = edge_s + after_s;
            if t_s >= whole.x.0 - 1e-12 && t_s <= whole.x.1 + 1e-12 {
                wave.push(whole.at(t_s, level + way * deviation(residual.shelf, after_s)));
                square.push(whole.at(t_s, level));
            }
        }
    }
    scene.line(square, ideal);
    scene.line(wave, shown);
    time_axis(scene, &whole, "time");
    whole.heading(
        scene,
        "1 kHz square wave",
        &[(Mark::Line(ideal), "ideal"), (Mark::Line(shown), "as shown")],
    );

    let top_part =
        Panel { left: middle + 66.0, right: RIGHT, x: (0.0, half_s), y: error_range(pairing), ..whole };
    let (ticks, _) = linear(top_part.y.0, top_part.y.1, 5);
    top_part.y_axis(scene, &percent_ticks(ticks), "off the ideal, %");
    let times: Vec<f64> = (0..=120).map(|k| half_s * f64::from(k) / 120.0).collect();
    let curve = |error: f64| {
        let shelf = with_error(residual.shelf, error);
        times.iter().map(|&t_s| top_part.at(t_s, 100.0 * deviation(shelf, t_s))).collect::<Vec<_>>()
    };
    let (lowest, highest) = residual.bounds;
    let band = colour::ERROR.faded(0.28);
    let mut key = Vec::new();
    if highest > lowest {
        scene.area(curve(highest).into_iter().chain(curve(lowest).into_iter().rev()).collect(), band);
        key.push((Mark::Band(band), "tolerances"));
    }
    scene.line(vec![top_part.at(0.0, 0.0), top_part.at(half_s, 0.0)], ideal);
    scene.line(curve(residual.error), shown);
    time_axis(scene, &top_part, "time after the edge");
    top_part.heading(scene, "Its flat top, magnified", &key);
}

fn time_axis(scene: &mut Scene, panel: &Panel, title: &str) {
    let (ticks, prefix) = linear(panel.x.0, panel.x.1, 6);
    let marks: Vec<_> = ticks.iter().map(|tick| (tick.at, tick.label.as_str())).collect();
    panel.x_axis(scene, &marks, &format!("{title}, {prefix}s"));
}

/// Error of a sine's amplitude, with what the tolerances allow and the figures at the stated frequencies.
fn sines(scene: &mut Scene, pairing: &Pairing, (top, bottom): (f64, f64)) {
    const DECADES: (f64, f64) = (2.0, 7.0);
    let residual = &pairing.reach.residual;
    let panel = Panel { left: LEFT, right: RIGHT, top, bottom, x: DECADES, y: error_range(pairing) };
    let (ticks, _) = linear(panel.y.0, panel.y.1, 6);
    panel.y_axis(scene, &percent_ticks(ticks), "amplitude error, %");
    let frequencies = decades(1e2, 1e7, "Hz");
    for tick in &frequencies {
        let x = panel.at_x(tick.at.log10());
        scene.line(vec![(x, top), (x, bottom)], solid(colour::HAIR, 1.0));
    }
    let curve = |error: f64| {
        let shelf = with_error(residual.shelf, error);
        (0..=200)
            .map(|k| DECADES.0 + (DECADES.1 - DECADES.0) * f64::from(k) / 200.0)
            .map(|log_f| panel.at(log_f, 100.0 * shelf.amplitude_error(10f64.powf(log_f))))
            .collect::<Vec<_>>()
    };
    let (lowest, highest) = residual.bounds;
    let band = colour::ERROR.faded(0.28);
    let stroke = solid(colour::ERROR, 2.2);
    let mut key = vec![(Mark::Line(stroke), "as stated")];
    if highest > lowest {
        scene.area(curve(highest).into_iter().chain(curve(lowest).into_iter().rev()).collect(), band);
        key.push((Mark::Band(band), "what the tolerances allow"));
    }
    let zero = dashed(colour::AXIS, 1.4);
    scene.line(vec![panel.at(DECADES.0, 0.0), panel.at(DECADES.1, 0.0)], zero);
    scene.line(curve(residual.error), stroke);
    // The figures stand on the side of nil, where the band is not.
    let above = pairing.worst_error() <= 0.0;
    for sine in &pairing.reach.sine_errors {
        let (x, y) = panel.at(sine.frequency_hz.log10(), 100.0 * sine.error);
        scene.shapes.push(Shape::Disc { at: (x, y), radius: 3.5, fill: colour::ERROR });
        let nil = panel.at_y(0.0);
        let y = if above { nil - 8.0 } else { nil + 18.0 };
        let words = typographic(&signed_percent(sine.error, 3));
        scene.text((x, y), 13.0, colour::INK, Anchor::Middle, words);
    }
    let marks: Vec<_> = frequencies.iter().map(|tick| (tick.at.log10(), tick.label.as_str())).collect();
    panel.x_axis(scene, &marks, "frequency of a sine");
    panel.heading(scene, "Error against frequency", &key);
}
