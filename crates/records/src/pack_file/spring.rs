//! Spring washers: one set of keys a law.

use super::Builder;
use super::bay::UNREAD;
use super::dimension::{Sign, Unit};
use crate::document::Section;
use crate::error::FaultKind;
use packdrift_pack::{DimensionId, LoadTable, SpringLaw, SpringWasher, wave_factor};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Law {
    Disc,
    Wave,
    Curved,
    Linear,
    Table,
}

const LAWS: [(&str, Law); 5] =
    [("disc", Law::Disc), ("wave", Law::Wave), ("curved", Law::Curved), ("linear", Law::Linear), ("table", Law::Table)];

impl<'d> Builder<'d> {
    pub(super) fn spring(&mut self, section: &Section<'d>, path: &str) -> Option<SpringWasher> {
        let friction = self.dimension_if_given(section, "friction", path, Unit::One, Sign::Positive);
        let set = self.dimension_if_given(section, "set", path, Unit::One, Sign::Positive);
        let law = section
            .require("law", "one of `disc`, `wave`, `curved`, `linear`, `table`")
            .and_then(|item| item.word(&LAWS));
        let Some(law) = law else {
            // The keys depend on the law: take them all as known.
            for key in ["outer_diameter", "inner_diameter", "thickness", "cone_height", "free_height", "solid_height"] {
                section.get(key);
            }
            for key in ["waves", "factor", "rate", "curve"] {
                section.get(key);
            }
            return None;
        };
        let law = match law.value {
            Law::Disc => self.disc(section, path),
            Law::Wave => self.wave(section, path),
            Law::Curved => self.curved(section, path),
            Law::Linear => self.linear(section, path),
            Law::Table => self.table(section, path),
        }?;
        Some(SpringWasher { law, friction, set })
    }

    fn size(&mut self, section: &Section<'d>, key: &'static str, path: &str) -> Option<DimensionId> {
        self.dimension(section, key, path, Unit::Length, Sign::Positive)
    }

    /// Outer diameter, inner diameter, thickness of the strip.
    fn ring(&mut self, section: &Section<'d>, path: &str) -> Option<[DimensionId; 3]> {
        let outer = self.size(section, "outer_diameter", path);
        let inner = self.size(section, "inner_diameter", path);
        let thickness = self.size(section, "thickness", path);
        self.check_below(
            inner,
            outer,
            section.span(),
            path,
            "an inner diameter below the outer one, at their limits too",
        );
        Some([outer?, inner?, thickness?])
    }

    fn solid_height(&mut self, section: &Section<'d>, path: &str, sign: Sign) -> Option<DimensionId> {
        self.dimension_if_given(section, "solid_height", path, Unit::Length, sign)
    }

    fn disc(&mut self, section: &Section<'d>, path: &str) -> Option<SpringLaw> {
        let ring = self.ring(section, path);
        let cone_height = self.size(section, "cone_height", path);
        let elastic = self.elastic(section, "material").map(|(elastic, _)| elastic);
        let [outer_diameter, inner_diameter, thickness] = ring?;
        Some(SpringLaw::Disc {
            outer_diameter,
            inner_diameter,
            thickness,
            cone_height: cone_height?,
            elastic: elastic?,
        })
    }

    fn wave(&mut self, section: &Section<'d>, path: &str) -> Option<SpringLaw> {
        let ring = self.ring(section, path);
        let free_height = self.size(section, "free_height", path);
        let solid_height = self.solid_height(section, path, Sign::Positive);
        let waves = section.require("waves", "the number of waves, 2 or more").and_then(|item| item.count(2));
        let factor = match section.get("factor") {
            Some(item) => super::positive(&item, "the factor K of the handbook formula"),
            None => waves.as_ref().map(|waves| wave_factor(waves.value)),
        };
        let elastic = self.elastic(section, "material").map(|(elastic, _)| elastic);
        let [outer_diameter, inner_diameter, thickness] = ring?;
        self.check_height(solid_height.unwrap_or(thickness), free_height, section, path);
        Some(SpringLaw::Wave {
            outer_diameter,
            inner_diameter,
            thickness,
            free_height: free_height?,
            waves: waves?.value,
            factor: factor?,
            solid_height,
            elastic: elastic?,
        })
    }

