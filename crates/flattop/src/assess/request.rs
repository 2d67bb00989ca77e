//! What was typed, turned into what is to be done.

use std::path::PathBuf;

use flattop_captures::ReadOptions;
use flattop_core::assessment::AdjustedAt;
use flattop_core::divider::Divider;
use flattop_core::finding::Finding;
use flattop_report::subject::{Assumptions, OnBench};

use super::args::{Args, Circuit, Place};
use crate::status::WrongUsage;
use crate::values::Reading;

/// What is to be done.
#[derive(Clone, Debug)]
pub(crate) struct Request {
    /// Where the evidence comes from.
    pub(crate) evidence: Evidence,
    /// What is assumed.
    pub(crate) assumptions: Assumptions,
    /// The |e| still accepted.
    pub(crate) tolerance: f64,
    /// The pairing of the bench, if it was named.
    pub(crate) on_bench: Option<OnBench>,
    /// What is to be remarked on every result.
    pub(crate) findings: Vec<Finding>,
    /// How the answer is written.
    pub(crate) style: Style,
    /// Where the drawing goes, if one is wanted.
    pub(crate) plot: Option<PathBuf>,
}

/// The usual 10× probe on 1 MΩ.
const TEN_TO_ONE: Divider = Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 };

/// What the bench knows of a pairing.
#[derive(Clone, Debug, Default)]
pub(crate) struct Known {
    pub(crate) divider: Option<Divider>,
    pub(crate) resistor_tolerance: Option<f64>,
    pub(crate) adjusted_at: Option<AdjustedAt>,
    pub(crate) tolerance: Option<f64>,
    pub(crate) on_bench: Option<OnBench>,
    pub(crate) findings: Vec<Finding>,
}

/// Where the evidence comes from.
#[derive(Clone, Debug)]
pub(crate) enum Evidence {
    /// Square waves, each file on its own.
    Squares(Vec<PathBuf>, ReadOptions),
    /// Sines, all files together.
    Sines(Vec<PathBuf>, ReadOptions),
    /// Levels read off a screen.
    ByEye(Levels),
}

/// Levels read off a screen, all in one unit.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Levels {
    pub(crate) start: Reading,
    pub(crate) end: Reading,
    pub(crate) resolution: Option<Reading>,
    pub(crate) frequency_hz: Option<f64>,
    pub(crate) time_to_37: Option<Reading>,
}

/// How the answer is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Style {
    /// Words for people.
    Words,
    /// JSON for programs.
    Json,
}

impl Request {
    /// Checks what the parser could not check by itself. What was typed goes before what the bench says.
    pub(crate) fn from_args(args: &Args, known: Option<&Known>) -> Result<Self, WrongUsage> {
        let read = args.columns.read()?;
        let evidence = match (args.by_eye, args.sine) {
            (true, _) => Evidence::ByEye(levels(args)?),
            (false, true) if args.captures.len() < 2 => {
                let message = "--sine needs captures at two frequencies or more, one file each, for example: \
                               flattop assess --sine --column 2 --reference 3 at-1k.csv at-100k.csv";
                return Err(WrongUsage { message: message.into() });
            }
            (false, true) => Evidence::Sines(args.captures.clone(), read),
            (false, false) => Evidence::Squares(args.captures.clone(), read),
        };
        let known = known.cloned().unwrap_or_default();
        let (assumptions, tolerance) = args.circuit.assumed(&known);
        Ok(Self {
            evidence,
            assumptions,
            tolerance,
            on_bench: known.on_bench,
            findings: known.findings,
            style: if args.json { Style::Json } else { Style::Words },
            plot: args.plot.clone(),
        })
    }
}

impl Circuit {
    /// What is assumed, and the |e| still accepted: what was typed goes before what the bench says.
    pub(crate) fn assumed(&self, known: &Known) -> (Assumptions, f64) {
        let adjusted_at = self.adjust.map(|place| match place {
            Place::Tip => AdjustedAt::Tip,
            Place::Base => AdjustedAt::Base,
        });
        let assumptions = Assumptions {
            divider: self.divider.or(known.divider).unwrap_or(TEN_TO_ONE),
            resistor_tolerance: self.resistor_tolerance.or(known.resistor_tolerance).unwrap_or(0.01),
            adjusted_at: adjusted_at.or(known.adjusted_at).unwrap_or(AdjustedAt::Tip),
            source_amplitude_v: self.source_amplitude,
        };
        (assumptions, self.tolerance.or(known.tolerance).unwrap_or(0.01))
    }
}

fn levels(args: &Args) -> Result<Levels, WrongUsage> {
    let readings = &args.readings;
    let (Some(start), Some(end)) = (readings.start, readings.end) else {
        return Err(WrongUsage { message: "--by-eye needs --start and --end".into() });
    };
    if [Some(end), readings.resolution].into_iter().flatten().any(|level| level.scale != start.scale) {
        let message = "--start, --end and --resolution must all be in divisions, or all in volts";
        return Err(WrongUsage { message: message.into() });
    }
    Ok(Levels {
        start,
        end,
        resolution: readings.resolution,
        frequency_hz: readings.frequency,
        time_to_37: readings.time_to_37,
    })
}
