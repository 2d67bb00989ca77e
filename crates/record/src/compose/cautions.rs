//! The caution on probes in general and the ratings of this one. It stands in every record.

use flattop_core::bench::{Input, Probe};
use flattop_report::format::plain;

use super::called;
use crate::document::{Block, Level, Notice, NoticeKind};

/// The caution with the ratings that are known.
pub(super) fn blocks(probes: &[&Probe], inputs: &[(String, &Input)]) -> Vec<Block> {
    let mut paragraphs = vec![
        "The ground clip of a probe is joined to earth through the oscilloscope. Clip it to points at earth potential \
         only; anywhere else it makes a short circuit through the instrument."
            .to_owned(),
        "Above 30 V rms, 42.4 V peak or 60 V dc a bare part counts as hazardous live (IEC 61010-031). The rated voltage \
         of a probe falls with frequency; keep to its data sheet at the frequency of the signal, and to the lowest \
         rating of probe, accessory and input."
            .to_owned(),
    ];
    paragraphs.extend(probes.iter().map(|probe| of_probe(probe)));
    paragraphs.extend(inputs.iter().map(|(name, input)| of_input(name, input)));
    paragraphs.push(
        "A good compensation says nothing about insulation. Local codes, the rules of the site and the judgement of \
         those licensed for such work come before anything in this record."
            .to_owned(),
    );
    vec![
        Block::Heading(Level::Section, "Cautions".into()),
        Block::Notice(Notice {
            kind: NoticeKind::Caution,
            title: "Caution: danger to life".into(),
            paragraphs,
        }),
    ]
}

fn of_probe(probe: &Probe) -> String {
    let name = called(probe.label.as_deref(), probe.id.as_str());
    let kind = probe.voltage_rating_kind.map(|kind| format!(" {}", kind.word())).unwrap_or_default();
    let points: Vec<String> = probe
        .voltage_rating
        .iter()
        .map(|p| {
            let at =
                if p.frequency_hz > 0.0 { plain(p.frequency_hz, "Hz", 3) } else { "low frequencies".into() };
            format!("{}{kind} at {at}", plain(p.voltage_v, "V", 4))
        })
        .collect();
    let rating = if points.is_empty() {
        "its rated voltage is not stated: look it up before anything above extra-low voltage is touched"
            .to_owned()
    } else {
        format!("rated {}", points.join(", "))
    };
    let category = match (probe.measurement_category, probe.category_voltage_v) {
        (Some(category), Some(voltage_v)) => {
            format!("measurement category {} up to {} to earth", category.word(), plain(voltage_v, "V", 4))
        }
        (Some(category), None) => {
            format!("measurement category {}, its voltage not stated", category.word())
        }
        (None, _) => "no measurement category stated: not for circuits joined to the mains".to_owned(),
    };
    format!("{name}: {rating}; {category}.")
}

fn of_input(name: &str, input: &Input) -> String {
    match input.rated_voltage_v {
        Some(voltage_v) => {
            let kind = input.rated_voltage_kind.map(|kind| format!(" {}", kind.word())).unwrap_or_default();
            format!("Input {name}: rated {}{kind}.", plain(voltage_v, "V", 4))
        }
        None => format!("Input {name}: its rated voltage is not stated."),
    }
}
