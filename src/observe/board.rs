//! Names on a sheet to things on the board.

use crate::faultmap::model::{BoardModel, Position};
use crate::faultmap::raw::Class;
use crate::sheet::Place;

/// The position that a word on a sheet means: a designator, a word of the board map (`sound`, `adapter 1`), a unit
/// outside the board (`KEYBOARD`, `SUPPLY`, `CARTRIDGE`, `CABLE`), or the type of which there is one.
pub fn position<'m>(model: &'m BoardModel, word: &str) -> Option<(usize, &'m Position)> {
    let outside = |class: Class| {
        let mut all = model.positions.iter().enumerate();
        all.find(|(_, p)| p.outside && p.class == class)
    };
    let unit = match word.to_uppercase().as_str() {
        "KEYBOARD" | "KB" | "KBD" => model
            .keyboard
            .as_ref()
            .and_then(|kb| model.position(&kb.unit)),
        "SUPPLY" => outside(Class::Supply),
        "CARTRIDGE" => outside(Class::Cartridge),
        "CABLE" => outside(Class::Cable),
        _ => None,
    };
    model
        .position(word)
        .or(unit)
        .or_else(|| named(model, word))
        .or_else(|| {
            let meant = model
                .words
                .iter()
                .find(|(w, _)| w.eq_ignore_ascii_case(word))?;
            model.position(meant.1)
        })
        .or_else(|| by_type(model, word))
}

/// The one part of the board of that type; where there are several, nobody knows which was meant.
fn by_type<'m>(model: &'m BoardModel, word: &str) -> Option<(usize, &'m Position)> {
    match &of_type(model, word)[..] {
        [one] => model.position(one),
        _ => None,
    }
}

/// The designators of all parts of a type.
pub fn of_type<'m>(model: &'m BoardModel, word: &str) -> Vec<&'m str> {
    let is = |p: &&Position| (p.part_type.as_ref()).is_some_and(|t| t.eq_ignore_ascii_case(word));
    let all = model.positions.iter().filter(is);
    all.map(|p| p.name.as_str()).collect()
}

/// The position of a part by its name in the words file: `SOUND_CHIP`, `OS_ROM`, `CRYSTAL`; only where there is one.
fn named<'m>(model: &'m BoardModel, word: &str) -> Option<(usize, &'m Position)> {
    let upper = word.to_uppercase();
    let plain = upper
        .trim_end_matches("_CHIP")
        .trim_end_matches("_ROM")
        .replace('_', " ");
    let by_word = model
        .words
        .iter()
        .find(|(w, _)| w.eq_ignore_ascii_case(&plain));
    if let Some((_, meant)) = by_word {
        return model.position(meant);
    }
    let of = |fits: fn(&Position) -> bool| {
        let mut all = model.positions.iter().enumerate().filter(|(_, p)| fits(p));
        match (all.next(), all.next()) {
            (Some(one), None) => Some(one),
            _ => None,
        }
    };
    match upper.as_str() {
        "CRYSTAL" => of(|p| p.class == Class::Clock),
        "REGULATOR" => of(|p| p.class == Class::Regulator),
        _ => None,
    }
}

/// A sheet may leave the sign of a rail out: `5V_VIDEO` is `+5V_VIDEO`.
fn same(a: &str, b: &str) -> bool {
    a.trim_start_matches('+')
        .eq_ignore_ascii_case(b.trim_start_matches('+'))
}

/// The line that a place means: that of a pin, or one by its name.
pub fn line<'m>(model: &'m BoardModel, place: &Place) -> Option<&'m str> {
    if let Some(pin) = &place.pin {
        return position(model, &place.name)?.1.line_at(pin);
    }
    // A sheet may leave the sign of a rail out: 5V_VIDEO is +5V_VIDEO.
    let is = |name: &str| same(name, &place.name);
    let by_name = |name: &str| model.nodes.iter().find(|n| n.line && same(&n.name, name));
    let found = by_name(&place.name).or_else(|| {
        let (_, meant) = model.words.iter().find(|(w, _)| is(w))?;
        by_name(meant)
    });
    found.map(|n| n.name.as_str())
}

/// The place as a person writes it.
pub fn written(place: &Place) -> String {
    match &place.pin {
        Some(key) if place.key().is_some() => format!("key {key}"),
        Some(pin) => format!("{}.{pin}", place.name),
        None => place.name.clone(),
    }
}

/// The key of the board's matrix that a name on a sheet means.
pub fn key(model: &BoardModel, name: &str) -> Option<String> {
    let kb = model.keyboard.as_ref()?;
    let plain = |s: &str| {
        s.chars()
            .filter(|c| !c.is_whitespace() && *c != '-')
            .collect::<String>()
            .to_uppercase()
    };
    let wanted = plain(name);
    let alias = kb
        .aliases
        .iter()
        .find(|(a, _)| plain(a) == wanted)
        .map(|(_, k)| k);
    let known = || kb.matrix.iter().flatten().chain(kb.outside.keys());
    known()
        .find(|k| *k != "-" && (Some(*k) == alias || plain(k) == wanted))
        .cloned()
}

/// All keys of the matrix, column by column.
pub fn keys(model: &BoardModel) -> Vec<String> {
    let Some(kb) = &model.keyboard else {
        return Vec::new();
    };
    kb.matrix
        .iter()
        .flatten()
        .filter(|k| *k != "-")
        .cloned()
        .collect()
}

/// Where a rail is best measured, in words: `U7 pin 6`.
pub fn rail_measured_at(model: &BoardModel, rail: &str) -> String {
    let places = model
        .rails
        .get(rail)
        .map(|r| crate::faultmap::expand::list(&r.measure))
        .unwrap_or_default();
    places
        .first()
        .map_or_else(|| rail.to_string(), |p| pin_in_words(p))
}

/// `U7.6` in words: `U7 pin 6`.
pub fn pin_in_words(pin: &str) -> String {
    pin.replacen('.', " pin ", 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_type_is_a_place_where_there_is_one_of_it() {
        let library = crate::shipped::Library::open(None).unwrap();
        let one = library.board("z80-ppi-vdp").unwrap();
        assert_eq!(
            position(&one, "8255").map(|p| &*p.1.family),
            Some("ppi-8255")
        );
        let several = library.board("64k-6510-wide").unwrap();
        assert_eq!(position(&several, "6526").map(|p| &p.1.name), None);
        assert_eq!(of_type(&several, "6526"), ["U1", "U2"]);
        assert!(of_type(&several, "9918").is_empty());
    }
}
