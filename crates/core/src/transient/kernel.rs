//! The response of one chain to one elementary event, ready to be looked up.

use super::TransientError;
use super::findings;
use super::grid::{Grid, Layout, SLOWEST, TELL, direct_share};
use super::poles::real_poles;
use super::table::{Table, Workspace};
use super::tail::{DEAD, Event, Slow, Tail};
use crate::chain::Transfer;
use crate::finding::Finding;
use num_complex::Complex64;

/// Response to one event.
#[derive(Clone, Debug)]
pub(super) struct Kernel {
    pub event: Event,
    pub slow: Slow,
    pub tail: Tail,
    /// One table for each band, lowest first; one of a whole period for harmonics; none for a sine.
    pub tables: Vec<Table>,
    /// Period of the table, s.
    pub period: Option<f64>,
    /// H at the one frequency of a sine.
    pub single: Complex64,
}

impl Kernel {
    pub(super) fn new(
        transfer: &(impl Transfer + ?Sized),
        grid: &Grid,
        samples: &[Complex64],
        workspace: &mut Workspace,
    ) -> Result<Self, TransientError> {
        if samples.len() != grid.frequencies.len() {
            return Err(TransientError::Samples { got: samples.len(), wanted: grid.frequencies.len() });
        }
        if let Some(k) = samples.iter().position(|h| !h.is_finite()) {
            return Err(TransientError::NotFinite {
                frequency_hz: grid.frequencies[k].im / std::f64::consts::TAU,
            });
        }
        let (event, span) = match &grid.layout {
            Layout::Bands { event, bands, .. } => (*event, Some(bands[0].window())),
            Layout::Single | Layout::Harmonics { .. } => (Event::Bend, None),
        };
        let single = samples[0];
        let direct = if matches!(grid.layout, Layout::Single) { 0.0 } else { direct_share(transfer) };
        // Periods need no slow poles: their harmonics are the settled state.
        let poles = span.map_or_else(Vec::new, |span| {
            let mut poles = real_poles(transfer, SLOWEST, DEAD / span);
            poles.retain(|p| p.residue != 0.0);
            poles
        });
        let slow = Slow::new(transfer, direct, poles, span);
        if !(slow.gain.is_finite() && slow.slope.is_finite()) {
            return Err(TransientError::NotFinite { frequency_hz: 0.0 });
        }
        let spectrum: Vec<Complex64> =
            grid.frequencies.iter().zip(samples).map(|(s, h)| (h - direct) * event.spectrum(*s)).collect();
        let mut kernel =
            Self { event, slow, tail: Tail::default(), tables: Vec::new(), period: None, single };
        match &grid.layout {
            Layout::Single => {}
            Layout::Harmonics { period, top } => {
                kernel.period = Some(*period);
                kernel.tables.push(Table::of_harmonics(*period, &spectrum, *top, workspace)?);
            }
            Layout::Bands { sigma, bands, .. } => {
                kernel.tail = Tail::new(transfer, event, &kernel.slow, bands[0].window());
                let mut rest = spectrum.as_slice();
                for (k, band) in bands.iter().enumerate() {
                    let (own, others) = rest.split_at(band.samples());
                    rest = others;
                    let tail = (k == 0).then_some(&kernel.tail);
                    kernel.tables.push(Table::of_band(band, *sigma, own, tail, workspace)?);
                }
            }
        }
        Ok(kernel)
    }

    /// For each band what is there at the start of the table and what is left at its end, in units of a step's response.
    pub(super) fn left(&self) -> Vec<(f64, f64)> {
        let order = self.event.step_order();
        self.tables
            .iter()
            .enumerate()
            .map(|(k, table)| {
                let known = |u: f64| match (k, order) {
                    (0, 0) => self.tail.value(u),
                    (0, _) => self.tail.rate(u),
                    _ => 0.0,
                };
                (table.worst(0.0, 0.01, order, |_| 0.0), table.worst(0.95, 1.0, order, known))
            })
            .collect()
    }

    /// Response at u to an event at 0, or its derivative.
    #[inline]
    pub(super) fn at(&self, u: f64, order: usize) -> f64 {
        self.tables.iter().map(|table| table.value(u, order)).sum()
    }

    /// The time after an event from which on its response is the tail, s.
    pub(super) fn end(&self) -> f64 {
        self.tables.first().map_or(0.0, Table::end)
    }

    /// The time before which there is no response, s.
    pub(super) fn start(&self) -> f64 {
        self.tables.iter().map(Table::start).fold(f64::INFINITY, f64::min)
    }

    /// Response at u, tail included.
    pub(super) fn whole(&self, u: f64) -> f64 {
        if u > self.end() { self.tail.value(u) } else { self.at(u, 0) }
    }

    pub(super) fn findings(&self, scale: f64) -> Vec<Finding> {
        if self.period.is_some() {
            return Vec::new();
        }
        let left = self.left();
        let (before, after) = left.iter().fold((0f64, 0f64), |a, l| (a.0.max(l.0), a.1.max(l.1)));
        let mut told = Vec::new();
        if before > TELL * scale {
            told.push(findings::early(before / scale));
        }
        if after > TELL * scale {
            told.push(findings::tail_long(after / scale, self.end()));
        }
        told
    }
}
