//! A pack to begin with: one bay, by a few questions.

use crate::args::UnitName;
use crate::exit::Failure;
use clap::{Args, ValueEnum};
use packdrift_records::MILLIMETRES_PER_INCH;
use std::fmt::Write as _;
use std::io::{self, BufRead, IsTerminal, Write as _};

/// What is asked of a new pack; on a terminal, where no option answers.
#[derive(Debug, Clone, Copy, Args)]
#[command(next_help_heading = "The bay of a new pack")]
pub(crate) struct Questions {
    /// Rockers between the two faces [default: 2].
    #[arg(long, value_name = "1|2", value_parser = clap::value_parser!(u8).range(1..=2))]
    rockers: Option<u8>,
    /// The spring washer [default: disc].
    #[arg(long, value_enum)]
    spring: Option<Spring>,
    /// Unit of the file's lengths [default: mm].
    #[arg(long, value_enum, value_name = "mm|in")]
    units: Option<UnitName>,
}

/// The spring washers a pack file knows by their drawings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Spring {
    /// A cone.
    Disc,
    /// Waves around its ring.
    Wave,
    /// Bent about one line.
    Curved,
    /// Load in proportion to deflection, by its rate.
    Linear,
}

/// A pack that is to be written.
pub(super) struct Pack {
    rockers: u8,
    spring: Spring,
    units: UnitName,
}

impl Questions {
    pub(super) fn are_answered(&self) -> bool {
        self.rockers.is_some() || self.spring.is_some() || self.units.is_some()
    }

    /// The answers: the options', else those given on a terminal, else the defaults.
    pub(super) fn answered(self, quiet: bool) -> Result<Pack, Failure> {
        let asks = !quiet && !self.are_answered() && io::stdin().is_terminal() && io::stderr().is_terminal();
        let mut pack = Pack {
            rockers: self.rockers.unwrap_or(2),
            spring: self.spring.unwrap_or(Spring::Disc),
            units: self.units.unwrap_or(UnitName::Mm),
        };
        if !asks {
            return Ok(pack);
        }
        let rockers = ask("How many rockers sit between the two faces, 1 or 2?", "2", &["1", "2"])?;
        pack.rockers = if rockers == 0 { 1 } else { 2 };
        let springs = ["disc", "wave", "curved", "linear"];
        let question =
            "Which spring washer: disc (a cone), wave, curved (bent about one line), linear (you know its rate)?";
        pack.spring = [Spring::Disc, Spring::Wave, Spring::Curved, Spring::Linear][ask(question, "disc", &springs)?];
        let units = ask("Are your lengths in inches, yes or no?", "no", &["yes", "no"])?;
        pack.units = if units == 0 { UnitName::In } else { UnitName::Mm };
        Ok(pack)
    }
}

/// Asks until one of the answers is given; an empty line, or the end of the input, is the default. Gives the answer's place.
fn ask(question: &str, default: &str, answers: &[&str]) -> Result<usize, Failure> {
    let place = |wanted: &str| answers.iter().position(|answer| *answer == wanted || answer.starts_with(wanted));
    let failed = |error| Failure::machine("read the answer", error);
    loop {
        // Where standard error is closed there is nobody to ask.
        let _ = write!(io::stderr(), "{question} [{default}] ");
        let mut line = String::new();
        let read = io::stdin().lock().read_line(&mut line).map_err(failed)?;
        let said = line.trim().to_lowercase();
        let wanted = if said.is_empty() { default } else { said.as_str() };
        if let Some(place) = place(wanted) {
            return Ok(place);
        }
        if read == 0 {
            return Ok(place(default).unwrap_or(0));
        }
        let _ = writeln!(io::stderr(), "One of: {}", answers.join(", "));
    }
}

/// A part of the bay: its name, its kind, its size in mm.
type Part = (&'static str, &'static str, f64);

