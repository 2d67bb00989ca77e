//! What is known of the pairing: from options, an assessment's file, or an entry of the logbook.

use std::path::Path;

use flattop_core::assessment::Compensation;
use flattop_core::correction::shelf::KnownShelf;
use flattop_core::divider::Shelf;
use flattop_plan::Plan;

use super::args::{Known, Tolerated};
use crate::found::{self, Found, Trouble};
use crate::setup::{self, Around, Setup};
use crate::status::WrongUsage;
use crate::values;
use crate::workbench::BenchFile;

/// What is undone, and where that comes from.
pub(crate) struct Source {
    pub(crate) known: What,
    pub(crate) from: String,
}

/// What is undone.
pub(crate) enum What {
    Shelf(KnownShelf),
    Chain(Box<Setup>),
}

pub(super) fn find(known: &Known) -> Result<Result<Source, Trouble>, WrongUsage> {
    if let (Some(error), Some(constant)) = (known.error, known.time_constant) {
        return Ok(Ok(Source { known: What::Shelf(typed(error, constant)), from: "options".to_owned() }));
    }
    if let Some(file) = &known.from {
        let name = file.display().to_string();
        return Ok(
            found::from_file(file).map(|found| Source { known: What::Shelf(shelf(&found)), from: name })
        );
    }
    if let Some(number) = known.entry {
        return Ok(entry(&known.bench, number));
    }
    if let Some(file) = &known.plan {
        let name = file.display().to_string();
        let setup = chain(&name, file).map_err(Trouble::Unusable);
        return Ok(setup.map(|setup| Source { known: What::Chain(Box::new(setup)), from: name }));
    }
    let message = "what is to be undone is not said; name an assessment with --from FILE or --entry N, or give --error E \
                   and --time-constant TIME, or a plan with --plan FILE";
    Err(WrongUsage { message: message.to_owned() })
}

/// Values as typed; nothing is known of how they go together.
pub(crate) fn typed(error: Tolerated, constant: Tolerated) -> KnownShelf {
    KnownShelf {
        shelf: Shelf { error: error.value, time_constant_s: constant.value },
        error_u: error.standard_uncertainty(),
        time_constant_u_s: constant.standard_uncertainty(),
        correlation: 0.0,
    }
}

/// The chain of a plan with its doubts.
fn chain(name: &str, file: &Path) -> Result<Setup, String> {
    let plan = Plan::parse(name, &values::read_text(file)?).map_err(|problems| problems.to_string())?;
    setup_of(name, plan, file.parent().unwrap_or(Path::new("")))
}

/// The chain of a plan with its doubts; files that it names are looked for in `folder`.
pub(crate) fn setup_of(name: &str, plan: Plan, folder: &Path) -> Result<Setup, String> {
    let around = Around { node: &plan.node, contact: &plan.contact, input: &plan.input };
    let setup = setup::chain(&plan.probe, &around)
        .and_then(|setup| setup::with_measured(setup, &plan.measured, folder))
        .map_err(|error| format!("{name}: {error}"))?;
    Ok(Setup { findings: plan.findings.into_iter().chain(setup.findings).collect(), ..setup })
}

/// What a correction needs of it; resistors do not matter.
pub(crate) fn shelf(found: &Found) -> KnownShelf {
    let Compensation { error, time_constant_s, correlation, .. } = found.compensation;
    KnownShelf {
        shelf: Shelf { error: error.value, time_constant_s: time_constant_s.value },
        error_u: error.standard_uncertainty,
        time_constant_u_s: time_constant_s.standard_uncertainty,
        correlation,
    }
}

/// An assessment of the logbook.
pub(crate) fn entry(bench: &BenchFile, number: i64) -> Result<Source, Trouble> {
    let register = bench.read().map_err(Trouble::Unusable)?;
    let entry = register.entry(number).map_err(|error| Trouble::Unusable(error.to_string()))?;
    let found = found::from_entry(&entry)?;
    Ok(Source { known: What::Shelf(shelf(&found)), from: format!("entry {number} of the logbook") })
}
