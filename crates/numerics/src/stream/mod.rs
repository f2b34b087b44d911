//! Random numbers whose values depend on the seed and on what they are for, and on nothing else: not on the number of
//! threads, not on the order of work, not on which other random quantities a run has.
//!
//! A [`Key`] is made from the user's seed and a label that says what the numbers are for (`middle/left shim/thickness`);
//! the label is hashed in, so that adding an input leaves the draws of all others as they were. Trials come in blocks of
//! [`BLOCK`]; the numbers of block *b* are those of [`Key::stream`] of *b*, wherever and whenever it is drawn, so that work can
//! be split among threads and machines and put together again to the same bytes. Within a block the k-th draw belongs to the
//! k-th trial, so the first n trials of a run are the first n of any longer run.
//!
//! The generator of [`Key::stream`] is `ChaCha8` (D. J. Bernstein, "`ChaCha`, a variant of `Salsa20`", 2008; 8 rounds), key = SHA-256
//! (FIPS 180-4) of seed and label, nonce = block index. That of [`Key::lanes`], for plain Monte Carlo, where words are most of the time, is
//! xoshiro256++ in eight lanes, whose states are the first words of the other ([`Lanes`]). Both are named and portable: `rand`'s `StdRng` is
//! expressly neither. Drawing a whole block from one stream matters: re-seeking per draw costs about ten times as much.

mod generator;
mod lanes;

use crate::ziggurat;
pub use generator::Generator;
pub use lanes::Lanes;
use rand::{SeedableRng, TryRng};
use rand_chacha::ChaCha8Rng;
use sha2::{Digest, Sha256};
use std::convert::Infallible;

/// Trials in a block. Part of the contract: another size gives other numbers for the same seed.
pub const BLOCK: usize = 1024;

/// Version of everything that turns a seed into numbers; goes into results, and goes up with any change here.
pub const ALGORITHM: &str = "xoshiro256++/8 lanes/chacha8/sha256/ziggurat1024/2";

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

    /// The stream of a block.
    pub fn stream(&self, block: u64) -> Stream {
        Stream { generator: self.chacha(block), pending: Vec::new() }
    }

    /// The stream of a block of trials, from the faster generator of plain Monte Carlo. It is worth its start from a few hundred words on.
    pub fn lanes(&self, block: u64) -> Stream<Lanes> {
        Stream { generator: Lanes::seeded_by(&mut self.chacha(block)), pending: Vec::new() }
    }

    fn chacha(&self, block: u64) -> ChaCha8Rng {
        let mut rng = ChaCha8Rng::from_seed(self.0);
        rng.set_stream(block);
        rng
    }
}

/// Random numbers of one purpose and block, from the words of a [`Generator`]. Also a [`rand::Rng`], for what needs one.
#[derive(Debug, Clone)]
pub struct Stream<G = ChaCha8Rng> {
    generator: G,
    /// Places and words that the fast path left, between one use and the next.
    pending: Vec<(usize, u64)>,
}

/// Words fetched at once when a slice is filled: 2 KiB, well inside the first-level cache.
const BATCH: usize = 256;

impl<G: Generator> Stream<G> {
    /// A number of the open interval (0, 1), an odd multiple of 2⁻⁵³: neither end can occur, so a quantile function may be
    /// applied to it.
    #[inline]
    pub fn uniform(&mut self) -> f64 {
        open_uniform(self.generator.word())
    }

    /// A standard normal deviate.
    #[inline]
    pub fn normal(&mut self) -> f64 {
        let word = self.generator.word();
        let (x, stands) = ziggurat::candidate::<G::Layers>(word);
        if stands { x } else { ziggurat::resolve::<G::Layers>(word, || self.generator.word()) }
    }

    /// Fills the slice with numbers of (0, 1), the same as by [`Stream::uniform`].
    pub fn fill_uniform(&mut self, out: &mut [f64]) {
        let mut words = [0; BATCH];
        for part in out.chunks_mut(BATCH) {
            let words = &mut words[..part.len()];
            self.generator.words(words);
            for (x, word) in part.iter_mut().zip(words) {
                *x = open_uniform(*word);
            }
        }
    }

