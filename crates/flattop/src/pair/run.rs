//! From what was typed to what is told of a pair.

use std::path::{Path, PathBuf};

use flattop_captures::{Capture, ReadOptions};
use flattop_core::assessment::Estimate;
use flattop_core::chain::Chain;
use flattop_core::finding::Finding;
use flattop_core::pair::edges::{self, Comparison};
use flattop_core::pair::{
    Balance, Rejection, Response, both_flat, consequences, rejection, trim_to_each_other,
};
use flattop_core::prediction::Doubt;
use flattop_plan::Plan;
use flattop_report::format::plain;
use flattop_report::pair::{Consequence, Subject, Trimmed};

use super::Args;
use crate::found::{self, Found, Trouble};
use crate::setup::{self, Around};
use crate::status::WrongUsage;
use crate::workbench::{self, BenchFile};

/// What is asked of two probes.
pub(crate) struct Request {
    pub(crate) a: Side,
    pub(crate) b: Side,
    pub(crate) frequency_hz: Vec<f64>,
    /// Captures of the same edge on both: none, one with two columns, or two.
    pub(crate) edges: Vec<PathBuf>,
    pub(crate) column_a: Option<u16>,
    pub(crate) column_b: Option<u16>,
    pub(crate) interval_s: Option<f64>,
    /// Value and half-width.
    pub(crate) skew_s: Option<(f64, f64)>,
    /// Value and half-width.
    pub(crate) gain_ratio: Option<(f64, f64)>,
    pub(crate) common_mode_v: Option<f64>,
    /// Frequency, Hz, and lag, degrees.
    pub(crate) power: Option<(f64, f64)>,
    /// V and A.
    pub(crate) switching: Option<(f64, f64)>,
    /// Transition duration, s.
    pub(crate) delay_s: Option<f64>,
}

/// One probe of the pair.
pub(crate) enum Side {
    Found(Box<Found>),
    Plan { name: String, chain: Box<Chain>, doubts: Vec<Doubt> },
}

impl Side {
    fn response(&self) -> Response<'_> {
        match self {
            Side::Found(found) => Response::Shelf(&found.compensation),
            Side::Plan { chain, doubts, .. } => Response::Chain { chain, doubts },
        }
    }

    fn name(&self) -> String {
        match self {
            Side::Found(found) => found.from.clone(),
            Side::Plan { name, .. } => name.clone(),
        }
    }
}

pub(super) fn run(args: &Args) -> Result<Result<Subject, Trouble>, WrongUsage> {
    check_edges(args.edges.len(), args.column_a, args.column_b)
        .map_err(|message| WrongUsage { message: message.to_owned() })?;
    let request = || {
        Ok(Request {
            a: side(&args.bench, &args.a)?,
            b: side(&args.bench, &args.b)?,
            frequency_hz: args.frequencies.0.clone(),
            edges: args.edges.clone(),
            column_a: args.column_a,
            column_b: args.column_b,
            interval_s: args.interval,
            skew_s: args.skew,
            gain_ratio: args.gain_ratio,
            common_mode_v: args.common_mode,
            power: args.power,
            switching: args.switching,
            delay_s: args.delay,
        })
    };
    Ok(request().and_then(|request| told(&request)))
}

/// Whether captures and columns name two records.
pub(crate) fn check_edges(edges: usize, a: Option<u16>, b: Option<u16>) -> Result<(), &'static str> {
    if edges > 2 {
        return Err("--edges takes one capture with two columns, or two captures");
    }
    if edges == 1 && (a.is_none() || b.is_none()) {
        return Err("one capture holds both probes in two columns; name them with --column-a and --column-b");
    }
    Ok(())
}

