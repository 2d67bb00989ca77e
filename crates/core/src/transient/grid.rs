//! Where a response is sampled: chosen once for a chain and a signal, then used for all variants of that chain.

use super::excitation::{Excitation, Form};
use super::kernel::Kernel;
use super::poles::{Pole, real_poles};
use super::table::{Band, HAND_OVER_TIME, Workspace};
use super::tail::Event;
use super::{TransientError, findings};
use crate::chain::Transfer;
use crate::finding::Finding;
use crate::signal::Signal;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Complex frequencies at which a response is sampled, and what belongs to them.
#[derive(Clone, Debug)]
pub struct Grid {
    pub(super) layout: Layout,
    pub(super) frequencies: Vec<Complex64>,
    pub(super) samples: Vec<Complex64>,
    /// Size of H, to which tolerances refer.
    pub(super) scale: f64,
    pub(super) findings: Vec<Finding>,
}

#[derive(Clone, Debug)]
pub(super) enum Layout {
    /// A sine needs its own frequency only.
    Single,
    /// The harmonics of a period (s) up to a top frequency ω.
    Harmonics { period: f64, top: f64 },
    /// Bands on the line Re s = σ.
    Bands { event: Event, sigma: f64, bands: Vec<Band> },
}

/// Slowest pole looked for, rad/s.
pub(super) const SLOWEST: f64 = 1e-4;
/// Span of the scan over frequency, rad/s, and its density.
const SCAN: (f64, f64) = (1e1, 1e15);
const PER_DECADE: usize = 16;
/// Harmonics up to this many are summed rather than wrapped.
const HARMONICS: f64 = 500.0;
/// Most samples of a grid.
const SAMPLES: f64 = 6000.0;
/// Share of the step that may be cut off at high frequencies (bound), and what may be left at the end of a table.
const CUT: f64 = 3e-6;
const LEFT: f64 = 1e-6;
/// More than this is told.
pub(super) const TELL: f64 = 3e-5;

/// One frequency of the scan.
struct Point {
    omega: f64,
    /// H without its direct share, and a little above `omega`.
    h: Complex64,
    above: Complex64,
    /// How much above, rad/s.
    by: f64,
    /// Weight of a step with the signal's shortest ramp, against that of an ideal step.
    weight: f64,
}

/// The share of H that does not fall towards high frequencies, if it has a limit there.
pub(super) fn direct_share(transfer: &(impl Transfer + ?Sized)) -> f64 {
    let high = [1e15, 6.1e14, 3.7e14].map(|omega| transfer.at(Complex64::new(0.0, omega)));
    let limit = high[0].re;
    let same =
        high.iter().all(|h| (h.re - limit).abs() < 1e-6 * limit.abs() && h.im.abs() < 1e-3 * limit.abs());
    if same && limit.abs() > 1e-9 { limit } else { 0.0 }
}

