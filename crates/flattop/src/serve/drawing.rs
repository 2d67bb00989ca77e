//! What the page draws of a capture: record, fit, residual, and the error against frequency with its band.

use flattop_captures::Capture;
use flattop_core::assessment::{Assessment, Trace};
use flattop_core::samples::SampleView;
use flattop_report::subject::COVERAGE_FACTOR_95;
use serde::Serialize;
use utoipa::ToSchema;

/// Frequencies of the error, Hz: from here to there.
const FREQUENCIES_HZ: (f64, f64) = (100.0, 1e7);
/// How many, both ends included: twelve in each decade.
const FREQUENCIES: u32 = 61;
/// Most stretches of a window.
const MOST_STRETCHES: usize = 4000;

/// Record and fit, thinned: lists of the same length, one entry for each stretch of the record.
#[derive(Clone, Debug, Default, Serialize, ToSchema)]
pub(super) struct Drawing {
    /// Middle of the stretch, s.
    time_s: Vec<f64>,
    /// Lowest sample, V.
    low_v: Vec<Option<f32>>,
    /// Highest sample, V.
    high_v: Vec<Option<f32>>,
    /// Mean, V.
    mean_v: Vec<Option<f32>>,
    /// Fitted value, V; null where the fit leaves the record out.
    fit_v: Vec<Option<f32>>,
    /// Mean less fit, V; null there, too.
    residual_v: Vec<Option<f32>>,
    /// Amplitude error against frequency; null where there is no estimate.
    error: Option<ErrorBand>,
}

/// Amplitude error of a sine against its frequency, with the 95 % band.
#[derive(Clone, Debug, Default, Serialize, ToSchema)]
pub(super) struct ErrorBand {
    frequency_hz: Vec<f64>,
    value: Vec<Option<f32>>,
    low: Vec<Option<f32>>,
    high: Vec<Option<f32>>,
}

/// Single precision is more than a screen shows, and half as long in JSON. JSON knows no infinity.
pub(super) fn short(value: f64) -> Option<f32> {
    value.is_finite().then_some(value as f32).filter(|value| value.is_finite())
}

pub(super) fn shorts(values: impl IntoIterator<Item = f64>) -> Vec<Option<f32>> {
    values.into_iter().map(short).collect()
}

impl Drawing {
    pub(super) fn of(assessment: &Assessment) -> Self {
        let Trace { time_s, lowest, highest, mean, fit } = &assessment.trace;
        Self {
            time_s: time_s.clone(),
            low_v: shorts(lowest.iter().copied()),
            high_v: shorts(highest.iter().copied()),
            mean_v: shorts(mean.iter().copied()),
            fit_v: shorts(fit.iter().copied()),
            residual_v: shorts(mean.iter().zip(fit).map(|(mean, fit)| mean - fit)),
            error: band(assessment),
        }
    }

    /// With the error of another estimate, such as a running one.
    pub(super) fn with_error_of(
        mut self,
        compensation: Option<&flattop_core::assessment::Compensation>,
    ) -> Self {
        self.error = compensation.map(band_of);
        self
    }
}

fn band(assessment: &Assessment) -> Option<ErrorBand> {
    assessment.compensation.as_ref().map(band_of)
}

fn band_of(compensation: &flattop_core::assessment::Compensation) -> ErrorBand {
    let (from, to) = FREQUENCIES_HZ;
    let mut band = ErrorBand::default();
    for k in 0..FREQUENCIES {
        let share = f64::from(k) / f64::from(FREQUENCIES - 1);
        let frequency_hz = from * (to / from).powf(share);
        let error = compensation.response_at(frequency_hz).amplitude_error;
        let half = COVERAGE_FACTOR_95 * error.standard_uncertainty;
        band.frequency_hz.push(frequency_hz);
        band.value.push(short(error.value));
        band.low.push(short(error.value - half));
        band.high.push(short(error.value + half));
    }
    band
}

/// A stretch of a record, for zooming.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct Window {
    /// Time of its first sample, s.
    from_s: f64,
    /// Time of its last sample, s.
    to_s: f64,
    /// Samples in one entry of the lists.
    points_per_stretch: usize,
    /// Middle of each entry, s.
    time_s: Vec<f64>,
    low_v: Vec<Option<f32>>,
    high_v: Vec<Option<f32>>,
}

impl Window {
    /// From some time to some other; both ends, or all of it where nothing is said.
    pub(super) fn of(capture: &Capture, from_s: Option<f64>, to_s: Option<f64>, stretches: usize) -> Self {
        let points = capture.points;
        let last = points.saturating_sub(1);
        let place = |time: f64| ((time - capture.start_s) / capture.interval_s).clamp(0.0, last as f64);
        let from = from_s.filter(|t| t.is_finite()).map_or(0, |t| place(t).floor() as usize);
        let to = to_s.filter(|t| t.is_finite()).map_or(last, |t| place(t).ceil() as usize).max(from);
        let count = (to - from + 1).min(points);
        let per = count.div_ceil(stretches.clamp(2, MOST_STRETCHES)).max(1);
        let time = |at: f64| capture.start_s + at * capture.interval_s;
        let mut window = Self {
            from_s: time(from as f64),
            to_s: time(to as f64),
            points_per_stretch: per,
            time_s: Vec::new(),
            low_v: Vec::new(),
            high_v: Vec::new(),
        };
        let samples = capture.record().samples;
        for start in (from..from + count).step_by(per) {
            let end = (start + per).min(from + count);
            let (low, high) = extremes(samples, start, end);
            window.time_s.push(time(0.5 * (start + end - 1) as f64));
            window.low_v.push(short(low));
            window.high_v.push(short(high));
        }
        window
    }
}

fn extremes(samples: SampleView<'_>, start: usize, end: usize) -> (f64, f64) {
    let values = (start..end).map(|k| samples.at(k)).filter(|v| v.is_finite());
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(points: usize) -> Capture {
        let text: String = (0..points).map(|k| format!("{},{}\n", k as f64 * 1e-6, k)).collect();
        flattop_captures::read_bytes("ramp.csv", text.as_bytes(), &flattop_captures::ReadOptions::default())
            .unwrap()
    }

    #[test]
    fn a_window_holds_the_samples_between_its_ends() {
        let capture = ramp(1000);
        let all = Window::of(&capture, None, None, 100);
        assert_eq!((all.time_s.len(), all.points_per_stretch), (100, 10));
        assert_eq!((all.low_v[0], all.high_v[99]), (Some(0.0), Some(999.0)));
        let part = Window::of(&capture, Some(100.2e-6), Some(103.9e-6), 800);
        assert_eq!(part.low_v, [100.0, 101.0, 102.0, 103.0, 104.0].map(Some));
        for (from, to) in [
            (Some(1.0), Some(2.0)),
            (Some(2e-6), Some(1e-6)),
            (Some(f64::NAN), None),
            (Some(-1.0), Some(-0.5)),
        ] {
            let window = Window::of(&capture, from, to, 0);
            assert!(!window.time_s.is_empty() && window.from_s <= window.to_s, "{from:?} {to:?}");
        }
    }
}
