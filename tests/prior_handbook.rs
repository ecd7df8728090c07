//! The handbook formulas against published and worked figures.

use Env::{Benign as GB, Fixed as GF};
use Package::{Can, Nonhermetic};
use Technology::{
    BipolarPla, Linear, Lsttl, MosDigital, MosDram, MosProcessor, MosRom, MosSram, Ttl,
};
use whichsocket::faultmap::raw::{RateRaw, Technology};
use whichsocket::prior::handbook::{
    self, Joint, Micro, PI_E_GROUND_BENIGN, PI_E_GROUND_FIXED, Package, RateError, pi_t, rate,
};

enum Env {
    Benign,
    Fixed,
}

/// Technology and size where this library has them; environment, C1, Ea (eV), Tj (°C), pins, published rate.
type Count = (Option<(Technology, u32)>, Env, f64, f64, f64, usize, f64);

/// MIL-HDBK-217F, Appendix A (parts count, piQ = piL = 1), failures per million hours, as coded in an open-source
/// implementation of the handbook (snapshot of 22 Feb 2025); pin counts of its table head from memory.
const PARTS_COUNT: [Count; 22] = [
    (Some((Ttl, 100)), GB, 0.0025, 0.4, 50.0, 16, 0.0036),
    (Some((Ttl, 100)), GF, 0.0025, 0.4, 60.0, 16, 0.012),
    (Some((MosDigital, 100)), GB, 0.01, 0.35, 50.0, 16, 0.0057),
    (Some((MosDigital, 100)), GF, 0.01, 0.35, 60.0, 16, 0.015),
    (Some((MosDigital, 3000)), GB, 0.04, 0.35, 50.0, 40, 0.019),
    (Some((Linear, 100)), GB, 0.01, 0.65, 50.0, 14, 0.0095),
    (Some((Linear, 100)), GF, 0.01, 0.65, 60.0, 14, 0.024),
    (Some((MosProcessor, 8)), GB, 0.14, 0.35, 50.0, 40, 0.048),
    (Some((MosProcessor, 8)), GF, 0.14, 0.35, 60.0, 40, 0.089),
    (None, GB, 0.06, 0.4, 50.0, 40, 0.028),
    (Some((MosDram, 16384)), GB, 0.0013, 0.6, 50.0, 18, 0.004),
    (Some((MosDram, 16384)), GF, 0.0013, 0.6, 60.0, 18, 0.014),
    (Some((MosDram, 65536)), GB, 0.0025, 0.6, 50.0, 22, 0.0055),
    (Some((MosDram, 65536)), GF, 0.0025, 0.6, 60.0, 22, 0.019),
    (Some((MosDram, 262_144)), GB, 0.005, 0.6, 50.0, 24, 0.0074),
    (Some((MosDram, 262_144)), GF, 0.005, 0.6, 60.0, 24, 0.023),
    (Some((MosDram, 1_048_576)), GB, 0.01, 0.6, 50.0, 28, 0.011),
    (Some((MosDram, 1_048_576)), GF, 0.01, 0.6, 60.0, 28, 0.032),
    (Some((MosRom, 16384)), GB, 0.00065, 0.6, 50.0, 24, 0.0047),
    (Some((MosRom, 65536)), GB, 0.0013, 0.6, 50.0, 28, 0.0059),
    (Some((MosSram, 16384)), GB, 0.0078, 0.6, 50.0, 18, 0.0079),
    (Some((MosSram, 16384)), GF, 0.0078, 0.6, 60.0, 18, 0.022),
];

#[test]
fn the_formula_gives_the_handbooks_own_parts_count() {
    for (which, env, c1, ea, tj, pins, published) in PARTS_COUNT {
        if let Some((technology, size)) = which {
            assert!((handbook::c1(technology, size).unwrap() - c1).abs() < 1e-12);
            assert!((handbook::activation_energy(technology) - ea).abs() < 1e-12);
        }
        let micro = Micro {
            c1,
            ea,
            tj,
            c2: Package::Hermetic.c2(pins),
            pi_e: match env {
                GB => PI_E_GROUND_BENIGN,
                GF => PI_E_GROUND_FIXED,
            },
            pi_q: 1.0,
            pi_l: 1.0,
        };
        let off = micro.lambda() / published - 1.0;
        assert!(off.abs() < 0.04, "{published}: formula {}", micro.lambda());
    }
}

/// Technology, size, Tj (°C), pins, package; piT, C2, rate.
type Worked = (Technology, u32, f64, usize, Package, f64, f64, f64);

