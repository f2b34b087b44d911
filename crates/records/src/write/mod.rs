//! Files out: whole or not at all.
//!
//! A file is written under a temporary name in its own folder, forced to the disk, and only then given its name. A power cut,
//! a full disk or Ctrl-C leaves the old file or none, never half of one. A folder of results is all new or all old ([`FolderWriter`]).

mod beside;
mod destination;
mod folder;
mod listing;
mod moving;
mod own;
mod workbook;

pub use destination::destination;
pub use folder::{FolderError, FolderWriter, may_be_written};
pub use listing::LIST;
pub use own::{first_bytes, may_be_replaced};
pub use workbook::{Cell, Column, Sheet, workbook, workbook_bytes};

use crate::error::Machine;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Writes a file in one step; its folder is made if need be.
///
/// # Errors
///
/// [`Machine`] where the system refuses: no space, no permission, no such folder.
///
/// # Examples
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let path = folder.path().join("tables").join("shims.csv");
/// packdrift_records::write::file(&path, b"size_mm\n0.4\n")?;
/// assert_eq!(std::fs::read(&path)?, b"size_mm\n0.4\n");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn file(path: &Path, contents: &[u8]) -> Result<(), Machine> {
    file_with(path, |writer| writer.write_all(contents))
}

/// As [`file()`], with the contents written piece by piece.
///
/// # Errors
///
/// [`Machine`] where the system refuses, or where `write` does.
pub fn file_with(path: &Path, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Machine> {
    let failed = |error| Machine::new("write", path, error);
    // What a link points to is replaced, not the link. A device or a pipe has no old contents to keep and no folder of its own:
    // it is written to, and never replaced by a file.
    let path = &destination(path).map_err(failed)?;
    if is_stream(path) {
        let mut device = fs::OpenOptions::new().write(true).open(path).map_err(failed)?;
        return write(&mut device).and_then(|()| device.flush()).map_err(failed);
    }
    let folder = folder_of(path);
    fs::create_dir_all(&folder).map_err(|error| Machine::new("make the folder", &folder, error))?;
    let mut temporary = beside::file(&folder)?;
    {
        let mut buffered = io::BufWriter::with_capacity(1 << 16, temporary.as_file_mut());
        write(&mut buffered).map_err(failed)?;
        buffered.flush().map_err(failed)?;
    }
    temporary.as_file().sync_all().map_err(failed)?;
    set_plain_permissions(temporary.as_file(), path).map_err(failed)?;
    temporary.persist(path).map_err(|error| failed(error.error))?;
    sync_folder(&folder);
    Ok(())
}

/// Whether what stands at a path is no file and no folder: a pipe, a device. Writing to it may wait for a reader.
pub fn is_stream(path: &Path) -> bool {
    fs::metadata(path).is_ok_and(|there| !there.is_file() && !there.is_dir())
}

/// Forces a folder's names to the disk: a new name is in it only then. Not every system lets a folder be opened.
fn sync_folder(folder: &Path) {
    if let Ok(folder) = fs::File::open(folder) {
        let _ = folder.sync_all();
    }
}

/// Whether two paths lead to one file, links followed; `false` where one of them leads nowhere.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let (file, link) = (folder.path().join("drawer.csv"), folder.path().join("link.csv"));
/// std::fs::write(&file, "piece,thickness\n")?;
/// std::fs::hard_link(&file, &link)?;
/// assert!(packdrift_records::write::is_same_file(&file, &link));
/// # Ok::<(), std::io::Error>(())
/// ```
pub fn is_same_file(a: &Path, b: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        let identity = |path| fs::metadata(path).map(|file| (file.dev(), file.ino())).ok();
        identity(a).is_some_and(|a| Some(a) == identity(b))
    }
    #[cfg(not(unix))]
    {
        fs::canonicalize(a).is_ok_and(|a| fs::canonicalize(b).is_ok_and(|b| a == b))
    }
}

fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_path_buf(),
        _ => PathBuf::from("."),
    }
}

/// Temporary files are the owner's alone; results are not secret. A file that is replaced keeps its permissions.
#[cfg(unix)]
fn set_plain_permissions(temporary: &fs::File, path: &Path) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    let mode = match fs::metadata(path) {
        Ok(old) => old.permissions().mode() & 0o777,
        Err(_) => 0o644,
    };
    temporary.set_permissions(fs::Permissions::from_mode(mode))
}

#[cfg(not(unix))]
#[allow(clippy::unnecessary_wraps, reason = "the same signature as on the systems that have modes")]
fn set_plain_permissions(_: &fs::File, _: &Path) -> io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn a_writer_that_fails_leaves_the_old_file_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("result.json");
        file(&path, b"old").unwrap();
        let error = file_with(&path, |writer| {
            writer.write_all(b"half of the new")?;
            Err(io::Error::other("no space left"))
        });
        assert_eq!(error.unwrap_err().to_string(), format!("could not write {}", path.display()));
        assert_eq!(fs::read(&path).unwrap(), b"old");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_stays_a_link_and_a_pipe_a_pipe() {
        use std::os::unix::fs::FileTypeExt;
        let folder = tempfile::tempdir().unwrap();
        let (real, link) = (folder.path().join("real.csv"), folder.path().join("link.csv"));
        fs::write(&real, "old").unwrap();
        std::os::unix::fs::symlink(&real, &link).unwrap();
        file(&link, b"new").unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().file_type().is_symlink());
        assert_eq!(fs::read(&real).unwrap(), b"new");
        let dangling = folder.path().join("dangling.csv");
        std::os::unix::fs::symlink("made.csv", &dangling).unwrap();
        file(&dangling, b"new").unwrap();
        assert!(fs::symlink_metadata(&dangling).unwrap().file_type().is_symlink());
        assert_eq!(fs::read(folder.path().join("made.csv")).unwrap(), b"new");
        file(Path::new("/dev/null"), b"gone").unwrap();
        assert!(fs::metadata("/dev/null").unwrap().file_type().is_char_device());
    }

    #[test]
    fn a_folder_that_is_a_file_is_the_machines_fault() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("out"), "a file").unwrap();
        let error = file(&folder.path().join("out").join("x.csv"), b"").unwrap_err();
        assert_eq!(error.doing, "make the folder");
    }
}
