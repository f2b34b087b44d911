//! Words in which people tell of work that makes a valve another one, and of readings that do not count. Both stand in columns that this
//! program does not know, and both change what the readings beside them mean.

use super::headings::words;

/// What a word begins with, in a remark.
const STEMS: [&str; 26] = [
    "reshim",
    "replac",
    "exchang",
    "renew",
    "changed",
    "overhaul",
    "swap",
    "fitted",
    "refit",
    "installed",
    "rebuil",
    "rework",
    "adjusted",
    "readjust",
    "repair",
    "getauscht",
    "ausgetauscht",
    "gewechselt",
    "ersetzt",
    "erneuert",
    "eingebaut",
    "verbaut",
    "nachgestellt",
    "repariert",
    "remplac",
    "scheibe",
];

/// Words beside one another.
const PAIRS: [(&str, &str); 5] =
    [("re", "shim"), ("re", "shimmed"), ("new", "rocker"), ("new", "part"), ("new", "meter")];

/// What a word of a heading begins with, beside the stems above.
const HEADED: [&str; 13] = [
    "wechsel",
    "tausch",
    "austausch",
    "einbau",
    "eingriff",
    "instand",
    "reparatur",
    "massnahm",
    "maßnahm",
    "interven",
    "adjustment",
    "maintenance",
    "modif",
];

/// Whole words of a heading.
const HEADED_WHOLE: [&str; 13] = [
    "work", "works", "action", "actions", "arbeit", "arbeiten", "change", "changes", "done", "task", "event", "events",
    "ereignis",
];

/// Words of headings that only name an order, a place or a day to come.
const NAMES_ONLY: [&str; 15] = [
    "order", "auftrag", "no", "nr", "number", "num", "id", "place", "station", "centre", "center", "due", "next",
    "plan", "planned",
];

/// Cells of a row that does not count.
const VOID: [&str; 12] = [
    "void",
    "voided",
    "invalid",
    "misread",
    "mis-read",
    "discard",
    "discarded",
    "wrong reading",
    "do not use",
    "not valid",
    "ungültig",
    "verworfen",
];

/// Whether a cell tells of work on a valve: by a verb, or by a shim at all.
pub(super) fn tells(text: &str) -> bool {
    let words = words(text);
    let is_word =
        |word: &String| STEMS.iter().any(|stem| word.starts_with(stem)) || matches!(word.as_str(), "shim" | "shims");
    let is_pair = |pair: &[String]| PAIRS.iter().any(|(a, b)| pair[0] == *a && pair[1].starts_with(b));
    words.iter().any(is_word) || words.windows(2).any(is_pair)
}

/// Whether a heading says that what stands below it is work on a valve.
pub(super) fn is_heading(raw: &str) -> bool {
    let words = words(raw);
    if words.iter().any(|word| NAMES_ONLY.contains(&word.as_str())) {
        return false;
    }
    tells(raw)
        || words
            .iter()
            .any(|word| HEADED.iter().any(|stem| word.starts_with(stem)) || HEADED_WHOLE.contains(&word.as_str()))
}

/// Whether a cell only says that nothing was done.
pub(super) fn is_no(text: &str) -> bool {
    ["n", "no", "none", "nothing", "nil", "false", "0", "nein", "non", "ok"]
        .iter()
        .any(|word| text.trim().eq_ignore_ascii_case(word))
}

/// Whether a cell says that its row does not count.
pub(super) fn is_void(text: &str) -> bool {
    let lower = text.to_lowercase();
    let bounded = |at: usize, word: &str| {
        let (before, behind) = (&lower[..at], &lower[at + word.len()..]);
        !before.ends_with(char::is_alphanumeric) && !behind.starts_with(char::is_alphanumeric)
    };
    VOID.iter().any(|word| lower.match_indices(word).any(|(at, _)| bounded(at, word)))
}

#[cfg(test)]
mod tests {
    use super::{is_heading, is_void, tells};

    #[test]
    fn work_is_told_from_remarks() {
        for text in [
            "re-shimmed both sides",
            "Reshim",
            "fitted 0.45 shim",
            "swapped shim 0.40 for 0.35",
            "2 shims",
            "neue Scheibe eingebaut",
            "new part",
            "rocker replaced",
        ] {
            assert!(tells(text), "{text}");
        }
        for text in ["ok", "tappet noisy", "unchanged", "adjuster noisy", "a bit, worn", "looked at", "newly painted"] {
            assert!(!tells(text), "{text}");
        }
        for heading in ["Reshimmed?", "Shims changed?", "Work done", "Action", "Wechsel", "Shim thickness (mm)"] {
            assert!(is_heading(heading), "{heading}");
        }
        for heading in ["Remarks", "Inspector", "Work order", "Workshop", "Replacement due", "Status", "Judged"] {
            assert!(!is_heading(heading), "{heading}");
        }
    }

    #[test]
    fn a_row_that_does_not_count_is_told() {
        assert!(is_void("void") && is_void("n - misread") && is_void("Invalid: dirt") && is_void("ungültig"));
        assert!(!is_void("valid") && !is_void("avoid") && !is_void("rejected"));
    }
}
