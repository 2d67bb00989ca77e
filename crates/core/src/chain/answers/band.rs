//! How far up the chain carries: −3 dB, flatness, and the sines within a stated error.

use super::super::parts::{Chain, Coupling};
use super::super::transfer::Transfer;
use super::super::variants::Against;

/// Where searches begin, Hz: below any corner of a probe, an input or a node.
const LOWEST_HZ: f64 = 1e-3;

/// Points of a search in each decade. What is narrower than 2.3 % of its frequency may be missed.
const POINTS_PER_DECADE: f64 = 100.0;

/// The gain |N·H| at the lowest frequencies, the coupling left out: what all passband figures are related to.
pub fn passband_gain(chain: &Chain, against: Against) -> f64 {
    gain_of(&direct(chain), against, 0.0)
}

/// Lowest frequency (Hz) at which the gain has fallen to 1/√2 of [`passband_gain`], coupling left out; `None` if none up to a limit (Hz).
pub fn bandwidth_hz(chain: &Chain, against: Against, up_to_hz: f64) -> Option<f64> {
    let chain = direct(chain);
    let threshold = passband_gain(&chain, against) * std::f64::consts::FRAC_1_SQRT_2;
    first(up_to_hz, |f| gain_of(&chain, against, f) < threshold)
}

/// A deviation and where it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// Gain over passband gain, minus 1.
    pub deviation: f64,
    /// Frequency, Hz.
    pub frequency_hz: f64,
}

/// How flat a chain is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flatness {
    /// Furthest upwards; 0 at 0 Hz where the gain is nowhere above that of the passband.
    pub highest: Extreme,
    /// Furthest downwards; 0 at 0 Hz where the gain is nowhere below.
    pub lowest: Extreme,
}

/// Largest deviations of the gain from [`passband_gain`] from 0 up to a frequency (Hz), coupling left out.
pub fn flatness(chain: &Chain, against: Against, up_to_hz: f64) -> Flatness {
    let chain = direct(chain);
    let passband = passband_gain(&chain, against);
    let deviation = |f: f64| gain_of(&chain, against, f) / passband - 1.0;
    let none = Extreme { deviation: 0.0, frequency_hz: 0.0 };
    let grid = grid(up_to_hz);
    let furthest = |sign: f64| {
        let mut best = (none, 0);
        for (k, &frequency_hz) in grid.iter().enumerate() {
            let deviation = deviation(frequency_hz);
            if sign * deviation > sign * best.0.deviation {
                best = (Extreme { deviation, frequency_hz }, k);
            }
        }
        let (extreme, k) = best;
        if k == 0 || k + 1 == grid.len() {
            return extreme;
        }
        let frequency_hz = summit(grid[k - 1], grid[k + 1], |f| sign * deviation(f));
        let refined = Extreme { deviation: deviation(frequency_hz), frequency_hz };
        if sign * refined.deviation > sign * extreme.deviation { refined } else { extreme }
    };
    Flatness { highest: furthest(1.0), lowest: furthest(-1.0) }
}

/// The sines that a chain carries.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CarriedBand {
    /// Lowest frequency, Hz; 0 without ac coupling.
    pub from_hz: f64,
    /// First frequency above it at which the error is larger, Hz; `None` if there is none up to the limit of the search.
    pub to_hz: Option<f64>,
}

/// The sines whose shown amplitude is within an error (0.02 for ±2 %) of the amplitude at the node without the probe.
///
/// Everything counts: the gain at dc, coupling, compensation (from a few kHz on), loading, contact, cable, response. The band is the lowest one.
/// `None` where the gain of the passband is itself further off than that (a frequency that is right by chance, on the way up or down, is no
/// band), or where coupling leaves nothing up to the limit (Hz).
pub fn carried_band(chain: &Chain, error: f64, up_to_hz: f64) -> Option<CarriedBand> {
    let inside = |f: f64| (gain_of(chain, Against::UnloadedNode, f) - 1.0).abs() <= error;
    if !((passband_gain(chain, Against::UnloadedNode) - 1.0).abs() <= error) {
        return None;
    }
    let from_hz = if inside(0.0) { 0.0 } else { first(up_to_hz, inside)? };
    let grid = grid(up_to_hz);
    let mut last_inside = from_hz;
    for &f in grid.iter().filter(|f| **f > from_hz) {
        if !inside(f) {
            return Some(CarriedBand { from_hz, to_hz: Some(between(last_inside, f, |f| !inside(f))) });
        }
        last_inside = f;
    }
    Some(CarriedBand { from_hz, to_hz: None })
}

/// The chain with its coupling left out.
fn direct(chain: &Chain) -> Chain {
    let mut chain = chain.clone();
    chain.input.coupling = Coupling::Dc;
    chain
}

fn gain_of(chain: &Chain, against: Against, frequency_hz: f64) -> f64 {
    chain.against(against).at_frequency(frequency_hz).norm() * chain.ratio
}

/// 0 and then evenly spaced on a logarithmic scale up to and with the last one.
pub(super) fn grid(up_to_hz: f64) -> Vec<f64> {
    let decades = (up_to_hz / LOWEST_HZ).log10();
    let mut grid = vec![0.0];
    if decades > 0.0 && decades.is_finite() {
        let steps = (decades * POINTS_PER_DECADE).ceil();
        grid.extend((0..steps as u32).map(|k| LOWEST_HZ * 10.0_f64.powf(decades * f64::from(k) / steps)));
    }
    grid.push(up_to_hz);
    grid
}

/// First frequency for which something holds, to the last digits; `None` if for none up to a limit.
fn first(up_to_hz: f64, holds: impl Fn(f64) -> bool) -> Option<f64> {
    let grid = grid(up_to_hz);
    let k = grid.iter().position(|f| holds(*f))?;
    Some(if k == 0 { 0.0 } else { between(grid[k - 1], grid[k], holds) })
}

/// Where between two frequencies something begins to hold that holds at the upper one only.
fn between(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    while high - low > 1e-14 * high {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if holds(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

/// Highest point of a function with one summit between two frequencies (golden section).
fn summit(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let share = 0.5 * (5.0_f64.sqrt() - 1.0);
    let (mut a, mut b) = (high - share * (high - low), low + share * (high - low));
    let (mut at_a, mut at_b) = (f(a), f(b));
    for _ in 0..60 {
        if at_a > at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - share * (high - low);
            at_a = f(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + share * (high - low);
            at_b = f(b);
        }
    }
    0.5 * (low + high)
}
