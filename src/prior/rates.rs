//! The rates that the map compiler asks for: handbook figures times field factors.

use super::common::CommonTable;
use super::exposure::{self, Rate};
use super::handbook::{self, Joint};
use crate::faultmap::compile::Rates;
use crate::faultmap::raw::{Class, RateRaw};
use crate::sheet::Intake;

/// Sockets of forty years: oxidised, spread, dirty. Far more often at fault than the handbook's new ones (common
/// practice, no source; a guess that puts the contacts of a 40-pin socket at a tenth of an interface adapter).
pub const SOCKET_FIELD: f64 = 8.0;

/// Solder joints of forty years with repairs behind them against the handbook's new ones (guess).
pub const JOINT_FIELD: f64 = 5.0;

/// Contacts of connectors that have been plugged by hand for years (common practice, no source).
pub const CONTACT_FIELD: f64 = 3.0;

/// Contacts that the stand-in for one contact of a connector assumes.
const CONTACTS: usize = 20;

/// The handbook with the field factors above.
pub struct Handbook;

impl Rates for Handbook {
    fn part(&self, raw: &RateRaw, pins: usize) -> Result<f64, String> {
        handbook::rate(raw, pins).map_err(|e| e.to_string())
    }

    fn socket(&self, pins: usize) -> f64 {
        SOCKET_FIELD * handbook::socket(pins)
    }

    fn joints(&self, pins: usize) -> f64 {
        JOINT_FIELD * handbook::joints(pins, Joint::Machine)
    }

    fn contact(&self) -> f64 {
        CONTACT_FIELD * handbook::connector_contact(CONTACTS)
    }

    fn key(&self) -> f64 {
        handbook::KEY_CONTACT
    }

    fn exposures(&self, units: &[(Class, Vec<(f64, f64)>)]) -> Result<[f64; 3], String> {
        let rates: Vec<Rate> = units
            .iter()
            .map(|(class, modes)| Rate::of_modes(*class, modes))
            .collect();
        let common = CommonTable::shipped();
        let mut out = [0.0; 3];
        for (slot, intake) in out
            .iter_mut()
            .zip([Intake::Faulty, Intake::Untested, Intake::Works])
        {
            let e = exposure::expectation(intake);
            let solved = exposure::solve(&rates, &common, e.faults, e.complaint)
                .map_err(|e| e.to_string())?;
            *slot = solved.million_hours;
        }
        Ok(out)
    }
}
