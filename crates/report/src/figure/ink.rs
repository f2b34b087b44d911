//! The colours of figures, by what they stand for. Each has a light and a dark form; plotters draws with the light one and
//! [`super::canvas`] adds a class beside it, so that the same SVG follows the reader's scheme in a page and on its own, and
//! still shows the light colours in a renderer without style sheets.
//!
//! Blue-green against vermilion against ochre keep apart for the common colour-vision deficiencies (their lightness differs
//! too), and no figure leaves a distinction to colour alone: lines differ by dashes, areas by hatching, points by shape,
//! and everything is labelled.

use plotters::style::RGBColor;
use std::fmt::Write as _;

/// A colour by its role.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Ink {
    /// Text and outlines.
    Ink,
    /// Secondary text, axes.
    Muted,
    /// Grid lines.
    Grid,
    /// The ground of a figure; what cuts a line out of what is behind it.
    Paper,
    /// What was computed or measured.
    Main,
    /// An area of it.
    MainWash,
    /// Limits and what is outside them.
    Limit,
    /// The area outside limits.
    LimitWash,
    /// A second series: the aim, a fit.
    Second,
    /// An area of it.
    SecondWash,
    /// A third series.
    Third,
    /// Flat washers and spacers.
    Metal,
    /// Rocker bosses.
    Casting,
    /// Fixed faces.
    Ground,
}

impl Ink {
    /// All of them.
    pub const ALL: [Self; 14] = [
        Self::Ink,
        Self::Muted,
        Self::Grid,
        Self::Paper,
        Self::Main,
        Self::MainWash,
        Self::Limit,
        Self::LimitWash,
        Self::Second,
        Self::SecondWash,
        Self::Third,
        Self::Metal,
        Self::Casting,
        Self::Ground,
    ];

    /// Name in the style sheet, and the colour in the light and in the dark scheme.
    const fn spec(self) -> (&'static str, u32, u32) {
        match self {
            Self::Ink => ("ink", 0x1f2421, 0xe7e4dc),
            Self::Muted => ("muted", 0x5a615d, 0xa7a8a0),
            Self::Grid => ("grid", 0xdcdad2, 0x3a4043),
            Self::Paper => ("paper", 0xfffefb, 0x1b2022),
            Self::Main => ("main", 0x15607a, 0x74c7e3),
            Self::MainWash => ("main-wash", 0xbfdbe4, 0x24505f),
            Self::Limit => ("limit", 0xb0400c, 0xff9d5e),
            Self::LimitWash => ("limit-wash", 0xf7e2d3, 0x45291a),
            Self::Second => ("second", 0x7a5a00, 0xe5c455),
            Self::SecondWash => ("second-wash", 0xefe2b8, 0x4d421c),
            Self::Third => ("third", 0x67438f, 0xc9adf2),
            Self::Metal => ("metal", 0xc3c9cc, 0x5b666c),
            Self::Casting => ("casting", 0xe4ddcf, 0x49443b),
            Self::Ground => ("ground", 0x8c8f8a, 0x7d8280),
        }
    }

    /// For plotters.
    pub(crate) fn rgb(self) -> RGBColor {
        let [_, r, g, b] = self.spec().1.to_be_bytes();
        RGBColor(r, g, b)
    }

    /// As plotters' SVG backend writes it.
    pub(crate) fn hex(self) -> String {
        format!("#{:06X}", self.spec().1)
    }

    /// Name in the style sheet.
    pub fn name(self) -> &'static str {
        self.spec().0
    }
}

/// The style rules that colour figures: light, dark, and light again on paper.
pub fn style() -> String {
    let variables = |dark: bool| {
        Ink::ALL.iter().fold(String::new(), |mut css, ink| {
            let (name, light, night) = ink.spec();
            let _ = write!(css, "--fig-{name}:#{:06x};", if dark { night } else { light });
            css
        })
    };
    let mut css = format!(
        ":root{{{}}}\n@media (prefers-color-scheme:dark){{:root{{{}}}}}\n@media print{{:root{{{}}}}}\n",
        variables(false),
        variables(true),
        variables(false)
    );
    for ink in Ink::ALL {
        let name = ink.name();
        let _ = write!(css, ".f-{name}{{fill:var(--fig-{name})}}.s-{name}{{stroke:var(--fig-{name})}}");
    }
    css.push('\n');
    css
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    /// WCAG 2.1, "relative luminance" and "contrast ratio".
    fn contrast(a: u32, b: u32) -> f64 {
        let luminance = |rgb: u32| {
            let channel = |shift: u32| {
                let c = f64::from((rgb >> shift) & 0xff) / 255.0;
                if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
            };
            0.2126 * channel(16) + 0.7152 * channel(8) + 0.0722 * channel(0)
        };
        let (x, y) = (luminance(a), luminance(b));
        (x.max(y) + 0.05) / (x.min(y) + 0.05)
    }

    #[test]
    fn every_ink_has_a_light_colour_of_its_own() {
        // The light colour is how a drawn element is recognised and given its class.
        let distinct: HashSet<u32> = Ink::ALL.iter().map(|ink| ink.spec().1).collect();
        assert_eq!(distinct.len(), Ink::ALL.len());
    }

    #[test]
    fn text_and_lines_stand_out_in_both_schemes() {
        // WCAG 2.1: 4.5 for text (1.4.3), 3 for graphics (1.4.11).
        for ink in [Ink::Ink, Ink::Muted, Ink::Main, Ink::Limit, Ink::Second, Ink::Third] {
            let (paper, spec) = (Ink::Paper.spec(), ink.spec());
            assert!(contrast(spec.1, paper.1) >= 4.5, "{ink:?} light");
            assert!(contrast(spec.2, paper.2) >= 4.5, "{ink:?} dark");
        }
        for (line, area) in [(Ink::Main, Ink::MainWash), (Ink::Limit, Ink::LimitWash), (Ink::Second, Ink::SecondWash)] {
            assert!(contrast(line.spec().1, area.spec().1) >= 3.0, "{line:?} on {area:?} light");
            assert!(contrast(line.spec().2, area.spec().2) >= 3.0, "{line:?} on {area:?} dark");
        }
    }
}
