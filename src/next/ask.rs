//! What a step asks for, so that a session can put its answer into a line of a sheet.

use crate::faultmap::model::{BoardModel, UnitKind};
use crate::faultmap::raw::Class;
use crate::observe::board;
use crate::sheet::{Action, Place, Subject};

/// What a proposed step asks the technician for.
#[derive(Debug, Clone, PartialEq)]
pub enum Ask {
    /// A voltage: `rail +5V`, measured at a place (`C1 pin 1`).
    Rail {
        /// Name of the rail.
        rail: String,
        /// Where, in words.
        place: String,
        /// Measured as alternating voltage.
        ac: bool,
    },
    /// A level at a pin, or on a line that no pin is named for.
    Line {
        /// Name of the line.
        line: String,
        /// Where to touch it.
        place: Place,
    },
    /// Which of these lines of one kind does not move, looked at along one chip.
    Lines {
        /// Each line with the pin that it is looked at, in their order.
        lines: Vec<(String, Place)>,
    },
    /// A check of the test run, or by eye.
    Check {
        /// Identifier: `clock.1`.
        id: String,
        /// In words.
        what: String,
    },
    /// All that the test shows and that was not read yet.
    Test {
        /// Identifiers of the checks.
        open: Vec<String>,
    },
    /// A remedy, and what it did.
    Remedy {
        /// The unit it is for: `M3 contacts`.
        unit: String,
        /// What is done.
        action: Action,
        /// The place as a sheet names it: `M3`, `SUPPLY`.
        place: Place,
        /// What it did can be seen; not while the board must stay off.
        seen: bool,
    },
    /// The supply by itself, unplugged.
    Supply,
    /// Ohms from a rail to ground, without power.
    Resistance {
        /// Name of the rail.
        rail: String,
    },
    /// Ohms across a part of two legs, without power.
    Across {
        /// The part.
        place: Place,
    },
    /// Which of these legs does not touch its line, measured to another leg on it, without power.
    Joined {
        /// Each leg with the other one.
        legs: Vec<(Place, Place)>,
    },
    /// Which of these parts on a rail that is low gets hot.
    Feel {
        /// Name of the rail.
        rail: String,
        /// The parts, those most probably at fault first.
        places: Vec<Place>,
    },
    /// At which of these parts a rail that is pulled down is lowest.
    Drop {
        /// Name of the rail.
        rail: String,
        /// The parts, those most probably at fault first.
        places: Vec<Place>,
    },
    /// Test loops, cold and warm.
    Loops,
}

impl Ask {
    /// The remedy for a unit.
    pub fn remedy(model: &BoardModel, unit: usize) -> Self {
        let u = &model.units[unit];
        let position = &model.positions[u.position];
        let action = match &u.kind {
            UnitKind::Part if position.class == Class::Connector => Action::Reseat,
            UnitKind::Part if position.socket || position.outside => Action::Swap,
            UnitKind::Part => Action::Replace,
            UnitKind::Joints => Action::Resolder,
            UnitKind::Contacts | UnitKind::Contact { .. } | UnitKind::Key { .. } => Action::Clean,
        };
        let place = match &u.kind {
            UnitKind::Key { key } => Place::of_key(key.clone()),
            _ => place_of(model, u.position),
        };
        Self::Remedy {
            unit: u.name.clone(),
            action,
            place,
            seen: true,
        }
    }

    /// The same of a board that must stay off: that it was done is all that can be said.
    pub fn unseen(self) -> Self {
        match self {
            Self::Remedy {
                unit,
                action,
                place,
                ..
            } => Self::Remedy {
                unit,
                action,
                place,
                seen: false,
            },
            other => other,
        }
    }

    /// The part of a sheet line before the state: `rail +5V`, `clock 1`; `None` when a sheet has no word for it.
    pub fn subject(&self) -> Option<Subject> {
        match self {
            Self::Rail { rail, .. } => Some(Subject::Rail(rail.clone())),
            Self::Line { place, .. } => Some(Subject::Level(place.clone())),
            Self::Check { id, .. } => subject_of(id),
            Self::Supply => Some(Subject::Supply(None)),
            Self::Resistance { rail } => Some(Subject::Resistance(rail.clone())),
            Self::Across { place } => Some(Subject::Across(place.clone())),
            Self::Loops => Some(Subject::Test),
            Self::Test { .. }
            | Self::Remedy { .. }
            | Self::Feel { .. }
            | Self::Drop { .. }
            | Self::Lines { .. }
            | Self::Joined { .. } => None,
        }
    }
}

/// The name by which a sheet calls a position: what is outside the board goes by what it is, where that means this one.
fn place_of(model: &BoardModel, index: usize) -> Place {
    let position = &model.positions[index];
    let unit = match position.class {
        Class::Supply => "SUPPLY",
        Class::Cartridge => "CARTRIDGE",
        Class::Cable => "CABLE",
        Class::Keyboard => Place::KEYBOARD,
        Class::Setting => "MAINS",
        _ => "",
    };
    let means_it =
        position.outside && board::position(model, unit).is_some_and(|(i, _)| i == index);
    Place {
        name: if means_it { unit } else { &position.name }.to_uppercase(),
        pin: None,
    }
}

/// What a sheet calls a check.
fn subject_of(id: &str) -> Option<Subject> {
    let parts: Vec<&str> = id.split('.').collect();
    let number = |s: &str| s.parse::<u8>().ok();
    Some(match parts[..] {
        ["memory", "bit", n] => Subject::MemoryBit(number(n)?),
        ["colour", "bit", n] => Subject::ColourBit(number(n)?),
        ["rom", word] => Subject::Rom(word.to_string()),
        ["timer", n, letter] => Subject::Timer(Some(number(n)?), letter.chars().next()),
        ["clock", n] => Subject::Clock(Some(number(n)?)),
        ["interrupt", n] => Subject::Interrupt(Some(number(n)?)),
        ["port", word] => Subject::Port(word.replace('-', " ")),
        ["voice", n] => Subject::Voice(number(n)?),
        ["paddles", n] => Subject::Paddles(Some(number(n)?)),
        ["key", ..] => Subject::Key(id["key.".len()..].to_string()),
        ["sound"] => Subject::Sound,
        ["filter"] => Subject::Filter,
        ["start-text"] => Subject::StartText,
        [bank @ ("upper" | "video"), "bit", n] => {
            Subject::OtherMemory(bank.into(), Some(number(n)?))
        }
        ["picture" | "memory" | "colour" | "upper" | "video", ..] => return None,
        _ => Subject::Own(id.to_string()),
    })
}
