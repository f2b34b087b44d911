//! The nearest known name to one that is not known.

/// The candidate most like `found`, if any is near enough that a slip of the hand explains it: at most a third of its letters
/// differ (Damerau–Levenshtein distance, capitals and the choice of `-`, `_` or blank set aside).
pub(crate) fn nearest<'a>(found: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wanted = folded(found);
    candidates
        .into_iter()
        .map(|candidate| (distance(&wanted, &folded(candidate)), candidate))
        .filter(|(distance, candidate)| *distance <= 1.max(candidate.chars().count().max(wanted.chars().count()) / 3))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// The candidate of which `found` is a slip of the hand: as [`nearest`], but a word that merely begins another is no slip.
pub(crate) fn nearest_slip<'a>(found: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wanted = folded(found);
    let letters = wanted.chars().count();
    candidates
        .into_iter()
        .filter(|candidate| !is_another_word(&wanted, &folded(candidate)))
        .map(|candidate| (strsim::damerau_levenshtein(&wanted, &folded(candidate)), candidate))
        .filter(|(distance, candidate)| letters >= 4 && *distance <= 1.max(candidate.chars().count().min(letters) / 3))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// Whether two names of as many words differ in a whole word: `rate_per_year` is no slip for `rate_per_day`.
fn is_another_word(a: &str, b: &str) -> bool {
    let (a, b): (Vec<&str>, Vec<&str>) = (a.split('_').collect(), b.split('_').collect());
    let differ =
        |(a, b): (&&str, &&str)| 2 * strsim::damerau_levenshtein(a, b) > a.chars().count().min(b.chars().count());
    a.len() == b.len() && a.len() > 1 && a.iter().zip(&b).any(differ)
}

/// "did you mean `…`?", or the whole list where nothing is near.
pub(crate) fn did_you_mean(found: &str, candidates: &[&str], what: &str) -> Option<String> {
    if let Some(near) = nearest(found, candidates.iter().copied()) {
        return Some(format!("did you mean `{near}`?"));
    }
    match candidates.len() {
        0 => None,
        1..=12 => Some(format!("{what}: {}", listed(candidates))),
        more => Some(format!("{what}: {} and {} more", listed(&candidates[..10]), more - 10)),
    }
}

/// `` `a`, `b`, `c` ``
pub(crate) fn listed(names: &[&str]) -> String {
    names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")
}

fn folded(name: &str) -> String {
    name.chars()
        .map(|letter| if matches!(letter, '-' | ' ') { '_' } else { letter })
        .flat_map(char::to_lowercase)
        .collect()
}

/// One letter of a very short name may always differ; a name that merely begins another (`tol`, `tolerance`) is near too.
fn distance(a: &str, b: &str) -> usize {
    if a == b {
        return 0;
    }
    let shorter = a.len().min(b.len());
    if shorter >= 3 && (a.starts_with(b) || b.starts_with(a)) {
        return 1;
    }
    strsim::damerau_levenshtein(a, b)
}

#[cfg(test)]
mod tests {
    use super::{nearest, nearest_slip};

    #[test]
    fn another_word_is_no_slip() {
        assert_eq!(nearest_slip("Rate per year", ["rate_per_day"]), None);
        assert_eq!(nearest_slip("rate_per_dya", ["rate_per_day"]), Some("rate_per_day"));
        assert_eq!(nearest_slip("evnet", ["event"]), Some("event"));
    }

    #[test]
    fn a_slip_is_forgiven_and_a_stranger_is_not() {
        let keys = ["nominal", "tol", "plus", "minus", "cone_height"];
        assert_eq!(nearest("nomnial", keys), Some("nominal"));
        assert_eq!(nearest("tolerance", keys), Some("tol"));
        assert_eq!(nearest("Cone-Height", keys), Some("cone_height"));
        assert_eq!(nearest("colour", keys), None);
        // The same but for capitals is nearer than one letter off, whichever stands first.
        assert_eq!(nearest("Value", ["valve", "value"]), Some("value"));
    }
}
