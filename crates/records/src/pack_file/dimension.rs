//! One dimension: a number (exact), or a table that says what the drawing wants of it and what is known of it.

use super::Builder;
use super::known::{self, Shape};
use crate::document::{At, Item, Section, Span};
use crate::error::FaultKind;
use packdrift_pack::DimensionId;
use packdrift_spread::{Distribution, Grade, Input, Limits};

/// What a dimension is a number of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unit {
    /// mm or, as the file says, inches.
    Length,
    /// N.
    Load,
    /// N/mm.
    Rate,
    /// A factor.
    One,
}

impl Unit {
    fn name(self) -> &'static str {
        match self {
            Self::Length => "mm",
            Self::Load => "N",
            Self::Rate => "N/mm",
            Self::One => "1",
        }
    }
}

/// Beyond this, mm, N or N/mm, no dimension of an engine lies, and products of dimensions would leave what numbers can hold.
const VAST: f64 = 1e9;

/// What values mean anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sign {
    /// A thickness: above 0 wherever it may lie.
    Positive,
    /// A chamfer: 0 or more.
    NotNegative,
    /// A coordinate.
    Any,
}

/// What the drawing says.
#[derive(Default)]
struct Drawn {
    nominal: Option<At<f64>>,
    limits: Option<Limits>,
}

impl<'d> Builder<'d> {
    /// A length, in mm.
    pub(super) fn length(&self, item: &Item<'d>) -> Option<At<f64>> {
        self.quantity(item, Unit::Length)
    }

    /// A length of 0 or more, in mm.
    pub(super) fn length_from_0(&self, item: &Item<'d>) -> Option<f64> {
        self.width(item, Unit::Length)
    }

    pub(super) fn quantity(&self, item: &Item<'d>, unit: Unit) -> Option<At<f64>> {
        let literal = item.literal()?;
        let number = match unit {
            Unit::Length => self.units.millimetres(&literal.value),
            Unit::Load | Unit::Rate | Unit::One => literal.value.parse().ok(),
        };
        if number.is_none() {
            item.refuse(FaultKind::NotFinite, "a finite number").done();
        }
        let number = number?;
        Some(literal.map(|_| number))
    }

    /// A tolerance, a standard deviation: 0 or more.
    pub(super) fn width(&self, item: &Item<'d>, unit: Unit) -> Option<f64> {
        let width = self.quantity(item, unit)?;
        if width.value >= 0.0 {
            return Some(width.value);
        }
        item.refuse(FaultKind::OutOfRange, "0 or more").done();
        None
    }

    /// A dimension that must be there. `path` names it in results.
    pub(super) fn dimension(
        &mut self,
        section: &Section<'d>,
        key: &'static str,
        path: &str,
        unit: Unit,
        sign: Sign,
    ) -> Option<DimensionId> {
        let expected = match unit {
            Unit::Length => "a length: a number, or a table such as { nominal = 0.40, tol = 0.03 }",
            Unit::Load => "a load in N",
            Unit::Rate => "a rate in N/mm",
            Unit::One => "a factor",
        };
        if section.require(key, expected).is_none() {
            self.unread.push(format!("{path}/{key}"));
        }
        self.dimension_if_given(section, key, path, unit, sign)
    }

    /// A dimension that may be there.
    pub(super) fn dimension_if_given(
        &mut self,
        section: &Section<'d>,
        key: &'static str,
        path: &str,
        unit: Unit,
        sign: Sign,
    ) -> Option<DimensionId> {
        let item = section.get(key)?;
        let path = format!("{path}/{key}");
        let Some(input) = self.input(&item, &path, unit, sign) else {
            self.unread.push(path);
            return None;
        };
        Some(self.add(path, unit.name(), input, item.span()))
    }

    fn input(&mut self, item: &Item<'d>, path: &str, unit: Unit, sign: Sign) -> Option<Input> {
        let input = if item.is_table() {
            self.described(&item.section()?, path, unit)
        } else {
            self.quantity(item, unit).map(|number| exact(number.value))
        }?;
        self.check_sign(item, &input, sign)?;
        Some(input)
    }

    /// A dimension that the file does not give and no requirement needs: exactly 0.
    pub(super) fn absent(&mut self, path: &str, key: &str, unit: Unit) -> DimensionId {
        self.add(format!("{path}/{key}"), unit.name(), exact(0.0), 0..0)
    }

