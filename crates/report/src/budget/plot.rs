//! The plot of a budget: contributions as bars, the distribution with its intervals, and over frequency where there are several.

use flattop_core::uncertainty::reading::BudgetResult;

use super::Subject;
use super::text::{headline, name, share, short};
use crate::format::{plain_percent, prefix_for, significant};
use crate::plot::axis::{decades, linear, typographic};
use crate::plot::layout::{GAP, LEFT, RIGHT, WIDTH, colour, on_paper, widened};
use crate::plot::panel::{Mark, Panel};
use crate::plot::scene::{Anchor, Dash, Paint, Scene, Stroke};
use crate::plot::{PngError, png as image, svg as document};
use crate::text::{capitalised, wrapped};

/// The plot as an SVG document.
pub fn svg(subject: &Subject) -> String {
    document::write(&scene(subject))
}

/// The plot as a PNG image, two pixels for each unit of the SVG document.
///
/// # Errors
/// [`PngError`] when the drawing cannot be turned into an image.
pub fn png(subject: &Subject) -> Result<Vec<u8>, PngError> {
    image::render(&svg(subject))
}

/// Most inputs that get a bar.
const BARS: usize = 10;
/// Height of a bar with what is about it.
const ROW: f64 = 24.0;
/// Where bars start: to the left of it stand names.
const BARS_LEFT: f64 = 330.0;

fn scene(subject: &Subject) -> Scene {
    let title = headline(subject);
    let mut scene = Scene {
        width: WIDTH,
        height: 0.0,
        title: title.clone(),
        description: format!(
            "{title} Panels: share of the variance that each input makes; histogram of the Monte Carlo trials with the \
             coverage intervals; error and uncertainty over frequency where there are several."
        ),
        shapes: Vec::new(),
    };
    let mut y = 46.0;
    for line in wrapped(&title, 88) {
        scene.text((LEFT - 56.0, y), 18.0, colour::INK, Anchor::Start, typographic(&line));
        y += 25.0;
    }
    let seed = format!("{}, {} trials, seed {}", subject.plan, subject.budget.trials, subject.seed);
    scene.text((LEFT - 56.0, y), 13.0, colour::MUTED, Anchor::Start, seed);
    let mut top = y + 62.0;
    let Some(worst) = subject.worst() else { return on_paper(scene, top) };
    top = bars(&mut scene, subject, worst, top) + GAP;
    if worst.drawn.histogram.is_some() {
        histogram(&mut scene, subject, worst, (top, top + 260.0));
        top += 260.0 + GAP;
    }
    if subject.budget.results.len() > 1 {
        over_frequency(&mut scene, subject, (top, top + 240.0));
        top += 240.0 + GAP;
    }
    on_paper(scene, top - GAP)
}

fn solid(paint: Paint, width: f64) -> Stroke {
    Stroke { paint, width, dash: Dash::Solid }
}

fn bars(scene: &mut Scene, subject: &Subject, result: &BudgetResult, top: f64) -> f64 {
    let ranked = subject.ranked(result);
    let shown = &ranked[..ranked.len().min(BARS)];
    let bottom = top + ROW * shown.len() as f64;
    let heading = format!("Contributions to the {}", name(subject.measurand, result));
    scene.text((LEFT - 56.0, top - 16.0), 15.0, colour::INK, Anchor::Start, heading);
    let largest = shown.iter().map(|&k| result.propagation.terms[k].share.abs()).fold(0.01, f64::max);
    let right = RIGHT - 150.0;
    let (factor, prefix) = prefix_for(result.propagation.standard_uncertainty);
    let unit = subject.measurand.unit().symbol();
    for (row, &k) in shown.iter().enumerate() {
        let term = &result.propagation.terms[k];
        let y = top + ROW * row as f64;
        let words = short(&subject.inputs[k].0.name, 38);
        scene.text((BARS_LEFT - 10.0, y + 16.0), 12.5, colour::INK, Anchor::End, words);
        let x = BARS_LEFT + (right - BARS_LEFT) * (term.share.abs() / largest).min(1.0);
        // A correlation can make a share negative.
        let fill = if term.share < 0.0 { colour::ERROR } else { colour::FIT };
        scene.rectangle((BARS_LEFT, y + 4.0), (x.max(BARS_LEFT + 1.0), y + ROW - 4.0), fill);
        let words = format!(
            "{} ({} {prefix}{unit})",
            share(term.share),
            significant(term.contribution.abs() / factor, 2)
        );
        scene.text((x + 8.0, y + 16.0), 12.0, colour::MUTED, Anchor::Start, typographic(&words));
    }
    scene.line(vec![(BARS_LEFT, top), (BARS_LEFT, bottom)], solid(colour::AXIS, 1.0));
    let left_out = ranked.len() - shown.len();
    if left_out == 0 {
        return bottom - 30.0;
    }
    let words = format!("and {left_out} more that make less");
    scene.text((BARS_LEFT + 2.0, bottom + 16.0), 12.0, colour::MUTED, Anchor::Start, words);
    bottom - 10.0
}

