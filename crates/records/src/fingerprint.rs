//! SHA-256 of files, as results and lists of files record it: lower-case hexadecimal.

use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::io::{self, Read, Write};
use std::path::Path;

/// SHA-256 of bytes at hand, lower-case hexadecimal.
///
/// ```
/// let of_abc = packdrift_records::sha256_of_bytes(b"abc");
/// assert!(of_abc.starts_with("ba7816bf8f01cfea"));
/// ```
pub fn sha256_of_bytes(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// SHA-256 of a file, lower-case hexadecimal, read piece by piece.
///
/// # Errors
///
/// What the system says where the file cannot be read.
pub fn sha256_of_file(path: &Path) -> io::Result<String> {
    let mut file = std::fs::File::open(path)?;
    let mut digest = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece) {
            Ok(0) => return Ok(hexadecimal(&digest.finalize())),
            Ok(more) => digest.update(&piece[..more]),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}

/// SHA-256 of a file of at most `most` bytes; `None` where more comes, as from a file that grows or that the system makes up without end.
///
/// # Errors
///
/// What the system says where the file cannot be read.
///
/// # Examples
/// ```
/// use packdrift_records::{sha256_of_bytes, sha256_up_to};
/// let folder = tempfile::tempdir()?;
/// let path = folder.path().join("abc");
/// std::fs::write(&path, "abc")?;
/// assert_eq!(sha256_up_to(&path, 3)?, Some(sha256_of_bytes(b"abc")));
/// assert_eq!(sha256_up_to(&path, 2)?, None);
/// # Ok::<(), std::io::Error>(())
/// ```
pub fn sha256_up_to(path: &Path, most: u64) -> io::Result<Option<String>> {
    let mut file = std::fs::File::open(path)?.take(most.saturating_add(1));
    let mut digest = Sha256::new();
    let (mut piece, mut length) = (vec![0; 1 << 16], 0_u64);
    loop {
        match file.read(&mut piece) {
            Ok(0) => return Ok((length <= most).then(|| hexadecimal(&digest.finalize()))),
            Ok(more) => {
                length += more as u64;
                digest.update(&piece[..more]);
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}

/// A writer that takes the SHA-256 of what passes through it.
pub(crate) struct Hashing<W> {
    inner: W,
    digest: Sha256,
}

impl<W: Write> Hashing<W> {
    pub(crate) fn new(inner: W) -> Self {
        Self { inner, digest: Sha256::new() }
    }

    /// The writer, and the SHA-256 of all that was written.
    pub(crate) fn finish(self) -> (W, String) {
        (self.inner, hexadecimal(&self.digest.finalize()))
    }
}

impl<W: Write> Write for Hashing<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.inner.write(bytes)?;
        self.digest.update(&bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    /// The one-block example of FIPS 180-4's SHA-256.
    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

    #[test]
    fn bytes_a_file_and_a_writer_agree_with_the_standards_example() {
        assert_eq!(sha256_of_bytes(b"abc"), ABC);
        let mut out = Hashing::new(Vec::new());
        out.write_all(b"ab").unwrap();
        out.write_all(b"c").unwrap();
        let (written, sha256) = out.finish();
        assert_eq!((written, sha256.as_str()), (b"abc".to_vec(), ABC));
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), "abc").unwrap();
        assert_eq!(sha256_of_file(file.path()).unwrap(), ABC);
    }
}
