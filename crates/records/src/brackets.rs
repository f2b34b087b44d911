//! `[bay.part]` where `[[bay.part]]` is meant. To a parser each of them after the first is a slip of its own, and so is every key below it; it is
//! one mistake. The headings are doubled for the parser, and every place is carried back to the file as it is written.

use std::ops::Range;

/// What there are several of, in all kinds of file: none of these is ever a table by itself.
const LISTS: [&str; 12] = [
    "bay",
    "bay.part",
    "bay.valve",
    "requirement",
    "lot",
    "correlation",
    "window",
    "drop",
    "resize",
    "add",
    "pin",
    "delay",
];
/// The end of such a name, of whatever dimension.
const GRADES: &str = ".cost.grades";

/// A heading in single brackets of what there are several of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Single {
    /// `[bay.part]` in the text.
    pub(crate) span: Range<usize>,
    /// `bay.part`
    pub(crate) name: String,
}

/// All of a file, from the top.
pub(crate) fn singles(text: &str) -> Vec<Single> {
    let mut found = Vec::new();
    let (mut at, mut long_text) = (0, None);
    for line in text.split_inclusive('\n') {
        let start = at;
        at += line.len();
        let was_inside = long_text.is_some();
        follow_long_text(line, &mut long_text);
        if was_inside {
            continue;
        }
        let bare = line.trim_start();
        let Some((inner, behind)) = bare.strip_prefix('[').and_then(|rest| rest.split_once(']')) else { continue };
        let behind = behind.trim();
        if inner.starts_with('[') || !(behind.is_empty() || behind.starts_with('#')) {
            continue;
        }
        let plain = |part: &str| part.trim().trim_matches(['"', '\'']).to_owned();
        let name = inner.split('.').map(plain).collect::<Vec<_>>().join(".");
        if LISTS.contains(&name.as_str()) || name.ends_with(GRADES) {
            let begin = start + (line.len() - bare.len());
            found.push(Single { span: begin..begin + inner.len() + 2, name });
        }
    }
    found
}

/// Whether the next line begins inside a text of several lines, and which quotes end it.
fn follow_long_text(line: &str, inside: &mut Option<&'static str>) {
    let mut rest = line;
    loop {
        let ends = match *inside {
            Some(quotes) => rest.find(quotes).map(|at| (at, None)),
            None => {
                let first =
                    ["\"\"\"", "'''"].into_iter().filter_map(|quotes| Some((rest.find(quotes)?, Some(quotes)))).min();
                first.filter(|(at, _)| !rest[..*at].contains('#'))
            }
        };
        let Some((at, then)) = ends else { return };
        (rest, *inside) = (&rest[at + 3..], then);
    }
}

/// The text with these headings doubled, and where a bracket was put in.
pub(crate) fn doubled(text: &str, singles: &[Single]) -> (String, Vec<usize>) {
    let (mut out, mut put_in, mut from) = (String::with_capacity(text.len() + 2 * singles.len()), Vec::new(), 0);
    for single in singles {
        for (bracket, end) in [('[', single.span.start), (']', single.span.end)] {
            out.push_str(&text[from..end]);
            put_in.push(out.len());
            out.push(bracket);
            from = end;
        }
    }
    out.push_str(&text[from..]);
    (out, put_in)
}

/// A place of the doubled text in the text as it is written.
pub(crate) fn as_written(put_in: &[usize], at: usize) -> usize {
    at - put_in.partition_point(|&bracket| bracket < at)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_in_single_brackets_are_found_and_places_carried_back() {
        let text = "[[bay]]\n [bay.part] # one\nname = \"\"\"\n[bay]\n\"\"\"\n[ bay . \"valve\" ]\n[usage]\nx = [\n[1],\n]\n[bay.part.thickness]\n";
        let found = singles(text);
        assert_eq!(found.iter().map(|single| single.name.as_str()).collect::<Vec<_>>(), ["bay.part", "bay.valve"]);
        assert_eq!(&text[found[1].span.clone()], "[ bay . \"valve\" ]");
        let (out, put_in) = doubled(text, &found);
        assert!(out.contains("\n [[bay.part]] # one\n") && out.contains("[[ bay . \"valve\" ]]\n[usage]"), "{out}");
        for word in ["# one", "name", "[usage]", "[bay.part.thickness]"] {
            assert_eq!(Some(as_written(&put_in, out.find(word).unwrap_or(0))), text.find(word), "{word}");
        }
        for single in &found {
            let there = out.find(&text[single.span.clone()]).unwrap_or(0);
            assert_eq!(as_written(&put_in, there - 1)..as_written(&put_in, there + single.span.len() + 1), single.span);
        }
    }
}
