//! Tests of the NPY reader.
