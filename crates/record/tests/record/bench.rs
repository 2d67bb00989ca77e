//! A bench of the Harrow Lane Lift Works with a year behind it, and captures made from the closed form.

use std::collections::BTreeMap;

use flattop_core::assessment::{AdjustedAt, Assessment, Compensation, Estimate, Verdict};
use flattop_core::bench::{
    Id, Input, InputId, Moment, Oscilloscope, Pairing, Probe, Range, Stage, Toleranced, Trimmer,
};
use flattop_core::divider::{Capacitances, Divider};
use flattop_core::estimate::square;
use flattop_core::rating::{MeasurementCategory, RatingPoint, ValueKind};
use flattop_core::samples::{Record, SampleView};
use flattop_record::compose::{Issue, Source};
use flattop_register::{
    Act, AssessmentRecord, Digest, Effect, Entry, Filter, KeptCapture, OpenMode, Register, Retired, Series,
    Standing, Terms, Verification, Voids, unknown_input, unknown_oscilloscope, unknown_probe,
};
use flattop_report::json;
use flattop_report::subject::{Assumptions, Method, RecordFacts, Subject};

pub(crate) const DAY_MS: i64 = 86_400_000;
/// 2026-01-12, 09:20 +01:00.
pub(crate) const START_MS: i64 = 1_768_206_000_000;
pub(crate) const DIVIDER: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };
pub(crate) const PROGRAM: &str = "flattop 0.1.0";

pub(crate) fn at(day: i64) -> Moment {
    Moment { unix_ms: START_MS + day * DAY_MS, offset_minutes: 60 }
}

pub(crate) fn act(day: i64, note: Option<&str>) -> Act {
    let by = Some("door shop, early shift".to_owned());
    Act { at: at(day), by, program: PROGRAM.into(), note: note.map(str::to_owned) }
}

pub(crate) fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

pub(crate) fn input_id(text: &str) -> InputId {
    InputId::new(text).unwrap()
}

pub(crate) fn scope(name: &str, label: &str) -> Oscilloscope {
    let input = |name: &str, capacitance_f: f64| Input {
        resistance_ohm: Some(Toleranced { value: 1e6, tolerance: Some(2e4) }),
        capacitance_f: Some(Toleranced { value: capacitance_f, tolerance: Some(1e-12) }),
        bandwidth_hz: Some(200e6),
        rated_voltage_v: Some(300.0),
        rated_voltage_kind: Some(ValueKind::Rms),
        ..unknown_input(id(name))
    };
    Oscilloscope {
        label: Some(label.to_owned()),
        serial: Some("HL-0031".to_owned()),
        inputs: vec![input("ch1", 15e-12), input("ch2", 18e-12)],
        ..unknown_oscilloscope(id(name))
    }
}

pub(crate) fn probe(number: u32) -> Probe {
    Probe {
        label: Some(format!("Probe {number:02}")),
        serial: (number != 9).then(|| format!("HL-P{number:03}")),
        ratio: Some(10.0),
        tip_resistance_ohm: Some(Toleranced { value: 9e6, tolerance: Some(9e4) }),
        tip_capacitance_f: Some(Toleranced { value: 10e-12, tolerance: Some(1e-12) }),
        compensation_range_f: Some(Range { low: 8e-12, high: 20e-12 }),
        adjusted_at: Some(Trimmer::Tip),
        bandwidth_hz: Some(250e6),
        voltage_rating: vec![
            RatingPoint { frequency_hz: 0.0, voltage_v: 600.0 },
            RatingPoint { frequency_hz: 10e6, voltage_v: 100.0 },
        ],
        voltage_rating_kind: Some(ValueKind::Peak),
        measurement_category: (number != 9).then_some(MeasurementCategory::Ii),
        category_voltage_v: (number != 9).then_some(300.0),
        ..unknown_probe(id(&format!("probe-{number:02}")))
    }
}

/// A 1 kHz square wave through the divider 1 + e·exp(−t/τp), in the periodic steady state of the core's `divider`, with
/// the noise of a plain recurrence.
pub(crate) fn capture(error: f64, time_constant_s: f64) -> Vec<f64> {
    let (interval_s, half_s) = (2.5e-7, 5e-4);
    let decay = (-half_s / time_constant_s).exp();
    let mut state = 1_u64;
    (0..20_000)
        .map(|k| {
            let time_s = f64::from(k) * interval_s + 1.3e-4;
            let since_s = time_s % half_s;
            let high = ((time_s / half_s) as i64) % 2 == 0;
            let deviation = error / (1.0 + decay) * (-since_s / time_constant_s).exp();
            let top = 0.15 + 0.15 * (1.0 + 2.0 * deviation);
            let mut noise = -6.0;
            for _ in 0..12 {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                noise += (state >> 11) as f64 / (1_u64 << 53) as f64;
            }
            (if high { top } else { 0.3 - top }) + 1.5e-3 * noise
        })
        .collect()
}

