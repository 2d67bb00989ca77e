//! The words of ratings and cautions. They appear at the moment they apply, and defer to those licensed for such work.

use super::{Allowed, Basis, Check, Circuit, Quantity, RatedPart, SignalFacts, Supply};
use super::{MeasurementCategory, NEAR_RATING};
use crate::finding::Finding;
use crate::quantity::{Unit, format_engineering};

/// V rms, V peak, V dc: above any of them a part is hazardous live (IEC 61010-031, 2nd edition, publisher's abstract).
const HAZARDOUS: (f64, f64, f64) = (30.0, 42.4, 60.0);
/// From here on insulation is not rated as at mains frequency (scope of IEC 60664-4), Hz.
const HIGH_FREQUENCY_HZ: f64 = 30e3;
/// Closes every caution about danger to life.
const DEFER: &str =
    "follow local codes, and leave it to people licensed for such work where these ask for it";

fn volts(value: f64) -> String {
    format_engineering(value, Unit::Volt, 3)
}

fn hertz(value: f64) -> String {
    format_engineering(value, Unit::Hertz, 3)
}

fn describe(check: &Check) -> String {
    let (value, kind) = (volts(check.value), check.kind.word());
    match check.quantity {
        Quantity::Whole => format!("the signal of {value} {kind}"),
        Quantity::Component => format!("its part at {}, {value} {kind},", hertz(check.frequency_hz)),
        Quantity::Together => "all its sines together".to_owned(),
    }
}

/// Over, near and outside a rating, for each part the worst case.
pub(super) fn ratings(parts: &[RatedPart], checks: &[Check], facts: &SignalFacts) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (index, part) in parts.iter().enumerate() {
        let name = &part.name;
        let Some(rating) = &part.rating else {
            findings.push(Finding::note(
                "rating-unknown",
                format!("the rated voltage of {name} is not known, so nothing was compared with it"),
                "enter its rated voltage against frequency from the data sheet",
            ));
            continue;
        };
        let own = || checks.iter().filter(move |c| c.part == index);
        if let Some(check) = own().find(|c| c.used().is_none()) {
            let last = if rating.last_hz() > 0.0 {
                format!("ends at {}", hertz(rating.last_hz()))
            } else {
                "holds for dc only".to_owned()
            };
            findings.push(unrated(name, &last, check, facts));
        }
        let worst = own().filter_map(|c| Some((c.used()?, c))).max_by(|a, b| a.0.total_cmp(&b.0));
        let Some((used, check)) = worst else { continue };
        let (what, limit) = (
            describe(check),
            match check.limit {
                Allowed::UpTo(limit) if check.quantity != Quantity::Together => volts(limit),
                _ => "the whole rating".to_owned(),
            },
        );
        let share = format_engineering(used, Unit::Ratio, 3);
        if used > 1.0 {
            findings.push(Finding::fault(
                "over-rating",
                format!("{what} takes {share} of what {name} is rated for ({limit})"),
                format!("do not connect it; use a probe rated for this voltage at this frequency; {DEFER}"),
            ));
        } else if used >= NEAR_RATING {
            findings.push(Finding::warning(
                "near-rating",
                format!("{what} takes {share} of what {name} is rated for ({limit})"),
                "allow for overshoot, for supply tolerance and for what a fault would bring, or use a probe with a higher rating",
            ));
        }
    }
    findings
}

fn unrated(name: &str, last: &str, check: &Check, facts: &SignalFacts) -> Finding {
    let (value, kind) = (volts(check.value), check.kind.word());
    if !check.frequency_hz.is_finite() {
        return Finding::warning(
            "rating-not-shown",
            format!(
                "the signal jumps by {}, which has no highest frequency to look up in the rating of {name}",
                volts(facts.swing_v)
            ),
            "state the transition durations of the signal",
        );
    }
    let at = hertz(check.frequency_hz);
    match facts.basis {
        Basis::Harmonics => Finding::fault(
            "not-rated",
            format!(
                "{value} {kind} at {at} reach {name}, whose rating {last}: it is not rated there, and nothing is assumed"
            ),
            "use a probe rated at this frequency, or find the rating in the data sheet and enter it",
        ),
        Basis::SteepestSlopes => Finding::warning(
            "rating-not-shown",
            format!(
                "the steepest part of the signal is that of a sine of {value} {kind} at {at}, and the rating of {name} {last}: \
                 that it is inside the rating cannot be shown"
            ),
            "look for a rating at this frequency in the data sheet, or slow the transition down",
        ),
    }
}

