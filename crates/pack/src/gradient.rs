//! Partial derivatives of every quantity to every dimension, exact: the equilibrium by the implicit function theorem.
//!
//! Let A be the spring washers that still give, B those pressed flat, kᵢ = ∂Fᵢ/∂δᵢ their rates, mᵢ their rooms. From
//! `Fᵢ(δᵢ, θ) = F` for every i in A and `Σ_A δᵢ + Σ_B mᵢ = D` follow, with `K = 1/Σ_A(1/kᵢ)`, `wᵢ = K/kᵢ` and
//! `gᵢ = ∂Fᵢ/∂θ` at fixed deflection,
//!
//! - `dF = K·(dD − Σ_B dm) + Σ_A wᵢ·gᵢ·dθ`
//! - `dδᵢ = wᵢ·(dD − Σ_B dm) + (Σ_A wⱼ·gⱼ·dθ − gᵢ·dθ)/kᵢ` in A, `dδᵢ = dmᵢ` in B.
//!
//! Every quantity is a function of F, D, the heights free − δ, and a few dimensions of its own; what follows gathers the
//! coefficients of dD, dm and gᵢ·dθ first and then visits each dimension once.

use crate::equilibrium::{Settled, growth, settle};
use crate::evaluate::nearest_and_farthest;
use crate::model::{DimensionId, Pack, PartKind};
use crate::quantity::Quantity;
use crate::spring::at;
use crate::stress::stress_slopes;

/// How a quantity answers to the state of its bay.
#[derive(Debug, Clone, Copy, Default)]
struct Response {
    value: f64,
    /// ∂/∂F.
    load: f64,
    /// ∂/∂D where the bay is loose.
    interference: f64,
    /// ∂/∂x of the left face of part `rocker`.
    face: f64,
    rocker: usize,
    /// ∂/∂ height of part `spring`.
    height: f64,
    spring: usize,
}

impl Pack {
    /// Value of a quantity (the middle of a loose bay's range) and, in `gradient`, its partial derivative to every
    /// dimension of the pack, in the quantity's unit per the dimension's.
    ///
    /// At a corner it is the derivative towards one side: the loose, not yet flat side where a bay is about to come loose or a
    /// washer to lie flat, and the side of a growing offset where the contact lies on the stem's axis exactly and does not
    /// sweep. None where there is no derivative: the bay cannot be assembled, or a load curve is level.
    ///
    /// # Panics
    ///
    /// If `gradient` does not have one place per dimension, or an index is not of this pack.
    ///
    /// # Examples
    ///
    /// ```
    /// # use packdrift_pack::*;
    /// # let id = DimensionId;
    /// # let dimension = |path: &str| Dimension { path: path.into(), unit: "mm" };
    /// # let linear = SpringLaw::Linear { rate: id(2), free_height: id(3), solid_height: None };
    /// # let part = |name: &str, kind| Part { name: name.into(), kind, expansion: 11.5e-6 };
    /// # let pack = Pack {
    /// #     title: String::new(),
    /// #     reference_temperature: 20.0,
    /// #     conditions: vec![Condition { name: "assembly".into(), temperature: 20.0 }],
    /// #     bays: vec![Bay {
    /// #         name: "middle".into(),
    /// #         span: id(0),
    /// #         expansion: 23e-6,
    /// #         parts: vec![
    /// #             part("shim", PartKind::Solid { kind: SolidKind::Shim, thickness: id(1), bedding: None }),
    /// #             part("spring washer", PartKind::Spring(SpringWasher { law: linear, friction: None, set: None })),
    /// #         ],
    /// #         valves: vec![],
    /// #     }],
    /// #     dimensions: ["span", "shim/thickness", "spring/rate", "spring/free_height"].map(dimension).into(),
    /// # };
    /// // A shim of 0.4 mm and a spring washer of 50 N/mm and 1.4 mm free height in a span of 1.5 mm: D = 0.3 mm, F = 15 N.
    /// let mut gradient = [0.0; 4];
    /// let preload = pack.gradient(&Quantity::Preload { bay: 0 }, 0, &[1.5, 0.4, 50.0, 1.4], &mut gradient);
    /// assert!((preload.unwrap() - 15.0).abs() < 1e-12);
    /// // To the span, the shim and the free height 50 N/mm each way, to the rate D.
    /// assert_eq!(gradient.map(|slope| (slope * 1e9).round() / 1e9), [-50.0, 50.0, 0.3, 50.0]);
    /// ```
    pub fn gradient(&self, quantity: &Quantity, condition: usize, x: &[f64], gradient: &mut [f64]) -> Option<f64> {
        assert_eq!(gradient.len(), self.dimensions.len(), "one partial derivative per dimension");
        gradient.fill(0.0);
        let bay = &self.bays[quantity.bay()];
        let settled = settle(bay, &self.conditions[condition], self.reference_temperature, x).ok()?;
        let response = self.direct(quantity, condition, x, &settled, gradient)?;
        self.through_the_bay(quantity.bay(), condition, x, &settled, response, gradient)?;
        let value = response.value;
        (value.is_finite() && gradient.iter().all(|slope| slope.is_finite())).then_some(value)
    }

