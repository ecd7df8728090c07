//! What the bench has and what things cost: a small YAML file.
//!
//! ```
//! let text = "
//! budget: 40            # to spend on parts; 0 when not said
//! worth: 120            # of a complete machine; without it their number counts
//! minute: 0.5           # what a minute of work costs; 0 when not said
//! shelf:
//!   - {type: 8910, count: 1, good: 0.9}
//! donors:
//!   - {ticket: 0503}              # all of that machine may go into others
//!   - {ticket: 0504, only: [T1]}  # this of it
//! buy:
//!   - {type: 74LS138, price: 2.50, good: 0.98, most: 4}
//! ";
//! let stock = whichsocket::batch::stock::read("stock.yaml", text).unwrap();
//! assert_eq!(stock.shelf[0].part, "8910");
//! ```
//!
//! Money is in whatever the bench counts in. A probability of being good is that of the part as it lies there.

use crate::faultmap::load::parse;
use serde::Deserialize;
use std::fmt;

/// P(good) of a part on the shelf when the file does not say: used, and not tested here (a guess of ours).
pub const SHELF_GOOD: f64 = 0.9;
/// P(good) of a part bought when the file does not say (as [`crate::next::costs::cures`] has it).
pub const BOUGHT_GOOD: f64 = 0.97;

/// More of one part than this is a slip of the keyboard.
const MOST_PARTS: u32 = 10_000;

/// What the bench has, and what things cost.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stock {
    /// Money for parts.
    #[serde(default)]
    pub budget: f64,
    /// What a complete machine is worth; `None`: the number of machines counts.
    #[serde(default)]
    pub worth: Option<f64>,
    /// What a minute of work costs.
    #[serde(default)]
    pub minute: f64,
    /// Parts at hand.
    #[serde(default)]
    pub shelf: Vec<Shelf>,
    /// Machines of the batch that may be taken apart.
    #[serde(default)]
    pub donors: Vec<Donor>,
    /// Parts that can be bought.
    #[serde(default)]
    pub buy: Vec<Offer>,
}

/// Parts of one type at hand.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shelf {
    /// Type number, or the family's name in the map for what has none (`keyboard-unit`).
    #[serde(rename = "type")]
    pub part: String,
    /// How many.
    #[serde(default = "one")]
    pub count: u32,
    /// P(good) of each.
    #[serde(default = "shelf_good")]
    pub good: f64,
}

/// A machine that may be taken apart.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Donor {
    /// Its ticket, or the name of its file without ending.
    pub ticket: String,
    /// Positions that may be taken; empty: all.
    #[serde(default)]
    pub only: Vec<String>,
}

/// Parts of one type that can be bought.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Offer {
    /// As [`Shelf::part`].
    #[serde(rename = "type")]
    pub part: String,
    /// Price of one.
    pub price: f64,
    /// P(good) of each.
    #[serde(default = "bought_good")]
    pub good: f64,
    /// How many can be had; `None`: as many as wanted.
    #[serde(default)]
    pub most: Option<u32>,
}

fn one() -> u32 {
    1
}

fn shelf_good() -> f64 {
    SHELF_GOOD
}

fn bought_good() -> f64 {
    BOUGHT_GOOD
}

/// A mistake in a stock file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StockError {
    /// The file.
    pub file: String,
    /// The key, as in `shelf, entry 2, good`; or line and column.
    pub place: String,
    /// What is wrong, and what to type.
    pub message: String,
}

impl fmt::Display for StockError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let message = self.message.trim_end();
        if self.place.is_empty() {
            return write!(f, "{}: {message}", self.file);
        }
        write!(f, "{}: {}: {message}", self.file, self.place)
    }
}

/// Reads a stock file.
///
/// # Errors
/// A mistake of YAML or an unknown key with line and column; else every value that cannot be, with its key and what to type.
pub fn read(file: &str, text: &str) -> Result<Stock, Vec<StockError>> {
    let bare = |l: &str| l.trim().is_empty() || l.trim_start().starts_with('#');
    if text.lines().all(bare) {
        return Ok(Stock::default());
    }
    let stock: Stock = parse(file, text).map_err(|e| {
        vec![StockError {
            file: file.to_string(),
            place: e.path,
            message: format!(
                "{}; the keys are budget, worth, minute, shelf (type, count, good), donors (ticket, only), buy (type, price, good, most)",
                e.message
            ),
        }]
    })?;
    let mut errors = Vec::new();
    let mut say = |place: String, message: String| {
        errors.push(StockError {
            file: file.to_string(),
            place,
            message,
        });
    };
    check(&stock, &mut say);
    if errors.is_empty() {
        Ok(stock)
    } else {
        Err(errors)
    }
}

fn check(stock: &Stock, say: &mut impl FnMut(String, String)) {
    let money = |x: f64| x.is_finite() && (0.0..=1e9).contains(&x);
    let amounts = [
        ("budget", Some(stock.budget), "40"),
        ("worth", stock.worth, "120"),
        ("minute", Some(stock.minute), "0.5"),
    ];
    for (key, amount, example) in amounts {
        if let Some(x) = amount.filter(|x| !money(*x)) {
            let message = format!("{x} is no amount; type a number from 0 up, such as {example}");
            say(key.into(), message);
        }
    }
    let part =
        |list: &str, i: usize, part: &str, good: f64, say: &mut dyn FnMut(String, String)| {
            if part.trim().is_empty() {
                let message = "is empty; type a type number, such as \"8910\"".to_string();
                say(format!("{list}, entry {i}, type"), message);
            }
            if !(good > 0.0 && good <= 1.0) {
                let message = format!(
                    "{good} is no probability; type a number above 0 and up to 1, such as 0.9"
                );
                say(format!("{list}, entry {i}, good"), message);
            }
        };
    let count = |n: u32| (1..=MOST_PARTS).contains(&n);
    let no_count = |n: u32| format!("{n} is no count; type a number from 1 to {MOST_PARTS}");
    for (i, s) in (1..).zip(&stock.shelf) {
        part("shelf", i, &s.part, s.good, say);
        if !count(s.count) {
            say(format!("shelf, entry {i}, count"), no_count(s.count));
        }
    }
    for (i, o) in (1..).zip(&stock.buy) {
        part("buy", i, &o.part, o.good, say);
        if !money(o.price) {
            let message = format!(
                "{} is no price; type a number from 0 up, such as 2.50",
                o.price
            );
            say(format!("buy, entry {i}, price"), message);
        }
        if let Some(n) = o.most.filter(|n| !count(*n)) {
            say(format!("buy, entry {i}, most"), no_count(n));
        }
    }
    for (i, d) in (1..).zip(&stock.donors) {
        if d.ticket.trim().is_empty() {
            let message = "is empty; type the ticket of a machine of the batch, such as \"0503\"";
            say(format!("donors, entry {i}, ticket"), message.into());
        }
        let twice = stock.donors[..i - 1].iter().any(|e| e.ticket == d.ticket);
        if twice {
            let message = format!(
                "{} is named above; put its positions into one entry, as in only: [T1, KB]",
                d.ticket
            );
            say(format!("donors, entry {i}, ticket"), message);
        }
    }
}
