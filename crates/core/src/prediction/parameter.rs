//! The numbers of a chain that may be in doubt, each with a name of its own.

use crate::chain::{Chain, Coupling};
use crate::quantity::Unit;

/// One number of a [`Chain`]. The names are the keys of a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)] // each is the field of the same name in `chain::Chain`
pub enum Parameter {
    NodeResistance,
    NodeCapacitance,
    ContactInductance,
    ContactResistance,
    BodyCapacitance,
    TipResistance,
    TipCapacitance,
    SeriesResistance,
    CableLength,
    CableResistance,
    CableInductance,
    CableCapacitance,
    CableConductance,
    BoxResistance,
    BoxCapacitance,
    InputResistance,
    InputCapacitance,
    InputBandwidth,
    AcCorner,
}

impl Parameter {
    /// All of them, in the order of the cascade.
    pub const ALL: [Self; 19] = [
        Self::NodeResistance,
        Self::NodeCapacitance,
        Self::ContactInductance,
        Self::ContactResistance,
        Self::BodyCapacitance,
        Self::TipResistance,
        Self::TipCapacitance,
        Self::SeriesResistance,
        Self::CableLength,
        Self::CableResistance,
        Self::CableInductance,
        Self::CableCapacitance,
        Self::CableConductance,
        Self::BoxResistance,
        Self::BoxCapacitance,
        Self::InputResistance,
        Self::InputCapacitance,
        Self::InputBandwidth,
        Self::AcCorner,
    ];

    /// Its key in a plan.
    pub fn key(self) -> &'static str {
        match self {
            Self::NodeResistance => "node.resistance",
            Self::NodeCapacitance => "node.capacitance",
            Self::ContactInductance => "contact.inductance",
            Self::ContactResistance => "contact.resistance",
            Self::BodyCapacitance => "probe.body_capacitance",
            Self::TipResistance => "probe.tip_resistance",
            Self::TipCapacitance => "probe.tip_capacitance",
            Self::SeriesResistance => "probe.series_resistance",
            Self::CableLength => "probe.cable.length",
            Self::CableResistance => "probe.cable.resistance_per_metre",
            Self::CableInductance => "probe.cable.inductance_per_metre",
            Self::CableCapacitance => "probe.cable.capacitance_per_metre",
            Self::CableConductance => "probe.cable.conductance_per_metre",
            Self::BoxResistance => "probe.box.series_resistance",
            Self::BoxCapacitance => "probe.box.capacitance",
            Self::InputResistance => "input.resistance",
            Self::InputCapacitance => "input.capacitance",
            Self::InputBandwidth => "input.bandwidth",
            Self::AcCorner => "input.ac_corner",
        }
    }

    /// Its unit; `None` for siemens per metre, which nobody types with a unit.
    pub fn unit(self) -> Option<Unit> {
        Some(match self {
            Self::NodeResistance
            | Self::ContactResistance
            | Self::TipResistance
            | Self::SeriesResistance
            | Self::BoxResistance
            | Self::InputResistance => Unit::Ohm,
            Self::NodeCapacitance
            | Self::BodyCapacitance
            | Self::TipCapacitance
            | Self::BoxCapacitance
            | Self::InputCapacitance => Unit::Farad,
            Self::ContactInductance => Unit::Henry,
            Self::CableLength => Unit::Metre,
            Self::CableResistance => Unit::OhmPerMetre,
            Self::CableInductance => Unit::HenryPerMetre,
            Self::CableCapacitance => Unit::FaradPerMetre,
            Self::CableConductance => return None,
            Self::InputBandwidth | Self::AcCorner => Unit::Hertz,
        })
    }

    /// Its value in a chain; NaN for the corner of an input that is coupled down to 0 Hz.
    pub fn of(self, chain: &Chain) -> f64 {
        self.slot(&mut chain.clone()).map_or(f64::NAN, |slot| *slot)
    }

    /// The chain with this number replaced; nothing changes where the chain has no such number.
    pub fn with(self, chain: &Chain, value: f64) -> Chain {
        let mut changed = chain.clone();
        if let Some(slot) = self.slot(&mut changed) {
            *slot = value;
        }
        changed
    }

    fn slot(self, chain: &mut Chain) -> Option<&mut f64> {
        Some(match self {
            Self::NodeResistance => &mut chain.node.resistance_ohm,
            Self::NodeCapacitance => &mut chain.node.capacitance_f,
            Self::ContactInductance => &mut chain.contact.inductance_h,
            Self::ContactResistance => &mut chain.contact.resistance_ohm,
            Self::BodyCapacitance => &mut chain.tip.body_capacitance_f,
            Self::TipResistance => &mut chain.tip.resistance_ohm,
            Self::TipCapacitance => &mut chain.tip.capacitance_f,
            Self::SeriesResistance => &mut chain.tip.series_resistance_ohm,
            Self::CableLength => &mut chain.cable.length_m,
            Self::CableResistance => &mut chain.cable.resistance_ohm_per_m,
            Self::CableInductance => &mut chain.cable.inductance_h_per_m,
            Self::CableCapacitance => &mut chain.cable.capacitance_f_per_m,
            Self::CableConductance => &mut chain.cable.conductance_s_per_m,
            Self::BoxResistance => &mut chain.compensation_box.series_resistance_ohm,
            Self::BoxCapacitance => &mut chain.compensation_box.capacitance_f,
            Self::InputResistance => &mut chain.input.resistance_ohm,
            Self::InputCapacitance => &mut chain.input.capacitance_f,
            Self::InputBandwidth => &mut chain.input.response.bandwidth_hz,
            Self::AcCorner => match &mut chain.input.coupling {
                Coupling::Ac { corner_hz } => corner_hz,
                Coupling::Dc => return None,
            },
        })
    }
}