    /// Adds what a quantity owes to dimensions of its own, and tells how it answers to the bay's state.
    fn direct(
        &self,
        quantity: &Quantity,
        condition: usize,
        x: &[f64],
        settled: &Settled<'_>,
        gradient: &mut [f64],
    ) -> Option<Response> {
        let bay = &self.bays[quantity.bay()];
        let play = settled.play();
        let face = |part: usize| self.left_face(quantity.bay(), part, condition, x, settled);
        let pushed_left = |valve: usize| self.offset_pushed_left(quantity.bay(), valve, condition, x, &face);
        let mut add = |id: DimensionId, slope: f64| {
            if let Some(place) = gradient.get_mut(id.0) {
                *place += slope;
            }
        };
        match *quantity {
            Quantity::Preload { .. } => Some(Response { value: settled.load, load: 1.0, ..Response::default() }),
            Quantity::Play { .. } => {
                Some(Response { value: play, interference: if play > 0.0 { -1.0 } else { 0.0 }, ..Response::default() })
            }
            Quantity::Height { bay, part } => {
                let data = &self.bays[bay].parts[part];
                let value = self.length(bay, part, condition, x, settled);
                match &data.kind {
                    PartKind::Solid { .. } | PartKind::Rocker { .. } => {
                        let scale = growth(data.expansion, &self.conditions[condition], self.reference_temperature);
                        for (id, sign) in data.kind.rigid_length() {
                            add(id, sign * scale);
                        }
                        Some(Response { value, ..Response::default() })
                    }
                    PartKind::Spring(_) => Some(Response { value, height: 1.0, spring: part, ..Response::default() }),
                }
            }
            Quantity::Offset { valve, .. } => {
                let left = pushed_left(valve);
                self.offset_slopes(quantity.bay(), valve, condition, 1.0, &mut add)?;
                Some(Response {
                    value: left + 0.5 * play,
                    face: 1.0,
                    rocker: bay.valves[valve].rocker,
                    interference: if play > 0.0 { -0.5 } else { 0.0 },
                    ..Response::default()
                })
            }
            Quantity::EdgeMargin { valve, .. } => {
                let data = &bay.valves[valve];
                let contact = data.contact.as_ref()?;
                let values = self.contact_values(contact, condition, x);
                let left = pushed_left(valve);
                let right = left + play;
                // The middle of the range is the mean of the margins at its two ends.
                let (nearest, farthest) = nearest_and_farthest(left, right);
                let (mut by_left, mut by_play, mut by_sweep, mut value) = (0.0, 0.0, 0.0, 0.0);
                #[allow(clippy::float_cmp, reason = "an end of the range is a copy of one of the two, or the axis")]
                for end in [nearest, farthest] {
                    let distance = values.distance(end);
                    value += 0.5 * values.edge_margin(end);
                    // Between the ends of a range that spans the axis the nearest place stays the axis itself.
                    let moves = end == left || end == right;
                    if distance > 0.0 {
                        by_sweep -= 0.5 * values.sweep / distance;
                        if moves {
                            by_left -= 0.5 * end / distance;
                            by_play -= if play > 0.0 && end == right { 0.5 * end / distance } else { 0.0 };
                        }
                    } else {
                        // On the axis, without a sweep, √(offset² + sweep²) has a corner: its slope as the offset or the
                        // sweep grows, so that the margin is seen to depend on what moves the rocker.
                        by_sweep -= 0.5;
                        if moves {
                            by_left -= 0.5;
                            by_play -= if play > 0.0 && end == right { 0.5 } else { 0.0 };
                        }
                    }
                }
                self.offset_slopes(quantity.bay(), valve, condition, by_left, &mut add)?;
                let stem = growth(contact.stem_expansion, &self.conditions[condition], self.reference_temperature);
                let adjuster =
                    growth(contact.adjuster_expansion, &self.conditions[condition], self.reference_temperature);
                add(contact.stem_end_diameter, 0.5 * stem);
                add(contact.stem_end_chamfer, -stem);
                add(contact.sweep, by_sweep * adjuster);
                let patch = values.patch_slopes();
                add(contact.adjuster_tip_radius, -patch.tip_radius * adjuster);
                add(contact.valve_load, -patch.load);
                if let Some(id) = contact.tip_wear {
                    add(id, -patch.wear * adjuster);
                }
                Some(Response {
                    value,
                    face: by_left,
                    rocker: data.rocker,
                    interference: -by_play,
                    ..Response::default()
                })
            }
            Quantity::ContactPressure { valve, .. } => {
                let contact = bay.valves[valve].contact.as_ref()?;
                let values = self.contact_values(contact, condition, x);
                let value = values.peak_pressure();
                // p0 = (6·F·E*²/(π³·R²))^(1/3).
                add(contact.valve_load, value / (3.0 * values.load));
                add(contact.adjuster_tip_radius, -2.0 * value / (3.0 * at(x, contact.adjuster_tip_radius)));
                Some(Response { value, ..Response::default() })
            }
            Quantity::Stress { bay, part, point } => {
                let data = &self.bays[bay].parts[part];
                let PartKind::Spring(washer) = &data.kind else { return None };
                let place = self.bays[bay].parts[..part].iter().filter(|part| part.kind.is_spring()).count();
                let scale = growth(data.expansion, &self.conditions[condition], self.reference_temperature);
                let spring = &settled.springs[place];
                let deflection = settled.deflections[place];
                let (value, by_deflection) = stress_slopes(washer, point, scale, x, deflection, &mut add)?;
                // The deflection is the free height less the height under load.
                spring.partials(washer, scale, x, deflection, &mut |id, partial| {
                    add(id, by_deflection * (partial.flat_height + partial.room));
                });
                Some(Response { value, height: -by_deflection, spring: part, ..Response::default() })
            }
        }
    }

