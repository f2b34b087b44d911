//! Standard normal deviates by the ziggurat of 256 layers: G. Marsaglia and W. W. Tsang, "The ziggurat method for
//! generating random variables", Journal of Statistical Software 5(8), 2000, in the 64-bit form in which layer, sign and
//! position come from separate bits of one word (J. A. Doornik, "An improved ziggurat method to generate normal random
//! samples", 2005).
//!
//! It is our own because it enters results: the deviates of a seed are a promise, and a library may change its algorithm
//! in a minor release. The tables are the solution of the layers' equation at 50 digits (r = 3.654 152 885 361 008 77,
//! area v = 0.004 928 673 233 974 655 of each layer), rounded once. `exp` and `ln` in the slow path come from `libm`, so
//! that the deviates do not depend on the platform's mathematical library either.
//!
//! With f(x) = exp(−x²/2) and edges `EDGE[0] > r = EDGE[1] > … > EDGE[256] = 0`, layer i covers |x| < `EDGE[i]` between the heights
//! `f(EDGE[i])` and `f(EDGE[i+1])`; layer 0 is the base strip together with the tail beyond r, of the same area.

mod tables;

use tables::{EDGE, HEIGHT};

/// Bits → a number in [0, 1) with 52 random bits.
#[inline]
fn fraction(word: u64) -> f64 {
    f64::from_bits((word >> 12) | 0x3FF0_0000_0000_0000) - 1.0
}

/// The fast path, right for 98.8 % of words: the deviate, and whether it stands. Bits 0–7 choose the layer, bit 8 the
/// sign, bits 12–63 the place.
#[inline]
pub(crate) fn candidate(word: u64) -> (f64, bool) {
    let layer = (word & 0xFF) as usize;
    let x = fraction(word) * EDGE[layer];
    let sign = (word & 0x100) << 55;
    (f64::from_bits(x.to_bits() | sign), x < EDGE[layer + 1])
}

/// What follows where the fast path did not stand: the wedge between two layers, or the tail; further words come from `next`.
#[cold]
pub(crate) fn resolve(first: u64, mut next: impl FnMut() -> u64) -> f64 {
    let mut word = first;
    loop {
        let (x, stands) = candidate(word);
        if stands {
            return x;
        }
        let layer = (word & 0xFF) as usize;
        if layer == 0 {
            return tail(word, next);
        }
        let height = HEIGHT[layer] + fraction(next()) * (HEIGHT[layer + 1] - HEIGHT[layer]);
        if under_density(layer, x.abs(), height) {
            return x;
        }
        word = next();
    }
}

/// Whether `height` is below f(x), x in the wedge of the layer. Between two edges the curve lies between its chord and its
/// tangents at the edges (below the chord where it is convex, x > 1, above it where it is concave), which settles most without the exponential
/// function; what lies between the lines, or nearer to one than rounding could carry it, is left to that function, so the answer is the same
/// to the last bit.
fn under_density(layer: usize, x: f64, height: f64) -> bool {
    const ROUNDING: f64 = 1e-12;
    let (outer, inner) = (EDGE[layer], EDGE[layer + 1]);
    let (low, high) = (HEIGHT[layer], HEIGHT[layer + 1]);
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
fn tail(word: u64, mut next: impl FnMut() -> u64) -> f64 {
    let r = EDGE[1];
    loop {
        // 1 − u is in (0, 1]: the logarithm is finite.
        let a = -libm::log(1.0 - fraction(next())) / r;
        let b = -libm::log(1.0 - fraction(next()));
        if b + b >= a * a {
            return f64::from_bits((r + a).to_bits() | ((word & 0x100) << 55));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_layer_has_the_same_area() {
        // Layer i is EDGE[i] wide and HEIGHT[i+1] − HEIGHT[i] high; the equation that the tables solve.
        let v = 0.004_928_673_233_974_655;
        for i in 1..256 {
            let area = EDGE[i] * (HEIGHT[i + 1] - HEIGHT[i]);
            assert!((area / v - 1.0).abs() < 1e-12, "layer {i}: {area}");
        }
        assert!((EDGE[0] * HEIGHT[1] / v - 1.0).abs() < 1e-14);
    }

    #[test]
    fn lines_about_the_density_answer_as_the_density_does() {
        for layer in 1..256 {
            let (outer, inner) = (EDGE[layer], EDGE[layer + 1]);
            for i in 0..=40 {
                let x = inner + (outer - inner) * f64::from(i) / 40.0;
                let density = libm::exp(-0.5 * x * x);
                let even = (0..=40).map(|j| HEIGHT[layer] + (HEIGHT[layer + 1] - HEIGHT[layer]) * f64::from(j) / 40.0);
                let near = [-1e-13, -1e-16, 0.0, 1e-16, 1e-13].map(|d| density + d);
                for height in even.chain(near) {
                    assert_eq!(under_density(layer, x, height), height < density, "{layer} {x} {height}");
                }
            }
        }
    }

    #[test]
    fn heights_are_the_density_at_the_edges() {
        for (x, f) in EDGE.iter().zip(HEIGHT) {
            assert!((libm::exp(-0.5 * x * x) / f - 1.0).abs() < 1e-14, "{x}");
        }
    }
}
