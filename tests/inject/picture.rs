//! What the screen shows.

use super::config::Config;
use super::machine::{Machine, V, content};
use super::program::Start;
use super::wiring::Kind;

/// A state of the picture, as a technician would name it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Screen {
    Normal,
    NoSignal,
    Black,
    OneColour,
    Garbage,
    WrongCharacters,
    Unstable,
    WrongColours,
    NoText,
}

/// What the video chip got to see when it read the screen.
struct Fetched {
    /// Wrong bits of the character codes.
    codes: u8,
    /// All of them nonsense: the addresses are wrong.
    places: bool,
    /// Wrong bits of the shapes.
    shapes: u8,
    /// Wrong bits of the colours.
    colours: u8,
    /// Dots come out.
    dots: bool,
}

/// Whether a picture with sync reaches the display at all.
fn signal(m: &mut Machine, c: &Config) -> bool {
    alive(m, c) && c.picture.iter().all(|s| c.stage_works(m, s)) && stage_power(m, c)
}

fn stage_power(m: &Machine, c: &Config) -> bool {
    !c.by_6510
        || (m
            .supply
            .volts
            .get(&m.w.line(c.analogue.stage_rail.0))
            .is_some_and(|v| *v > c.analogue.stage_rail.1)
            && !["dead", "luma"]
                .iter()
                .any(|h| m.o.broken(m.w.part("M1"), h))
            && !m.o.block(c.video, "luma"))
}

fn alive(m: &mut Machine, c: &Config) -> bool {
    let v = c.video;
    if !m.powered[v] {
        return false;
    }
    if c.by_6510 {
        return m.running_pin(v, 22) && [15, 16, 18].iter().all(|&n| !m.held(v, n));
    }
    m.forget();
    for k in 0..2 {
        m.look(k);
    }
    m.access(0x9000, None);
    let clock = m.w.parts[v].pins[20].1.expect("wired");
    let moves = m.seen(clock);
    let reset = m.level_at(v, 2) == V::H;
    moves.0
        && moves.1
        && !m.o.is_open(v, 20)
        && reset
        && !m.o.block(v, "sync")
        && ![39, 40].iter().any(|n| m.held(v, *n - 1))
}

/// Whether the processor can set the video chip.
pub fn registers(m: &mut Machine, c: &Config) -> bool {
    let v = c.video;
    if m.o.block(v, "registers") {
        return false;
    }
    if c.by_6510 {
        return [0x11u16, 0x20, 0x18, 0x07].iter().all(|&reg| {
            [0x55u8, 0xAA].iter().all(|&value| {
                let (chosen, write, a, _) = m.watch_at(
                    1,
                    c.video_base + reg,
                    value,
                    v,
                    10,
                    Some(11),
                    &[24, 25, 26, 27, 28, 29],
                    &[],
                );
                let (_, _, _, d) = m.watch_at(
                    2,
                    c.video_base + reg,
                    value,
                    v,
                    10,
                    Some(11),
                    &[],
                    &[7, 6, 5, 4, 3, 2, 1, 39],
                );
                chosen && write && a == reg && d == u16::from(value)
            })
        });
    }
    (0..2u16).all(|reg| {
        [0x55u8, 0xAA].iter().all(|&value| {
            let (chosen, write, a, d) = m.watch_at(
                2,
                c.video_base + reg,
                value,
                v,
                25,
                Some(22),
                &[24],
                &[33, 32, 31, 30, 29, 28, 27, 26],
            );
            chosen && write && a == reg && d == u16::from(value) && m.running_pin(v, 23)
        })
    })
}

fn fetched(m: &mut Machine, c: &Config) -> Fetched {
    let mut f = Fetched {
        codes: 0,
        places: false,
        shapes: 0,
        colours: 0,
        dots: true,
    };
    let base = 0x0400u16;
    let at: Vec<u16> = (0..10)
        .map(|b| base + (1 << b) % 0x3F0)
        .chain([base, base + 0x155, base + 0x2AA])
        .collect();
    c.choose_bank(m, false);
    let code = |a: u16| ((u32::from(a) * 0x6D) >> 2) as u8;
    for &a in &at {
        m.access(a, Some(code(a)));
        if let Some(colour) = c.colour {
            m.access(colour + (a - base), Some(code(a) & 0xF));
        }
    }
    m.forget();
    let mut all_wrong = 0;
    for &a in &at {
        m.look(a);
        let (got, shape) = if c.by_6510 {
            wide_look(m, c, a, code(a), &mut f)
        } else {
            dunlin_look(m, a)
        };
        f.codes |= got ^ code(a);
        if (got ^ code(a)).count_ones() >= 2 {
            all_wrong += 1;
        }
        f.shapes |= shape;
        m.look_away();
    }
    if c.by_6510 && m.o.block(c.video, "fetch") {
        all_wrong = at.len();
    }
    f.places = all_wrong * 3 > at.len();
    if !c.by_6510 {
        f.dots = shift(m);
    }
    f
}