/// The whole way from C1 and C2 by a capture to what the core finds.
pub(crate) fn subject(tip_f: f64, shunt_f: f64) -> Subject {
    let shelf = DIVIDER.shelf(Capacitances { tip_f, shunt_f });
    let samples = capture(shelf.error, shelf.time_constant_s);
    let settings = square::Settings {
        divider: DIVIDER,
        resistor_uncertainty: 0.01 / 3f64.sqrt(),
        tolerance: 0.01,
        source_amplitude_v: None,
    };
    let record = Record { samples: SampleView::volts(&samples), start_s: 0.0, interval_s: 2.5e-7 };
    let assessment: Assessment = square::assess(record, &settings);
    Subject {
        file: "bench-a-ch1-probe07.csv".into(),
        method: Method::SquareWave,
        record: Some(RecordFacts {
            points: samples.len(),
            interval_s: 2.5e-7,
            columns: 2,
            column: 2,
            column_name: Some("ch1_V".into()),
            format: "delimited text".into(),
            sha256: Digest::of(&bytes(&samples)).to_string(),
        }),
        captures: Vec::new(),
        on_bench: None,
        assumptions: Assumptions {
            divider: DIVIDER,
            resistor_tolerance: 0.01,
            adjusted_at: AdjustedAt::Tip,
            source_amplitude_v: None,
        },
        assessment,
    }
}

pub(crate) fn bytes(samples: &[f64]) -> Vec<u8> {
    samples.iter().map(|v| format!("{v:.4}\n")).collect::<String>().into_bytes()
}

/// The entry that the subject makes.
pub(crate) fn logged(subject: &Subject, stage: Stage) -> AssessmentRecord {
    AssessmentRecord {
        stage,
        captures: Vec::new(),
        settings_json: Some(
            r#"{"divider":"9M:1M","resistor_tolerance":0.01,"tolerance":0.01,"adjust":"tip"}"#.into(),
        ),
        tolerance: 0.01,
        verdict: subject.assessment.verdict,
        compensation: subject.assessment.compensation,
        method: subject.method.code().into(),
        temperature_c: Some(21.5),
        result_json: Some(json::one(&Ok(subject.clone()))),
    }
}

/// A record without a capture behind it.
pub(crate) fn plain(error: f64, stage: Stage) -> AssessmentRecord {
    let compensation = Compensation {
        error: Estimate { value: error, standard_uncertainty: 4e-4 },
        time_constant_s: Estimate { value: 9e-5, standard_uncertainty: 3e-7 },
        correlation: -0.25,
        divider: DIVIDER,
        resistor_uncertainty: 0.01 / 3f64.sqrt(),
    };
    AssessmentRecord {
        stage,
        captures: Vec::new(),
        settings_json: None,
        tolerance: 0.01,
        verdict: compensation.verdict(0.01),
        compensation: Some(compensation),
        method: "square-wave".into(),
        temperature_c: None,
        result_json: None,
    }
}

/// A record of a capture that carried nothing.
pub(crate) fn nothing_found() -> AssessmentRecord {
    AssessmentRecord { verdict: Verdict::Undetermined, compensation: None, ..plain(0.0, Stage::Check) }
}

pub(crate) struct Bench {
    pub(crate) register: Register,
    _folder: tempfile::TempDir,
}

