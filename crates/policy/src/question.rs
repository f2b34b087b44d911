//! The question: what may be chosen, and what it is chosen for.

use crate::draws::BUILDS_OF_A_YEAR;
use crate::error::PolicyError;
use crate::prices::Prices;
use crate::quantities::check_lead_time;
use crate::shop::{CeilingFor, Packets, Shop};
use packdrift_spread::{Cost, NeverBinds, Stack, never_binding};
use packdrift_stock::{FittingBay, Size, StockError, Weights};

/// A tolerance that may be bought.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Half the width of the limits, mm.
    pub tol: f64,
    /// A part.
    pub price: f64,
}

/// A dimension whose tolerance may change.
#[derive(Debug, Clone, PartialEq)]
pub struct Priced {
    /// Its path.
    pub dimension: String,
    /// Index into [`Stack::inputs`].
    pub input: usize,
    /// Half the width of the limits as drawn, mm.
    pub tol_now: f64,
    /// What may be bought, tightest first.
    pub levels: Vec<Level>,
    /// The level nearest to the drawn tolerance.
    pub now: usize,
    /// Its price is a curve, of which only these steps are looked at.
    pub stepped: bool,
}

/// How the drawer's pieces are bought and known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Pieces {
    /// As they come.
    AsBought,
    /// Each is measured.
    Measured,
    /// From tighter or sorted lots.
    Tighter,
}

/// One choice of everything.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Choice {
    /// Level of each priced dimension.
    pub levels: Vec<u8>,
    /// Sizes held, one bit each of the catalogue; none: builds are not fitted at all.
    pub sizes: u64,
    /// How their pieces are bought and known.
    pub pieces: Pieces,
}

impl Choice {
    /// Indices of the sizes held.
    pub fn held(&self) -> Vec<usize> {
        (0..64).filter(|k| self.sizes >> k & 1 == 1).collect()
    }

    /// Without sizes it does not matter how pieces are bought.
    #[must_use]
    pub(crate) fn plain(mut self) -> Self {
        if self.sizes == 0 {
            self.pieces = Pieces::AsBought;
        }
        self
    }
}

/// Everything that is given.
#[derive(Debug, Clone)]
pub struct Question {
    /// The pack, with the tolerances as drawn.
    pub stack: Stack,
    /// The bays that are fitted.
    pub bays: Vec<FittingBay>,
    /// What may be bought of each dimension.
    pub priced: Vec<Priced>,
    /// Sizes that can be had, by rising thickness.
    pub catalogue: Vec<Size>,
    /// Prices and times.
    pub prices: Prices,
    /// How the shop works.
    pub shop: Shop,
    /// Largest share of builds outside after fitting.
    pub ceiling: f64,
    /// Sizes to hold at most.
    pub most_sizes: usize,
    /// Ways to buy and know pieces that may be chosen.
    pub ways: Vec<Pieces>,
    /// Limits of the pack that can never bind: nothing is shown by them.
    pub never_binds: Vec<NeverBinds>,
}

/// Steps of a tolerance whose price is a curve, as factors of the drawn one.
const STEPS: [f64; 9] = [0.25, 0.354, 0.5, 0.707, 1.0, 1.414, 2.0, 2.828, 4.0];

/// Finer steps about a tolerance, as factors: between it and its neighbours.
const FINER: [f64; 6] = [0.771, 0.841, 0.917, 1.091, 1.189, 1.297];

fn price_by(cost: &Cost, tol: f64) -> Option<f64> {
    match cost {
        Cost::Power { fixed, scale, exponent } => Some(fixed + scale / tol.powf(*exponent)),
        _ => None,
    }
}

/// Tightest first, each once.
fn sort_levels(levels: &mut Vec<Level>) {
    levels.sort_by(|a, b| a.tol.total_cmp(&b.tol).then(a.price.total_cmp(&b.price)));
    levels.dedup_by(|b, a| (b.tol / a.tol - 1.0).abs() < 1e-9);
}

