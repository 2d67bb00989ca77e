//! Candidates as a drawing: the range of each against the capacitances of the inputs, best first.

use flattop_core::reach_matrix::Standing;

use super::plot::{Sign, mark};
use super::text::headline;
use super::{Compatibility, counted, frequency, pico, tolerance_words};
use crate::plot::axis::{linear, typographic};
use crate::plot::layout::{colour, widened};
use crate::plot::scene::{Anchor, Dash, Scene, Shape, Stroke, text_width};
use crate::plot::{self, PngError};

/// Most candidates that are drawn; the best ones are.
pub const MOST_RANGES: usize = 60;

const WIDTH: f64 = 960.0;
const MARGIN: f64 = 32.0;
const ROW: f64 = 44.0;
/// Room for what is written behind a range.
const WORDS: f64 = 250.0;

/// The drawing as an SVG document.
pub fn ranges_svg(of: &Compatibility, order: &[usize]) -> String {
    plot::svg::write(&scene(of, order))
}

/// The drawing as a PNG image, two pixels for each unit.
///
/// # Errors
/// [`PngError`] when it cannot be turned into an image.
pub fn ranges_png(of: &Compatibility, order: &[usize]) -> Result<Vec<u8>, PngError> {
    plot::png::render(&ranges_svg(of, order))
}

fn scene(of: &Compatibility, order: &[usize]) -> Scene {
    let sides = &of.sides;
    let all = of.sums.iter().filter(|sum| sum.suits_all()).count();
    let title = headline(of, order, all);
    let mut scene = Scene {
        width: WIDTH,
        height: 0.0,
        title: title.clone(),
        description: format!(
            "{title} Bars: compensation range of each candidate, best first. Bands: capacitance of each input with its tolerance."
        ),
        shapes: Vec::new(),
    };
    let mut y = 46.0;
    for line in crate::text::wrapped(&title, 84) {
        scene.text((MARGIN, y), 18.0, colour::INK, Anchor::Start, line);
        y += 25.0;
    }
    let drawn = &order[..order.len().min(MOST_RANGES)];
    let more = if order.len() > drawn.len() {
        format!(" The best {} of {} are drawn.", drawn.len(), counted(order.len(), "candidate"))
    } else {
        String::new()
    };
    let words =
        format!("Bands: capacitance of the inputs with their tolerances. Bars: compensation range.{more}");
    scene.text((MARGIN, y), 13.0, colour::MUTED, Anchor::Start, words);
    y += 30.0;

    let names = drawn.iter().map(|&index| {
        let probe = &sides.probes[index];
        text_width(probe.id.as_str(), 14.0).max(text_width(&label(probe), 11.0))
    });
    let left = MARGIN + 26.0 + names.fold(60.0, f64::max).min(240.0) + 16.0;
    let right = WIDTH - MARGIN - WORDS;
    let ends = sides
        .inputs
        .iter()
        .filter_map(|named| named.input.capacitance_f)
        .map(|c| (c.value - c.tolerance.unwrap_or(0.0), c.value + c.tolerance.unwrap_or(0.0)))
        .chain(
            drawn
                .iter()
                .filter_map(|&index| sides.probes[index].compensation_range_f)
                .map(|r| (r.low, r.high)),
        );
    let (low, high) =
        ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (a, b)| (low.min(a), high.max(b)));
    let (low, high) = if low <= high { widened(1e12 * low, 1e12 * high, 0.04) } else { (0.0, 40.0) };
    let (low, high) = (low.max(0.0), high);
    let at = |pico: f64| left + (right - left) * (pico - low) / (high - low);

    let top = input_names(&mut scene, of, y, &at, right);
    let bottom = top + ROW * drawn.len() as f64;
    bands(&mut scene, of, (top, bottom), &at);
    for (place, &index) in drawn.iter().enumerate() {
        row(&mut scene, of, index, place + 1, (left, top + ROW * place as f64), right, &at);
    }
    let axis = Stroke { paint: colour::AXIS, width: 1.0, dash: Dash::Solid };
    scene.line(vec![(left, bottom), (right, bottom)], axis);
    let (ticks, _) = linear(low, high, 8);
    for tick in &ticks {
        let x = at(tick.at);
        scene.line(vec![(x, bottom), (x, bottom + 5.0)], axis);
        scene.text((x, bottom + 19.0), 12.0, colour::MUTED, Anchor::Middle, tick.label.as_str());
    }
    scene.text(
        (0.5 * (left + right), bottom + 40.0),
        12.5,
        colour::INK,
        Anchor::Middle,
        "input capacitance, pF",
    );
    scene.height = (bottom + 62.0).round();
    let paper = vec![(0.0, 0.0), (WIDTH, 0.0), (WIDTH, scene.height), (0.0, scene.height)];
    scene.shapes.insert(0, Shape::Area { points: paper, fill: colour::PAPER });
    scene
}

fn label(probe: &flattop_core::bench::Probe) -> String {
    let letters: Vec<char> = probe.label.as_deref().unwrap_or_default().chars().collect();
    if letters.len() <= 34 {
        letters.iter().collect()
    } else {
        letters[..33].iter().chain(&['…']).collect()
    }
}

