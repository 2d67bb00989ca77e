//! The tables: what each cause makes, true against shown, response at the decades.

use flattop_core::assessment::Estimate;
use flattop_core::prediction::{Measure, MeasuredError, SETTLING_BAND, duration_error};
use flattop_core::pulse::{Direction, Figure, Figures};

use crate::format::{percent, plain, plain_percent, significant};
use crate::prediction::leading::signed_percent;
use crate::prediction::{Subject, cause_code};
use crate::text::wrap::Page;

/// Width of a cell of the errors.
const CELL: usize = 12;

/// Rows of the response at most.
const ROWS: usize = 12;

/// Cause × measure, in per cent.
pub(super) fn errors(page: &mut Page, subject: &Subject) {
    let errors = &subject.prediction.errors;
    if errors.is_empty() {
        return;
    }
    let doubtful = subject.prediction.doubts.is_some();
    page.heading(if doubtful {
        "Errors in per cent, and what each cause makes of them (± is a 95 % interval)"
    } else {
        "Errors in per cent, and what each cause makes of them"
    });
    let row = |name: &str, cell: &dyn Fn(&MeasuredError) -> String| {
        let cells: String = errors.iter().map(|e| format!(" {:>CELL$}", cell(e))).collect();
        format!("  {name:<12}{cells}")
    };
    page.line(&row("", &|e| column(e.measure).into()));
    for (index, share) in errors[0].shares.iter().enumerate() {
        page.line(&row(cause_code(share.cause), &|e| {
            part(subject, e, e.shares.get(index).and_then(|s| s.share))
        }));
    }
    if errors.iter().any(|e| e.remainder.is_some()) {
        page.line(&row("remainder", &|e| part(subject, e, e.remainder)));
    }
    page.line(&row("total", &|e| total(subject, e)));
}

fn column(measure: Measure) -> &'static str {
    match measure {
        Measure::Amplitude => "amplitude",
        Measure::PeakToPeak => "peak-peak",
        Measure::TransitionDuration => "transition",
        Measure::Overshoot => "overshoot",
        Measure::Deviation => "deviation",
    }
}

fn total(subject: &Subject, error: &MeasuredError) -> String {
    let pair = percent(subject.total(error)).signed();
    if pair.half_width.is_empty() {
        signed(error.total, places(subject, error))
    } else {
        let text = format!("{} ± {}", pair.value, pair.half_width);
        if text.chars().count() > CELL { text.replace(" ± ", "±") } else { text }
    }
}

fn part(subject: &Subject, error: &MeasuredError, share: Option<f64>) -> String {
    share.map_or_else(|| "-".into(), |share| signed(share, places(subject, error)))
}

/// Decimals of a column of per cent: those of the doubt, or three digits of the largest entry.
pub(in crate::prediction) fn places(subject: &Subject, error: &MeasuredError) -> usize {
    let pair = percent(subject.total(error));
    if !pair.half_width.is_empty() {
        return pair.value.split_once('.').map_or(0, |(_, digits)| digits.len());
    }
    let shares = error.shares.iter().filter_map(|s| s.share).chain(error.remainder);
    let largest = shares.chain([error.total]).map(|s| 100.0 * s.abs()).fold(0.0, f64::max);
    if largest > 0.0 { (2.0 - largest.log10().floor()).clamp(0.0, 3.0) as usize } else { 0 }
}

pub(in crate::prediction) fn signed(share: f64, places: usize) -> String {
    let text = format!("{:+.places$}", 100.0 * share);
    let is_nil = !text.contains(|c: char| ('1'..='9').contains(&c));
    if is_nil { text.trim_start_matches(['+', '-']).into() } else { text }
}

/// One line of true against shown.
struct Row {
    name: &'static str,
    truth: Option<Figure>,
    shown: Option<Figure>,
    kind: Kind,
}

enum Kind {
    Volt,
    Second,
    Ratio,
}

/// Figures of the pulse, true against shown.
pub(super) fn figures(page: &mut Page, subject: &Subject) {
    let found = &subject.prediction;
    let (Some(truth), Some(shown)) = (&found.true_figures, &found.shown_figures) else { return };
    let rows = rows(truth, shown);
    page.heading("Pulse figures (IEEE 181) of what is there and of what is shown");
    page.line(&format!("  {:<26}{:>14}{:>14}{:>18}", "", "true", "shown", "difference"));
    let mut reasons: Vec<String> = Vec::new();
    for row in rows {
        let (there, seen) = (row.truth.and_then(Result::ok), row.shown.and_then(Result::ok));
        for (figure, whose) in [(row.truth, "true"), (row.shown, "shown")] {
            if let Some(Err(reason)) = figure {
                reasons.push(format!("{}, {whose}: {reason}.", row.name));
            }
        }
        if there.is_none() && seen.is_none() {
            continue;
        }
        page.line(&format!(
            "  {:<26}{:>14}{:>14}{:>18}",
            row.name,
            there.map_or_else(|| "none".into(), |v| row.kind.value(v)),
            seen.map_or_else(|| "none".into(), |v| row.kind.value(v)),
            there.zip(seen).map_or_else(String::new, |(there, seen)| row.kind.difference(there, seen)),
        ));
    }
    if let Some(delay_s) = found.delay_s {
        page.line(&format!("  {:<26}{:>14}{:>14}", "delay of the 50 % instant", "", plain(delay_s, "s", 3)));
    }
    // Signals of one edge have no second transition; that needs no words.
    for reason in reasons
        .iter()
        .filter(|r| !r.starts_with("pulse") && !r.starts_with("period") && !r.starts_with("duty"))
    {
        page.paragraph("  ", &format!("No {reason}"));
    }
}

