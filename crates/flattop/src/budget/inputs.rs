//! From a plan with tolerances to the inputs of a budget.

use flattop_core::chain::Chain;
use flattop_core::data_sheet::Setting;
use flattop_core::divider::Shelf;
use flattop_core::finding::Finding;
use flattop_core::prediction::Parameter;
use flattop_core::quantity::Unit;
use flattop_core::uncertainty::reading::{Input, Measurand, Role, Step, Which};
use flattop_core::uncertainty::{Correlation, Distribution, Evaluation, Quantity};
use flattop_plan::document::Quantity as Given;
use flattop_plan::{
    Correlated, DistributionWord, EvaluationWord, FormWord, Probe, ProbeModel, ReadQuantity, Reading,
    Uncertain,
};

use crate::setup::{Setup, data_sheet_of};

/// What is said of tolerances, and which of it has been used.
pub(super) struct Said<'a> {
    list: &'a [Uncertain],
    used: Vec<bool>,
}

impl<'a> Said<'a> {
    pub(super) fn new(list: &'a [Uncertain]) -> Self {
        Self { list, used: vec![false; list.len()] }
    }

    fn of(&mut self, key: &str) -> Option<&'a Uncertain> {
        let at = self.list.iter().position(|said| said.key == key)?;
        self.used[at] = true;
        Some(&self.list[at])
    }

    /// The keys that led nowhere.
    fn unused(&self) -> impl Iterator<Item = &'a str> + '_ {
        self.list.iter().zip(&self.used).filter(|(_, used)| !**used).map(|(said, _)| said.key.as_str())
    }

    /// What is known of a value with its tolerance. `is_share` says that deviations count plain.
    fn quantity(&mut self, key: &str, value: f64, half_width: f64, scale: Scale) -> Result<Quantity, String> {
        let said = self.of(key);
        let (low, high) = (value - half_width, value + half_width);
        let freedom = said.and_then(|s| s.degrees_of_freedom);
        let factor = said.and_then(|s| s.coverage_factor).unwrap_or(1.0);
        let distribution = match said.and_then(|s| s.distribution) {
            None | Some(DistributionWord::Rectangular) => Distribution::Rectangular { low, high },
            Some(DistributionWord::Triangular) => Distribution::Triangular { low, high },
            Some(DistributionWord::Arcsine) => Distribution::Arcsine { low, high },
            Some(DistributionWord::Trapezoid) => {
                let doubt = said.and_then(|s| s.doubt).unwrap_or(0.0) * half_width;
                Distribution::CurvilinearTrapezoid { low, high, doubt }
            }
            Some(DistributionWord::Normal | DistributionWord::T) => match freedom {
                // A normal one whose width is itself estimated is t (JCGM 101, 6.4.9).
                Some(freedom) => {
                    Distribution::Student { location: value, scale: half_width / factor, freedom }
                }
                None => Distribution::Normal { mean: value, deviation: half_width / factor },
            },
            Some(DistributionWord::Samples) => {
                let deviations = said.and_then(|s| s.deviations.as_deref()).unwrap_or(&[]);
                let unit = match scale {
                    Scale::Value => value,
                    Scale::One => 1.0,
                };
                Distribution::Samples(deviations.iter().map(|d| value + d * unit).collect())
            }
        };
        distribution.check().map_err(|error| format!("{key}: {error}"))?;
        Ok(Quantity {
            name: key.to_owned(),
            distribution,
            evaluation: match said.map(|s| s.evaluation) {
                Some(EvaluationWord::A) => Evaluation::A,
                _ => Evaluation::B,
            },
            freedom: freedom.unwrap_or(f64::INFINITY),
        })
    }

    fn has_samples(&self, key: &str) -> bool {
        self.list.iter().any(|s| s.key == key && s.distribution == Some(DistributionWord::Samples))
    }
}

/// What deviations are shares of.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Scale {
    /// Of the value.
    Value,
    /// Of 1: the value is a share itself.
    One,
}

/// Everything that a budget takes.
pub(super) struct Inputs {
    pub(super) list: Vec<Input>,
    pub(super) correlations: Vec<Correlation>,
    pub(super) first: Chain,
    pub(super) second: Option<Chain>,
    pub(super) noise_rms_v: f64,
    pub(super) shown: Option<f64>,
    pub(super) findings: Vec<Finding>,
}

/// A probe in its surroundings, with all that is in doubt about it.
pub(super) struct Side<'a> {
    pub(super) setup: Setup,
    pub(super) probe: &'a Probe,
    pub(super) response_form: FormWord,
}

