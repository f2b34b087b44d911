//! JSON with the characters that steer written as JSON's own escapes: the same values for a program, harmless on a terminal.

use crate::is_steering;
use std::io::{self, Write};

/// A writer of JSON text. Characters beyond ASCII stand in strings only, where `\u202e` means the same as the character itself; below U+0020
/// every writer of JSON escapes already.
///
/// ```
/// use std::io::Write;
/// let mut out = Vec::new();
/// packdrift_visible::Json::new(&mut out).write_all("\"E01\u{202e}\"".as_bytes())?;
/// assert_eq!(out, br#""E01\u202e""#);
/// # Ok::<(), std::io::Error>(())
/// ```
pub struct Json<W> {
    inner: W,
    /// The beginning of a character that the last piece was cut in.
    begun: Vec<u8>,
}

impl<W: Write> Json<W> {
    /// Writes to `inner`.
    pub fn new(inner: W) -> Self {
        Self { inner, begun: Vec::new() }
    }

    fn put(&mut self, text: &str) -> io::Result<()> {
        // Tabs and line breaks stand between JSON's values.
        let acts = |c: char| is_steering(c) && u32::from(c) >= 0x20;
        let mut rest = text;
        while let Some(at) = rest.find(acts) {
            let (before, from) = rest.split_at(at);
            self.inner.write_all(before.as_bytes())?;
            let c = from.chars().next().unwrap_or_default();
            write!(self.inner, "\\u{:04x}", u32::from(c))?;
            rest = &from[c.len_utf8()..];
        }
        self.inner.write_all(rest.as_bytes())
    }
}

impl<W: Write> Write for Json<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.begun.is_empty() && bytes.is_ascii() && !bytes.contains(&0x7f) {
            self.inner.write_all(bytes)?;
            return Ok(bytes.len());
        }
        let mut all = std::mem::take(&mut self.begun);
        all.extend_from_slice(bytes);
        match std::str::from_utf8(&all) {
            Ok(text) => self.put(text)?,
            Err(error) => {
                let (whole, rest) = all.split_at(error.valid_up_to());
                self.put(std::str::from_utf8(whole).unwrap_or_default())?;
                if error.error_len().is_some() {
                    // No JSON; it passes as it is.
                    self.inner.write_all(rest)?;
                } else {
                    self.begun = rest.to_vec();
                }
            }
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.write_all(&std::mem::take(&mut self.begun))?;
        self.inner.flush()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn pieces_may_be_cut_anywhere() {
        let json = "{\n\t\"a\u{7f}é\": \"\u{202e}𝄞\u{9b}\"}";
        for piece in 1..=json.len() {
            let mut out = Vec::new();
            let mut writer = Json::new(&mut out);
            json.as_bytes().chunks(piece).for_each(|bytes| writer.write_all(bytes).unwrap());
            writer.flush().unwrap();
            assert_eq!(
                String::from_utf8(out).unwrap(),
                "{\n\t\"a\\u007fé\": \"\\u202e𝄞\\u009b\"}",
                "pieces of {piece}"
            );
        }
    }
}
