//! Failure rates after MIL-HDBK-217F, in failures per million hours.
//!
//! Editions, because sections 9, 10, 14 and 15 differ between them by factors of up to 21:
//!
//! | class | edition and section |
//! | --- | --- |
//! | microcircuits and memories | F (2 Dec 1991), 5.1 and 5.2 |
//! | aluminium electrolytics | F Notice 2 (28 Feb 1995), 10.1 |
//! | crystals | F, 19.1 |
//! | sockets | F base, 15.3 |
//! | joints | F base, 17.1 |
//! | card-edge and other connectors | F base, Appendix A (parts count), ground benign |
//! | resistors, switches | F Notice 2, 9.1 and 14.1 |
//! | fuses, diodes, transistors | F base, 22.1, 6.1 to 6.3 |
//! | keys of a keyboard | none: see [`KEY_CONTACT`] |
//!
//! Everything is for *ground benign*, commercial quality, in production for two years or more. The model is known
//! to overstate plastic parts (Weil, Pecht, Hakim, 1993): the ratios are used, not the absolute figures.

use crate::faultmap::raw::{RateRaw, Technology};

/// Boltzmann's constant in electronvolts per kelvin, as the handbook rounds it.
pub const BOLTZMANN_EV: f64 = 8.617e-5;
/// Environment factor of microcircuits, ground benign (5.10).
pub const PI_E_GROUND_BENIGN: f64 = 0.5;
/// Environment factor of microcircuits, ground fixed (5.10).
pub const PI_E_GROUND_FIXED: f64 = 2.0;
/// Quality factor of commercial microcircuits and of those of unknown screening (5.10; from memory).
pub const PI_Q_COMMERCIAL: f64 = 10.0;

/// Why a rate cannot be given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RateError {
    /// A size outside the handbook's table.
    #[error("{what} of size {size} is outside the handbook's table; give {expected}")]
    Size {
        /// The technology, for a person.
        what: &'static str,
        /// As given.
        size: u32,
        /// What the table covers.
        expected: &'static str,
    },
    /// An input that is not a number in the range of the model.
    #[error("{what} is {value}; give {expected}")]
    Input {
        /// Which input.
        what: &'static str,
        /// As given.
        value: f64,
        /// Its range.
        expected: &'static str,
    },
}

/// Failures per million hours of a part with these inputs.
///
/// `pins` is the length of the part's pin list; it is used where the inputs do not state their own.
///
/// # Errors
/// A size outside the tables, or an input outside the range of its formula.
///
/// ```
/// use whichsocket::faultmap::raw::{RateRaw, Technology};
/// use whichsocket::prior::handbook::rate;
/// let dram = RateRaw::Micro { technology: Technology::MosDram, size: 65536, tj: 45.0, pins: None };
/// assert!((rate(&dram, 16).unwrap() - 0.0468).abs() < 5e-5);
/// ```
pub fn rate(raw: &RateRaw, pins: usize) -> Result<f64, RateError> {
    match raw {
        RateRaw::Micro {
            technology,
            size,
            tj,
            pins: own,
        } => {
            let pins = own.map_or(pins, |p| p as usize);
            Ok(Micro::commercial(*technology, *size, *tj, pins)?.lambda())
        }
        RateRaw::Electrolytic { uf, stress, t } => electrolytic(*uf, *stress, *t),
        RateRaw::Crystal { mhz } => crystal(*mhz),
        RateRaw::Fixed {
            per_million_hours, ..
        } => in_range(
            "failures per million hours",
            *per_million_hours,
            0.0..=1e6,
            "a figure from 0 to 1000000",
        ),
    }
}

/// Package of a microcircuit, for the factor C2 (5.9).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Package {
    /// Plastic dual in-line and the like: `3.6e-4 Np^1.08`.
    Nonhermetic,
    /// Hermetic, solder or weld seal: `2.8e-4 Np^1.08`.
    Hermetic,
    /// Glass-sealed dual in-line: `9.0e-5 Np^1.51`.
    GlassSeal,
    /// Can: `3.0e-5 Np^2.01`.
    Can,
}

impl Package {
    /// C2 for this number of functional pins, failures per million hours.
    #[must_use]
    pub fn c2(self, pins: usize) -> f64 {
        let np = pins as f64;
        match self {
            Self::Nonhermetic => 3.6e-4 * np.powf(1.08),
            Self::Hermetic => 2.8e-4 * np.powf(1.08),
            Self::GlassSeal => 9.0e-5 * np.powf(1.51),
            Self::Can => 3.0e-5 * np.powf(2.01),
        }
    }
}