/// Measurement categories of the parts against that of the circuit.
pub(super) fn categories(parts: &[RatedPart], facts: &SignalFacts, circuit: Circuit) -> Vec<Finding> {
    let mut findings = Vec::new();
    let Some(needed) = circuit.category else {
        if circuit.supply == Supply::Mains {
            findings.push(Finding::warning(
                "category-not-stated",
                "the circuit is connected to the mains, and its measurement category is not stated",
                format!(
                    "state category II, III or IV: it decides which probes and inputs may be used; {DEFER}"
                ),
            ));
        }
        return findings;
    };
    for part in parts {
        let voltage_v = facts.rms_v.max(facts.dc_v.abs()) / part.attenuation;
        // A rating for a higher category holds for the lower ones.
        let rated = part.categories.iter().filter(|c| c.category >= needed).map(|c| c.voltage_v);
        match rated.reduce(f64::max) {
            None => findings.push(Finding::fault(
                "category-not-rated",
                format!("{} has no rating for measurement category {}{}", part.name, needed.word(), listed(part)),
                format!("do not connect it there: transients of that circuit are not covered by its rated voltage; {DEFER}"),
            )),
            Some(limit_v) if voltage_v > limit_v => findings.push(Finding::fault(
                "over-category-rating",
                format!(
                    "{} reach {}, which is rated for {} in measurement category {}",
                    volts(voltage_v),
                    part.name,
                    volts(limit_v),
                    needed.word()
                ),
                format!("do not connect it; use a probe rated for this category and voltage; {DEFER}"),
            )),
            Some(_) => {}
        }
    }
    findings
}

fn listed(part: &RatedPart) -> String {
    let words: Vec<String> = part
        .categories
        .iter()
        .map(|c| format!("{} up to {}", MeasurementCategory::word(c.category), volts(c.voltage_v)))
        .collect();
    if words.is_empty() { String::new() } else { format!(", only for category {}", words.join(", ")) }
}

/// Whether the signal makes parts hazardous live. Peak and rms limits are for alternating voltages, ripple included.
fn is_hazardous(facts: &SignalFacts) -> bool {
    let (rms_v, peak_v, dc_v) = HAZARDOUS;
    facts.dc_v.abs() > dc_v || (facts.swing_v > 0.0 && (facts.rms_v > rms_v || facts.peak_v > peak_v))
}

/// Cautions about the measurement itself.
pub(super) fn measurement(facts: &SignalFacts, circuit: Circuit) -> Vec<Finding> {
    let mut findings = Vec::new();
    let hazardous = is_hazardous(facts);
    if hazardous {
        findings.push(Finding::warning(
            "hazardous-voltage",
            format!(
                "{} peak, {} rms, {} dc: above 30 V rms, 42.4 V peak or 60 V dc parts are hazardous live (IEC 61010-031)",
                volts(facts.peak_v),
                volts(facts.rms_v),
                volts(facts.dc_v)
            ),
            format!("switch off and make sure it is dead before connecting; keep behind the finger guard; {DEFER}"),
        ));
    }
    if circuit.supply == Supply::Floating {
        findings.push(Finding::warning(
            "floating-measurement",
            "the circuit floats: the probe's earthed clip would tie its reference to protective earth",
            format!(
                "use a differential probe rated for the voltage to earth, or two probes and their difference; never lift the \
                 oscilloscope's protective earth; {DEFER}"
            ),
        ));
    }
    findings.push(earthed_clip(hazardous, circuit.supply));
    let fast = facts.components.iter().map(|c| c.frequency_hz).fold(0.0, f64::max);
    if hazardous && fast > HIGH_FREQUENCY_HZ {
        findings.push(Finding::warning(
            "high-frequency-stress",
            format!(
                "hazardous voltage with parts up to {}: above 30 kHz insulation holds less than its mains rating says (IEC 60664-4)",
                if fast.is_finite() { hertz(fast) } else { "frequencies that are not stated".to_owned() }
            ),
            "go by the rating against frequency of probe and accessories, not by the figure printed on them; keep hands off the probe",
        ));
    }
    findings
}

fn earthed_clip(hazardous: bool, supply: Supply) -> Finding {
    const CODE: &str = "earthed-ground-clip";
    let bonded = "the ground clip is bonded to protective earth through the oscilloscope";
    let why = match (hazardous, supply) {
        (_, Supply::Mains) => "the circuit is connected to the mains",
        (_, Supply::Floating) => "the circuit floats",
        (true, _) => "the voltage is hazardous",
        (false, Supply::Isolated | Supply::NotStated) => {
            return Finding::note(CODE, bonded, "clip it only to points at earth potential");
        }
    };
    Finding::warning(
        "earthed-clip-danger",
        format!(
            "{bonded}, and {why}: on any other point it makes a short circuit that can burn, and can make metal parts live"
        ),
        format!(
            "check with a voltmeter that the point is at earth potential before clipping, or use a differential probe; {DEFER}"
        ),
    )
}
