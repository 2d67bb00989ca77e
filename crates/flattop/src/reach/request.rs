//! What was typed, turned into what is to be done.

use std::path::PathBuf;

use flattop_core::assessment::AdjustedAt;
use flattop_core::reach::{CompensationRange, InputCapacitance, ReachProbe, TipCapacitance};

use super::args::{Args, InputTyped, Place};
use crate::status::WrongUsage;
use crate::values::{Deviation, Tolerated};

/// What is to be done.
#[derive(Clone, Debug)]
pub(crate) struct Request {
    pub(crate) probe: ReachProbe,
    pub(crate) inputs: Vec<InputCapacitance>,
    /// How the answer is written.
    pub(crate) style: Style,
    /// Where the drawing goes, if one is wanted.
    pub(crate) plot: Option<PathBuf>,
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
    /// Checks what the parser could not check by itself.
    pub(super) fn from_args(args: &Args) -> Result<Self, WrongUsage> {
        let Some(range) = args.range else {
            return Err(WrongUsage {
                message: "a capacitance after --input needs --range and --tip of the probe".into(),
            });
        };
        let tip = match (args.tip, args.tip_resistor) {
            (Some(seen_f), None) => TipCapacitance::SeenAtTip(seen_f),
            (None, Some(c1_f)) => TipCapacitance::AcrossTipResistor(c1_f),
            _ => return Err(WrongUsage { message: "give either --tip or --tip-resistor".into() }),
        };
        let inputs = args.inputs.iter().map(|input| match input {
            InputTyped::Value(value) => with_tolerance(args, value),
            InputTyped::Named(name) => {
                let message = format!(
                    "--input {name} names an input of the bench; beside --range give its capacitance"
                );
                Err(WrongUsage { message })
            }
        });
        let inputs = inputs.collect::<Result<_, _>>()?;
        Ok(Self {
            probe: ReachProbe {
                divider: args.divider,
                tip,
                adjusted_at: match args.adjust {
                    Place::Tip => AdjustedAt::Tip,
                    Place::Base => AdjustedAt::Base,
                },
                range: CompensationRange {
                    least_f: range.0,
                    most_f: range.1,
                    tolerance_f: args.range_tolerance,
                },
            },
            inputs,
            style: if args.json { Style::Json } else { Style::Words },
            plot: args.plot.clone(),
        })
    }
}

fn with_tolerance(args: &Args, input: &Tolerated) -> Result<InputCapacitance, WrongUsage> {
    tolerated(input, args.input_tolerance).map_err(|message| WrongUsage { message })
}

/// An input's capacitance with its own tolerance, or the usual one.
pub(crate) fn tolerated(input: &Tolerated, usual: Deviation) -> Result<InputCapacitance, String> {
    let nominal_f = input.nominal_f;
    let tolerance_f = input.deviation.unwrap_or(usual).of(nominal_f);
    if tolerance_f < nominal_f {
        Ok(InputCapacitance { nominal_f, tolerance_f })
    } else {
        let input = flattop_report::reach::capacitance(nominal_f);
        Err(format!(
            "--input-tolerance leaves nothing of an input of {input}; make it smaller, for example 10%"
        ))
    }
}
