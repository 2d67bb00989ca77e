//! Readings by eye.
