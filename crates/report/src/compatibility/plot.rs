//! The matrix as a drawing: a sign, a tint and the margin in picofarads for each pair. Shape and words tell the verdict, colour only helps.

use flattop_core::reach_matrix::{Cell, Standing};

use super::{Compatibility, Totals, capacitance_words, counted, frequency, pico, range_words};
use crate::plot::axis::typographic;
use crate::plot::layout::colour;
use crate::plot::scene::{Anchor, Dash, Paint, Scene, Shape, Stroke, text_width};
use crate::plot::{self, PngError};

/// Most probes and most inputs that a drawing holds.
pub const MOST_DRAWN: (usize, usize) = (120, 60);

/// More pairs than a drawing can hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooMany {
    /// Probes.
    pub probes: usize,
    /// Inputs.
    pub inputs: usize,
}

impl std::fmt::Display for TooMany {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (probes, inputs) = MOST_DRAWN;
        write!(
            f,
            "{} probes on {} inputs are more than a drawing holds ({probes} on {inputs}): choose some with --probe and --input, or write all \
             with --csv",
            self.probes, self.inputs
        )
    }
}

/// The drawing as an SVG document.
///
/// # Errors
/// More pairs than [`MOST_DRAWN`].
pub fn svg(of: &Compatibility) -> Result<String, TooMany> {
    let (probes, inputs) = (of.sides.probes.len(), of.sides.inputs.len());
    if probes > MOST_DRAWN.0 || inputs > MOST_DRAWN.1 {
        return Err(TooMany { probes, inputs });
    }
    Ok(plot::svg::write(&scene(of)))
}

/// The drawing `svg` as a PNG image, two pixels for each unit.
///
/// # Errors
/// [`PngError`] when it cannot be turned into an image.
pub fn png(svg: &str) -> Result<Vec<u8>, PngError> {
    plot::png::render(svg)
}

const MARGIN: f64 = 32.0;
/// Least width: the legend's.
const LEAST_WIDTH: f64 = 900.0;

/// Sizes that follow the number of pairs.
struct Grid {
    left: f64,
    top: f64,
    cell: (f64, f64),
    size: f64,
    /// Whether the bandwidth stands under the margin.
    roomy: bool,
    /// Whether the heads of the columns are turned.
    turned: bool,
}

fn grid(of: &Compatibility, below: f64) -> Grid {
    let sides = &of.sides;
    let roomy = sides.inputs.len() <= 14 && sides.probes.len() <= 30;
    let (cell, size) = if roomy { ((84.0, 44.0), 15.0) } else { ((56.0, 24.0), 11.0) };
    let names = sides.probes.iter().map(|probe| {
        let name = text_width(probe.id.as_str(), size - 1.0);
        let range = text_width(&range_words(probe), 11.0);
        if roomy { name.max(range) } else { name + range + 14.0 }
    });
    let left = MARGIN + names.fold(60.0, f64::max) + 12.0;
    let widest = |size: f64| {
        let heads = sides.inputs.iter().map(|named| {
            let (id, c) = (&named.id, capacitance_words(&named.input));
            [id.oscilloscope.as_str(), id.name.as_str(), c.as_str()]
                .map(|t| text_width(t, size))
                .into_iter()
                .fold(0.0, f64::max)
        });
        heads.fold(0.0, f64::max)
    };
    let turned = widest(12.0) > cell.0;
    let head = if turned {
        let names = sides.inputs.iter().map(|named| {
            text_width(&named.id.to_string(), 12.0)
                + text_width(&capacitance_words(&named.input), 11.0)
                + 18.0
        });
        names.fold(40.0, f64::max)
    } else {
        56.0
    };
    Grid { left, top: below + head, cell, size, roomy, turned }
}

