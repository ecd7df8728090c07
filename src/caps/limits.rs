//! Tables and formulas of capacitors: loss factor, leakage, tolerance letters, preferred values.

pub use crate::sheet::CapClass as Class;
use std::f64::consts::PI;

/// Largest loss factor (tan δ) at 120 Hz and 20 °C by rated volts, four series of data sheets (`facts/electrolytic_tan_delta.csv`;
/// S28, S28b, S28c, S28d).
#[rustfmt::skip]
const TAN_DELTA: [(Class, &[(f64, f64)]); 4] = [
    (Class::A, &[(6.3, 0.23), (10.0, 0.20), (16.0, 0.16), (25.0, 0.14), (35.0, 0.12), (50.0, 0.10), (63.0, 0.09), (100.0, 0.08),
        (160.0, 0.12), (200.0, 0.14), (250.0, 0.17), (350.0, 0.20), (400.0, 0.25), (450.0, 0.25)]),
    (Class::B, &[(6.3, 0.28), (10.0, 0.24), (16.0, 0.20), (25.0, 0.16), (35.0, 0.14), (50.0, 0.12), (63.0, 0.10), (100.0, 0.08),
        (160.0, 0.20), (200.0, 0.20), (250.0, 0.20), (400.0, 0.25)]),
    (Class::C, &[(6.3, 0.24), (10.0, 0.20), (16.0, 0.17), (25.0, 0.15), (35.0, 0.14), (50.0, 0.12), (100.0, 0.10)]),
    (Class::D, &[(6.3, 0.18), (10.0, 0.15), (16.0, 0.12), (25.0, 0.08), (35.0, 0.08), (50.0, 0.08), (63.0, 0.07), (100.0, 0.07)]),
];

/// Added to tan δ for each 1000 uF above 1000 uF (the same four data sheets).
const PER_1000_UF: f64 = 0.02;

/// Hertz that the loss factors are stated at.
pub const TEST_HERTZ: f64 = 120.0;

/// Of the loss limit, what is allowed at the end of life: 200 %, non-polar 150 % (S28, S28c).
pub fn worn_factor(class: Class) -> f64 {
    if class == Class::C { 1.5 } else { 2.0 }
}

/// Rated voltages that are made (the rows of the tables).
pub fn rated_volts() -> impl Iterator<Item = f64> {
    TAN_DELTA[0].1.iter().map(|r| r.0)
}

/// The loss factor allowed for a capacitor of so many farads and rated volts. Between two rows that of the lower voltage counts, which
/// allows more; without a voltage the first row. `None` for film and ceramic.
pub fn tan_delta(class: Class, farads: f64, volts: Option<f64>) -> Option<f64> {
    let rows = TAN_DELTA.iter().find(|(c, _)| *c == class)?.1;
    let volts = volts.unwrap_or(rows[0].0);
    let row = rows
        .iter()
        .rev()
        .find(|r| r.0 <= volts + 1e-9)
        .unwrap_or(&rows[0]);
    let above = (farads * 1e6 - 1000.0).max(0.0) / 1000.0;
    Some(row.1 + PER_1000_UF * above)
}

/// Series resistance in ohms that belongs to a loss factor: tan δ / (2 π f C) (S28e).
pub fn series_resistance(tan_delta: f64, farads: f64, hertz: f64) -> f64 {
    tan_delta / (2.0 * PI * hertz * farads)
}

/// Largest leakage current in amperes after two minutes at rated volts: 0.01 C V or 3 uA, the greater, to 100 V (S28, S28b, S28e, S28f);
/// above, 0.03 C V + 15 uA or 0.02 C V + 25 uA with C V over 1000 (S28); non-polar 0.03 C V + 3 uA (S28c); low leakage
/// 0.002 C V or 0.2 uA (S28d). C in uF.
pub fn leakage(class: Class, farads: f64, volts: f64) -> f64 {
    let cv = farads * 1e6 * volts;
    let micro = match class {
        Class::C => 0.03 * cv + 3.0,
        Class::D => (0.002 * cv).max(0.2),
        _ if volts <= 100.0 => (0.01 * cv).max(3.0),
        _ if cv <= 1000.0 => 0.03 * cv + 15.0,
        _ => 0.02 * cv + 25.0,
    };
    micro * 1e-6
}

