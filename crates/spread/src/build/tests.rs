#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot build its input should stop")]

use super::*;
use crate::{Distribution, Options, Silent, analyse};
use packdrift_pack::{Elastic, StressPoint};

const STEEL: Elastic = Elastic { youngs_modulus: 206_000.0, poisson: 0.3 };

fn rocker(bay: BayBuilder) -> BayBuilder {
    let spring = SpringForm::Linear { rate: 150.0.into(), free_height: Known::toleranced(2.70, 0.06) };
    bay.rocker("rocker", 24.0, 11.0).spring("spring", spring).washer("outer", 1.97).valve("exhaust", "rocker", 10.05)
}

#[test]
fn a_pack_by_names_is_the_pack_by_places() {
    let stack = StackBuilder::new("one").bay("bay", 27.97, rocker).require(Require::preload("bay").at_least(75.0));
    let stack = stack.build().unwrap();
    let paths: Vec<&str> = stack.pack.dimensions.iter().map(|d| d.path.as_str()).collect();
    assert_eq!(
        paths,
        [
            "bay/span",
            "bay/rocker/width",
            "bay/rocker/adjuster",
            "bay/spring/free_height",
            "bay/spring/rate",
            "bay/outer/thickness",
            "bay/exhaust/stem",
        ]
    );
    // Squeeze 24 + 2.70 + 1.97 - 27.97 = 0.70 mm, at 150 N/mm; the scatter is that of the free height.
    let result = analyse(&stack, &Options { trials: Some(20_000), ..Options::default() }, &Silent).unwrap();
    let spread = result.requirements[0].root_sum_square.as_ref().unwrap();
    assert!((spread.mean - 105.0).abs() < 1e-9, "{spread:?}");
    assert!((spread.sd - 150.0 * 0.02).abs() < 1e-9, "{spread:?}");
}

#[test]
fn every_spring_law_and_every_quantity_can_be_built() {
    let ring = || (Known::exact(30.0), Known::exact(18.4), Known::exact(0.6));
    let forms: Vec<(SpringPart, StressPoint)> = vec![
        {
            let (outer_diameter, inner_diameter, thickness) = ring();
            let form =
                SpringForm::Disc { outer_diameter, inner_diameter, thickness, cone_height: 0.6.into(), elastic: STEEL };
            (form.with_friction(0.97).with_set(0.98), StressPoint::Iii)
        },
        {
            let (outer_diameter, inner_diameter, thickness) = ring();
            let free_height = 1.6.into();
            let form =
                SpringForm::Wave { outer_diameter, inner_diameter, thickness, free_height, waves: 3, elastic: STEEL };
            (form.into(), StressPoint::Bending)
        },
        {
            let (outer_diameter, inner_diameter, thickness) = ring();
            let form = SpringForm::Curved {
                outer_diameter,
                inner_diameter,
                thickness,
                free_height: 1.6.into(),
                elastic: STEEL,
            };
            (form.solid_at(0.65), StressPoint::Bending)
        },
    ];
    for (spring, point) in forms {
        let free = 24.0 + 1.2 + 1.0;
        let contact = ContactForm {
            stem_end_diameter: 8.0.into(),
            stem_end_chamfer: 0.5.into(),
            adjuster_tip_radius: 12.0.into(),
            sweep: 0.3.into(),
            valve_load: 400.0.into(),
            tip_wear: None,
            elastic: [STEEL; 2],
            expansion: [11.5e-6; 2],
        };
        let stack = StackBuilder::new("one")
            .condition("assembly", 20.0)
            .condition("running", 90.0)
            .lot("washers", 0.01, 0.005)
            .bay("bay", free - 0.2, |bay| {
                bay.rocker("rocker", 24.0, 11.0)
                    .spring("spring", spring)
                    .washer("outer", Known::normal(1.0, 0.01).in_lot("washers"))
                    .bedding(0.02)
                    .valve("exhaust", "rocker", Known::normal(10.05, 0.02))
                    .contact(contact)
            })
            .tie("bay/outer/thickness", "bay/exhaust/stem", 0.5)
            .require(Require::offset("exhaust").between(0.7, 1.2))
            .require(Require::preload("bay").at_least(1.0).when("running"))
            .require(Require::play("bay").at_most(0.1))
            .require(Require::height("spring").at_least(0.1))
            .require(Require::edge_margin("exhaust").at_least(0.1))
            .require(Require::contact_pressure("exhaust").at_most(5000.0))
            .require(Require::stress("spring", point).between(-5000.0, 5000.0))
            .build()
            .unwrap();
        // Six in two conditions, one in one.
        assert_eq!(stack.requirements.len(), 13);
        let place = |path: &str| stack.pack.find_dimension(path).unwrap().0;
        assert_eq!(stack.correlations[0].between, (place("bay/outer/thickness"), place("bay/exhaust/stem")));
        analyse(&stack, &Options { trials: Some(2_000), ..Options::default() }, &Silent).unwrap();
    }
}

