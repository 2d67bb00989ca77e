//! A ranked list in words: the best pairing first, then why each of the others lost.

use flattop_core::choice::{Judged, Standing};
use flattop_core::finding::{Finding, Severity};

use super::{Subject, standing_code};
use crate::format::{plain, plain_percent};
use crate::subject::severity_code;
use crate::text::wrap::Page;
use crate::text::{capitalised, sentence};

/// At most 80 columns wide, with a final line feed.
pub fn of(subject: &Subject) -> String {
    let mut page = Page::default();
    page.line(&subject.list);
    page.paragraph("", &headline(subject));
    page.heading("Ranking");
    for (index, judged) in subject.judged.iter().enumerate() {
        page.paragraph(
            "  ",
            &format!("{}. {} on {}: {}", index + 1, judged.probe, judged.input, standing_words(judged)),
        );
        page.paragraph("     ", &sentence(&capitalised(&judged.reason)));
        page.paragraph("     ", &facts(judged));
    }
    let remarks = remarks(subject);
    if !remarks.is_empty() {
        page.heading("Findings");
        for (finding, count) in &remarks {
            page.entry(&format!("{}:", severity_code(finding.severity)), &remark(finding, *count));
        }
    }
    page.into_text()
}

/// What to take, in one sentence.
pub(super) fn headline(subject: &Subject) -> String {
    let tolerance = plain_percent(subject.wanted.tolerance, 3);
    let measure = subject.wanted.measure.words();
    match subject.best() {
        Some(best) if best.standing == Standing::Suits => {
            format!("TAKE {} on {}: {}, {tolerance} allowed.", best.probe, best.input, best.reason)
        }
        Some(best) => format!(
            "NONE FOR CERTAIN: {} on {} comes nearest: {}; with its doubt it is not surely within the {tolerance} allowed.",
            best.probe, best.input, best.reason
        ),
        None => format!(
            "NONE SUITS: no pairing of this list shows the {measure} within {tolerance}; the reasons stand below."
        ),
    }
}

fn standing_words(judged: &Judged) -> String {
    let total = judged.total.map_or_else(String::new, |t| format!(", total error {}", plain_percent(t, 2)));
    match judged.standing {
        Standing::Suits => format!("suits{total}"),
        Standing::MaySuit => format!("may suit{total}"),
        Standing::TooFarOff => format!("too far off{total}"),
        Standing::Refused => "REFUSED".to_owned(),
    }
}

fn facts(judged: &Judged) -> String {
    let mut facts = vec![format!("{} at the tip", plain(judged.input_capacitance_f, "F", 3))];
    facts.extend(judged.bandwidth_hz.map(|f| format!("bandwidth of the combination {}", plain(f, "Hz", 3))));
    facts.extend(judged.reach.as_ref().map(|reach| {
        let margin_pf = 1e12 * reach.margin.margin_f;
        let side = if margin_pf < 0.0 { "outside" } else { "inside" };
        format!("{} pF {side} the compensation range", crate::format::significant(margin_pf.abs(), 2))
    }));
    format!("({})", facts.join(", "))
}

/// Warnings and faults once each, with the number of pairings they hold for; cautions of the signal hold for all.
fn remarks(subject: &Subject) -> Vec<(&Finding, usize)> {
    let mut found: Vec<(&Finding, usize)> = subject.findings.iter().map(|f| (f, 0)).collect();
    for finding in subject.judged.iter().flat_map(|j| &j.findings) {
        if let Some((_, count)) = found.iter_mut().find(|(known, _)| *known == finding) {
            *count += 1;
        } else if finding.severity != Severity::Note || finding.code == "earthed-ground-clip" {
            found.push((finding, 1));
        }
    }
    found.sort_by_key(|(finding, _)| std::cmp::Reverse(finding.severity));
    found
}

fn remark(finding: &Finding, count: usize) -> String {
    let whom = match count {
        0 => String::new(),
        1 => " [1 pairing]".to_owned(),
        many => format!(" [{many} pairings]"),
    };
    let remedy = match finding.remedy.as_str() {
        "" => String::new(),
        remedy => format!(" {}", sentence(&capitalised(remedy))),
    };
    format!("{}{remedy}{whom}", sentence(&capitalised(&finding.message)))
}

/// For the drawing: name of a pairing with its standing.
pub(super) fn label(judged: &Judged) -> String {
    format!("{} on {} ({})", judged.probe, judged.input, standing_code(judged.standing))
}
