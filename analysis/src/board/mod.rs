//! The board as it was designed: where each part sits, what it may reach, and how that lies on the picture.

pub mod footprint;
pub mod gerber;
pub mod junction;
pub mod length;
pub mod limits;
pub mod netlist;
pub mod package;
pub mod placement;
pub mod table;

pub use footprint::{Footprint, footprints};
pub use gerber::{BoardOutline, GerberError, GerberLayer, GerberWarning, is_gerber, parse_gerber};
pub use junction::{DatasheetCriteria, JunctionEstimate, PartPower, PowerOrigin, PowerReading, junction};
pub use length::LengthUnit;
pub use limits::{LimitWarning, PartLimit, ThermalPath, parse_limits};
pub use netlist::{Netlist, NetlistError, NetlistWarning, PointKind, TestPoint, is_netlist, parse_netlist};
pub use placement::{Placement, PlacementWarning, Side, parse_placements};
pub use table::BoardFileError;
