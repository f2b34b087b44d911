//! What the physics cannot mean is refused, with the path, the value and the unit.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

mod support;

use packdrift_pack::{
    DimensionId, Elastic, PackError, PartKind, Quantity, QuantityError, QuantityKind, QuantitySubject, SpringLaw,
    SpringWasher,
};
use support::{Bench, example};

/// A pack with every law and a contact.
fn everything() -> Bench {
    let mut bench = Bench::new(60.0);
    bench.solid("shim", 0.4);
    let rocker = bench.rocker("rocker", 24.0, 11.3);
    let law = bench.disc_law("disc", 30.0, 18.4, 0.6, 0.6);
    bench.spring("disc", law, Some(1.0), Some(1.0));
    let law = bench.wave_law("wave", 30.0, 20.0, 0.5, 2.0, Some(0.6));
    bench.spring("wave", law, None, None);
    let law = bench.curved_law("curved", 30.0, 20.0, 0.5, 2.0, None);
    bench.spring("curved", law, None, None);
    bench.linear("linear", 60.0, 2.0, Some(0.5));
    let law = bench.table_law("table", &[(0.0, 0.0), (0.4, 90.0)], 1.5, Some(1.2));
    bench.spring("table", law, None, None);
    let valve = bench.valve("exhaust", rocker, 11.0);
    bench.contact(valve, Some(0.0));
    bench.interfere(0, 1.0);
    bench
}

#[test]
fn sound_packs_have_no_errors() {
    for bench in [example(), everything()] {
        assert_eq!(bench.pack.validate(&bench.x), vec![]);
    }
}

#[test]
fn every_value_is_checked_against_what_it_can_mean() {
    // Path, a value that cannot be, what the message says.
    let wrong = [
        ("middle/span", 0.0, "middle/span must be above 0 mm, got 0 mm"),
        ("middle/shim/thickness", -0.4, "middle/shim/thickness must be above 0 mm, got -0.4 mm"),
        ("middle/rocker/width", 0.0, "middle/rocker/width must be above 0 mm, got 0 mm"),
        ("middle/rocker/adjuster", f64::NAN, "middle/rocker/adjuster: NaN is not a finite number"),
        (
            "middle/disc/inner_diameter",
            31.0,
            "middle/disc/inner_diameter = 31 mm must be below middle/disc/outer_diameter = 30 mm",
        ),
        (
            "middle/disc/inner_diameter",
            30.0,
            "middle/disc/inner_diameter = 30 mm must be below middle/disc/outer_diameter = 30 mm",
        ),
        ("middle/disc/outer_diameter", f64::INFINITY, "middle/disc/outer_diameter: inf is not a finite number"),
        ("middle/disc/thickness", 0.0, "middle/disc/thickness must be above 0 mm, got 0 mm"),
        ("middle/disc/cone_height", -0.1, "middle/disc/cone_height must be above 0 mm, got -0.1 mm"),
        ("middle/disc/friction", 0.0, "middle/disc/friction must be above 0 1, got 0 1"),
        ("middle/disc/set", -1.0, "middle/disc/set must be above 0 1, got -1 1"),
        (
            "middle/wave/solid_height",
            2.0,
            "middle/wave/solid_height = 2 mm must be below middle/wave/free_height = 2 mm",
        ),
        (
            "middle/curved/thickness",
            2.5,
            "middle/curved/thickness = 2.5 mm must be below middle/curved/free_height = 2 mm",
        ),
        ("middle/linear/rate", -60.0, "middle/linear/rate must be above 0 N/mm, got -60 N/mm"),
        ("middle/linear/solid_height", -0.5, "middle/linear/solid_height must not be negative, got -0.5 mm"),
        ("middle/table/free_height", 0.0, "middle/table/free_height must be above 0 mm, got 0 mm"),
        ("middle/exhaust/stem", f64::NEG_INFINITY, "middle/exhaust/stem: -inf is not a finite number"),
        ("middle/exhaust/stem_end_diameter", 0.0, "middle/exhaust/stem_end_diameter must be above 0 mm, got 0 mm"),
        (
            "middle/exhaust/stem_end_chamfer",
            4.0,
            "middle/exhaust/stem_end_chamfer = 4 mm must be below half of middle/exhaust/stem_end_diameter = 4 mm",
        ),
        (
            "middle/exhaust/adjuster_tip_radius",
            -12.0,
            "middle/exhaust/adjuster_tip_radius must be above 0 mm, got -12 mm",
        ),
        ("middle/exhaust/sweep", -0.9, "middle/exhaust/sweep must not be negative, got -0.9 mm"),
        ("middle/exhaust/valve_load", 0.0, "middle/exhaust/valve_load must be above 0 N, got 0 N"),
        (
            "middle/exhaust/tip_wear",
            12.0,
            "middle/exhaust/tip_wear = 12 mm must be below middle/exhaust/adjuster_tip_radius = 12 mm",
        ),
    ];
    for (path, value, message) in wrong {
        let mut bench = everything();
        bench.set(path, value);
        let errors = bench.pack.validate(&bench.x);
        assert!(errors.iter().any(|error| error.to_string() == message), "{path} = {value}: {errors:?}");
        assert!(errors.iter().any(|error| error.path() == Some(path)), "{path}: {errors:?}");
    }
}

