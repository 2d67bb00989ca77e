//! Remarks of the transient engine.

use crate::finding::Finding;

/// The tail of the transient does not fit into the table.
pub(super) fn tail_long(share: f64, window_s: f64) -> Finding {
    Finding::warning(
        "response-tail-long",
        format!(
            "{window_s:.3e} s after an edge the response still moves by {share:.1e} of the step in a way that is left out later"
        ),
        "look at a shorter time after the edge, or damp what rings for so long",
    )
}

/// Something comes before its cause: a measured element, which is not causal beyond what was measured, or a variant with less delay than the chain
/// for which the grid was chosen.
pub(super) fn early(share: f64) -> Finding {
    Finding::warning(
        "response-before-cause",
        format!("the response moves by {share:.1e} of the step before what causes it"),
        "doubt what is no larger than that; a measured element that covers more frequencies makes it smaller",
    )
}

/// The number of samples binds.
pub(super) fn bandwidth_cut(top_hz: f64, share: f64) -> Finding {
    Finding::warning(
        "response-bandwidth-cut",
        format!(
            "the response is followed up to {top_hz:.3e} Hz only: kinks may lack up to {share:.1e} of the step"
        ),
        "use a slower edge, a limited bandwidth, or damp what rings for long",
    )
}

/// Neither chain nor signal limit the bandwidth.
pub(super) fn not_limited() -> Finding {
    Finding::warning(
        "step-not-limited",
        "neither the signal nor the chain limits how fast a step is: jumps are rounded off within femtoseconds",
        "give the edge a duration or the chain a bandwidth",
    )
}

/// A signal with faster edges than the grid was chosen for.
pub(super) fn edge_too_fast(share: f64) -> Finding {
    Finding::warning(
        "edge-faster-than-grid",
        format!(
            "the edge is faster than the grid was chosen for: up to {share:.1e} of the step may be missing in it"
        ),
        "choose the grid for the fastest edge",
    )
}