impl Question {
    /// Lays the question out.
    ///
    /// # Errors
    /// [`PolicyError`]: nothing that may change or that is to be kept, a ceiling that cannot be, a bay that cannot be fitted.
    pub fn new(
        stack: &Stack,
        catalogue: &[Size],
        prices: &Prices,
        shop: &Shop,
        asked: &Asked,
    ) -> Result<Self, PolicyError> {
        let limited = stack.requirements.iter().filter(|r| r.lower.is_some() || r.upper.is_some());
        let Some(default) = limited.map(|r| r.max_out).min_by(f64::total_cmp) else {
            return Err(PolicyError::NoLimits);
        };
        let ceiling = asked.max_out.unwrap_or(default);
        if !(ceiling > 0.0 && ceiling < 1.0) {
            return Err(PolicyError::Ceiling { value: ceiling });
        }
        if catalogue.is_empty() {
            return Err(StockError::EmptyCatalogue.into());
        }
        let most = packdrift_stock::MOST_SIZES;
        if catalogue.len() > most {
            return Err(PolicyError::TooManySizes { sizes: catalogue.len(), most });
        }
        check_lead_time(catalogue, prices.builds())?;
        if shop.ceiling_for == CeilingFor::BadYear && shop.packets == Packets::EachBuild {
            return Err(PolicyError::NoYears);
        }
        let mut bays = Vec::new();
        for bay in 0..stack.pack.bays.len() {
            bays.extend(FittingBay::new(stack, bay, Weights::default())?);
        }
        if bays.is_empty() {
            return Err(PolicyError::NoOffsets);
        }
        if let Some(bay) = bays.iter().find(|bay| bay.drawn().len() > MOST_DRAWN) {
            let name = stack.pack.bays[bay.bay()].name.clone();
            return Err(PolicyError::TooManyPieces { bay: name, pieces: bay.drawn().len(), most: MOST_DRAWN });
        }
        let mut ways = vec![Pieces::AsBought];
        ways.extend(prices.measuring.map(|_| Pieces::Measured));
        ways.extend(prices.tighter.map(|_| Pieces::Tighter));
        Ok(Self {
            priced: priced(stack)?,
            stack: stack.clone(),
            bays,
            catalogue: catalogue.to_vec(),
            prices: prices.clone(),
            shop: shop.clone(),
            ceiling,
            most_sizes: asked.most_sizes.clamp(1, catalogue.len()),
            ways,
            never_binds: never_binding(stack)?,
        })
    }

    /// The same question with finer steps of the tolerances whose price is a curve: about `around`, and the tolerances `besides` (index of the
    /// priced dimension, mm). With it where each old level has gone.
    pub(crate) fn refined(&self, around: &Choice, besides: &[(usize, f64)]) -> (Self, Vec<Vec<u8>>) {
        let mut finer = self.clone();
        let mut places = Vec::new();
        for (d, priced) in finer.priced.iter_mut().enumerate() {
            let old = priced.levels.clone();
            if let Some(curve) = self.stack.inputs[priced.input].cost.as_ref().filter(|_| priced.stepped) {
                let near = old[usize::from(around.levels[d])].tol;
                let named = besides.iter().filter(|(of, _)| *of == d).map(|&(_, tol)| tol);
                let (least, most) = (old[0].tol, old[old.len() - 1].tol);
                let steps = FINER.iter().map(|step| step * near).chain(named);
                let may = steps.filter(|tol| (least..=most).contains(tol));
                priced.levels.extend(may.filter_map(|tol| price_by(curve, tol).map(|price| Level { tol, price })));
                sort_levels(&mut priced.levels);
            }
            let place = |old: &Level| {
                let off = |level: &Level| (level.tol / old.tol - 1.0).abs();
                let all = 0..priced.levels.len();
                all.min_by(|&a, &b| off(&priced.levels[a]).total_cmp(&off(&priced.levels[b]))).unwrap_or(0) as u8
            };
            let gone: Vec<u8> = old.iter().map(place).collect();
            priced.now = usize::from(gone[priced.now]);
            places.push(gone);
        }
        (finer, places)
    }

    /// The tolerances as drawn, with these sizes.
    pub(crate) fn as_drawn(&self, sizes: u64) -> Choice {
        Choice { levels: self.priced.iter().map(|p| p.now as u8).collect(), sizes, pieces: Pieces::AsBought }
    }

    /// Whether a choice holds no more sizes than may be held.
    pub(crate) fn permits(&self, choice: &Choice) -> bool {
        choice.sizes.count_ones() as usize <= self.most_sizes
    }

    /// Every size of the catalogue.
    pub(crate) fn all_sizes(&self) -> u64 {
        if self.catalogue.len() == 64 { u64::MAX } else { (1 << self.catalogue.len()) - 1 }
    }

    /// A part of the cost of every choice: every tolerance at its cheapest, and nothing else.
    pub(crate) fn at_least(&self) -> f64 {
        let cheapest = |p: &Priced| p.levels.iter().map(|l| l.price).fold(f64::INFINITY, f64::min);
        self.priced.iter().map(cheapest).sum()
    }

