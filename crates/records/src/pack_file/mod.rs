//! The pack file: bays, parts, what is known of their dimensions, and what is required, as TOML.

mod bay;
mod cost;
mod dimension;
mod known;
mod measured;
mod prices;
mod requirement;
mod spring;

use crate::check::{FileKind, of_the_kind};
use crate::document::{At, Document, Item, Section, Span};
use crate::error::{Error, FaultKind, Notice};
use crate::limits;
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::{InputFile, Source};
use crate::suggest;
use crate::units::LengthUnit;
use packdrift_pack::{Condition, Dimension, DimensionId, Elastic, Pack, REFERENCE_TEMPERATURE, STEEL_EXPANSION};
use packdrift_policy::Prices;
use packdrift_spread::{Correlation, Input, Lot, Population, SpreadError, Stack};
use std::path::{Path, PathBuf};

/// Reads a pack file.
///
/// # Errors
///
/// [`Error::Input`] with every mistake in the file (and in the samples it names), each with its line and column;
/// [`Error::Machine`] where a file could not be read.
pub fn read_stack(path: &Path) -> Result<Loaded<Stack>, Error> {
    let source = Source::read(path)?;
    stack_from(&source).map_err(|error| of_the_kind(&source, FileKind::Pack, &Options::default(), error))
}

/// As [`read_stack`], from bytes at hand; a sample's path is taken as relative to the source's.
///
/// # Errors
///
/// As [`read_stack`].
///
/// # Examples
/// A file with two mistakes: both are told, with their lines.
/// ```
/// use packdrift_records::{Error, Source, stack_from};
/// let text = "title = \"one washer\"\nunits = \"cm\"\n[material.steel]\nexpansion = 11.5e-6\n\
///             [[bay]]\nname = \"front\"\nspan = { nominal = 10.0, tol = -0.1 }\nmaterial = \"steel\"\n\
///             [[bay.part]]\nname = \"washer\"\nkind = \"washer\"\nthickness = 9.0\nmaterial = \"steel\"\n\
///             [[requirement]]\nname = \"play\"\nquantity = \"play\"\nbay = \"front\"\nupper = 2.0\n";
/// let Err(Error::Input(mistakes)) = stack_from(&Source::from_bytes("pack.toml", text.as_bytes())) else { panic!() };
/// let lines: Vec<_> = mistakes.faults.iter().filter_map(|fault| fault.place.line()).collect();
/// assert_eq!(lines, [2, 7]);
/// ```
pub fn stack_from(source: &Source) -> Result<Loaded<Stack>, Error> {
    pack_from(source).map(|loaded| loaded.map(|file| file.stack))
}

/// What a pack file holds, and the unit that it is written in.
#[derive(Debug, Clone, PartialEq)]
pub struct PackFile {
    /// Bays, what is known of their dimensions, what is required; in mm.
    pub stack: Stack,
    /// The unit of the file's lengths.
    pub units: LengthUnit,
    /// Prices and times of the shop: the table `[cost]`, where there is one.
    pub prices: Option<Prices>,
}

/// As [`read_stack`], with the unit that the file is written in.
///
/// # Errors
///
/// As [`read_stack`].
pub fn read_pack(path: &Path) -> Result<Loaded<PackFile>, Error> {
    let source = Source::read(path)?;
    pack_from(&source).map_err(|error| of_the_kind(&source, FileKind::Pack, &Options::default(), error))
}

/// As [`read_pack`], from bytes at hand.
///
/// # Errors
///
/// As [`read_stack`].
pub fn pack_from(source: &Source) -> Result<Loaded<PackFile>, Error> {
    let document = Document::new(source)?;
    let text = document.text_to_parse();
    let tree = document.parse(&text);
    let mut builder = Builder::new(&document, source);
    let stack = builder.stack(document.root(&tree));
    let Builder { inputs_read, notices, units, prices, .. } = builder;
    let stack = document.conclude(stack)?;
    Ok(Loaded { value: PackFile { stack, units, prices }, inputs: inputs_read, notices })
}

/// A material as the file gives it.
struct Material {
    name: String,
    expansion: f64,
    elastic: Option<Elastic>,
}

/// What a part without a `material` is made of where the file has no `steel`: plain spring and tool steels lie within a few
/// percent of this.
const PLAIN_STEEL: Material = Material {
    name: String::new(),
    expansion: STEEL_EXPANSION,
    elastic: Some(Elastic { youngs_modulus: 206_000.0, poisson: 0.3 }),
};

