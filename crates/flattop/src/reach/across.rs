//! `flattop reach` over a bench, or over candidates on the inputs of a bench: from names and files to what is written.

use std::path::{Path, PathBuf};

use flattop_core::bench::{Id, InputId, Probe};
use flattop_core::reach_matrix::{Row, Standing, Summary, rank};
use flattop_register::{Register, Retired, probes_from_csv, probes_from_toml};
use flattop_report::compatibility::{
    self as report, Compatibility, Extent, Kind, NamedInput, Sides, csv, json, png, ranges_png, ranges_svg,
    svg,
};
use rayon::prelude::*;

use crate::output::{bare_name, complain, draw, print, remark};
use crate::status::Ending;
use crate::workbench::BenchFile;

/// What is to be done.
#[derive(Clone, Debug)]
pub(super) struct Request {
    pub(super) bench: BenchFile,
    /// Only these probes; all where empty.
    pub(super) probes: Vec<Id>,
    /// Only these inputs; all where empty.
    pub(super) inputs: Vec<InputId>,
    /// A list of candidates in place of the probes of the bench.
    pub(super) candidates: Option<PathBuf>,
    pub(super) style: Style,
    pub(super) extent: Extent,
    pub(super) plot: Option<PathBuf>,
}

/// How the answer is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Style {
    /// Words for people.
    Words,
    /// JSON for programs.
    Json,
    /// A list for spreadsheets.
    Csv,
}

/// Pairs that words are made of; beyond, each probe is summed up.
const MOST_IN_WORDS: usize = 200_000;
/// Pairs that JSON is made of.
const MOST_IN_JSON: usize = 1_000_000;
/// Candidates that a terminal shows.
const MOST_CANDIDATES: usize = 40;
/// Probes whose lines of CSV are made at once.
const CHUNK: usize = 64;

/// Does it all; an error is a message for people.
pub(super) fn run(request: &Request) -> Result<Ending, String> {
    let register = request.bench.read()?;
    let path = request.bench.path()?;
    let bench =
        path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into());
    let inputs = inputs(&register, &request.inputs)?;
    let (kind, source, probes) = match &request.candidates {
        Some(file) => {
            let name = bare_name(file);
            (Kind::Candidates, format!("{name} on the inputs of {bench}"), candidates(file, &request.probes)?)
        }
        None => (Kind::Bench, bench, probes(&register, &request.probes)?),
    };
    let nothing = match (kind, probes.is_empty(), inputs.is_empty()) {
        (Kind::Bench, true, _) => Some("no probe stands on this bench; add one with flattop bench add probe"),
        (Kind::Candidates, true, _) => Some("the list holds no candidate; write one line for each probe"),
        (_, _, true) => Some("no input stands on this bench; add one with flattop bench add input"),
        _ => None,
    };
    if let Some(message) = nothing {
        return Err(message.to_owned());
    }
    answer(request, kind, Sides::new(source, probes, inputs))
}

/// Every probe of a bench on every input of it, as JSON; those named, where some are.
pub(crate) fn matrix(
    register: &Register,
    source: String,
    named: (&[Id], &[InputId]),
    extent: Extent,
) -> Result<String, String> {
    let sides = Sides::new(source, probes(register, named.0)?, inputs(register, named.1)?);
    if extent == Extent::Pairs && sides.pairs() > MOST_IN_JSON {
        return Err(format!(
            "{} pairs are more than one answer holds ({MOST_IN_JSON}); ask for the summary",
            sides.pairs()
        ));
    }
    let of = if extent == Extent::Pairs { whole(sides) } else { summed(sides) };
    let order: Vec<usize> = (0..of.sums.len()).collect();
    Ok(json::text(&of, Kind::Bench, extent, &order))
}

fn answer(request: &Request, kind: Kind, sides: Sides) -> Result<Ending, String> {
    let mut extent = request.extent;
    if request.style == Style::Words && kind == Kind::Bench && sides.pairs() > MOST_IN_WORDS {
        extent = Extent::Sums;
    }
    if request.style == Style::Json && extent == Extent::Pairs && sides.pairs() > MOST_IN_JSON {
        return Err(format!(
            "{} pairs are more than one JSON object holds ({MOST_IN_JSON}); add --summary, or write them with --csv",
            sides.pairs()
        ));
    }
    let wants_rows = extent == Extent::Pairs
        && match request.style {
            Style::Words => kind == Kind::Bench,
            Style::Json => true,
            Style::Csv => false,
        }
        || request.plot.is_some() && kind == Kind::Bench && sides.pairs() <= MOST_IN_WORDS;
    let of = if wants_rows { whole(sides) } else { summed(sides) };
    let mut order: Vec<usize> = (0..of.sums.len()).collect();
    if kind == Kind::Candidates {
        order.sort_by(|a, b| rank(&of.sums[*a], &of.sums[*b]));
    }
    let drawn = request.plot.as_deref().map_or(Ending::Good, |file| picture(file, kind, &of, &order));
    let written = match request.style {
        Style::Json => print(json::text(&of, kind, extent, &order).as_bytes()),
        Style::Csv => lists(&of, kind, extent, &order),
        Style::Words => {
            let words = match kind {
                Kind::Bench => report::matrix(&of, extent),
                Kind::Candidates => report::candidates(&of, &order, MOST_CANDIDATES),
            };
            if extent != request.extent {
                remark(&format!("more than {MOST_IN_WORDS} pairs: each probe is summed up; --csv lists all"));
            }
            print(words.as_bytes())
        }
    };
    Ok(ending(kind, &of.sums).max(drawn).max(written))
}