#[test]
fn every_mistake_is_told_at_once() {
    let wrong = StackBuilder::new("wrong")
        .bay("bay", -1.0, |bay| {
            rocker(bay).washer("thin", Known::exact(0.4).in_lot("nobody")).valve("intake", "roker", 3.0)
        })
        .tie("bay/span", "bay/spam", 0.5)
        .require(Require::preload("bey").at_least(75.0))
        .require(Require::offset("exhaust").at_least(0.1).when("hot"))
        .require(Require::play("bay"));
    let text = wrong.build().unwrap_err().to_string();
    for said in [
        "bay/span",
        "bay/thin/thickness: it comes from lot \"nobody\"",
        "bay/intake: it is worked by \"roker\"",
        "bay/spam: a tie names it",
        "no bay named \"bey\"",
        "no condition named \"hot\"",
        "it has no limit",
    ] {
        assert!(text.contains(said), "{said} is not in:\n{text}");
    }
}

#[test]
fn scatter_and_limits_without_meaning_are_refused() {
    let with = |known: Known, require: Require| {
        StackBuilder::new("one").bay("bay", known, rocker).require(require).build().unwrap_err().to_string()
    };
    let sound = || Require::preload("bay").at_least(75.0);
    assert!(with(Known::scattering(Distribution::Normal { mean: 27.97, sd: -1.0 }), sound()).contains("bay/span"));
    assert!(with(27.97.into(), sound().max_out(2.0)).contains("between 0 and 1"));
    assert!(with(27.97.into(), Require::preload("bay").between(2.0, 1.0)).contains("must not exceed"));
    // A span of a metre is not filled by its parts.
    assert!(with(1000.0.into(), sound()).contains("can never be built"));
}

#[test]
fn a_stack_put_together_by_hand_is_checked_where_it_is_used() {
    let sound = StackBuilder::new("one").bay("bay", 27.97, rocker).require(Require::preload("bay").at_least(75.0));
    let sound = sound.build().unwrap();
    let refused = |stack: &Stack| analyse(stack, &Options::default(), &Silent).unwrap_err().to_string();
    let mut nowhere = sound.clone();
    nowhere.pack.bays[0].span = packdrift_pack::DimensionId(99);
    assert_eq!(refused(&nowhere), "bay: there is no dimension number 99");
    // The spring's rate in the place of a thickness.
    let mut mixed = sound.clone();
    let rate = mixed.pack.find_dimension("bay/spring/rate").unwrap();
    let packdrift_pack::PartKind::Solid { thickness, .. } = &mut mixed.pack.bays[0].parts[2].kind else { panic!() };
    *thickness = rate;
    assert_eq!(refused(&mixed), "bay/spring/rate: its unit is N/mm, where mm is needed");
    let mut negative = sound;
    negative.inputs[0].nominal = -1.0;
    assert!(refused(&negative).contains("bay/span"));
}
