//! From sines at several frequencies, each with a reference column, to e and τp.
//!
//! [`fit`] fits one sine, [`compensation`] compares the fits of probe and reference.

pub mod compensation;
pub mod fit;
mod search;

pub use compensation::{Settings, SinePair, assess};
pub use fit::{SineError, SineFit, fit_points, fit_points_from, fit_record, three_parameter};

#[cfg(test)]
mod tests;
