//! What may be written to, and what not. Nothing of the user's is lost:
//!
//! - no output is an input, by whatever path or link: neither one that an option names nor one that a file names;
//! - no two outputs are one file;
//! - no folder goes where a file is, no file where a folder is, and neither below a file;
//! - a folder, workbook or calendar that is there already is overwritten only if it is this program's own, unchanged, or with `--force`.
//!
//! What the options name is looked at before anything is read, so that nobody waits for a refusal; the rest when results are written.

use crate::exit::Failure;
use clap::ArgMatches;
use packdrift_records::{InputFile, write};
use std::path::{Component, Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Options whose value is a folder to write into.
const FOLDERS: [&str; 1] = ["out"];
/// Options whose value is a file to write.
const FILES: [&str; 3] = ["xlsx", "ics", "output"];

/// Looks at the places that the options of a command name. `tour` and `manual` write into the folder that stands without an option, too.
pub(crate) fn refuse_clashes(command: &str, matches: &ArgMatches) -> Result<(), Failure> {
    let named = |id: &str| -> Vec<PathBuf> {
        let values = matches.try_get_many::<PathBuf>(id).ok().flatten();
        values.into_iter().flatten().cloned().collect()
    };
    let force = matches.try_get_one::<bool>("force").ok().flatten().is_some_and(|force| *force);
    let is_folder = |id: &str| FOLDERS.contains(&id) || (matches!(command, "tour" | "manual") && id == "folder");
    // A tour's own folder is of no account where --out names another.
    let elsewhere = command == "tour" && !named("out").is_empty();
    let ids: Vec<&str> = matches.ids().map(clap::Id::as_str).filter(|id| !(elsewhere && *id == "folder")).collect();
    let of = |wanted: &dyn Fn(&str) -> bool| -> Vec<PathBuf> {
        ids.iter().filter(|id| wanted(id)).flat_map(|id| named(id)).collect()
    };
    let (folders, files) = (of(&is_folder), of(&|id| FILES.contains(&id)));
    let inputs = of(&|id| !is_folder(id) && !FILES.contains(&id));
    let files: Vec<PathBuf> = files.into_iter().map(where_it_leads).collect();
    for file in &files {
        refuse_input(file, inputs.iter())?;
        refuse_other_kind(file, false)?;
        refuse_taken(file, force)?;
        folders.iter().try_for_each(|folder| refuse_result(folder, file))?;
    }
    folders.iter().try_for_each(|folder| refuse_other_kind(folder, true))?;
    if let [a, b] = &files[..]
        && (resolved(a) == resolved(b) || write::is_same_file(a, b))
    {
        return Err(two_outputs(a));
    }
    // A tour's demo files are its own, and so are manual pages; those commands look at them themselves.
    if !force && !matches!(command, "tour" | "manual") {
        folders.iter().try_for_each(|folder| write::may_be_written(folder))?;
    }
    Ok(())
}

/// Refuses a place where a folder is to be and a file is, or the other way round, and one below a file. No `--force` can help there.
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

/// Two outputs that are one file: one of them would be lost.
pub(super) fn two_outputs(file: &Path) -> Failure {
    Failure::Refused(format!("{} cannot be both: two outputs are to be written to it", file.display()))
}

/// Files that every folder of results has.
const RESULTS: [&str; 3] = ["report.html", "result.json", "files.txt"];

/// Refuses a file of its own in the place of one of the results'.
fn refuse_result(folder: &Path, file: &Path) -> Result<(), Failure> {
    let name = name_in(folder, file);
    let is_result = name.is_some_and(|name| RESULTS.iter().any(|result| name.starts_with(result)));
    if is_result { Err(two_outputs(file)) } else { Ok(()) }
}

/// Refuses a file of its own in the place of one of a folder's, or where a folder of one is.
pub(super) fn refuse_clash_in_folder<'a>(
    name: &Path,
    file: &Path,
    mut others: impl Iterator<Item = &'a Path>,
) -> Result<(), Failure> {
    let clashes = others.any(|other| other.starts_with(name) || name.starts_with(other));
    if clashes || RESULTS.iter().any(|result| name.starts_with(result)) { Err(two_outputs(file)) } else { Ok(()) }
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
    let (folder, file) = (resolved(folder)?, resolved(file)?);
    let name = file.strip_prefix(folder).ok()?;
    (name.components().count() > 0).then(|| name.to_path_buf())
}

/// A path without links, `.` and `..`, whether or not all of it is there yet. What is not there will be folders of its own, so that `..` behind
/// them leads back.
fn resolved(path: &Path) -> Option<PathBuf> {
    let path = std::path::absolute(path).ok()?;
    let (there, rest) = path.ancestors().find_map(|above| {
        let rest = path.strip_prefix(above).ok()?;
        Some((std::fs::canonicalize(above).ok()?, rest))
    })?;
    let mut found = there;
    for part in rest.components() {
        match part {
            Component::ParentDir => drop(found.pop()),
            Component::Normal(name) => found.push(name),
            _ => {}
        }
    }
    // What `..` led back to may be there, and be a link.
    Some(std::fs::canonicalize(&found).unwrap_or(found))
}

/// The path of an output that has `..` in it, without: what it leads to may change when folders are made on its way.
pub(super) fn where_it_leads(path: PathBuf) -> PathBuf {
    let leads_back = path.components().any(|part| part == Component::ParentDir);
    if leads_back { resolved(&path).unwrap_or(path) } else { path }
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
        // Behind a folder that is not there yet, `..` leads back to where it is to be made.
        let unmade = parent.path().join("unmade");
        assert_eq!(name_in(&unmade, &unmade.join("../mine.csv")), None);
        assert_eq!(name_in(&unmade, &unmade.join("../../mine.csv")), None);
        assert_eq!(name_in(&unmade, &unmade.join("a/../all.xlsx")), Some("all.xlsx".into()));
        let real = std::fs::canonicalize(parent.path()).unwrap();
        assert_eq!(where_it_leads(unmade.join("../mine.csv")), real.join("mine.csv"));
    }
}
