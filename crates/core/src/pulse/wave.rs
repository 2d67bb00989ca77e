//! A waveform between its samples: asked again where it is a function, straight where it is a record.

/// A time, s, and a value, V.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    pub(super) t: f64,
    pub(super) v: f64,
}

pub(super) trait Wave {
    /// When the waveform crosses `level` between two points on either side of it.
    fn crossing(&self, from: Point, to: Point, level: f64) -> f64;

    /// The greatest value of `sign`·waveform about `middle`, which is greater than its neighbours `from` and `to`.
    fn greatest(&self, from: Point, middle: Point, to: Point, sign: f64) -> f64;
}

/// A record: straight lines between samples.
pub(super) struct Lines;

impl Wave for Lines {
    fn crossing(&self, from: Point, to: Point, level: f64) -> f64 {
        let share = (level - from.v) / (to.v - from.v);
        if share.is_finite() { from.t + (to.t - from.t) * share } else { from.t }
    }

    fn greatest(&self, _: Point, middle: Point, _: Point, sign: f64) -> f64 {
        sign * middle.v
    }
}

/// A function of time.
pub(super) struct Continuous<F> {
    pub(super) waveform: F,
    /// Time scale below which nothing happens, s.
    pub(super) finest_s: f64,
}

impl<F: Fn(f64) -> f64> Wave for Continuous<F> {
    /// Ridders' method: the bracket at least halves with two evaluations, also across a jump.
    fn crossing(&self, from: Point, to: Point, level: f64) -> f64 {
        let (mut a, mut b) = ((from.t, from.v - level), (to.t, to.v - level));
        let enough = 1e-9 * self.finest_s.min(to.t - from.t);
        let mut last = f64::NAN;
        for _ in 0..80 {
            if a.1 == 0.0 {
                return a.0;
            } else if b.1 == 0.0 {
                return b.0;
            }
            let middle = 0.5 * (a.0 + b.0);
            if b.0 - a.0 <= enough || middle <= a.0 || middle >= b.0 {
                return middle;
            }
            let at_middle = (self.waveform)(middle) - level;
            let root = (at_middle * at_middle - a.1 * b.1).sqrt();
            let step = (middle - a.0) * at_middle / root * (a.1 - b.1).signum();
            let t = middle + step;
            // Rounding may put it on an end of the bracket; halving is enough then.
            let (t, at_t) =
                if t > a.0 && t < b.0 { (t, (self.waveform)(t) - level) } else { (middle, at_middle) };
            if at_t == 0.0 || (t - last).abs() <= enough {
                return t;
            }
            last = t;
            // The tightest of the brackets that the two new points make.
            let (left, right) =
                if middle < t { ((middle, at_middle), (t, at_t)) } else { ((t, at_t), (middle, at_middle)) };
            let opposite = |x: f64, y: f64| (x > 0.0) != (y > 0.0);
            if opposite(a.1, left.1) {
                b = left;
            } else if opposite(left.1, right.1) {
                (a, b) = (left, right);
            } else {
                a = right;
            }
        }
        0.5 * (a.0 + b.0)
    }

    /// Golden section: the value at an extreme needs its place to the square root of the digits only.
    fn greatest(&self, from: Point, middle: Point, to: Point, sign: f64) -> f64 {
        const GOLDEN: f64 = 0.618_033_988_749_895;
        let at = |t: f64| sign * (self.waveform)(t);
        let (mut a, mut b) = (from.t, to.t);
        let (mut left, mut right) = (b - GOLDEN * (b - a), a + GOLDEN * (b - a));
        let (mut at_left, mut at_right) = (at(left), at(right));
        let mut best = (sign * middle.v).max(at_left).max(at_right);
        for _ in 0..24 {
            if at_left > at_right {
                (b, right, at_right) = (right, left, at_left);
                left = b - GOLDEN * (b - a);
                at_left = at(left);
                best = best.max(at_left);
            } else {
                (a, left, at_left) = (left, right, at_right);
                right = a + GOLDEN * (b - a);
                at_right = at(right);
                best = best.max(at_right);
            }
        }
        best
    }
}
