//! Two probes together: their difference (A − B) and the time between them.
//!
//! | module | idea |
//! | --- | --- |
//! | `rejection` | common-mode rejection against frequency, from both responses, their gains and the skew between them |
//! | `trimming` | the best that trimming B to A can do |
//! | `edges` | gain and delay mismatch from two records of the same edge |
//! | `consequences` | what skew and mismatch do to a power, a switching energy, a difference |
//!
//! With the common voltage on both tips the difference shows H_A − H_B of it; a difference between the tips is shown by the mean of
//! both. Their mismatch is m = (H_A − H_B)/½(H_A + H_B), and the rejection 1/|m|, as 20·lg in dB.

pub mod consequences;
pub mod edges;
mod rejection;
mod trimming;

pub use rejection::{Balance, PairError, Rejection, Response, rejection};
pub use trimming::{BestTrim, both_flat, trim_to_each_other};