#[test]
fn all_mistakes_are_told_at_once() {
    let mut bench = everything();
    for path in ["middle/span", "middle/shim/thickness", "middle/disc/thickness", "middle/exhaust/valve_load"] {
        bench.set(path, -1.0);
    }
    assert_eq!(bench.pack.validate(&bench.x).len(), 4);
}

#[test]
fn constants_are_checked_too() {
    type Change = fn(&mut Bench);
    let changes: [(Change, &str); 12] = [
        (|b| elastic(b).youngs_modulus = 0.0, "middle/disc/youngs_modulus must be above 0 MPa, got 0 MPa"),
        (|b| elastic(b).youngs_modulus = f64::NAN, "middle/disc/youngs_modulus: NaN is not a finite number"),
        (|b| elastic(b).poisson = 0.5, "middle/disc: Poisson's ratio must lie between -1 and 0.5, got 0.5"),
        (|b| b.pack.conditions[1].temperature = -300.0, "running: -300 °C is below absolute zero"),
        (|b| b.pack.reference_temperature = f64::NAN, "reference_temperature: NaN is not a finite number"),
        (|b| b.pack.bays[0].expansion = -0.1, "middle: with -0.1 1/K nothing is left of the part at 95 °C"),
        (|b| b.pack.bays[0].parts[0].expansion = f64::NAN, "middle/shim: NaN is not a finite number"),
        (|b| b.pack.bays[0].valves[0].rocker = 0, "middle/exhaust: part 0 of the bay is not a rocker"),
        (|b| b.pack.bays[0].valves[0].rocker = 99, "middle/exhaust: part 99 of the bay is not a rocker"),
        (|b| b.pack.bays[0].span = DimensionId(999), "middle: there is no dimension number 999"),
        (|b| b.pack.bays[0].parts[1].name = "shim".into(), "part \"shim\" is there twice"),
        (|b| b.pack.conditions.clear(), "there is no condition"),
    ];
    for (change, message) in changes {
        let mut bench = everything();
        change(&mut bench);
        let errors = bench.pack.validate(&bench.x);
        assert!(errors.iter().any(|error| error.to_string() == message), "{message}: {errors:?}");
    }
    let bench = everything();
    assert_eq!(
        bench.pack.validate(&bench.x[1..]),
        vec![PackError::WrongNumberOfValues { expected: bench.x.len(), got: bench.x.len() - 1 }]
    );
}

fn elastic(bench: &mut Bench) -> &mut Elastic {
    let PartKind::Spring(SpringWasher { law: SpringLaw::Disc { elastic, .. }, .. }) =
        &mut bench.pack.bays[0].parts[2].kind
    else {
        panic!()
    };
    elastic
}

#[test]
fn a_wave_washer_has_waves() {
    let mut bench = everything();
    let PartKind::Spring(SpringWasher { law: SpringLaw::Wave { waves, factor, .. }, .. }) =
        &mut bench.pack.bays[0].parts[3].kind
    else {
        panic!()
    };
    (*waves, *factor) = (1, 0.0);
    let errors: Vec<String> = bench.pack.validate(&bench.x).iter().map(ToString::to_string).collect();
    assert_eq!(
        errors,
        ["middle/wave: a wave washer has at least 2 waves, got 1", "middle/wave/factor must be above 0 1, got 0 1"]
    );
}

