//! Random numbers whose values depend on the seed and on what they are for, and on nothing else: not on the number of
//! threads, not on the order of work, not on which other random quantities a run has.
//!
//! A [`Key`] is made from the user's seed and a label that says what the numbers are for (`middle/left shim/thickness`);
//! the label is hashed in, so that adding an input leaves the draws of all others as they were. Trials come in blocks of
//! [`BLOCK`]; the numbers of block *b* are those of [`Key::stream`] of *b*, wherever and whenever it is drawn, so that work can
//! be split among threads and machines and put together again to the same bytes. Within a block the k-th draw belongs to the
//! k-th trial, so the first n trials of a run are the first n of any longer run.
//!
//! The generator is `ChaCha8` (D. J. Bernstein, "`ChaCha`, a variant of `Salsa20`", 2008; 8 rounds), key = SHA-256 (FIPS 180-4) of seed
//! and label, nonce = block index. It is named and portable: `rand`'s `StdRng` is expressly neither. Drawing a whole block from one
//! stream matters: re-seeking per draw costs about ten times as much.

use crate::ziggurat;
use rand::{Rng, SeedableRng, TryRng};
use rand_chacha::ChaCha8Rng;
use sha2::{Digest, Sha256};
use std::convert::Infallible;

/// Trials in a block. Part of the contract: another size gives other numbers for the same seed.
pub const BLOCK: usize = 1024;

/// Version of everything that turns a seed into numbers; goes into results, and goes up with any change here.
pub const ALGORITHM: &str = "chacha8/sha256/ziggurat256/1";

/// The seed used where the user gives none: fixed, never the clock, so that a run repeated is the same run.
pub const DEFAULT_SEED: u64 = 20_260_101;

/// What the numbers of one purpose are drawn from.
///
/// ```
/// use packdrift_numerics::stream::Key;
/// let shim = Key::new(7, "middle/left shim/thickness");
/// let (mut a, mut b) = (shim.stream(3), shim.stream(3));
/// assert_eq!(a.normal(), b.normal());
/// assert_ne!(a.normal(), shim.stream(4).normal());
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key([u8; 32]);

impl Key {
    /// Hashes the user's seed (8 bytes, little endian) and the label (UTF-8) to a key.
    pub fn new(seed: u64, purpose: &str) -> Self {
        let mut hash = Sha256::new();
        hash.update(b"packdrift stream 1\0");
        hash.update(seed.to_le_bytes());
        hash.update(purpose.as_bytes());
        Self(hash.finalize().into())
    }

    /// The stream of a block of trials.
    pub fn stream(&self, block: u64) -> Stream {
        let mut rng = ChaCha8Rng::from_seed(self.0);
        rng.set_stream(block);
        Stream { rng, pending: Vec::new() }
    }
}

/// Random numbers of one purpose and block. Also a [`rand::Rng`], for what needs one.
#[derive(Debug, Clone)]
pub struct Stream {
    rng: ChaCha8Rng,
    /// Places and words that the fast path left, between one use and the next.
    pending: Vec<(usize, u64)>,
}

/// Words fetched at once when a slice is filled: 2 KiB, well inside the first-level cache.
const BATCH: usize = 256;

/// Deviates made together.
const GROUP: usize = 8;

impl Stream {
    /// A number of the open interval (0, 1), an odd multiple of 2⁻⁵³: neither end can occur, so a quantile function may be
    /// applied to it.
    #[inline]
    pub fn uniform(&mut self) -> f64 {
        open_uniform(self.rng.next_u64())
    }

    /// A standard normal deviate.
    #[inline]
    pub fn normal(&mut self) -> f64 {
        let word = self.rng.next_u64();
        let (x, stands) = ziggurat::candidate(word);
        if stands { x } else { ziggurat::resolve(word, || self.rng.next_u64()) }
    }

    /// Fills the slice with numbers of (0, 1), the same as by [`Stream::uniform`].
    pub fn fill_uniform(&mut self, out: &mut [f64]) {
        let mut bytes = [0_u8; 8 * BATCH];
        for part in out.chunks_mut(BATCH) {
            let bytes = &mut bytes[..8 * part.len()];
            self.rng.fill_bytes(bytes);
            for (x, word) in part.iter_mut().zip(bytes.as_chunks::<8>().0) {
                *x = open_uniform(u64::from_le_bytes(*word));
            }
        }
    }

    /// Fills the slice with standard normal deviates. One word is spent on each element first; the about 1.2 % that need
    /// more take them, in order, from the words that follow those of the whole slice. So the deviates depend on the slice's length only
    /// through those few, and callers that promise prefixes fill whole blocks.
    pub fn fill_normal(&mut self, out: &mut [f64]) {
        self.fill_scaled_normal(0.0, 1.0, out);
    }

