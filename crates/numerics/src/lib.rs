//! Random streams, streaming moments, quantiles and roots: what statistics needs and no well-kept crate gives.

#![allow(
    clippy::inline_always,
    reason = "what is to run in wider vector registers must be inlined into the code that asks for them"
)]

pub mod interpolation;
pub mod legendre;
pub mod moments;
pub mod normal;
pub mod quantile;
pub mod root;
pub mod shard;
pub mod sobol;
pub mod stream;
pub mod student_characteristic;
pub mod transcendental;
pub mod vector;
mod ziggurat;

pub mod special;
