//! `lot --pack` beside `stack` with the lot written in, on made packs: the same share outside of every requirement, whatever the seed, wherever the lot's
//! parts lie: before the rocker, behind it, on both sides, as the springs, in two bays, tied to another dimension or to each other, as a part by its path.
//!
//! Six packs by default; fifty, with a line for each, by
//!
//! `PACKDRIFT_WRITTEN=whole cargo test -p packdrift-cli --test end_to_end written -- --nocapture`

use crate::program::json;
use packdrift_numerics::stream::{Key, Stream};
use serde_json::Value;
use std::fmt::Write as _;
use std::path::Path;

/// Where the lot's parts lie.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Place {
    Before,
    Behind,
    BothSides,
    Springs,
    TwoBays,
    TiedToTheAdjuster,
    TiedToEachOther,
    PartByItsPath,
}

const PLACES: [Place; 8] = [
    Place::BothSides,
    Place::Springs,
    Place::TiedToTheAdjuster,
    Place::TiedToEachOther,
    Place::TwoBays,
    Place::PartByItsPath,
    Place::Before,
    Place::Behind,
];

/// A made pack: what it does not say of the lot.
struct Made {
    place: Place,
    /// Standard deviations of the other dimensions, each times this.
    wide: f64,
    coefficient: f64,
    /// Limits by requirement; None before they are known.
    limits: [(f64, f64); 2],
}

/// What a pack file has of the lot: bias, deviation between lots, sd within.
struct Written {
    bias: f64,
    between: f64,
    sd: f64,
}

impl Made {
    fn is_of_the_lot(&self, part: &str) -> bool {
        match self.place {
            Place::Before | Place::TiedToTheAdjuster | Place::PartByItsPath => part == "left shim",
            Place::Behind => part == "right shim",
            Place::Springs => part.ends_with("spring"),
            Place::BothSides | Place::TwoBays | Place::TiedToEachOther => part.ends_with("shim"),
        }
    }

    fn nominal(&self) -> f64 {
        if self.place == Place::Springs { 0.8 } else { 0.4 }
    }

