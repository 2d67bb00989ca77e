//! Records that have to be refused: how they are cut off, and what a refusal is.

use crate::wave::{Wave, record};
use flattop_core::assessment::{Assessment, Verdict};
use flattop_core::estimate::square::assess;
use flattop_core::finding::Severity;

/// How a record is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Texture {
    Clean,
    Noisy,
    Codes,
    NoisyCodes,
}

impl Texture {
    pub(crate) const ALL: [Texture; 4] =
        [Texture::Clean, Texture::Noisy, Texture::Codes, Texture::NoisyCodes];
}

/// Records cut off at a level, given as a share of the settled step above the settled top (or below the settled bottom).
pub(crate) fn cut(error: f64, beyond: f64, textures: &[Texture]) -> Vec<(String, Vec<f64>, f64)> {
    let mut list = Vec::new();
    for upper in [true, false] {
        for &texture in textures {
            let mut wave = Wave::plain(error);
            wave.noise_v = if matches!(texture, Texture::Noisy | Texture::NoisyCodes) { 0.01 } else { 0.0 };
            if matches!(texture, Texture::Codes | Texture::NoisyCodes) {
                wave = wave.eight_bits(0.8);
            }
            let limit = if upper { 3.0 * (1.0 + beyond) } else { -3.0 * beyond };
            let q = wave.quantum_v;
            let limit = if q > 0.0 { (limit / q).round() * q } else { limit };
            let samples = wave.capture();
            let samples = samples.iter().map(|&v| if upper { v.min(limit) } else { v.max(limit) }).collect();
            let side = if upper { "top" } else { "bottom" };
            list.push((format!("e {error}, {texture:?}, {side} cut at {beyond}"), samples, wave.interval_s));
        }
    }
    list
}

fn check(what: &str, a: &Assessment, codes: &[&str]) -> Option<String> {
    let faults: Vec<_> = a.findings.iter().filter(|f| f.severity == Severity::Fault).collect();
    let right = a.verdict == Verdict::Undetermined
        && a.compensation.is_none()
        && !faults.is_empty()
        && faults.iter().all(|f| !f.remedy.is_empty() && !f.message.is_empty());
    let named = codes.is_empty() || faults.iter().any(|f| codes.contains(&f.code));
    (!right || !named).then(|| {
        format!(
            "{what}: {:?}, e {:?}, findings {:?}",
            a.verdict,
            a.compensation.map(|c| c.error),
            a.findings.iter().map(|f| f.code).collect::<Vec<_>>()
        )
    })
}

pub(crate) fn refused(records: impl IntoIterator<Item = (String, Vec<f64>, f64)>, codes: &[&str]) {
    let settings = Wave::plain(0.0).settings();
    let faults: Vec<String> = records
        .into_iter()
        .filter_map(|(what, samples, interval_s)| {
            check(&what, &assess(record(&samples, interval_s), &settings), codes)
        })
        .collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