    /// Fills the slice with standard normal deviates. One word is spent on each element first; the about 1.5 % (of [`Lanes`]: 0.4 %) that need
    /// more take them, in order, from the words that follow those of the whole slice. So the deviates depend on the slice's length only
    /// through those few, and callers that promise prefixes fill whole blocks.
    pub fn fill_normal(&mut self, out: &mut [f64]) {
        self.fill_scaled_normal(0.0, 1.0, out);
    }

    /// [`Stream::fill_normal`], each deviate z as mean + sd·z.
    pub fn fill_scaled_normal(&mut self, mean: f64, sd: f64, out: &mut [f64]) {
        let mut words = [0; BATCH];
        let mut pending = std::mem::take(&mut self.pending);
        pending.clear();
        // Twice what is to be expected, so that a block's stream asks for memory once.
        pending.reserve(out.len() / 32);
        for (batch, part) in out.chunks_mut(BATCH).enumerate() {
            let words = &mut words[..part.len()];
            self.generator.words(words);
            ziggurat::candidates::<G::Layers>(words, mean, sd, part, |k| pending.push((batch * BATCH + k, words[k])));
        }
        for &(k, word) in &pending {
            out[k] = mean + sd * ziggurat::resolve::<G::Layers>(word, || self.generator.word());
        }
        self.pending = pending;
    }
}

#[inline]
fn open_uniform(word: u64) -> f64 {
    // 52 bits and a half: k·2⁻⁵² + 2⁻⁵³ for k in 0..2⁵².
    f64::from_bits((word >> 12) | 0x3FF0_0000_0000_0000) - (1.0 - f64::EPSILON / 2.0)
}

impl<G: Generator> TryRng for Stream<G> {
    type Error = Infallible;

    fn try_next_u32(&mut self) -> Result<u32, Infallible> {
        Ok(self.generator.half_word())
    }

    fn try_next_u64(&mut self) -> Result<u64, Infallible> {
        Ok(self.generator.word())
    }

