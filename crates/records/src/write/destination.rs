//! Where a file written to a path will stand, also where parts of the path are not there yet.

use std::fs;
use std::io;
use std::path::{Component, Path, PathBuf};

/// Links followed one after the other before a path is taken to lead round in a circle, as the system does.
const LINKS: usize = 40;

/// Where a file written to `path` will stand: absolute, links followed, without `.` and `..`. A link that leads nowhere yet leads to the file
/// that will be made; `..` behind a folder that is not there yet leads back out of it, as it will once the folder is made.
///
/// # Errors
///
/// Where the folder that this process stands in is gone, or links lead round in a circle.
///
/// # Examples
///
/// ```
/// use packdrift_records::write::destination;
/// let parent = tempfile::tempdir()?;
/// let there = std::fs::canonicalize(parent.path())?;
/// assert_eq!(destination(&parent.path().join("new/../gauge.csv"))?, there.join("gauge.csv"));
/// # Ok::<(), std::io::Error>(())
/// ```
pub fn destination(path: &Path) -> io::Result<PathBuf> {
    let mut path = std::path::absolute(path)?;
    for _ in 0..LINKS {
        if let Ok(there) = fs::canonicalize(&path) {
            return Ok(there);
        }
        if let Ok(leads) = fs::read_link(&path) {
            path = path.parent().unwrap_or(&path).join(leads);
            continue;
        }
        let found = path.ancestors().skip(1).find_map(|above| {
            let rest = path.strip_prefix(above).ok()?.to_path_buf();
            Some((fs::canonicalize(above).ok()?, rest))
        });
        let Some((there, rest)) = found else { return Ok(path) };
        if rest.components().all(|part| matches!(part, Component::Normal(_))) {
            return Ok(there.join(rest));
        }
        path = rest.components().fold(there, |at, part| match part {
            Component::ParentDir => at.parent().unwrap_or(&at).to_path_buf(),
            Component::Normal(name) => at.join(name),
            _ => at,
        });
    }
    Err(io::Error::other("its links lead round in a circle"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn what_is_not_there_yet_is_found_where_it_will_be() {
        let parent = tempfile::tempdir().unwrap();
        let there = fs::canonicalize(parent.path()).unwrap();
        let to = |name: &str| destination(&parent.path().join(name)).unwrap();
        assert_eq!(to("a/b/c.csv"), there.join("a/b/c.csv"));
        assert_eq!(to("new/../c.csv"), there.join("c.csv"));
        assert_eq!(to("new/../../c.csv"), there.parent().unwrap().join("c.csv"));
        fs::create_dir(parent.path().join("old")).unwrap();
        assert_eq!(to("new/../old/c.csv"), there.join("old/c.csv"));
    }

    #[cfg(unix)]
    #[test]
    fn links_are_followed_to_what_is_not_there_yet_and_not_in_a_circle() {
        use std::os::unix::fs::symlink;
        let parent = tempfile::tempdir().unwrap();
        let there = fs::canonicalize(parent.path()).unwrap();
        let at = |name: &str| parent.path().join(name);
        symlink("real.xlsx", at("link.xlsx")).unwrap();
        assert_eq!(destination(&at("link.xlsx")).unwrap(), there.join("real.xlsx"));
        assert_eq!(destination(&at("new/../link.xlsx")).unwrap(), there.join("real.xlsx"));
        symlink("b", at("a")).unwrap();
        symlink("a", at("b")).unwrap();
        assert!(destination(&at("a")).is_err());
    }
}
