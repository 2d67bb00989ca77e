//! The bench as JSON. The fields are described in `docs/bench-json.md`; what is not known is null.

use flattop_core::bench::{GroundAccessory, Input, InputId, Oscilloscope, Probe, Toleranced, Trimmer};
use flattop_core::chain::ResponseShape;
use flattop_core::rating::{MeasurementCategory, ValueKind};
use flattop_register::{Forecast, Measured, NoForecast, Standing, time};
use serde::Serialize;

use super::{Overview, Shown};
use crate::json::{Uncertain, write};
use crate::logbook::json::{EntryJson, TrendJson};

/// The whole bench.
pub fn overview(bench: &Overview) -> String {
    write(&BenchJson {
        flattop_version: env!("CARGO_PKG_VERSION"),
        oscilloscopes: bench.oscilloscopes.iter().map(OscilloscopeJson::of).collect(),
        probes: bench.probes.iter().map(ProbeJson::of).collect(),
        pairings: bench.standings.iter().map(PairingJson::of).collect(),
    })
}

/// One thing.
pub fn show(shown: &Shown) -> String {
    match shown {
        Shown::Oscilloscope(scope) => write(&OscilloscopeJson::of(scope)),
        Shown::Input(id, input, pairings, measured) => write(&InputShown {
            input: InputJson::of(id, input),
            pairings: pairings.iter().map(PairingJson::of).collect(),
            measured: measured.iter().map(MeasuredJson::of).collect(),
        }),
        Shown::Probe(probe, pairings, measured) => write(&ProbeShown {
            probe: ProbeJson::of(probe),
            pairings: pairings.iter().map(PairingJson::of).collect(),
            measured: measured.iter().map(MeasuredJson::of).collect(),
        }),
        Shown::Ground(_, accessory) => write(&GroundJson::of(accessory)),
        Shown::Pairing(standing, series, entries) => write(&PairingShown {
            pairing: PairingJson::of(standing),
            trend: TrendJson::of(series),
            entries: entries.iter().map(EntryJson::of).collect(),
        }),
    }
}

/// Pairings, for example those that want attention.
pub fn pairings(all: &[Standing]) -> String {
    write(&all.iter().map(PairingJson::of).collect::<Vec<_>>())
}

/// A pairing that was made, and what to expect of it.
pub fn made(number: i64, voided: Option<i64>, forecast: Option<&Result<Forecast, NoForecast>>) -> String {
    write(&Made { pairing: number, voided_pairing: voided, expected: forecast.map(ExpectedJson::of) })
}

#[derive(Serialize)]
struct BenchJson {
    flattop_version: &'static str,
    oscilloscopes: Vec<OscilloscopeJson>,
    probes: Vec<ProbeJson>,
    pairings: Vec<PairingJson>,
}

#[derive(Serialize)]
struct OscilloscopeJson {
    id: String,
    label: Option<String>,
    serial: Option<String>,
    note: Option<String>,
    retired: bool,
    inputs: Vec<InputJson>,
}

impl OscilloscopeJson {
    fn of(scope: &Oscilloscope) -> Self {
        let name = |input: &Input| InputId { oscilloscope: scope.id.clone(), name: input.name.clone() };
        Self {
            id: scope.id.to_string(),
            label: scope.label.clone(),
            serial: scope.serial.clone(),
            note: scope.note.clone(),
            retired: scope.retired,
            inputs: scope.inputs.iter().map(|i| InputJson::of(&name(i), i)).collect(),
        }
    }
}

#[derive(Serialize)]
struct InputShown {
    #[serde(flatten)]
    input: InputJson,
    pairings: Vec<PairingJson>,
    measured: Vec<MeasuredJson>,
}

#[derive(Serialize)]
struct InputJson {
    id: String,
    label: Option<String>,
    resistance_ohm: Option<WithTolerance>,
    capacitance_f: Option<WithTolerance>,
    bandwidth_hz: Option<f64>,
    response: Option<String>,
    rated_voltage_v: Option<f64>,
    rated_voltage_kind: Option<&'static str>,
    note: Option<String>,
    retired: bool,
}