fn scene(of: &Compatibility) -> Scene {
    let sides = &of.sides;
    let both =
        format!("{} on {}", counted(sides.probes.len(), "probe"), counted(sides.inputs.len(), "input"));
    let totals = Totals::of(&of.sums).words();
    let mut scene = Scene {
        width: LEAST_WIDTH,
        height: 0.0,
        title: format!("Which probe reaches which input: {both}"),
        description: format!(
            "{totals}. One row for each probe, one column for each input: sign of the verdict and margin in pF."
        ),
        shapes: Vec::new(),
    };
    scene.text(
        (MARGIN, 46.0),
        20.0,
        colour::INK,
        Anchor::Start,
        format!("Which probe reaches which input: {both}"),
    );
    let mut y = 71.0;
    let room = (LEAST_WIDTH - 2.0 * MARGIN) / text_width("n", 13.5) * 1.08;
    for line in crate::text::wrapped(&format!("{}. Margins in pF. {}", totals, sides.source), room as usize) {
        scene.text((MARGIN, y), 13.5, colour::MUTED, Anchor::Start, line);
        y += 19.0;
    }
    y = legend(&mut scene, y + 8.0);
    let grid = grid(of, y + 6.0);
    heads(&mut scene, of, &grid);
    for (index, row) in of.rows.iter().enumerate() {
        let y = grid.top + grid.cell.1 * index as f64;
        row_head(&mut scene, of, &grid, index, y);
        for (input, cell) in row.cells().enumerate() {
            let x = grid.left + grid.cell.0 * input as f64;
            let left_out = sides.ready.balances(index) && sides.loads.is_matched(input);
            pair(&mut scene, &grid, (x, y), &cell, left_out);
        }
        let sum = &of.sums[index];
        let x = grid.left + grid.cell.0 * row.len() as f64 + 12.0;
        let words = format!("{} of {}", sum.suits, sum.judged);
        scene.text((x, y + 0.5 * grid.cell.1 + 4.0), grid.size - 2.0, colour::INK, Anchor::Start, words);
    }
    let right = grid.left + grid.cell.0 * sides.inputs.len() as f64;
    if !of.rows.is_empty() {
        scene.text((right + 12.0, grid.top - 10.0), 11.0, colour::MUTED, Anchor::Start, "suits");
    }
    scene.width = scene.width.max(right + 84.0).round();
    scene.height = (grid.top + grid.cell.1 * sides.probes.len() as f64 + 30.0).round();
    let paper = vec![(0.0, 0.0), (scene.width, 0.0), (scene.width, scene.height), (0.0, scene.height)];
    scene.shapes.insert(0, Shape::Area { points: paper, fill: colour::PAPER });
    scene
}

/// What each sign means, with its word. Returns the y below.
fn legend(scene: &mut Scene, mut y: f64) -> f64 {
    let mut x = MARGIN + 9.0;
    for (sign, words) in [
        (Sign::Reaches, "reaches"),
        (Sign::May, "may reach (tolerances)"),
        (Sign::Above, "out: input above the range"),
        (Sign::Below, "out: input below"),
        (Sign::Unknown, "a value is missing"),
        (Sign::Nothing, "no trimmer needed"),
        (Sign::Load, "wrong input resistance"),
    ] {
        let width = 32.0 + text_width(words, 12.0);
        if x + width > LEAST_WIDTH {
            x = MARGIN + 9.0;
            y += 22.0;
        }
        mark(scene, sign, (x, y), 8.0);
        scene.text((x + 14.0, y + 4.5), 12.0, colour::INK, Anchor::Start, words);
        x += width;
    }
    y + 26.0
}

fn heads(scene: &mut Scene, of: &Compatibility, grid: &Grid) {
    for (index, named) in of.sides.inputs.iter().enumerate() {
        let x = grid.left + grid.cell.0 * (index as f64 + 0.5);
        let capacitance = capacitance_words(&named.input);
        if grid.turned {
            let at = |scene: &mut Scene, from: f64, size: f64, paint: Paint, text: String| {
                scene.shapes.push(Shape::Text {
                    at: (x + 4.0, grid.top - from),
                    size,
                    paint,
                    anchor: Anchor::Start,
                    turned: -90.0,
                    text,
                });
            };
            let width = text_width(&capacitance, 11.0) + 12.0;
            at(scene, 6.0, 11.0, colour::MUTED, capacitance);
            at(scene, width, 12.0, colour::INK, named.id.to_string());
        } else {
            for (line, (text, paint)) in [
                (named.id.oscilloscope.to_string(), colour::INK),
                (named.id.name.to_string(), colour::INK),
                (capacitance, colour::MUTED),
            ]
            .into_iter()
            .enumerate()
            {
                scene.text((x, grid.top - 42.0 + 16.0 * line as f64), 12.0, paint, Anchor::Middle, text);
            }
        }
    }
}

fn row_head(scene: &mut Scene, of: &Compatibility, grid: &Grid, index: usize, y: f64) {
    let probe = &of.sides.probes[index];
    let x = grid.left - 10.0;
    let middle = y + 0.5 * grid.cell.1;
    let range = range_words(probe);
    if grid.roomy {
        scene.text((x, middle - 2.0), grid.size - 1.0, colour::INK, Anchor::End, probe.id.as_str());
        scene.text((x, middle + 14.0), 11.0, colour::MUTED, Anchor::End, range);
    } else {
        scene.text((MARGIN, middle + 4.0), grid.size, colour::INK, Anchor::Start, probe.id.as_str());
        scene.text((x, middle + 4.0), 10.0, colour::MUTED, Anchor::End, range);
    }
}

