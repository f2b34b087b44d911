//! A file, read whole and once: what is parsed is what was hashed, even if the file changes meanwhile.

use crate::error::{Error, Fault, FaultKind, InputError, Machine, Place};
use crate::fingerprint::sha256_of_bytes;
use crate::limits::{FILE_BYTES, PIPE_BYTES, exceeded, mebibytes};
use std::collections::BTreeSet;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Path and fingerprint of a file that was read, as results record it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InputFile {
    /// As given.
    pub path: PathBuf,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
}

/// The bytes of a file.
#[derive(Debug, Clone)]
pub struct Source {
    path: Arc<Path>,
    bytes: Arc<[u8]>,
    /// Rows of a sheet or of a Parquet file, from 1, that are read as if they were not there.
    left_out: Arc<BTreeSet<u32>>,
}

impl Source {
    /// Reads a file whole.
    ///
    /// # Errors
    ///
    /// [`Error::Input`] where there is no such file (the nearest name in its folder is suggested), where it is a folder, or
    /// where it is empty; [`Error::Machine`] where the machine would not read it.
    pub fn read(path: &Path) -> Result<Self, Error> {
        let shared: Arc<Path> = Arc::from(path);
        let refuse = |kind, found: &str, expected: &str, help: Option<String>| {
            let mut fault = Fault::new(kind, shared.clone(), Place::File, found, expected);
            fault.help = help;
            Error::Input(InputError::of(vec![fault]))
        };
        // A device would be opened and never end; a pipe ends.
        let kind = std::fs::metadata(path).ok();
        if kind.as_ref().is_some_and(|found| !(found.is_file() || found.is_dir() || is_pipe(found))) {
            return Err(refuse(FaultKind::NotAFile, "a device", "a file", None));
        }
        let mut file = match std::fs::File::open(path) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                let help =
                    nearest_file(path).map(|near| format!("there is a file `{}`: did you mean that?", near.display()));
                return Err(refuse(FaultKind::NoSuchFile, "no such file", "the path of a file", help));
            }
            Err(error) => return Err(Machine::new("open", path, error).into()),
        };
        if file.metadata().is_ok_and(|metadata| metadata.is_dir()) {
            return Err(refuse(FaultKind::NotAFile, "a folder", "a file", None));
        }
        let length = file.metadata().map_or(0, |metadata| metadata.len());
        let too_large = |limit: u64| {
            let found = format!("more than {}", mebibytes(limit));
            Error::Input(exceeded(&shared, Place::File, found, format!("a file of at most {}", mebibytes(limit))))
        };
        if length > FILE_BYTES {
            return Err(too_large(FILE_BYTES));
        }
        let limit = if length == 0 { PIPE_BYTES } else { FILE_BYTES };
        let Some(bytes) = whole(&mut file, limit).map_err(|error| Machine::new("read", path, error))? else {
            return Err(too_large(limit));
        };
        if bytes.iter().all(u8::is_ascii_whitespace) {
            let found = if bytes.is_empty() { "nothing: the file is empty" } else { "nothing but blanks" };
            return Err(refuse(FaultKind::EmptyFile, found, "records", None));
        }
        Ok(Self { path: shared, bytes, left_out: Arc::default() })
    }

    /// Takes bytes that came from elsewhere, under the name `path`.
    pub fn from_bytes(path: impl AsRef<Path>, bytes: impl Into<Arc<[u8]>>) -> Self {
        Self { path: Arc::from(path.as_ref()), bytes: bytes.into(), left_out: Arc::default() }
    }

    /// The same without some rows of a sheet or of a Parquet file, from 1; rows of a text stay.
    pub(crate) fn without_rows(&self, rows: BTreeSet<u32>) -> Self {
        Self { left_out: Arc::new(rows), ..self.clone() }
    }

    /// Rows, from 1, that are not to be read.
    pub(crate) fn left_out(&self) -> &BTreeSet<u32> {
        &self.left_out
    }

    /// As given.
    pub fn path(&self) -> &Arc<Path> {
        &self.path
    }

    /// All of them.
    pub fn bytes(&self) -> &Arc<[u8]> {
        &self.bytes
    }

    /// The text, without a byte-order mark.
    ///
    /// # Errors
    ///
    /// Bytes that are not UTF-8: where the first of them is, and what it may be.
    pub fn text(&self) -> Result<&str, InputError> {
        let bytes = self.bytes.strip_prefix(BYTE_ORDER_MARK).unwrap_or(&self.bytes);
        std::str::from_utf8(bytes)
            .map_err(|error| InputError::of(vec![wrong_encoding(&self.path, bytes, error.valid_up_to())]))
    }

    /// Path and SHA-256.
    pub fn fingerprint(&self) -> InputFile {
        InputFile { path: self.path.to_path_buf(), sha256: sha256_of_bytes(&self.bytes) }
    }
}

#[cfg(unix)]
fn is_pipe(file: &std::fs::Metadata) -> bool {
    std::os::unix::fs::FileTypeExt::is_fifo(&file.file_type())
}

#[cfg(not(unix))]
fn is_pipe(_: &std::fs::Metadata) -> bool {
    false
}

