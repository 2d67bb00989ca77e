//! From results to what is written: words or JSON on standard output, drawings into files, troubles to standard error.

use std::collections::HashSet;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use flattop_core::reach::Verdict;
use flattop_report::reach::{self, Pairing, Unfit, json};

use super::request::{Request, Style};
use crate::output::{self, complain, draw as draw_file, print};
use crate::status::Ending;

/// Writes everything, and tells how the run ended: the worst of all results and writings.
pub(super) fn render(request: &Request, results: &[Result<Pairing, Unfit>]) -> Ending {
    // A probe that cannot be true is so on every input; once is enough.
    let mut told = HashSet::new();
    for unfit in results.iter().filter_map(|result| result.as_ref().err()) {
        if told.insert(&unfit.message) {
            complain(&unfit.message);
        }
    }
    let drawn = request.plot.as_deref().map_or(Ending::Good, |file| draw(file, results));
    let words = match (request.style, results) {
        (Style::Json, [one]) => Some(json::one(one)),
        (Style::Json, several) => Some(json::several(several)),
        (Style::Words, [Ok(pairing)]) => Some(reach::one(pairing)),
        // What is wrong has been told on standard error.
        (Style::Words, [Err(_)]) => None,
        (Style::Words, several) => Some(reach::several(several)),
    };
    let written = words.map_or(Ending::Good, |words| print(words.as_bytes()));
    results.iter().map(ending).chain([drawn, written]).max().unwrap_or(Ending::Good)
}

fn ending(result: &Result<Pairing, Unfit>) -> Ending {
    match result.as_ref().map(|pairing| pairing.reach.margin.verdict) {
        Ok(Verdict::Reaches) => Ending::Good,
        Ok(Verdict::OutOfReach) => Ending::Outside,
        Ok(Verdict::MayReach) => Ending::Undetermined,
        Err(_) => Ending::Unusable,
    }
}

fn draw(file: &Path, results: &[Result<Pairing, Unfit>]) -> Ending {
    let mut taken = HashSet::new();
    let mut worst = Ending::Good;
    for pairing in results.iter().flatten() {
        let target = if results.len() == 1 { file.to_owned() } else { own_name(file, pairing, &mut taken) };
        let png = || reach::png(pairing).map_err(|error| error.to_string());
        worst = worst.max(draw_file(&target, || reach::svg(pairing), png));
    }
    worst
}

/// `plot.svg` and an input of 20 pF make `plot-20pF.svg`; a name already taken gets a number.
fn own_name(file: &Path, pairing: &Pairing, taken: &mut HashSet<PathBuf>) -> PathBuf {
    let of = reach::capacitance(pairing.input.nominal_f).replace(' ', "");
    output::own_name(file, OsStr::new(&of), taken)
}
