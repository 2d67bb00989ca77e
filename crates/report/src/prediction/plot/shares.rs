//! What each cause makes of the leading error, as bars.

use super::{Drawn, SHOWN};
use crate::format::percent;
use crate::plot::axis::{linear, typographic};
use crate::plot::layout::{RIGHT, colour, percent_ticks, widened};
use crate::plot::panel::Panel;
use crate::plot::scene::{Anchor, Dash, Scene, Stroke};
use crate::prediction::leading::measure_words;
use crate::prediction::text::tables::{places, signed};
use crate::prediction::{Subject, cause_words, leading};

const ROW: f64 = 28.0;

/// Left end of the bars: the names need room.
const LEFT_OF_BARS: f64 = 236.0;

/// Bars of all causes, of the remainder and of the total.
pub(super) fn bars(scene: &mut Scene, subject: &Subject, top: f64) -> Option<Drawn> {
    let error = leading(subject)?;
    let mut rows: Vec<(String, f64, bool)> = error
        .shares
        .iter()
        .filter_map(|s| Some((crate::text::capitalised(cause_words(s.cause)), s.share?, false)))
        .collect();
    rows.extend(error.remainder.map(|r| ("Remainder, acting together".into(), r, false)));
    rows.push(("Total".into(), error.total, true));
    let low = rows.iter().map(|r| 100.0 * r.1).fold(0.0, f64::min);
    let high = rows.iter().map(|r| 100.0 * r.1).fold(0.0, f64::max);
    // Room for what is written at the ends.
    let panel = Panel {
        left: LEFT_OF_BARS,
        right: RIGHT,
        top,
        bottom: top + ROW * rows.len() as f64 + 8.0,
        x: widened(low, high, 0.16),
        y: (0.0, 1.0),
    };
    let (ticks, _) = linear(panel.x.0, panel.x.1, 6);
    let ticks = percent_ticks(ticks);
    let hair = Stroke { paint: colour::HAIR, width: 1.0, dash: Dash::Solid };
    for tick in &ticks {
        let x = panel.at_x(tick.at);
        scene.line(vec![(x, panel.top), (x, panel.bottom)], hair);
    }
    let nil = panel.at_x(0.0);
    for (index, (name, share, is_total)) in rows.iter().enumerate() {
        let middle = top + 4.0 + ROW * (index as f64 + 0.5);
        let end = panel.at_x(100.0 * share);
        let paint = if *is_total { SHOWN.paint } else { colour::FIT };
        scene.rectangle((nil, middle - 8.0), (end, middle + 8.0), paint);
        scene.text((LEFT_OF_BARS - 12.0, middle + 4.5), 13.0, colour::INK, Anchor::End, name.clone());
        let words = if *is_total && subject.prediction.doubts.is_some() {
            percent(subject.total(error)).signed().with_units()
        } else {
            format!("{} %", signed(*share, places(subject, error)))
        };
        let (x, anchor) = if *share < 0.0 { (end - 7.0, Anchor::End) } else { (end + 7.0, Anchor::Start) };
        scene.text((x, middle + 4.5), 12.5, colour::INK, anchor, typographic(&words));
    }
    let axis = Stroke { paint: colour::AXIS, width: 1.0, dash: Dash::Solid };
    scene.line(vec![(nil, panel.top), (nil, panel.bottom)], axis);
    let marks: Vec<_> = ticks.iter().map(|t| (t.at, t.label.as_str())).collect();
    panel.x_axis(scene, &marks, &format!("error of the {}, %", measure_words(error.measure)));
    let heading = Panel { left: crate::plot::layout::LEFT, ..panel };
    heading.heading(scene, &format!("What makes the error of the {}", measure_words(error.measure)), &[]);
    Some(Drawn { bottom: panel.bottom, describes: "Panel: what each cause makes of the error." })
}
