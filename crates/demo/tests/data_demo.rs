//! `data/demo` is what the generator makes: whoever changes one must make the other again.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use packdrift_demo::{DEFAULT_SEED, files};
use std::path::Path;

#[test]
fn data_demo_holds_the_generators_files_byte_for_byte() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data/demo");
    for file in files(DEFAULT_SEED) {
        let kept = std::fs::read_to_string(folder.join(file.name)).unwrap();
        assert!(
            kept == file.contents,
            "data/demo/{} differs: run `cargo run -p packdrift-demo -- data/demo`",
            file.name
        );
    }
}

#[test]
fn every_file_says_that_it_is_invented() {
    for file in files(DEFAULT_SEED) {
        assert!(file.contents.starts_with("# INVENTED DATA"), "{}", file.name);
    }
}

#[test]
fn another_seed_gives_another_fleet_but_the_same_pack() {
    let (a, b) = (files(1), files(2));
    assert_eq!(a[0], b[0]);
    let of = |files: &[packdrift_demo::DemoFile], name: &str| files.iter().find(|f| f.name == name).unwrap().clone();
    assert_ne!(of(&a, "inspections.csv"), of(&b, "inspections.csv"));
}

/// The priced pack is the first cylinder of the other: every one of its lines without a cost stands there.
#[test]
fn the_priced_pack_is_one_cylinder_of_the_other() {
    let all = files(DEFAULT_SEED);
    let of = |name: &str| &all.iter().find(|f| f.name == name).unwrap().contents;
    let (whole, priced) = (of("pack.toml"), of("pack-with-prices.toml"));
    assert_eq!(priced.matches("cost = {").count(), 1 + 2 + 2 + 2 + 2, "span, rockers, adjusters, stems, shims");
    assert!(!priced.contains("cylinder 2") && priced.matches("[[requirement]]").count() == 4);
    assert_eq!(priced.matches("[[lot]]").count(), whole.matches("[[lot]]").count());
    // But for what fitting costs the shop, which stands last.
    let (drawn, shop) = priced.split_once("\n# What it costs to fit a build").unwrap();
    assert!(shop.contains("[cost]") && !drawn.contains("[cost]"));
    for line in drawn.lines().filter(|l| !l.starts_with(['#', 't']) && !l.contains("cost")) {
        assert!(whole.contains(line), "{line}");
    }
}