impl Grid {
    /// Chooses the grid for a chain and a signal, and samples the chain there.
    ///
    /// # Errors
    /// [`TransientError`] for a signal that is none, and for a response that is not finite.
    pub fn choose(
        transfer: &(impl Transfer + ?Sized),
        signal: &Signal,
        workspace: &mut Workspace,
    ) -> Result<Self, TransientError> {
        let excitation = Excitation::new(signal)?;
        let (event, period) = match &excitation.form {
            Form::Sine { frequency, .. } => {
                let at = Complex64::new(0.0, TAU * frequency);
                return Self::sampled(transfer, Layout::Single, vec![at], 1.0, vec![]);
            }
            Form::Exponential { tau, .. } => (Event::Exponential(*tau), None),
            Form::Burst { frequency, .. } => (Event::Sine(*frequency), None),
            Form::Lines(lines) => (Event::Bend, lines.period),
        };
        let direct = direct_share(transfer);
        let scan = scan(transfer, direct, excitation.shortest_ramp())?;
        let scale = scan.iter().map(|p| p.h.norm()).fold(direct.abs(), f64::max).max(f64::MIN_POSITIVE);
        let mut told = Vec::new();
        let mut top = top(&scan, scale, &mut told);
        // A sine must lie well inside of the lowest band, unless nothing of it passes.
        let mut least_split = 0.0;
        if let Event::Sine(frequency) = event {
            let omega = TAU * frequency;
            if (transfer.at_frequency(frequency) - direct).norm() > 1e-7 * scale {
                top = top.max(2.2 * omega);
                least_split = 2.2 * omega;
            }
        }
        if let Some(period) = period {
            let base = TAU / period;
            // A hand-over ends at 1.5 times its frequency.
            let count = (1.5 * top / base).ceil().max(8.0);
            if count <= HARMONICS {
                let frequencies =
                    (1..=count as usize).map(|n| Complex64::new(0.0, n as f64 * base)).collect();
                let layout = Layout::Harmonics { period, top: top.max(5.3 * base) };
                return Self::sampled(transfer, layout, frequencies, scale, told);
            }
        }
        let mut needs = Needs::new(&scan, real_poles(transfer, SLOWEST, top), scale);
        let mut edges = needs.edges(top, least_split);
        let wanted = top;
        while edges.1 > SAMPLES && top > least_split.max(1e3) {
            top = (0.8 * top).max(least_split);
            edges = needs.edges(top, least_split);
        }
        let cut = cut_above(&scan, top) / scale;
        if top < wanted && cut > TELL {
            told.push(findings::bandwidth_cut(top / TAU, cut));
        }
        // Doubles the window of whatever band has not died, and gives the delay up if anything comes before it, until all
        // is well or the cap is reached. What is then left is told by whoever builds a response on this grid.
        let mut best: Option<Self> = None;
        for _ in 0..24 {
            let bands = needs.windows(&edges.0);
            let sigma = 3.0 / bands[0].window();
            let frequencies: Vec<_> = bands.iter().flat_map(|b| b.frequencies(sigma)).collect();
            if best.is_some() && frequencies.len() as f64 > SAMPLES {
                break;
            }
            let layout = Layout::Bands { event, sigma, bands };
            let grid = Self::sampled(transfer, layout, frequencies, scale, told.clone())?;
            let kernel = Kernel::new(transfer, &grid, None, workspace)?;
            best = Some(grid);
            let mut grown = false;
            for (left, from) in
                kernel.left().into_iter().zip(std::iter::once(0.0).chain(edges.0.iter().copied()))
            {
                if !(left.0 <= LEFT * scale) && needs.delay > 0.0 {
                    needs.earlier();
                    grown = true;
                }
                if !(left.1 <= LEFT * scale) {
                    needs.longer(from);
                    grown = true;
                }
            }
            if !grown {
                break;
            }
            edges = needs.edges(top, least_split);
        }
        best.ok_or(TransientError::NotFinite { frequency_hz: top / TAU })
    }

    fn sampled(
        transfer: &(impl Transfer + ?Sized),
        layout: Layout,
        frequencies: Vec<Complex64>,
        scale: f64,
        findings: Vec<Finding>,
    ) -> Result<Self, TransientError> {
        let samples: Vec<_> = frequencies.iter().map(|s| transfer.at(*s)).collect();
        Ok(Self { layout, frequencies, samples, scale, findings })
    }

    /// Whether a signal is of the kind that this grid was chosen for.
    pub(super) fn suits(&self, excitation: &Excitation) -> bool {
        match (&self.layout, &excitation.form) {
            (Layout::Single, Form::Sine { frequency, .. }) => {
                (TAU * frequency).total_cmp(&self.frequencies[0].im).is_eq()
            }
            (Layout::Harmonics { period, .. }, Form::Lines(lines)) => lines.period == Some(*period),
            (Layout::Bands { event, .. }, form) => match form {
                Form::Lines(_) => *event == Event::Bend,
                Form::Exponential { tau, .. } => *event == Event::Exponential(*tau),
                Form::Burst { frequency, .. } => *event == Event::Sine(*frequency),
                Form::Sine { .. } => false,
            },
            _ => false,
        }
    }

