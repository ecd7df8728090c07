//! What the picture of this board shows.

use super::super::super::machine::array5c112::DATA;
use super::{Machine, Screen, Start, Ula, V};

/// What the array got to see when it read the screen.
struct Fetched {
    shapes: u8,
    colours: u8,
    places: bool,
}

impl Ula {
    fn free(m: &Machine, lines: &[&str]) -> bool {
        lines.iter().all(|l| m.line_held(m.w.line(l)).is_none())
    }

    fn array_pin(&self, m: &Machine, number: usize) -> bool {
        !m.o.is_open(self.array, number - 1) && !m.held(self.array, number - 1)
    }

    /// What stands on a screen that gets no picture: noise where no carrier is, black where one without a picture is. The carrier
    /// is the weaker the higher the video signal, so that a stage that rests high leaves none (guess).
    pub(super) fn dark(&self, m: &Machine) -> Option<Screen> {
        let stage = m.supply.good(m.w.line("+5V_VIDEO_STAGE"));
        let touches = |n: &str| !m.o.is_open(self.modulator, m.w.pin(self.modulator, n));
        let sends = stage
            && touches("1")
            && touches("3")
            && !["dead", "drift"]
                .iter()
                .any(|h| m.o.broken(self.modulator, h));
        if !sends || m.o.broken(self.cable, "lead") {
            return Some(Screen::NoSignal);
        }
        let shorted = |n: &str| m.o.broken(m.w.part(n), "short");
        if !m.passes("TR2") || !m.passes("R51") || !touches("2") {
            return Some(Screen::Black);
        }
        if shorted("TR2") || !m.passes("TR1") || !m.passes("R52") {
            return Some(Screen::NoSignal);
        }
        // The first stage inverts: low in, high out.
        let y = m.w.line("Y");
        let still =
            !m.array_counts() || m.o.is_open(self.array, 16) || m.line_held(y) == Some(V::L);
        if still && m.passes("R48") && !shorted("TR1") {
            return Some(Screen::NoSignal);
        }
        let lines = ["Y", "n.R48.1", "n.C65.2", "n.TR1.3-E", "VIDEO"];
        let luma = !still && m.passes("R48") && !shorted("TR1") && Self::free(m, &lines);
        (!luma).then_some(Screen::Black)
    }

    /// Bytes written by the processor, and what the array reads of them.
    fn fetched(&self, m: &mut Machine) -> Fetched {
        let shapes = (0..13).map(|b| 0x4000u16 | 1 << b);
        let colours = (0..9).map(|b| 0x5800u16 | 1 << b);
        let at: Vec<u16> = shapes.filter(|a| *a < 0x5800).chain(colours).collect();
        let byte = |a: u16| (u32::from(a).wrapping_mul(0x9E37_79B1) >> 13) as u8;
        for &a in &at {
            m.access(a, Some(byte(a)));
        }
        let mut f = Fetched {
            shapes: 0,
            colours: 0,
            places: false,
        };
        let mut many = 0;
        for &a in &at {
            m.look(a & 0x3FFF);
            let wrong = m.pins_word(self.array, &DATA, 5) as u8 ^ byte(a);
            m.look_away();
            *(if a < 0x5800 {
                &mut f.shapes
            } else {
                &mut f.colours
            }) |= wrong;
            many += usize::from(wrong.count_ones() >= 2);
        }
        f.places = many * 3 > at.len() || m.o.block(self.array, "fetch");
        f
    }

    /// Whether text can be read: a wrong bit here and there can be read over.
    pub(super) fn readable(&self, m: &mut Machine) -> bool {
        let f = self.fetched(m);
        !f.places && f.shapes.count_ones() <= 2
    }

    /// Whether the lower memory gives the array nothing at all.
    fn nothing_fetched(&self, m: &mut Machine) -> bool {
        let first = |m: &mut Machine, a: u16| {
            m.look(a);
            let read = m.pins_word(self.array, &DATA, 5);
            m.look_away();
            read
        };
        let one = first(m, 0);
        (0..13).all(|b| first(m, 1 << b) == one)
    }