/// °C.
const ABSOLUTE_ZERO: f64 = -273.15;

/// Collects the pack while the file is walked.
struct Builder<'d> {
    document: &'d Document,
    path: PathBuf,
    units: LengthUnit,
    materials: Vec<Material>,
    plain_steel: Material,
    lots: Vec<Lot>,
    lots_used: Vec<bool>,
    conditions: Vec<Condition>,
    reference_temperature: f64,
    dimensions: Vec<Dimension>,
    /// Paths of dimensions that could not be read; what refers to them is not reported as well.
    unread: Vec<String>,
    /// Where each dimension stands.
    spans: Vec<Span>,
    inputs: Vec<Input>,
    inputs_read: Vec<InputFile>,
    notices: Vec<Notice>,
    prices: Option<Prices>,
}

impl<'d> Builder<'d> {
    fn new(document: &'d Document, source: &Source) -> Self {
        Self {
            document,
            path: document.path().to_path_buf(),
            units: LengthUnit::default(),
            materials: Vec::new(),
            plain_steel: PLAIN_STEEL,
            lots: Vec::new(),
            lots_used: Vec::new(),
            conditions: Vec::new(),
            reference_temperature: REFERENCE_TEMPERATURE,
            dimensions: Vec::new(),
            unread: Vec::new(),
            spans: Vec::new(),
            inputs: Vec::new(),
            inputs_read: vec![source.fingerprint()],
            notices: Vec::new(),
            prices: None,
        }
    }

    fn notice(&mut self, text: impl Into<String>) {
        self.notices.push(Notice::new(&self.path, text));
    }

    /// `None` where something was wrong (and has been reported).
    fn stack(&mut self, root: Section<'d>) -> Option<Stack> {
        let title = root.get("title").and_then(|item| item.text()).map(|text| text.value);
        let title = title.unwrap_or_else(|| self.path.file_stem().unwrap_or_default().to_string_lossy().into_owned());
        if let Some(item) = root.get("units") {
            let words = [("mm", LengthUnit::Millimetre), ("in", LengthUnit::Inch)];
            self.units = item.word(&words).map_or(LengthUnit::default(), |unit| unit.value);
        }
        if let Some(item) = root.get("reference_temperature") {
            self.reference_temperature = temperature(&item).unwrap_or(REFERENCE_TEMPERATURE);
        }
        self.conditions(&root);
        self.materials(&root);
        self.lots(&root);
        let bays = self.bays(&root);
        let requirements = self.requirements(&root, &bays);
        let correlations = self.correlations(&root);
        self.prices(&root);
        root.finish();
        for (lot, used) in self.lots.iter().zip(&self.lots_used) {
            if !used {
                let text = format!("no dimension comes from the lot `{}`; it changes nothing", lot.name);
                self.notices.push(Notice::new(&self.path, text));
            }
        }
        if !self.document.is_sound() {
            return None;
        }
        let stack = Stack {
            pack: Pack {
                title,
                reference_temperature: self.reference_temperature,
                conditions: std::mem::take(&mut self.conditions),
                bays: bays.into_iter().map(|bay| bay.bay).collect(),
                dimensions: self.dimensions.clone(),
            },
            inputs: self.inputs.clone(),
            lots: self.lots.clone(),
            correlations,
            requirements,
        };
        self.refuse_nonsense(&stack);
        Some(stack)
    }

    /// What only the physics and the statistics see: the mistakes that the pack and its population find in themselves.
    fn refuse_nonsense(&self, stack: &Stack) {
        let nominals: Vec<f64> = stack.inputs.iter().map(|input| input.nominal).collect();
        let report = |path: &str, found: String, expected: &str| {
            let span = self.span_of(path);
            self.document.report(FaultKind::OutOfRange, span, path, found, expected).done();
        };
        for error in stack.pack.validate(&nominals) {
            report(error.path().unwrap_or_default(), error.to_string(), "a pack that can be at its nominal dimensions");
        }
        if self.document.is_sound()
            && let Err(error) = Population::of_stack(stack)
        {
            let path = match &error {
                SpreadError::Distribution { input, .. } => input.as_str(),
                SpreadError::NotPositiveSemidefinite { first, .. } => first.as_str(),
                _ => "",
            };
            report(path, error.to_string(), "dimensions that can scatter as described");
        }
        if self.document.is_sound() {
            for error in stack.never_built() {
                report(
                    error.path().unwrap_or_default(),
                    error.to_string(),
                    "a bay that parts within their limits can build",
                );
            }
        }
    }

