//! Standard normal deviates by the ziggurat: G. Marsaglia and W. W. Tsang, "The ziggurat method for
//! generating random variables", Journal of Statistical Software 5(8), 2000, in the 64-bit form in which layer, sign and
//! position come from separate bits of one word (J. A. Doornik, "An improved ziggurat method to generate normal random
//! samples", 2005).
//!
//! It is our own because it enters results: the deviates of a seed are a promise, and a library may change its algorithm
//! in a minor release. There are two sets of layers, both the solution of the layers' equation at 50 digits or more, rounded once:
//!
//! | layers | r | area v of each | words that need more than the fast path |
//! |---|---|---|---|
//! | 256, [`Coarse`] | 3.654 152 885 361 008 77 | 0.004 928 673 233 974 655 | 1.49 % |
//! | 1024, [`Fine`] | 4.038 849 846 109 504 52 | 0.001 226 324 646 353 088 | 0.43 % |
//!
//! The fine ones are for whole columns in plain Monte Carlo, where what the others leave would cost a quarter of the time; the coarse ones
//! for single deviates, where a table of 8 KiB would be read from far. `exp` and `ln` in the slow path come from `libm`, so
//! that the deviates do not depend on the platform's mathematical library either.
//!
//! With f(x) = exp(−x²/2) and edges x₀ > r = x₁ > … > 0, layer i covers |x| < xᵢ between the heights f(xᵢ) and f(xᵢ₊₁); layer 0 is the base strip together with the tail beyond r, of the same area.

mod coarse;
mod fine;

use fearless_simd::{Bytes, Level, Simd, SimdBase, SimdInto, SimdMask, dispatch, f64x4, u64x4};

/// A set of layers, their number a power of two.
pub trait Layers {
    /// Bits of a word that choose the layer; the next one is the sign, and the upper 52 are the place.
    const BITS: u32;

    /// xᵢ, up to and with the last, which is 0.
    fn edge(layer: usize) -> f64;

    /// f(xᵢ).
    fn height(layer: usize) -> f64;

    /// The layer that a word chooses.
    #[inline(always)]
    fn layer(word: u64) -> usize {
        (word & ((1 << Self::BITS) - 1)) as usize
    }

    /// The sign that a word chooses, as the sign bit of a double.
    #[inline(always)]
    fn sign(word: u64) -> u64 {
        (word & (1 << Self::BITS)) << (63 - Self::BITS)
    }
}

/// 256 layers.
#[derive(Debug, Clone, Copy)]
pub struct Coarse;

/// 1024 layers.
#[derive(Debug, Clone, Copy)]
pub struct Fine;

impl Layers for Coarse {
    const BITS: u32 = 8;

    #[inline(always)]
    fn edge(layer: usize) -> f64 {
        coarse::EDGE[layer]
    }

    #[inline(always)]
    fn height(layer: usize) -> f64 {
        coarse::HEIGHT[layer]
    }
}

impl Layers for Fine {
    const BITS: u32 = 10;

    #[inline(always)]
    fn edge(layer: usize) -> f64 {
        fine::EDGE[layer]
    }

    #[inline(always)]
    fn height(layer: usize) -> f64 {
        fine::HEIGHT[layer]
    }
}

/// Bits → a number in [0, 1) with 52 random bits.
#[inline]
fn fraction(word: u64) -> f64 {
    f64::from_bits((word >> 12) | 0x3FF0_0000_0000_0000) - 1.0
}

/// The fast path, right for nearly all words: the deviate, and whether it stands.
#[inline]
pub(crate) fn candidate<L: Layers>(word: u64) -> (f64, bool) {
    let layer = L::layer(word);
    let x = fraction(word) * L::edge(layer);
    (f64::from_bits(x.to_bits() | L::sign(word)), x < L::edge(layer + 1))
}

/// Deviates whose answers to "does it stand" fit one word.
const GROUP: usize = 64;

/// The fast path for a whole column: mean + sd times the deviate of each word, right where it stands; `open` is told, in order, where it does not.
pub(crate) fn candidates<L: Layers>(words: &[u64], mean: f64, sd: f64, out: &mut [f64], open: impl FnMut(usize)) {
    candidates_at::<L>(Level::new(), words, mean, sd, out, open);
}

