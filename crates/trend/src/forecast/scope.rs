//! By what valves are judged, and whose chances are worked out here.

use super::Chances;
use crate::policy::Policy;
use crate::segments::share;
use packdrift_numerics::shard::Shard;

/// The policy, and whose chances and hours of crossing are computed.
#[derive(Clone, Copy)]
pub(crate) struct ForecastScope<'a> {
    pub(crate) policy: Option<&'a Policy>,
    valves: Valves<'a>,
}

#[derive(Clone, Copy)]
enum Valves<'a> {
    /// Every valve's.
    All,
    /// Those of a share of the engines' valves.
    Of(Shard),
    /// None's: they come from elsewhere.
    Given(&'a Given<'a>),
}

/// Chances worked out elsewhere: by feature, place among its valves, and number of the answer.
pub(crate) type Given<'a> = dyn Fn(&str, usize, usize) -> Option<Chances> + Sync + 'a;

impl<'a> ForecastScope<'a> {
    /// Every valve, by the policy.
    pub(crate) fn all(policy: Option<&'a Policy>) -> Self {
        Self { policy, valves: Valves::All }
    }

    /// The valves of a share of the engines.
    pub(crate) fn share(policy: &'a Policy, shard: Shard) -> Self {
        Self { policy: Some(policy), valves: Valves::Of(shard) }
    }

    /// No valve: the chances come from elsewhere.
    pub(crate) fn given(policy: &'a Policy, chances: &'a Given<'a>) -> Self {
        Self { policy: Some(policy), valves: Valves::Given(chances) }
    }

    /// Places among a feature's valves of those that are judged; `engines` has the engine of each, neighbours together.
    pub(crate) fn places(&self, engines: &[u32]) -> std::ops::Range<usize> {
        match self.valves {
            Valves::All | Valves::Given(_) => 0..engines.len(),
            Valves::Of(shard) => share(engines, shard),
        }
    }

    /// The chances of a valve's k-th answer, where they come from elsewhere: `Some(None)` where they should and do not.
    #[allow(
        clippy::option_option,
        reason = "whether chances come from elsewhere, and whether they came, are two questions"
    )]
    pub(super) fn elsewhere(&self, feature: &str, place: usize, k: usize) -> Option<Option<Chances>> {
        match self.valves {
            Valves::Given(chances) => Some(chances(feature, place, k)),
            Valves::All | Valves::Of(_) => None,
        }
    }
}