/// Tolerance letters, per cent below and above (IEC 60062: F to M and Z read, S29b; N, Q, S, T from memory).
#[rustfmt::skip]
const LETTERS: [(char, f64, f64); 10] = [('F', -1.0, 1.0), ('G', -2.0, 2.0), ('J', -5.0, 5.0), ('K', -10.0, 10.0), ('M', -20.0, 20.0),
    ('N', -30.0, 30.0), ('Q', -10.0, 30.0), ('S', -20.0, 50.0), ('T', -10.0, 50.0), ('Z', -20.0, 80.0)];

/// Letters that stand for picofarads below 10 pF and for per cent above (IEC 60062; picofarads S29b, per cent from memory).
const SMALL: [(char, f64); 3] = [('B', 0.1), ('C', 0.25), ('D', 0.5)];

/// What an electrolytic without a letter may deviate: −20 % (M, the usual one: S28), +50 % (older ones: T, from memory).
const NO_LETTER: (f64, f64) = (-20.0, 50.0);

/// Whether this letter is one of tolerance.
pub fn is_letter(letter: char) -> bool {
    LETTERS.iter().any(|l| l.0 == letter) || SMALL.iter().any(|l| l.0 == letter)
}

/// Smallest and largest value in farads that the marking allows.
pub fn tolerance(letter: Option<char>, farads: f64) -> (f64, f64) {
    if let Some((_, size)) = SMALL.iter().find(|l| Some(l.0) == letter) {
        let by = if farads < 10e-12 {
            size * 1e-12
        } else {
            size / 100.0 * farads
        };
        return (farads - by, farads + by);
    }
    let found = LETTERS.iter().find(|l| Some(l.0) == letter);
    let (low, high) = found.map_or(NO_LETTER, |l| (l.1, l.2));
    (farads * (1.0 + low / 100.0), farads * (1.0 + high / 100.0))
}

/// Preferred values of a decade (IEC 60063; S29). E24 holds E12, E6 and E3.
#[rustfmt::skip]
pub const E24: [f64; 24] = [1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5,
    8.2, 9.1];
/// The values that electrolytics are made in (IEC 60063; S29).
pub const E6: [f64; 6] = [1.0, 1.5, 2.2, 3.3, 4.7, 6.8];

/// A value as a preferred number of its decade, and the decade.
fn decade(farads: f64) -> (f64, f64) {
    let mut tens = 10f64.powf(farads.log10().floor());
    // A logarithm just below a whole number.
    if farads / tens >= 9.999_999 {
        tens *= 10.0;
    }
    (farads / tens, tens)
}

/// Whether a value is in the E24 series.
pub fn is_preferred(farads: f64) -> bool {
    let (m, _) = decade(farads);
    E24.iter().any(|e| (m / e - 1.0).abs() < 1e-6)
}

/// A value that is sold as near as this below the old one replaces it (guess: half of the usual tolerance).
const NEAR_BELOW: f64 = 0.9;

/// The value to buy in place of an electrolytic: its own if it is one of E24, else the next of E6 that is at most 10 % below it.
pub fn next_value(farads: f64) -> f64 {
    if is_preferred(farads) {
        return farads;
    }
    let (_, tens) = decade(farads);
    let all = E6.iter().map(|e| e * tens).chain([10.0 * tens]);
    let next = all
        .into_iter()
        .find(|v| *v >= NEAR_BELOW * farads)
        .unwrap_or(farads);
    // 4.7 · 10 µF as it is written, without the noise of the multiplication.
    format!("{next:.3e}").parse().unwrap_or(next)
}

/// The rated voltage to buy: the next that is made, never lower; past the table the voltage itself.
pub fn next_volts(volts: f64) -> f64 {
    rated_volts().find(|v| *v >= volts - 1e-9).unwrap_or(volts)
}
