//! Small numerical tools that the estimators share; nothing here knows of probes.
//!
//! [`linear`] reduces tall systems to a triangle, [`least_squares`] iterates on it, [`stats`] turns variances into
//! statements of confidence.

pub mod least_squares;
pub mod linear;
pub mod stats;
