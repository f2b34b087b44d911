//! Pages that are worked with: long tables that sort and filter, charts drawn when asked for.
//!
//! One script of our own stands in the page; the page's policy names its SHA-256, so that a browser runs it and nothing else.
//! All that it shows is in the page before it runs: tables are whole without it, and on paper.

use crate::table::Table;
use maud::{Markup, PreEscaped, html};
use serde::Serialize;
use sha2::{Digest, Sha256};

/// The script, in parts that each have one subject: what it reckons with, the plan of a fleet, then what the reader works with.
const SCRIPT: &str = concat!(
    include_str!("math.js"),
    include_str!("fleet.js"),
    include_str!("elements.js"),
    include_str!("charts.js"),
    include_str!("tables.js"),
    include_str!("readers.js"),
    include_str!("engine.js"),
    include_str!("plan.js"),
);

/// The script's hash as a content security policy names it: `sha256-` and the sum in base64 (W3C, Content Security Policy Level 3, 6.7).
pub(crate) fn script_hash() -> String {
    format!("sha256-{}", base64(&Sha256::digest(SCRIPT)))
}

/// The script as an element; it stands at the end of the body, where the tables are there already.
pub(crate) fn script() -> Markup {
    html! { script { (PreEscaped(SCRIPT)) } }
}

/// Numbers for the script, found by `id`. No text from outside may be in them: names stand in the table, where they are escaped.
pub(crate) fn numbers(id: &str, data: &impl Serialize) -> Markup {
    // Numbers, nulls, keys of our own: serialising them cannot fail, and there is no `<` in them.
    let json = serde_json::to_string(data).unwrap_or_default();
    html! { script type="application/json" id=(id) { (PreEscaped(json)) } }
}

/// A value for the script: five significant digits, which are less than a pixel, in the fewest characters.
pub(crate) fn short(value: f64) -> Option<f64> {
    if !value.is_finite() {
        return None;
    }
    format!("{value:.4e}").parse().ok()
}

/// How a table is worked with.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sift<'a> {
    /// Keys of the columns that rows are chosen by.
    pub(crate) choose: &'a [&'a str],
    /// Charts of the rows, the k-th of the k-th row.
    pub(crate) charts: Option<Charts<'a>>,
    /// What each row is about, by its place in another list, by which the script finds the rows.
    pub(crate) about: Option<&'a [usize]>,
}

/// Charts that are drawn of a table's rows.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Charts<'a> {
    /// Id of their numbers; see [`numbers`].
    pub(crate) id: &'a str,
    /// Each feature as people read it, with its unit, which may be empty.
    pub(crate) features: &'a [(String, String)],
}

impl Charts<'_> {
    /// The features as an attribute of the table, where names from outside are escaped.
    fn features(&self) -> String {
        // Pairs of texts: serialising them cannot fail.
        serde_json::to_string(self.features).unwrap_or_default()
    }
}

impl Table {
    /// The table as HTML that the script sorts, filters by `how.choose` and draws charts from; whole without it.
    pub(crate) fn sifted(&self, how: Sift<'_>) -> Markup {
        let charts = how.charts.as_ref();
        let head = self.head_column();
        html! {
            div.table tabindex="0" role="group" aria-label=(self.caption) data-sift="" {
                table data-name=(self.name) data-charts=[charts.map(|c| c.id)] data-features=[charts.map(Charts::features)] {
                    caption { span { (self.caption) } }
                    thead { tr { @for column in &self.columns {
                        th scope="col" class=[column.class()] data-choose=[how.choose.contains(&column.key.as_str()).then_some("")] {
                            (column.head_with_unit())
                        }
                    } } }
                    tbody { @for (k, row) in self.rows.iter().enumerate() {
                        tr data-chart=[charts.map(|_| k)] data-about=[how.about.and_then(|a| a.get(k))] { @for (i, (cell, column)) in row.iter().zip(&self.columns).enumerate() {
                            @if i == head { th scope="row" class=[cell.class(column)] data-v=[cell.sorted_by()] { (cell.html()) } }
                            @else { td class=[cell.class(column)] data-v=[cell.sorted_by()] { (cell.html()) } }
                        } }
                    } }
                }
            }
        }
    }
}

fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let n = three.iter().fold(0_u32, |n, b| n << 8 | u32::from(*b)) << (8 * (3 - three.len()));
        for k in 0..4 {
            let letter = LETTERS[(n >> (18 - 6 * k) & 63) as usize];
            out.push(if k <= three.len() { char::from(letter) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_that_of_rfc_4648() {
        // RFC 4648, section 10.
        for (text, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(text.as_bytes()), coded);
        }
    }

    #[test]
    fn the_script_can_stand_in_a_page_and_asks_for_nothing() {
        assert!(SCRIPT.is_ascii() && !SCRIPT.contains("</script") && !SCRIPT.contains("<!--"));
        assert_eq!(packdrift_visible::markup(SCRIPT), SCRIPT, "a page must not change what its policy has the sum of");
        for asking in ["fetch(", "XMLHttpRequest", "import(", "eval(", "WebSocket", "http:", "https:"] {
            assert!(!SCRIPT.contains(asking), "{asking}");
        }
    }

    #[test]
    fn numbers_for_the_script_are_short_and_never_nan() {
        assert_eq!((short(1.234_567_8), short(8123.46), short(f64::NAN)), (Some(1.2346), Some(8123.5), None));
    }
}