    /// Adds the slopes of an offset to its adjuster and stem, times `weight`.
    fn offset_slopes(
        &self,
        bay: usize,
        valve: usize,
        condition: usize,
        weight: f64,
        add: &mut dyn FnMut(DimensionId, f64),
    ) -> Option<()> {
        let bay = &self.bays[bay];
        let valve = &bay.valves[valve];
        let rocker = &bay.parts[valve.rocker];
        let PartKind::Rocker { adjuster, .. } = rocker.kind else { return None };
        let grown = |expansion: f64| growth(expansion, &self.conditions[condition], self.reference_temperature);
        add(adjuster, weight * grown(rocker.expansion));
        add(valve.stem, -weight * grown(bay.expansion));
        Some(())
    }

    /// Adds what a quantity owes to the dimensions of the bay through its equilibrium.
    fn through_the_bay(
        &self,
        bay: usize,
        condition: usize,
        x: &[f64],
        settled: &Settled<'_>,
        response: Response,
        gradient: &mut [f64],
    ) -> Option<()> {
        let bay = &self.bays[bay];
        let grown = |expansion: f64| growth(expansion, &self.conditions[condition], self.reference_temperature);
        let mut add = |id: DimensionId, slope: f64| {
            if let Some(place) = gradient.get_mut(id.0) {
                *place += slope;
            }
        };
        // qᵢ = ∂/∂heightᵢ of every washer.
        let mut by_height = Vec::with_capacity(settled.springs.len());
        for (index, part) in bay.parts.iter().enumerate() {
            if matches!(part.kind, PartKind::Spring(_)) {
                let left_of_rocker = if index < response.rocker { response.face } else { 0.0 };
                by_height.push(left_of_rocker + if index == response.spring { response.height } else { 0.0 });
            }
        }
        let (sum, by_curve) = if settled.interference > 0.0 && !settled.springs.is_empty() {
            shared(settled, response.load, &by_height)?
        } else {
            (response.interference, vec![None; settled.springs.len()])
        };
        let loaded = settled.interference > 0.0;
        let mut spring = 0;
        for (index, part) in bay.parts.iter().enumerate() {
            let scale = grown(part.expansion);
            match &part.kind {
                PartKind::Solid { .. } | PartKind::Rocker { .. } => {
                    let direct = if index < response.rocker { response.face } else { 0.0 };
                    for (id, sign) in part.kind.rigid_length() {
                        add(id, sign * scale * (sum + direct));
                    }
                }
                PartKind::Spring(washer) => {
                    let q = by_height[spring];
                    let curve = by_curve[spring];
                    settled.springs[spring].partials(
                        washer,
                        scale,
                        x,
                        settled.deflections[spring],
                        &mut |id, partial| {
                            let free = partial.flat_height + partial.room;
                            let mut slope = (sum + q) * free;
                            match curve {
                                Some(weight) => slope += weight * partial.load,
                                None if loaded => slope -= (sum + q) * partial.room,
                                None => {}
                            }
                            add(id, slope);
                        },
                    );
                    spring += 1;
                }
            }
        }
        add(bay.span, -grown(bay.expansion) * sum);
        Some(())
    }
}

