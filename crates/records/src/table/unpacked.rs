//! Looking into a workbook before it is read: how large it is unpacked, and how many texts it holds.
//!
//! A workbook is a ZIP archive, and what its directory says of sizes may be wrong. So every part is unpacked once, a piece at a time, and
//! counted; nothing is kept.

use crate::error::Error;
use crate::error::Place;
use crate::limits::{UNPACKED_BYTES, UNPACKED_TIMES, WORKBOOK_LISTS, WORKBOOK_TEXTS, exceeded, mebibytes};
use crate::options::Options;
use crate::source::Source;
use std::io::{Cursor, Read};

/// Refuses a workbook that unpacks to more than the limit. What is no archive at all is left to the reader, which says so.
pub(super) fn check(source: &Source, options: &Options) -> Result<(), Error> {
    let Ok(mut archive) = zip::ZipArchive::new(Cursor::new(source.bytes().clone())) else { return Ok(()) };
    let limit = UNPACKED_BYTES.max(UNPACKED_TIMES * source.bytes().len() as u64);
    let too_large = || {
        let found = format!("a workbook of more than {} unpacked", mebibytes(limit));
        let allowed = format!("at most {} (or {UNPACKED_TIMES} times the file's own size)", mebibytes(UNPACKED_BYTES));
        Error::Input(exceeded(source.path(), Place::File, found, allowed))
    };
    let (mut total, mut sheets, mut parts) = (0, 0, 0);
    let mut piece = vec![0; 1 << 16];
    for index in 0..archive.len() {
        options.check()?;
        // A part that cannot be unpacked ends here; the reader names it where it needs it.
        let Ok(mut part) = archive.by_index(index) else { continue };
        let name = part.name().map_or_else(|_| String::new(), |name| name.to_ascii_lowercase());
        let mut texts = name.ends_with("sharedstrings.xml").then(Texts::default);
        let mut listed = name.ends_with("workbook.xml").then(Sheets::default);
        // Each style and each relation becomes a thing of its own in memory.
        let is_list = listed.is_some() || name.ends_with("styles.xml") || name.ends_with(".rels");
        let begun = total;
        parts += usize::from(name.contains("sheets/") && name.ends_with(".xml"));
        while let Ok(more @ 1..) = part.read(&mut piece) {
            total += more as u64;
            if total > limit {
                return Err(too_large());
            }
            if is_list && total - begun > WORKBOOK_LISTS {
                let found = format!(
                    "a workbook with more than {} of styles, sheets' names or relations",
                    mebibytes(WORKBOOK_LISTS)
                );
                let allowed = format!("at most {}", mebibytes(WORKBOOK_LISTS));
                return Err(exceeded(source.path(), Place::File, found, allowed).into());
            }
            if let Some(listed) = &mut listed {
                listed.see(&piece[..more]);
            }
            if let Some(texts) = &mut texts {
                texts.see(&piece[..more]);
                if texts.most() > WORKBOOK_TEXTS {
                    let found = format!("a workbook of more than {WORKBOOK_TEXTS} different texts");
                    return Err(exceeded(source.path(), Place::File, found, format!("at most {WORKBOOK_TEXTS}")).into());
                }
            }
        }
        sheets += listed.map_or(0, |listed| listed.seen);
    }
    // A part that is several sheets would be read as often; no program writes that.
    if sheets > parts {
        let found = format!("a workbook that lists {sheets} sheets and holds {parts}");
        return Err(exceeded(source.path(), Place::File, found, "a part for each sheet").into());
    }
    Ok(())
}

/// Counts the sheets that a list of sheets names (elements `sheet`).
#[derive(Default)]
struct Sheets {
    seen: usize,
    /// The end of the last piece, where a word may have been cut.
    tail: Vec<u8>,
}

impl Sheets {
    const WORD: &[u8] = b"sheet ";

    fn see(&mut self, piece: &[u8]) {
        self.tail.extend_from_slice(piece);
        let words = memchr::memmem::find_iter(&self.tail, Self::WORD);
        // `<sheet ` or `<x:sheet `, and no other word that ends so.
        let is_element = |at: &usize| at.checked_sub(1).is_some_and(|at| matches!(self.tail[at], b'<' | b':'));
        self.seen += words.filter(is_element).count();
        let cut = self.tail.len().saturating_sub(Self::WORD.len());
        // What was counted must not be seen whole again.
        self.tail.drain(..cut);
    }
}

/// Counts the texts that a part holds (elements `si`) and finds the count that it claims, for which the reader would make room.
#[derive(Default)]
struct Texts {
    held: usize,
    claimed: usize,
    /// The end of the last piece, where a word may have been cut.
    tail: Vec<u8>,
}

impl Texts {
    /// More bytes than any of the words looked for, with a number behind it.
    const OVERLAP: usize = 64;

    fn see(&mut self, piece: &[u8]) {
        let seen = self.tail.len();
        self.tail.extend_from_slice(piece);
        // A word that ended in the last piece was counted then.
        let ends_here = |at: usize, word: &[u8]| at + word.len() > seen;
        let elements: [&[u8]; 2] = [b"<si", b":si"];
        for word in elements {
            self.held += memchr::memmem::find_iter(&self.tail, word).filter(|&at| ends_here(at, word)).count();
        }
        for at in memchr::memmem::find_iter(&self.tail, b"uniqueCount") {
            let digits = self.tail[at..].iter().skip("uniqueCount".len()).skip_while(|byte| !byte.is_ascii_digit());
            let number = digits.take_while(|byte| byte.is_ascii_digit());
            let number =
                number.fold(0_usize, |sum, byte| sum.saturating_mul(10).saturating_add(usize::from(byte - b'0')));
            self.claimed = self.claimed.max(number);
        }
        let cut = self.tail.len().saturating_sub(Self::OVERLAP);
        self.tail.drain(..cut);
    }

    fn most(&self) -> usize {
        self.held.max(self.claimed)
    }
}

#[cfg(test)]
mod tests {
    use super::{Sheets, Texts};

    #[test]
    fn sheets_are_counted_across_pieces() {
        let part = br#"<workbook><sheets><sheet name="a sheet "/><x:sheet name="b" r:id="rId2"/></sheets></workbook>"#;
        for size in 1..part.len() {
            let mut sheets = Sheets::default();
            part.chunks(size).for_each(|piece| sheets.see(piece));
            assert_eq!(sheets.seen, 2, "pieces of {size}");
        }
    }

    #[test]
    fn texts_are_counted_across_pieces() {
        let part = br#"<sst count="9" uniqueCount="123456789"><si><t>a</t></si><x:si/><si><t>b</t></si></sst>"#;
        for size in 1..part.len() {
            let mut texts = Texts::default();
            part.chunks(size).for_each(|piece| texts.see(piece));
            assert_eq!(texts.held, 3, "pieces of {size}");
            assert_eq!(texts.claimed, 123_456_789, "pieces of {size}");
        }
    }
}
