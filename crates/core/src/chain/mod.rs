//! The whole chain: node, contact, tip, cable, box and input as a cascade of two-ports.
//!
//! Reading order: [`parts`](Chain) (what it is made of), [`two_port`](TwoPort), `line` (the cable), `shape` (connector to screen), `walk` (the cascade, free of
//! poles), `variants` (against what, without what), [`spectra`](Spectra) (many of them at once), [`answers`].

pub mod answers;
mod check;
mod line;
mod measured;
mod parts;
mod scalar;
mod shape;
mod spectra;
mod transfer;
mod two_port;
mod variants;
mod walk;

pub use check::ChainError;
pub use measured::{Measured, MeasuredError, OnePort, TwoPortKind};
pub use parts::{
    Cable, Chain, CompensationBox, Contact, Coupling, Input, Node, Place, Response, ResponseShape, Tip,
};
pub use spectra::Spectra;
pub use transfer::Transfer;
pub use two_port::{Parameters, TwoPort};
pub use variants::{Against, AtNode, Cause, Causes, Lumped, Unloaded, Variant};
