//! Telling a single file that this program wrote from one that is the user's.
//!
//! A workbook says in its properties who made it, and when: ours bear a fixed date, and every program that saves a workbook writes its own.
//! A calendar names its maker.

use std::fs::File;
use std::io::Read;
use std::path::Path;

/// The first bytes of a regular file, at most so many; `None` where there is none. A pipe or a device in its place is not waited for.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let path = folder.path().join("page.1");
/// assert_eq!(packdrift_records::write::first_bytes(&path, 4), None);
/// std::fs::write(&path, ".TH packdrift")?;
/// assert_eq!(packdrift_records::write::first_bytes(&path, 3).as_deref(), Some(&b".TH"[..]));
/// # Ok::<(), std::io::Error>(())
/// ```
pub fn first_bytes(path: &Path, most: u64) -> Option<Vec<u8>> {
    let there = std::fs::metadata(path).ok().filter(std::fs::Metadata::is_file)?;
    let mut bytes = Vec::with_capacity(there.len().min(most) as usize);
    File::open(path).ok()?.take(most).read_to_end(&mut bytes).ok()?;
    Some(bytes)
}

/// The author of our workbooks.
pub(super) const AUTHOR: &str = "packdrift";
/// So much of a file is looked at.
const HEAD: u64 = 4096;

/// Whether a file may be written at `path` unasked: nothing is there, nothing is in it, it is no file that could lose anything (a device, a
/// pipe), or it is as we wrote it.
///
/// ```
/// let folder = tempfile::tempdir()?;
/// let path = folder.path().join("tables.xlsx");
/// assert!(packdrift_records::write::may_be_replaced(&path));
/// std::fs::write(&path, "somebody's")?;
/// assert!(!packdrift_records::write::may_be_replaced(&path));
/// # Ok::<(), std::io::Error>(())
/// ```
pub fn may_be_replaced(path: &Path) -> bool {
    let Ok(there) = std::fs::metadata(path) else { return true };
    // A folder is refused when it is written to.
    if !there.is_file() || there.len() == 0 {
        return true;
    }
    let Ok(mut file) = File::open(path) else { return false };
    let mut head = Vec::new();
    if file.by_ref().take(HEAD).read_to_end(&mut head).is_err() {
        return false;
    }
    if head.starts_with(b"PK\x03\x04") {
        return is_our_workbook(file).unwrap_or(false);
    }
    let head = String::from_utf8_lossy(&head);
    head.starts_with("BEGIN:VCALENDAR\r\n")
        && head.lines().any(|line| line.starts_with("PRODID:") && line.contains(AUTHOR))
}

fn is_our_workbook(file: File) -> Option<bool> {
    let mut archive = zip::ZipArchive::new(file).ok()?;
    let mut core = String::new();
    archive.by_name("docProps/core.xml").ok()?.take(HEAD).read_to_string(&mut core).ok()?;
    let of = |name: &str| {
        let from = core.split_once(&format!("<{name}"))?.1.split_once('>')?.1;
        Some(from.split_once("</")?.0)
    };
    let dated = |name: &str| of(name) == Some("2000-01-01T00:00:00Z");
    Some(of("dc:creator") == Some(AUTHOR) && dated("dcterms:created") && dated("dcterms:modified"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;
    use crate::write::{Sheet, workbook};

    #[test]
    fn our_workbook_is_told_from_one_that_another_program_saved() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tables.xlsx");
        let sheet = Sheet { name: "shims".to_owned(), caption: String::new(), columns: vec![], rows: vec![] };
        workbook(&path, &[sheet]).unwrap();
        assert!(may_be_replaced(&path));
        let mut theirs = rust_xlsxwriter::Workbook::new();
        theirs.add_worksheet().write_string(0, 0, "mine").unwrap();
        theirs.save(&path).unwrap();
        assert!(!may_be_replaced(&path));
        std::fs::write(&path, b"PK\x03\x04 damaged").unwrap();
        assert!(!may_be_replaced(&path));
    }

    #[test]
    fn our_calendar_is_told_from_another() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plan.ics");
        for (text, ours) in [
            ("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//packdrift//due//EN\r\n", true),
            ("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//another//EN\r\n", false),
            ("", true),
        ] {
            std::fs::write(&path, text).unwrap();
            assert_eq!(may_be_replaced(&path), ours, "{text}");
        }
    }
}
