//! Uncertainty of a quantity that is computed from others: the law of propagation and, beside it, Monte Carlo.
//!
//! | word | meaning here |
//! | --- | --- |
//! | standard uncertainty u | standard deviation of what is known of a quantity (JCGM 100, 2.3.1) |
//! | sensitivity coefficient c | change of the result for a change of an input (JCGM 100, 5.1.3) |
//! | contribution | c·u, in the unit of the result |
//! | effective degrees of freedom | of the combined uncertainty, by the Welch–Satterthwaite formula (JCGM 100, G.4.1) |
//! | coverage interval | the true value lies in it with a stated probability (JCGM 101, 3.12) |
//! | numerical tolerance δ | half a unit of the last digit of u that counts (JCGM 101, 7.9.2) |
//!
//! Reading order: [`Distribution`], [`Quantities`] (the inputs, correlated or not), [`propagate`] (JCGM 100), [`run`] (JCGM 101, 7.9),
//! [`validate`] (JCGM 101, clause 8), then [`reading`]: the measurement models of readings off a screen.
//!
//! Random numbers come out of a seed that the caller gives: each block of trials and each input has a stream of its own, so that the
//! answer does not depend on who computes which block.

mod distribution;
mod draw;
mod interval;
mod monte_carlo;
mod propagation;
mod quantities;
pub mod reading;
mod stream;
mod tails;
mod validation;

pub use distribution::{Distribution, DistributionError};
pub use interval::Interval;
pub use monte_carlo::{
    BLOCK, Block, Histogram, Model, MonteCarloError, Outcome, PerTrial, Settings, Sharing, Stop, Summary,
    Trial, in_turn, run,
};
pub use propagation::{
    Coverage, Order, Propagation, Term, covariance, coverage, effective_freedom, propagate,
};
pub use quantities::{Correlation, Evaluation, Quantities, QuantitiesError, Quantity};
pub use stream::Stream;
pub use validation::{Validation, Verdict, numerical_tolerance, validate};
