//! Files that files name.
//!
//! A pack file may come from anybody. If it could name any file of the machine (`sample = "/etc/shadow"`), the errors about that file would
//! show what is in it, and a device would be read without end. So a file names files in its own folder or below it, and regular ones, unless the
//! user allows more.

use std::path::{Component, Path};
use std::sync::atomic::{AtomicBool, Ordering};

static ALLOWED: AtomicBool = AtomicBool::new(false);

/// From now on the files that this process reads may name files outside their own folders. For programs whose user has said so.
pub fn allow_files_outside() {
    ALLOWED.store(true, Ordering::Relaxed);
}

/// The environment variable with which a process that runs another one holds it to a folder: files that files name lie below it, whatever else is
/// allowed. `replay` runs the command of a stranger's result so, on copies of the inputs that it has found by their SHA-256.
pub const ONLY_BELOW: &str = "PACKDRIFT_ONLY_BELOW";

/// Whether a file in `folder` may name the file at `path`.
pub(crate) fn is_allowed(path: &Path, folder: &Path) -> bool {
    let allowed = ALLOWED.load(Ordering::Relaxed) || is_below(path, folder);
    allowed && std::env::var_os(ONLY_BELOW).is_none_or(|root| is_below(path, Path::new(&root)))
}

/// Whether a path stays in a folder or below it, also where links lead; and what is there, if anything, is a file (not a device or a pipe).
pub(crate) fn is_below(path: &Path, folder: &Path) -> bool {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let (Ok(real), Ok(home)) = (std::fs::canonicalize(path), std::fs::canonicalize(folder)) else {
        // Nothing is there, and the message says so; it may still not tell whether something is there elsewhere.
        let name = path.strip_prefix(folder).unwrap_or(path);
        return name.components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
    };
    real.starts_with(&home) && std::fs::metadata(&real).is_ok_and(|there| there.is_file() || there.is_dir())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn paths_stay_below_whatever_leads_out() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("packs");
        std::fs::create_dir_all(folder.join("lots")).unwrap();
        std::fs::write(folder.join("lots/a.csv"), "reading\n").unwrap();
        std::fs::write(parent.path().join("secret"), "x").unwrap();
        let below = |name: &str| is_below(&folder.join(name), &folder);
        assert!(below("lots/a.csv") && below("./lots/../lots/a.csv") && below("nowhere.csv"));
        assert!(!below("../secret") && !below("/etc/passwd") && !below("../nowhere") && !below("/dev/zero"));
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(parent.path().join("secret"), folder.join("link")).unwrap();
            std::os::unix::fs::symlink(folder.join("lots/a.csv"), folder.join("inner")).unwrap();
            assert!(!below("link") && below("inner"));
            assert!(!is_below(Path::new("/dev/zero"), Path::new("/dev")));
        }
    }
}
