//! Where in the pack a lot belongs.

use packdrift_lot::LotError;
use packdrift_pack::{PartKind, SolidKind};
use packdrift_spread::{Correlation, Distribution, Stack};

/// The dimensions that get the lot's scatter.
#[derive(Debug, Clone)]
pub(crate) struct Place {
    /// Indices into the stack's inputs, at least one.
    pub(crate) inputs: Vec<usize>,
    /// Index of the pack's own lot they came from.
    lot: Option<usize>,
    /// Whether they are all of that lot.
    whole_lot: bool,
    /// What ties their own scatter to each other's and to that of others: it stays with a lot that is written in.
    ties: Vec<Correlation>,
}

impl Place {
    pub(crate) fn find(stack: &Stack, name: &str) -> Result<Self, LotError> {
        if let Some(lot) = stack.lots.iter().position(|l| l.name == name) {
            let inputs: Vec<usize> = (0..stack.inputs.len()).filter(|&i| stack.inputs[i].lot == Some(lot)).collect();
            if !inputs.is_empty() {
                return Ok(Self::of(stack, inputs, Some(lot), true));
            }
        }
        let prefix = format!("{name}/");
        let dimensions = &stack.pack.dimensions;
        let exact = dimensions.iter().position(|d| d.path == name);
        let inputs: Vec<usize> = match exact {
            Some(i) => vec![i],
            // A part by its path: its thickness or width, the one dimension of it that is stacked.
            None => (0..dimensions.len())
                .filter(|&i| {
                    dimensions[i].path.strip_prefix(&prefix).is_some_and(|rest| rest == "thickness" || rest == "width")
                })
                .collect(),
        };
        if inputs.is_empty() {
            let mut known: Vec<String> = stack.lots.iter().map(|l| l.name.clone()).collect();
            known.extend(dimensions.iter().filter_map(|d| d.path.strip_suffix("/thickness").map(str::to_string)));
            return Err(LotError::Unknown { kind: "lot or part of the pack", name: name.to_string(), known });
        }
        let lot = stack.inputs[inputs[0]].lot;
        Ok(Self::of(stack, inputs, lot, false))
    }

    fn of(stack: &Stack, inputs: Vec<usize>, lot: Option<usize>, whole_lot: bool) -> Self {
        let touches = |c: &&Correlation| inputs.contains(&c.between.0) || inputs.contains(&c.between.1);
        let ties = stack.correlations.iter().filter(touches).copied().collect();
        Self { inputs, lot, whole_lot, ties }
    }

    /// The same parts with nothing tied to them: a reading's error is its own.
    pub(crate) fn untied(self) -> Self {
        Self { ties: Vec::new(), ..self }
    }

    /// Whether the parts' own scatter is tied to anything.
    pub(crate) fn is_tied(&self) -> bool {
        !self.ties.is_empty()
    }

    /// The thicknesses of all shims.
    pub(crate) fn shims(stack: &Stack) -> Result<Self, LotError> {
        let mut inputs = Vec::new();
        for part in stack.pack.bays.iter().flat_map(|bay| &bay.parts) {
            if let PartKind::Solid { kind: SolidKind::Shim, thickness, .. } = part.kind
                && !inputs.contains(&thickness.0)
            {
                inputs.push(thickness.0);
            }
        }
        if inputs.is_empty() {
            return Err(LotError::TooFew {
                what: "a gauge in the pack".into(),
                found: 0,
                needed: 1,
                of: "shims in the pack",
            });
        }
        Ok(Self::of(stack, inputs, None, false))
    }

    /// The stack with these dimensions exact at their nominal, out of their lot and, since what does not scatter has none, without ties.
    pub(crate) fn without(&self, stack: &Stack) -> Stack {
        let mut bare = stack.clone();
        for &i in &self.inputs {
            let input = &mut bare.inputs[i];
            input.lot = None;
            input.distribution = Distribution::Exact { value: input.nominal };
        }
        bare.correlations.retain(|c| !self.inputs.contains(&c.between.0) && !self.inputs.contains(&c.between.1));
        bare
    }

    /// The bare stack with the lot written in, as its user would write it: a `[[lot]]` with this bias and no deviation between lots, since this packet's mean is
    /// measured, and parts that scatter by the sd; a part that is no lot gets mean and sd itself. Lengths in mm.
    pub(crate) fn written(&self, bare: &Stack, bias: f64, sd: f64) -> Stack {
        self.filled(
            bare,
            |nominal, own_bias| {
                let mean = nominal + own_bias;
                if sd > 0.0 { Distribution::Normal { mean, sd } } else { Distribution::Exact { value: mean } }
            },
            bias,
        )
    }

    /// The bare stack with readings in place of the parts, as deviations from nominal, mm.
    pub(crate) fn sampled(&self, bare: &Stack, deviations: &[f64]) -> Stack {
        let make = |nominal: f64, bias: f64| Distribution::Empirical {
            readings: deviations.iter().map(|d| nominal + bias + d).collect(),
        };
        self.filled(bare, make, 0.0)
    }

    fn filled(&self, bare: &Stack, make: impl Fn(f64, f64) -> Distribution, bias: f64) -> Stack {
        let mut stack = bare.clone();
        let lot = self.lot.filter(|_| self.whole_lot);
        if let Some(lot) = lot {
            (stack.lots[lot].bias, stack.lots[lot].between) = (bias, 0.0);
        }
        for &i in &self.inputs {
            let input = &mut stack.inputs[i];
            input.lot = lot;
            input.distribution = make(input.nominal, if lot.is_some() { 0.0 } else { bias });
        }
        // As `stack` would have it with the lot written in: a tie concerns a dimension's own scatter, whatever that is.
        let scatter = |c: &&Correlation| {
            !stack.inputs[c.between.0].distribution.is_exact() && !stack.inputs[c.between.1].distribution.is_exact()
        };
        let ties: Vec<Correlation> = self.ties.iter().filter(scatter).copied().collect();
        stack.correlations.extend(ties);
        stack
    }

    /// Bias and sd (within and between together) that the pack file assumes of the first of the dimensions.
    pub(crate) fn assumed(&self, stack: &Stack) -> (f64, f64) {
        let input = &stack.inputs[self.inputs[0]];
        let (bias, between) = self.lot.map_or((0.0, 0.0), |l| (stack.lots[l].bias, stack.lots[l].between));
        (bias + input.distribution.mean() - input.nominal, between.hypot(input.distribution.sd()))
    }
}