/// Worked with the published formulas in a separate program: ground benign, commercial, piL 1.
const WORKED: [Worked; 18] = [
    (
        MosDram,
        16384,
        45.0,
        16,
        Nonhermetic,
        0.4347,
        0.00719,
        0.0416,
    ),
    (
        MosDram,
        65536,
        45.0,
        16,
        Nonhermetic,
        0.4347,
        0.00719,
        0.0468,
    ),
    (
        MosDram,
        262_144,
        50.0,
        18,
        Nonhermetic,
        0.6101,
        0.00817,
        0.0713,
    ),
    (
        MosRom,
        32768,
        50.0,
        24,
        Nonhermetic,
        0.6101,
        0.01114,
        0.0636,
    ),
    (
        MosRom,
        65536,
        50.0,
        24,
        Nonhermetic,
        0.6101,
        0.01114,
        0.0636,
    ),
    (
        MosRom,
        131_072,
        50.0,
        28,
        Nonhermetic,
        0.6101,
        0.01316,
        0.0817,
    ),
    (
        MosSram,
        4096,
        50.0,
        18,
        Nonhermetic,
        0.6101,
        0.00817,
        0.0884,
    ),
    (
        MosProcessor,
        8,
        70.0,
        40,
        Nonhermetic,
        0.5979,
        0.01934,
        0.9337,
    ),
    (
        MosDigital,
        3000,
        60.0,
        40,
        Nonhermetic,
        0.419,
        0.01934,
        0.2643,
    ),
    (
        MosDigital,
        10_000,
        80.0,
        40,
        Nonhermetic,
        0.8362,
        0.01934,
        0.7656,
    ),
    (
        MosDigital,
        3000,
        70.0,
        28,
        Nonhermetic,
        0.5979,
        0.01316,
        0.3049,
    ),
    (
        BipolarPla,
        200,
        85.0,
        28,
        Nonhermetic,
        1.3608,
        0.01316,
        0.2019,
    ),
    (Lsttl, 100, 40.0, 14, Nonhermetic, 0.2542, 0.00622, 0.0375),
    (Lsttl, 100, 40.0, 16, Nonhermetic, 0.2542, 0.00719, 0.0423),
    (Lsttl, 100, 45.0, 20, Nonhermetic, 0.3403, 0.00915, 0.0543),
    (Ttl, 100, 45.0, 14, Nonhermetic, 0.2664, 0.00622, 0.0378),
    (Linear, 100, 50.0, 8, Nonhermetic, 0.7094, 0.0034, 0.0879),
    (Linear, 100, 80.0, 3, Can, 5.1621, 0.00027, 0.5176),
];

#[test]
fn worked_microcircuits() {
    for (technology, size, tj, pins, package, pit, c2, lambda) in WORKED {
        let mut micro = Micro::commercial(technology, size, tj, pins).unwrap();
        micro.c2 = package.c2(pins);
        assert!(
            (pi_t(micro.ea, tj) - pit).abs() < 5e-5 + pit * 1e-4,
            "{technology:?} piT"
        );
        assert!(
            (micro.c2 - c2).abs() < 6e-6,
            "{technology:?} C2 {}",
            micro.c2
        );
        assert!(
            (micro.lambda() - lambda).abs() < 6e-5,
            "{technology:?} {}",
            micro.lambda()
        );
        if package == Nonhermetic {
            let raw = RateRaw::Micro {
                technology,
                size,
                tj,
                pins: None,
            };
            assert!((rate(&raw, pins).unwrap() - micro.lambda()).abs() < 1e-15);
        }
    }
}

#[test]
fn own_pin_count_of_the_inputs_wins() {
    let with = |pins| RateRaw::Micro {
        technology: Lsttl,
        size: 50,
        tj: 40.0,
        pins,
    };
    assert_eq!(rate(&with(Some(14)), 20), rate(&with(None), 14));
    assert!(rate(&with(None), 20).unwrap() > rate(&with(None), 14).unwrap());
}

/// 5.8: 0.1 at 25 °C for every Ea; the 30 °C row is that of a reproduction of the handbook's table, the rest follows
/// from its formula (0.35, 0.40, 0.45, 0.50, 0.60, 0.65 eV).
#[test]
fn temperature_factors() {
    let ea = [0.35, 0.40, 0.45, 0.50, 0.60, 0.65];
    let table = [
        (25.0, [0.1, 0.1, 0.1, 0.1, 0.1, 0.1]),
        (30.0, [0.1252, 0.1293, 0.1335, 0.1379, 0.147, 0.1518]),
        (45.0, [0.2357, 0.2664, 0.3011, 0.3403, 0.4347, 0.4914]),
        (60.0, [0.419, 0.5141, 0.6308, 0.7741, 1.1656, 1.4304]),
        (85.0, [0.9819, 1.3608, 1.886, 2.6137, 5.0201, 6.9573]),
        (125.0, [3.0711, 5.0092, 8.1703, 13.3262, 35.4525, 57.8253]),
    ];
    for (tj, row) in table {
        for (ea, expected) in ea.iter().zip(row) {
            assert!((pi_t(*ea, tj) - expected).abs() < 6e-5, "{ea} eV at {tj}");
        }
    }
}