#[test]
fn an_equilibrium_beyond_a_table_is_an_error_not_a_guess() {
    // The table ends at 0.2 mm; the washer could be pressed 1 mm to its solid height.
    let mut bench = Bench::new(30.0);
    let law = bench.table_law("washer", &[(0.0, 0.0), (0.1, 30.0), (0.2, 65.0)], 1.5, Some(0.5));
    bench.spring("washer", law, None, None);
    bench.interfere(0, 0.15);
    assert_eq!(bench.pack.validate(&bench.x), vec![]);
    bench.interfere(0, 0.25);
    let errors = bench.pack.validate(&bench.x);
    let [PackError::OutsideTable { path, deflection, end }] = errors.as_slice() else { panic!("{errors:?}") };
    assert_eq!(path, "middle/washer");
    // The first condition in which it happens is told: at 20 °C it is 0.25 mm of 0.2.
    assert!((deflection - 0.25).abs() < 1e-9 && (end - 0.2).abs() < 1e-12);
    // A bay that is loose asks nothing of the table.
    bench.interfere(0, -0.25);
    assert_eq!(bench.pack.validate(&bench.x), vec![]);
    // A table that goes to the solid height covers a washer pressed flat, and a bay too long for it is no question of tables.
    let mut covered = Bench::new(30.0);
    let law = covered.table_law("washer", &[(0.0, 0.0), (0.5, 30.0), (1.0, 65.0)], 1.5, Some(0.6));
    covered.spring("washer", law, None, None);
    for interference in [0.9, 1.2] {
        covered.interfere(0, interference);
        assert_eq!(covered.pack.validate(&covered.x), vec![]);
    }
}

#[test]
fn quantities_are_found_by_their_names() {
    let bench = everything();
    let find = |kind, of| bench.pack.quantity(kind, of);
    let valve = |name| QuantitySubject { valve: Some(name), ..QuantitySubject::default() };
    assert_eq!(find(QuantityKind::Offset, valve("exhaust")), Ok(Quantity::Offset { bay: 0, valve: 0 }));
    assert_eq!(find(QuantityKind::EdgeMargin, valve("exhaust")), Ok(Quantity::EdgeMargin { bay: 0, valve: 0 }));
    // The only bay need not be named.
    assert_eq!(find(QuantityKind::Preload, QuantitySubject::default()), Ok(Quantity::Preload { bay: 0 }));
    assert_eq!(
        find(QuantityKind::Height, QuantitySubject { spring: Some("wave"), ..QuantitySubject::default() }),
        Ok(Quantity::Height { bay: 0, part: 3 })
    );
    let unknown = |what, name: &str| Err(QuantityError::UnknownName { what, name: name.into() });
    assert_eq!(find(QuantityKind::Offset, valve("intake")), unknown("valve", "intake"));
    assert_eq!(
        find(QuantityKind::Height, QuantitySubject { spring: Some("shim"), ..QuantitySubject::default() }),
        unknown("spring washer", "shim")
    );
    assert_eq!(
        find(QuantityKind::Play, QuantitySubject { bay: Some("left"), ..QuantitySubject::default() }),
        unknown("bay", "left")
    );
    assert_eq!(
        find(QuantityKind::Offset, QuantitySubject::default()),
        Err(QuantityError::NameNeeded { kind: "offset", what: "valve" })
    );
    let mut bare = bench.clone();
    bare.pack.bays[0].valves[0].contact = None;
    assert!(matches!(
        bare.pack.quantity(QuantityKind::EdgeMargin, valve("exhaust")),
        Err(QuantityError::NoContact { .. })
    ));
    // A second bay with washers of the same names: the bay must be given.
    let mut two = bench.clone();
    let mut other = two.pack.bays[0].clone();
    other.name = "left".into();
    two.pack.bays.push(other);
    let wave = QuantitySubject { spring: Some("wave"), ..QuantitySubject::default() };
    assert_eq!(two.pack.quantity(QuantityKind::Height, wave), Err(QuantityError::Ambiguous { name: "wave".into() }));
    let of_left = QuantitySubject { bay: Some("left"), ..wave };
    assert_eq!(two.pack.quantity(QuantityKind::Height, of_left), Ok(Quantity::Height { bay: 1, part: 3 }));
    assert!(matches!(
        two.pack.quantity(QuantityKind::Preload, QuantitySubject::default()),
        Err(QuantityError::NameNeeded { .. })
    ));
    for kind in QuantityKind::ALL {
        assert_eq!(kind.name().parse(), Ok(kind));
        assert_eq!(format!("{kind:>20}").len(), 20);
    }
    assert_eq!("Offset".parse::<QuantityKind>(), Err(QuantityError::UnknownKind { word: "Offset".into() }));
    assert_eq!(bench.pack.describe(&Quantity::Offset { bay: 0, valve: 0 }), "contact offset, exhaust");
}
