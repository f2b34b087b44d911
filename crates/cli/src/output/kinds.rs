//! Places that no output can have: a folder where a file is, a file where a folder is, and anything below a file. They are told before anything is
//! read, so that nobody waits for a refusal; no `--force` can help there.

use super::places::{FILES, FOLDERS};
use crate::exit::Failure;
use clap::ArgMatches;
use std::path::{Path, PathBuf};

/// Looks at the places that the options of a command name. `tour` and `manual` write into the folder that stands without an option, too.
pub(crate) fn refuse_other_kinds(command: &str, matches: &ArgMatches) -> Result<(), Failure> {
    let named = |id: &str| -> Vec<PathBuf> {
        let values = matches.try_get_many::<PathBuf>(id).ok().flatten();
        values.into_iter().flatten().cloned().collect()
    };
    // A tour's own folder is of no account where --out names another.
    let has_folder = matches!(command, "tour" | "manual") && named("out").is_empty();
    for id in matches.ids().map(clap::Id::as_str) {
        let is_folder = FOLDERS.contains(&id) || (has_folder && id == "folder");
        if is_folder || FILES.contains(&id) {
            named(id).iter().try_for_each(|output| refuse_other_kind(output, is_folder))?;
        }
    }
    Ok(())
}

fn refuse_other_kind(output: &Path, is_folder: bool) -> Result<(), Failure> {
    let shown = output.display();
    let there = output.ancestors().find_map(|above| Some((above, std::fs::metadata(above).ok()?)));
    let says = match there {
        Some((above, there)) if above == output && is_folder && !there.is_dir() => {
            format!("{shown} is a file, and a folder is to be written there: name another folder")
        }
        Some((above, there)) if above == output && !is_folder && there.is_dir() => {
            format!("{shown} is a folder, and a file is to be written there: name the file")
        }
        Some((above, there)) if above != output && !there.is_dir() => {
            format!("{} is a file, so that nothing can be written to {shown}: name another place", above.display())
        }
        _ => return Ok(()),
    };
    Err(Failure::Refused(says))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn a_place_of_another_kind_is_refused() {
        let parent = tempfile::tempdir().unwrap();
        let (file, folder) = (parent.path().join("file"), parent.path().join("folder"));
        std::fs::write(&file, "mine").unwrap();
        std::fs::create_dir(&folder).unwrap();
        let may = |path: &Path, is_folder: bool| refuse_other_kind(path, is_folder).is_ok();
        assert!(!may(&file, true) && may(&file, false) && may(&folder, true) && !may(&folder, false));
        assert!(!may(&file.join("report"), true) && !may(&file.join("all.xlsx"), false));
        assert!(may(&folder.join("new").join("report"), true) && may(&folder.join("new").join("all.xlsx"), false));
        assert!(may(Path::new("nowhere-yet"), true) && may(Path::new("nowhere-yet.xlsx"), false));
        // A device is a place for a file, and none for a folder.
        if cfg!(target_os = "linux") {
            assert!(may(Path::new("/dev/null"), false) && !may(Path::new("/dev/null"), true));
        }
    }
}
