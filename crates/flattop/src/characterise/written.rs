//! The response as a Touchstone file that a plan takes with `use = "response"`.

use flattop_captures::touchstone::{of_response, write_with_notes};
use flattop_core::characterise::Method;
use flattop_report::characterise::Subject;

/// S21 is the response, all else nil.
pub(crate) fn touchstone(subject: &Subject) -> Result<String, String> {
    let found = &subject.found;
    // Edges give the gain at 0 Hz, to which all others are relative. Of a sweep nothing is known below its first sine.
    let at_dc = (found.method != Method::Sines).then_some((0.0, 1.0, 0.0));
    let measured = found.points.iter().map(|p| (p.frequency_hz, p.gain.value, p.phase_rad.value));
    let network = of_response(at_dc.into_iter().chain(measured));
    let last = found.points.last().map_or(0.0, |p| p.frequency_hz);
    let notes = [
        "Response of a probe on its input, as measured; S21 relative to low frequencies, delay taken out."
            .to_owned(),
        "S11, S12 and S22 were not measured and are written as 0.".to_owned(),
        format!(
            "Known within {} % (95 %) up to {last:e} Hz; nothing is known beyond.",
            100.0 * found.expanded_limit
        ),
        "In a plan: [[measured]] place = \"before-input\", use = \"response\".".to_owned(),
    ];
    write_with_notes(&network, &notes).map_err(|error| error.to_string())
}