/// All bytes of a file, without a copy where it is as long as the system says; `None` where there are more than `limit`.
fn whole(file: &mut std::fs::File, limit: u64) -> io::Result<Option<Arc<[u8]>>> {
    let length = file.metadata().map_or(0, |metadata| usize::try_from(metadata.len()).unwrap_or(0));
    let mut bytes: Arc<[u8]> = std::iter::repeat_n(0, length).collect();
    let mut filled = 0;
    // Nobody else holds the bytes yet.
    if let Some(room) = Arc::get_mut(&mut bytes) {
        while filled < length {
            match file.read(&mut room[filled..]) {
                Ok(0) => break,
                Ok(more) => filled += more,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
    }
    // A pipe has no length, and a file may grow or shrink meanwhile.
    let mut rest = Vec::new();
    let room = limit.saturating_sub(filled as u64);
    file.take(room + 1).read_to_end(&mut rest)?;
    if filled as u64 > limit || rest.len() as u64 > room {
        return Ok(None);
    }
    if rest.is_empty() && filled == length {
        return Ok(Some(bytes));
    }
    if filled == 0 {
        return Ok(Some(rest.into()));
    }
    Ok(Some([&bytes[..filled], &rest].concat().into()))
}

/// What some programs put before UTF-8 text.
pub(crate) const BYTE_ORDER_MARK: &[u8] = b"\xEF\xBB\xBF";

fn wrong_encoding(path: &Arc<Path>, bytes: &[u8], at: usize) -> Fault {
    let start = bytes[..at].iter().rposition(|&byte| byte == b'\n').map_or(0, |newline| newline + 1);
    let line = 1 + memchr::memchr_iter(b'\n', &bytes[..at]).count();
    let column = 1 + String::from_utf8_lossy(&bytes[start..at]).chars().count();
    let byte = bytes[at];
    let utf16 = bytes.starts_with(b"\xFF\xFE") || bytes.starts_with(b"\xFE\xFF");
    let mut fault = Fault::new(
        FaultKind::WrongEncoding,
        path.clone(),
        Place::Text { line, column, span: None },
        format!("byte 0x{byte:02X} (byte {} of the file), which is not UTF-8", at + 1),
        "text in UTF-8",
    );
    fault.help = Some(if utf16 {
        "the file looks like UTF-16: save it as UTF-8".to_owned()
    } else {
        match windows_1252(byte) {
            Some(letter) => format!(
                "in windows-1252 (Latin-1) this byte is `{letter}`: save the file as UTF-8, or give --encoding windows-1252 with a table"
            ),
            None => "save the file as UTF-8".to_owned(),
        }
    });
    fault
}

/// Text in windows-1252 as UTF-8; None where a byte stands for nothing there.
pub(crate) fn from_windows_1252(bytes: &[u8]) -> Option<String> {
    // The bytes 0x80 to 0x9F; those of the others that are letters have the numbers of Unicode.
    const HIGH: [char; 32] = [
        '€', '\0', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\0', 'Ž', '\0', '\0', '‘', '’', '“', '”',
        '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\0', 'ž', 'Ÿ',
    ];
    bytes
        .iter()
        .map(|&byte| match byte {
            0x80..=0x9F => Some(HIGH[usize::from(byte - 0x80)]).filter(|letter| *letter != '\0'),
            _ => Some(char::from(byte)),
        })
        .collect()
}

/// The printable character of a byte in windows-1252, for the hint only.
pub(crate) fn windows_1252(byte: u8) -> Option<char> {
    match byte {
        0xA0..=0xFF => Some(char::from(byte)),
        0x80 => Some('€'),
        0x91 | 0x92 => Some('’'),
        0x93 => Some('“'),
        0x94 => Some('”'),
        0x96 => Some('–'),
        _ => None,
    }
}

/// The file of the same folder whose name is nearest to the one that is missing.
fn nearest_file(path: &Path) -> Option<PathBuf> {
    let wanted = path.file_name()?.to_str()?;
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_path_buf(),
        _ => PathBuf::from("."),
    };
    let names: Vec<String> = std::fs::read_dir(&folder)
        .ok()?
        .take(1000)
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .collect();
    let near = crate::suggest::nearest(wanted, names.iter().map(String::as_str))?;
    Some(path.with_file_name(near))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn a_file_is_read_whole_whatever_length_it_claims() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        for bytes in [&b"x"[..], b"part,reading\na,1\n", &[b'7'; 10_000]] {
            std::fs::write(&path, bytes).unwrap();
            assert_eq!(Source::read(&path).unwrap().bytes().as_ref(), bytes);
        }
        // Read from the middle on, a file is shorter than it claims.
        let mut file = std::fs::File::open(&path).unwrap();
        file.read_exact(&mut [0; 9_999]).unwrap();
        assert_eq!(whole(&mut file, PIPE_BYTES).unwrap().unwrap().as_ref(), b"7");
        let mut file = std::fs::File::open(&path).unwrap();
        file.read_exact(&mut [0; 9_990]).unwrap();
        assert_eq!(whole(&mut file, 9).unwrap(), None);
        // The system's own files claim no length at all.
        if cfg!(target_os = "linux") {
            assert!(Source::read(Path::new("/proc/self/status")).unwrap().text().unwrap().contains("Threads"));
        }
    }
}
