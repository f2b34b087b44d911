//! Mistakes as they are found: all counted, and of very many alike the first kept, so that a mistake of another kind is never hidden by them.

use crate::error::FaultKind;
use hashbrown::HashMap;

/// So many mistakes of one table are kept in full; the rest are counted.
pub const KEPT_FAULTS: usize = 100_000;

/// So many of each kind and column are kept however many there are of others.
const OF_EACH_KIND: usize = 1_000;

/// Mistakes of a table.
#[derive(Debug)]
pub(crate) struct Kept<T> {
    pub(crate) items: Vec<T>,
    pub(crate) total: usize,
    alike: HashMap<(FaultKind, usize), usize>,
}

impl<T> Default for Kept<T> {
    fn default() -> Self {
        Self { items: Vec::new(), total: 0, alike: HashMap::new() }
    }
}

impl<T> Kept<T> {
    /// Counts a mistake of a kind in a column (of the schema, or any number that tells columns apart), and keeps it where there is room.
    pub(crate) fn add(&mut self, kind: FaultKind, column: usize, make: impl FnOnce() -> T) {
        self.total += 1;
        let alike = self.alike.entry((kind, column)).or_insert(0);
        *alike += 1;
        if self.items.len() < KEPT_FAULTS || *alike <= OF_EACH_KIND {
            self.items.push(make());
        }
    }

    /// Joins what another part of the table had.
    pub(crate) fn append(&mut self, other: Self) {
        self.total += other.total;
        for (key, count) in other.alike {
            *self.alike.entry(key).or_insert(0) += count;
        }
        self.items.extend(other.items);
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.total == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn very_many_alike_do_not_hide_the_one_that_differs() {
        let mut kept = Kept::default();
        for row in 0..KEPT_FAULTS + 10 {
            kept.add(FaultKind::NotANumber, 0, || row);
        }
        kept.add(FaultKind::BadDate, 1, || 7);
        assert_eq!((kept.total, kept.items.len(), kept.items.last()), (KEPT_FAULTS + 11, KEPT_FAULTS + 1, Some(&7)));
    }
}
