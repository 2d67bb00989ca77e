//! Tests of the WAV reader.