pub(super) fn measurand(quantity: ReadQuantity) -> Measurand {
    match quantity {
        ReadQuantity::Amplitude => Measurand::Amplitude,
        ReadQuantity::PeakToPeak => Measurand::PeakToPeak,
        ReadQuantity::TransitionDuration => Measurand::TransitionDuration,
        ReadQuantity::Delay => Measurand::Delay,
        ReadQuantity::Mean => Measurand::Mean,
        ReadQuantity::Rms => Measurand::Rms,
    }
}

/// Gathers all inputs.
pub(super) fn gather(
    reading: &Reading,
    uncertain: &[Uncertain],
    correlated: &[Correlated],
    first: &Side<'_>,
    second: Option<&Side<'_>>,
) -> Result<Inputs, String> {
    let mut said = Said::new(uncertain);
    let mut findings = Vec::new();
    let (mut chain, mut list) = of_chain(first, Which::First, Some(reading), &mut said, &mut findings)?;
    let mut second_chain = None;
    if let Some(second) = second {
        let (chain, more) = of_chain(second, Which::Second, None, &mut said, &mut findings)?;
        second_chain = Some(chain);
        list.extend(more);
    }
    let scope = of_scope(reading, &mut said, &mut findings)?;
    list.extend(scope.inputs);
    forms(reading, first, second, &mut list);
    temperature(reading, &mut said, &mut chain, &mut second_chain, &mut list)?;
    let names: Vec<&str> = list.iter().map(|input| input.quantity.name.as_str()).collect();
    if let Some(key) = said.unused().next() {
        return Err(format!("[[uncertain]] key: {}", unknown(key, &names)));
    }
    let place = |key: &str| {
        names
            .iter()
            .position(|name| *name == key)
            .ok_or_else(|| format!("[[correlated]]: {}", unknown(key, &names)))
    };
    let correlations = correlated
        .iter()
        .map(|c| {
            Ok(Correlation { first: place(&c.first)?, second: place(&c.second)?, coefficient: c.coefficient })
        })
        .collect::<Result<_, String>>()?;
    Ok(Inputs {
        list,
        correlations,
        first: chain,
        second: second_chain,
        noise_rms_v: scope.noise_rms_v,
        shown: scope.shown,
        findings,
    })
}

fn unknown(key: &str, names: &[&str]) -> String {
    let near = flattop_plan::document::nearest(key, names.iter().copied());
    let remedy = match near {
        Some(near) => format!("did you mean \"{near}\"?"),
        None if names.is_empty() => "give values of the plan tolerances (\"9M ± 1%\") first".to_owned(),
        None => format!("in doubt are: {}", names.join(", ")),
    };
    format!("\"{key}\" is no value with a tolerance in this budget; {remedy}")
}

