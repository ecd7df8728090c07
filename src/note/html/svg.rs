//! What the drawings share: the palette, shades, and an SVG with title and description.

use maud::{Markup, html};

/// Ink: text and outlines.
pub const INK: Rgb = Rgb(0x1c, 0x1e, 0x21);
/// Second voice: labels that matter less.
pub const GREY: Rgb = Rgb(0x5a, 0x5f, 0x66);
/// Parts that nobody accuses.
pub const CHIP: Rgb = Rgb(0xf3, 0xf1, 0xec);
/// The one accent: what is accused or bad.
pub const ACCENT: Rgb = Rgb(0x9c, 0x36, 0x1a);
/// Paper.
pub const PAPER: Rgb = Rgb(0xff, 0xff, 0xff);

/// A colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rgb(pub u8, pub u8, pub u8);

impl std::fmt::Display for Rgb {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "#{:02x}{:02x}{:02x}", self.0, self.1, self.2)
    }
}

impl Rgb {
    /// This colour over paper, 0 none of it to 1 all of it.
    pub fn shade(self, share: f64) -> Self {
        let mix = |full: u8, paper: u8| {
            let (full, paper) = (f64::from(full), f64::from(paper));
            (paper + (full - paper) * share.clamp(0.0, 1.0)).round() as u8
        };
        Self(
            mix(self.0, PAPER.0),
            mix(self.1, PAPER.1),
            mix(self.2, PAPER.2),
        )
    }

    /// Relative luminance (WCAG 2.2, definition of relative luminance).
    fn luminance(self) -> f64 {
        let linear = |c: u8| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * linear(self.0) + 0.7152 * linear(self.1) + 0.0722 * linear(self.2)
    }

    /// Contrast ratio with another colour (WCAG 2.2), 1 to 21.
    pub fn contrast(self, other: Self) -> f64 {
        let (a, b) = (self.luminance(), other.luminance());
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// Black or white, whichever reads better on this colour: at least 4.58 on any.
    pub fn text_on(self) -> Self {
        let (black, white) = (Self(0, 0, 0), PAPER);
        if self.contrast(black) >= self.contrast(white) {
            black
        } else {
            white
        }
    }
}

/// A drawing of this size with its name and what it shows.
pub fn drawing(id: &str, size: (f64, f64), title: &str, about: &str, inside: &Markup) -> Markup {
    let (name, desc) = (format!("{id}-name"), format!("{id}-desc"));
    html! {
        svg class={ "drawing " (id) } role="img" aria-labelledby={ (name) " " (desc) }
            viewBox={ "0 0 " (n(size.0)) " " (n(size.1)) } {
            title id=(name) { (title) }
            desc id=(desc) { (about) }
            (inside)
        }
    }
}

/// A number for an attribute: a tenth of a unit is more than the eye sees.
pub fn n(x: f64) -> String {
    let text = format!("{x:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_string)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_can_be_read_on_what_they_stand_on() {
        for (text, ground) in [
            (INK, PAPER),
            (INK, CHIP),
            (GREY, PAPER),
            (GREY, CHIP),
            (ACCENT, PAPER),
            (PAPER, ACCENT),
        ] {
            assert!(
                text.contrast(ground) >= 4.5,
                "{text} on {ground}: {:.2}",
                text.contrast(ground)
            );
        }
        for step in 0..=100 {
            let ground = ACCENT.shade(f64::from(step) / 100.0);
            assert!(ground.text_on().contrast(ground) >= 4.5, "on {ground}");
        }
    }

    #[test]
    fn contrast_as_defined() {
        // Black on white is 21 by definition.
        assert!((Rgb(0, 0, 0).contrast(PAPER) - 21.0).abs() < 1e-9);
    }
}
