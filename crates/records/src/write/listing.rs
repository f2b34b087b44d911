//! `files.txt`: what was written into a folder of results, each file with its SHA-256, as `sha256sum --check files.txt` reads it.
//!
//! By it a later run tells its own from the user's: a file that is listed and unchanged may be replaced or taken away, any other may not.

use super::own::first_bytes;
use crate::fingerprint::sha256_of_file;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Component, Path, PathBuf};

/// The name of the list of files in a folder of results.
pub const LIST: &str = "files.txt";

/// A list longer than this is none of ours.
const LONGEST: u64 = 16 << 20;

/// Files of a folder by their names in it, with their SHA-256.
pub(super) type Listing = BTreeMap<PathBuf, String>;

/// As it stands in the list.
pub(super) fn text(files: &Listing) -> String {
    files.iter().map(|(name, sha256)| format!("{sha256}  {}\n", slashed(name))).collect()
}

/// The list of a folder; `None` where there is none, or one that is not ours.
pub(super) fn read(folder: &Path) -> Option<Listing> {
    let list = first_bytes(&folder.join(LIST), LONGEST + 1)?;
    if list.len() as u64 > LONGEST {
        return None;
    }
    String::from_utf8(list).ok()?.lines().map(entry).collect()
}

fn entry(line: &str) -> Option<(PathBuf, String)> {
    let (sha256, name) = line.split_once("  ")?;
    let name = PathBuf::from(name);
    let is_sha256 = sha256.len() == 64 && sha256.bytes().all(|byte| byte.is_ascii_hexdigit());
    (is_sha256 && is_below(&name)).then(|| (name, sha256.to_owned()))
}

/// Whether a name stays in the folder that it is a name in.
pub(super) fn is_below(name: &Path) -> bool {
    name.components().count() > 0 && name.components().all(|part| matches!(part, Component::Normal(_)))
}

/// Whether a file is still as it was listed. A link is nothing that we wrote.
pub(super) fn is_unchanged(path: &Path, sha256: &str) -> bool {
    fs::symlink_metadata(path).is_ok_and(|file| file.is_file()) && sha256_of_file(path).is_ok_and(|is| is == sha256)
}

/// A name with slashes, on every system.
fn slashed(name: &Path) -> String {
    name.components().map(|part| part.as_os_str().to_string_lossy().into_owned()).collect::<Vec<_>>().join("/")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn a_list_reads_back_and_names_nothing_outside() {
        let folder = tempfile::tempdir().unwrap();
        let sha = "a".repeat(64);
        let files = Listing::from([("report.html".into(), sha.clone()), ("tables/two words.csv".into(), sha.clone())]);
        fs::write(folder.path().join(LIST), text(&files)).unwrap();
        assert_eq!(read(folder.path()), Some(files));
        for name in ["../report.html", "/etc/passwd", "a/../../b", ""] {
            fs::write(folder.path().join(LIST), format!("{sha}  {name}\n")).unwrap();
            assert_eq!(read(folder.path()), None, "{name}");
        }
        fs::write(folder.path().join(LIST), "report.html\n").unwrap();
        assert_eq!(read(folder.path()), None);
    }
}
