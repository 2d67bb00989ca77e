//! Quantities as people type and read them: `15 pF`, `4k7`, `81.0 µs`.
//!
//! Prefixes exist here and nowhere else; everything inside is in SI units.
//!
//! | input | meaning |
//! | --- | --- |
//! | `15 pF`, `15p`, `15e-12` | number, prefix and unit; the unit may be left out |
//! | `4k7`, `2M2`, `R47`, `47R` | the prefix or R in the place of the decimal point (IEC 60062) |
//! | `10 µs`, `10 us` | both micro signs and the letter u |
//! | `3,3 V` | a decimal comma, where it cannot be a thousands separator |
//! | `1 %`, `500 ppm`, `0.01` | ratios |
//!
//! **Case matters**: m is a thousandth, M a million, so `1 mHz` is one millihertz. [`caution`] says so where it is
//! probably not meant.

mod parse;
mod show;
mod unit;

pub use parse::{QuantityError, caution, parse, parse_ratio_pair};
pub use show::{format_concise, format_engineering, format_estimate};
pub use unit::Unit;

#[cfg(test)]
mod tests;
