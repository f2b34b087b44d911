//! A folder of results: all of it new, or all of it old.
//!
//! 1. The files are made in a workshop beside the folder and forced to the disk, each with its SHA-256.
//! 2. In one's turn ([`super::beside`]) the folder is looked at: is it ours ([`super::listing`]), is a file of it read by this very run?
//! 3. The two folders change places in one step (`renameat2` with `RENAME_EXCHANGE`), or, on a disk that cannot do that, the old one
//!    is moved aside and the new one takes its name; the next run puts the old one back should this one be killed between the two.
//!
//! What else stands in the folder stays: the user's own files beside ours go along as hard links. Where there are folders of the user's, or
//! where the folder cannot be moved (it is a mount point, this very run stands in it, its parent cannot be written), the files are moved in
//! one by one: see [`super::moving`].

use super::beside::{self, Turn, Workshop};
use super::listing::{self, LIST, Listing, is_unchanged};
use super::moving::{self, READY};
use super::{is_same_file, sync_folder};
use crate::error::Machine;
use crate::fingerprint::Hashing;
use crate::source::InputFile;
use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Why a folder of results was not written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FolderError {
    /// It holds files that we did not write, or that were changed since.
    #[error(
        "{} holds files that packdrift did not write, or that were changed since: {}. They may be yours, so nothing was written. Name \
         another folder, or say --force to overwrite what is in the way",
        .folder.display(), shown(.files)
    )]
    NotOurs {
        /// The folder.
        folder: PathBuf,
        /// Some of them, by their names in it.
        files: Vec<PathBuf>,
    },
    /// It holds a file that this run read, and would replace it or take it away.
    #[error("{} is read by this run, and writing to {} would replace it: name another place", .input.display(), .output.display())]
    InputInside {
        /// The file.
        input: PathBuf,
        /// The folder.
        output: PathBuf,
    },
    /// The machine failed.
    #[error(transparent)]
    Machine(#[from] Machine),
}

/// Names listed in a message.
const SHOWN: usize = 8;

fn shown(files: &[PathBuf]) -> String {
    let names: Vec<String> = files.iter().take(SHOWN).map(|name| name.display().to_string()).collect();
    let more = files.len().saturating_sub(SHOWN);
    if more == 0 { names.join(", ") } else { format!("{}, and {more} more", names.join(", ")) }
}

/// Whether a run may write its results into `folder`: it is not there, empty, or holds what an earlier run wrote, unchanged. To be asked before
/// a long computation; [`FolderWriter::commit`] asks again.
///
/// # Errors
///
/// [`FolderError::NotOurs`] with the files that stand in the way.
pub fn may_be_written(folder: &Path) -> Result<(), FolderError> {
    refuse_unless_none(folder, in_the_way(folder, &Listing::new()))
}

fn refuse_unless_none(folder: &Path, files: Vec<PathBuf>) -> Result<(), FolderError> {
    if files.is_empty() { Ok(()) } else { Err(FolderError::NotOurs { folder: folder.to_path_buf(), files }) }
}

/// The files of a folder that a run with `new` files may not touch unasked. What already is as it will be is in nobody's way.
fn in_the_way(folder: &Path, new: &Listing) -> Vec<PathBuf> {
    let is_there = |name: &Path| fs::symlink_metadata(folder.join(name)).is_ok();
    let as_wanted = |name: &Path| new.get(name).is_some_and(|sha256| is_unchanged(&folder.join(name), sha256));
    let mut names: Vec<PathBuf> = if let Some(listed) = listing::read(folder) {
        let changed =
            listed.iter().filter(|(name, sha256)| is_there(name) && !is_unchanged(&folder.join(name), sha256));
        let unlisted = new.keys().filter(|name| !listed.contains_key(*name) && is_there(name));
        changed.map(|(name, _)| name).chain(unlisted).cloned().collect()
    } else {
        let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
        let names = entries.flatten().map(|entry| entry.file_name());
        names.filter(|name| !is_working_place(name)).map(PathBuf::from).collect()
    };
    names.sort();
    names.dedup();
    names.retain(|name| !as_wanted(name));
    names
}