/// The inputs that move numbers of one chain, and the chain with all estimates in it.
fn of_chain(
    side: &Side<'_>,
    which: Which,
    reading: Option<&Reading>,
    said: &mut Said<'_>,
    findings: &mut Vec<Finding>,
) -> Result<(Chain, Vec<Input>), String> {
    let prefix = match which {
        Which::First => "",
        Which::Second => "second.",
    };
    let stated = &side.setup.chain;
    let (e, tau) = match reading {
        Some(reading) => (reading.compensation_error, reading.time_constant),
        None => (None, None),
    };
    let value = |given: Option<Given>| given.map(|g| g.value);
    let compensated = |chain: &Chain| with_compensation(chain, value(e), value(tau));
    let chain = compensated(stated)?;
    let mut list = Vec::new();
    let mut add = |quantity: Quantity, unit: Option<Unit>, shifted: &Chain, by: f64| {
        let steps = steps(which, &chain, shifted, by);
        if !steps.is_empty() && quantity.distribution.standard_uncertainty() > 0.0 {
            list.push(Input { quantity, unit, role: Role::Chain, steps });
        }
    };
    for doubt in &side.setup.doubts {
        let key = doubt.name.strip_suffix(" (assumed)").unwrap_or(&doubt.name);
        let Some(parameter) = Parameter::ALL.into_iter().find(|p| p.key() == key) else {
            // A doubt of the model as a whole: one standard uncertainty is its unit.
            let quantity = Quantity::known(
                format!("{prefix}{}", doubt.name),
                Distribution::Normal { mean: 0.0, deviation: 1.0 },
            );
            add(quantity, None, &compensated(&doubt.shifted)?, 1.0);
            continue;
        };
        let (at, moved) = (parameter.of(stated), parameter.of(&doubt.shifted));
        let u = moved - at;
        if !(u.abs() > 0.0) {
            continue;
        }
        let half_width = u.abs() * 3f64.sqrt();
        let name = format!("{prefix}{key}");
        let mut quantity = said.quantity(&name, at, half_width, Scale::Value)?;
        if doubt.name != key {
            quantity.name = format!("{name} (assumed)");
        }
        add(quantity, parameter.unit(), &compensated(&doubt.shifted)?, u);
    }
    if let ProbeModel::DataSheet(sheet) = &side.probe.model
        && let Some(half_width) = sheet.input_capacitance.half_width.filter(|half| *half > 0.0)
    {
        let name = format!("{prefix}probe.input_capacitance");
        let u = half_width / 3f64.sqrt();
        let setting = Setting { node: stated.node, contact: stated.contact, input: stated.input };
        let mut moved = data_sheet_of(sheet, side.probe.adjusted_at);
        moved.input_capacitance_f += u;
        let shifted = moved.model(&setting).map_err(|error| error.to_string())?.chain;
        let quantity = said.quantity(&name, sheet.input_capacitance.value, half_width, Scale::Value)?;
        add(quantity, Some(Unit::Farad), &compensated(&shifted)?, u);
    }
    // Values that the tolerance of a list says nothing about, but samples do.
    for parameter in Parameter::ALL {
        let name = format!("{prefix}{}", parameter.key());
        if said.has_samples(&name) && !list.iter().any(|input| input.quantity.name == name) {
            let at = parameter.of(stated);
            let quantity = said.quantity(&name, at, 0.0, Scale::Value)?;
            let by = 1e-3 * at.abs();
            let shifted = compensated(&parameter.with(stated, at + by))?;
            let steps = steps(which, &chain, &shifted, by);
            list.push(Input { quantity, unit: parameter.unit(), role: Role::Chain, steps });
        }
    }
    let measured = [
        ("reading.compensation_error", e, Unit::Ratio, Scale::One),
        ("reading.time_constant", tau, Unit::Second, Scale::Value),
    ];
    for (k, (name, given, unit, scale)) in measured.into_iter().enumerate() {
        let Some(given) = given else { continue };
        let quantity = said.quantity(name, given.value, given.half_width.unwrap_or(0.0), scale)?;
        let u = quantity.distribution.standard_uncertainty();
        if !(u > 0.0) {
            continue;
        }
        let moved = |of: Option<Given>, index: usize| of.map(|g| g.value + if index == k { u } else { 0.0 });
        let shifted = with_compensation(stated, moved(e, 0), moved(tau, 1))?;
        list.push(Input {
            quantity,
            unit: Some(unit),
            role: Role::Chain,
            steps: steps(which, &chain, &shifted, u),
        });
    }
    let is_stated = e.is_some() || list.iter().any(|i| i.quantity.name.ends_with("probe.tip_capacitance"));
    if which == Which::First && !is_stated && stated.tip.resistance_ohm > 0.0 {
        findings.push(Finding::warning(
            "compensation-taken-as-exact",
            "nothing says how far the probe's compensation may be off: its part of the uncertainty is missing",
            "assess the pairing and give reading.compensation_error with its tolerance",
        ));
    }
    Ok((chain, list))
}

/// Numbers of a chain that differ from those of another one, per unit of what was shifted.
fn steps(of: Which, chain: &Chain, shifted: &Chain, by: f64) -> Vec<Step> {
    let step = |parameter: Parameter| {
        let (at, moved) = (parameter.of(chain), parameter.of(shifted));
        let is_moved = (moved - at).abs() > 1e-9 * at.abs();
        is_moved.then(|| Step { of, parameter, per_unit: (moved - at) / by })
    };
    Parameter::ALL.into_iter().filter_map(step).collect()
}

/// The chain with its divider as assessed: both capacitances from e and τp; C1 alone where τp is not given.
fn with_compensation(chain: &Chain, e: Option<f64>, tau_s: Option<f64>) -> Result<Chain, String> {
    if e.is_none() && tau_s.is_none() {
        return Ok(chain.clone());
    }
    let Some(lumped) = chain.lumped() else {
        return Err("[reading] compensation_error: a probe that does not divide (tip_resistance 0) has no compensation; \
                    take it out"
            .to_owned());
    };
    let error = e.unwrap_or(lumped.shelf.error);
    let mut out = chain.clone();
    match tau_s {
        None => {
            // C1/(C1 + C2) = (1 + e)·g0.
            let share = (1.0 + error) * lumped.divider.dc_gain();
            if !(share < 1.0) {
                return Err(format!(
                    "[reading] compensation_error: {:.3} % cannot be with these resistances; check the value",
                    100.0 * error
                ));
            }
            out.tip.capacitance_f = lumped.capacitances.shunt_f * share / (1.0 - share);
        }
        Some(time_constant_s) => {
            let found = lumped.divider.capacitances(Shelf { error, time_constant_s });
            let rest = lumped.capacitances.shunt_f - chain.compensation_box.capacitance_f;
            out.tip.capacitance_f = found.tip_f;
            out.compensation_box.capacitance_f = found.shunt_f - rest;
            if !(out.compensation_box.capacitance_f >= 0.0) {
                return Err(format!(
                    "[reading] time_constant: it leaves {:.1} pF across the input in all, but cable and input alone have {:.1} pF; check \
                     which of them is right",
                    1e12 * found.shunt_f,
                    1e12 * rest
                ));
            }
        }
    }
    Ok(out)
}

