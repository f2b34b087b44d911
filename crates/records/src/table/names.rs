//! A column of names: each stands once, and rows hold its number.

use hashbrown::HashTable;
use std::hash::BuildHasher;

/// Names in the order of first appearance, and one code a row.
#[allow(clippy::struct_field_names, reason = "the names are what it is of")]
#[derive(Debug, Clone, Default)]
pub(crate) struct Names {
    /// Each name once.
    pub(crate) names: Vec<String>,
    /// Per row an index into `names`, or [`Names::EMPTY`].
    pub(crate) codes: Vec<u32>,
    index: HashTable<u32>,
    hasher: Hasher,
    last: Option<u32>,
}

/// foldhash: fast on short keys; what it is seeded with changes no result, since codes follow the order of appearance.
type Hasher = hashbrown::DefaultHashBuilder;

impl PartialEq for Names {
    fn eq(&self, other: &Self) -> bool {
        self.names == other.names && self.codes == other.codes
    }
}

impl Names {
    /// The code of an empty cell.
    pub(crate) const EMPTY: u32 = u32::MAX;

    /// Adds a row. Neighbouring rows mostly carry the same name, so the last one is tried first.
    pub(crate) fn push(&mut self, name: &str) {
        if let Some(last) = self.last
            && self.names[last as usize] == name
        {
            self.codes.push(last);
            return;
        }
        let code = self.code_of(name);
        self.last = Some(code);
        self.codes.push(code);
    }

    pub(crate) fn push_empty(&mut self) {
        self.codes.push(Self::EMPTY);
    }

    fn code_of(&mut self, name: &str) -> u32 {
        let hash = self.hasher.hash_one(name);
        if let Some(&code) = self.index.find(hash, |&code| self.names[code as usize] == name) {
            return code;
        }
        // More than 2^32 different names do not fit in memory.
        let code = self.names.len() as u32;
        self.names.push(name.to_owned());
        let (names, hasher) = (&self.names, &self.hasher);
        self.index.insert_unique(hash, code, |&code| hasher.hash_one(&names[code as usize]));
        code
    }

    /// Appends the rows of another column.
    pub(crate) fn append(&mut self, other: &Self) {
        let translated: Vec<u32> = other.names.iter().map(|name| self.code_of(name)).collect();
        let code = |code: &u32| if *code == Self::EMPTY { Self::EMPTY } else { translated[*code as usize] };
        self.codes.extend(other.codes.iter().map(code));
        self.last = None;
    }
}

#[cfg(test)]
mod tests {
    use super::Names;

    #[test]
    fn codes_follow_the_order_of_appearance_also_when_parts_are_joined() {
        let column = |rows: &[&str]| {
            let mut names = Names::default();
            for name in rows {
                if name.is_empty() { names.push_empty() } else { names.push(name) }
            }
            names
        };
        let whole = column(&["b", "a", "", "b", "0012", "12", "a"]);
        assert_eq!(whole.names, ["b", "a", "0012", "12"]);
        assert_eq!(whole.codes, [0, 1, Names::EMPTY, 0, 2, 3, 1]);
        let mut joined = column(&["b", "a"]);
        joined.append(&column(&["", "b", "0012", "12", "a"]));
        assert_eq!(joined, whole);
    }
}
