//! A bench of the Harrow Lane Lift Works, and random ones.

use flattop_core::assessment::{Compensation, Estimate, Verdict};
use flattop_core::bench::{
    GroundAccessory, Id, Input, InputId, Moment, Oscilloscope, Probe, Range, Stage, Toleranced, Trimmer,
};
use flattop_core::chain::ResponseShape;
use flattop_core::divider::Divider;
use flattop_core::rating::{MeasurementCategory, RatingPoint, ValueKind};
use flattop_register::{
    Act, AssessmentRecord, Change, MeasuredQuantity, MeasurementRecord, OpenMode, Register, RegisterError,
    Terms, Thing, unknown_ground, unknown_input, unknown_oscilloscope, unknown_probe,
};
use proptest::prelude::*;

pub(crate) const DAY_MS: i64 = 86_400_000;
pub(crate) const START_MS: i64 = 1_790_000_000_000;

pub(crate) struct Place {
    pub(crate) folder: tempfile::TempDir,
}

impl Place {
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    pub(crate) fn path(&self) -> std::path::PathBuf {
        self.folder.path().join("bench.sqlite")
    }

    pub(crate) fn open(&self) -> Register {
        Register::open(&self.path(), OpenMode::Create).unwrap()
    }
}

/// One field at a time, on day 0.
pub(crate) trait EditField {
    fn edit_field(&mut self, thing: &Thing, key: &str, text: Option<&str>) -> Result<Change, RegisterError>;
}

impl EditField for Register {
    fn edit_field(&mut self, thing: &Thing, key: &str, text: Option<&str>) -> Result<Change, RegisterError> {
        self.edit(thing, &[(key, text)], &act(0, None)).map(|mut all| all.remove(0))
    }
}

pub(crate) fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

pub(crate) fn input_id(text: &str) -> InputId {
    InputId::new(text).unwrap()
}

pub(crate) fn act(day: i64, note: Option<&str>) -> Act {
    Act {
        at: Moment { unix_ms: START_MS + day * DAY_MS, offset_minutes: 60 },
        by: Some("door shop, early shift".to_owned()),
        program: "flattop 0.1.0".to_owned(),
        note: note.map(str::to_owned),
    }
}

pub(crate) const TERMS: Terms = Terms { tolerance: Some(0.01), recheck_interval_days: Some(90) };

pub(crate) fn scope() -> Oscilloscope {
    let mut scope = unknown_oscilloscope(id("bench-a"));
    scope.label = Some("Bench A scope, 200 MHz".to_owned());
    scope.inputs = vec![input("ch1", 15e-12), input("ch2", 20e-12)];
    scope
}

fn input(name: &str, capacitance: f64) -> Input {
    Input {
        resistance_ohm: Some(Toleranced { value: 1e6, tolerance: Some(2e4) }),
        capacitance_f: Some(Toleranced { value: capacitance, tolerance: Some(1e-12) }),
        bandwidth_hz: Some(200e6),
        response: Some(ResponseShape::Gaussian),
        ..unknown_input(id(name))
    }
}

pub(crate) fn probe(name: &str) -> Probe {
    Probe {
        label: Some("Probe 07".to_owned()),
        ratio: Some(10.0),
        tip_resistance_ohm: Some(Toleranced { value: 9e6, tolerance: None }),
        tip_capacitance_f: Some(Toleranced { value: 12e-12, tolerance: Some(1e-12) }),
        compensation_range_f: Some(Range { low: 10e-12, high: 25e-12 }),
        adjusted_at: Some(Trimmer::Base),
        ground_accessories: vec![unknown_ground(id("lead"))],
        ..unknown_probe(id(name))
    }
}

/// A bench with one oscilloscope, one probe, and pairing 1.
pub(crate) fn furnished(place: &Place) -> Register {
    let mut register = place.open();
    register.add_oscilloscope(&scope()).unwrap();
    register.add_probe(&probe("probe-07")).unwrap();
    let number = register.pair(&id("probe-07"), &input_id("bench-a/ch1"), TERMS, &act(0, None)).unwrap();
    assert_eq!(number, 1);
    register
}

pub(crate) fn assessed(e: f64, stage: Stage) -> AssessmentRecord {
    let verdict = if e.abs() <= 0.01 {
        Verdict::WithinTolerance
    } else if e < 0.0 {
        Verdict::Undercompensated
    } else {
        Verdict::Overcompensated
    };
    AssessmentRecord {
        stage,
        captures: Vec::new(),
        settings_json: Some("{\"divider\":\"9M:1M\"}".to_owned()),
        tolerance: 0.01,
        verdict,
        compensation: Some(Compensation {
            error: Estimate { value: e, standard_uncertainty: 4e-4 },
            // 100 pF across 9 MΩ ∥ 1 MΩ.
            time_constant_s: Estimate { value: 9e-5, standard_uncertainty: 3e-7 },
            correlation: -0.25,
            divider: Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 },
            resistor_uncertainty: 0.005,
        }),
        method: "square-wave".to_owned(),
        temperature_c: Some(21.5),
        result_json: Some("{\"verdict\":\"whatever\"}".to_owned()),
    }
}