    /// Where the dimension, part, bay or valve of a path stands; the top of the file if nowhere.
    fn span_of(&self, path: &str) -> Span {
        let under = format!("{path}/");
        let found = self.dimensions.iter().position(|known| known.path == path || known.path.starts_with(&under));
        found.and_then(|index| self.spans.get(index).cloned()).unwrap_or(0..0)
    }

    fn conditions(&mut self, root: &Section<'d>) {
        if let Some(conditions) = root.get("condition").and_then(|item| item.section()) {
            for (name, item) in conditions.named_entries() {
                let Some(section) = item.section() else { continue };
                let degrees = section.require("temperature", "a temperature in °C").and_then(|item| temperature(&item));
                section.finish();
                // A condition whose temperature is wrong still has a name that requirements may use.
                self.conditions.push(Condition { name, temperature: degrees.unwrap_or(self.reference_temperature) });
            }
        }
        if self.conditions.is_empty() {
            self.conditions.push(Condition { name: "assembly".to_owned(), temperature: self.reference_temperature });
        }
    }

    fn materials(&mut self, root: &Section<'d>) {
        let Some(materials) = root.get("material").and_then(|item| item.section()) else { return };
        for (name, item) in materials.named_entries() {
            let Some(section) = item.section() else { continue };
            let expansion = section.require("expansion", "the expansion coefficient in 1/K, such as 11.5e-6");
            let expansion = expansion.and_then(|item| {
                let expansion = item.number()?;
                if expansion.value.abs() < 1e-3 {
                    return Some(expansion.value);
                }
                item.refuse(FaultKind::OutOfRange, "an expansion coefficient in 1/K, such as 11.5e-6").done();
                None
            });
            let youngs_modulus =
                section.get("youngs_modulus").and_then(|item| positive(&item, "Young's modulus in MPa"));
            let poisson = section.get("poisson").and_then(|item| {
                let poisson = item.number()?;
                if (0.0..0.5).contains(&poisson.value) {
                    return Some(poisson.value);
                }
                item.refuse(FaultKind::OutOfRange, "Poisson's ratio, from 0 to below 0.5").done();
                None
            });
            if youngs_modulus.is_some() && !section.has("poisson") {
                section.missing("poisson", "Poisson's ratio beside Young's modulus").done();
            }
            if youngs_modulus.is_some_and(|modulus| modulus < 1000.0) {
                self.notice(format!(
                    "material `{name}`: a Young's modulus of {} MPa is less than any metal's; was it meant in GPa?",
                    youngs_modulus.unwrap_or_default()
                ));
            }
            section.finish();
            let elastic =
                youngs_modulus.zip(poisson).map(|(youngs_modulus, poisson)| Elastic { youngs_modulus, poisson });
            self.materials.push(Material { name, expansion: expansion.unwrap_or(0.0), elastic });
        }
    }

    fn lots(&mut self, root: &Section<'d>) {
        let Some(item) = root.get("lot") else { return };
        for mut section in item.sections() {
            let name = section.require("name", "the lot's name").and_then(|item| item.text());
            if let Some(name) = &name {
                section.rename(format!("lot {}", name.value));
                self.refuse_repeated(name, self.lots.iter().any(|lot| lot.name == name.value), "lot");
            }
            let bias = section.get("bias").and_then(|item| self.length(&item)).map_or(0.0, |bias| bias.value);
            let between = section.get("between").and_then(|item| self.length_from_0(&item)).unwrap_or(0.0);
            section.finish();
            if let Some(name) = name {
                self.lots.push(Lot { name: name.value, bias, between });
                self.lots_used.push(false);
            }
        }
    }

