//! The bench as plans ask for it: its fields under the names of a plan's keys, and what the logbook says of a pairing.

use std::cell::OnceCell;

use flattop_core::bench::{InputId, Pairing, Probe, Stage, Trimmer};
use flattop_core::finding::Finding;
use flattop_core::quantity::{Unit, format_engineering};
use flattop_plan::document::Quantity;
use flattop_plan::{AsMeasured, Bench, Candidates, Held, Missing, Thing};
use flattop_register::{
    EntryKind, Filter, Register, RegisterError, Retired, Voids, ground_fields, input_fields, probe_fields,
    time,
};

use crate::workbench::{BenchFile, input_id, probe_id};

/// What a list that names nothing has to choose from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Which {
    /// Pairings in force.
    InForce,
    /// Every probe on every input.
    Every,
}

/// A bench that is opened when it is first asked.
pub(crate) struct OnBench<'a> {
    file: &'a BenchFile,
    which: Which,
    register: OnceCell<Result<Register, String>>,
}

/// Key of a plan, field of the bench, and a value to be entered.
type Needed = (&'static str, &'static str, &'static str);

const OF_PROBE: [Needed; 2] =
    [("ratio", "ratio", "10"), ("input_capacitance", "tip_capacitance", "\"13 pF ± 2 pF\"")];
const OF_INPUT: [Needed; 2] =
    [("resistance", "resistance", "\"1 MΩ ± 1 %\""), ("capacitance", "capacitance", "\"15 pF ± 2 pF\"")];

impl<'a> OnBench<'a> {
    pub(crate) fn new(file: &'a BenchFile, which: Which) -> Self {
        Self { file, which, register: OnceCell::new() }
    }

    pub(crate) fn which(&self) -> Which {
        self.which
    }

    fn register(&self) -> Result<&Register, String> {
        self.register.get_or_init(|| self.file.read()).as_ref().map_err(Clone::clone)
    }

    fn probe_in_use(&self, text: &str) -> Result<Probe, String> {
        let probe = self.register()?.probe(&probe_id(text)?).map_err(said)?;
        if probe.retired {
            return Err(out_of_use("probe", probe.id.as_str()));
        }
        Ok(probe)
    }
}

impl Bench for OnBench<'_> {
    fn probe(&self, id: &str) -> Result<Thing, String> {
        let probe = self.probe_in_use(id)?;
        let id = probe.id.to_string();
        let fields = probe_fields(&probe);
        let mut thing = thing(&id, &fields, &OF_PROBE);
        let mut hold = |key, field, text: &str| thing.held.push(held(&id, key, field, text));
        for (field, text) in &fields {
            match *field {
                "ratio" | "adjusted_at" | "bandwidth" => hold(field, field, text),
                "tip_capacitance" => hold("input_capacitance", field, text),
                "compensation_range" => hold("compensation_range", field, &text.replace(" to ", ", ")),
                "cable.length" => hold("cable_length", field, text),
                _ => {}
            }
        }
        let value = |key: &str| fields.iter().find(|(k, _)| *k == key).map(|(_, text)| text.as_str());
        let (rating, kind) = (value("voltage_rating"), value("voltage_rating_kind"));
        if let (Some(rating), Some(kind)) = (rating, kind) {
            let points: Vec<(&str, &str)> = rating.split(';').filter_map(|p| p.split_once(" at ")).collect();
            let all =
                |part: fn(&(&str, &str)) -> String| points.iter().map(part).collect::<Vec<_>>().join(", ");
            let volts = all(|(voltage, _)| voltage.trim().to_owned());
            let key = match kind {
                "peak" => "rating.peak",
                "rms" => "rating.rms",
                // A table of direct voltages has its one point at 0 Hz.
                _ => "rating.dc",
            };
            hold(key, "voltage_rating", &volts);
            if key != "rating.dc" {
                let hertz = all(|(_, frequency)| frequency.trim().to_owned());
                hold("rating.frequency", "voltage_rating", &hertz);
            }
        }
        let (category, to_earth) = (value("measurement_category"), value("category_voltage"));
        if let (Some(category), Some(to_earth)) = (category, to_earth) {
            hold("rating.category", "measurement_category", category.trim_start_matches("CAT "));
            hold("rating.category_voltage", "category_voltage", to_earth);
        }
        thing.findings.extend(half_known(
            &id,
            rating,
            kind,
            ("voltage_rating", "voltage_rating_kind", "peak"),
        ));
        let pair = ("measurement_category", "category_voltage", "300V");
        thing.findings.extend(half_known(&id, category, to_earth, pair));
        Ok(thing)
    }

    fn input(&self, id: &str) -> Result<Thing, String> {
        let register = self.register()?;
        let id = input_id(id)?;
        let input = register.input(&id).map_err(said)?;
        if input.retired {
            return Err(out_of_use("input", &id.to_string()));
        }
        if register.oscilloscope(&id.oscilloscope).map_err(said)?.retired {
            return Err(out_of_use("oscilloscope", id.oscilloscope.as_str()));
        }
        let id = id.to_string();
        let fields = input_fields(&input);
        let mut thing = thing(&id, &fields, &OF_INPUT);
        let mut hold = |key, field, text: &str| thing.held.push(held(&id, key, field, text));
        let value = |key: &str| fields.iter().find(|(k, _)| *k == key).map(|(_, text)| text.as_str());
        for (field, text) in &fields {
            match *field {
                "resistance" | "capacitance" | "bandwidth" => hold(field, field, text),
                // Without a bandwidth there is no form.
                "response" if value("bandwidth").is_some() => match text.strip_prefix("maximally-flat-") {
                    Some(order) => {
                        hold("response", field, "maximally-flat");
                        hold("order", field, order);
                    }
                    None => hold("response", field, text.trim_end_matches("-4")),
                },
                _ => {}
            }
        }
        let (rated, kind) = (value("rated_voltage"), value("rated_voltage_kind"));
        if let (Some(rated), Some(kind)) = (rated, kind) {
            hold("rated_voltage", "rated_voltage", rated);
            hold("rated_as", "rated_voltage_kind", kind);
        }
        thing.findings.extend(half_known(&id, rated, kind, ("rated_voltage", "rated_voltage_kind", "rms")));
        Ok(thing)
    }

    fn ground(&self, probe: &str, name: &str) -> Result<Thing, String> {
        let probe = self.probe_in_use(probe)?;
        let known = &probe.ground_accessories;
        let Some(accessory) = known.iter().find(|g| g.name.as_str() == name) else {
            let names: Vec<&str> = known.iter().map(|g| g.name.as_str()).collect();
            let names = if names.is_empty() { "nothing".to_owned() } else { names.join(", ") };
            return Err(format!(
                "{} has {names} of this kind; flattop bench add ground {0}/{name} length=20mm",
                probe.id
            ));
        };
        let id = format!("{}/{name}", probe.id);
        let fields = ground_fields(accessory);
        // An inductance says more than the length that it would be estimated from.
        let best = [("inductance", "inductance"), ("ground_length", "length")].into_iter().find_map(
            |(key, field)| {
                let (_, text) = fields.iter().find(|(k, _)| *k == field)?;
                Some(held(&id, key, field, text))
            },
        );
        match best {
            Some(best) => Ok(Thing { held: vec![best], id, ..Thing::default() }),
            None => Err(format!(
                "neither its length nor its inductance is known; flattop bench edit {id} length=20mm"
            )),
        }
    }

    fn pairing(&self, probe: &str, input: &str) -> Result<AsMeasured, String> {
        let probe = self.probe_in_use(probe)?;
        let input = input_id(input)?;
        let is_fixed = probe.adjusted_at == Some(Trimmer::Fixed);
        let register = self.register()?;
        match register.pairing_of(&probe.id).map_err(said)? {
            Some(pairing) if pairing.input == input => {
                last_assessment(register, &pairing, is_fixed).map_err(said)
            }
            Some(pairing) if !is_fixed => Ok(only(elsewhere(&pairing, &input))),
            _ => Ok(AsMeasured::default()),
        }
    }

    fn candidates(&self) -> Result<Candidates, String> {
        let register = self.register()?;
        let probes = register.probes(Retired::Hidden).map_err(said)?;
        let scopes = register.oscilloscopes(Retired::Hidden).map_err(said)?;
        let mut found = Candidates::default();
        let mut left_out = |id: &str, fields: &[(&'static str, String)], needed: &[Needed]| {
            let missing = thing(id, fields, needed).missing;
            let first = missing.first()?;
            let message = format!("{id} is left out: its {} is not known", first.field);
            found.findings.push(Finding::warning("left-out", message, first.remedy.clone()));
            Some(())
        };
        for probe in probes {
            if left_out(probe.id.as_str(), &probe_fields(&probe), &OF_PROBE).is_none() {
                found.probes.push(probe.id.to_string());
            }
        }
        for scope in scopes {
            for input in scope.inputs.iter().filter(|input| !input.retired) {
                let id = InputId { oscilloscope: scope.id.clone(), name: input.name.clone() }.to_string();
                if left_out(&id, &input_fields(input), &OF_INPUT).is_none() {
                    found.inputs.push(id);
                }
            }
        }
        let place = |ids: &[String], id: &str| ids.iter().position(|known| known == id);
        found.pairs = match self.which {
            Which::Every => {
                let inputs = 0..found.inputs.len();
                (0..found.probes.len()).flat_map(|p| inputs.clone().map(move |i| (p, i))).collect()
            }
            Which::InForce => {
                let all = register.pairings(Voids::Hidden).map_err(said)?;
                let at = |pairing: &Pairing| {
                    let probe = place(&found.probes, pairing.probe.as_str())?;
                    Some((probe, place(&found.inputs, &pairing.input.to_string())?))
                };
                all.iter().filter_map(at).collect()
            }
        };
        if !found.pairs.is_empty() {
            return Ok(found);
        }
        let why: Vec<String> =
            found.findings.iter().map(|f| format!("{}; {}", f.message, f.remedy)).collect();
        let why = if why.is_empty() { String::new() } else { format!(" ({})", why.join("; ")) };
        Err(match self.which {
            Which::Every => {
                format!("the bench has no probe or no input that can be predicted{why}; flattop bench list")
            }
            Which::InForce => format!(
                "the bench has no pairing in force that can be predicted{why}; flattop bench pair probe-07 bench-a/ch1, \
                 or rank every probe on every input with --all"
            ),
        })
    }
}

fn said(error: RegisterError) -> String {
    error.to_string()
}

fn out_of_use(kind: &str, id: &str) -> String {
    format!("this {kind} is out of use; flattop bench reinstate {id}, or name another one")
}

fn held(id: &str, key: &'static str, field: &'static str, text: &str) -> Held {
    Held { key, text: text.to_owned(), field, remedy: format!("flattop bench edit {id} {field}=…") }
}

/// A thing with nothing in it yet but what is missing.
fn thing(id: &str, fields: &[(&'static str, String)], needed: &[Needed]) -> Thing {
    let missing = needed.iter().filter(|(_, field, _)| fields.iter().all(|(known, _)| known != field));
    let missing = missing.map(|&(key, field, value)| Missing {
        key,
        field,
        remedy: format!("flattop bench edit {id} {field}={value}"),
    });
    Thing { id: id.to_owned(), missing: missing.collect(), ..Thing::default() }
}

/// A rating that cannot be held against anything, as half of it is missing.
fn half_known(
    id: &str,
    first: Option<&str>,
    second: Option<&str>,
    (first_field, second_field, example): (&str, &str, &str),
) -> Option<Finding> {
    let first = first.filter(|_| second.is_none())?;
    Some(Finding::warning(
        "rating-not-used",
        format!("{first_field} of {id} is {first}, but {second_field} is not known: it was not looked at"),
        format!("flattop bench edit {id} {second_field}={example}, as the data sheet says"),
    ))
}

fn only(finding: Finding) -> AsMeasured {
    AsMeasured { compensation_error: None, findings: vec![finding] }
}

fn elsewhere(pairing: &Pairing, input: &InputId) -> Finding {
    let Pairing { probe, input: home, .. } = pairing;
    Finding::note(
        "paired-elsewhere",
        format!(
            "{probe} is adjusted to {home}; it is predicted as it would be after adjusting it to {input}"
        ),
        format!("before you measure: flattop bench move {probe} {input}, then adjust it"),
    )
}

/// e as last assessed, unless the trimmer was turned since.
fn last_assessment(
    register: &Register,
    pairing: &Pairing,
    is_fixed: bool,
) -> Result<AsMeasured, RegisterError> {
    let Pairing { probe, input, .. } = pairing;
    let series = register.series(pairing.number)?;
    let last = series.points.last().filter(|(_, point)| point.stage != Stage::BeforeAdjustment);
    let turned = match last {
        Some((seq, point)) => {
            let filter = Filter {
                pairing: Some(pairing.number),
                from_unix_ms: Some(point.at.unix_ms),
                kinds: vec![EntryKind::Adjustment],
                ..Filter::all()
            };
            let after = |entry: &flattop_register::Entry| {
                (point.at.unix_ms, *seq) < (entry.act.at.unix_ms, entry.seq)
            };
            register.entries(&filter)?.iter().any(after)
        }
        None => false,
    };
    let Some((seq, point)) = last.filter(|_| !turned) else {
        let since = if series.points.is_empty() { "" } else { " since it was adjusted" };
        let finding = Finding::note(
            "compensation-assumed",
            format!(
                "{probe} on {input} was not assessed{since}: it is taken as adjusted as well as its trimmer can"
            ),
            format!("assess a capture: flattop assess CAPTURE --probe {probe} --log"),
        );
        return Ok(if is_fixed { AsMeasured::default() } else { only(finding) });
    };
    let percent = |value| format_engineering(value, Unit::Ratio, 3);
    let doubt = point.standard_uncertainty.map_or_else(
        || "its uncertainty is not stated".to_owned(),
        |u| format!("standard uncertainty {}", percent(u)),
    );
    let date: String = time::local(point.at).chars().take(10).collect();
    let finding = Finding::note(
        "compensation-measured",
        format!(
            "{probe} on {input} has a compensation error of {} ({doubt}), as assessed on {date} (entry {seq} of the logbook)",
            percent(point.compensation_error)
        ),
        "to predict it as adjusted: --set probe.compensation_error=",
    );
    // Plans carry half-widths of tolerances: a/√3 is the standard uncertainty (JCGM 100:2008, 4.3.7).
    let half_width = point.standard_uncertainty.map(|u| u * 3f64.sqrt());
    let compensation_error = Some(Quantity { value: point.compensation_error, half_width });
    Ok(AsMeasured { compensation_error, findings: vec![finding] })
}
