//! The assumptions, each turned by itself.

use crate::answer::Effort;
use crate::draws::Draws;
use crate::error::PolicyError;
use crate::estimate::Estimate;
use crate::question::Question;
use crate::search::{Free, Search};
use crate::shop::{CeilingFor, Measuring, Packets, Shop, Touched};
use packdrift_spread::Progress;

/// What would be if the shop worked otherwise.
#[derive(Debug, Clone, PartialEq)]
pub struct Otherwise {
    /// In what.
    pub assumption: &'static str,
    /// As it is taken to be.
    pub stands: String,
    /// Otherwise.
    pub instead: String,
    /// The same choice then.
    pub same: Estimate,
    /// The best near it then.
    pub best: Estimate,
}

/// Choices tried for each.
const FOR_AN_ASSUMPTION: usize = 40;
/// Shops looked at: as it stands, and each assumption turned.
const SHOPS: usize = 8;

/// Choices tried for all of them at the most.
pub(crate) fn choices(effort: &Effort) -> usize {
    SHOPS * FOR_AN_ASSUMPTION.min(effort.choices)
}

/// First the shop as it stands, on the same draws and with the same effort as the rest, to compare with; then every assumption turned, by
/// itself.
pub(crate) fn otherwise(
    question: &Question,
    effort: &Effort,
    best: &Estimate,
    (aim, progress): (f64, &dyn Progress),
    (done, expected): (u64, u64),
) -> Result<Vec<Otherwise>, PolicyError> {
    let mut all = Vec::new();
    let as_it_stands = ("none", String::new(), String::new(), question.shop.clone());
    for (assumption, stands, instead, shop) in std::iter::once(as_it_stands).chain(turned(&question.shop)) {
        let question = Question { shop, ..question.clone() };
        let draws = Draws::new(&question, effort.builds, effort.seed, "search")?;
        let choices = FOR_AN_ASSUMPTION.min(effort.choices);
        let tried = done + (all.len() * choices) as u64;
        let mut search = Search::new(&question, &draws, choices, progress).one_of(tried, expected);
        let Some(same) = search.try_one(&best.choice) else { break };
        let found = search.walk(&best.choice, aim, Free::Everything);
        let found = search.cheapest(aim, 1).pop().or(found).unwrap_or_else(|| same.clone());
        if search.stopped {
            break;
        }
        all.push(Otherwise { assumption, stands, instead, same, best: found });
    }
    Ok(all)
}

/// The shop with one assumption turned at a time: which, as it stands, instead.
fn turned(shop: &Shop) -> Vec<(&'static str, String, String, Shop)> {
    let words = |shop: &Shop| {
        [
            match shop.packets {
                Packets::EachBuild => "new for each build",
                Packets::Year => "the same for a year",
            },
            if shop.second_fitting { "made where the first reads outside" } else { "not made" },
            match shop.touched {
                Touched::Pieces => "every piece",
                Touched::Places => "every side of a rocker",
            },
            if shop.drawn_measured { "measured" } else { "not measured" },
            match shop.measuring {
                Measuring::FittedOnly => "nobody",
                Measuring::WholeDrawer => "the shop, once a year",
            },
            if shop.repeatability <= 0.0 {
                "the same at every reading of a build"
            } else if shop.repeatability < shop.u_offset {
                "partly the same at every reading"
            } else {
                "new at each reading"
            },
        ]
    };
    let packets = match shop.packets {
        Packets::EachBuild => Packets::Year,
        Packets::Year => Packets::EachBuild,
    };
    let touched = match shop.touched {
        Touched::Pieces => Touched::Places,
        Touched::Places => Touched::Pieces,
    };
    let measuring = match shop.measuring {
        Measuring::FittedOnly => Measuring::WholeDrawer,
        Measuring::WholeDrawer => Measuring::FittedOnly,
    };
    // Whatever of it stands, the other end is looked at.
    let repeatability = if shop.repeatability < shop.u_offset { shop.u_offset } else { 0.0 };
    let shops = [
        ("packets", 0, Shop { packets, ..shop.clone() }),
        ("second fitting", 1, Shop { second_fitting: !shop.second_fitting, ..shop.clone() }),
        ("what counts as touched", 2, Shop { touched, ..shop.clone() }),
        ("shims and washers of the drawing", 3, Shop { drawn_measured: !shop.drawn_measured, ..shop.clone() }),
        ("who pays for measuring what is not fitted", 4, Shop { measuring, ..shop.clone() }),
        ("what the gauge has wrong", 5, Shop { repeatability, ..shop.clone() }),
    ];
    let now = words(shop);
    let mut all: Vec<(&'static str, String, String, Shop)> = Vec::new();
    for (what, at, other) in shops {
        let instead = words(&other)[at].to_owned();
        all.push((what, now[at].to_owned(), instead, other));
    }
    let year = Shop { packets: Packets::Year, ceiling_for: CeilingFor::BadYear, ..shop.clone() };
    if shop.ceiling_for == CeilingFor::Mean || shop.packets == Packets::EachBuild {
        let instead = "a bad year's share, packets lasting a year".to_owned();
        all.push(("what the ceiling holds for", "the mean".to_owned(), instead, year));
    }
    all
}
