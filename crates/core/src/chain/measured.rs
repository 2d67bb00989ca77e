//! Elements of the chain that are known by measurement only.

/// A measured two-port, or a one-port used in series or in shunt, between reference planes.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {}