fn wide_look(m: &mut Machine, c: &Config, a: u16, code: u8, f: &mut Fetched) -> (u8, u8) {
    let v = c.video;
    let data = [7, 6, 5, 4, 3, 2, 1, 39];
    let got = m.pins_word(v, &data, 5) as u8;
    if c.colour.is_some() {
        let colour = m.pins_word(v, &[38, 37, 36, 35], 6) as u8;
        f.colours |= (colour ^ code) & 0xF;
    }
    m.look_away();
    // The shape of that character, as the character ROM holds it.
    let at = 0x1000 | u16::from(code) << 3 | a & 7;
    m.look(at);
    let rom = c.roms[2].1;
    let shape = m.pins_word(v, &data, 7) as u8 ^ content(rom, at & 0xFFF);
    (got, shape)
}

fn dunlin_look(m: &Machine, a: u16) -> (u8, u8) {
    let (rom, shift) = (m.w.part("R3"), m.w.part("L9"));
    let got = m.pins_word(rom, &[6, 5, 4, 3, 25, 24, 21, 23], 5) as u8;
    let shape = m.pins_word(shift, &[2, 3, 4, 5, 10, 11, 12, 14], 6) as u8;
    let right = content(rom, 0x2000 | u16::from(got) << 4 | (a >> 1) & 0xF);
    (got, shape ^ right)
}

/// Whether the shift register of the invented machine gives dots.
pub fn shift(m: &Machine) -> bool {
    let l9 = m.w.part("L9");
    let load = m.w.parts[l9].pins[14].1.expect("wired");
    let (low, high, _) = m.seen(load);
    let k = |n: usize| !m.o.is_open(l9, n - 1);
    m.powered[l9]
        && m.running_pin(l9, 7)
        && low
        && high
        && k(15)
        && k(6)
        && k(13)
        && !m.held(l9, 12)
        && m.line_held(m.w.line("DOT")).is_none()
}

/// Whether the picture is lit outside black.
fn lit(m: &Machine, c: &Config) -> bool {
    if c.by_6510 {
        return true;
    }
    let (l10, l18) = (m.w.part("L10"), m.w.part("L18"));
    let window = m.w.parts[l18].pins[18].1.expect("wired");
    let (low, _, _) = m.seen(window);
    m.powered[l10] && m.powered[l18] && (low && !m.o.is_open(l18, 18))
}

/// Whether the report can be seen: colours for the memory's part at least, with text if `text`.
pub fn colours_seen(m: &mut Machine, c: &Config) -> bool {
    signal(m, c) && registers(m, c) && {
        let _ = fetched(m, c);
        lit(m, c)
    }
}

/// Whether text can be read: wrong bits here and there can be read over.
pub fn readable(m: &mut Machine, c: &Config) -> bool {
    let f = fetched(m, c);
    f.dots && !f.places && f.codes.count_ones() <= 2 && f.shapes.count_ones() <= 4
}

/// The screen after power-on.
pub fn screen(m: &mut Machine, c: &Config, start: Start) -> Screen {
    if !signal(m, c) {
        return if !c.by_6510 || m.powered[c.video] && alive(m, c) {
            Screen::NoSignal
        } else {
            Screen::Black
        };
    }
    if c.by_6510 && start != Start::Full || start == Start::Nothing || !registers(m, c) {
        return if c.by_6510 {
            Screen::Black
        } else {
            Screen::NoSignal
        };
    }
    let f = fetched(m, c);
    if !lit(m, c) {
        return Screen::Black;
    }
    if start == Start::First {
        return if f.dots {
            Screen::Garbage
        } else {
            Screen::OneColour
        };
    }
    if !f.dots {
        return Screen::OneColour;
    }
    if f.places {
        return Screen::Garbage;
    }
    if unstable(m, c) {
        return Screen::Unstable;
    }
    if f.codes != 0 || f.shapes != 0 {
        return if f.shapes == 0xFF {
            Screen::NoText
        } else {
            Screen::WrongCharacters
        };
    }
    let path = c
        .colours
        .iter()
        .all(|p| p.iter().all(|s| c.stage_works(m, s)));
    let chroma = !c.by_6510
        || (!m.o.block(c.video, "chroma")
            && !m.o.block(c.video, "colours")
            && !m.o.broken(m.w.part("M1"), "chroma")
            && m.running_pin(c.video, 21));
    if f.colours != 0 || !path || !chroma {
        return Screen::WrongColours;
    }
    Screen::Normal
}

/// Clock comparison gone or supply rippling: the picture does not stand.
fn unstable(m: &Machine, c: &Config) -> bool {
    if !c.by_6510 {
        return false;
    }
    let ripple =
        (c.analogue.ripple_line).is_some_and(|line| m.supply.ripple.contains_key(&m.w.line(line)));
    let lock = c.analogue.lock.iter().any(|&part| {
        let pins = m.w.parts[part].pins.iter().enumerate();
        let used = pins
            .filter(|(_, p)| p.1.is_some())
            .any(|(k, _)| m.o.is_open(part, k) || m.held(part, k));
        !m.powered[part] || used
    });
    let clocks = [Kind::L629, Kind::K8701];
    let drift = (clocks.into_iter().flat_map(|k| m.w.of_kind(k))).any(|p| m.o.block(p, "drift"))
        || (c.analogue.tuned.iter()).any(|&p| m.o.broken(p, "open") || m.o.broken(p, "wrong"));
    // Only where the dot clock is held to it does the colour clock matter to the lines.
    let held = !c.analogue.lock.is_empty();
    ripple || lock || drift || held && !m.running_pin(c.video, 21)
}
