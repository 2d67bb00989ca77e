//! Estimators: from samples, or from what the eye reads, to e and τp with their covariance and findings.
pub mod square;
pub mod sine;
pub mod by_eye;
