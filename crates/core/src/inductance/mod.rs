//! Inductance of leads and loops from their size.