    fn unstable(&self, m: &Machine) -> bool {
        let shaky = |line: &str, limit: f64| {
            let ripple = m.supply.ripple.get(&m.w.line(line));
            ripple.is_some_and(|v| *v > limit)
        };
        m.o.broken(m.w.part("X1"), "wrong")
            || m.o.broken(self.modulator, "noisy")
            || !m.passes("R49")
            || !m.passes("R50")
            || shaky("+5V", 0.3)
            || shaky("+12V", 1.0)
            || shaky("+5V_VIDEO_STAGE", 0.2)
    }

    /// Both colour differences and the carrier. Values that are only off do not count.
    fn colours(&self, m: &Machine) -> bool {
        let differences = [
            "C69", "R56", "C68", "R74", "R76", "C71", "R63", "C70", "R75", "R77",
        ]
        .iter()
        .all(|n| m.passes(n))
            && m.whole("TR9")
            && m.whole("TR8")
            && !["C52", "C53"]
                .iter()
                .any(|n| m.o.broken(m.w.part(n), "short"));
        let carrier = ["R43", "R44", "X2", "R45", "C37", "C38", "R46", "C39"]
            .iter()
            .all(|n| m.passes(n))
            && m.whole("C37")
            && !m.o.broken(m.w.part("X2"), "wrong")
            && !m.o.broken(m.w.part("C72"), "short");
        let way = ["R78", "R72", "C65"].iter().all(|n| m.passes(n))
            && !m.o.broken(m.w.part("C76"), "short");
        let e = self.encoder;
        let chip = m.powered[e]
            && !["oscillator", "weak", "warm"]
                .iter()
                .any(|b| m.o.block(e, b))
            && [1, 2, 3, 4, 13, 17, 18]
                .iter()
                .all(|n| !m.o.is_open(e, n - 1))
            && !m.held(e, 12)
            && !m.held(e, 16);
        let lines = ["U", "V", "n.C69.1", "n.TR8.1-C", "n.C65.1"];
        let out = self.array_pin(m, 15) && self.array_pin(m, 16) && Self::free(m, &lines);
        differences && carrier && way && chip && out && !m.o.broken(self.cable, "standard")
    }

    /// The colour oscillator, for the probe.
    pub(super) fn carrier(&self, m: &Machine) -> bool {
        let parts = ["R43", "R44", "X2", "C38", "R46", "C39"];
        m.powered[self.encoder]
            && !m.o.block(self.encoder, "oscillator")
            && parts.iter().all(|n| m.passes(n))
            && !m.o.broken(m.w.part("C72"), "short")
            && !m.held(self.encoder, 16)
            && [1, 17].iter().all(|n| !m.o.is_open(self.encoder, n - 1))
    }

    /// The screen after power-on.
    pub(super) fn screen(&self, m: &mut Machine, start: Start) -> Screen {
        if let Some(dark) = self.dark(m) {
            return dark;
        }
        if start != Start::Full {
            // What the memory holds since power-on, or what a lost processor makes of it.
            return match self.nothing_fetched(m) {
                true => Screen::OneColour,
                false => Screen::Garbage,
            };
        }
        if self.unstable(m) {
            return Screen::Unstable;
        }
        // Interrupts without end leave it no time for its start-up text.
        if m.level_at(m.cpu(), 16) == V::L && !m.o.block(m.cpu(), "interrupts") {
            return Screen::NoText;
        }
        let f = self.fetched(m);
        match () {
            () if f.places => Screen::Garbage,
            () if f.shapes != 0 => Screen::WrongCharacters,
            () if f.colours != 0 || !self.colours(m) => Screen::WrongColours,
            () => Screen::Normal,
        }
    }
}
