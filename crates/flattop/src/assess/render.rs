//! From results to what is written: words or JSON on standard output, drawings into files, troubles to standard error.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use flattop_core::assessment::Verdict;
use flattop_report::subject::{Failure, Subject};
use flattop_report::{json, plot, text};

use super::request::{Request, Style};
use crate::output::{self, complain, draw as draw_file, print};
use crate::status::Ending;

/// Writes everything, and tells how the run ended: the worst of all results and writings.
pub(crate) fn render(request: &Request, results: &[Result<Subject, Failure>]) -> Ending {
    for failure in results.iter().filter_map(|result| result.as_ref().err()) {
        complain(&failure.message);
    }
    let drawn = request.plot.as_deref().map_or(Ending::Good, |file| draw(file, results));
    let written = match words(request.style, results) {
        Some(words) => print(words.as_bytes()),
        None => Ending::Good,
    };
    results.iter().map(ending).chain([drawn, written]).max().unwrap_or(Ending::Good)
}

fn ending(result: &Result<Subject, Failure>) -> Ending {
    match result.as_ref().map(|subject| subject.assessment.verdict) {
        Ok(Verdict::WithinTolerance) => Ending::Good,
        Ok(Verdict::Undercompensated | Verdict::Overcompensated) => Ending::Outside,
        Ok(Verdict::Undetermined) => Ending::Undetermined,
        Err(_) => Ending::Unusable,
    }
}

fn words(style: Style, results: &[Result<Subject, Failure>]) -> Option<String> {
    match (style, results) {
        (Style::Json, [one]) => Some(json::one(one)),
        (Style::Json, several) => Some(json::several(several)),
        (Style::Words, [Ok(subject)]) => Some(text::one(subject)),
        // What went wrong has been told on standard error.
        (Style::Words, [Err(_)]) => None,
        (Style::Words, several) => Some(text::several(several)),
    }
}

fn draw(file: &Path, results: &[Result<Subject, Failure>]) -> Ending {
    let mut taken = HashSet::new();
    let mut worst = Ending::Good;
    for subject in results.iter().flatten() {
        let target =
            if results.len() == 1 { file.to_owned() } else { own_name(file, &subject.file, &mut taken) };
        let png = || plot::png(subject).map_err(|error| error.to_string());
        worst = worst.max(draw_file(&target, || plot::svg(subject), png));
    }
    worst
}

/// `plot.svg` and `bench-a-ch1.csv` make `plot-bench-a-ch1.svg`; a name already taken gets a number.
fn own_name(file: &Path, capture: &str, taken: &mut HashSet<PathBuf>) -> PathBuf {
    output::own_name(file, Path::new(capture).file_stem().unwrap_or_default(), taken)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn several_captures_get_a_drawing_each() {
        let mut taken = HashSet::new();
        let mut name = |capture| own_name(Path::new("out/plot.svg"), capture, &mut taken);
        assert_eq!(name("a/ch1.csv"), Path::new("out/plot-ch1.svg"));
        assert_eq!(name("b/ch1.csv"), Path::new("out/plot-ch1-2.svg"));
        assert_eq!(name("b/ch1.csv.gz"), Path::new("out/plot-ch1.csv.svg"));
    }
}
