//! Tests of the time axis.