    fn curved(&mut self, section: &Section<'d>, path: &str) -> Option<SpringLaw> {
        let ring = self.ring(section, path);
        let free_height = self.size(section, "free_height", path);
        let solid_height = self.solid_height(section, path, Sign::Positive);
        let elastic = self.elastic(section, "material").map(|(elastic, _)| elastic);
        let [outer_diameter, inner_diameter, thickness] = ring?;
        self.check_height(solid_height.unwrap_or(thickness), free_height, section, path);
        Some(SpringLaw::Curved {
            outer_diameter,
            inner_diameter,
            thickness,
            free_height: free_height?,
            solid_height,
            elastic: elastic?,
        })
    }

    fn linear(&mut self, section: &Section<'d>, path: &str) -> Option<SpringLaw> {
        let rate = self.dimension(section, "rate", path, Unit::Rate, Sign::Positive);
        let free_height = self.size(section, "free_height", path);
        let solid_height = self.solid_height(section, path, Sign::NotNegative);
        self.check_height(solid_height.unwrap_or(UNREAD), free_height, section, path);
        Some(SpringLaw::Linear { rate: rate?, free_height: free_height?, solid_height })
    }

    fn table(&mut self, section: &Section<'d>, path: &str) -> Option<SpringLaw> {
        let free_height = self.size(section, "free_height", path);
        let solid_height = self.solid_height(section, path, Sign::NotNegative);
        self.check_height(solid_height.unwrap_or(UNREAD), free_height, section, path);
        let curve = self.curve(section);
        if let (Some(curve), Some(free_height)) = (&curve, free_height)
            && let Some(last) = curve.deflection.last()
            && *last >= self.reach(free_height).0
        {
            let found = format!("a table that ends at {last} mm for a washer {} mm high", self.reach(free_height).0);
            self.contradiction(
                section.span(),
                path,
                found,
                "deflections below the free height, down to its lower limit",
            );
        }
        Some(SpringLaw::Table { curve: curve?, free_height: free_height?, solid_height })
    }

    fn check_height(&self, solid: DimensionId, free: Option<DimensionId>, section: &Section<'d>, path: &str) {
        let solid = (solid != UNREAD).then_some(solid);
        self.check_below(solid, free, section.span(), path, "a free height above the solid one, at their limits too");
    }

    /// `curve = [[0.1, 14.0], [0.2, 27.5], …]`: deflection (a length) and load in N. The point (0, 0) may be left out.
    fn curve(&self, section: &Section<'d>) -> Option<LoadTable> {
        let shape = "pairs of deflection and load, such as [[0.0, 0.0], [0.1, 14.0], [0.2, 27.5]]";
        let item = section.require("curve", shape)?;
        let mut table = LoadTable { deflection: vec![0.0], load: vec![0.0] };
        let mut sound = true;
        for (index, pair) in item.elements(shape)?.iter().enumerate() {
            let Some(elements) = pair.elements("a pair of deflection and load") else {
                sound = false;
                continue;
            };
            let [deflection, load] = &elements[..] else {
                pair.refuse(FaultKind::OutOfRange, "a pair of deflection and load").done();
                sound = false;
                continue;
            };
            let (deflection, load) = (self.length(deflection), load.number());
            let (Some(deflection), Some(load)) = (deflection, load) else {
                sound = false;
                continue;
            };
            if index == 0 && deflection.value == 0.0 && load.value == 0.0 {
                continue;
            }
            let before = (table.deflection.last().copied(), table.load.last().copied());
            if Some(deflection.value) <= before.0 || Some(load.value) <= before.1 {
                let expected =
                    "a deflection and a load above those of the point before (the first point is above 0, 0)";
                pair.refuse(FaultKind::OutOfRange, expected).done();
                sound = false;
            }
            table.deflection.push(deflection.value);
            table.load.push(load.value);
        }
        if sound && table.load.len() < 3 {
            item.refuse(FaultKind::OutOfRange, "at least two points beside (0, 0)").done();
            sound = false;
        }
        sound.then_some(table)
    }
}