    /// Estimate of what a step lacks because samples end where they do, as share of the step: above their end |H| is taken to fall
    /// in proportion to frequency at least.
    pub(super) fn cut(&self, samples: &[Complex64], direct: f64, ramp: f64) -> f64 {
        let (Some(h), Some(s)) = (samples.last(), self.frequencies.last()) else { return 0.0 };
        if matches!(self.layout, Layout::Single) {
            return 0.0;
        }
        (h - direct).norm() * 1f64.min(2.0 / (s.im * ramp)) / (PI * self.scale)
    }

    /// Where H is needed, rad/s: the samples of a variant are its [`Transfer::at`] at these, in this order.
    pub fn frequencies(&self) -> &[Complex64] {
        &self.frequencies
    }

    /// H of the chain for which the grid was chosen, at [`Grid::frequencies`].
    pub fn samples(&self) -> &[Complex64] {
        &self.samples
    }
}

/// H over all frequencies that may matter.
fn scan(transfer: &(impl Transfer + ?Sized), direct: f64, ramp: f64) -> Result<Vec<Point>, TransientError> {
    let count = ((SCAN.1 / SCAN.0).log10() * PER_DECADE as f64).round() as usize;
    let mut points: Vec<Point> = Vec::with_capacity(count + 1);
    for k in 0..=count {
        let omega = SCAN.0 * 10f64.powf(k as f64 / PER_DECADE as f64);
        // Short enough that the phase of any delay up to 1 µs stays below a radian.
        let by = (1e-4 * omega).min(1e6);
        let [h, above] = [omega, omega + by].map(|w| transfer.at(Complex64::new(0.0, w)) - direct);
        if !(h.is_finite() && above.is_finite()) {
            // Far above the band numerator and denominator may overflow.
            match points.last() {
                Some(last) if last.h.norm() < 1e-6 => break,
                _ => return Err(TransientError::NotFinite { frequency_hz: omega / TAU }),
            }
        }
        points.push(Point { omega, h, above, by, weight: 1f64.min(2.0 / (omega * ramp)) });
    }
    Ok(points)
}

/// The frequency above which nothing of a step matters.
fn top(scan: &[Point], scale: f64, told: &mut Vec<Finding>) -> f64 {
    let highest = &scan[scan.len() - 1];
    if highest.h.norm() * highest.weight > TELL * scale {
        told.push(findings::not_limited());
    }
    let mut rest = 0.0;
    for (k, p) in scan.iter().enumerate().rev() {
        rest += p.share();
        if rest > CUT * scale {
            return scan[(k + 1).min(scan.len() - 1)].omega;
        }
    }
    scan[0].omega
}

/// Bound of what a step lacks at any time when all above a frequency is missing: (1/π)∫|H·X|dω with |X| = weight/ω.
fn cut_above(scan: &[Point], top: f64) -> f64 {
    scan.iter().filter(|p| p.omega > top).map(Point::share).sum()
}

impl Point {
    fn share(&self) -> f64 {
        self.h.norm() * self.weight * (10f64.ln() / PER_DECADE as f64 / PI)
    }
}

/// How long what lies at a frequency needs to die.
struct Needs {
    /// Frequency and time (s) without the common delay, falling: that of all frequencies from here up.
    times: Vec<(f64, f64)>,
    /// Delay that all frequencies share, s.
    delay: f64,
    /// That of the whole, s; what the lowest band needs.
    whole: f64,
}