    fn stands_for(&self) -> &'static str {
        if self.place == Place::PartByItsPath { "front/left shim" } else { "packet" }
    }

    fn toml(&self, lot: &Written) -> String {
        let mut text = String::from(
            "title = \"made\"\n[condition.assembly]\ntemperature = 20.0\n[material.steel]\nexpansion = 11.5e-6\nyoungs_modulus = 206000.0\npoisson = 0.3\n",
        );
        if self.place != Place::PartByItsPath {
            let _ = writeln!(text, "[[lot]]\nname = \"packet\"\nbias = {:?}\nbetween = {:?}", lot.bias, lot.between);
        }
        let bays: &[&str] = if self.place == Place::TwoBays { &["front", "rear"] } else { &["front"] };
        bays.iter().for_each(|bay| self.bay(&mut text, bay, lot));
        let tied = match self.place {
            Place::TiedToTheAdjuster => Some("front/rocker/adjuster"),
            Place::TiedToEachOther => Some("front/right shim/thickness"),
            _ => None,
        };
        if let Some(other) = tied {
            let pair = format!("between = [\"front/left shim/thickness\", \"{other}\"]");
            let _ = writeln!(text, "[[correlation]]\n{pair}\ncoefficient = {:?}", self.coefficient);
        }
        for (k, (name, place)) in
            [("offset", "valve = \"valve\""), ("preload", "bay = \"front\"")].into_iter().enumerate()
        {
            let head = format!("[[requirement]]\nname = \"{name}\"\nquantity = \"{name}\"\n{place}\nmax_out = 0.01");
            let _ = writeln!(text, "{head}\nlower = {:?}\nupper = {:?}", self.limits[k].0, self.limits[k].1);
        }
        text
    }

    fn bay(&self, text: &mut String, bay: &str, lot: &Written) {
        let other = |nominal: f64, sd: f64| format!("{{ mean = {nominal:?}, sd = {:?} }}", sd * self.wide);
        let piece = |part: &str, nominal: f64, sd: f64| {
            if !self.is_of_the_lot(part) {
                return other(nominal, sd);
            }
            if self.place == Place::PartByItsPath {
                return format!("{{ nominal = {nominal:?}, mean = {:?}, sd = {:?} }}", nominal + lot.bias, lot.sd);
            }
            format!("{{ mean = {nominal:?}, sd = {:?}, lot = \"packet\" }}", lot.sd)
        };
        let solid = |text: &mut String, name: &str, kind: &str, thickness: String| {
            let head = format!("[[bay.part]]\nname = \"{name}\"\nkind = \"{kind}\"\nmaterial = \"steel\"\n");
            let _ = writeln!(text, "{head}thickness = {thickness}");
        };
        let spring = |text: &mut String, name: &str| {
            let head = format!("[[bay.part]]\nname = \"{name}\"\nkind = \"spring-washer\"\nmaterial = \"steel\"\n");
            let law = "law = \"disc\"\nouter_diameter = 30.0\ninner_diameter = 15.0\n";
            let _ = writeln!(
                text,
                "{head}{law}thickness = {}\ncone_height = {}",
                piece(name, 0.8, 0.006),
                other(0.55, 0.008)
            );
        };
        // Springs on either side of the rocker where they are the lot: each squeezed by 0.25 mm or so.
        let both = self.place == Place::Springs;
        let free: f64 = 0.4 + 24.0 + 1.35 + 0.4 + 24.4 + if both { 1.35 } else { 0.0 };
        let span = free - if both { 0.5 } else { 0.25 };
        let _ = writeln!(
            text,
            "[[bay]]\nname = \"{bay}\"\nmaterial = \"steel\"\nspan = {}",
            other((span * 1e4).round() / 1e4, 0.015)
        );
        solid(text, "left shim", "shim", piece("left shim", 0.4, 0.006));
        if both {
            spring(text, "left spring");
        }
        let _ = writeln!(
            text,
            "[[bay.part]]\nname = \"rocker\"\nkind = \"rocker\"\nmaterial = \"steel\"\nwidth = {}\nadjuster = {}",
            other(24.0, 0.012),
            other(11.3, 0.015)
        );
        spring(text, "right spring");
        solid(text, "right shim", "shim", piece("right shim", 0.4, 0.006));
        solid(text, "tube", "spacer", other(24.4, 0.015));
        let name = if bay == "front" { "valve" } else { "rear valve" };
        let stem = if both { 11.8 } else { 10.7 };
        let _ = writeln!(text, "[[bay.valve]]\nname = \"{name}\"\nrocker = \"rocker\"\nstem = {}", other(stem, 0.02));
    }
}

