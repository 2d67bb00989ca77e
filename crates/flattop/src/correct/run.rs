//! From a capture to its corrected copy: reads, corrects block by block while it is written, gathers what is reported.

use std::ops::Range;
use std::path::PathBuf;

use flattop_captures::widen::{Added, widen};
use flattop_captures::{Capture, ReadOptions};
use flattop_core::correction::chain::{
    self, ChainCorrectionError, ChainCorrector, ChainSetting, Question, Reference, Wish,
};
use flattop_core::correction::noise::{Noise, NoiseSource};
use flattop_core::correction::shelf::{Before, Setting, ShelfCorrector};
use flattop_core::correction::{Stored, Written, remarks};
use flattop_core::samples::{Raw, SampleView};
use flattop_report::correction::{Subject, Undone};
use flattop_report::format::plain;
use flattop_report::subject::RecordFacts;

use super::args::{Against, Args};
use super::known::{Source, What};
use super::watch::Watch;
use crate::found::Trouble;
use crate::output::with_folder;
use crate::progress::Meter;

/// What is corrected, into what, and what is known of the record.
#[derive(Clone, Debug)]
pub(crate) struct Request {
    pub(crate) capture: PathBuf,
    pub(crate) output: PathBuf,
    pub(crate) read: ReadOptions,
    /// The signal rested before the record.
    pub(crate) at_rest: bool,
    /// Standard deviation of the noise, in the unit of the column; without it the record tells.
    pub(crate) noise: Option<f64>,
    pub(crate) against: Against,
    pub(crate) bandwidth_hz: Option<f64>,
    pub(crate) largest_gain: f64,
    /// Whether a trace is wanted for a drawing.
    pub(crate) draws: bool,
    /// Whether the digest of the capture is wanted.
    pub(crate) with_digest: bool,
}

impl Request {
    pub(super) fn of(args: &Args) -> Self {
        Self {
            capture: args.capture.clone(),
            output: args.output.clone(),
            read: ReadOptions {
                column: args.column.map(usize::from),
                reference: None,
                interval_s: args.interval,
            },
            at_rest: args.at_rest,
            noise: args.noise,
            against: args.known.against,
            bandwidth_hz: args.known.bandwidth,
            largest_gain: args.known.largest_gain,
            draws: args.plot.is_some(),
            with_digest: args.json,
        }
    }
}

/// Reads, corrects, writes.
pub(crate) fn run(args: &Request, source: &Source) -> Result<Subject, Trouble> {
    let meter = Meter::new(1);
    let capture = flattop_captures::open(&args.capture, &args.read, &|progress| meter.report(0, progress));
    meter.finish();
    let capture =
        capture.map_err(|error| Trouble::Unusable(with_folder(&args.capture, &error.to_string())))?;
    let samples = capture.probe.stored();
    let mut noise = Noise::of(samples).ok_or_else(|| {
        Trouble::Undetermined(format!(
            "{}: nowhere are there enough samples in a row to correct anything; record more of them",
            args.capture.display()
        ))
    })?;
    if let Some(stated) = args.noise {
        noise.standard_deviation = stated;
        noise.source = NoiseSource::Stated;
    }
    let value = |v: f64| plain(capture.probe.scale() * v, "V", 3);
    let before = if args.at_rest { Before::Rest } else { Before::Unknown };
    let mut watch = Watch::new(capture.points, args.draws);
    let write = |undoing: Undoing, decimals, watch: &mut Watch| {
        let mut pass = Pass { samples, undoing, watch, decimals };
        let written = widen(&capture, &args.capture, &args.output, &mut pass);
        written.map(|()| pass.undoing).map_err(|error| Trouble::Unusable(error.to_string()))
    };
    let mut findings = capture.findings.clone();
    let interval_s = capture.interval_s;
    let (undone, scale_s) = match &source.known {
        What::Shelf(known) => {
            let (noise_of_one, span) = (noise.standard_deviation, noise.span());
            let setting = Setting { shelf: *known, interval_s, noise: noise_of_one, span, before };
            let corrector =
                ShelfCorrector::new(setting).map_err(|error| Trouble::Undetermined(error.to_string()))?;
            let decimals = decimals(noise_of_one * corrector.summary().noise_gain);
            let undoing = write(Undoing::Shelf(Box::new(corrector)), decimals, &mut watch)?;
            let Undoing::Shelf(corrector) = undoing else { return Err(lost()) };
            let summary = corrector.summary();
            findings.extend(remarks::on_shelf(&setting, &noise, &summary, &value));
            (Undone::Shelf { known: *known, before, summary }, known.shelf.time_constant_s)
        }
        What::Chain(setup) => {
            let question = Question {
                chain: &setup.chain,
                reference: reference(args.against),
                samples,
                interval_s,
                noise: noise.standard_deviation,
                wish: args.bandwidth_hz.map_or(Wish::LeastError, Wish::Bandwidth),
                greatest_gain: args.largest_gain,
            };
            let no_bandwidth = |error: ChainCorrectionError| Trouble::Undetermined(error.to_string());
            let chosen = chain::choose(&question).map_err(no_bandwidth)?;
            let setting = ChainSetting {
                reference: question.reference,
                bandwidth_hz: chosen.bandwidth_hz,
                interval_s,
                noise: noise.standard_deviation,
                span: noise.span(),
                before,
            };
            let shifted: Vec<_> = setup.doubts.iter().map(|doubt| doubt.shifted.clone()).collect();
            let corrector = ChainCorrector::new(&setup.chain, &shifted, setting).map_err(no_bandwidth)?;
            let decimals = decimals(noise.standard_deviation * corrector.summary().noise_gain);
            let undoing = write(Undoing::Chain(Box::new(corrector)), decimals, &mut watch)?;
            let Undoing::Chain(corrector) = undoing else { return Err(lost()) };
            let summary = corrector.summary();
            let wish = question.wish;
            findings.extend(setup.findings.iter().cloned());
            let undoing = remarks::Undoing {
                chain: &setup.chain,
                doubts: shifted.len(),
                setting: &setting,
                wish,
                chosen: &chosen,
                summary: &summary,
                noise: &noise,
            };
            findings.extend(remarks::on_chain(&undoing, &value));
            let undone = Undone::Chain { reference: setting.reference, wish, chosen, before, summary };
            (undone, 6.0 / chosen.bandwidth_hz)
        }
    };
    Ok(Subject {
        file: args.capture.display().to_string(),
        output: args.output.display().to_string(),
        undone,
        known_from: source.from.clone(),
        record: facts(&capture, args.with_digest),
        unit: capture.probe.unit.clone().unwrap_or_else(|| "V".to_owned()),
        volts_per_unit: capture.probe.scale(),
        noise,
        pulses: watch.pulses(capture.start_s, interval_s),
        trace: watch.trace(capture.start_s, interval_s, scale_s),
        findings,
    })
}