/// One microcircuit or memory with all factors of the model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Micro {
    /// Die complexity failure rate, failures per million hours.
    pub c1: f64,
    /// Activation energy, electronvolts.
    pub ea: f64,
    /// Junction temperature, degrees Celsius.
    pub tj: f64,
    /// Package failure rate, failures per million hours.
    pub c2: f64,
    /// Environment factor.
    pub pi_e: f64,
    /// Quality factor.
    pub pi_q: f64,
    /// Learning factor, 1 after two years of production.
    pub pi_l: f64,
}

impl Micro {
    /// A commercial plastic part in a ground-benign place.
    ///
    /// # Errors
    /// A size outside the C1 table, a temperature outside −55…175 °C, or pins outside 2…224.
    pub fn commercial(
        technology: Technology,
        size: u32,
        tj: f64,
        pins: usize,
    ) -> Result<Self, RateError> {
        let tj = in_range(
            "junction temperature",
            tj,
            -55.0..=175.0,
            "degrees Celsius from -55 to 175",
        )?;
        in_range("pin count", pins as f64, 2.0..=224.0, "2 to 224 pins")?;
        Ok(Self {
            c1: c1(technology, size)?,
            ea: activation_energy(technology),
            tj,
            c2: Package::Nonhermetic.c2(pins),
            pi_e: PI_E_GROUND_BENIGN,
            pi_q: PI_Q_COMMERCIAL,
            pi_l: 1.0,
        })
    }

    /// `(C1 piT + C2 piE) piQ piL`, failures per million hours (5.1, 5.2; write cycling is 0 except for EEPROM).
    #[must_use]
    pub fn lambda(&self) -> f64 {
        (self.c1 * pi_t(self.ea, self.tj) + self.c2 * self.pi_e) * self.pi_q * self.pi_l
    }
}

/// Temperature factor `0.1 exp[-(Ea / 8.617e-5)(1/(Tj + 273) - 1/298)]` (5.8); Ea in electronvolts, Tj in °C.
///
/// The reference is 298 K: 0.1 at 25 °C whatever Ea.
#[must_use]
pub fn pi_t(ea: f64, tj: f64) -> f64 {
    0.1 * arrhenius(ea, tj)
}

/// `exp[-(Ea/k)(1/(T + 273) - 1/298)]`: how much faster than at 25 °C.
fn arrhenius(ea: f64, celsius: f64) -> f64 {
    (-(ea / BOLTZMANN_EV) * (1.0 / (celsius + 273.0) - 1.0 / 298.0)).exp()
}

/// Activation energy in electronvolts (5.8).
#[must_use]
pub fn activation_energy(technology: Technology) -> f64 {
    match technology {
        Technology::MosDigital | Technology::MosProcessor => 0.35,
        Technology::Ttl | Technology::BipolarPla => 0.40,
        Technology::Lsttl => 0.50,
        Technology::Linear => 0.65,
        Technology::MosDram | Technology::MosSram | Technology::MosRom | Technology::MosProm => {
            0.60
        }
    }
}

