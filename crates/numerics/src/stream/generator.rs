//! Where a stream's random words come from.

use crate::ziggurat::{Coarse, Layers};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng;

/// A source of random words of 64 bits. The streams of this crate are made of nothing else.
pub trait Generator {
    /// The layers of the ziggurat by which its words become normal deviates.
    type Layers: Layers;

    /// The next word.
    fn word(&mut self) -> u64;

    /// The next words, the same as one by one.
    fn words(&mut self, out: &mut [u64]);

    /// A random number of 32 bits.
    fn half_word(&mut self) -> u32;

    /// Random bytes.
    fn bytes(&mut self, out: &mut [u8]);
}

/// Words put together from bytes at once: 2 KiB, well inside the first-level cache.
const BATCH: usize = 256;

impl Generator for ChaCha8Rng {
    type Layers = Coarse;

    #[inline]
    fn word(&mut self) -> u64 {
        self.next_u64()
    }

    fn words(&mut self, out: &mut [u64]) {
        let mut bytes = [0_u8; 8 * BATCH];
        for part in out.chunks_mut(BATCH) {
            let bytes = &mut bytes[..8 * part.len()];
            self.fill_bytes(bytes);
            for (word, bytes) in part.iter_mut().zip(bytes.as_chunks().0) {
                *word = u64::from_le_bytes(*bytes);
            }
        }
    }

    fn half_word(&mut self) -> u32 {
        self.next_u32()
    }

    fn bytes(&mut self, out: &mut [u8]) {
        self.fill_bytes(out);
    }
}
