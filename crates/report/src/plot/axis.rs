//! Axes: where the ticks stand and what is written at them.

use crate::format::{prefix_for, significant};

/// A tick: where it stands on the axis and what is written there.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Tick {
    /// Value on the axis.
    pub(crate) at: f64,
    /// What is written.
    pub(crate) label: String,
}

/// Ticks at steps of 1, 2 or 5 times a power of ten, about `wanted` of them within `low..=high`, and the prefix of the
/// unit they are written in.
pub(crate) fn linear(low: f64, high: f64, wanted: usize) -> (Vec<Tick>, &'static str) {
    let (factor, prefix) = prefix_for(low.abs().max(high.abs()));
    let step = nice_step((high - low) / wanted.max(1) as f64);
    if step <= 0.0 || !step.is_finite() {
        return (Vec::new(), prefix);
    }
    let (first, last) = ((low / step - 1e-9).ceil() as i64, (high / step + 1e-9).floor() as i64);
    let places = (-(step / factor).log10().floor()).clamp(0.0, 12.0) as usize;
    let tick = |k: i64| {
        let at = k as f64 * step;
        Tick { at, label: typographic(&format!("{:.places$}", at / factor)) }
    };
    ((first..=last).map(tick).collect(), prefix)
}

/// One tick at each power of ten within `low..=high`, labelled with its unit.
pub(crate) fn decades(low: f64, high: f64, unit: &str) -> Vec<Tick> {
    let (first, last) = ((low.log10() - 1e-9).ceil() as i32, (high.log10() + 1e-9).floor() as i32);
    let tick = |k: i32| {
        let at = 10f64.powi(k);
        let (factor, prefix) = prefix_for(at);
        Tick { at, label: format!("{} {prefix}{unit}", significant(at / factor, 3)) }
    };
    (first..=last).map(tick).collect()
}

/// A true minus sign in place of the hyphen.
pub(crate) fn typographic(text: &str) -> String {
    let is_zero = !text.contains(|c: char| ('1'..='9').contains(&c));
    if is_zero { text.trim_start_matches('-').into() } else { text.replace('-', "−") }
}

/// The nearest of 1, 2, 5 times a power of ten.
fn nice_step(rough: f64) -> f64 {
    let power = 10f64.powf(rough.log10().floor());
    let share = rough / power;
    let limits = [(1.5, 1.0), (3.5, 2.0), (7.5, 5.0)];
    power * limits.into_iter().find(|(limit, _)| share < *limit).map_or(10.0, |(_, nice)| nice)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(ticks: &[Tick]) -> Vec<&str> {
        ticks.iter().map(|tick| tick.label.as_str()).collect()
    }

    #[test]
    fn ticks_stand_at_one_two_five() {
        let (ticks, prefix) = linear(-1e-3, 3e-3, 5);
        assert_eq!((labels(&ticks), prefix), (vec!["−1", "0", "1", "2", "3"], "m"));
        let (ticks, prefix) = linear(-0.08, 0.02, 5);
        assert_eq!((labels(&ticks), prefix), (vec!["−80", "−60", "−40", "−20", "0", "20"], "m"));
        let (ticks, _) = linear(0.0, 1.0, 2);
        assert_eq!(labels(&ticks), ["0.0", "0.5", "1.0"]);
        assert!(linear(1.0, 1.0, 5).0.is_empty());
    }

    #[test]
    fn decades_carry_their_unit() {
        let ticks = decades(10.0, 1e8, "Hz");
        assert_eq!(
            labels(&ticks),
            ["10 Hz", "100 Hz", "1 kHz", "10 kHz", "100 kHz", "1 MHz", "10 MHz", "100 MHz"]
        );
    }
}