    fn check_sign(&self, item: &Item<'d>, input: &Input, sign: Sign) -> Option<()> {
        // Limits on the drawing say nothing of what was read.
        let least_read = known::least_of_sample(&input.distribution).unwrap_or(f64::INFINITY);
        let mut numbers = [input.nominal, input.distribution.mean(), least_read].into_iter().filter(|x| x.is_finite());
        if let Some(vast) = numbers.find(|x| x.abs() > VAST) {
            let report = item.refuse(FaultKind::OutOfRange, format!("a value within ±{VAST:e}"));
            report.found(format!("a value of {vast:e}")).done();
            return None;
        }
        let (low, _) = self.reach_of(input);
        let low = low.min(least_read);
        let (fine, expected) = match sign {
            Sign::Any => (true, ""),
            Sign::Positive if input.nominal <= 0.0 => (false, "a value above 0"),
            Sign::Positive => (
                low > 0.0,
                "a value that stays above 0 down to its lower limit (or 3 standard deviations below its mean, and its lot's)",
            ),
            Sign::NotNegative => (
                input.nominal >= 0.0 && least_read >= 0.0 && input.limits.is_none_or(|limits| limits.lower >= 0.0),
                "0 or more, down to its lower limit",
            ),
        };
        if fine {
            return Some(());
        }
        item.refuse(FaultKind::OutOfRange, expected).done();
        None
    }

    /// A dimension given as a table.
    fn described(&mut self, section: &Section<'d>, path: &str, unit: Unit) -> Option<Input> {
        let section = section.renamed(path.to_owned());
        let shape_item = section.get("distribution");
        let shape = shape_item.as_ref().and_then(|item| item.word(&Shape::WORDS));
        let shape_is_wrong = shape_item.is_some() && shape.is_none();
        let drawn = self.drawn(&section, unit);
        let lot = self.lot_of(&section, unit);
        let cost = section.get("cost").and_then(|item| self.cost(&item, unit));
        let distribution = self.known(&section, unit, drawn.as_ref(), shape.as_ref(), lot.is_some());
        section.finish();
        let (drawn, distribution) = (drawn?, distribution?);
        if shape_is_wrong {
            return None;
        }
        let nominal = match (&drawn.nominal, drawn.limits) {
            (Some(nominal), _) => nominal.value,
            (None, Some(Limits { lower, upper })) => f64::midpoint(lower, upper),
            (None, None) => distribution.mean(),
        };
        Some(Input { nominal, limits: drawn.limits, distribution, lot, cost })
    }