/// Names that no new file can take, whoever's the folder is: a folder has one, or a file stands where a folder is needed.
fn blocked(folder: &Path, new: &Listing) -> Vec<PathBuf> {
    let is_blocked = |name: &&PathBuf| {
        let parent_is_file = name.parent().is_some_and(|parent| folder.join(parent).is_file());
        parent_is_file || folder.join(name).is_dir()
    };
    new.keys().filter(is_blocked).cloned().collect()
}

fn is_working_place(name: &std::ffi::OsStr) -> bool {
    beside::is_ours(name) || name == READY
}

/// Makes a folder of results beside its place, and puts it there in one step.
///
/// # Examples
///
/// ```
/// use packdrift_records::write::FolderWriter;
/// let parent = tempfile::tempdir()?;
/// let mut folder = FolderWriter::new(&parent.path().join("report"))?;
/// folder.file("tables/shims.csv", |out| out.write_all(b"size_mm\n0.4\n"))?;
/// assert!(!parent.path().join("report").exists());
/// folder.commit(&[], false)?;
/// assert_eq!(std::fs::read(parent.path().join("report/tables/shims.csv"))?, b"size_mm\n0.4\n");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct FolderWriter {
    target: PathBuf,
    workshop: Workshop,
    /// Whether the workshop is in the folder itself, since nothing can be made beside it.
    inside: bool,
    /// Ours, to be listed.
    files: Listing,
    /// The user's from now on.
    given: Listing,
}

impl FolderWriter {
    /// Begins a folder of results at `target`; nothing is there before [`FolderWriter::commit`].
    ///
    /// # Errors
    ///
    /// [`Machine`] where neither the folder nor its parent can be written, or a file has its name.
    pub fn new(target: &Path) -> Result<Self, Machine> {
        let target = resolved(target)?;
        if fs::metadata(&target).is_ok_and(|there| !there.is_dir()) {
            let error = io::Error::new(io::ErrorKind::NotADirectory, "a file has this name");
            return Err(Machine::new("make the folder", &target, error));
        }
        let beside = match (target.parent(), target.file_name()) {
            (Some(parent), Some(name)) => Some(Workshop::new(parent, name)),
            _ => None,
        };
        let (workshop, inside) = match beside {
            Some(Ok(workshop)) => (workshop, false),
            // The folder may be writable where its parent is not.
            _ if target.is_dir() => (Workshop::new(&target, "".as_ref())?, true),
            Some(Err(error)) => return Err(error),
            None => return Err(Machine::new("make the folder", &target, io::ErrorKind::NotFound.into())),
        };
        Ok(Self { target, workshop, inside, files: Listing::new(), given: Listing::new() })
    }

