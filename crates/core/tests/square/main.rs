//! The square-wave estimator against captures in closed form: what it must hold with, what it must refuse, what must not
//! change its answer.

#![allow(clippy::neg_cmp_op_on_partial_ord, reason = "a NaN must fail")]

mod company;
mod laws;
mod mixed;
mod records;
mod refusals;
mod wave;
mod wave_tests;