/// A range measured as 8.9331 pF to 32.2712 pF.
pub(crate) fn range() -> MeasurementRecord {
    MeasurementRecord {
        quantity: MeasuredQuantity::CompensationRange,
        value: Estimate { value: 8.9331e-12, standard_uncertainty: 0.11e-12 },
        upper: Some(Estimate { value: 32.2712e-12, standard_uncertainty: 0.13e-12 }),
        method: "both-stops".to_owned(),
        captures: Vec::new(),
        settings_json: Some("{\"input\":\"bench-a/ch1\"}".to_owned()),
        temperature_c: Some(22.0),
        result_json: Some("{\"limits\":[8.9e-12,32.3e-12]}".to_owned()),
    }
}

/// A quantity above zero with any digits.
fn quantity(power: std::ops::Range<i32>) -> impl Strategy<Value = f64> {
    (1.0..10.0_f64, power).prop_map(|(m, p)| m * 10f64.powi(p))
}

fn toleranced(power: std::ops::Range<i32>) -> impl Strategy<Value = Toleranced> {
    (quantity(power), proptest::option::of(0.0..0.99_f64))
        .prop_map(|(value, share)| Toleranced { value, tolerance: share.map(|s| s * value) })
}

fn some<S: Strategy>(strategy: S) -> impl Strategy<Value = Option<S::Value>>
where
    S::Value: Clone,
{
    proptest::option::of(strategy)
}

pub(crate) fn line() -> impl Strategy<Value = String> {
    "[a-zµΩ\"'\\\\,;=#\\[\\] é±A-Z0-9-]{0,11}[a-z\"]"
}

fn note() -> impl Strategy<Value = String> {
    "[a-z\"\\\\\n\t ]{0,20}x"
}

fn response() -> impl Strategy<Value = ResponseShape> {
    prop_oneof![
        Just(ResponseShape::SinglePole),
        Just(ResponseShape::Gaussian),
        Just(ResponseShape::Bessel4),
        (1..=10_u8).prop_map(ResponseShape::MaximallyFlat),
    ]
}

pub(crate) fn any_input() -> impl Strategy<Value = Input> {
    let first = (some(line()), some(toleranced(1..8)), some(toleranced(-13..-10)), some(quantity(5..10)));
    (first, some(response()), some(quantity(0..4)), some(note()), any::<bool>()).prop_map(
        |((label, resistance_ohm, capacitance_f, bandwidth_hz), response, rated, note, retired)| Input {
            label,
            resistance_ohm,
            capacitance_f,
            bandwidth_hz,
            response,
            rated_voltage_v: rated,
            rated_voltage_kind: rated.map(|_| ValueKind::Dc),
            note,
            retired,
            ..unknown_input(id("ch"))
        },
    )
}

pub(crate) fn any_probe() -> impl Strategy<Value = Probe> {
    let texts = (some(line()), some(line()), some(note()), any::<bool>());
    let tip = (some(1.0..1000.0_f64), some(toleranced(1..8)), some(toleranced(-13..-10)));
    let rest = (
        some(quantity(0..3)),
        some(quantity(-13..-11)),
        some((quantity(-13..-11), quantity(-12..-10))),
        some(prop_oneof![Just(Trimmer::Tip), Just(Trimmer::Base), Just(Trimmer::Fixed)]),
        proptest::collection::btree_map(0..9_u64, quantity(0..3), 0..4),
        some(prop_oneof![
            Just(MeasurementCategory::Ii),
            Just(MeasurementCategory::Iii),
            Just(MeasurementCategory::Iv)
        ]),
    );
    let cable = (some(0.0..3.0_f64), some(quantity(-12..-9)), some(quantity(-8..-5)), some(quantity(0..3)));
    let grounds = proptest::collection::btree_map(
        "[a-z]{1,6}",
        (some(line()), some(quantity(-3..0)), some(quantity(-9..-6))),
        0..3,
    );
    (texts, tip, rest, cable, grounds, some(quantity(0..3))).prop_map(
        |(texts, tip, rest, cable, grounds, voltage)| {
            let mut probe = unknown_probe(id("p"));
            (probe.label, probe.serial, probe.note, probe.retired) = texts;
            (probe.ratio, probe.tip_resistance_ohm, probe.tip_capacitance_f) = tip;
            (probe.series_resistance_ohm, probe.body_capacitance_f) = (rest.0, rest.1);
            probe.compensation_range_f = rest.2.map(|(a, b)| Range { low: a.min(b), high: a.max(b) });
            probe.adjusted_at = rest.3;
            probe.voltage_rating = rest
                .4
                .into_iter()
                .map(|(decade, voltage_v)| RatingPoint { frequency_hz: decade as f64 * 1.1e6, voltage_v })
                .collect();
            probe.measurement_category = rest.5;
            probe.voltage_rating_kind =
                probe.ratio.map(|r| if r < 500.0 { ValueKind::Peak } else { ValueKind::Rms });
            probe.category_voltage_v = voltage;
            probe.cable.length_m = cable.0;
            probe.cable.capacitance_f_per_m = cable.1;
            probe.cable.inductance_h_per_m = cable.2;
            probe.cable.resistance_ohm_per_m = cable.3;
            probe.compensation_box.capacitance_f = voltage.map(|v| v * 1e-12);
            probe.ground_accessories = grounds
                .into_iter()
                .map(|(name, (label, length_m, inductance_h))| GroundAccessory {
                    name: id(&name),
                    label,
                    length_m,
                    inductance_h,
                })
                .collect();
            probe
        },
    )
}