fn candidates_at<L: Layers>(
    level: Level,
    words: &[u64],
    mean: f64,
    sd: f64,
    out: &mut [f64],
    mut open: impl FnMut(usize),
) {
    let (groups, rest) = words.as_chunks::<GROUP>();
    let (values, last) = out.as_chunks_mut::<GROUP>();
    for (g, (words, values)) in groups.iter().zip(values).enumerate() {
        let mut fallen = dispatch!(level, simd => group::<_, L>(simd, words, mean, sd, values));
        while fallen != 0 {
            open(g * GROUP + fallen.trailing_zeros() as usize);
            fallen &= fallen - 1;
        }
    }
    for (k, (&word, value)) in rest.iter().zip(last).enumerate() {
        let (z, stands) = candidate::<L>(word);
        *value = mean + sd * z;
        if !stands {
            open(groups.len() * GROUP + k);
        }
    }
}

/// [`candidate`] of each word, four at a time: only the edges are looked up one by one. A set bit says that this one does not stand.
#[inline(always)]
fn group<S: Simd, L: Layers>(simd: S, words: &[u64; GROUP], mean: f64, sd: f64, out: &mut [f64; GROUP]) -> u64 {
    let (mean, sd) = (f64x4::splat(simd, mean), f64x4::splat(simd, sd));
    let mut fallen = 0;
    for (k, (words, out)) in words.as_chunks::<4>().0.iter().zip(out.as_chunks_mut::<4>().0).enumerate() {
        let layers = words.map(L::layer);
        let outer: f64x4<S> = layers.map(L::edge).simd_into(simd);
        let inner: f64x4<S> = layers.map(|layer| L::edge(layer + 1)).simd_into(simd);
        let words = u64x4::from_slice(simd, words);
        let fraction = ((words >> 12) | 0x3FF0_0000_0000_0000).bitcast::<f64x4<S>>() - 1.0;
        let x = fraction * outer;
        let signed = x.bitcast::<u64x4<S>>() | ((words & (1 << L::BITS)) << (63 - L::BITS));
        (mean + sd * signed.bitcast::<f64x4<S>>()).store_slice(out);
        fallen |= x.simd_ge(inner).to_bitmask() << (4 * k);
    }
    fallen
}

/// What follows where the fast path did not stand: the wedge between two layers, or the tail; further words come from `next`.
#[cold]
pub(crate) fn resolve<L: Layers>(first: u64, mut next: impl FnMut() -> u64) -> f64 {
    let mut word = first;
    loop {
        let (x, stands) = candidate::<L>(word);
        if stands {
            return x;
        }
        let layer = L::layer(word);
        if layer == 0 {
            return tail::<L>(word, next);
        }
        let height = L::height(layer) + fraction(next()) * (L::height(layer + 1) - L::height(layer));
        if under_density::<L>(layer, x.abs(), height) {
            return x;
        }
        word = next();
    }
}

/// Whether `height` is below f(x), x in the wedge of the layer. Between two edges the curve lies between its chord and its
/// tangents at the edges (below the chord where it is convex, x > 1, above it where it is concave), which settles most without the exponential
/// function; what lies between the lines, or nearer to one than rounding could carry it, is left to that function, so the answer is the same
/// to the last bit.
fn under_density<L: Layers>(layer: usize, x: f64, height: f64) -> bool {
    const ROUNDING: f64 = 1e-12;
    let (outer, inner) = (L::edge(layer), L::edge(layer + 1));
    let (low, high) = (L::height(layer), L::height(layer + 1));
    // f′(x) = −x·f(x).
    let at_outer = low * (1.0 + outer * (outer - x));
    let at_inner = high * (1.0 - inner * (x - inner));
    let chord = low + (high - low) * ((outer - x) / (outer - inner));
    if inner >= 1.0 {
        if height < at_outer.max(at_inner) - ROUNDING {
            return true;
        }
        if height > chord + ROUNDING {
            return false;
        }
    } else if outer <= 1.0 {
        if height < chord - ROUNDING {
            return true;
        }
        if height > at_outer.min(at_inner) + ROUNDING {
            return false;
        }
    }
    height < libm::exp(-0.5 * x * x)
}

