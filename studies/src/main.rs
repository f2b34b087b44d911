//! Runs the studies and writes their pages: `packdrift-studies [--out DIR] [NAME…]`.

mod chart;
mod demo_fleet;
mod many_fleets;
mod shared_packet;
mod small_fleets;
mod which_pays;

use packdrift_report::page::Page;
use std::error::Error;
use std::path::{Path, PathBuf};

type Study = fn() -> Result<Page, Box<dyn Error>>;

const STUDIES: [(&str, Study); 5] = [
    ("shared-packet", shared_packet::study),
    ("demo-fleet", demo_fleet::study),
    ("many-fleets", many_fleets::study),
    ("small-fleets", small_fleets::study),
    ("which-pays", which_pays::study),
];

fn main() -> Result<(), Box<dyn Error>> {
    let mut folder = PathBuf::from("target/studies");
    let mut chosen = Vec::new();
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        if argument == "--out" {
            folder = arguments.next().ok_or("--out needs a folder")?.into();
        } else if STUDIES.iter().any(|(name, _)| *name == argument) {
            chosen.push(argument);
        } else {
            let names: Vec<&str> = STUDIES.iter().map(|(name, _)| *name).collect();
            return Err(format!("no study {argument:?}; there are: {}", names.join(", ")).into());
        }
    }
    std::fs::create_dir_all(&folder)?;
    for (name, study) in STUDIES {
        if chosen.is_empty() || chosen.iter().any(|c| c == name) {
            let path = folder.join(format!("{name}.html"));
            let page = study()?;
            let envelope = packdrift_report::Envelope {
                version: env!("CARGO_PKG_VERSION").to_owned(),
                command: format!("study {name}"),
                ..Default::default()
            };
            std::fs::write(&path, page.html(&envelope))?;
            report(&path);
        }
    }
    Ok(())
}

#[allow(clippy::print_stdout, reason = "a script says where it left its page")]
fn report(path: &Path) {
    println!("{}", path.display());
}

/// A file of the demo, in the repository.
fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../data/demo").join(name)
}