    /// [`Stream::fill_normal`], each deviate z as mean + sd·z.
    pub fn fill_scaled_normal(&mut self, mean: f64, sd: f64, out: &mut [f64]) {
        let mut bytes = [0_u8; 8 * BATCH];
        let mut pending = std::mem::take(&mut self.pending);
        pending.clear();
        // Twice what is to be expected, so that a block's stream asks for memory once.
        pending.reserve(out.len() / 40);
        let (groups, rest) = out.as_chunks_mut::<GROUP>();
        let mut first = 0;
        for batch in groups.chunks_mut(BATCH / GROUP) {
            let bytes = &mut bytes[..8 * GROUP * batch.len()];
            self.rng.fill_bytes(bytes);
            for (values, words) in batch.iter_mut().zip(bytes.as_chunks::<{ 8 * GROUP }>().0) {
                let words = words.as_chunks::<8>().0;
                // The whole group without a branch; that one of eight does not stand happens in one group of eleven.
                let mut all = true;
                for (value, word) in values.iter_mut().zip(words) {
                    let (z, stands) = ziggurat::candidate(u64::from_le_bytes(*word));
                    *value = mean + sd * z;
                    all &= stands;
                }
                if !all {
                    // Which of the eight, again without a branch for each: one in seven is found, and a guess at it would often be wrong.
                    let mut open = 0_u32;
                    for (k, word) in words.iter().enumerate() {
                        open |= u32::from(!ziggurat::candidate(u64::from_le_bytes(*word)).1) << k;
                    }
                    while open != 0 {
                        let k = open.trailing_zeros() as usize;
                        pending.push((first + k, u64::from_le_bytes(words[k])));
                        open &= open - 1;
                    }
                }
                first += GROUP;
            }
        }
        for (k, value) in rest.iter_mut().enumerate() {
            let word = self.rng.next_u64();
            let (z, stands) = ziggurat::candidate(word);
            *value = mean + sd * z;
            if !stands {
                pending.push((first + k, word));
            }
        }
        for &(k, word) in &pending {
            out[k] = mean + sd * ziggurat::resolve(word, || self.rng.next_u64());
        }
        self.pending = pending;
    }
}

#[inline]
fn open_uniform(word: u64) -> f64 {
    // 52 bits and a half: k·2⁻⁵² + 2⁻⁵³ for k in 0..2⁵².
    f64::from_bits((word >> 12) | 0x3FF0_0000_0000_0000) - (1.0 - f64::EPSILON / 2.0)
}

impl TryRng for Stream {
    type Error = Infallible;

    fn try_next_u32(&mut self) -> Result<u32, Infallible> {
        Ok(self.rng.next_u32())
    }

    fn try_next_u64(&mut self) -> Result<u64, Infallible> {
        Ok(self.rng.next_u64())
    }

    fn try_fill_bytes(&mut self, dst: &mut [u8]) -> Result<(), Infallible> {
        self.rng.fill_bytes(dst);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::float_cmp, reason = "draws of the same stream are the same bits")]

    use super::*;

    #[test]
    fn known_answers() {
        // `ChaCha8` itself: zero key and nonce, first 64-byte block, from the ECRYPT/Bernstein vectors for 8 rounds ("3e00ef2f 895f40d6 …").
        let mut rng = ChaCha8Rng::from_seed([0; 32]);
        assert_eq!(rng.next_u32().to_le_bytes(), [0x3e, 0x00, 0xef, 0x2f]);
        assert_eq!(rng.next_u32().to_le_bytes(), [0x89, 0x5f, 0x40, 0xd6]);
        // Ours, recomputed by an independent ChaCha8 and SHA-256 in Python.
        let key = Key::new(1, "middle/span");
        let first: Vec<f64> = (0..4).map(|block| key.stream(block).uniform()).collect();
        assert_eq!(first, [0.021236852875646917, 0.7197046029457196, 0.19793619066599322, 0.3345782558827638]);
        let first: Vec<f64> = (0..4).map(|block| key.stream(block).normal()).collect();
        assert_eq!(first, [-0.028189131194840827, -0.8048436236748834, -0.7232891022395055, 0.1366381243799512]);
    }

    #[test]
    fn a_filled_slice_is_the_same_stream_and_a_label_changes_all_of_it() {
        let key = Key::new(5, "a");
        let (mut filled, mut single) = (key.stream(0), key.stream(0));
        let mut block = [0.0; 700];
        filled.fill_uniform(&mut block);
        assert!(block.iter().all(|&x| x == single.uniform()));
        let other = Key::new(5, "b").stream(0).uniform();
        assert!(other != block[0] && Key::new(6, "a").stream(0).uniform() != block[0]);
    }

    /// Largest distance between the empirical and the standard normal distribution function, times √n.
    fn kolmogorov(mut sample: Vec<f64>) -> f64 {
        sample.sort_by(f64::total_cmp);
        let n = sample.len() as f64;
        let distance = sample.iter().enumerate().map(|(k, &x)| {
            let p = crate::normal::cdf(x);
            (p - k as f64 / n).max((k + 1) as f64 / n - p)
        });
        distance.fold(0.0, f64::max) * n.sqrt()
    }

    #[test]
    fn deviates_are_normal() {
        // 1.95 is the 0.001 level of Kolmogorov's distribution.
        let key = Key::new(11, "deviates");
        let mut block = vec![0.0; 400 * BLOCK];
        for (b, part) in block.chunks_mut(BLOCK).enumerate() {
            key.stream(b as u64).fill_normal(part);
        }
        let n = block.len() as f64;
        // Beyond 4 (the tail's own algorithm), in the wedges at 0.5..0.6 and in all: counts within 4 standard errors.
        for (lower, upper) in [(4.0, f64::INFINITY), (f64::NEG_INFINITY, -4.0), (0.5, 0.6), (-3.7, -3.6)] {
            let p = crate::normal::cdf(upper) - crate::normal::cdf(lower);
            let p = if lower > 0.0 { crate::normal::sf(lower) - crate::normal::sf(upper) } else { p };
            let count = block.iter().filter(|x| (lower..upper).contains(x)).count() as f64;
            assert!((count - n * p).abs() < 4.0 * (n * p).sqrt(), "{lower}..{upper}: {count} for {}", n * p);
        }
        assert!(kolmogorov(block) < 1.95);
        let mut single = key.stream(7_000_000);
        assert!(kolmogorov((0..100_000).map(|_| single.normal()).collect()) < 1.95);
    }
}