    fn correlations(&mut self, root: &Section<'d>) -> Vec<Correlation> {
        let mut correlations: Vec<Correlation> = Vec::new();
        let Some(item) = root.get("correlation") else { return correlations };
        for section in item.sections_at_most(limits::CORRELATIONS) {
            let between = section.require("between", "two dimensions, such as [\"bay/part/thickness\", \"bay/span\"]");
            let pair = between.and_then(|item| {
                let elements = item.elements("two dimensions by their paths")?;
                let [first, second] = &elements[..] else {
                    item.refuse(FaultKind::OutOfRange, "two dimensions").done();
                    return None;
                };
                let (first, second) = (first.text(), second.text());
                let pair = (self.dimension_of(&first?)?, self.dimension_of(&second?)?);
                if pair.0 == pair.1 {
                    item.refuse(FaultKind::Contradiction, "two different dimensions").done();
                    return None;
                }
                if correlations.iter().any(|other| other.between == pair || other.between == (pair.1, pair.0)) {
                    item.refuse(FaultKind::DuplicateName, "each pair once").done();
                    return None;
                }
                Some(pair)
            });
            let coefficient = section.require("coefficient", "a coefficient from -1 to 1").and_then(|item| {
                let coefficient = item.number()?;
                if coefficient.value.abs() <= 1.0 {
                    return Some(coefficient.value);
                }
                item.refuse(FaultKind::OutOfRange, "a coefficient from -1 to 1").done();
                None
            });
            section.finish();
            let (Some(between), Some(coefficient)) = (pair, coefficient) else { continue };
            let exact = |index: usize| self.inputs[index].distribution.is_exact();
            if let Some(index) = [between.0, between.1].into_iter().find(|&index| exact(index)) {
                let text = format!(
                    "`{}` is exact, so its correlation with another dimension changes nothing and was left out",
                    self.dimensions[index].path
                );
                self.notice(text);
                continue;
            }
            correlations.push(Correlation { between, coefficient });
        }
        correlations
    }

    /// The dimension a path means.
    fn dimension_of(&self, path: &At<String>) -> Option<usize> {
        let found = self.dimensions.iter().position(|dimension| dimension.path == path.value);
        if found.is_none() && !self.unread.contains(&path.value) {
            let paths: Vec<&str> = self.dimensions.iter().map(|dimension| dimension.path.as_str()).collect();
            self.unknown_name(path, "dimension", &paths);
        }
        found
    }

    fn unknown_name(&self, name: &At<String>, what: &str, known: &[&str]) {
        self.document
            .report(
                FaultKind::UnknownName,
                name.span.clone(),
                name.key.clone(),
                format!("the unknown {what} `{}`", name.value),
                format!("the name of a {what} of this file"),
            )
            .help_if(suggest::did_you_mean(&name.value, known, "known"))
            .done();
    }

    fn refuse_repeated(&self, name: &At<String>, repeated: bool, what: &str) {
        if repeated {
            let found = format!("a second {what} `{}`", name.value);
            let expected = format!("a name that no other {what} has");
            self.document.report(FaultKind::DuplicateName, name.span.clone(), name.key.clone(), found, expected).done();
        }
    }

    /// Names become parts of paths, so they cannot hold the sign between the parts.
    fn refuse_slash(&self, name: &At<String>) {
        if name.value.contains('/') {
            self.document
                .report(
                    FaultKind::OutOfRange,
                    name.span.clone(),
                    name.key.clone(),
                    format!("\"{}\"", name.value),
                    "a name without `/`, which separates the names in a dimension's path",
                )
                .done();
        }
    }

    fn add(&mut self, path: String, unit: &'static str, input: Input, span: Span) -> DimensionId {
        let id = DimensionId(self.dimensions.len());
        self.spans.push(span);
        self.dimensions.push(Dimension { path, unit });
        self.inputs.push(input);
        id
    }

    /// The smallest and the largest value the worst case will try: the limits, or mean ± 3 sd, and the lot's deviation.
    fn reach(&self, id: DimensionId) -> (f64, f64) {
        self.inputs.get(id.0).map_or((f64::NAN, f64::NAN), |input| self.reach_of(input))
    }

    fn reach_of(&self, input: &Input) -> (f64, f64) {
        let (low, high) = known::reach(input);
        match input.lot.and_then(|lot| self.lots.get(lot)) {
            Some(lot) => (low + lot.bias - 3.0 * lot.between, high + lot.bias + 3.0 * lot.between),
            None => (low, high),
        }
    }

    fn contradiction(&self, span: Span, key: &str, found: String, expected: &str) {
        self.document.report(FaultKind::Contradiction, span, key, found, expected).done();
    }
}

/// °C; above absolute zero and below where the parts would melt.
fn temperature(item: &Item<'_>) -> Option<f64> {
    let temperature = item.number()?;
    if temperature.value > ABSOLUTE_ZERO && temperature.value < 1000.0 {
        return Some(temperature.value);
    }
    item.refuse(FaultKind::OutOfRange, "a temperature in °C, above -273.15 and below 1000").done();
    None
}

fn positive(item: &Item<'_>, what: &str) -> Option<f64> {
    let number = item.number()?;
    if number.value > 0.0 {
        return Some(number.value);
    }
    item.refuse(FaultKind::OutOfRange, format!("{what}, above 0")).done();
    None
}
