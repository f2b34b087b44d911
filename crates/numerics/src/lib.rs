//! Random streams, streaming moments, quantiles and roots: what statistics needs and no well-kept crate gives.

pub mod interpolation;
pub mod legendre;
pub mod moments;
pub mod normal;
pub mod quantile;
pub mod root;
pub mod sobol;
pub mod stream;
pub mod student_characteristic;
pub mod transcendental;
mod ziggurat;

pub mod special;