/// C1, failures per million hours, by technology and size (5.1, 5.2).
///
/// `size` is gates for logic, transistors for linear parts, the *data width in bits* (8, 16, 32) for processors,
/// bits for memories. Each row holds sizes up to and including its limit.
///
/// # Errors
/// Size 0 or beyond the last row.
pub fn c1(technology: Technology, size: u32) -> Result<f64, RateError> {
    const K: u32 = 1024;
    let (what, expected, rows): (_, _, &[(u32, f64)]) = match technology {
        Technology::Ttl | Technology::Lsttl => (
            "bipolar logic",
            "1 to 60000 gates",
            &[
                (100, 0.0025),
                (1000, 0.0050),
                (3000, 0.010),
                (10_000, 0.020),
                (30_000, 0.040),
                (60_000, 0.080),
            ],
        ),
        Technology::MosDigital => (
            "MOS logic",
            "1 to 60000 gates",
            &[
                (100, 0.010),
                (1000, 0.020),
                (3000, 0.040),
                (10_000, 0.080),
                (30_000, 0.16),
                (60_000, 0.29),
            ],
        ),
        Technology::MosProcessor => (
            "a MOS processor",
            "the width of its data in bits, at most 32",
            &[(8, 0.14), (16, 0.28), (32, 0.56)],
        ),
        Technology::Linear => (
            "a linear circuit",
            "1 to 10000 transistors",
            &[(100, 0.010), (300, 0.020), (1000, 0.040), (10_000, 0.060)],
        ),
        Technology::BipolarPla => (
            "a bipolar logic array",
            "1 to 5000 gates",
            &[(200, 0.010), (1000, 0.021), (5000, 0.042)],
        ),
        Technology::MosDram => (
            "dynamic memory",
            "1 to 1048576 bits",
            &[
                (16 * K, 0.0013),
                (64 * K, 0.0025),
                (256 * K, 0.0050),
                (K * K, 0.010),
            ],
        ),
        Technology::MosSram => (
            "static memory",
            "1 to 1048576 bits",
            &[
                (16 * K, 0.0078),
                (64 * K, 0.016),
                (256 * K, 0.031),
                (K * K, 0.062),
            ],
        ),
        Technology::MosRom => (
            "mask ROM",
            "1 to 1048576 bits",
            &[
                (16 * K, 0.00065),
                (64 * K, 0.0013),
                (256 * K, 0.0026),
                (K * K, 0.0052),
            ],
        ),
        Technology::MosProm => (
            "programmable ROM",
            "1 to 1048576 bits",
            &[
                (16 * K, 0.00085),
                (64 * K, 0.0017),
                (256 * K, 0.0034),
                (K * K, 0.0068),
            ],
        ),
    };
    rows.iter()
        .find(|(limit, _)| size >= 1 && size <= *limit)
        .map(|(_, c1)| *c1)
        .ok_or(RateError::Size {
            what,
            size,
            expected,
        })
}

/// Aluminium electrolytic, failures per million hours (F Notice 2, 10.1; formula from memory, it comes within 6 % of
/// a published figure of that edition).
///
/// `0.00012 piT piC piV piQ piE` with piT of 0.35 eV, `piC = C^0.23` (µF), `piV = (S/0.6)^5 + 1`, piQ 10
/// (commercial), piE 1 (ground benign). The base edition gives about 21 times as much: never mix.
///
/// # Errors
/// Capacitance not above 0, voltage stress outside 0…1.5, ambient outside −55…125 °C.
pub fn electrolytic(uf: f64, stress: f64, ambient: f64) -> Result<f64, RateError> {
    let uf = in_range(
        "capacitance",
        uf,
        1e-3..=1e6,
        "microfarads from 0.001 to 1000000",
    )?;
    let stress = in_range("voltage stress", stress, 0.0..=1.5, "a ratio from 0 to 1.5")?;
    let ambient = in_range(
        "ambient temperature",
        ambient,
        -55.0..=125.0,
        "degrees Celsius from -55 to 125",
    )?;
    let pi_v = (stress / 0.6).powi(5) + 1.0;
    Ok(0.00012 * arrhenius(0.35, ambient) * uf.powf(0.23) * pi_v * 10.0)
}

/// Quartz crystal, failures per million hours: `0.013 f^0.23 piQ piE`, f in MHz, piQ 2.1 (lower), piE 1 (19.1).
///
/// # Errors
/// A frequency outside 0.001…1000 MHz.
pub fn crystal(mhz: f64) -> Result<f64, RateError> {
    let mhz = in_range("frequency", mhz, 1e-3..=1e3, "megahertz from 0.001 to 1000")?;
    Ok(0.013 * mhz.powf(0.23) * 2.1)
}

/// All contacts of a socket together, failures per million hours:
/// `0.00042 exp[((N - 1)/10)^0.51064]`, piE 1 (F base, 15.3). 0 for a socket without contacts.
#[must_use]
pub fn socket(pins: usize) -> f64 {
    if pins == 0 {
        return 0.0;
    }
    0.00042 * ((pins as f64 - 1.0) / 10.0).powf(0.51064).exp()
}

/// One contact of a socket: an equal part of [`socket`].
#[must_use]
pub fn socket_contact(pins: usize) -> f64 {
    if pins == 0 {
        0.0
    } else {
        socket(pins) / pins as f64
    }
}

/// How a joint was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Joint {
    /// In a solder bath, at the factory.
    Machine,
    /// By hand: rework, wires, most connectors.
    Hand,
}

