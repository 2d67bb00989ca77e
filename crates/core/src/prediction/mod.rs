//! What a chain would show of a signal, against what is there with no probe; with each cause's share.

mod parameter;

pub use parameter::Parameter;
