//! Work shared out among machines.

use std::ops::Range;

/// The k-th of n shares of a list of work: neighbours, and as even as whole items can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shard {
    index: u64,
    of: u64,
}

impl Shard {
    /// Share `index` of `of`, from 1. None where there is no such share, and beyond 2²⁰ shares.
    ///
    /// ```
    /// use packdrift_numerics::shard::Shard;
    /// let all: Vec<_> = (1..=3).map(|k| Shard::new(k, 3).unwrap().cut(10)).collect();
    /// assert_eq!(all, [0..3, 3..6, 6..10]);
    /// assert_eq!(Shard::new(4, 3), None);
    /// ```
    pub fn new(index: u64, of: u64) -> Option<Self> {
        (index >= 1 && index <= of && of <= 1 << 20).then_some(Self { index, of })
    }

    /// Its items of so many.
    pub fn cut(self, items: u64) -> Range<u64> {
        let end = |k: u64| (u128::from(items) * u128::from(k) / u128::from(self.of)) as u64;
        end(self.index - 1)..end(self.index)
    }

    /// Which share it is, from 1.
    pub fn index(self) -> u64 {
        self.index
    }

    /// How many there are.
    pub fn of(self) -> u64 {
        self.of
    }
}