/// Cannot happen: what was put into the pass comes out of it.
fn lost() -> Trouble {
    Trouble::Unusable("the correction was lost while it was written; please report this".to_owned())
}

fn reference(against: Against) -> Reference {
    match against {
        Against::Tip => Reference::Tip,
        Against::Node => Reference::UnloadedNode,
    }
}

/// Decimals that show a thousandth of the noise: what is finer says nothing. All of them where there is no noise.
fn decimals(noise_after: f64) -> Option<usize> {
    let finest = 1e-3 * noise_after;
    let places = -finest.log10().floor();
    (finest > 0.0 && places.is_finite()).then_some(places.clamp(0.0, 17.0) as usize)
}

/// What is being undone.
enum Undoing {
    Shelf(Box<ShelfCorrector>),
    Chain(Box<ChainCorrector>),
}

/// One pass over the samples.
struct Pass<'a> {
    samples: SampleView<'a>,
    undoing: Undoing,
    watch: &'a mut Watch,
    decimals: Option<usize>,
}

impl Added for Pass<'_> {
    fn names(&self) -> [&str; 2] {
        ["corrected", "standard_uncertainty"]
    }

    fn next<T: Stored + Written>(&mut self, range: Range<usize>, first: &mut [T], second: &mut [T]) {
        match (&mut self.undoing, self.samples.raw) {
            (Undoing::Shelf(corrector), Raw::F64(s)) => corrector.push(&s[range.clone()], first, second),
            (Undoing::Shelf(corrector), Raw::F32(s)) => corrector.push(&s[range.clone()], first, second),
            (Undoing::Shelf(corrector), Raw::I16(s)) => corrector.push(&s[range.clone()], first, second),
            (Undoing::Chain(corrector), _) => corrector.next(self.samples, range.clone(), first, second),
        }
        self.watch.take(self.samples, range, first, second);
    }

    fn decimals(&self) -> Option<usize> {
        self.decimals
    }
}

fn facts(capture: &Capture, with_digest: bool) -> RecordFacts {
    RecordFacts {
        points: capture.points,
        interval_s: capture.interval_s,
        columns: capture.columns,
        column: capture.probe.number,
        column_name: capture.probe.name.clone(),
        format: capture.format.to_string(),
        // Only programs read it, and of a large file it takes a while.
        sha256: if with_digest { capture.sha256().to_owned() } else { String::new() },
    }
}
