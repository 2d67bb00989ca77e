//! The bench.
