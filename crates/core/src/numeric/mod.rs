//! Small numerical tools that the estimators share; nothing here knows of probes.
//!
//! [`linear`] reduces tall systems to a triangle, [`least_squares`] iterates on it, [`stats`] turns variances into
//! statements of confidence, [`exp2`] is for loops over many numbers.

pub mod least_squares;
pub mod linear;
mod power;
pub mod stats;

pub use power::exp2;
