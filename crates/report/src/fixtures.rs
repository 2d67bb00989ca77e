//! Subjects for this crate's tests, made from closed forms.

use flattop_core::assessment::{AdjustedAt, Assessment, Compensation, Estimate, SquareWave, Trace, Verdict};
use flattop_core::divider::{Capacitances, Divider};
use flattop_core::finding::Finding;

use crate::subject::{Assumptions, Method, RecordFacts, Subject};

pub(crate) const DIVIDER: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };

/// The pairing of C1 = 10 pF on C2 = 98 pF behind 9 MΩ : 1 MΩ: e = −7.407 %, τp = 97.2 µs.
pub(crate) fn undercompensated() -> Subject {
    subject(Capacitances { tip_f: 10e-12, shunt_f: 98e-12 }, 4e-4, 1e-2)
}

pub(crate) fn subject(capacitances: Capacitances, error_uncertainty: f64, tolerance: f64) -> Subject {
    let shelf = DIVIDER.shelf(capacitances);
    let compensation = Compensation {
        error: Estimate { value: shelf.error, standard_uncertainty: error_uncertainty },
        time_constant_s: Estimate { value: shelf.time_constant_s, standard_uncertainty: 6e-7 },
        correlation: 0.4,
        divider: DIVIDER,
        resistor_uncertainty: 0.01 / 3f64.sqrt(),
    };
    Subject {
        file: "bench-a-ch1-probe07.csv".into(),
        method: Method::SquareWave,
        record: Some(RecordFacts {
            points: 40_000,
            interval_s: 1e-7,
            columns: 2,
            column: 2,
            column_name: Some("ch1_V".into()),
            format: "delimited text".into(),
            sha256: "ab".repeat(32),
        }),
        captures: Vec::new(),
        on_bench: None,
        assumptions: Assumptions {
            divider: DIVIDER,
            resistor_tolerance: 0.01,
            adjusted_at: AdjustedAt::Tip,
            source_amplitude_v: None,
        },
        assessment: Assessment {
            verdict: compensation.verdict(tolerance),
            tolerance,
            compensation: Some(compensation),
            square_wave: Some(SquareWave {
                frequency_hz: Some(Estimate { value: 1000.02, standard_uncertainty: 0.03 }),
                duty: Some(0.4998),
                low_level: Estimate { value: -0.002, standard_uncertainty: 1e-5 },
                high_level: Estimate { value: 0.331, standard_uncertainty: 1e-5 },
                edges: 8,
                transition_s: Some(1.2e-7),
                noise_rms: 2.1e-3,
            }),
            scatter: None,
            measured_response: Vec::new(),
            findings: vec![Finding::warning(
                "mains-hum",
                "a hum of 50 Hz, 3.1 mV rms, rides on the square wave",
                "keep the ground lead short and away from mains wiring",
            )],
            trace: trace(shelf.error, shelf.time_constant_s),
        },
    }
}

pub(crate) fn undetermined() -> Subject {
    let mut subject = undercompensated();
    subject.assessment.verdict = Verdict::Undetermined;
    subject.assessment.compensation = None;
    subject.assessment.square_wave = None;
    subject.assessment.findings = vec![Finding::fault(
        "no-edges",
        "the record holds no edge: the level stays within the noise",
        "connect the tip to the calibrator output and trigger on its edges",
    )];
    subject.assessment.trace.fit.fill(f64::NAN);
    subject
}

/// Four periods of 1 kHz, each stretch of 2 µs seen as its extremes.
fn trace(error: f64, time_constant_s: f64) -> Trace {
    let mut trace = Trace::default();
    let half_s = 5e-4;
    let decay = (-half_s / time_constant_s).exp();
    for k in 0..2000 {
        let time_s = (f64::from(k) + 0.5) * 2e-6;
        let since_s = (time_s + 1.3e-4) % half_s;
        let rising = ((time_s + 1.3e-4) / half_s) as i64 % 2 == 0;
        // Periodic steady state of 1 + e·exp(−t/τ): each edge starts from what the last one left.
        let deviation = error / (1.0 + decay) * (-since_s / time_constant_s).exp();
        let top = 0.1645 + 0.1665 * (1.0 + 2.0 * deviation);
        let value = if rising { top } else { 0.329 - top };
        let wobble = 4e-4 * (f64::from(k) * 2.399).sin();
        trace.time_s.push(time_s - 1e-3);
        trace.lowest.push(value - 5e-3 + wobble);
        trace.highest.push(value + 5e-3 + wobble);
        trace.mean.push(value + wobble);
        trace.fit.push(if since_s < 5e-6 { f64::NAN } else { value });
    }
    trace
}