/// Coefficient of dD, and for each washer that still gives the coefficient of gᵢ·dθ (None: flat).
fn shared(settled: &Settled<'_>, by_load: f64, by_height: &[f64]) -> Option<(f64, Vec<Option<f64>>)> {
    let springs = &settled.springs;
    let mut gives: Vec<bool> =
        springs.iter().zip(&settled.deflections).map(|(spring, deflection)| *deflection < spring.room).collect();
    if !gives.contains(&true) {
        // D is all they can take, to the last bit. The last to go flat is the one with the highest load there.
        let last = (0..springs.len()).max_by(|&a, &b| springs[a].flat_load.total_cmp(&springs[b].flat_load))?;
        gives[last] = true;
    }
    let rates: Vec<f64> =
        springs.iter().zip(&settled.deflections).map(|(spring, deflection)| spring.rate(*deflection)).collect();
    if gives.iter().filter(|gives| **gives).count() == 1 {
        // δ = D − Σ_B m whatever the curve: no division by a rate that may be 0.
        let k = gives.iter().position(|gives| *gives)?;
        let mut by_curve = vec![None; springs.len()];
        by_curve[k] = Some(by_load);
        return Some((by_load * rates[k] - by_height[k], by_curve));
    }
    let compliance: f64 = rates.iter().zip(&gives).filter(|(_, gives)| **gives).map(|(rate, _)| 1.0 / rate).sum();
    let joint = 1.0 / compliance;
    let weighted = |f: &dyn Fn(usize) -> f64| -> f64 { (0..springs.len()).filter(|&k| gives[k]).map(f).sum() };
    let sum = by_load * joint - weighted(&|k| by_height[k] * joint / rates[k]);
    let common = by_load - weighted(&|k| by_height[k] / rates[k]);
    let by_curve =
        (0..springs.len()).map(|k| gives[k].then(|| joint / rates[k] * common + by_height[k] / rates[k])).collect();
    sum.is_finite().then_some((sum, by_curve))
}