impl InputJson {
    fn of(id: &InputId, input: &Input) -> Self {
        Self {
            id: id.to_string(),
            label: input.label.clone(),
            resistance_ohm: input.resistance_ohm.map(WithTolerance::of),
            capacitance_f: input.capacitance_f.map(WithTolerance::of),
            bandwidth_hz: input.bandwidth_hz,
            response: input.response.map(response_code),
            rated_voltage_v: input.rated_voltage_v,
            rated_voltage_kind: input.rated_voltage_kind.map(kind_code),
            note: input.note.clone(),
            retired: input.retired,
        }
    }
}

#[derive(Serialize)]
struct ProbeShown {
    #[serde(flatten)]
    probe: ProbeJson,
    pairings: Vec<PairingJson>,
    measured: Vec<MeasuredJson>,
}

/// A field that holds a measured value.
#[derive(Serialize)]
struct MeasuredJson {
    field: &'static str,
    value_f: Option<Uncertain>,
    upper_f: Option<Uncertain>,
    entry: i64,
    at: String,
    captures_sha256: Vec<String>,
}

impl MeasuredJson {
    fn of(measured: &Measured) -> Self {
        Self {
            field: measured.field,
            value_f: Uncertain::of(measured.value),
            upper_f: measured.upper.and_then(Uncertain::of),
            entry: measured.entry,
            at: time::local(measured.at),
            captures_sha256: measured.captures.iter().map(ToString::to_string).collect(),
        }
    }
}

#[derive(Serialize)]
struct ProbeJson {
    id: String,
    label: Option<String>,
    serial: Option<String>,
    ratio: Option<f64>,
    tip_resistance_ohm: Option<WithTolerance>,
    tip_capacitance_f: Option<WithTolerance>,
    series_resistance_ohm: Option<f64>,
    body_capacitance_f: Option<f64>,
    compensation_range_f: Option<[f64; 2]>,
    adjusted_at: Option<&'static str>,
    bandwidth_hz: Option<f64>,
    cable: CableJson,
    #[serde(rename = "box")]
    compensation_box: BoxJson,
    voltage_rating: Vec<RatedAt>,
    voltage_rating_kind: Option<&'static str>,
    measurement_category: Option<&'static str>,
    category_voltage_v: Option<f64>,
    ground_accessories: Vec<GroundJson>,
    note: Option<String>,
    retired: bool,
}

#[derive(Serialize)]
struct CableJson {
    length_m: Option<f64>,
    capacitance_f_per_m: Option<f64>,
    inductance_h_per_m: Option<f64>,
    resistance_ohm_per_m: Option<f64>,
}

#[derive(Serialize)]
struct BoxJson {
    series_resistance_ohm: Option<f64>,
    capacitance_f: Option<f64>,
}

#[derive(Serialize)]
struct RatedAt {
    frequency_hz: f64,
    voltage_v: f64,
}

impl ProbeJson {
    fn of(probe: &Probe) -> Self {
        let cable = &probe.cable;
        Self {
            id: probe.id.to_string(),
            label: probe.label.clone(),
            serial: probe.serial.clone(),
            ratio: probe.ratio,
            tip_resistance_ohm: probe.tip_resistance_ohm.map(WithTolerance::of),
            tip_capacitance_f: probe.tip_capacitance_f.map(WithTolerance::of),
            series_resistance_ohm: probe.series_resistance_ohm,
            body_capacitance_f: probe.body_capacitance_f,
            compensation_range_f: probe.compensation_range_f.map(|r| [r.low, r.high]),
            adjusted_at: probe.adjusted_at.map(|t| match t {
                Trimmer::Tip => "tip",
                Trimmer::Base => "base",
                Trimmer::Fixed => "fixed",
            }),
            bandwidth_hz: probe.bandwidth_hz,
            cable: CableJson {
                length_m: cable.length_m,
                capacitance_f_per_m: cable.capacitance_f_per_m,
                inductance_h_per_m: cable.inductance_h_per_m,
                resistance_ohm_per_m: cable.resistance_ohm_per_m,
            },
            compensation_box: BoxJson {
                series_resistance_ohm: probe.compensation_box.series_resistance_ohm,
                capacitance_f: probe.compensation_box.capacitance_f,
            },
            voltage_rating: probe
                .voltage_rating
                .iter()
                .map(|p| RatedAt { frequency_hz: p.frequency_hz, voltage_v: p.voltage_v })
                .collect(),
            voltage_rating_kind: probe.voltage_rating_kind.map(kind_code),
            measurement_category: probe.measurement_category.map(category_code),
            category_voltage_v: probe.category_voltage_v,
            ground_accessories: probe.ground_accessories.iter().map(GroundJson::of).collect(),
            note: probe.note.clone(),
            retired: probe.retired,
        }
    }
}

