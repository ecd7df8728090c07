//! What steps cost, in minutes of a practised hand. All of it is a guess of ours, fixed here so that plans can be compared;
//! a bench that knows better will set its own.

use crate::faultmap::model::{Position, Unit, UnitKind};
use crate::faultmap::raw::Class;

/// A voltage at a named pin with a multimeter.
pub const MEASURE_RAIL: f64 = 1.5;
/// The resistance from a rail to ground, at the same pins; plugging in again is [`POWER_CHANGE`].
pub const MEASURE_RESISTANCE: f64 = 1.5;
/// Ohms across a part of two legs, or from leg to leg along a line, with the board off.
pub const MEASURE_OHMS: f64 = 1.5;
/// The same between all legs of a transistor, both ways, or across each pole of a switch.
pub const MEASURE_LEGS: f64 = 3.0;
/// The next leg, with the tips in hand.
pub const NEXT_OHMS: f64 = 0.5;
/// A good part of two legs held across one that may be open, and a look whether anything changes.
pub const BRIDGE: f64 = 4.0;
/// One leg soldered out of its hole, a look, and the leg soldered in again.
pub const LIFT_LEG: f64 = 6.0;
/// What lifting a leg may spoil: a leg can break, a pad can tear.
pub const LIFT_LEG_HAZARD: f64 = 3.0;
/// Millivolts of a rail that is pulled down, from supply pin to supply pin, the first part; the next one.
pub const MEASURE_DROP: f64 = 2.0;
/// The next part along the rail.
pub const NEXT_DROP: f64 = 0.5;
/// Some seconds of power, and a finger or a thermometer on the chips of a rail.
pub const FEEL: f64 = 3.0;
/// A logic probe on a named pin.
pub const MEASURE_LINE: f64 = 2.0;
/// The next pin of the same chip, with the probe in hand.
pub const NEXT_LINE: f64 = 0.5;
/// A good chip pressed onto a suspect one, and the test run again.
pub const PIGGYBACK: f64 = 5.0;
/// A burst of cold spray, and a look.
pub const COOL: f64 = 2.0;
/// The supply measured by itself, unplugged from the board.
pub const MEASURE_SUPPLY: f64 = 3.0;
/// Booting the test and looking at the result after a remedy.
pub const RETEST: f64 = 3.0;
/// The test run once more, and all that it shows written down.
pub const READ_TEST: f64 = 3.0;
/// Switching off, unplugging, and back.
pub const POWER_CHANGE: f64 = 0.5;
/// What giving up a board is worth, in minutes.
pub const GIVE_UP: f64 = 300.0;

/// Taking an added board out and putting the chip straight into its socket.
pub const ADDED_BOARD: f64 = 2.0;
/// P(the contacts are sound afterwards | they were at fault): as `observe::hands` has it.
pub const ADDED_BOARD_CURES: f64 = 0.97;

/// Renewing or putting right a unit.
pub fn remedy(unit: &Unit, position: &Position) -> f64 {
    let pins = position.pins.len() as f64;
    match &unit.kind {
        UnitKind::Part if position.class == Class::Connector => 2.0,
        UnitKind::Part if position.outside => 3.0,
        UnitKind::Part if position.socket => 4.0,
        // Desoldering and cleaning holes takes about as long a pin as soldering the socket in.
        UnitKind::Part => 8.0 + 1.2 * pins,
        UnitKind::Contacts => 2.0,
        UnitKind::Joints => 4.0 + 0.25 * pins,
        UnitKind::Contact { .. } => 4.0,
        UnitKind::Key { .. } => 8.0,
    }
}

/// What doing it may spoil, in minutes: pads and tracks torn in desoldering, and the part that is used up; a good part that is
/// tried in a socket may meet what killed the old one.
pub fn hazard(unit: &Unit, position: &Position) -> f64 {
    let pins = position.pins.len() as f64;
    match &unit.kind {
        UnitKind::Part if position.class == Class::Connector => 0.0,
        UnitKind::Part if position.class == Class::Setting => 2.0,
        UnitKind::Part if position.socket || position.outside => 2.0,
        UnitKind::Part => 15.0 + 0.5 * pins,
        UnitKind::Joints => 2.0,
        _ => 0.0,
    }
}

/// P(the unit is sound afterwards | it was at fault).
pub fn cures(unit: &Unit, position: &Position) -> f64 {
    match &unit.kind {
        // A part out of the drawer can be bad, and soldering can tear a pad.
        UnitKind::Part if position.socket || position.outside => 0.97,
        UnitKind::Part => 0.95,
        UnitKind::Contacts => 0.8,
        UnitKind::Joints => 0.9,
        UnitKind::Contact { .. } => 0.9,
        UnitKind::Key { .. } => 0.9,
    }
}
