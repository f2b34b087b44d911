//! Results moved into a folder file by file, where the folder itself cannot be exchanged.
//!
//! The finished files are gathered in `.packdrift-ready` in the folder first; that name appears in one step, and from then on the new results
//! are what counts: whatever ends the run before all are in place, the next run that writes here moves the rest.

use super::beside::Workshop;
use super::listing::{self, LIST, is_unchanged};
use super::sync_folder;
use crate::error::Machine;
use std::fs;
use std::path::{Path, PathBuf};

/// Holds a folder's new files while they are moved in.
pub(super) const READY: &str = ".packdrift-ready";

/// Moves the files made in `made` into `target`, and takes away what the list of an earlier run names and the new one does not.
pub(super) fn in_one_by_one(made: &Path, target: &Path) -> Result<(), Machine> {
    let ready = target.join(READY);
    let failed = |error| Machine::new("write into", target, error);
    if fs::rename(made, &ready).is_err() {
        // Another disk: a copy in the folder first.
        let workshop = Workshop::new(target, "".as_ref())?;
        for name in files_below(made) {
            let copy = workshop.new_folder().join(&name);
            copy.parent().map_or(Ok(()), fs::create_dir_all).map_err(failed)?;
            fs::copy(made.join(&name), &copy).map_err(failed)?;
            fs::File::open(&copy).and_then(|file| file.sync_all()).map_err(failed)?;
        }
        fs::rename(workshop.new_folder(), &ready).map_err(failed)?;
    }
    sync_folder(target);
    settle(target)
}

/// Moves in what stands ready, be it this run's or a killed one's.
pub(super) fn settle(target: &Path) -> Result<(), Machine> {
    let ready = target.join(READY);
    if !ready.is_dir() {
        return Ok(());
    }
    let failed = |error| Machine::new("write into", target, error);
    // The list goes last: while it stands here, the old one still tells what has to go.
    if let Some(new) = listing::read(&ready) {
        let old = listing::read(target).unwrap_or_default();
        for (name, sha256) in old.iter().filter(|(name, _)| !new.contains_key(*name)) {
            if is_unchanged(&target.join(name), sha256) {
                fs::remove_file(target.join(name)).map_err(failed)?;
            }
        }
        let files = files_below(&ready).into_iter().filter(|name| name != Path::new(LIST));
        for name in files.chain([PathBuf::from(LIST)]) {
            let to = target.join(&name);
            to.parent().map_or(Ok(()), fs::create_dir_all).map_err(failed)?;
            fs::rename(ready.join(&name), &to).map_err(failed)?;
        }
    }
    fs::remove_dir_all(&ready).map_err(failed)?;
    sync_folder(target);
    Ok(())
}

/// The files of a folder and of its folders, by their names in it.
fn files_below(folder: &Path) -> Vec<PathBuf> {
    fn add(folder: &Path, below: &Path, files: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder.join(below)).into_iter().flatten().flatten() {
            let name = below.join(entry.file_name());
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) { add(folder, &name, files) } else { files.push(name) }
        }
    }
    let mut files = Vec::new();
    add(folder, Path::new(""), &mut files);
    files.sort();
    files
}