    /// `nominal` with `tol`, with `plus` and `minus`, or with `lower` and `upper`. `None` where that is wrong.
    fn drawn(&self, section: &Section<'d>, unit: Unit) -> Option<Drawn> {
        let item = |key| section.get(key);
        let [nominal, tol, plus, minus, lower, upper, grade] =
            ["nominal", "tol", "plus", "minus", "lower", "upper", "grade"].map(item);
        let ways =
            [tol.is_some(), grade.is_some(), plus.is_some() || minus.is_some(), lower.is_some() || upper.is_some()];
        if ways.iter().filter(|given| **given).count() > 1 {
            self.contradiction(
                section.span(),
                section.path(),
                "limits given in more than one way".to_owned(),
                "one of: `tol`; `grade`; `plus` and `minus`; `lower` and `upper`",
            );
            return None;
        }
        let number = |item: Option<Item<'d>>| match item {
            None => Some(None),
            Some(item) => self.quantity(&item, unit).map(Some),
        };
        if let Some(tol) = tol {
            let tol = self.width(&tol, unit);
            let Some(nominal) = nominal else {
                section.missing("nominal", "the size that `tol` is about").done();
                return None;
            };
            let nominal = self.quantity(&nominal, unit)?;
            let tol = tol?;
            let limits = Limits { lower: nominal.value - tol, upper: nominal.value + tol };
            return Some(Drawn { nominal: Some(nominal), limits: Some(limits) });
        }
        if let Some(grade) = grade {
            let width = self.standard_tolerance(&grade, nominal.as_ref(), section, unit);
            let nominal = self.quantity(&nominal?, unit)?;
            let half = 0.5 * width?;
            let limits = Limits { lower: nominal.value - half, upper: nominal.value + half };
            return Some(Drawn { nominal: Some(nominal), limits: Some(limits) });
        }
        if plus.is_some() || minus.is_some() {
            for (key, given) in [("plus", &plus), ("minus", &minus), ("nominal", &nominal)] {
                if given.is_none() {
                    section.missing(key, "`nominal`, `plus` and `minus` together").done();
                }
            }
            let deviation = |item: Item<'d>| {
                let deviation = self.quantity(&item, unit)?;
                if deviation.value >= 0.0 {
                    return Some(deviation.value);
                }
                let help = "the limits are nominal + plus and nominal - minus, so both are written without a sign; \
                            limits that lie on one side of the nominal are written as `lower` and `upper`";
                item.refuse(FaultKind::OutOfRange, "0 or more").help(help).done();
                None
            };
            let (plus, minus) = (plus.and_then(deviation), minus.and_then(deviation));
            let nominal = self.quantity(&nominal?, unit)?;
            let limits = Limits { lower: nominal.value - minus?, upper: nominal.value + plus? };
            return Some(Drawn { nominal: Some(nominal), limits: Some(limits) });
        }
        if lower.is_some() || upper.is_some() {
            for (key, given) in [("lower", &lower), ("upper", &upper)] {
                if given.is_none() {
                    section.missing(key, "`lower` and `upper` together").done();
                }
            }
            let nominal = number(nominal)?;
            let (Some(lower), Some(upper)) = (number(lower)?, number(upper)?) else { return None };
            if lower.value > upper.value {
                let found = format!("lower = {} above upper = {}", lower.value, upper.value);
                self.contradiction(section.span(), section.path(), found, "`lower` at or below `upper`");
                return None;
            }
            return Some(Drawn { nominal, limits: Some(Limits { lower: lower.value, upper: upper.value }) });
        }
        Some(Drawn { nominal: number(nominal)?, limits: None })
    }

    /// The width of a standard tolerance (ISO 286-1) for the nominal size, mm: `grade = "IT8"`.
    fn standard_tolerance(
        &self,
        grade: &Item<'d>,
        nominal: Option<&Item<'d>>,
        section: &Section<'d>,
        unit: Unit,
    ) -> Option<f64> {
        let expected = "a standard tolerance grade of ISO 286-1, IT1 to IT18, such as \"IT8\"";
        let word = grade.text()?;
        let parsed = word.value.parse::<Grade>();
        if parsed.is_err() || unit != Unit::Length {
            let expected = if unit == Unit::Length { expected } else { "`tol`: standard grades are for lengths" };
            grade.refuse(FaultKind::UnknownName, expected).done();
            return None;
        }
        let Some(nominal) = nominal else {
            section.missing("nominal", "the size that the grade's tolerance belongs to").done();
            return None;
        };
        let size = self.quantity(nominal, unit)?;
        match parsed.ok()?.tolerance(size.value) {
            Ok(width) => Some(width),
            Err(error) => {
                grade.refuse(FaultKind::OutOfRange, error.to_string()).done();
                None
            }
        }
    }

    /// What is known of the dimension's scatter.
    fn known(
        &mut self,
        section: &Section<'d>,
        unit: Unit,
        drawn: Option<&Drawn>,
        shape: Option<&At<Shape>>,
        of_lot: bool,
    ) -> Option<Distribution> {
        let form = Form::of(section);
        let parameters = self.parameters(section, unit, form, shape)?;
        match form {
            Form::Readings => return self.readings(section, unit, of_lot),
            Form::Sample => return self.sample(section, unit),
            Form::Several => {
                self.contradiction(
                    section.span(),
                    section.path(),
                    "scatter described in more than one way".to_owned(),
                    "one of: a tolerance alone; `mean` and `sd`; `readings`; `sample`",
                );
                return None;
            }
            Form::Drawing | Form::Parameters => {}
        }
        let drawn = drawn?;
        let shape_word = shape.map_or(Shape::Normal, |shape| shape.value);
        let missing = |key: &str, expected: &str| -> Option<Distribution> {
            section.missing(key, expected).done();
            None
        };
        match shape_word {
            Shape::T => {
                let (Some(location), Some(scale), Some(degrees_of_freedom)) =
                    (parameters.mean, parameters.scale, parameters.degrees_of_freedom)
                else {
                    return missing("degrees_of_freedom", "for t: `mean`, `scale` and `degrees_of_freedom`");
                };
                Some(Distribution::ScaledShiftedT { degrees_of_freedom, location, scale })
            }
            Shape::Exponential => match parameters.mean {
                Some(mean) if mean > 0.0 => Some(Distribution::Exponential { mean }),
                Some(_) => {
                    section.get("mean")?.refuse(FaultKind::OutOfRange, "a mean above 0").done();
                    None
                }
                None => missing("mean", "for exponential: `mean`"),
            },
            Shape::Gamma if parameters.shape.is_some() || parameters.scale.is_some() => {
                let (Some(shape), Some(scale)) = (parameters.shape, parameters.scale) else {
                    return missing("shape", "for gamma: `shape` and `scale`, or `mean` and `sd`");
                };
                Some(Distribution::Gamma { shape, scale })
            }
            _ => match (parameters.mean, parameters.sd) {
                (Some(mean), Some(sd)) => {
                    if matches!(shape_word, Shape::LogNormal | Shape::Gamma) && mean <= 0.0 {
                        let expected = format!("a mean above 0, for {}", shape_word.word());
                        section.get("mean")?.refuse(FaultKind::OutOfRange, expected).done();
                        return None;
                    }
                    let beta = parameters.beta.unwrap_or(0.0);
                    let known = known::of_mean_and_sd(mean, sd, shape_word, drawn.limits, beta);
                    if known.is_none() {
                        let help = format!("{} is described by its limits", shape_word.word());
                        let report = section.missing("lower", "`lower` and `upper`, or `nominal` and `tol`");
                        report.help(help).done();
                    }
                    known
                }
                (Some(_), None) => missing("sd", "`mean` and `sd` together"),
                (None, Some(_)) => missing("mean", "`mean` and `sd` together"),
                (None, None) => self.filling(section, drawn, shape, parameters),
            },
        }
    }

    /// Scatter that fills the limits; exact where there are none.
    fn filling(
        &self,
        section: &Section<'d>,
        drawn: &Drawn,
        shape: Option<&At<Shape>>,
        parameters: Parameters,
    ) -> Option<Distribution> {
        let shape_word = shape.map_or(Shape::Normal, |shape| shape.value);
        let Some(limits) = drawn.limits else {
            return match (&drawn.nominal, shape) {
                (Some(nominal), None) => Some(Distribution::Exact { value: nominal.value }),
                (_, Some(_)) => {
                    section.missing("tol", "limits or a standard deviation, for the distribution to fill").done();
                    None
                }
                (None, None) => {
                    let expected =
                        "one of: `nominal` (with `tol`, or `plus` and `minus`); `mean` and `sd`; `readings`; `sample`";
                    section.missing("nominal", expected).done();
                    None
                }
            };
        };
        let half = 0.5 * (limits.upper - limits.lower);
        let inexactness = parameters.inexactness.unwrap_or(0.0);
        if inexactness > half {
            let item = section.get("inexactness")?;
            item.refuse(FaultKind::OutOfRange, "at most half the distance between the limits").done();
            return None;
        }
        if shape_word == Shape::LogNormal && limits.lower <= 0.0 {
            self.contradiction(
                section.span(),
                section.path(),
                format!("a lower limit of {}", limits.lower),
                "limits above 0, for lognormal",
            );
            return None;
        }
        for (needed, key, expected) in [
            (Shape::CurvilinearTrapezoidal, "inexactness", "how inexactly the limits are known, as a half width"),
            (Shape::Trapezoidal, "beta", "the top width over the base width, from 0 to 1"),
        ] {
            if shape_word == needed && !section.has(key) {
                section.missing(key, expected).done();
                return None;
            }
        }
        let sigmas = parameters.sigmas.unwrap_or(known::SIGMAS);
        Some(known::filling(limits, shape_word, sigmas, parameters.beta.unwrap_or(0.0), inexactness))
    }

    /// The numbers that go with a shape. One that the shape would ignore is refused.
    fn parameters(
        &self,
        section: &Section<'d>,
        unit: Unit,
        form: Form,
        shape: Option<&At<Shape>>,
    ) -> Option<Parameters> {
        let word = shape.map_or(Shape::Normal, |shape| shape.value);
        let by_shape = matches!(form, Form::Drawing | Form::Parameters);
        let mut sound = true;
        if !by_shape
            && form != Form::Several
            && let Some(item) = section.get("distribution")
        {
            let help = "readings bring their own distribution";
            item.refuse(FaultKind::Contradiction, "no `distribution` beside readings").help(help).done();
            sound = false;
        }
        let mut take = |key: &'static str, applies: bool, with: &str, read: &dyn Fn(&Item<'d>) -> Option<f64>| {
            let item = section.get(key)?;
            if !applies {
                item.refuse(FaultKind::Contradiction, format!("no `{key}` here"))
                    .help(format!("`{key}` goes with {with}"))
                    .done();
                sound = false;
                return None;
            }
            let number = read(&item);
            sound &= number.is_some();
            number
        };
        let above_0 = |item: &Item<'d>| super::positive(item, "a number");
        let length = |item: &Item<'d>| self.quantity(item, unit).map(|number| number.value);
        let width = |item: &Item<'d>| self.width(item, unit);
        let wide = |item: &Item<'d>| {
            let width = self.quantity(item, unit)?;
            if width.value > 0.0 {
                return Some(width.value);
            }
            item.refuse(FaultKind::OutOfRange, "a number above 0").done();
            None
        };
        let share = |item: &Item<'d>| {
            let share = item.number()?;
            if (0.0..=1.0).contains(&share.value) {
                return Some(share.value);
            }
            item.refuse(FaultKind::OutOfRange, "a number from 0 to 1").done();
            None
        };
        let many = form == Form::Several;
        let parameters = Parameters {
            mean: take("mean", by_shape || many, "no readings", &length),
            sd: take(
                "sd",
                (by_shape && !matches!(word, Shape::T | Shape::Exponential)) || many,
                "a mean, and a shape that has it",
                &width,
            ),
            scale: take(
                "scale",
                by_shape && matches!(word, Shape::T | Shape::Gamma),
                "`distribution = \"t\"` or \"gamma\"",
                &wide,
            ),
            shape: take("shape", by_shape && word == Shape::Gamma, "`distribution = \"gamma\"`", &above_0),
            degrees_of_freedom: take(
                "degrees_of_freedom",
                by_shape && word == Shape::T,
                "`distribution = \"t\"`",
                &above_0,
            ),
            beta: take("beta", by_shape && word == Shape::Trapezoidal, "`distribution = \"trapezoidal\"`", &share),
            inexactness: take(
                "inexactness",
                by_shape && word == Shape::CurvilinearTrapezoidal,
                "`distribution = \"curvilinear-trapezoidal\"`",
                &width,
            ),
            sigmas: take(
                "sigmas",
                form == Form::Drawing && word.has_tails(),
                "a tolerance and the normal, lognormal or truncated normal distribution",
                &above_0,
            ),
        };
        // Their own readers take these; here they are only refused where no one would.
        take("u", form == Form::Readings || many, "`readings`", &|_| Some(0.0));
        take("resolution", !by_shape, "`readings` or `sample`", &|_| Some(0.0));
        take("column", form == Form::Sample || many, "`sample`", &|_| Some(0.0));
        sound.then_some(parameters)
    }

    fn lot_of(&mut self, section: &Section<'d>, unit: Unit) -> Option<usize> {
        let item = section.get("lot")?;
        let name = item.text()?;
        if unit != Unit::Length {
            item.refuse(FaultKind::Contradiction, "no `lot` here: a lot's deviation is a length").done();
            return None;
        }
        let found = self.lots.iter().position(|lot| lot.name == name.value);
        if let Some(index) = found {
            self.lots_used[index] = true;
        } else {
            let names: Vec<&str> = self.lots.iter().map(|lot| lot.name.as_str()).collect();
            self.unknown_name(&name, "lot", &names);
        }
        found
    }

    /// The bounds of `inner` stay below those of `outer`.
    pub(super) fn check_below(
        &self,
        inner: Option<DimensionId>,
        outer: Option<DimensionId>,
        span: Span,
        key: &str,
        what: &str,
    ) {
        let (Some(inner), Some(outer)) = (inner, outer) else { return };
        let (largest, smallest) = (self.reach(inner).1, self.reach(outer).0);
        if largest >= smallest {
            let found = format!(
                "{} up to {largest} and {} down to {smallest}",
                self.dimensions[inner.0].path, self.dimensions[outer.0].path
            );
            self.contradiction(span, key, found, what);
        }
    }
}

/// Which way the scatter is described.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    /// By limits alone, or exact.
    Drawing,
    /// By `mean` and what goes with it.
    Parameters,
    Readings,
    Sample,
    Several,
}

impl Form {
    fn of(section: &Section<'_>) -> Self {
        let parameters =
            ["mean", "sd", "scale", "shape", "degrees_of_freedom"].map(|key| section.has(key)).contains(&true);
        match (parameters, section.has("readings"), section.has("sample")) {
            (false, false, false) => Self::Drawing,
            (true, false, false) => Self::Parameters,
            (false, true, false) => Self::Readings,
            (false, false, true) => Self::Sample,
            _ => Self::Several,
        }
    }
}

#[derive(Debug, Clone, Copy)]
struct Parameters {
    mean: Option<f64>,
    sd: Option<f64>,
    scale: Option<f64>,
    shape: Option<f64>,
    degrees_of_freedom: Option<f64>,
    beta: Option<f64>,
    inexactness: Option<f64>,
    sigmas: Option<f64>,
}

fn exact(value: f64) -> Input {
    Input { nominal: value, limits: None, distribution: Distribution::Exact { value }, lot: None, cost: None }
}