const ONE: [Part; 6] = [
    ("left washer", "washer", 1.20),
    ("left shim", "shim", 0.40),
    ("rocker 1", "rocker", 24.00),
    ("left inner washer", "washer", 1.20),
    ("spring washer", "spring-washer", 0.0),
    ("right washer", "washer", 1.20),
];
const TWO: [Part; 9] = [
    ("left washer", "washer", 1.20),
    ("left shim", "shim", 0.40),
    ("rocker 1", "rocker", 24.00),
    ("left inner washer", "washer", 1.20),
    ("spring washer", "spring-washer", 0.0),
    ("right inner washer", "washer", 1.20),
    ("rocker 2", "rocker", 24.00),
    ("right shim", "shim", 0.60),
    ("right washer", "washer", 1.20),
];
/// What the spring washer has between its neighbours, mm.
const ROOM: f64 = 1.10;
/// Where the adjuster sits in a rocker, and how far off centre it is wanted on its stem, mm.
const ADJUSTER: f64 = 11.30;
const OFFSET: f64 = 1.00;

impl Pack {
    fn parts(&self) -> &'static [Part] {
        if self.rockers == 1 { &ONE } else { &TWO }
    }

    /// Between the faces, mm.
    fn span(&self) -> f64 {
        self.parts().iter().map(|(_, _, size)| size).sum::<f64>() + ROOM
    }

    /// A length in the file's unit: hundredths of a millimetre, or ten-thousandths of an inch.
    fn length(&self, mm: f64) -> String {
        match self.units {
            UnitName::Mm => format!("{mm:.2}"),
            UnitName::In => format!("{:.4}", mm / MILLIMETRES_PER_INCH),
        }
    }

    fn dimension(&self, nominal: f64, tol: f64) -> String {
        format!("{{ nominal = {}, tol = {} }}", self.length(nominal), self.length(tol))
    }

    /// The file.
    pub(super) fn toml(&self) -> String {
        let units = if self.units == UnitName::In { "in" } else { "mm" };
        let mut text = format!(
            "# One bay of a rocker shaft: what sits between its two fixed faces, in order from the left. docs/files.md explains every key.\n\
             # Lines that end in `# ?` hold an example: put your own there, and take the mark off.\n\
             # A dimension is a number, {{ nominal = .., tol = .. }}, or your own readings: {{ readings = [.., ..], u = 0.002 }}.\n\n\
             title = \"My engine, one bay\"            # ?\n\
             units = \"{units}\"                            # of every length in this file\n\
             reference_temperature = 20.0            # at which the lengths hold, °C\n\n\
             [condition.assembly]\n\
             temperature = 20.0\n\
             [condition.running]\n\
             temperature = 90.0                      # ? of head and shaft when warm, °C\n\n\
             [material.steel]\n\
             expansion = 11.5e-6                     # 1/K\n\
             youngs_modulus = 206000.0               # MPa\n\
             poisson = 0.3\n\
             [material.aluminium]\n\
             expansion = 23.0e-6\n\n"
        );
        // Writing to a String cannot fail.
        let span = self.dimension(self.span(), 0.06);
        let _ = write!(
            text,
            "[[bay]]\nname = \"bay 1\"\nspan = {span}    # ? between the fixed faces\n\
             material = \"aluminium\"                  # ? of what the faces stand on: aluminium or steel\n\n"
        );
        for part in self.parts() {
            text.push_str(&self.part(*part));
        }
        self.valves(&mut text);
        self.requirements(&mut text);
        text
    }

    fn part(&self, (name, kind, size): Part) -> String {
        let mut text = format!("  [[bay.part]]\n  name = \"{name}\"\n  kind = \"{kind}\"\n");
        match kind {
            "rocker" => {
                let (width, adjuster) = (self.dimension(size, 0.05), self.dimension(ADJUSTER, 0.06));
                let _ = writeln!(text, "  width = {width}    # ?");
                let _ =
                    writeln!(text, "  adjuster = {adjuster}    # ? from the rocker's left face to the adjuster's axis");
            }
            "spring-washer" => self.spring(&mut text),
            _ => {
                let _ = writeln!(text, "  thickness = {}    # ?", self.dimension(size, 0.03));
            }
        }
        text.push('\n');
        text
    }

    fn spring(&self, text: &mut String) {
        let (outer, inner) = (self.length(30.0), self.length(17.0));
        let rings = format!("  outer_diameter = {outer}    # ?\n  inner_diameter = {inner}    # ?\n");
        let free = self.dimension(1.50, 0.04);
        let _ = match self.spring {
            Spring::Disc => write!(
                text,
                "  law = \"disc\"\n{rings}  thickness = {}    # ?\n  cone_height = {}    # ? free height less thickness\n",
                self.dimension(0.80, 0.02),
                self.dimension(0.70, 0.04)
            ),
            Spring::Wave => write!(
                text,
                "  law = \"wave\"\n{rings}  thickness = {}    # ? of the strip\n  free_height = {free}    # ?\n  waves = 3    # ?\n",
                self.dimension(0.50, 0.02)
            ),
            Spring::Curved => write!(
                text,
                "  law = \"curved\"\n{rings}  thickness = {}    # ? of the strip\n  free_height = {free}    # ?\n",
                self.dimension(0.60, 0.02)
            ),
            Spring::Linear => write!(
                text,
                "  law = \"linear\"\n  rate = {{ nominal = 300.0, tol = 30.0 }}    # ? N/mm\n  free_height = {free}    # ?\n"
            ),
        };
    }

    /// Where each rocker's adjuster stands as drawn, mm from the left face: the spring washer presses the one to the left, the other to the right.
    fn adjusters(&self) -> Vec<f64> {
        let width = |parts: &[Part]| parts.iter().map(|(_, _, size)| size).sum::<f64>();
        let parts = self.parts();
        let rocker = |name: &str| parts.iter().position(|(other, ..)| *other == name);
        let left = rocker("rocker 1").map(|at| width(&parts[..at]) + ADJUSTER);
        let right = rocker("rocker 2").map(|at| self.span() - width(&parts[at..]) + ADJUSTER);
        left.into_iter().chain(right).collect()
    }

    fn valves(&self, text: &mut String) {
        for (number, adjuster) in (1..).zip(self.adjusters()) {
            let stem = self.dimension(adjuster - OFFSET, 0.08);
            let _ = write!(
                text,
                "  [[bay.valve]]\n  name = \"valve {number}\"    # ?\n  rocker = \"rocker {number}\"\n  \
                 stem = {stem}    # ? from the left face to the stem's axis\n\n"
            );
        }
    }

    fn requirements(&self, text: &mut String) {
        for number in 1..=self.rockers {
            let (lower, upper) = (self.length(OFFSET - 0.4), self.length(OFFSET + 0.4));
            let _ = write!(
                text,
                "[[requirement]]\nname = \"offset, valve {number}\"\nquantity = \"offset\"\nvalve = \"valve {number}\"\n\
                 lower = {lower}    # ?\nupper = {upper}    # ?\n\n"
            );
        }
        text.push_str(
            "[[requirement]]\nname = \"preload\"\nquantity = \"preload\"\nbay = \"bay 1\"\nlower = 20.0    # ? N\nupper = 2000.0    # ? N\n",
        );
    }

    /// The bay as it was understood, drawn in letters.
    pub(super) fn drawing(&self) -> String {
        let sign = |(name, kind, _): &Part| match *kind {
            "rocker" => format!("[== {name} ==]"),
            "spring-washer" => "/\\/\\".to_owned(),
            "shim" => "shim".to_owned(),
            _ => "washer".to_owned(),
        };
        let parts: Vec<String> = self.parts().iter().map(sign).collect();
        format!("  face |{}| face\n", parts.join("|"))
    }
}