    /// A part of the cost of a choice that no build changes: its tolerances and sizes, and that every build is read.
    pub(crate) fn fixed_costs(&self, choice: &Choice) -> f64 {
        let tolerance = |(p, &l): (&Priced, &u8)| p.levels[usize::from(l)].price;
        let tolerances: f64 = self.priced.iter().zip(&choice.levels).map(tolerance).sum();
        if choice.sizes == 0 {
            return tolerances;
        }
        tolerances + self.always(choice.sizes.count_ones())
    }

    /// What every build costs where so many sizes are held, whatever is done to it: its readings, and the sizes' places.
    pub(crate) fn always(&self, sizes: u32) -> f64 {
        let prices = &self.prices;
        let rockers: usize = self.bays.iter().map(FittingBay::rockers).sum();
        let pieces: usize = self.bays.iter().map(|bay| bay.drawn().len()).sum();
        let measured = if self.shop.drawn_measured { pieces as f64 * prices.measuring.unwrap_or(0.0) } else { 0.0 };
        let places = f64::from(sizes) * prices.size_a_year.unwrap_or(0.0) / prices.builds();
        prices.minutes(prices.read_minutes) * rockers as f64 + measured + places
    }

    /// Builds of a year, as far as they are drawn with the same packets.
    pub(crate) fn builds_of_a_year(&self) -> usize {
        (self.prices.builds().round() as usize).clamp(1, BUILDS_OF_A_YEAR)
    }

    /// How many choices there are.
    pub(crate) fn choices(&self) -> f64 {
        let tolerances: f64 = self.priced.iter().map(|p| p.levels.len() as f64).product();
        let n = self.catalogue.len();
        let mut sets = 0.0;
        let mut of_size = 1.0;
        for k in 1..=self.most_sizes {
            of_size *= (n + 1 - k) as f64 / k as f64;
            sets += of_size;
        }
        tolerances * (1.0 + sets * self.ways.len() as f64)
    }
}

/// Drawn shims and washers of a bay at most: every set of them that stays is worked out beforehand.
const MOST_DRAWN: usize = 10;

/// What is asked beside what the files say.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// Ceiling of the share outside after fitting. None: the smallest `max_out` of the requirements.
    pub max_out: Option<f64>,
    /// Sizes to hold at most. Default 5.
    pub most_sizes: usize,
}

impl Default for Asked {
    fn default() -> Self {
        Self { max_out: None, most_sizes: 5 }
    }
}

fn priced(stack: &Stack) -> Result<Vec<Priced>, PolicyError> {
    let mut all = Vec::new();
    for (input, of) in stack.inputs.iter().enumerate() {
        let Some(cost) = &of.cost else { continue };
        let dimension = stack.pack.dimensions[input].path.clone();
        // To a millionth of a µm: half the difference of two limits is seldom the number that was written.
        let tol_now = of.limits.map_or(0.0, |l| (0.5 * (l.upper - l.lower) * 1e9).round() / 1e9);
        if !(tol_now > 0.0 && tol_now.is_finite()) || of.distribution.is_exact() {
            return Err(PolicyError::NoTolerance { dimension });
        }
        let (mut levels, stepped) = match cost {
            Cost::Power { .. } => {
                let tols = STEPS.iter().map(|step| step * tol_now);
                (tols.filter_map(|tol| price_by(cost, tol).map(|price| Level { tol, price })).collect(), true)
            }
            Cost::Grades(grades) => {
                (grades.iter().map(|&(tol, price)| Level { tol, price }).collect::<Vec<_>>(), false)
            }
            _ => return Err(PolicyError::NoTolerance { dimension }),
        };
        let sound = |l: &Level| l.tol > 0.0 && l.tol.is_finite() && l.price.is_finite();
        if levels.is_empty() || levels.len() > 100 || !levels.iter().all(sound) {
            return Err(PolicyError::Cost { dimension });
        }
        sort_levels(&mut levels);
        let off = |l: &Level| (l.tol / tol_now).ln().abs();
        let now = (0..levels.len()).min_by(|&a, &b| off(&levels[a]).total_cmp(&off(&levels[b]))).unwrap_or(0);
        all.push(Priced { dimension, input, tol_now, levels, now, stepped });
    }
    if all.is_empty() { Err(PolicyError::NoCosts) } else { Ok(all) }
}
