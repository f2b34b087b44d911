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
    let goes_to = |file: &Path| write::destination(file).ok();
    if let [a, b] = &files[..]
        && (a == b || write::is_same_file(a, b) || goes_to(a).is_some_and(|a| Some(a) == goes_to(b)))
    {
        return Err(Failure::Refused(format!("{} cannot be both: two outputs are to be written to it", a.display())));
    }
    for (folder, file) in folders.iter().flat_map(|folder| files.iter().map(move |file| (folder, file))) {
        if let Some(name) = name_in(folder, file) {
            refuse_double(&name, file, OWN.iter().map(Path::new))?;
        }
    }
    // A tour's demo files are its own; it looks at them itself.
    if !force && command != "tour" {
        folders.iter().try_for_each(|folder| write::may_be_written(folder))?;
    }
    Ok(())
}

fn refuse_input<'a>(output: &Path, mut inputs: impl Iterator<Item = &'a PathBuf>) -> Result<(), Failure> {
    // A path that leads through a folder that is not there yet leads to its file all the same, once that folder is made.
    let goes_to = write::destination(output).unwrap_or_else(|_| output.to_path_buf());
    match inputs.find(|input| write::is_same_file(&goes_to, input)) {
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
    let goes_to = write::destination(file).unwrap_or_else(|_| file.to_path_buf());
    if force || write::may_be_replaced(&goes_to) {
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
pub(crate) fn note_read(inputs: &[InputFile]) {
    READ.lock().unwrap_or_else(PoisonError::into_inner).extend_from_slice(inputs);
}

/// The files that were noted.
pub(super) fn read() -> Vec<InputFile> {
    READ.lock().unwrap_or_else(PoisonError::into_inner).clone()
}

/// The name in `folder` of a file that is to stand in it.
pub(super) fn name_in(folder: &Path, file: &Path) -> Option<PathBuf> {
    let (folder, file) = (write::destination(folder).ok()?, write::destination(file).ok()?);
    let name = file.strip_prefix(folder).ok()?;
    (name.components().count() > 0).then(|| name.to_path_buf())
}

/// Refuses a workbook or calendar that takes the name of a file of the folder it is to stand in, or of a folder of it.
pub(super) fn refuse_double<'a>(
    name: &Path,
    file: &Path,
    mut names: impl Iterator<Item = &'a Path>,
) -> Result<(), Failure> {
    match names.find(|other| other.starts_with(name) || name.starts_with(other)) {
        Some(other) => Err(Failure::Refused(format!(
            "{} cannot be written: the folder of results has {} of its own; name another file",
            file.display(),
            other.display()
        ))),
        None => Ok(()),
    }
}

/// What every folder of results has.
pub(super) const OWN: [&str; 3] = ["report.html", "result.json", write::LIST];

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
        // A folder that is not there yet is left again by `..`.
        assert_eq!(name(folder.join("../all.xlsx")), None);
        assert_eq!(name(folder.join("../../all.xlsx")), None);
        assert_eq!(name(folder.join("sheets/../all.xlsx")), Some("all.xlsx".into()));
        std::fs::create_dir(&folder).unwrap();
        assert_eq!(name(folder.join("all.xlsx")), Some("all.xlsx".into()));
        assert_eq!(name(folder.clone()), None);
    }
}