/// All rows and what they come to.
fn whole(sides: Sides) -> Compatibility {
    let rows: Vec<Row> =
        (0..sides.probes.len()).into_par_iter().map(|p| Row::of(&sides.ready, p, &sides.loads)).collect();
    let sums =
        rows.par_iter().enumerate().map(|(p, row)| Summary::of(row, &sides.ready, p, &sides.loads)).collect();
    Compatibility { sides, rows, sums }
}

/// What the rows come to, without keeping them.
fn summed(sides: Sides) -> Compatibility {
    let sums = (0..sides.probes.len())
        .into_par_iter()
        .map_init(Row::default, |row, p| {
            row.fill(&sides.ready, p, &sides.loads);
            Summary::of(row, &sides.ready, p, &sides.loads)
        })
        .collect();
    Compatibility { sides, rows: Vec::new(), sums }
}

/// CSV on standard output, some probes at a time.
fn lists(of: &Compatibility, kind: Kind, extent: Extent, order: &[usize]) -> Ending {
    let sides = &of.sides;
    if extent == Extent::Sums || kind == Kind::Candidates {
        let mut text = String::from(csv::SUMS_HEAD);
        for (place, &index) in order.iter().enumerate() {
            csv::sum(&mut text, sides, kind, index, place + 1, &of.sums[index]);
        }
        return print(text.as_bytes());
    }
    let mut worst = print(csv::PAIRS_HEAD.as_bytes());
    for chunk in order.chunks(CHUNK) {
        let texts: Vec<String> = chunk
            .par_iter()
            .map_init(Row::default, |row, &index| {
                let mut text = String::new();
                row.fill(&sides.ready, index, &sides.loads);
                csv::pairs(&mut text, sides, index, row);
                text
            })
            .collect();
        worst = worst.max(print(texts.concat().as_bytes()));
        if worst != Ending::Good {
            break;
        }
    }
    worst
}

fn picture(file: &Path, kind: Kind, of: &Compatibility, order: &[usize]) -> Ending {
    if kind == Kind::Candidates {
        let image = || ranges_png(of, order).map_err(|error| error.to_string());
        return draw(file, || ranges_svg(of, order), image);
    }
    match svg(of) {
        Ok(drawing) => {
            let image = || png(&drawing).map_err(|error| error.to_string());
            draw(file, || drawing.clone(), image)
        }
        Err(too_many) => {
            complain(&format!("{}: {too_many}", file.display()));
            Ending::Unusable
        }
    }
}

/// Of a bench the worst pair counts; of candidates whether one does.
fn ending(kind: Kind, sums: &[Summary]) -> Ending {
    let open = |sum: &Summary| sum.count(Standing::MayReach) + sum.count(Standing::CannotBeSaid);
    let bad = |sum: &Summary| sum.count(Standing::OutOfReach) + sum.wrong_load;
    match kind {
        Kind::Bench if sums.iter().any(|sum| open(sum) > 0) => Ending::Undetermined,
        Kind::Bench if sums.iter().any(|sum| bad(sum) > 0 || sum.judged == 0) => Ending::Outside,
        Kind::Bench => Ending::Good,
        Kind::Candidates if sums.iter().any(Summary::suits_all) => Ending::Good,
        Kind::Candidates if sums.iter().any(|sum| sum.judged > 0 && bad(sum) == 0) => Ending::Undetermined,
        Kind::Candidates => Ending::Outside,
    }
}

fn probes(register: &Register, wanted: &[Id]) -> Result<Vec<Probe>, String> {
    if wanted.is_empty() {
        return register.probes(Retired::Hidden).map_err(|error| error.to_string());
    }
    wanted.iter().map(|id| register.probe(id).map_err(|error| error.to_string())).collect()
}

fn inputs(register: &Register, wanted: &[InputId]) -> Result<Vec<NamedInput>, String> {
    if !wanted.is_empty() {
        let read = |id: &InputId| {
            let input = register.input(id).map_err(|error| error.to_string())?;
            Ok(NamedInput { id: id.clone(), input })
        };
        return wanted.iter().map(read).collect();
    }
    let oscilloscopes = register.oscilloscopes(Retired::Hidden).map_err(|error| error.to_string())?;
    let named = oscilloscopes.into_iter().flat_map(|oscilloscope| {
        let of = oscilloscope.id;
        oscilloscope.inputs.into_iter().filter(|input| !input.retired).map(move |input| NamedInput {
            id: InputId { oscilloscope: of.clone(), name: input.name.clone() },
            input,
        })
    });
    Ok(named.collect())
}

/// The candidates of a list, those wanted only where some are named.
fn candidates(file: &Path, wanted: &[Id]) -> Result<Vec<Probe>, String> {
    #[allow(clippy::disallowed_methods)] // reading what the user names is the program's part
    let text = std::fs::read_to_string(file)
        .map_err(|error| format!("{}: cannot be read: {error}; check its name", file.display()))?;
    let is_csv = file.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("csv"));
    let listed = if is_csv { probes_from_csv(&text) } else { probes_from_toml(&text) };
    let mut listed = listed.map_err(|error| {
        // The reader speaks as an import; here nothing is imported.
        let words = error.to_string();
        format!("{}: {}", file.display(), words.strip_suffix("; nothing was imported").unwrap_or(&words))
    })?;
    if let Some(missing) = wanted.iter().find(|id| listed.iter().all(|probe| probe.id != **id)) {
        return Err(format!("{}: holds no candidate named \"{missing}\"; check --probe", file.display()));
    }
    if !wanted.is_empty() {
        listed.retain(|probe| wanted.contains(&probe.id));
    }
    listed.sort_by(|a, b| a.id.cmp(&b.id));
    Ok(listed)
}
