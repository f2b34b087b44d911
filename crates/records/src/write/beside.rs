//! Working places beside what is written: their names, the lock of the folder they stand in, and what a killed run left.
//!
//! | name in the folder | what it is |
//! |---|---|
//! | `.packdrift-XXXXXXXX.tmp`, a file | a single file being written |
//! | `.packdrift-XXXXXXXX.tmp`, a folder | a folder of results being made in its `new`; `target` names it, `old` is the one it replaces |
//!
//! Whoever writes holds a lock on its working place for as long as it lives: the system gives the lock back when a process ends, however it
//! ends. A working place that can be locked is therefore nobody's, and the next run that writes beside it takes it away. The folder itself is
//! locked for moments only: while leftovers are taken away, while a new place is made, and while two folders change places.

use crate::error::Machine;
use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

const PREFIX: &str = ".packdrift-";
const SUFFIX: &str = ".tmp";
/// The folder of results as it will be.
pub(super) const NEW: &str = "new";
/// The folder of results as it was.
pub(super) const OLD: &str = "old";
/// Holds the name of the folder that is replaced.
const TARGET: &str = "target";

/// Another run holds the lock for moments; longer than this it hangs.
const PATIENCE: Duration = Duration::from_secs(60);

/// The lock of a folder. Where the system cannot lock folders (some network disks), nothing is locked.
pub(super) struct Turn {
    _lock: Option<File>,
}

impl Turn {
    /// Waits for one's turn to change what stands in `folder`.
    pub(super) fn in_folder(folder: &Path) -> Result<Self, Machine> {
        let Ok(handle) = File::open(folder) else { return Ok(Self { _lock: None }) };
        let begin = Instant::now();
        loop {
            match handle.try_lock() {
                Ok(()) => return Ok(Self { _lock: Some(handle) }),
                Err(TryLockError::WouldBlock) if begin.elapsed() < PATIENCE => {
                    std::thread::sleep(Duration::from_millis(10));
                }
                Err(TryLockError::WouldBlock) => {
                    let busy = io::Error::new(io::ErrorKind::ResourceBusy, "another run of packdrift is writing there");
                    return Err(Machine::new("write into", folder, busy));
                }
                Err(TryLockError::Error(_)) => return Ok(Self { _lock: None }),
            }
        }
    }
}

/// Takes away what killed runs left in `folder`, in one's turn.
pub(super) fn sweep_in_turn(folder: &Path) -> Result<(), Machine> {
    let _turn = Turn::in_folder(folder)?;
    sweep(folder);
    Ok(())
}

/// A temporary file in `folder`, locked; leftovers in the folder are taken away.
pub(super) fn file(folder: &Path) -> Result<tempfile::NamedTempFile, Machine> {
    let _turn = Turn::in_folder(folder)?;
    sweep(folder);
    let temporary = builder().tempfile_in(folder).map_err(|error| Machine::new("write into", folder, error))?;
    let _ = temporary.as_file().try_lock();
    Ok(temporary)
}

/// A folder in which another is made anew; gone when dropped.
pub(super) struct Workshop {
    folder: tempfile::TempDir,
    _lock: Option<File>,
}

impl Workshop {
    /// A workshop beside the folder `name` of `parent`; leftovers in the parent are taken away.
    pub(super) fn new(parent: &Path, name: &std::ffi::OsStr) -> Result<Self, Machine> {
        let _turn = Turn::in_folder(parent)?;
        sweep(parent);
        let failed = |error| Machine::new("write into", parent, error);
        let folder = builder().tempdir_in(parent).map_err(failed)?;
        let lock = File::open(folder.path()).ok().filter(|handle| handle.try_lock().is_ok());
        fs::write(folder.path().join(TARGET), name.as_encoded_bytes()).map_err(failed)?;
        fs::create_dir(folder.path().join(NEW)).map_err(failed)?;
        Ok(Self { folder, _lock: lock })
    }

    pub(super) fn path(&self) -> &Path {
        self.folder.path()
    }

    pub(super) fn new_folder(&self) -> PathBuf {
        self.folder.path().join(NEW)
    }
}

fn builder() -> tempfile::Builder<'static, 'static> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(PREFIX).suffix(SUFFIX).rand_bytes(8);
    builder
}

/// Whether a name is that of a working place.
pub(super) fn is_ours(name: &std::ffi::OsStr) -> bool {
    let middle = name.to_str().and_then(|name| name.strip_prefix(PREFIX)?.strip_suffix(SUFFIX));
    middle.is_some_and(|middle| middle.len() == 8 && middle.bytes().all(|byte| byte.is_ascii_alphanumeric()))
}

/// Takes away what killed runs left in a folder, and puts back a folder of results that one of them had moved aside. The folder is locked.
///
/// Nothing here is worth a failure: what cannot be taken away stays.
fn sweep(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.flatten().filter(|entry| is_ours(&entry.file_name())) {
        let path = entry.path();
        // A pipe of such a name is none of ours, and opening it would wait.
        let Some(kind) = entry.file_type().ok().filter(|kind| kind.is_dir() || kind.is_file()) else { continue };
        let is_dir = kind.is_dir();
        let Ok(handle) = File::open(&path) else { continue };
        if matches!(handle.try_lock(), Err(TryLockError::WouldBlock)) {
            continue;
        }
        if is_dir {
            put_back(folder, &path);
            let _ = fs::remove_dir_all(&path);
        } else {
            let _ = fs::remove_file(&path);
        }
    }
}

/// Gives the folder of results that stands in a killed run's workshop its name again, where nothing has that name now.
fn put_back(folder: &Path, workshop: &Path) {
    let old = workshop.join(OLD);
    let Ok(name) = fs::read_to_string(workshop.join(TARGET)) else { return };
    let target = folder.join(&name);
    let inside = Path::new(&name).file_name().is_some_and(|only| only == name.as_str());
    if inside && old.is_dir() && fs::symlink_metadata(&target).is_err() {
        let _ = fs::rename(old, target);
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn what_a_killed_run_left_goes_and_what_a_living_one_uses_stays() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join(".packdrift-abcd1234.tmp"), "half").unwrap();
        fs::write(folder.path().join(".packdrift-notes.tmp"), "the user's").unwrap();
        let living = file(folder.path()).unwrap();
        let other = file(folder.path()).unwrap();
        assert_eq!(names(folder.path()).len(), 3, "{:?}", names(folder.path()));
        drop((living, other));
        assert_eq!(names(folder.path()), [".packdrift-notes.tmp"]);
    }

    #[test]
    fn a_folder_that_a_killed_run_had_moved_aside_is_put_back() {
        let folder = tempfile::tempdir().unwrap();
        let workshop = folder.path().join(".packdrift-abcd1234.tmp");
        fs::create_dir_all(workshop.join(OLD)).unwrap();
        fs::write(workshop.join(OLD).join("report.html"), "whole").unwrap();
        fs::write(workshop.join(TARGET), "report").unwrap();
        sweep(folder.path());
        assert_eq!(names(folder.path()), ["report"]);
        assert_eq!(fs::read_to_string(folder.path().join("report/report.html")).unwrap(), "whole");
    }
}