    /// Adds a file; its name is relative to the folder.
    ///
    /// # Errors
    ///
    /// [`Machine`] where the system refuses, or where `write` does.
    pub fn file(
        &mut self,
        name: impl AsRef<Path>,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> Result<(), Machine> {
        let sha256 = self.make(name.as_ref(), write)?;
        self.files.insert(name.as_ref().to_path_buf(), sha256);
        Ok(())
    }

    /// Adds a file that is the user's from then on: no later run takes it away, nor replaces it unasked once it was changed.
    ///
    /// # Errors
    ///
    /// As [`FolderWriter::file`].
    pub fn give(&mut self, name: impl AsRef<Path>, contents: &[u8]) -> Result<(), Machine> {
        let sha256 = self.make(name.as_ref(), |out| out.write_all(contents))?;
        self.given.insert(name.as_ref().to_path_buf(), sha256);
        Ok(())
    }

    fn make(&self, name: &Path, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<String, Machine> {
        let failed = |error| Machine::new("write", &self.target.join(name), error);
        if !listing::is_below(name) {
            return Err(failed(io::Error::new(io::ErrorKind::InvalidInput, "the name leads out of the folder")));
        }
        let path = self.workshop.new_folder().join(name);
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(failed)?;
        }
        let file = fs::File::create(&path).map_err(failed)?;
        let mut out = Hashing::new(io::BufWriter::with_capacity(1 << 16, file));
        write(&mut out).and_then(|()| out.flush()).map_err(failed)?;
        let (buffered, sha256) = out.finish();
        buffered.get_ref().sync_all().map_err(failed)?;
        Ok(sha256)
    }

    /// Puts the folder in its place. `inputs` are the files that the run read; `force` says that files of the user's may be replaced.
    ///
    /// # Errors
    ///
    /// [`FolderError`]; the folder is then as it was.
    pub fn commit(self, inputs: &[InputFile], force: bool) -> Result<(), FolderError> {
        let list = listing::text(&self.files);
        self.make(Path::new(LIST), |out| out.write_all(list.as_bytes()))?;
        let new: Listing =
            self.files.iter().chain(&self.given).map(|(name, sha)| (name.clone(), sha.clone())).collect();
        let parent = self.target.parent().unwrap_or(&self.target);
        let _turn = Turn::in_folder(parent)?;
        moving::settle(&self.target)?;
        let listed = listing::read(&self.target).unwrap_or_default();
        self.refuse_inputs(&new, &listed, inputs)?;
        refuse_unless_none(&self.target, blocked(&self.target, &new))?;
        if !force {
            refuse_unless_none(&self.target, in_the_way(&self.target, &new))?;
        }
        if !self.exchanged(&new, &listed)? {
            moving::in_one_by_one(&self.workshop.new_folder(), &self.target)?;
        }
        Ok(())
    }

    /// No file that the run read may be replaced or taken away, whatever its path or link is called. One that stays as it is may be read.
    fn refuse_inputs(&self, new: &Listing, listed: &Listing, inputs: &[InputFile]) -> Result<(), FolderError> {
        // The list itself is always written anew.
        let list = PathBuf::from(LIST);
        let touched: BTreeSet<&PathBuf> = new.keys().chain(listed.keys()).chain([&list]).collect();
        for input in inputs {
            let here = touched.iter().find(|name| is_same_file(&self.target.join(name), &input.path));
            if here.is_some_and(|name| new.get(*name) != Some(&input.sha256)) {
                return Err(FolderError::InputInside { input: input.path.clone(), output: self.target.clone() });
            }
        }
        Ok(())
    }

    /// Lets the new folder take the old one's place; `false` where that cannot be in one step.
    fn exchanged(&self, new: &Listing, listed: &Listing) -> Result<bool, Machine> {
        let made = self.workshop.new_folder();
        let parent = self.target.parent().unwrap_or(&self.target);
        if self.inside {
            return Ok(false);
        }
        if !self.target.exists() {
            sync_below(&made);
            fs::rename(&made, &self.target).map_err(|error| Machine::new("write", &self.target, error))?;
            sync_folder(parent);
            return Ok(true);
        }
        if stands_within(&self.target) || !same_owner(&self.target, &made) || !self.take_along(new, listed) {
            return Ok(false);
        }
        if let Ok(old) = fs::metadata(&self.target) {
            let _ = fs::set_permissions(&made, old.permissions());
        }
        sync_below(&made);
        let swapped = swap(&made, &self.target);
        let exchanged = swapped || aside(&self.workshop, &self.target);
        if exchanged {
            let old = if swapped { made } else { self.workshop.path().join(beside::OLD) };
            self.bring_over(&old, new, listed);
            sync_folder(parent);
        }
        Ok(exchanged)
    }

    /// Moves what the user made or saved in the old folder while the new one was being made into the new one: the old one goes. A file of the
    /// user's that both have was saved again meanwhile. What is ours in the new folder stays.
    fn bring_over(&self, old: &Path, new: &Listing, listed: &Listing) {
        let folders: BTreeSet<&Path> = new.keys().chain(listed.keys()).filter_map(|name| name.parent()).collect();
        for folder in folders.into_iter().chain([Path::new("")]) {
            for entry in fs::read_dir(old.join(folder)).into_iter().flatten().flatten() {
                let name = folder.join(entry.file_name());
                let is_file = entry.file_type().is_ok_and(|kind| !kind.is_dir());
                // Of what is listed in the old folder and in the new one the new one was asked for.
                let ours = name == Path::new(LIST) || listed.contains_key(&name) || new.contains_key(&name);
                let there = self.target.join(&name);
                if !is_file || ours || is_same_file(&entry.path(), &there) {
                    continue;
                }
                let _ = there.parent().map(fs::create_dir_all);
                let _ = fs::rename(entry.path(), there);
            }
        }
    }

    /// Links the user's own files into the new folder; `false` where there is more than files.
    fn take_along(&self, new: &Listing, listed: &Listing) -> bool {
        let made = self.workshop.new_folder();
        let ours = |name: &Path| new.keys().chain(listed.keys()).any(|file| file.parent() == Some(name));
        let folders: BTreeSet<&Path> = new.keys().chain(listed.keys()).filter_map(|name| name.parent()).collect();
        folders.into_iter().chain([Path::new("")]).all(|folder| {
            let Ok(entries) = fs::read_dir(self.target.join(folder)) else { return true };
            entries.flatten().all(|entry| {
                let name = folder.join(entry.file_name());
                let Ok(kind) = entry.file_type() else { return false };
                if kind.is_dir() {
                    return ours(&name) || is_working_place(&entry.file_name());
                }
                let replaced = new.contains_key(&name) || name == Path::new(LIST);
                if replaced || listed.get(&name).is_some_and(|sha256| is_unchanged(&entry.path(), sha256)) {
                    return true;
                }
                let link = made.join(&name);
                let _ = link.parent().map(fs::create_dir_all);
                fs::symlink_metadata(&link).is_ok() || fs::hard_link(entry.path(), &link).is_ok()
            })
        })
    }
}

/// A folder's path without links, `.` and `..`; of one that is not there yet, its parent's (which is made) and its name.
fn resolved(path: &Path) -> Result<PathBuf, Machine> {
    let failed = |error| Machine::new("make the folder", path, error);
    if let Ok(there) = fs::canonicalize(path) {
        return Ok(there);
    }
    let Some(name) = path.file_name() else {
        // A path that ends in `..`, of folders that are not there.
        fs::create_dir_all(path).map_err(failed)?;
        return fs::canonicalize(path).map_err(failed);
    };
    let parent = super::folder_of(path);
    fs::create_dir_all(&parent).map_err(failed)?;
    beside::sweep_in_turn(&parent)?;
    let there = fs::canonicalize(&parent).map_err(failed)?.join(name);
    Ok(fs::canonicalize(&there).unwrap_or(there))
}

/// Whether this process stands in the folder or below it: it would find itself in a folder that is gone.
fn stands_within(folder: &Path) -> bool {
    let here = std::env::current_dir().and_then(fs::canonicalize);
    here.is_ok_and(|here| here.starts_with(folder))
}

/// Whether a folder that we make belongs to whom the old one belongs.
#[cfg(unix)]
fn same_owner(old: &Path, new: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let owner = |path| fs::metadata(path).map(|folder| (folder.uid(), folder.gid())).ok();
    owner(old) == owner(new)
}

#[cfg(not(unix))]
fn same_owner(_: &Path, _: &Path) -> bool {
    true
}

/// Lets two folders change places in one step.
#[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
fn swap(a: &Path, b: &Path) -> bool {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE).is_ok()
}

#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
fn swap(_: &Path, _: &Path) -> bool {
    false
}

/// Moves the old folder aside and gives its name to the new one; puts it back where the second step fails.
fn aside(workshop: &Workshop, target: &Path) -> bool {
    let old = workshop.path().join(beside::OLD);
    if fs::rename(target, &old).is_err() {
        return false;
    }
    if fs::rename(workshop.new_folder(), target).is_ok() {
        return true;
    }
    let _ = fs::rename(&old, target);
    false
}

/// Forces the names in a folder and in its folders to the disk; the files are there already.
fn sync_below(folder: &Path) {
    if let Ok(entries) = fs::read_dir(folder) {
        entries.flatten().filter(|entry| entry.path().is_dir()).for_each(|entry| sync_below(&entry.path()));
    }
    sync_folder(folder);
}

#[cfg(test)]
mod tests;