    fn try_fill_bytes(&mut self, dst: &mut [u8]) -> Result<(), Infallible> {
        self.generator.bytes(dst);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::float_cmp, reason = "draws of the same stream are the same bits")]

    use super::*;
    use rand::Rng;

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

    /// Recomputed in Python from SHA-256, ChaCha8, xoshiro256++ and the layers' equation (mpmath), each written anew.
    #[test]
    fn known_answers_of_lanes() {
        let key = Key::new(1, "middle/span");
        let first: Vec<f64> = (0..4).map(|block| key.lanes(block).uniform()).collect();
        assert_eq!(first, [0.6870205767150984, 0.6453561301591987, 0.47193960632381826, 0.2690302341327978]);
        let mut stream = key.lanes(2);
        let uniforms = [(); 10].map(|()| stream.uniform());
        assert_eq!(
            uniforms[5..],
            [0.7151363011331452, 0.31375562744654484, 0.8645171106970347, 0.3164547917669084, 0.2401873491793226]
        );
        let mut normals = [0.0; 8];
        key.lanes(2).fill_normal(&mut normals);
        assert_eq!(
            normals,
            [
                0.6898718608777145,
                2.7225315159571353,
                -1.332573269874195,
                -0.2596932021132119,
                -1.236170942429455,
                1.2904307466981884,
                -0.6625842836705332,
                -1.1844735097571781
            ]
        );
    }

    /// Whatever is drawn in between, whole slices and single numbers come from one sequence of words.
    #[test]
    fn lanes_filled_and_single_are_the_same_stream() {
        let key = Key::new(5, "a");
        let (mut filled, mut single) = (key.lanes(9), key.lanes(9));
        let mut part = [0.0; 300];
        for length in [1, 7, 8, 300, 9, 256] {
            filled.fill_uniform(&mut part[..length]);
            assert!(part[..length].iter().all(|&x| x == single.uniform()));
            assert_eq!(filled.next_u32(), single.next_u32());
        }
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

    /// Blocks of normals of both generators, many of them; wherever a share or a moment is counted it is within 4 of its standard errors, and
    /// the distance to the normal distribution below the 0.001 level of Kolmogorov's distribution, 1.95.
    fn are_normal(fill: impl Fn(u64, &mut [f64])) {
        let mut values = vec![0.0; 2000 * BLOCK];
        for (b, part) in values.chunks_mut(BLOCK).enumerate() {
            fill(b as u64, part);
        }
        let n = values.len() as f64;
        // Beyond 4.04 (the tails' own algorithm), about the outer edges, where wedges are long, in wedges at the middle, and at the top.
        let places =
            [(4.04, f64::INFINITY), (f64::NEG_INFINITY, -4.04), (3.8, 4.04), (0.5, 0.6), (-3.7, -3.6), (-0.03, 0.03)];
        for (lower, upper) in places {
            let p = crate::normal::cdf(upper) - crate::normal::cdf(lower);
            let p = if lower > 0.0 { crate::normal::sf(lower) - crate::normal::sf(upper) } else { p };
            let count = values.iter().filter(|x| (lower..upper).contains(x)).count() as f64;
            assert!((count - n * p).abs() < 4.0 * (n * p).sqrt(), "{lower}..{upper}: {count} for {}", n * p);
        }
        // E z, E z², E z³, E z⁴ and the variances of z … z⁴: 1, 2, 15, 96.
        for (power, expected, variance) in [(1, 0.0, 1.0), (2, 1.0, 2.0), (3, 0.0, 15.0), (4, 3.0, 96.0_f64)] {
            let mean = values.iter().map(|z| z.powi(power)).sum::<f64>() / n;
            assert!((mean - expected).abs() < 4.0 * (variance / n).sqrt(), "moment {power}: {mean}");
        }
        // Neighbours, lanes at every distance and the same lane again: not correlated, nor are their squares.
        for lag in [1, 2, 3, 4, 5, 6, 7, 8, 16, 64, BLOCK] {
            let product = values.iter().zip(&values[lag..]).map(|(a, b)| a * b).sum::<f64>();
            let squares = values.iter().zip(&values[lag..]).map(|(a, b)| (a * a - 1.0) * (b * b - 1.0)).sum::<f64>();
            assert!(product.abs() < 4.0 * n.sqrt(), "lag {lag}: {product}");
            assert!(squares.abs() < 8.0 * n.sqrt(), "lag {lag}: {squares}");
        }
        assert!(kolmogorov(values) < 1.95);
    }

    #[test]
    fn deviates_are_normal() {
        let key = Key::new(11, "deviates");
        are_normal(|block, part| key.stream(block).fill_normal(part));
        are_normal(|block, part| key.lanes(block).fill_normal(part));
        let mut single = key.stream(7_000_000);
        assert!(kolmogorov((0..100_000).map(|_| single.normal()).collect()) < 1.95);
        let mut single = key.lanes(7_000_000);
        assert!(kolmogorov((0..100_000).map(|_| single.normal()).collect()) < 1.95);
    }

    /// As many deviates as the tail's algorithm makes: beyond r they follow the normal tail.
    #[test]
    fn the_tail_is_normal() {
        let key = Key::new(12, "tail");
        let r = 4.038_849_846_109_505;
        let mut tail = Vec::new();
        let mut part = vec![0.0; BLOCK];
        for block in 0..20_000 {
            key.lanes(block).fill_normal(&mut part);
            tail.extend(part.iter().map(|z| z.abs()).filter(|z| *z > r));
        }
        // 20 480 000·2·Q(r) = 1100.
        let expected = 20_480_000.0 * 2.0 * crate::normal::sf(r);
        assert!((tail.len() as f64 - expected).abs() < 4.0 * expected.sqrt(), "{} for {expected}", tail.len());
        tail.sort_by(f64::total_cmp);
        let n = tail.len() as f64;
        let distance = tail.iter().enumerate().map(|(k, &x)| {
            let p = 1.0 - crate::normal::sf(x) / crate::normal::sf(r);
            (p - k as f64 / n).max((k + 1) as f64 / n - p)
        });
        assert!(distance.fold(0.0, f64::max) * n.sqrt() < 1.95);
    }
}
