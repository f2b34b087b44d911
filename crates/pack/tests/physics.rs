//! What must hold of every bay, whatever its parts: properties of the physics, over random bays.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

mod support;

use packdrift_pack::{Equilibrium, Outcome, PartKind, Quantity, Query, SpringLaw, SpringWasher, disc::Disc};
use packdrift_pack::{curved_rate, wave_rate};
use proptest::prelude::*;
use support::Bench;
use support::random::bay;

fn close(a: f64, b: f64, tolerance: f64) -> bool {
    (a - b).abs() <= tolerance * a.abs().max(b.abs()).max(1.0)
}

fn settled(bench: &Bench, condition: usize) -> Equilibrium {
    bench.pack.equilibrium(0, condition, &bench.x).unwrap()
}

/// The load of a washer at a deflection, by the public functions of the laws, at the reference temperature.
fn load_of(bench: &Bench, part: usize, deflection: f64) -> f64 {
    let at = |id: packdrift_pack::DimensionId| bench.x[id.0];
    let PartKind::Spring(SpringWasher { law, friction, set }) = &bench.pack.bays[0].parts[part].kind else { panic!() };
    let set = set.map_or(1.0, at);
    friction.map_or(1.0, at)
        * match law {
            SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, elastic } => Disc {
                outer_diameter: at(*outer_diameter),
                inner_diameter: at(*inner_diameter),
                thickness: at(*thickness),
                cone_height: set * at(*cone_height),
                elastic: *elastic,
            }
            .load(deflection),
            SpringLaw::Wave { outer_diameter, inner_diameter, thickness, waves, factor, elastic, .. } => {
                let rate =
                    wave_rate(at(*outer_diameter), at(*inner_diameter), at(*thickness), *waves, *factor, elastic);
                rate * deflection
            }
            SpringLaw::Curved { outer_diameter, inner_diameter, thickness, elastic, .. } => {
                curved_rate(at(*outer_diameter), at(*inner_diameter), at(*thickness), elastic) * deflection
            }
            SpringLaw::Linear { rate, .. } => at(*rate) * deflection,
            SpringLaw::Table { curve, .. } => {
                // Rounding may put a deflection a bit beyond the last point.
                curve.load("table", deflection.min(*curve.deflection.last().unwrap())).unwrap()
            }
        }
}

