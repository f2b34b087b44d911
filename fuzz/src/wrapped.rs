//! Bytes put where only an intact file would bring them: into a workbook whose archive is sound, into a share whose checksum is right.

use std::ffi::OsString;
use std::io::{Cursor, Write};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// The parts of a workbook that the bytes may bring, one after the other with a zero byte between; what they leave out is as in any workbook.
const PARTS: [(&str, &str); 5] = [
    ("xl/worksheets/sheet1.xml", SHEET),
    ("xl/sharedStrings.xml", STRINGS),
    ("xl/styles.xml", STYLES),
    ("xl/workbook.xml", WORKBOOK),
    ("xl/_rels/workbook.xml.rels", RELATIONS),
];

const SHEET: &str =
    r#"<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData/></worksheet>"#;
const STRINGS: &str = r#"<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" count="3" uniqueCount="3"><si><t>lot</t></si><si><t>part</t></si><si><t>reading</t></si></sst>"#;
const STYLES: &str = r#"<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="14"/></cellXfs></styleSheet>"#;
const WORKBOOK: &str = r#"<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="readings" sheetId="1" r:id="rId1"/></sheets></workbook>"#;
const RELATIONS: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/styles" Target="styles.xml"/><Relationship Id="rId3" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings" Target="sharedStrings.xml"/></Relationships>"#;

/// A workbook; bytes that begin like an archive are taken for one.
pub(crate) fn workbook(bytes: &[u8]) -> Vec<u8> {
    if bytes.starts_with(b"PK") {
        return bytes.to_vec();
    }
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let mut given = bytes.splitn(PARTS.len(), |byte| *byte == 0);
    for (name, usual) in PARTS {
        let part = given.next().filter(|part| !part.is_empty()).unwrap_or(usual.as_bytes());
        archive.start_file(name, stored).and_then(|()| Ok(archive.write_all(part)?)).expect("memory can be written to");
    }
    archive.finish().expect("memory can be written to").into_inner()
}

/// A share that holds `state`.
pub(crate) fn share(holds: &str, state: &[u8]) -> Vec<u8> {
    let sha256 = packdrift_records::sha256_of_bytes(state);
    let version = env!("CARGO_PKG_VERSION");
    let head = format!(r#"{{"packdrift":"{version}","holds":"{holds}","sha256":"{sha256}","state":"#);
    [head.as_bytes(), state, b"}"].concat()
}

/// An argument of any bytes, as systems hand them over.
#[cfg(unix)]
pub(crate) fn argument(bytes: &[u8]) -> OsString {
    std::os::unix::ffi::OsStringExt::from_vec(bytes.to_vec())
}

/// An argument; what is no UTF-8 is replaced.
#[cfg(not(unix))]
pub(crate) fn argument(bytes: &[u8]) -> OsString {
    String::from_utf8_lossy(bytes).into_owned().into()
}
