//! What may be written to, and what not. Nothing of the user's is lost:
//!
//! - no output is an input, by whatever path or link: neither one that an option names nor one that a file names;
//! - no two outputs are one file;
//! - a folder, workbook or calendar that is there already is overwritten only if it is this program's own, unchanged, or with `--force`.
//!
//! What the options name is looked at before anything is read, so that nobody waits for a refusal; the rest when results are written.

use crate::exit::Failure;
use clap::ArgMatches;
use packdrift_records::{InputFile, write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Options whose value is a folder to write into.
pub(super) const FOLDERS: [&str; 1] = ["out"];
/// Options whose value is a file to write.
pub(super) const FILES: [&str; 3] = ["xlsx", "ics", "output"];

/// Looks at the places that the options of a command name. `tour` writes into the folder that stands without an option, too.
pub(crate) fn refuse_clashes(command: &str, matches: &ArgMatches) -> Result<(), Failure> {
    let named = |id: &str| -> Vec<PathBuf> {
        let values = matches.try_get_many::<PathBuf>(id).ok().flatten();
        values.into_iter().flatten().cloned().collect()
    };
    let force = matches.try_get_one::<bool>("force").ok().flatten().is_some_and(|force| *force);
    let is_folder = |id: &str| FOLDERS.contains(&id) || (command == "tour" && id == "folder");
    let ids: Vec<&str> = matches.ids().map(clap::Id::as_str).collect();
    let of = |wanted: &dyn Fn(&str) -> bool| -> Vec<PathBuf> {
        ids.iter().filter(|id| wanted(id)).flat_map(|id| named(id)).collect()
    };
    let (folders, files) = (of(&is_folder), of(&|id| FILES.contains(&id)));
    let inputs = of(&|id| !is_folder(id) && !FILES.contains(&id));
    for file in &files {
        refuse_input(file, inputs.iter())?;
        refuse_taken(file, force)?;
    }
    if let [a, b] = &files[..]
        && (a == b || write::is_same_file(a, b))
    {
        return Err(Failure::Refused(format!("{} cannot be both: two outputs are to be written to it", a.display())));
    }
    // A tour's demo files are its own; it looks at them itself.
    if !force && command != "tour" {
        folders.iter().try_for_each(|folder| write::may_be_written(folder))?;
    }
    Ok(())
}

fn refuse_input<'a>(output: &Path, mut inputs: impl Iterator<Item = &'a PathBuf>) -> Result<(), Failure> {
    match inputs.find(|input| write::is_same_file(output, input)) {
        Some(input) => Err(Failure::Refused(format!(
            "{} is read by this run, and writing to {} would replace it: name another file",
            input.display(),
            output.display()
        ))),
        None => Ok(()),
    }
}

/// Refuses a file that is an input, or that is there and not ours.
pub(crate) fn refuse_taken(file: &Path, force: bool) -> Result<(), Failure> {
    refuse_input(file, read().iter().map(|input| &input.path))?;
    if force || write::may_be_replaced(file) {
        return Ok(());
    }
    Err(Failure::Refused(format!(
        "{} is there already and is not as packdrift wrote it. It may be yours, so nothing was written. Name another file, or say --force to \
         overwrite it",
        file.display()
    )))
}

/// The files that this run has read.
static READ: Mutex<Vec<InputFile>> = Mutex::new(Vec::new());

/// Notes files that were read.
pub(super) fn note_read(inputs: &[InputFile]) {
    READ.lock().unwrap_or_else(PoisonError::into_inner).extend_from_slice(inputs);
}

/// The files that were noted.
pub(super) fn read() -> Vec<InputFile> {
    READ.lock().unwrap_or_else(PoisonError::into_inner).clone()
}

/// The name in `folder` of a file that is to stand in it.
pub(super) fn name_in(folder: &Path, file: &Path) -> Option<PathBuf> {
    let resolved = |path: &Path| {
        let path = std::path::absolute(path).ok()?;
        let there = path.ancestors().find_map(|above| {
            let rest = path.strip_prefix(above).ok()?;
            Some(std::fs::canonicalize(above).ok()?.join(rest))
        });
        there.or(Some(path))
    };
    let (folder, file) = (resolved(folder)?, resolved(file)?);
    let name = file.strip_prefix(folder).ok()?;
    (name.components().count() > 0).then(|| name.to_path_buf())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn a_file_in_the_folder_is_one_of_its_files() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("report");
        let name = |file: PathBuf| name_in(&folder, &file);
        assert_eq!(name(folder.join("all.xlsx")), Some("all.xlsx".into()));
        assert_eq!(name(folder.join("sheets/all.xlsx")), Some("sheets/all.xlsx".into()));
        assert_eq!(name(parent.path().join("all.xlsx")), None);
        assert_eq!(name(parent.path().join("report.xlsx")), None);
        std::fs::create_dir(&folder).unwrap();
        assert_eq!(name(folder.join("all.xlsx")), Some("all.xlsx".into()));
        assert_eq!(name(folder.clone()), None);
    }
}
