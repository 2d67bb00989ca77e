//! The rows of a block, each with its past before it, and the loops over them: four samples side by side wherever they can be.

/// Samples of a block: few enough that all rows stay in the first cache.
pub(super) const BLOCK: usize = 256;
/// Samples of the past that the formulas look at, and samples side by side.
pub(super) const PAST: usize = 4;

/// A row: [`PAST`] numbers from before, then those of the block.
pub(super) type Row = [f64; BLOCK + PAST];

/// All rows. They are kept from block to block: clearing them each time would cost a third of the work.
#[derive(Clone, Debug)]
pub(super) struct Rows {
    /// −Δy, what drives ρ.
    pub(super) t: Row,
    /// r = q·ρ.
    pub(super) rho: Row,
    /// The slope of r with z is q·v; ρ of the sample before drives it.
    pub(super) v: Row,
    /// Corrected samples.
    pub(super) x: Row,
    /// What jumps between samples put into the variance.
    pub(super) s: Row,
    /// What is left of that, and of what was not known at the start.
    pub(super) b: Row,
    /// Variance of a sample.
    pub(super) variance: Row,
}

/// One sample of all rows.
#[derive(Clone, Copy, Debug)]
pub(super) struct State {
    pub(super) t: f64,
    pub(super) rho: f64,
    pub(super) v: f64,
    pub(super) x: f64,
    pub(super) s: f64,
    pub(super) b: f64,
}

impl Rows {
    pub(super) fn new() -> Box<Self> {
        let row = [0.0; BLOCK + PAST];
        Box::new(Self { t: row, rho: row, v: row, x: row, s: row, b: row, variance: row })
    }

    /// The newest sample of the past.
    pub(super) fn last(&self) -> State {
        let at = PAST - 1;
        let Self { t, rho, v, x, s, b, .. } = self;
        State { t: t[at], rho: rho[at], v: v[at], x: x[at], s: s[at], b: b[at] }
    }

    /// Puts one sample behind the past.
    pub(super) fn put(&mut self, state: State) {
        let State { t, rho, v, x, s, b } = state;
        let rows = [
            (&mut self.t, t),
            (&mut self.rho, rho),
            (&mut self.v, v),
            (&mut self.x, x),
            (&mut self.s, s),
            (&mut self.b, b),
        ];
        for (row, value) in rows {
            row[PAST] = value;
        }
        self.move_on(1);
    }

    /// The end of a block of `n` becomes the past of the next.
    pub(super) fn move_on(&mut self, n: usize) {
        let Self { t, rho, v, x, s, b, .. } = self;
        for row in [t, rho, v, x, s, b] {
            row.copy_within(n..n + PAST, 0);
        }
    }
}

/// The recursion state\[i\] = z·state\[i−1\] + drive\[i−lag\] as state\[i−4\]·z⁴ + (drive, drive before it · z, …): four recursions side by
/// side, each answering to every fourth sample. `lag` is 0 or 1.
#[inline(always)]
pub(super) fn recursion<const LAG: usize>(z: f64, drive: &Row, state: &mut Row, n: usize) {
    let z4 = (z * z) * (z * z);
    let first = PAST - LAG;
    let [now, one, two, three] = [0, 1, 2, 3].map(|back| &drive[first - back..first - back + n]);
    let places = state[PAST..PAST + n].iter_mut();
    for ((((place, now), one), two), three) in places.zip(now).zip(one).zip(two).zip(three) {
        *place = now + z * (one + z * (two + z * three));
    }
    let mut lanes = [state[0], state[1], state[2], state[3]];
    let mut groups = state[PAST..PAST + n].chunks_exact_mut(PAST);
    for group in &mut groups {
        for (lane, place) in lanes.iter_mut().zip(group) {
            *lane = z4 * *lane + *place;
            *place = *lane;
        }
    }
    for (lane, place) in lanes.iter().zip(groups.into_remainder()) {
        *place += z4 * lane;
    }
}

/// Whether all numbers are finite: nil times a number is nil unless it is not.
pub(super) fn all_finite(values: &[f64]) -> bool {
    let mut lanes = [0.0; PAST];
    let mut groups = values.chunks_exact(PAST);
    for group in &mut groups {
        for (lane, value) in lanes.iter_mut().zip(group) {
            *lane += value * 0.0;
        }
    }
    let rest: f64 = groups.remainder().iter().map(|v| v * 0.0).chain(lanes).sum();
    rest.abs() <= 0.0
}