fn file(folder: &Path, name: &str, text: &str) -> String {
    let path = folder.join(name);
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

fn asked(arguments: &[&str]) -> Value {
    let (status, result) = json(arguments);
    assert!(status < 2, "{arguments:?} ended with {status}");
    result
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Limits at 2 to 4.6 sds from the mean that the pack with the lot has.
fn limits(stack: &Value, stream: &mut Stream) -> [(f64, f64); 2] {
    [0, 1].map(|k| {
        let of = &stack["requirements"][k]["monte_carlo"];
        let (mean, sd) = (number(&of["mean"]), number(&of["sd"]));
        let mut far = || 2.0 + 2.6 * stream.uniform();
        (mean - far() * sd, mean + far() * sd)
    })
}

/// What one made pack shows: the worst disagreement, and a line of figures.
fn one(number_of: usize) -> (Vec<String>, String) {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let mut stream = Key::new(number_of as u64, "lots written in").stream(0);
    let mut made = Made {
        place: PLACES[number_of % PLACES.len()],
        wide: 0.6 + 0.9 * stream.uniform(),
        coefficient: [0.8, -0.6, 0.4][number_of % 3],
        // Far off, until the mean and the sd are known.
        limits: [(-50.0, 50.0), (0.0, 1e5)],
    };
    let parts = 12 + (60.0 * stream.uniform()) as usize;
    let (bias, sd) = (0.03 * (stream.uniform() - 0.5), 0.003 + 0.014 * stream.uniform());
    let mut readings = String::from("lot,part,reading\n");
    for part in 0..parts {
        let _ = writeln!(readings, "delivery,{},{:.5}", part + 1, made.nominal() + bias + sd * stream.normal());
    }
    let readings = file(folder, "readings.csv", &readings);
    let assumed = Written { bias: 0.0, between: 0.006, sd: 0.006 };
    // Its mean and sd by `lot` itself; they do not hang on the pack.
    let rough = Written { bias, between: 0.0, sd };
    let written = file(folder, "rough.toml", &made.toml(&rough));
    made.limits = limits(&asked(&["stack", &written]), &mut stream);
    let pack = file(folder, "pack.toml", &made.toml(&assumed));
    let seeds = [(number_of + 1).to_string(), (7 * number_of + 2).to_string(), (13 * number_of + 3).to_string()];
    let nominal = format!("{:?}", made.nominal());
    let lots = [0, 1].map(|k| {
        let arguments = ["lot", &readings, "--nominal", &nominal, "--pack", &pack, "--as", made.stands_for()];
        asked(&[arguments.as_slice(), &["--seed", &seeds[k]]].concat())
    });
    let of_lot = |k: usize| &lots[k]["in_pack"][0];
    let itself = Written { bias: number(&of_lot(0)["bias"]), between: 0.0, sd: number(&of_lot(0)["sd"]) };
    let written = file(folder, "written.toml", &made.toml(&itself));
    let stack = asked(&["stack", &written, "--seed", &seeds[2]]);
    let (mut wrong, mut line) = (Vec::new(), format!("| {number_of} | {:?} |", made.place));
    for r in 0..2 {
        let out = &stack["requirements"][r]["monte_carlo"]["out"];
        let (share, error) = (number(&out["total"]), number(&out["standard_error"]));
        let _ = write!(line, " {share:.3e} ± {error:.0e};");
        for k in [0, 1] {
            let there = &of_lot(k)["requirements"][r];
            let (fitted, own) = (number(&there["fitted"]), number(&there["fitted_standard_error"]));
            let _ = write!(line, " {:+.2} %", 100.0 * (fitted / share - 1.0));
            let (low, high) = (number(&there["lower_bound"]), number(&there["upper_bound"]));
            let same = (fitted - share).abs() <= 4.5 * error.hypot(own) + 1e-9 * share;
            if !same || low > fitted || high < fitted {
                wrong.push(format!(
                    "{number_of}, {:?}, {}: {fitted} ± {own} within {low} to {high} where `stack` has {share} ± {error}",
                    made.place, there["name"]
                ));
            }
        }
        line += " |";
    }
    for warning in of_lot(0)["warnings"].as_array().into_iter().flatten() {
        let warning = warning.as_str().unwrap_or_default();
        if warning.contains("rest on a share of") {
            wrong.push(format!("{number_of}, {:?}: {warning}", made.place));
        }
    }
    (wrong, line)
}

#[test]
fn a_lot_in_the_pack_is_what_stack_says_with_the_lot_written_in() {
    let whole = std::env::var("PACKDRIFT_WRITTEN").is_ok_and(|v| v == "whole");
    let mut wrong = Vec::new();
    for number_of in 0..if whole { 50 } else { 6 } {
        let (more, line) = one(number_of);
        #[allow(clippy::print_stdout, reason = "the whole form prints its table")]
        if whole {
            println!("{line}");
        }
        wrong.extend(more);
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