/// What the oscilloscope adds.
struct Scope {
    inputs: Vec<Input>,
    noise_rms_v: f64,
    shown: Option<f64>,
}

fn of_scope(reading: &Reading, said: &mut Said<'_>, findings: &mut Vec<Finding>) -> Result<Scope, String> {
    let mut scope = Scope { inputs: Vec::new(), noise_rms_v: 0.0, shown: None };
    let quantity = reading.quantity;
    let is_time = measurand(quantity).is_time();
    let unit = measurand(quantity).unit();
    let mut idle = Vec::new();
    let plain = |quantity, unit, role| Input { quantity, unit: Some(unit), role, steps: Vec::new() };
    if let Some(list) = &reading.observations {
        let distribution =
            Distribution::of_readings(list).map_err(|error| format!("[reading] observations: {error}"))?;
        scope.shown = Some(distribution.mean());
        let name = if is_time { "reading.observed_times" } else { "reading.observations" };
        let quantity = Quantity { evaluation: Evaluation::A, ..Quantity::known(name, distribution) };
        scope.inputs.push(plain(quantity, unit, Role::Reading));
    } else if let Some(shown) = reading.shown {
        scope.shown = Some(shown.value);
        if let Some(half) = shown.half_width {
            let name = if is_time { "reading.shown_time" } else { "reading.shown" };
            scope.inputs.push(plain(
                said.quantity(name, shown.value, half, Scale::Value)?,
                unit,
                Role::Reading,
            ));
        }
    }
    let mut given = |name: &str, of: Option<Given>, unit: Unit, role: Role, scale: Scale, bears: bool| {
        let Some(of) = of else { return Ok(()) };
        if !bears {
            // Said or not, it has no part in this.
            said.of(name);
            idle.push(name.to_owned());
            return Ok::<(), String>(());
        }
        let quantity = said.quantity(name, of.value, of.half_width.unwrap_or(0.0), scale)?;
        scope.inputs.push(plain(quantity, unit, role));
        Ok(())
    };
    let by_mean = matches!(quantity, ReadQuantity::Mean | ReadQuantity::Rms);
    let by_time = is_time || quantity == ReadQuantity::Amplitude;
    given("reading.gain", reading.gain, Unit::Ratio, Role::Gain, Scale::One, !is_time)?;
    given("reading.offset", reading.offset, Unit::Volt, Role::Offset, Scale::Value, by_mean)?;
    given("reading.time_base", reading.time_base, Unit::Ratio, Role::TimeBase, Scale::One, by_time)?;
    given(
        "reading.skew",
        reading.skew,
        Unit::Second,
        Role::Time,
        Scale::Value,
        quantity == ReadQuantity::Delay,
    )?;
    if let Some(noise) = reading.noise {
        if quantity == ReadQuantity::Rms {
            scope.noise_rms_v = noise.value;
        } else if reading.observations.is_some() {
            // It is in the spread of the readings already.
            idle.push("reading.noise".to_owned());
        } else {
            let deviation = noise.value / f64::from(reading.averages).sqrt();
            let distribution = Distribution::Normal { mean: 0.0, deviation };
            scope.inputs.push(plain(Quantity::known("reading.noise", distribution), Unit::Volt, Role::Noise));
        }
    }
    if let Some(step) = reading.step.map(|s| s.value).filter(|s| *s > 0.0) {
        // One code is off by half a step at most; two codes of which the difference is taken make a triangle.
        let triangular = |half: f64| Distribution::Triangular { low: -half, high: half };
        let distribution = match quantity {
            ReadQuantity::PeakToPeak => triangular(step),
            ReadQuantity::Amplitude => triangular(0.5 * step),
            _ => Distribution::Rectangular { low: -0.5 * step, high: 0.5 * step },
        };
        scope.inputs.push(plain(Quantity::known("reading.step", distribution), Unit::Volt, Role::Noise));
    }
    if let Some(step) = reading.time_step.map(|s| s.value).filter(|s| *s > 0.0) {
        if is_time {
            let distribution = Distribution::Triangular { low: -step, high: step };
            scope.inputs.push(plain(
                Quantity::known("reading.time_step", distribution),
                Unit::Second,
                Role::Time,
            ));
        } else {
            idle.push("reading.time_step".to_owned());
        }
    }
    if !idle.is_empty() {
        findings.push(Finding::note(
            "input-without-effect",
            format!("{} of this plan has no part in a reading of {}", idle.join(", "), quantity.word()),
            "",
        ));
    }
    Ok(scope)
}

