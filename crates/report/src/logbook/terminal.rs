//! A drawing in letters: e of a pairing over time, each letter two dots wide and four high (Braille patterns, U+2800).

use super::History;
use crate::bench::text::day;
use crate::format::significant;

/// Letters across and down.
const WIDTH: usize = 62;
const HEIGHT: usize = 10;

/// The drawing, line by line: error bars and points, the limits of the tolerance as broken lines.
pub fn draw(history: &History) -> Vec<String> {
    let points = &history.series.points;
    let (Some((_, first)), Some((_, last))) = (points.first(), points.last()) else { return Vec::new() };
    let reach = |e: f64, u: Option<f64>| e.abs() + crate::subject::COVERAGE_FACTOR_95 * u.unwrap_or(0.0);
    let largest = points
        .iter()
        .map(|(_, p)| reach(p.compensation_error, p.standard_uncertainty))
        .chain(history.tolerance.map(|t| 1.25 * t))
        .fold(1e-4, f64::max);
    let mut canvas = Canvas::new(largest);
    let (start, span) = (first.at.unix_ms, (last.at.unix_ms - first.at.unix_ms).max(1));
    let at = |unix_ms: i64| (unix_ms - start) as f64 / span as f64;
    if let Some(tolerance) = history.tolerance {
        canvas.broken(tolerance);
        canvas.broken(-tolerance);
    }
    for (_, point) in points {
        let (x, e) = (at(point.at.unix_ms), point.compensation_error);
        let half = crate::subject::COVERAGE_FACTOR_95 * point.standard_uncertainty.unwrap_or(0.0);
        canvas.bar(x, e - half, e + half);
        canvas.point(x, e);
    }
    let mut lines = canvas.lines();
    let (from, to) = (day(first.at), day(last.at));
    let gap = WIDTH.saturating_sub(from.len() + to.len());
    lines.push(if from == to {
        format!("{}{from}", " ".repeat(11))
    } else {
        format!("{}{from}{}{to}", " ".repeat(11), " ".repeat(gap))
    });
    lines
}

struct Canvas {
    dots: Vec<u8>,
    largest: f64,
}

impl Canvas {
    fn new(largest: f64) -> Self {
        Self { dots: vec![0; WIDTH * HEIGHT], largest }
    }

    fn set(&mut self, x: usize, y: usize) {
        const BIT: [[u8; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];
        if x < 2 * WIDTH && y < 4 * HEIGHT {
            self.dots[(y / 4) * WIDTH + x / 2] |= BIT[x % 2][y % 4];
        }
    }

    fn x(share: f64) -> usize {
        (share * (2 * WIDTH - 3) as f64).round() as usize + 1
    }

    fn y(&self, e: f64) -> usize {
        let last = (4 * HEIGHT - 1) as f64;
        (0.5 * last * (1.0 - e / self.largest)).round().clamp(0.0, last) as usize
    }

    fn broken(&mut self, e: f64) {
        let y = self.y(e);
        (0..2 * WIDTH).step_by(4).for_each(|x| self.set(x, y));
    }

    fn bar(&mut self, share: f64, low: f64, high: f64) {
        for y in self.y(high)..=self.y(low) {
            self.set(Self::x(share), y);
        }
    }

    fn point(&mut self, share: f64, e: f64) {
        let (x, y) = (Self::x(share), self.y(e));
        for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1), (2, 0), (2, 1)] {
            self.set((x + dx).saturating_sub(1), y + dy);
        }
    }

    fn lines(&self) -> Vec<String> {
        let label = |row: usize| match row {
            0 => format!("{:>8} % ", signed(self.largest)),
            r if r == HEIGHT / 2 => format!("{:>8} % ", "0"),
            r if r == HEIGHT - 1 => format!("{:>8} % ", signed(-self.largest)),
            _ => " ".repeat(11),
        };
        self.dots
            .chunks(WIDTH)
            .enumerate()
            .map(|(row, dots)| {
                let letters = dots.iter().map(|d| char::from_u32(0x2800 + u32::from(*d)).unwrap_or(' '));
                format!("{}{}", label(row), letters.collect::<String>())
            })
            .collect()
    }
}

fn signed(e: f64) -> String {
    let text = significant(100.0 * e, 2);
    if e > 0.0 { format!("+{text}") } else { text }
}
