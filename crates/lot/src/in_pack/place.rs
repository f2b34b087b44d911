//! Where in the pack a lot belongs.

use crate::LotError;
use packdrift_pack::{PartKind, SolidKind};
use packdrift_spread::{Distribution, Stack};

/// The dimensions that get the lot's scatter.
#[derive(Debug, Clone)]
pub(super) struct Place {
    /// Indices into the stack's inputs, at least one.
    pub(super) inputs: Vec<usize>,
    /// Index of the pack's own lot they came from.
    lot: Option<usize>,
}

impl Place {
    pub(super) fn find(stack: &Stack, name: &str) -> Result<Self, LotError> {
        if let Some(lot) = stack.lots.iter().position(|l| l.name == name) {
            let inputs: Vec<usize> = (0..stack.inputs.len()).filter(|&i| stack.inputs[i].lot == Some(lot)).collect();
            if !inputs.is_empty() {
                return Ok(Self { inputs, lot: Some(lot) });
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
        Ok(Self { inputs, lot })
    }

    /// The thicknesses of all shims.
    pub(super) fn shims(stack: &Stack) -> Result<Self, LotError> {
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
        Ok(Self { inputs, lot: None })
    }

    /// The stack with these dimensions exact at their nominal, out of their lot and without ties; and how many ties fell away.
    pub(super) fn without(&self, stack: &Stack) -> (Stack, usize) {
        let mut bare = stack.clone();
        for &i in &self.inputs {
            let input = &mut bare.inputs[i];
            input.lot = None;
            input.distribution = Distribution::Exact { value: input.nominal };
        }
        bare.correlations.retain(|c| !self.inputs.contains(&c.between.0) && !self.inputs.contains(&c.between.1));
        let dropped = stack.correlations.len() - bare.correlations.len();
        (bare, dropped)
    }

    /// The bare stack with a distribution made from each nominal.
    pub(super) fn with(&self, bare: &Stack, make: impl Fn(f64) -> Distribution) -> Stack {
        let mut stack = bare.clone();
        for &i in &self.inputs {
            let nominal = stack.inputs[i].nominal;
            stack.inputs[i].distribution = make(nominal);
        }
        stack
    }

    /// Bias and sd (within and between together) that the pack file assumes of the first of the dimensions.
    pub(super) fn assumed(&self, stack: &Stack) -> (f64, f64) {
        let input = &stack.inputs[self.inputs[0]];
        let (bias, between) = self.lot.map_or((0.0, 0.0), |l| (stack.lots[l].bias, stack.lots[l].between));
        (bias + input.distribution.mean() - input.nominal, between.hypot(input.distribution.sd()))
    }
}
