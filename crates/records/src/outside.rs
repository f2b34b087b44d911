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

pub(crate) fn are_files_allowed() -> bool {
    ALLOWED.load(Ordering::Relaxed)
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
