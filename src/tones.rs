//! Tones: notes, cents, and the tones that sound chips can make.
//!
//! Equal temperament: f = 440 Hz · 2^((n − 69)/12), n = 12 · (octave + 1) + step; cents = 1200 · log2(f / f0)
//! (`facts/published.md` 5.3: A4 = 440 Hz, ISO 16:1975 from memory, S24b).

/// Hertz of a note by its number (69 is A4).
pub fn note_hertz(number: i32) -> f64 {
    440.0 * 2f64.powf(f64::from(number - 69) / 12.0)
}

/// The number of a note: letter, sharps (or flats, below 0) and octave. `None` when there is no such letter or octave.
pub fn note_number(letter: char, sharps: i32, octave: i32) -> Option<i32> {
    let step = match letter.to_ascii_uppercase() {
        'C' => 0,
        'D' => 2,
        'E' => 4,
        'F' => 5,
        'G' => 7,
        'A' => 9,
        'B' => 11,
        _ => return None,
    };
    ((0..=8).contains(&octave) && sharps.abs() <= 1).then_some(12 * (octave + 1) + step + sharps)
}

/// A note as people write it: `A4`, `A-4`, `C#4`, `Bb3`. `None` when it is none.
pub fn note(text: &str) -> Option<i32> {
    let mut chars = text.chars();
    let letter = chars.next()?;
    let rest = chars.as_str();
    let (sharps, rest) = match rest.strip_prefix('#') {
        Some(rest) => (1, rest),
        None => match rest.strip_prefix('b') {
            Some(rest) => (-1, rest),
            None => (0, rest),
        },
    };
    let octave = rest.strip_prefix('-').unwrap_or(rest);
    let one = octave.len() == 1;
    one.then(|| {
        octave
            .parse()
            .ok()
            .and_then(|o| note_number(letter, sharps, o))
    })
    .flatten()
}

/// How far one tone is above another, in cents.
pub fn cents(hertz: f64, from: f64) -> f64 {
    1200.0 * (hertz / from).log2()
}

/// Which chip makes the tone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Generator {
    /// 6581 or 8580: f = Fn · clock / 2^24, Fn 0 to 65535 (5.1, S24).
    Accumulator,
    /// 8910: f = clock / (16 · TP), TP 1 to 4095 (5.2, S25).
    Divider,
}

impl Generator {
    /// The number that comes nearest to a tone.
    pub fn register(self, clock: f64, hertz: f64) -> u32 {
        match self {
            Generator::Accumulator => {
                (hertz * 16_777_216.0 / clock).round().clamp(0.0, 65_535.0) as u32
            }
            Generator::Divider => (clock / (16.0 * hertz)).round().clamp(1.0, 4095.0) as u32,
        }
    }

    /// The tone of a number, hertz.
    pub fn hertz(self, clock: f64, register: u32) -> f64 {
        match self {
            Generator::Accumulator => f64::from(register) * clock / 16_777_216.0,
            Generator::Divider => clock / (16.0 * f64::from(register.max(1))),
        }
    }

    /// How far off the nearest tone may be, in cents: half a step of the number.
    pub fn rounding(self, clock: f64, hertz: f64) -> f64 {
        let steps = match self {
            Generator::Accumulator => hertz * 16_777_216.0 / clock,
            Generator::Divider => clock / (16.0 * hertz),
        };
        cents(1.0 + 0.5 / steps.max(1.0), 1.0)
    }
}