impl Bench {
    pub(crate) fn empty() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let register = Register::open(&folder.path().join("bench.sqlite"), OpenMode::Create).unwrap();
        Self { register, _folder: folder }
    }

    /// Two oscilloscopes, four probes, three pairings, a year of checks; entry 8 is the one with a kept capture after
    /// an adjustment, entry 10 is withdrawn.
    pub(crate) fn year() -> Self {
        let mut bench = Self::empty();
        let r = &mut bench.register;
        r.add_oscilloscope(&scope("bench-a", "Bench A scope, 200 MHz")).unwrap();
        r.add_oscilloscope(&scope("bench-b", "Bench B scope, 100 MHz")).unwrap();
        for number in [3, 7, 9, 12] {
            r.add_probe(&probe(number)).unwrap();
        }
        let terms = Terms { tolerance: Some(0.01), recheck_interval_days: Some(90) };
        r.pair(&id("probe-07"), &input_id("bench-a/ch1"), terms, &act(0, None)).unwrap(); // 1
        r.pair(&id("probe-03"), &input_id("bench-a/ch2"), terms, &act(0, None)).unwrap(); // 2
        let open = Terms { tolerance: None, recheck_interval_days: None };
        r.pair(&id("probe-09"), &input_id("bench-b/ch1"), open, &act(1, None)).unwrap(); // 3
        r.log_assessment(2, &plain(0.004, Stage::Check), &[], &act(2, None)).unwrap(); // 4
        let before = subject(10e-12, 98e-12);
        let raw = bytes(&capture(-0.0741, 97.2e-6));
        let record = logged(&before, Stage::BeforeAdjustment);
        r.log_assessment(1, &record, &[&raw], &act(30, None)).unwrap(); // 5
        r.log_adjustment(1, &act(30, Some("a quarter turn clockwise"))).unwrap(); // 6
        r.log_assessment(3, &nothing_found(), &[], &act(31, None)).unwrap(); // 7
        let after = subject(10.9e-12, 98e-12);
        let raw = bytes(&capture(0.0009, 98e-6));
        let note = "after the trim; door-motor controller bench cleared, tip on the calibrator, spring to its ground";
        r.log_assessment(1, &logged(&after, Stage::AfterAdjustment), &[&raw], &act(30, Some(note))).unwrap(); // 8
        for week in 0..30 {
            let day = 37 + 7 * week;
            let wobble = 1.5e-3 * (f64::from(week as i32) * 2.4).sin();
            r.log_assessment(
                2,
                &plain(0.004 - 1e-4 * week as f64 + wobble, Stage::Check),
                &[],
                &act(day, None),
            )
            .unwrap();
            if week == 1 {
                // 11: withdraws 10.
                r.log_correction(10, Effect::Withdraws, &act(day, Some("the wrong probe was on the input")))
                    .unwrap();
            }
            if week == 2 {
                r.log_correction(12, Effect::Remarks, &act(day, Some("taken with the ground spring")))
                    .unwrap();
            }
        }
        r.log_note(
            &flattop_register::Subject::of_probe(&id("probe-12")),
            &act(
                300,
                Some("tip worn; <b>order</b> a new one — 25 Ω series, µF “quotes” & ampersands; τ, ≤, ½, 漢"),
            ),
        )
        .unwrap();
        bench
    }

    pub(crate) fn read(&self) -> Everything {
        let r = &self.register;
        let pairings = r.pairings(Voids::Shown).unwrap();
        Everything {
            oscilloscopes: r.oscilloscopes(Retired::Shown).unwrap(),
            probes: r.probes(Retired::Shown).unwrap(),
            series: pairings.iter().map(|p| (p.number, r.series(p.number).unwrap())).collect(),
            pairings,
            entries: r.entries(&Filter::all()).unwrap(),
            verification: r.verify(None).unwrap(),
            standings: r.standings(Voids::Shown, issue().at.unix_ms).unwrap(),
            captures: r.captures().unwrap(),
        }
    }
}

/// All that a command would read.
pub(crate) struct Everything {
    pub(crate) oscilloscopes: Vec<Oscilloscope>,
    pub(crate) probes: Vec<Probe>,
    pub(crate) pairings: Vec<Pairing>,
    pub(crate) entries: Vec<Entry>,
    pub(crate) verification: Verification,
    pub(crate) standings: Vec<Standing>,
    pub(crate) series: BTreeMap<i64, Series>,
    pub(crate) captures: Vec<KeptCapture>,
}

impl Everything {
    pub(crate) fn source(&self) -> Source<'_> {
        Source {
            oscilloscopes: &self.oscilloscopes,
            probes: &self.probes,
            pairings: &self.pairings,
            entries: &self.entries,
            head: self.verification.head,
            verification: &self.verification,
        }
    }
}

pub(crate) fn issue() -> Issue {
    let say = |text: &str| Some(text.to_owned());
    Issue {
        laboratory: say("Harrow Lane Lift Works, measuring room"),
        address: say("3 Harrow Lane"),
        location: say("Bench A, measuring room"),
        customer: say("Harrow Lane Lift Works, door shop"),
        issued_by: say("keeper of the bench"),
        ..nobody()
    }
}

/// Nobody says anything.
pub(crate) fn nobody() -> Issue {
    Issue {
        at: at(318),
        program: PROGRAM.into(),
        laboratory: None,
        address: None,
        location: None,
        customer: None,
        issued_by: None,
        reference: None,
        received: None,
        condition: None,
        deviations: None,
        traceability: None,
    }
}
