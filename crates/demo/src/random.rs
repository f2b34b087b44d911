//! Random numbers of the demo: a named portable generator, one stream per purpose, so that adding a file changes no other.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

/// A stream of draws for one purpose.
pub(crate) struct Draws(ChaCha8Rng);

impl Draws {
    /// `purpose` numbers the stream.
    pub(crate) fn new(seed: u64, purpose: u64) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(purpose);
        Self(generator)
    }

    /// N(mean, sd²).
    pub(crate) fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        let z: f64 = StandardNormal.sample(&mut self.0);
        mean + sd * z
    }

    /// R(lower, upper).
    pub(crate) fn uniform(&mut self, lower: f64, upper: f64) -> f64 {
        let u: f64 = rand_distr::Open01.sample(&mut self.0);
        lower + (upper - lower) * u
    }

    /// Gamma by shape and scale; 0 where the shape is 0.
    pub(crate) fn gamma(&mut self, shape: f64, scale: f64) -> f64 {
        rand_distr::Gamma::new(shape, scale).map_or(0.0, |g| g.sample(&mut self.0))
    }
}
