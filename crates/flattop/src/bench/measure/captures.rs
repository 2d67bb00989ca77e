//! Captures for a measurement: read whole, since they are kept, and assessed each on its own.

use std::path::PathBuf;

use flattop_captures::ReadOptions;
use flattop_core::assessment::AdjustedAt;
use flattop_core::bench::measured::Reading;
use flattop_core::divider::Divider;
use flattop_core::finding::{Finding, Severity};
use flattop_register::Digest;
use flattop_report::measured::Capture;
use flattop_report::subject::Assumptions;

use crate::assess;

/// Captures in the order in which they were read.
#[derive(Default)]
pub(super) struct Looks {
    all: Vec<Look>,
}

struct Look {
    capture: Capture,
    bytes: Vec<u8>,
    findings: Vec<Finding>,
}

impl Looks {
    /// Reads and assesses captures of one setting. Those that carry no estimate are told by [`Looks::failed`].
    #[allow(clippy::disallowed_methods)] // reading files is the program's part
    pub(super) fn add(
        &mut self,
        role: &'static str,
        files: &[PathBuf],
        divider: Divider,
    ) -> Result<Vec<Reading>, String> {
        // The resistors and their tolerance come in later; e and τp do not depend on them.
        let assumptions = Assumptions {
            divider,
            resistor_tolerance: 0.0,
            adjusted_at: AdjustedAt::Tip,
            source_amplitude_v: None,
        };
        let mut readings = Vec::new();
        for file in files {
            let name = file.display().to_string();
            let bytes = std::fs::read(file)
                .map_err(|e| format!("{name}: cannot be read: {e}; check the path and its permissions"))?;
            let capture = flattop_captures::read_bytes(&name, &bytes, &ReadOptions::default())
                .map_err(|e| e.to_string())?;
            let assessment = assess::square(name.clone(), &capture, &assumptions, 1.0).assessment;
            let of_capture = |f: &Finding| Finding { message: format!("{name}: {}", f.message), ..f.clone() };
            let mut findings: Vec<Finding> = assessment.findings.iter().map(of_capture).collect();
            match &assessment.compensation {
                Some(compensation) => readings.push(Reading::from(compensation)),
                None if findings.iter().all(|f| f.severity != Severity::Fault) => {
                    findings.push(Finding::fault(
                        "no-estimate",
                        format!("{name}: the capture carries no estimate"),
                        "capture a square wave of about 1 kHz over a few periods",
                    ));
                }
                None => {}
            }
            let sha256 = Digest::of(&bytes).to_string();
            self.all.push(Look { capture: Capture { role, file: name, sha256 }, bytes, findings });
        }
        Ok(readings)
    }

    /// Whether a capture carries no estimate.
    pub(super) fn failed(&self) -> bool {
        self.all.iter().flat_map(|look| &look.findings).any(|f| f.severity == Severity::Fault)
    }

    pub(super) fn findings(&self) -> Vec<Finding> {
        self.all.iter().flat_map(|look| look.findings.clone()).collect()
    }

    pub(super) fn captures(&self) -> Vec<Capture> {
        self.all.iter().map(|look| look.capture.clone()).collect()
    }

    /// The bytes as they are.
    pub(super) fn raw(&self) -> Vec<&[u8]> {
        self.all.iter().map(|look| look.bytes.as_slice()).collect()
    }

    /// What each capture was for, for the logbook.
    pub(super) fn roles(&self) -> Vec<serde_json::Value> {
        let one = |look: &Look| serde_json::json!({"role": look.capture.role, "sha256": look.capture.sha256});
        self.all.iter().map(one).collect()
    }
}