/// Where between the extremes the form of an input's response lies.
fn forms(reading: &Reading, first: &Side<'_>, second: Option<&Side<'_>>, list: &mut Vec<Input>) {
    if reading.quantity == ReadQuantity::Mean {
        return;
    }
    let mut add = |side: &Side<'_>, which: Which, name: &str| {
        let is_limited = side.setup.chain.input.response.bandwidth_hz.is_finite();
        if is_limited && side.response_form == FormWord::Unknown {
            let quantity = Quantity::known(name, Distribution::Rectangular { low: -1.0, high: 1.0 });
            list.push(Input {
                quantity,
                unit: Some(Unit::Ratio),
                role: Role::Form(which),
                steps: Vec::new(),
            });
        }
    };
    add(first, Which::First, "reading.response_form");
    if let Some(second) = second.filter(|_| reading.quantity == ReadQuantity::Delay) {
        add(second, Which::Second, "second.response_form");
    }
}

/// Temperature: one input that moves all values with a coefficient, and the coefficients' own tolerances.
fn temperature(
    reading: &Reading,
    said: &mut Said<'_>,
    first: &mut Chain,
    second: &mut Option<Chain>,
    list: &mut Vec<Input>,
) -> Result<(), String> {
    let with: Vec<&Uncertain> = said.list.iter().filter(|s| s.temperature_coefficient.is_some()).collect();
    if with.is_empty() {
        return Ok(());
    }
    let Some(difference) = reading.temperature_difference else {
        return Err("[[uncertain]] temperature_coefficient: without [reading] temperature_difference it has no effect; give \
                    both or none"
            .to_owned());
    };
    let mut all = Vec::new();
    let mut gain_per_kelvin = 0.0;
    for uncertain in with {
        let Some(coefficient) = uncertain.temperature_coefficient else { continue };
        let key = uncertain.key.as_str();
        said.of(key);
        let mut steps = Vec::new();
        let mut role = Role::Chain;
        if key == "reading.gain" {
            if measurand(reading.quantity).is_time() {
                continue;
            }
            gain_per_kelvin += coefficient.value;
            role = Role::Gain;
        } else {
            let (of, bare) = match key.strip_prefix("second.") {
                Some(bare) => (Which::Second, bare),
                None => (Which::First, key),
            };
            let chain = match of {
                Which::First => Some(&mut *first),
                Which::Second => second.as_mut(),
            };
            let parameter = Parameter::ALL.into_iter().find(|p| p.key() == bare);
            let (Some(parameter), Some(chain)) = (parameter, chain) else {
                let keys: Vec<&str> = Parameter::ALL.iter().map(|p| p.key()).collect();
                return Err(format!("[[uncertain]] temperature_coefficient: {}", unknown(key, &keys)));
            };
            let value = parameter.of(chain);
            *chain = parameter.with(chain, value * (1.0 + coefficient.value * difference.value));
            all.push(Step { of, parameter, per_unit: value * coefficient.value });
            steps.push(Step { of, parameter, per_unit: value * difference.value });
        }
        if let Some(half) = coefficient.half_width.filter(|h| *h > 0.0 && difference.value.abs() > 0.0) {
            // Of the gain, what the coefficient is off by acts through the difference itself.
            let (low, high) = match role {
                Role::Gain => (-half * difference.value.abs(), half * difference.value.abs()),
                _ => (coefficient.value - half, coefficient.value + half),
            };
            let name = format!("{key} per kelvin");
            let quantity = Quantity::known(name, Distribution::Rectangular { low, high });
            list.push(Input { quantity, unit: Some(Unit::Ratio), role, steps });
        }
    }
    let name = "reading.temperature_difference";
    if all.is_empty() && !(gain_per_kelvin.abs() > 0.0) {
        said.of(name);
        return Ok(());
    }
    let half = difference.half_width.unwrap_or(0.0);
    let quantity = said.quantity(name, difference.value, half, Scale::Value)?;
    list.push(Input { quantity, unit: None, role: Role::Temperature { gain_per_kelvin }, steps: all });
    Ok(())
}
