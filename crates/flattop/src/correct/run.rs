//! From a capture to its corrected copy: reads, corrects block by block while it is written, gathers what is reported.

use std::ops::Range;

use flattop_captures::widen::{Added, widen};
use flattop_captures::{Capture, ReadOptions};
use flattop_core::correction::noise::{Noise, NoiseSource};
use flattop_core::correction::shelf::{Before, Setting, ShelfCorrector};
use flattop_core::correction::{Stored, Written, remarks};
use flattop_core::samples::{Raw, SampleView};
use flattop_report::correction::{Subject, Undone};
use flattop_report::format::plain;
use flattop_report::subject::RecordFacts;

use super::args::Args;
use super::known::{Source, Trouble};
use super::watch::Watch;
use crate::progress::Meter;

/// Reads, corrects, writes.
pub(super) fn run(args: &Args, source: &Source) -> Result<Subject, Trouble> {
    let read =
        ReadOptions { column: args.column.map(usize::from), reference: None, interval_s: args.interval };
    let meter = Meter::new(1);
    let capture = flattop_captures::open(&args.capture, &read, &|progress| meter.report(0, progress));
    meter.finish();
    let capture = capture.map_err(|error| Trouble::Unusable(with_folder(args, &error.to_string())))?;
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
    let setting = Setting {
        shelf: source.shelf,
        interval_s: capture.interval_s,
        noise: noise.standard_deviation,
        span: noise.span(),
        before: if args.at_rest { Before::Rest } else { Before::Unknown },
    };
    let corrector = ShelfCorrector::new(setting).map_err(|error| Trouble::Undetermined(error.to_string()))?;
    let mut watch = Watch::new(capture.points, args.plot.is_some());
    let decimals = decimals(&corrector, noise.standard_deviation);
    let mut pass = Pass { samples, corrector, watch: &mut watch, decimals };
    widen(&capture, &args.capture, &args.output, &mut pass)
        .map_err(|error| Trouble::Unusable(error.to_string()))?;
    let summary = pass.corrector.summary();
    let unit = capture.probe.unit.clone().unwrap_or_else(|| "V".to_owned());
    let mut findings = capture.findings.clone();
    let value = |v: f64| plain(capture.probe.scale() * v, "V", 3);
    findings.extend(remarks::on_shelf(&setting, &noise, &summary, &value));
    let (start_s, interval_s) = (capture.start_s, capture.interval_s);
    let scale_s = source.shelf.shelf.time_constant_s;
    Ok(Subject {
        file: args.capture.display().to_string(),
        output: args.output.display().to_string(),
        undone: Undone::Shelf { known: source.shelf, before: setting.before, summary },
        known_from: source.from.clone(),
        record: facts(&capture, args.json),
        unit,
        volts_per_unit: capture.probe.scale(),
        noise,
        pulses: watch.pulses(start_s, interval_s),
        trace: watch.trace(start_s, interval_s, scale_s),
        findings,
    })
}

/// Decimals that show a thousandth of the noise: what is finer says nothing. All of them where there is no noise.
fn decimals(corrector: &ShelfCorrector, noise: f64) -> Option<usize> {
    let finest = 1e-3 * noise * corrector.summary().noise_gain;
    let places = -finest.log10().floor();
    (finest > 0.0 && places.is_finite()).then_some(places.clamp(0.0, 17.0) as usize)
}

/// One pass over the samples.
struct Pass<'a> {
    samples: SampleView<'a>,
    corrector: ShelfCorrector,
    watch: &'a mut Watch,
    decimals: Option<usize>,
}

impl Added for Pass<'_> {
    fn names(&self) -> [&str; 2] {
        ["corrected", "standard_uncertainty"]
    }

    fn next<T: Stored + Written>(&mut self, range: Range<usize>, first: &mut [T], second: &mut [T]) {
        match self.samples.raw {
            Raw::F64(s) => self.corrector.push(&s[range.clone()], first, second),
            Raw::F32(s) => self.corrector.push(&s[range.clone()], first, second),
            Raw::I16(s) => self.corrector.push(&s[range.clone()], first, second),
        }
        self.watch.take(self.samples, range, first, second);
    }

    fn decimals(&self) -> Option<usize> {
        self.decimals
    }
}

/// The reader names the file without its folder.
fn with_folder(args: &Args, message: &str) -> String {
    let bare = args.capture.file_name().map(|name| name.to_string_lossy()).unwrap_or_default();
    match message.strip_prefix(bare.as_ref()) {
        Some(rest) => format!("{}{rest}", args.capture.display()),
        None => message.to_owned(),
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