/// The normal tail beyond r, by Marsaglia's exponential rejection (Technometrics 6, 1964, 101–102); the sign is the word's.
fn tail<L: Layers>(word: u64, mut next: impl FnMut() -> u64) -> f64 {
    let r = L::edge(1);
    loop {
        // 1 − u is in (0, 1]: the logarithm is finite.
        let a = -libm::log(1.0 - fraction(next())) / r;
        let b = -libm::log(1.0 - fraction(next()));
        if b + b >= a * a {
            return f64::from_bits((r + a).to_bits() | L::sign(word));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Layers, and the area that their equation gives each.
    fn every_layer_has_the_same_area<L: Layers>(v: f64) {
        let last = 1 << L::BITS;
        // Layer i is xᵢ wide and f(xᵢ₊₁) − f(xᵢ) high; the equation that the tables solve.
        for i in 1..last {
            let area = L::edge(i) * (L::height(i + 1) - L::height(i));
            assert!((area / v - 1.0).abs() < 1e-11, "layer {i} of {last}: {area}");
        }
        assert!((L::edge(0) * L::height(1) / v - 1.0).abs() < 1e-14);
        // The base strip with its tail: √(π/2)·erfc(r/√2), by this crate's own normal distribution.
        let r = L::edge(1);
        let tail = crate::normal::sf(r) * std::f64::consts::TAU.sqrt();
        assert!(((r * L::height(1) + tail) / v - 1.0).abs() < 1e-13);
        assert!(L::edge(last) == 0.0 && L::height(last) == 1.0);
        for i in 0..last {
            assert!((libm::exp(-0.5 * L::edge(i) * L::edge(i)) / L::height(i) - 1.0).abs() < 1e-14);
        }
    }

    #[test]
    fn layers_solve_their_equation() {
        every_layer_has_the_same_area::<Coarse>(0.004_928_673_233_974_655);
        every_layer_has_the_same_area::<Fine>(0.001_226_324_646_353_088_1);
    }

    fn words(n: u64) -> Vec<u64> {
        (0..n).map(|k| (k + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15)).collect()
    }

    fn a_column_is_its_words<L: Layers>() {
        let words = words(1000);
        for level in [Level::new(), Level::baseline()] {
            let mut column = vec![0.0; words.len()];
            let mut open = Vec::new();
            candidates_at::<L>(level, &words, 2.0, 0.125, &mut column, |k| open.push(k));
            let stands: Vec<bool> = words.iter().map(|&word| candidate::<L>(word).1).collect();
            assert_eq!(open, (0..words.len()).filter(|&k| !stands[k]).collect::<Vec<_>>());
            for (value, &word) in column.iter().zip(&words) {
                assert_eq!(value.to_bits(), (2.0 + 0.125 * candidate::<L>(word).0).to_bits());
            }
        }
    }

    #[test]
    fn a_column_is_its_words_deviates_on_every_processor() {
        a_column_is_its_words::<Coarse>();
        a_column_is_its_words::<Fine>();
    }

    /// The layers say how often: the mean of 1 − xᵢ₊₁/xᵢ.
    fn stands_as_often_as_the_layers_say<L: Layers>(expected: f64) {
        let layers = 1 << L::BITS;
        let open = (0..layers).map(|i| 1.0 - L::edge(i + 1) / L::edge(i)).sum::<f64>() / layers as f64;
        assert!((open - expected).abs() < 5e-5, "{open}");
        let words = words(1 << 20);
        let n = words.len() as f64;
        let count = words.iter().filter(|&&word| !candidate::<L>(word).1).count() as f64;
        assert!((count - n * open).abs() < 4.0 * (n * open).sqrt(), "{count} of {n}");
    }

    #[test]
    fn the_fast_path_is_nearly_always_enough() {
        stands_as_often_as_the_layers_say::<Coarse>(0.014_92);
        stands_as_often_as_the_layers_say::<Fine>(0.004_28);
    }

    fn lines_answer_as_the_density<L: Layers>(layers: impl Iterator<Item = usize>) {
        for layer in layers {
            let (outer, inner) = (L::edge(layer), L::edge(layer + 1));
            let (low, high) = (L::height(layer), L::height(layer + 1));
            for i in 0..=40 {
                let x = inner + (outer - inner) * f64::from(i) / 40.0;
                let density = libm::exp(-0.5 * x * x);
                let even = (0..=40).map(|j| low + (high - low) * f64::from(j) / 40.0);
                let near = [-1e-13, -1e-16, 0.0, 1e-16, 1e-13].map(|d| density + d);
                for height in even.chain(near) {
                    assert_eq!(under_density::<L>(layer, x, height), height < density, "{layer} {x} {height}");
                }
            }
        }
    }

    #[test]
    fn lines_about_the_density_answer_as_the_density_does() {
        lines_answer_as_the_density::<Coarse>(1..256);
        lines_answer_as_the_density::<Fine>((1..1024).step_by(3).chain([1023]));
    }
}
