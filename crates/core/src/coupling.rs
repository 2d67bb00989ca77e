//! AC coupling: what a high-pass does to a pulse.