proptest! {
    #![proptest_config(support::cases(256))]

    /// Washers in series carry one load, their deflections add to D, and the parts fill the span.
    #[test]
    fn equilibrium_is_one(spec in bay(1.8, 0.01..1.0)) {
        let bench = spec.build();
        prop_assume!(!settled(&bench, 0).springs.is_empty());
        let state = settled(&bench, 0);
        let sum: f64 = state.springs.iter().map(|spring| spring.deflection).sum();
        prop_assert!(close(sum, state.interference, 1e-13), "{} is not D = {}", sum, state.interference);
        for spring in &state.springs {
            let load = load_of(&bench, spring.part, spring.deflection);
            if spring.flat {
                prop_assert!(load <= state.load * (1.0 + 1e-9), "flat below its load: {:?}", state);
            } else {
                prop_assert!(close(load, state.load, 1e-8), "{} N in a bay at {} N", load, state.load);
            }
        }
        let filled = state.left_faces.last().unwrap() + state.lengths.last().unwrap();
        prop_assert!(close(filled, state.span, 1e-13));
        prop_assert!(state.play == 0.0 && state.load > 0.0);
    }

    /// D = Σ thicknesses + Σ free heights − span, each grown by its own material.
    #[test]
    fn every_length_grows_with_its_own_material(spec in bay(1.4, -0.3..0.9), temperature in -40.0..150.0) {
        let mut bench = spec.build();
        bench.pack.conditions[1].temperature = temperature;
        let grown = |expansion: f64, id: packdrift_pack::DimensionId| {
            bench.x[id.0] * (1.0 + expansion * (temperature - bench.pack.reference_temperature))
        };
        let data = &bench.pack.bays[0];
        let mut expected = -grown(data.expansion, data.span);
        for part in &data.parts {
            expected += match &part.kind {
                PartKind::Solid { thickness, bedding, .. } => {
                    grown(part.expansion, *thickness) - bedding.map_or(0.0, |id| grown(part.expansion, id))
                }
                PartKind::Rocker { width, .. } => grown(part.expansion, *width),
                PartKind::Spring(SpringWasher { law, set, .. }) => {
                    let set = set.map_or(1.0, |id| bench.x[id.0]);
                    let (free, solid) = match law {
                        SpringLaw::Disc { thickness, cone_height, .. } => {
                            let t = grown(part.expansion, *thickness);
                            (t + grown(part.expansion, *cone_height), t)
                        }
                        SpringLaw::Wave { free_height, solid_height, thickness, .. }
                        | SpringLaw::Curved { free_height, solid_height, thickness, .. } => (
                            grown(part.expansion, *free_height),
                            grown(part.expansion, solid_height.unwrap_or(*thickness)),
                        ),
                        SpringLaw::Linear { free_height, solid_height, .. } => (
                            grown(part.expansion, *free_height),
                            solid_height.map_or(0.0, |id| grown(part.expansion, id)),
                        ),
                        SpringLaw::Table { free_height, solid_height, curve } => {
                            let free = grown(part.expansion, *free_height);
                            let end = curve.deflection.last().unwrap() * grown(part.expansion, *free_height) / bench.x[free_height.0];
                            (free, solid_height.map_or(free - end, |id| grown(part.expansion, id)))
                        }
                    };
                    solid + set * (free - solid)
                }
            };
        }
        let got = match bench.pack.equilibrium(0, 1, &bench.x) {
            Ok(state) => state.interference,
            Err(unable) => unable.interference,
        };
        prop_assert!((got - expected).abs() < 1e-12, "{} is not {}", got, expected);
    }

    /// Squeezing further never lowers the load of discs below √2 and of the other laws, and never by jumps: the load rises by
    /// at most the sum of the rates.
    #[test]
    fn load_rises_with_interference(spec in bay(1.41, 0.0..1.0)) {
        let mut bench = spec.build();
        let room = settled(&bench, 0).room;
        prop_assume!(room > 0.0);
        let mut last: Option<(f64, Equilibrium)> = None;
        for step in 0..=200 {
            let interference = room * f64::from(step) / 200.0 * 0.999_999;
            bench.interfere(0, interference);
            let state = settled(&bench, 0);
            if let Some((before, earlier)) = last {
                prop_assert!(state.load > before, "{} N after {} N at {} mm", state.load, before, interference);
                for (now, then) in state.springs.iter().zip(&earlier.springs) {
                    // No washer gives way while the pack is squeezed.
                    prop_assert!(now.deflection >= then.deflection - 1e-12);
                }
            }
            last = Some((state.load, state));
        }
    }

    /// With steep discs too, every washer is on its first branch, pressed flat, or the one that is giving way.
    #[test]
    fn at_most_one_disc_gives_way(spec in bay(3.0, 0.01..1.0)) {
        let bench = spec.build();
        let state = settled(&bench, 0);
        let mut giving_way = 0;
        for spring in &state.springs {
            if let Some(disc) = bench.pack.disc(0, spring.part, 0, &bench.x)
                && let Some(peak) = disc.peak()
                && !spring.flat
                && spring.deflection > peak.deflection * (1.0 + 1e-9)
            {
                giving_way += 1;
            }
        }
        prop_assert!(giving_way <= 1, "{:?}", state);
    }

    /// Two solids side by side may change places: nothing moves but they.
    #[test]
    fn neighbours_may_change_places(spec in bay(1.8, -0.3..0.95), a in 0.1..2.0, b in 0.1..2.0, at in 0_usize..8) {
        let mut bench = spec.build();
        let at = at.min(bench.pack.bays[0].parts.len());
        for (name, thickness) in [("first", a), ("second", b)] {
            let index = bench.solid(name, thickness);
            let part = bench.pack.bays[0].parts.remove(index);
            bench.pack.bays[0].parts.insert(at, part);
        }
        for valve in &mut bench.pack.bays[0].valves {
            if valve.rocker >= at { valve.rocker += 2; }
        }
        bench.interfere(0, if spec.share > 0.0 { spec.share * settled_room(&bench) } else { spec.share });
        let mut swapped = bench.clone();
        swapped.pack.bays[0].parts.swap(at, at + 1);
        for condition in 0..2 {
            let (before, after) = match (
                bench.pack.equilibrium(0, condition, &bench.x), swapped.pack.equilibrium(0, condition, &swapped.x)
            ) {
                (Ok(before), Ok(after)) => (before, after),
                // At the very end of the room one may be a rounding beyond it.
                (before, after) => { prop_assert_eq!(before.is_ok(), after.is_ok()); continue; }
            };
            prop_assert!(close(before.load, after.load, 1e-9) && close(before.interference, after.interference, 1e-13));
            for (part, (x, y)) in before.left_faces.iter().zip(&after.left_faces).enumerate() {
                if part != at + 1 { prop_assert!((x - y).abs() < 1e-9, "part {} moved", part); }
            }
            prop_assert!((before.left_faces[at] + after.lengths[at] - after.left_faces[at + 1]).abs() < 1e-12);
        }
    }

    /// What one solid gains and another loses leaves preload and play alone, and moves what lies between by as much.
    #[test]
    fn sums_are_invariant(spec in bay(1.8, -0.3..0.95), moved in 0.001..0.05_f64) {
        let mut bench = spec.build();
        // The first and the last part: everything lies between.
        let first = bench.solid("first", 0.5);
        let part = bench.pack.bays[0].parts.remove(first);
        bench.pack.bays[0].parts.insert(0, part);
        for valve in &mut bench.pack.bays[0].valves { valve.rocker += 1; }
        bench.solid("last", 0.5);
        bench.interfere(0, if spec.share > 0.0 { spec.share * settled_room(&bench) } else { spec.share });
        let before = settled(&bench, 0);
        let offsets: Vec<Outcome> = (0..bench.pack.bays[0].valves.len()).map(|valve| bench.evaluate(Quantity::Offset { bay: 0, valve }, 0)).collect();
        bench.set("middle/first/thickness", 0.5 + moved);
        bench.set("middle/last/thickness", 0.5 - moved);
        let after = settled(&bench, 0);
        prop_assert!(close(before.load, after.load, 1e-9) && (before.play - after.play).abs() < 1e-12);
        for (valve, offset) in offsets.iter().enumerate() {
            let (now, then) = (bench.evaluate(Quantity::Offset { bay: 0, valve }, 0).ends().unwrap(), offset.ends().unwrap());
            prop_assert!((now.0 - then.0 - moved).abs() < 1e-9 && (now.1 - then.1 - moved).abs() < 1e-9);
        }
    }

    /// A bay seen from the other side is the same bay: same load, every part at the mirrored place.
    #[test]
    fn a_mirrored_bay_is_the_same_bay(spec in bay(1.41, -0.3..0.95)) {
        let bench = spec.build();
        let mut mirrored = bench.clone();
        mirrored.pack.bays[0].parts.reverse();
        mirrored.pack.bays[0].valves.clear();
        for condition in 0..2 {
            let (Ok(one), Ok(other)) = (
                bench.pack.equilibrium(0, condition, &bench.x), mirrored.pack.equilibrium(0, condition, &mirrored.x)
            ) else { continue };
            prop_assert!(close(one.load, other.load, 1e-8));
            let parts = one.lengths.len();
            for part in 0..parts {
                let from_right = other.span - other.left_faces[parts - 1 - part] - other.lengths[parts - 1 - part];
                // Pushed left in both: in the mirror that is pushed right.
                prop_assert!((one.left_faces[part] + one.play - from_right).abs() < 1e-9);
            }
        }
    }

    /// With one expansion coefficient everywhere the bay is the same bay at another scale: discs keep their share of
    /// flat, loads grow with the area, offsets and play with the length.
    #[test]
    fn one_coefficient_scales_everything(
        discs in proptest::collection::vec((15.0..50.0, 1.3..3.0, 0.3..1.2, 0.2..1.41), 1..4),
        share in -0.2..0.95, expansion in 5e-6..3e-5, temperature in -60.0..250.0,
    ) {
        let mut bench = Bench::new(50.0);
        bench.solid("shim", 0.4);
        let rocker = bench.rocker("rocker", 24.0, 11.3);
        for (k, (outer, ratio, t, cone)) in discs.iter().enumerate() {
            bench.disc(&format!("disc {k}"), *outer, outer / ratio, *t, cone * t);
        }
        bench.valve("exhaust", rocker, 11.0);
        bench.interfere(0, -1.0);
        let room = settled(&bench, 0).room;
        bench.interfere(0, if share > 0.0 { share * room } else { share });
        bench.pack.bays[0].expansion = expansion;
        for part in &mut bench.pack.bays[0].parts { part.expansion = expansion; }
        bench.pack.conditions[1].temperature = temperature;
        let scale = 1.0 + expansion * (temperature - 20.0);
        let (cold, warm) = (settled(&bench, 0), settled(&bench, 1));
        prop_assert!(close(warm.load, cold.load * scale * scale, 1e-8));
        prop_assert!((warm.play - cold.play * scale).abs() < 1e-11);
        for (warm, cold) in warm.springs.iter().zip(&cold.springs) {
            prop_assert!((warm.deflection / warm.room - cold.deflection / cold.room).abs() < 1e-8);
        }
        let offset = |condition| bench.evaluate(Quantity::Offset { bay: 0, valve: 0 }, condition).ends().unwrap();
        prop_assert!((offset(1).0 - offset(0).0 * scale).abs() < 1e-8 && (offset(1).1 - offset(0).1 * scale).abs() < 1e-8);
    }

    /// From loose to loaded nothing jumps.
    #[test]
    fn a_bay_comes_loose_without_a_jump(spec in bay(1.8, 0.01..0.02)) {
        let mut bench = spec.build();
        prop_assume!(!settled(&bench, 0).springs.is_empty());
        bench.interfere(0, 1e-9);
        let loaded = settled(&bench, 0);
        let tight: Vec<_> = bench.quantities().into_iter().map(|quantity| bench.evaluate(quantity, 0)).collect();
        bench.interfere(0, -1e-9);
        let loose = settled(&bench, 0);
        prop_assert!(loaded.load > 0.0 && loaded.play == 0.0 && loose.load == 0.0 && loose.play > 0.0);
        for (quantity, tight) in bench.quantities().into_iter().zip(tight) {
            let (tight, loose) = (tight.ends().unwrap(), bench.evaluate(quantity, 0).ends().unwrap());
            // A stiff bay reaches thousands of N/mm: 1e-9 mm is 1e-4 N at the most.
            let allowed = if quantity.unit() == "mm" { 1e-8 } else { 1e-3 };
            prop_assert!((tight.0 - loose.0).abs() < allowed && (tight.1 - loose.1).abs() < allowed, "{:?}", quantity);
        }
    }

    /// A washer goes flat without a jump of the load.
    #[test]
    fn a_washer_goes_flat_without_a_jump(rates in (50.0..500.0_f64, 50.0..500.0_f64), rooms in (0.2..0.6_f64, 0.2..0.6_f64), t in 0.4..1.2) {
        let mut bench = Bench::new(50.0);
        bench.linear("one", rates.0, 1.0 + rooms.0, Some(1.0));
        bench.linear("two", rates.1, 1.0 + rooms.1, Some(1.0));
        bench.disc("disc", 30.0, 16.0, t, 0.8 * t);
        let disc = bench.pack.disc(0, 2, 0, &bench.x).unwrap();
        // D at which `one` goes flat, worked out backwards from its load there.
        let corner = rates.0 * rooms.0;
        let stiffest = rates.0.max(rates.1) + disc.rate(0.0);
        for load in [corner, rates.1 * rooms.1] {
            let deflections = (load / rates.0).min(rooms.0) + (load / rates.1).min(rooms.1);
            let Some(of_disc) = inverse(&disc, load) else { continue };
            let step = 1e-7;
            let at = |bench: &mut Bench, interference: f64| { bench.interfere(0, interference); settled(bench, 0).load };
            let below = at(&mut bench, deflections + of_disc - step);
            let above = at(&mut bench, deflections + of_disc + step);
            prop_assert!(below < load && load < above, "{} {} {}", below, load, above);
            prop_assert!(above - below <= 2.0 * step * stiffest * 1.01);
        }
    }

    /// Whatever the values, there is an answer, and it holds no NaN.
    #[test]
    fn nothing_panics(spec in bay(3.0, -0.3..1.2), values in proptest::collection::vec(wild(), 60), kept in 0_usize..3) {
        let mut bench = spec.build();
        for (k, (x, wild)) in bench.x.iter_mut().zip(values).enumerate() {
            if k % 3 >= kept { *x = wild; }
        }
        let queries: Vec<Query> = bench.quantities().into_iter().map(|quantity| Query { quantity, condition: 1 }).collect();
        let plan = bench.pack.plan(&queries);
        let mut block = plan.block(1);
        let columns: Vec<&[f64]> = bench.x.iter().map(std::slice::from_ref).collect();
        plan.evaluate(&columns, 1, &mut block);
        let mut gradient = vec![0.0; bench.x.len()];
        for ask in queries {
            match bench.evaluate(ask.quantity, ask.condition) {
                Outcome::Value(value) => prop_assert!(value.is_finite()),
                Outcome::Range { low, high } => prop_assert!(low.is_finite() && high.is_finite() && low <= high),
                Outcome::CannotAssemble => {}
            }
            if let Some(value) = bench.pack.gradient(&ask.quantity, ask.condition, &bench.x, &mut gradient) {
                prop_assert!(value.is_finite() && gradient.iter().all(|slope| slope.is_finite()));
            }
        }
        let _ = bench.pack.validate(&bench.x).iter().map(ToString::to_string).collect::<String>();
        let _ = bench.pack.warnings(&bench.x).iter().map(ToString::to_string).collect::<String>();
    }
}

/// Any double, and values near the ordinary ones more often than chance.
fn wild() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        -5.0..5.0,
        0.0..60.0,
        prop_oneof![
            Just(0.0),
            Just(-0.0),
            Just(f64::NAN),
            Just(f64::INFINITY),
            Just(1e308),
            Just(-1e308),
            Just(5e-324)
        ],
    ]
}

fn settled_room(bench: &Bench) -> f64 {
    let mut free = bench.clone();
    free.x[0] = 1000.0;
    settled(&free, 0).room
}

/// Deflection of a disc under a load, by halving.
fn inverse(disc: &Disc, load: f64) -> Option<f64> {
    let (mut a, mut b) = (0.0, disc.cone_height);
    if disc.load(b) < load {
        return None;
    }
    for _ in 0..200 {
        let middle = 0.5 * (a + b);
        if disc.load(middle) < load { a = middle } else { b = middle }
    }
    Some(a)
}