/// F base 15.3: parts count 0.0019 at 24 pins; the rest worked apart.
#[test]
fn sockets() {
    assert!((handbook::socket(24) / 0.0019 - 1.0).abs() < 0.04);
    for (pins, lambda) in [(16, 0.00144), (24, 0.00194), (28, 0.00221), (40, 0.00311)] {
        assert!(
            (handbook::socket(pins) - lambda).abs() < 6e-6,
            "{pins} pins"
        );
        let one = handbook::socket_contact(pins) * pins as f64;
        assert!((one - handbook::socket(pins)).abs() < 1e-15);
    }
    assert!(handbook::socket(0) + handbook::socket_contact(0) < 1e-300);
}

/// 19.1: parts count, ground benign, 0.032 at 50 MHz with MIL quality (the formula below has piQ 2.1).
#[test]
fn crystals() {
    let lambda = |mhz| rate(&RateRaw::Crystal { mhz }, 2).unwrap();
    assert!((lambda(50.0) / 2.1 / 0.032 - 1.0).abs() < 0.04);
    assert!((lambda(17.734_475) - 0.0529).abs() < 6e-5);
    assert!((lambda(14.318_18) - 0.0504).abs() < 6e-5);
}

/// Notice 2, 10.1, worked apart from the recalled formula.
#[test]
fn electrolytics() {
    let lambda = |uf, t| rate(&RateRaw::Electrolytic { uf, stress: 0.6, t }, 2).unwrap();
    assert!((lambda(2200.0, 40.0) - 0.0271).abs() < 6e-5);
    assert!((lambda(2200.0, 55.0) - 0.0490).abs() < 6e-5);
    assert!((lambda(100.0, 40.0) - 0.0133).abs() < 6e-5);
    // A published parts count of that edition, 1700 µF, S 0.5, 40 °C, ground fixed (piE 10), MIL quality: 0.019.
    let published = handbook::electrolytic(1700.0, 0.5, 40.0).unwrap();
    assert!((published / 0.019 - 1.0).abs() < 0.07);
}

#[test]
fn joints_contacts_and_keys_keep_their_order() {
    assert!((handbook::joints(40, Joint::Machine) - 40.0 * 0.000_069).abs() < 1e-15);
    assert!((handbook::joints(3, Joint::Hand) - 0.0078).abs() < 1e-15);
    let edge = handbook::connector_contact(44) * 44.0;
    assert!((edge - handbook::CARD_EDGE).abs() < 1e-15);
    // 64 keys must stay below a processor, which the push button of section 14 would not.
    let processor = Micro::commercial(MosProcessor, 8, 70.0, 40)
        .unwrap()
        .lambda();
    assert!(64.0 * handbook::KEY_CONTACT < 0.5 * processor);
    let push_button = handbook::stated_rate("push button").unwrap().per_million;
    assert!(64.0 * push_button > 6.0 * processor);
}

#[test]
fn stated_figures_name_edition_or_stand_in() {
    for s in handbook::STATED {
        assert!(s.per_million > 0.0 && s.per_million <= 0.1, "{}", s.what);
        assert!(
            s.source.contains("217F") || s.source.contains("stand-in"),
            "{}",
            s.what
        );
    }
    assert!(handbook::stated_rate("hope").is_none());
    let fixed = RateRaw::Fixed {
        per_million_hours: 0.2,
        source: "guess".into(),
    };
    assert_eq!(rate(&fixed, 0), Ok(0.2));
}

#[test]
fn inputs_outside_the_tables_are_refused_with_what_to_give() {
    let message = |raw: RateRaw| rate(&raw, 16).unwrap_err().to_string();
    let micro = |technology, size, tj| RateRaw::Micro {
        technology,
        size,
        tj,
        pins: None,
    };
    assert!(message(micro(MosProcessor, 4000, 60.0)).contains("width of its data in bits"));
    assert!(message(micro(Ttl, 0, 60.0)).contains("1 to 60000 gates"));
    assert!(message(micro(MosDram, 4_194_304, 60.0)).contains("1048576 bits"));
    assert!(message(micro(Ttl, 10, f64::NAN)).contains("-55 to 175"));
    assert!(message(RateRaw::Crystal { mhz: 0.0 }).contains("megahertz"));
    assert!(
        message(RateRaw::Electrolytic {
            uf: -1.0,
            stress: 0.5,
            t: 40.0
        })
        .contains("microfarads")
    );
    let negative = RateRaw::Fixed {
        per_million_hours: -0.1,
        source: "guess".into(),
    };
    assert!(matches!(rate(&negative, 2), Err(RateError::Input { .. })));
    let no_pins = rate(&micro(Ttl, 10, 40.0), 0).unwrap_err();
    assert!(no_pins.to_string().contains("2 to 224 pins"));
}
