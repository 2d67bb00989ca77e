//! Findings: remarks with a stable code, a severity and a remedy, attached to a result.

/// How much a finding weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing; the result stands.
    Note,
    /// The result stands with a reservation that the message states.
    Warning,
    /// The result cannot be used, or is withheld, because of this.
    Fault,
}

/// One remark about a capture or a result.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Stable, machine-readable code in kebab case, such as `mains-hum`.
    pub code: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// What was seen, in words a technician uses, with the figures.
    pub message: String,
    /// What to do about it; empty when there is nothing to do.
    pub remedy: String,
}

impl Finding {
    /// A remark that leaves the result standing.
    pub fn note(code: &'static str, message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { code, severity: Severity::Note, message: message.into(), remedy: remedy.into() }
    }

    /// A reservation about the result.
    pub fn warning(code: &'static str, message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { code, severity: Severity::Warning, message: message.into(), remedy: remedy.into() }
    }

    /// A reason to withhold the result.
    pub fn fault(code: &'static str, message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { code, severity: Severity::Fault, message: message.into(), remedy: remedy.into() }
    }
}
