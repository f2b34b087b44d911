//! The invented demo scenario: a drainage district's pump engines, made from a seed.
//!
//! *Invented:* the Quillmarsh drainage district, its 24 two-cylinder engines, their packs, suppliers and inspections exist
//! only here. Every file says so in its first line (a line that begins with `#`, which `packdrift` reads as a comment).
//!
//! The generator knows the truth behind the readings (each valve's slope, which packet was off, which day's instrument was
//! faulty) and writes it beside them, so that a study can compare a forecast with what it should have been.
//!
//! ```
//! let files = packdrift_demo::files(packdrift_demo::DEFAULT_SEED);
//! let pack = files.iter().find(|f| f.name == "pack.toml").unwrap();
//! assert!(pack.contents.starts_with("# INVENTED DATA"));
//! ```

mod deliveries;
mod drawer;
mod fleet;
mod lots;
mod prices;
mod random;
mod scenarios;

pub use fleet::{Fleet, TrueValve};

/// The seed of the files in `data/demo` and of `packdrift tour`.
pub const DEFAULT_SEED: u64 = 1953;

/// First line of every file.
pub(crate) const INVENTED: &str = "# INVENTED DATA: the Quillmarsh drainage district and its pump engines do not exist. Made by packdrift's own generator.";

/// One file of the demo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DemoFile {
    /// Its name in the demo folder.
    pub name: &'static str,
    /// What it is for, in a few words.
    pub purpose: &'static str,
    /// Its text.
    pub contents: String,
}

/// All files of the demo for a seed. The same seed gives the same bytes on every machine.
pub fn files(seed: u64) -> Vec<DemoFile> {
    let fleet = Fleet::generate(seed);
    let file = |name, purpose, contents| DemoFile { name, purpose, contents };
    vec![
        file(
            "pack.toml",
            "the rocker shaft: parts, tolerances, requirements",
            include_str!("demo-pack.toml").to_owned(),
        ),
        file(
            "pack-with-prices.toml",
            "one cylinder of it with what each tolerance costs, for `allocate`",
            prices::pack_with_prices(include_str!("demo-pack.toml")),
        ),
        file("inspections.csv", "five years of inspection readings of 24 engines", fleet.inspections_csv()),
        file("policy.toml", "damage zone, acceptable risk, usage, service windows", fleet.policy_toml()),
        file("shims-0.60.csv", "readings of six packets of 0.60 mm shims, one of them off", lots::shims_csv(seed)),
        file("drawing-0.60.toml", "what the drawing says of the 0.60 mm shim", lots::drawing_toml()),
        file("gauge.csv", "a crossed study of the workshop micrometer", lots::gauge_csv(seed)),
        file(
            "deliveries.csv",
            "ten deliveries in a row with what was counted outside, for `sampling`",
            deliveries::csv(),
        ),
        file("busy.toml", "a scenario for `due`: a third more running", scenarios::busy()),
        file("one-window-more.toml", "a scenario for `due`: a window more in January", scenarios::one_window_more()),
        file("drawer.csv", "shims and washers in the drawer, some measured", drawer::drawer_csv(seed)),
        file(
            "truth-valves.csv",
            "what the generator knows: each valve's true start, slope and level",
            fleet.truth_csv(),
        ),
        file(
            "truth-events.csv",
            "what the generator knows: re-shims, a slip, a faulty instrument",
            fleet.truth_events_csv(),
        ),
    ]
}
