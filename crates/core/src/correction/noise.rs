//! What a record says about itself: white noise, steps of its digitiser, the range it covers.
//!
//! Noise is read off fourth differences, which leave little of anything smooth: their median magnitude belongs to the noise wherever
//! less than half of the record is edges. For white noise of standard deviation σ a fourth difference has σ·√70 (1² + 4² + 6² + 4² + 1²),
//! and the median magnitude of a normal variable is 0.674 490 of its standard deviation.

use crate::samples::{Raw, SampleView};

/// Median magnitude of a standard normal variable.
const MEDIAN_MAGNITUDE: f64 = 0.674_489_750_196_081_7;

/// Stretches that are looked at, spread evenly over the record, and samples in each.
const STRETCHES: usize = 64;
const STRETCH: usize = 4096;

/// Fewest fourth differences from which noise is read.
const LEAST: usize = 12;

/// What the noise of a record is known from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoiseSource {
    /// Fourth differences of the record.
    Record,
    /// The step of the digitiser, which hides whatever noise is smaller: step/√12 (JCGM 100, F.2.2.1).
    Step,
    /// Stated by whoever asks.
    Stated,
}

/// Noise and range of a record, in its stored units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// Standard deviation of the noise of one sample.
    pub standard_deviation: f64,
    /// What it is known from.
    pub source: NoiseSource,
    /// Least value seen.
    pub low: f64,
    /// Greatest value seen.
    pub high: f64,
}

impl Noise {
    /// Looks at up to 64 stretches of 4096 samples. `None` where there are fewer than 16 samples in a row without a missing one.
    pub fn of(samples: SampleView<'_>) -> Option<Self> {
        match samples.raw {
            Raw::F64(s) => of(s, |v| v),
            Raw::F32(s) => of(s, f64::from),
            Raw::I16(s) => of(s, f64::from),
        }
    }

    /// Greatest less least value.
    pub fn span(&self) -> f64 {
        self.high - self.low
    }
}

fn of<T: Copy>(samples: &[T], wide: impl Fn(T) -> f64) -> Option<Noise> {
    let mut fourth = Vec::new();
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut steps = Vec::new();
    let mut stretch = Vec::with_capacity(STRETCH);
    for from in starts(samples.len()) {
        stretch.clear();
        stretch.extend(samples[from..samples.len().min(from + STRETCH)].iter().map(|v| wide(*v)));
        for &value in stretch.iter().filter(|v| v.is_finite()) {
            (low, high) = (low.min(value), high.max(value));
        }
        steps.extend(stretch.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|size| *size > 0.0));
        // NaN in, NaN out: a missing sample leaves its neighbours' differences out.
        let differences =
            stretch.windows(5).map(|w| (w[0] - 4.0 * w[1] + 6.0 * w[2] - 4.0 * w[3] + w[4]).abs());
        fourth.extend(differences.filter(|d| d.is_finite()));
    }
    if fourth.len() < LEAST {
        return None;
    }
    let middle = fourth.len() / 2;
    let (_, median, _) = fourth.select_nth_unstable_by(middle, f64::total_cmp);
    let noise = *median / (MEDIAN_MAGNITUDE * 70f64.sqrt());
    let hidden = digitiser_step(&steps).map_or(0.0, |step| step / 12f64.sqrt());
    let (standard_deviation, source) =
        if hidden > noise { (hidden, NoiseSource::Step) } else { (noise, NoiseSource::Record) };
    Some(Noise { standard_deviation, source, low, high })
}

/// The step of which all differences are multiples, if there is one: the least of them, where nearly all others are close to multiples
/// of it. Differences of a record that no digitiser has rounded lie anywhere.
fn digitiser_step(sizes: &[f64]) -> Option<f64> {
    let least = sizes.iter().copied().min_by(f64::total_cmp)?;
    let is_multiple = |size: &&f64| {
        let count = *size / least;
        // Codes that were printed with few digits are off by a little.
        (count - count.round()).abs() < 0.05 + 1e-3 * count
    };
    // Beyond fifty steps printing may hide whether it is a multiple; those say nothing.
    let near = || sizes.iter().filter(|size| **size < 50.0 * least);
    let multiples = near().filter(is_multiple).count();
    (multiples * 10 >= near().count() * 9 && near().count() * 2 >= sizes.len()).then_some(least)
}

/// Where stretches begin; all of a short record.
fn starts(points: usize) -> impl Iterator<Item = usize> {
    let count = points.div_ceil(STRETCH).clamp(1, STRETCHES);
    let last = points.saturating_sub(STRETCH);
    (0..count)
        .map(move |k| if count == 1 { 0 } else { (last as f64 * k as f64 / (count - 1) as f64) as usize })
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, relative, within};
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    use rand_xoshiro::Xoshiro256PlusPlus;

    fn noisy(points: usize, sigma: f64, signal: impl Fn(usize) -> f64) -> Vec<f64> {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(7);
        let normal = |r: &mut Xoshiro256PlusPlus| -> f64 { StandardNormal.sample(r) };
        (0..points).map(|k| signal(k) + sigma * normal(&mut random)).collect()
    }

    #[test]
    fn noise_is_found_under_edges_and_sines() {
        let square = |k: usize| if (k / 500).is_multiple_of(2) { 0.0 } else { 3.0 };
        let sine = |k: usize| (k as f64 * 0.06).sin();
        for values in [noisy(60_000, 0.01, square), noisy(60_000, 0.01, sine)] {
            let found = Noise::of(SampleView::volts(&values)).expect("enough samples");
            assert_close!(found.standard_deviation, 0.01, relative(0.02));
            assert_eq!(found.source, NoiseSource::Record);
        }
    }

    #[test]
    fn a_coarse_digitiser_counts_with_its_step() {
        let values: Vec<f64> = (0..5000).map(|k| 0.04 * (20.0 * (k as f64 * 0.003).sin()).round()).collect();
        let found = Noise::of(SampleView::volts(&values)).expect("enough samples");
        assert_close!(found.standard_deviation, 0.04 / 12f64.sqrt(), relative(1e-9));
        assert_eq!(found.source, NoiseSource::Step);
        assert_close!(found.span(), 1.6, within(1e-12));
    }

    #[test]
    fn a_smooth_record_without_noise_has_no_digitiser() {
        let values: Vec<f64> = (0..5000).map(|k| (k as f64 * 0.003).sin()).collect();
        let found = Noise::of(SampleView::volts(&values)).expect("enough samples");
        assert!(found.standard_deviation < 1e-8);
        assert_eq!(found.source, NoiseSource::Record);
    }

    #[test]
    fn missing_samples_are_passed_over_and_nothing_gives_nothing() {
        let mut values = noisy(20_000, 0.01, |_| 1.0);
        values.iter_mut().step_by(50).for_each(|v| *v = f64::NAN);
        let found = Noise::of(SampleView::volts(&values)).expect("enough samples");
        assert_close!(found.standard_deviation, 0.01, relative(0.05));
        assert_eq!(Noise::of(SampleView::volts(&[f64::NAN; 100])), None);
        assert_eq!(Noise::of(SampleView::volts(&[])), None);
    }
}