/// Names of the inputs above their bands, those of one capacitance together, on as many lines as they need. Returns the y of the first row.
fn input_names(scene: &mut Scene, of: &Compatibility, y: f64, at: &impl Fn(f64) -> f64, right: f64) -> f64 {
    let mut groups: Vec<(f64, Vec<String>)> = Vec::new();
    for named in &of.sides.inputs {
        let Some(c) = named.input.capacitance_f else { continue };
        let pico = (1e14 * c.value).round() / 100.0;
        match groups.iter_mut().find(|(value, _)| value.total_cmp(&pico).is_eq()) {
            Some((_, names)) => names.push(named.id.to_string()),
            None => groups.push((pico, vec![named.id.to_string()])),
        }
    }
    groups.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Each name takes the first line where it does not touch the one before.
    let mut lines: Vec<f64> = Vec::new();
    let mut placed = Vec::new();
    for (value, names) in &groups {
        let words = match names.len() {
            1 => names[0].clone(),
            more => format!("{} + {}", names[0], more - 1),
        };
        let words = format!("{words}: {}", pico_words(*value));
        let half = 0.5 * text_width(&words, 11.0);
        let x = at(*value).min(right + WORDS - half);
        let line = lines.iter().position(|end| *end + 8.0 < x - half).unwrap_or(lines.len());
        if line == lines.len() {
            lines.push(0.0);
        }
        lines[line] = x + half;
        placed.push((line, x, at(*value), words));
    }
    let top = y + 16.0 * lines.len() as f64 + 10.0;
    for (line, x, foot, words) in placed {
        let base = top - 12.0 - 16.0 * line as f64;
        let hair = Stroke { paint: colour::HAIR, width: 1.0, dash: Dash::Solid };
        scene.line(vec![(foot, base + 3.0), (foot, top)], hair);
        // A piece of paper behind the words keeps the hairlines of other names off them.
        let half = 0.5 * text_width(&words, 11.0) * 0.92;
        scene.rectangle((x - half, base - 10.0), (x + half, base + 3.0), colour::PAPER);
        scene.text((x, base), 11.0, colour::FIT, Anchor::Middle, words);
    }
    top
}

fn pico_words(value: f64) -> String {
    format!("{} pF", crate::format::significant(value, 4))
}

fn bands(scene: &mut Scene, of: &Compatibility, (top, bottom): (f64, f64), at: &impl Fn(f64) -> f64) {
    for named in &of.sides.inputs {
        let Some(c) = named.input.capacitance_f else { continue };
        let half = c.tolerance.unwrap_or(0.0);
        if half > 0.0 {
            let (x0, x1) = (at(1e12 * (c.value - half)), at(1e12 * (c.value + half)));
            scene.rectangle((x0, top), (x1, bottom), colour::RECORD.faded(0.22));
        }
    }
    for named in &of.sides.inputs {
        let Some(c) = named.input.capacitance_f else { continue };
        let x = at(1e12 * c.value);
        let line = Stroke { paint: colour::FIT.faded(0.55), width: 1.0, dash: Dash::Dashed };
        scene.line(vec![(x, top), (x, bottom)], line);
    }
}

fn row(
    scene: &mut Scene,
    of: &Compatibility,
    index: usize,
    rank: usize,
    (left, y): (f64, f64),
    right: f64,
    at: &impl Fn(f64) -> f64,
) {
    let probe = &of.sides.probes[index];
    let sum = &of.sums[index];
    let middle = y + 0.5 * ROW;
    let sign = if sum.suits_all() {
        if of.sides.ready.balances(index) { Sign::Reaches } else { Sign::Nothing }
    } else if sum.wrong_load > 0 {
        Sign::Load
    } else if sum.count(Standing::OutOfReach) > 0 {
        let below = sum.worst_error.is_some_and(|(_, error)| error > 0.0);
        if below { Sign::Below } else { Sign::Above }
    } else if sum.count(Standing::CannotBeSaid) > 0 {
        Sign::Unknown
    } else {
        Sign::May
    };
    mark(scene, sign, (MARGIN + 9.0, middle), 8.0);
    scene.text(
        (MARGIN + 26.0, middle - 1.0),
        14.0,
        colour::INK,
        Anchor::Start,
        format!("{rank} · {}", probe.id),
    );
    scene.text((MARGIN + 26.0, middle + 14.0), 11.0, colour::MUTED, Anchor::Start, label(probe));
    if let Some(range) = probe.compensation_range_f {
        let (x0, x1) = (at(1e12 * range.low), at(1e12 * range.high));
        let fill = if sum.suits_all() { colour::ALLOWED_EDGE } else { colour::ERROR.faded(0.75) };
        scene.rectangle((x0, middle - 6.0), (x1.max(x0 + 2.0), middle + 6.0), fill);
    } else if of.sides.ready.balances(index) {
        scene.text((left + 8.0, middle + 4.0), 12.0, colour::MUTED, Anchor::Start, "range not known");
    }
    let x = right + 16.0;
    let words = format!("suits {} of {}", sum.suits, sum.judged);
    scene.text((x, middle - 2.0), 13.0, colour::INK, Anchor::Start, words);
    let mut facts = Vec::new();
    if let Some(least) = sum.least {
        let margin = typographic(&pico(least.margin_f));
        let tolerance = tolerance_words(&of.sides, least.input, least.tolerance_f);
        facts.push(format!("{margin}{tolerance} pF on {}", of.sides.inputs[least.input].id));
    }
    if let Some((_, hertz)) = sum.least_bandwidth {
        facts.push(frequency(Some(hertz)));
    }
    scene.text((x, middle + 14.0), 11.0, colour::MUTED, Anchor::Start, facts.join(", "));
}