#[derive(Serialize)]
struct GroundJson {
    name: String,
    label: Option<String>,
    length_m: Option<f64>,
    inductance_h: Option<f64>,
}

impl GroundJson {
    fn of(accessory: &GroundAccessory) -> Self {
        Self {
            name: accessory.name.to_string(),
            label: accessory.label.clone(),
            length_m: accessory.length_m,
            inductance_h: accessory.inductance_h,
        }
    }
}

#[derive(Serialize)]
struct WithTolerance {
    value: f64,
    tolerance: Option<f64>,
}

impl WithTolerance {
    fn of(quantity: Toleranced) -> Self {
        Self { value: quantity.value, tolerance: quantity.tolerance }
    }
}

#[derive(Serialize)]
struct PairingShown {
    #[serde(flatten)]
    pairing: PairingJson,
    trend: TrendJson,
    entries: Vec<EntryJson>,
}

/// A pairing and how it stands.
#[derive(Serialize)]
pub(crate) struct PairingJson {
    number: i64,
    probe: String,
    input: String,
    state: &'static str,
    tolerance: Option<f64>,
    recheck_interval_days: Option<u32>,
    made_at: String,
    made_by: Option<String>,
    voided_at: Option<String>,
    voided_why: Option<String>,
    last_check: Option<CheckJson>,
    due_at: Option<String>,
    adjusted_since: bool,
}

#[derive(Serialize)]
struct CheckJson {
    at: String,
    verdict: &'static str,
    compensation_error: Option<f64>,
    standard_uncertainty: Option<f64>,
}

impl PairingJson {
    pub(crate) fn of(standing: &Standing) -> Self {
        let (pairing, status) = (&standing.pairing, &standing.status);
        Self {
            number: pairing.number,
            probe: pairing.probe.to_string(),
            input: pairing.input.to_string(),
            state: status.state.code(),
            tolerance: pairing.tolerance,
            recheck_interval_days: pairing.recheck_interval_days,
            made_at: time::local(pairing.made_at),
            made_by: pairing.made_by.clone(),
            voided_at: pairing.voided.as_ref().map(|v| time::local(v.at)),
            voided_why: pairing.voided.as_ref().map(|v| v.why.clone()),
            last_check: status.last_check.map(|check| CheckJson {
                at: time::local(check.at),
                verdict: crate::subject::verdict_code(check.verdict),
                compensation_error: check.compensation_error,
                standard_uncertainty: check.standard_uncertainty,
            }),
            due_at: status.due_at_unix_ms.map(time::utc),
            adjusted_since: status.adjusted_since,
        }
    }
}

#[derive(Serialize)]
struct Made {
    pairing: i64,
    voided_pairing: Option<i64>,
    expected: Option<ExpectedJson>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum ExpectedJson {
    Error {
        compensation_error: f64,
        standard_uncertainty: Option<f64>,
        change_f: f64,
        rests_on_entry: Option<i64>,
        missing: Option<&'static str>,
    },
    Unknown {
        error: String,
    },
}

impl ExpectedJson {
    fn of(forecast: &Result<Forecast, NoForecast>) -> Self {
        match forecast {
            Ok(found) => Self::Error {
                compensation_error: found.expected.compensation_error,
                standard_uncertainty: found.expected.standard_uncertainty,
                change_f: found.expected.change_f,
                rests_on_entry: found.rests_on,
                missing: found.expected.missing,
            },
            Err(why) => Self::Unknown { error: why.to_string() },
        }
    }
}

fn kind_code(kind: ValueKind) -> &'static str {
    match kind {
        ValueKind::Peak => "peak",
        ValueKind::Rms => "rms",
        ValueKind::Dc => "dc",
    }
}

fn category_code(category: MeasurementCategory) -> &'static str {
    match category {
        MeasurementCategory::Ii => "CAT II",
        MeasurementCategory::Iii => "CAT III",
        MeasurementCategory::Iv => "CAT IV",
    }
}

fn response_code(shape: ResponseShape) -> String {
    match shape {
        ResponseShape::SinglePole => "single-pole".into(),
        ResponseShape::Gaussian => "gaussian".into(),
        ResponseShape::Bessel4 => "bessel-4".into(),
        ResponseShape::MaximallyFlat(order) => format!("maximally-flat-{order}"),
    }
}