/// This many solder joints together, failures per million hours (F base, 17.1; piE 1; which figure belongs to which
/// kind of joint is from memory).
#[must_use]
pub fn joints(count: usize, joint: Joint) -> f64 {
    let one = match joint {
        Joint::Machine => 0.000_069,
        Joint::Hand => 0.0026,
    };
    one * count as f64
}

/// One contact of a card-edge connector with this many: an equal part of [`CARD_EDGE`].
#[must_use]
pub fn connector_contact(contacts: usize) -> f64 {
    if contacts == 0 {
        0.0
    } else {
        CARD_EDGE / contacts as f64
    }
}

/// A card-edge connector as a whole (F base, Appendix A, ground benign).
pub const CARD_EDGE: f64 = 0.0054;
/// Any other connector as a whole (F base, Appendix A, ground benign).
pub const CONNECTOR: f64 = 0.011;

/// One key contact of a keyboard: a *stand-in*, 0.004 failures per million hours.
///
/// Section 14 (either edition) has no keyboard class. Its push button, 0.10 (Notice 2, 14.1, from memory), would give
/// 64 keys seven times the rate of the processor, and no bench sees that. In the 27 repairs that the exposure is
/// taken from ([`super::exposure`]), 3 of 49 faulty units were key contacts; an 8-bit computer's other parts come to
/// 4 (handbook alone) to 7 (with field factors) per million hours in this model, so 64 keys together would have 0.26 to
/// 0.46; one key at the lower end 0.004. A guess of the right size, not a handbook figure.
pub const KEY_CONTACT: f64 = 0.004;

/// A named figure for parts without a formula here.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stated {
    /// What it is for.
    pub what: &'static str,
    /// Failures per million hours.
    pub per_million: f64,
    /// Section and edition, and what in it is from memory.
    pub source: &'static str,
}

/// Figures for `fixed` rates in part maps: ground benign, commercial quality.
pub const STATED: &[Stated] = &[
    stated(
        "film resistor",
        0.0037,
        "217F Notice 2, 9.1, base rate, from memory",
    ),
    stated(
        "composition resistor",
        0.0017,
        "217F Notice 2, 9.1, base rate, from memory",
    ),
    stated(
        "push button",
        0.10,
        "217F Notice 2, 14.1, base rate, from memory",
    ),
    stated(
        "toggle switch",
        0.10,
        "217F Notice 2, 14.1, base rate, from memory",
    ),
    stated(
        "rocker switch",
        0.023,
        "217F Notice 2, 14.1, base rate, from memory",
    ),
    stated(
        "DIP switch",
        0.000_12,
        "217F Notice 2, 14.1, base rate, from memory",
    ),
    stated(
        "key contact",
        KEY_CONTACT,
        "stand-in, no handbook class: see KEY_CONTACT",
    ),
    stated(
        "card-edge connector",
        CARD_EDGE,
        "217F base, Appendix A, ground benign",
    ),
    stated(
        "connector",
        CONNECTOR,
        "217F base, Appendix A, ground benign",
    ),
    stated("fuse", 0.010, "217F base, 22.1, piE 1, from memory"),
    stated(
        "switching diode",
        0.008,
        "217F base, 6.1, 0.0010 with piQ 8, from memory",
    ),
    stated(
        "rectifier diode",
        0.024,
        "217F base, 6.1, 0.0030 with piQ 8, from memory",
    ),
    stated(
        "zener diode",
        0.016,
        "217F base, 6.1, 0.0020 with piQ 8, from memory",
    ),
    stated(
        "small transistor",
        0.0059,
        "217F base, 6.3, 0.00074 with piQ 8, from memory",
    ),
    stated("plated hole", 0.000_041, "217F base, 16.1"),
];

const fn stated(what: &'static str, per_million: f64, source: &'static str) -> Stated {
    Stated {
        what,
        per_million,
        source,
    }
}

/// The stated figure for this kind of part, if there is one.
#[must_use]
pub fn stated_rate(what: &str) -> Option<&'static Stated> {
    STATED.iter().find(|s| s.what == what)
}

fn in_range(
    what: &'static str,
    value: f64,
    range: std::ops::RangeInclusive<f64>,
    expected: &'static str,
) -> Result<f64, RateError> {
    if range.contains(&value) {
        Ok(value)
    } else {
        Err(RateError::Input {
            what,
            value,
            expected,
        })
    }
}
