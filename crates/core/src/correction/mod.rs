//! Correction: a captured record freed of the pairing's response, with a standard uncertainty for every sample.
//!
//! | module | undoes | how |
//! | --- | --- | --- |
//! | [`shelf`] | the first-order shelf, e and τp | exactly where the true signal runs straight between samples; causal, one pass, constant memory |
//! | [`chain`] | the whole chain of a plan | by its inverse, up to a stated bandwidth |
//! | [`noise`] | nothing | what the record itself says about its noise and range |
//! | [`remarks`] | nothing | findings |
//!
//! Values keep the units of the record; the correction has the gain 1 at dc: what divides the signal stays as it is.

pub mod chain;
mod median;
pub mod noise;
pub mod remarks;
pub mod shelf;

/// The standard uncertainties of the samples that what lies beyond the record's ends does not reach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inside {
    /// Their median.
    pub median_u: f64,
    /// The greatest.
    pub greatest_u: f64,
}

/// A number as records store it.
pub trait Stored: Copy {
    /// In double precision; exact.
    fn wide(self) -> f64;
}

/// A number as corrected records are written.
pub trait Written: Copy + Default {
    /// Rounded where it has to be.
    fn narrow(value: f64) -> Self;
    /// The root of a variance, rounded.
    fn root(variance: f64) -> Self;
}

impl Stored for f64 {
    #[inline(always)]
    fn wide(self) -> f64 {
        self
    }
}

impl Stored for f32 {
    #[inline(always)]
    fn wide(self) -> f64 {
        f64::from(self)
    }
}

impl Stored for i16 {
    #[inline(always)]
    fn wide(self) -> f64 {
        f64::from(self)
    }
}

impl Written for f64 {
    #[inline(always)]
    fn narrow(value: f64) -> Self {
        value
    }

    #[inline(always)]
    fn root(variance: f64) -> Self {
        variance.sqrt()
    }
}

impl Written for f32 {
    #[inline(always)]
    fn narrow(value: f64) -> Self {
        value as f32
    }

    /// In single precision, which is as exact as what is written.
    #[inline(always)]
    fn root(variance: f64) -> Self {
        (variance as f32).sqrt()
    }
}
