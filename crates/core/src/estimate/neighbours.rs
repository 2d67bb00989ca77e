//! Noise as neighbouring samples show it, before anything is known of the signal.

use crate::samples::SampleView;

/// Standard deviation of the white noise of a sample, V, from second differences of neighbours, the larger ones (edges) left out.
pub(super) fn noise(view: SampleView<'_>) -> f64 {
    let stride = (view.len() / 4096).max(1);
    let mut squares: Vec<f64> = (0..view.len().saturating_sub(2))
        .step_by(stride)
        .map(|k| (view.at(k) - 2.0 * view.at(k + 1) + view.at(k + 2)).powi(2) / 6.0)
        .filter(|d| d.is_finite())
        .collect();
    if squares.is_empty() {
        return 0.0;
    }
    squares.sort_unstable_by(f64::total_cmp);
    // Edges may touch a quarter of the samples of a coarse record: the smaller three fifths are kept. Of squared normal
    // deviates they hold the share (0.6 − 2·z·φ(z))/0.6 = 0.2146 of the mean, at z = 0.8416.
    let kept = &squares[..(squares.len() * 3 / 5).max(1)];
    (kept.iter().sum::<f64>() / kept.len() as f64 / 0.2146).sqrt()
}