fn rows(truth: &Figures, shown: &Figures) -> Vec<Row> {
    let level = |name, of: fn(&flattop_core::pulse::Levels) -> f64| Row {
        name,
        truth: Some(truth.levels.map(|l| of(&l))),
        shown: Some(shown.levels.map(|l| of(&l))),
        kind: Kind::Volt,
    };
    let transition = |k: usize, name, kind, of: fn(&flattop_core::pulse::Transition) -> Figure| Row {
        name,
        truth: truth.transitions.get(k).map(of),
        shown: shown.transitions.get(k).map(of),
        kind,
    };
    let falling = truth.transitions.get(1).is_none_or(|t| t.direction == Direction::Falling);
    vec![
        level("low level", |l| l.low_v),
        level("high level", |l| l.high_v),
        level("amplitude", |l| l.amplitude_v()),
        transition(0, "transition, 10–90 %", Kind::Second, |t| t.duration_10_90_s),
        transition(0, "transition, 20–80 %", Kind::Second, |t| t.duration_20_80_s),
        transition(0, "overshoot", Kind::Ratio, |t| t.overshoot),
        transition(0, "undershoot", Kind::Ratio, |t| t.undershoot),
        transition(0, "preshoot", Kind::Ratio, |t| t.preshoot),
        transition(0, SETTLING, Kind::Second, |t| t.settling_duration_s),
        transition(0, "tilt", Kind::Ratio, |t| t.tilt),
        transition(1, if falling { "fall, 10–90 %" } else { "rise, 10–90 %" }, Kind::Second, |t| {
            t.duration_10_90_s
        }),
        Row {
            name: "pulse duration",
            truth: Some(truth.pulse_duration_s),
            shown: Some(shown.pulse_duration_s),
            kind: Kind::Second,
        },
        Row { name: "period", truth: Some(truth.period_s), shown: Some(shown.period_s), kind: Kind::Second },
        Row { name: "duty", truth: Some(truth.duty), shown: Some(shown.duty), kind: Kind::Ratio },
    ]
}

/// The band is [`SETTLING_BAND`].
const SETTLING: &str = "settling to 1 %";
const _: () = assert!(SETTLING_BAND > 0.0099 && SETTLING_BAND < 0.0101);

impl Kind {
    fn value(&self, value: f64) -> String {
        match self {
            Self::Volt => plain(snapped(value), "V", 4),
            Self::Second => plain(value, "s", 4),
            Self::Ratio => plain_percent(if value.abs() < 5e-6 { 0.0 } else { value }, 3),
        }
    }

    /// Relative where a share of nothing cannot come out, else absolute.
    fn difference(&self, truth: f64, shown: f64) -> String {
        match self {
            Self::Volt => {
                let d = snapped(shown - truth);
                let text = plain(d, "V", 3);
                if d > 0.0 { format!("+{text}") } else { text }
            }
            Self::Second => match duration_error(shown, truth) {
                None => String::new(),
                Some(share) if share.abs() < 5e-6 => "0 %".into(),
                Some(share) if share > 9.0 => format!("{} times", significant(1.0 + share, 3)),
                Some(share) => signed_percent(share),
            },
            Self::Ratio => {
                let d = shown - truth;
                if d.abs() < 5e-6 { "0 %".into() } else { signed_percent(d) }
            }
        }
    }
}

/// A level of rounding errors is nil.
fn snapped(volts: f64) -> f64 {
    if volts.abs() < 1e-9 { 0.0 } else { volts }
}

/// Response at the decades, or at all frequencies where few are asked for.
pub(super) fn response(page: &mut Page, subject: &Subject) {
    let found = &subject.prediction;
    let points = chosen(&subject.frequency_hz);
    if points.is_empty() {
        return;
    }
    page.heading("Response; the gain error is against the node without the probe");
    page.line(&format!(
        "  {:>9}  {:>20}  {:>10}  {:>12}  {:>14}",
        "frequency", "gain error", "phase", "impedance", "node is loaded"
    ));
    for k in points {
        let (Some(point), Some(gain)) = (found.response.get(k), found.gain_at_node.get(k)) else { continue };
        let doubts = found.doubts.as_ref();
        let u = doubts.and_then(|d| d.gain_at_node.get(k)).copied().unwrap_or(0.0);
        let error = percent(Estimate { value: gain - 1.0, standard_uncertainty: u }).signed();
        let error = if error.half_width.is_empty() {
            signed_percent(gain - 1.0)
        } else {
            format!("{} ± {} %", error.value, error.half_width)
        };
        let phase = point.phase_rad.to_degrees();
        page.line(&format!(
            "  {:>9}  {:>20}  {:>10}  {:>12}  {:>14}",
            plain(point.frequency_hz, "Hz", 3),
            error,
            format!("{}°", significant(if phase.abs() < 5e-4 { 0.0 } else { phase }, 3)),
            plain(point.impedance_ohm, "Ω", 3),
            signed_percent(point.loading - 1.0),
        ));
    }
}

/// Indices of what is printed: the points nearest to the decades, or all of a short list.
fn chosen(frequency_hz: &[f64]) -> Vec<usize> {
    if frequency_hz.len() <= ROWS {
        return (0..frequency_hz.len()).collect();
    }
    let mut found: Vec<usize> = (1..=9)
        .filter_map(|decade| {
            let distance = |k: &usize| (frequency_hz[*k].log10() - f64::from(decade)).abs();
            let nearest = (0..frequency_hz.len()).min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
            (distance(&nearest) < 0.15).then_some(nearest)
        })
        .collect();
    found.dedup();
    found
}