/// The sign of a verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sign {
    Reaches,
    May,
    Above,
    Below,
    Unknown,
    Nothing,
    Load,
}

impl Sign {
    pub(super) fn of(cell: &Cell, left_out: bool) -> Self {
        if cell.wrong_load() || left_out {
            return Sign::Load;
        }
        match cell.standing {
            Standing::Reaches => Sign::Reaches,
            Standing::MayReach => Sign::May,
            Standing::OutOfReach if cell.nearer_the_upper => Sign::Above,
            Standing::OutOfReach => Sign::Below,
            Standing::CannotBeSaid => Sign::Unknown,
            Standing::NothingToBalance => Sign::Nothing,
        }
    }

    fn tint(self) -> Paint {
        match self {
            Sign::Reaches | Sign::Nothing => colour::ALLOWED,
            Sign::May => colour::RECORD.faded(0.35),
            Sign::Above | Sign::Below => colour::ERROR.faded(0.22),
            Sign::Unknown => colour::LEFT_OUT,
            Sign::Load => colour::HAIR,
        }
    }
}

/// The sign: disc with a tick, diamond, triangles, question mark, dash, cross.
pub(super) fn mark(scene: &mut Scene, sign: Sign, (x, y): (f64, f64), r: f64) {
    let stroke = |paint: Paint, width: f64| Stroke { paint, width, dash: Dash::Solid };
    match sign {
        Sign::Reaches => {
            scene.shapes.push(Shape::Disc { at: (x, y), radius: 0.9 * r, fill: colour::ALLOWED_EDGE });
            let tick =
                vec![(x - 0.42 * r, y + 0.05 * r), (x - 0.1 * r, y + 0.38 * r), (x + 0.46 * r, y - 0.34 * r)];
            scene.line(tick, stroke(colour::PAPER, 0.24 * r));
        }
        Sign::May => {
            scene.area(vec![(x, y - r), (x + r, y), (x, y + r), (x - r, y)], colour::FIT);
            scene.area(
                vec![(x, y - 0.55 * r), (x + 0.55 * r, y), (x, y + 0.55 * r), (x - 0.55 * r, y)],
                colour::PAPER,
            );
        }
        Sign::Above => {
            scene.area(vec![(x - r, y - 0.75 * r), (x + r, y - 0.75 * r), (x, y + r)], colour::ERROR)
        }
        Sign::Below => {
            scene.area(vec![(x - r, y + 0.75 * r), (x + r, y + 0.75 * r), (x, y - r)], colour::ERROR)
        }
        Sign::Unknown => {
            scene.text((x, y + 0.6 * r), 1.8 * r, colour::MUTED, Anchor::Middle, "?");
        }
        Sign::Nothing => {
            scene.line(vec![(x - 0.7 * r, y), (x + 0.7 * r, y)], stroke(colour::ALLOWED_EDGE, 0.35 * r));
        }
        Sign::Load => {
            let d = 0.6 * r;
            scene.line(vec![(x - d, y - d), (x + d, y + d)], stroke(colour::MUTED, 0.25 * r));
            scene.line(vec![(x - d, y + d), (x + d, y - d)], stroke(colour::MUTED, 0.25 * r));
        }
    }
}

fn pair(scene: &mut Scene, grid: &Grid, (x, y): (f64, f64), cell: &Cell, left_out: bool) {
    let (width, height) = grid.cell;
    let sign = Sign::of(cell, left_out);
    scene.rectangle((x + 1.0, y + 1.0), (x + width - 1.0, y + height - 1.0), sign.tint());
    let words = match cell.margin_f.filter(|_| !matches!(sign, Sign::Load | Sign::Unknown | Sign::Nothing)) {
        Some(margin) => {
            let plus = if margin > 0.0 { "+" } else { "" };
            typographic(&format!("{plus}{}", pico(margin)))
        }
        None => String::new(),
    };
    let middle = y + if grid.roomy { 0.36 * height } else { 0.5 * height };
    let r = if grid.roomy { 7.5 } else { 5.5 };
    if words.is_empty() {
        mark(scene, sign, (x + 0.5 * width, middle), r);
    } else {
        mark(scene, sign, (x + 0.17 * width, middle), r);
        let at = (x + width - 8.0, middle + 0.35 * grid.size);
        scene.text(at, grid.size, colour::INK, Anchor::End, words);
    }
    if grid.roomy && sign != Sign::Load {
        let at = (x + width - 8.0, y + height - 7.0);
        scene.text(at, 10.5, colour::MUTED, Anchor::End, frequency(cell.bandwidth_hz));
    }
}
