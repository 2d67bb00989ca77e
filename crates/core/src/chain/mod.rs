//! The whole chain: node, contact, tip, cable, box and input as a cascade of two-ports.

mod measured;
mod parts;
mod transfer;

pub use measured::Measured;
pub use parts::{
    Cable, Chain, CompensationBox, Contact, Coupling, Input, Node, Place, Response, ResponseShape, Tip,
};
pub use transfer::Transfer;
