//! Estimators: from samples, or from what the eye reads, to e and τp with their covariance and findings.
pub mod by_eye;
mod neighbours;
pub mod reference;
pub mod sine;
pub mod square;