/// What is told of the pair.
pub(crate) fn told(args: &Request) -> Result<Subject, Trouble> {
    let (a, b) = (&args.a, &args.b);
    let mut findings = Vec::new();
    let edges = (!args.edges.is_empty()).then(|| compared(args)).transpose()?;
    let (balance, balance_from) = balance(args, edges.as_ref(), &mut findings);
    let frequency_hz = args.frequency_hz.clone();
    let core = |error: flattop_core::pair::PairError| Trouble::Unusable(error.to_string());
    let found = rejection(a.response(), b.response(), &balance, &frequency_hz).map_err(core)?;
    let (mut errors, mut trimmed) = (None, None);
    if let (Side::Found(one), Side::Found(two)) = (a, b) {
        errors = Some([one.compensation.error, two.compensation.error]);
        let (one, at, two) = (&one.compensation, two.adjusted_at, &two.compensation);
        trimmed = Some(Trimmed {
            both_flat: both_flat(one, two, &balance, &frequency_hz).map_err(core)?,
            b_to_a: trim_to_each_other(one, two, at, &balance, &frequency_hz).map_err(core)?,
        });
        if frequency_hz.iter().any(|f| *f > SHELF_UP_TO_HZ) {
            findings.push(Finding::note(
                "shelf-only",
                "an assessment knows the compensation only; above some megahertz, cable, lead and input differ as well",
                "give plans with the whole chains, or compare the same edge on both with --edges",
            ));
        }
    }
    if let Some(edges) = &edges {
        findings.extend(edges.findings.iter().cloned());
    }
    findings.push(Finding::warning(
        "clips-and-floating-points",
        "a difference is measured because both points float: neither ground clip may go there",
        "leave both clips off or join them to each other; each tip must stand its own voltage to earth (IEC 61010-031; local codes come first)",
    ));
    Ok(Subject {
        a: a.name(),
        b: b.name(),
        errors,
        consequences: consequences(args, &balance, &found),
        balance,
        balance_from,
        edges,
        rejection: found,
        trimmed,
        findings,
    })
}

/// A shelf says nothing about what comes above, Hz; common practice.
const SHELF_UP_TO_HZ: f64 = 3e6;

/// A probe as named: an assessment, a plan, or a probe of the bench.
fn side(bench: &BenchFile, text: &str) -> Result<Side, Trouble> {
    let path = Path::new(text);
    let ends = |end: &str| path.extension().is_some_and(|e| e.eq_ignore_ascii_case(end));
    if ends("json") {
        let found = found::from_file(path)?;
        return Ok(Side::Found(Box::new(found)));
    }
    if ends("toml") {
        return plan(path).map_err(Trouble::Unusable);
    }
    on_bench(bench, text)
}

/// A probe of the bench with its last assessment.
pub(crate) fn on_bench(bench: &BenchFile, text: &str) -> Result<Side, Trouble> {
    let register = bench.read().map_err(Trouble::Unusable)?;
    let fail = |e: flattop_register::RegisterError| Trouble::Unusable(e.to_string());
    let probe = workbench::probe_id(text)
        .map_err(|e| Trouble::Unusable(format!("{e}; or name an assessment (.json) or a plan (.toml)")))?;
    register.probe(&probe).map_err(fail)?;
    let held = register.pairing_of(&probe).map_err(fail)?;
    let held = held.ok_or_else(|| {
        Trouble::Unusable(format!(
            "{probe} is not paired with any input; pair it and log an assessment first"
        ))
    })?;
    let series = register.series(held.number).map_err(fail)?;
    let (seq, _) = series.points.last().ok_or_else(|| {
        Trouble::Undetermined(format!(
            "the logbook holds no compensation error of {probe} on {}; assess a capture with --probe {probe} --log",
            held.input
        ))
    })?;
    let entry = register.entry(*seq).map_err(fail)?;
    found::from_entry(&entry).map(|found| Side::Found(Box::new(found)))
}

fn plan(file: &Path) -> Result<Side, String> {
    let name = file.display().to_string();
    let text = crate::values::read_text(file)?;
    let plan = Plan::parse(&name, &text).map_err(|problems| problems.to_string())?;
    planned(name, &plan, file.parent().unwrap_or(Path::new("")))
}

/// A probe by its plan; files that it names are looked for in `folder`.
pub(crate) fn planned(name: String, plan: &Plan, folder: &Path) -> Result<Side, String> {
    let around = Around { node: &plan.node, contact: &plan.contact, input: &plan.input };
    let setup = setup::chain(&plan.probe, &around)
        .and_then(|setup| setup::with_measured(setup, &plan.measured, folder))
        .map_err(|error| format!("{name}: {error}"))?;
    Ok(Side::Plan { name, chain: Box::new(setup.chain), doubts: setup.doubts })
}

