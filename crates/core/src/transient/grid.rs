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
        transfer: &impl Transfer,
        signal: &Signal,
        workspace: &mut Workspace,
    ) -> Result<Self, TransientError> {
        Self::choose_for_all(&[transfer], signal, workspace)
    }

    /// Chooses one grid that is good for several chains (the variants of one, say), and samples the first there.
    ///
    /// # Errors
    /// [`TransientError`] for a signal that is none, for a response that is not finite, and for no chain at all.
    pub fn choose_for_all(
        chains: &[&dyn Transfer],
        signal: &Signal,
        workspace: &mut Workspace,
    ) -> Result<Self, TransientError> {
        let first = *chains.first().ok_or(TransientError::NoChain)?;
        let excitation = Excitation::new(signal)?;
        let (event, period) = match &excitation.form {
            Form::Sine { frequency, .. } => {
                let at = Complex64::new(0.0, TAU * frequency);
                return Self::sampled(first, Layout::Single, vec![at], 1.0, vec![]);
            }
            Form::Exponential { tau, .. } => (Event::Exponential(*tau), None),
            Form::Burst { frequency, .. } => (Event::Sine(*frequency), None),
            Form::Lines(lines) => (Event::Bend, lines.period),
        };
        let ramp = excitation.shortest_ramp();
        let scans =
            chains.iter().map(|chain| Scan::new(*chain, ramp)).collect::<Result<Vec<_>, TransientError>>()?;
        let scale = scans.iter().map(|s| s.scale).fold(f64::INFINITY, f64::min);
        let mut told = Vec::new();
        if scans.iter().any(Scan::is_unlimited) {
            told.push(findings::not_limited());
        }
        let mut top = scans.iter().map(Scan::top).fold(0.0, f64::max);
        // A sine must lie well inside of the lowest band, unless nothing of it passes.
        let mut least_split = 0.0;
        if let Event::Sine(frequency) = event {
            let omega = TAU * frequency;
            let passes = |(scan, chain): (&Scan, &&dyn Transfer)| {
                (chain.at_frequency(frequency) - scan.direct).norm() > 1e-7 * scale
            };
            if scans.iter().zip(chains).any(passes) {
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
                return Self::sampled(first, layout, frequencies, scale, told);
            }
        }
        let poles: Vec<_> = chains.iter().map(|chain| real_poles(*chain, SLOWEST, top)).collect();
        let mut needs = Needs::new(&scans, poles);
        let mut edges = needs.edges(top, least_split);
        let wanted = top;
        while edges.1 > SAMPLES && top > least_split.max(1e3) {
            top = (0.8 * top).max(least_split);
            edges = needs.edges(top, least_split);
        }
        let cut = scans.iter().map(|s| s.cut_above(top)).fold(0.0, f64::max);
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
            let grid = Self::sampled(first, layout, frequencies, scale, told.clone())?;
            // For each band the worst of all chains.
            let mut left = vec![(0f64, 0f64); edges.0.len()];
            for (k, chain) in chains.iter().enumerate() {
                let own: Vec<_>;
                let samples = if k == 0 {
                    &grid.samples
                } else {
                    own = grid.frequencies.iter().map(|s| chain.at(*s)).collect();
                    &own
                };
                for (worst, left) in
                    left.iter_mut().zip(Kernel::new(*chain, &grid, samples, workspace)?.left())
                {
                    *worst = (worst.0.max(left.0), worst.1.max(left.1));
                }
            }
            best = Some(grid);
            let mut grown = false;
            if needs.delay > 0.0 && left.iter().any(|l| l.0 > LEFT * scale) {
                needs.earlier();
                grown = true;
            }
            for (left, from) in left.iter().zip(std::iter::once(0.0).chain(edges.0.iter().copied())) {
                if left.1 > LEFT * scale {
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

/// H of one chain over all frequencies that may matter.
struct Scan {
    points: Vec<Point>,
    direct: f64,
    scale: f64,
}

impl Scan {
    fn new(transfer: &dyn Transfer, ramp: f64) -> Result<Self, TransientError> {
        let direct = direct_share(transfer);
        let count = ((SCAN.1 / SCAN.0).log10() * PER_DECADE as f64).round() as usize;
        let ratio = 10f64.powf(1.0 / PER_DECADE as f64);
        let mut omega = SCAN.0;
        let mut points: Vec<Point> = Vec::with_capacity(count + 1);
        for _ in 0..=count {
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
            omega *= ratio;
        }
        let scale = points.iter().map(|p| p.h.norm()).fold(direct.abs(), f64::max).max(f64::MIN_POSITIVE);
        Ok(Self { points, direct, scale })
    }

    /// Whether nothing limits how fast a step is.
    fn is_unlimited(&self) -> bool {
        self.points.last().is_some_and(|p| p.h.norm() * p.weight > TELL * self.scale)
    }

    /// The frequency above which nothing of a step matters.
    fn top(&self) -> f64 {
        let mut rest = 0.0;
        for (k, p) in self.points.iter().enumerate().rev() {
            rest += p.share();
            if rest > CUT * self.scale {
                return self.points[(k + 1).min(self.points.len() - 1)].omega;
            }
        }
        SCAN.0
    }

    /// Bound of what a step lacks at any time when all above a frequency is missing, as share of it: (1/π)∫|H·X|dω with
    /// |X| = weight/ω.
    fn cut_above(&self, top: f64) -> f64 {
        self.points.iter().filter(|p| p.omega > top).map(Point::share).sum::<f64>() / self.scale
    }

    /// The delay that all frequencies share, s; infinite where none matters.
    fn delay(&self) -> f64 {
        let matters = |p: &&Point| p.h.norm() * p.weight > 10.0 * CUT * self.scale;
        let delays = self.points.iter().filter(matters).map(|p| -(p.above / p.h).arg() / p.by);
        delays.fold(f64::INFINITY, f64::min)
    }

    /// Raises the times that frequencies (from each one up) need to die by those of this chain without its real poles.
    fn raise(&self, times: &mut Vec<(f64, f64)>, delay: f64, mut poles: Vec<Pole>) {
        // Poles behind a long delay have residues beyond measure; those die in the table by themselves.
        poles.retain(|p| -p.at * delay < 3.0);
        let rest = |h: Complex64, omega: f64| {
            let s = Complex64::new(0.0, omega);
            let slow: Complex64 = poles.iter().map(|p| p.residue / (s - p.at)).sum();
            (h - slow) * Complex64::cis(omega * delay)
        };
        let sizes: Vec<(f64, f64)> = self
            .points
            .iter()
            .map(|p| {
                let h = rest(p.h, p.omega);
                (h.norm(), (rest(p.above, p.omega + p.by) - h).norm() / p.by)
            })
            .collect();
        times.extend(self.points.iter().skip(times.len()).map(|p| (p.omega, 0.0)));
        let mut longest = 0f64;
        for (k, p) in self.points.iter().enumerate().rev() {
            let around = &sizes[k.saturating_sub(2)..(k + 3).min(sizes.len())];
            let size = around.iter().map(|s| s.0).fold(0.0, f64::max);
            let folds = (size * p.weight / (0.1 * LEFT * self.scale)).ln();
            // Differences that are all rounding say nothing.
            if folds > 0.0 && sizes[k].1 * p.by > 1e-13 * self.scale {
                longest = longest.max(folds * sizes[k].1 / size);
            }
            times[k].1 = times[k].1.max(longest);
        }
    }
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
    fn new(scans: &[Scan], poles: Vec<Vec<Pole>>) -> Self {
        let delay = scans.iter().map(Scan::delay).fold(f64::INFINITY, f64::min);
        let delay = if delay.is_finite() { delay.max(0.0) } else { 0.0 };
        let mut times = Vec::new();
        for (scan, poles) in scans.iter().zip(poles) {
            scan.raise(&mut times, delay, poles);
        }
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