fn histogram(scene: &mut Scene, subject: &Subject, result: &BudgetResult, (top, bottom): (f64, f64)) {
    let Some(histogram) = &result.drawn.histogram else { return };
    let u = result.drawn.standard_uncertainty;
    let middle = result.drawn.mean;
    let (low, high) = (middle - 4.2 * u, middle + 4.2 * u);
    let bins = histogram.counts.len();
    let width = (histogram.high - histogram.low) / bins as f64;
    let trials = subject.budget.trials as f64;
    // Density in units of 1/u, so that the axis has no unit.
    let density = |count: u64| count as f64 / trials / width * u;
    let normal = |x: f64| {
        (-0.5 * ((x - result.propagation.value) / result.propagation.standard_uncertainty).powi(2)).exp()
            / (std::f64::consts::TAU).sqrt()
            * u
            / result.propagation.standard_uncertainty
    };
    let most = histogram.counts.iter().map(|c| density(*c)).fold(normal(result.propagation.value), f64::max);
    let panel = Panel { left: LEFT, right: RIGHT, top, bottom, x: (low, high), y: (0.0, 1.42 * most) };
    let (mut ticks, _) = linear(0.0, 1.1 * most, 4);
    // No prefix on a number without unit.
    for tick in &mut ticks {
        tick.label = significant(tick.at, 2);
    }
    panel.y_axis(scene, &ticks, "density × u");
    for (k, count) in histogram.counts.iter().enumerate() {
        let from = histogram.low + width * k as f64;
        if from + width <= low || from >= high || *count == 0 {
            continue;
        }
        let (x0, x1) = (panel.at_x(from.max(low)), panel.at_x((from + width).min(high)));
        scene.rectangle((x0, panel.at_y(density(*count))), (x1, panel.bottom), colour::RECORD);
    }
    let curve = (0..=240).map(|k| low + (high - low) * f64::from(k) / 240.0);
    let dashed = Stroke { paint: colour::ERROR, width: 1.6, dash: Dash::Dashed };
    scene.line(curve.map(|x| panel.at(x, normal(x))).collect(), dashed);
    let interval = result.propagation.interval();
    let (symmetric, shortest) = (result.drawn.symmetric, result.drawn.shortest);
    for (row, (interval, stroke, words)) in [
        (symmetric, solid(colour::FIT, 2.4), "symmetric"),
        (shortest, solid(colour::ALLOWED_EDGE, 2.4), "shortest"),
        (interval, dashed, "law of propagation"),
    ]
    .into_iter()
    .enumerate()
    {
        let y = panel.top + 14.0 + 20.0 * row as f64;
        let clip = |x: f64| panel.at_x(x.clamp(low, high));
        let (x0, x1) = (clip(interval.low), clip(interval.high));
        scene.line(vec![(x0, y), (x1, y)], stroke);
        for x in [x0, x1] {
            scene.line(vec![(x, y - 5.0), (x, y + 5.0)], Stroke { dash: Dash::Solid, ..stroke });
        }
        scene.text((x1 + 8.0, y + 4.0), 12.0, colour::MUTED, Anchor::Start, words);
    }
    let (ticks, prefix) = linear(low, high, 7);
    let marks: Vec<_> = ticks.iter().map(|tick| (tick.at, tick.label.as_str())).collect();
    let axis = format!("{}, {prefix}{}", name(subject.measurand, result), subject.measurand.unit().symbol());
    panel.x_axis(scene, &marks, &axis);
    let coverage = plain_percent(subject.probability, 4);
    let key = [
        (Mark::Band(colour::RECORD), "Monte Carlo"),
        (Mark::Line(dashed), "law of propagation, as if normal"),
    ];
    panel.heading(scene, &format!("Distribution, with intervals of {coverage}"), &key);
}

fn over_frequency(scene: &mut Scene, subject: &Subject, (top, bottom): (f64, f64)) {
    let points: Vec<(f64, f64, f64, f64)> = subject
        .budget
        .results
        .iter()
        .filter_map(|r| {
            let value = r.drawn.mean;
            let at = r.frequency_hz?.log10();
            let percent = |v: f64| 100.0 * (v / value - 1.0);
            Some((at, percent(r.drawn.symmetric.low), percent(r.drawn.symmetric.high), percent(r.shown)))
        })
        .collect();
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return };
    let lowest = points.iter().map(|p| p.1.min(p.3)).fold(0.0, f64::min);
    let highest = points.iter().map(|p| p.2.max(p.3)).fold(0.0, f64::max);
    let panel = Panel {
        left: LEFT,
        right: RIGHT,
        top,
        bottom,
        x: (first.0, last.0.max(first.0 + 1e-6)),
        y: widened(lowest, highest, 0.08),
    };
    let (mut ticks, _) = linear(panel.y.0, panel.y.1, 6);
    for tick in &mut ticks {
        tick.label = typographic(&significant(tick.at, 3));
    }
    panel.y_axis(scene, &ticks, "of the true value, %");
    let outline =
        points.iter().map(|p| panel.at(p.0, p.2)).chain(points.iter().rev().map(|p| panel.at(p.0, p.1)));
    let band = colour::RECORD.faded(0.6);
    scene.area(outline.collect(), band);
    scene.line(vec![panel.at(panel.x.0, 0.0), panel.at(panel.x.1, 0.0)], solid(colour::AXIS, 1.2));
    let shown = solid(colour::ERROR, 2.0);
    scene.line(points.iter().map(|p| panel.at(p.0, p.3)).collect(), shown);
    let decades = decades(10f64.powf(panel.x.0), 10f64.powf(panel.x.1), "Hz");
    let marks: Vec<_> = decades.iter().map(|tick| (tick.at.log10(), tick.label.as_str())).collect();
    panel.x_axis(scene, &marks, "frequency");
    let coverage =
        capitalised(&format!("interval of {} about the true value", plain_percent(subject.probability, 4)));
    panel.heading(
        scene,
        "Over frequency",
        &[(Mark::Line(shown), "as shown: the known error"), (Mark::Band(band), &coverage)],
    );
}