impl Needs {
    fn new(scan: &[Point], mut poles: Vec<Pole>, scale: f64) -> Self {
        let mut delay = f64::INFINITY;
        for p in scan.iter().filter(|p| p.h.norm() * p.weight > 10.0 * CUT * scale) {
            delay = delay.min(-(p.above / p.h).arg() / p.by);
        }
        let delay = if delay.is_finite() { delay.max(0.0) } else { 0.0 };
        // Poles behind a long delay have residues beyond measure; those die in the table by themselves.
        poles.retain(|p| -p.at * delay < 3.0);
        let rest = |h: Complex64, omega: f64| {
            let s = Complex64::new(0.0, omega);
            let slow: Complex64 = poles.iter().map(|p| p.residue / (s - p.at)).sum();
            (h - slow) * Complex64::cis(omega * delay)
        };
        let sizes: Vec<(f64, f64)> = scan
            .iter()
            .map(|p| {
                let h = rest(p.h, p.omega);
                (h.norm(), (rest(p.above, p.omega + p.by) - h).norm() / p.by)
            })
            .collect();
        let mut times: Vec<(f64, f64)> = Vec::with_capacity(scan.len());
        let mut longest = 0f64;
        for (k, p) in scan.iter().enumerate().rev() {
            let around = &sizes[k.saturating_sub(2)..(k + 3).min(sizes.len())];
            let size = around.iter().map(|s| s.0).fold(0.0, f64::max);
            let folds = (size * p.weight / (0.1 * LEFT * scale)).ln();
            // Differences that are all rounding say nothing.
            if folds > 0.0 && sizes[k].1 * p.by > 1e-13 * scale {
                longest = longest.max(folds * sizes[k].1 / size);
            }
            times.push((p.omega, longest));
        }
        times.reverse();
        Self { whole: times[0].1, times, delay }
    }

    /// The time of all frequencies from `omega` up.
    fn time(&self, omega: f64) -> f64 {
        let k = self.times.partition_point(|t| t.0 < omega);
        self.times[k.saturating_sub(1).min(self.times.len() - 1)].1
    }

    /// Doubles the time of the band that starts at `from` (0: of the lowest one only).
    fn longer(&mut self, from: f64) {
        if from > 0.0 {
            let at_least = 2.0 * (self.time(0.5 * from) + HAND_OVER_TIME / from);
            for t in self.times.iter_mut().take_while(|t| t.0 <= from) {
                t.1 = t.1.max(at_least);
            }
            self.whole = self.whole.max(at_least);
        } else {
            self.whole = 2.0 * self.whole.max(self.times[0].1);
        }
    }

    fn earlier(&mut self) {
        for t in &mut self.times {
            t.1 += self.delay;
        }
        self.whole += self.delay;
        self.delay = 0.0;
    }

    /// Window of a band that starts at `from` (0: of the lowest one) and ends at `to`, s.
    fn window(&self, from: f64, to: f64) -> f64 {
        if from > 0.0 {
            self.time(0.5 * from) + 2.0 * HAND_OVER_TIME / from
        } else {
            self.whole + 2.0 * HAND_OVER_TIME / to
        }
    }

    /// Where to split the spectrum so that the number of samples is least (by dynamic programming over every second point
    /// of the scan): the upper ends of all bands, and that number with a toll for each band.
    fn edges(&self, top: f64, least_split: f64) -> (Vec<f64>, f64) {
        const TOLL: f64 = 60.0;
        let mut places = vec![0.0];
        places.extend(
            self.times.iter().step_by(2).map(|t| t.0).filter(|w| *w < 0.7 * top && *w >= least_split),
        );
        places.push(top);
        // Least number of samples up to each place, and where its last band starts.
        let mut best = vec![(0.0, 0usize); places.len()];
        for end in 1..places.len() {
            best[end] = (0..end)
                .filter(|start| places[*start] < 0.7 * places[end])
                .map(|start| {
                    let (from, to) = (places[start], places[end]);
                    (best[start].0 + TOLL + (1.5 * to - 0.5 * from) * self.window(from, to) / TAU, start)
                })
                .fold((f64::INFINITY, 0), |a, b| if b.0 < a.0 { b } else { a });
        }
        let mut edges = Vec::new();
        let mut place = places.len() - 1;
        while place > 0 {
            edges.push(places[place]);
            place = best[place].1;
        }
        edges.reverse();
        (edges, best[places.len() - 1].0)
    }

    fn windows(&self, edges: &[f64]) -> Vec<Band> {
        let mut from = 0.0;
        edges
            .iter()
            .map(|&to| {
                let lead = HAND_OVER_TIME / if from > 0.0 { from } else { to };
                let band = Band::new(from, to, self.delay - lead, self.window(from, to));
                from = to;
                band
            })
            .collect()
    }
}