fn compared(args: &Request) -> Result<Comparison, Trouble> {
    let open = |file: &Path, column: Option<u16>, reference: Option<u16>| -> Result<Capture, Trouble> {
        let read = ReadOptions {
            column: column.map(usize::from),
            reference: reference.map(usize::from),
            interval_s: args.interval_s,
        };
        flattop_captures::open(file, &read, &|_| {}).map_err(|e| Trouble::Unusable(e.to_string()))
    };
    let compared = match args.edges.as_slice() {
        [both] => {
            let capture = open(both, args.column_a, args.column_b)?;
            let second = capture.reference_record().ok_or_else(|| {
                Trouble::Unusable(format!("{}: the column of B is missing", both.display()))
            })?;
            edges::compare(capture.record(), second)
        }
        [first, second, ..] => {
            let (first, second) = (open(first, args.column_a, None)?, open(second, args.column_b, None)?);
            edges::compare(first.record(), second.record())
        }
        [] => return Err(Trouble::Unusable("no capture of the edges".into())),
    };
    compared.map_err(|error| Trouble::Undetermined(error.to_string()))
}

fn balance(
    args: &Request,
    edges: Option<&Comparison>,
    findings: &mut Vec<Finding>,
) -> (Balance, Option<String>) {
    if let Some(edges) = edges {
        let from = args.edges.iter().map(|f| f.display().to_string()).collect::<Vec<_>>().join(" and ");
        if args.edges.len() == 2 {
            findings.push(Finding::warning(
                "two-records",
                "two files share one time axis only if they were captured at the same trigger",
                "export both channels of one capture, best into one file",
            ));
        }
        return (Balance { gain_ratio: edges.gain_ratio, skew_s: edges.skew_s }, Some(from));
    }
    let estimate = |given: Option<(f64, f64)>, usual: f64| {
        let (value, half_width) = given.unwrap_or((usual, 0.0));
        // Rectangular over the tolerance typed (JCGM 100:2008, 4.3.7).
        Estimate { value, standard_uncertainty: half_width / 3f64.sqrt() }
    };
    let said = args.skew_s.is_some() || args.gain_ratio.is_some();
    if !said {
        findings.push(Finding::warning(
            "balance-assumed",
            "equal gains and no skew were assumed: the rejection is that of the responses alone, better than it will be",
            "capture the same edge on both probes and give it with --edges, or give --gain-ratio and --skew",
        ));
    }
    let balance = Balance { gain_ratio: estimate(args.gain_ratio, 1.0), skew_s: estimate(args.skew_s, 0.0) };
    (balance, said.then(|| "options".to_owned()))
}

fn consequences(args: &Request, balance: &Balance, found: &[Rejection]) -> Vec<Consequence> {
    let (gain, skew) = (balance.gain_ratio, balance.skew_s);
    let mut all = Vec::new();
    if let Some((frequency_hz, degrees)) = args.power {
        all.push(Consequence {
            code: "power-error",
            of: format!(
                "power of sines at {}, current {degrees}° behind, B carries it",
                plain(frequency_hz, "Hz", 4)
            ),
            error: consequences::power_error(gain, skew, frequency_hz, degrees.to_radians()),
            unit: "",
        });
    }
    if let Some((volts, amperes)) = args.switching {
        all.push(Consequence {
            code: "switching-energy-error",
            of: format!("one hard edge of {} and {}", plain(volts, "V", 4), plain(amperes, "A", 4)),
            error: consequences::switching_energy_error_j(skew, volts, amperes),
            unit: "J",
        });
    }
    if let Some(transition_s) = args.delay_s {
        all.push(Consequence {
            code: "delay-error",
            of: format!("delay read at 50 %, transition {}", plain(transition_s, "s", 3)),
            error: consequences::delay_error_s(gain, skew, transition_s, 0.5),
            unit: "s",
        });
    }
    if let Some(volts) = args.common_mode_v {
        for one in found {
            let (shown, most) = consequences::shown_of_common_mode(one, volts);
            all.push(Consequence {
                code: "difference-error",
                of: format!(
                    "of {} common to both at {}",
                    plain(volts, "V", 4),
                    plain(one.frequency_hz, "Hz", 3)
                ),
                error: Estimate {
                    value: shown,
                    standard_uncertainty: (most - shown) / flattop_report::subject::COVERAGE_FACTOR_95,
                },
                unit: "V",
            });
        }
    }
    all
}
