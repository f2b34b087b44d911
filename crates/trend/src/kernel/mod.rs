//! The restricted likelihood of the whole family of straight-line models, at a cost linear in segments.
//!
//! For segment j of group g on engine e, with τ the hours since its start:
//!
//! ```text
//! y = (β₀g + b₀) + (β₁g + b₁ + u_v + a_g·c_e)·τ + W(τ) + ε
//! (b₀, b₁) ~ N(0, σ²ΛΛ′), Λ = [λ₀ 0; λ₁ λ₂]      c_e ~ N(0, σ²γ²)      u_v ~ N(0, σ²κ²)
//! W Wiener, Var W(τ) = σ²ω²τ                     ε ~ N(0, σ²/w)
//! ```
//!
//! u_v is what a valve keeps of its slope through its re-shims, until a part is replaced (κ = 0: every segment for itself).
//! a_g is the group's mean slope over the fleet's ([`frame`]): an engine's valves wear faster or slower by one factor.
//!
//! The relative Cholesky factor Λ and the profiling of β and σ² follow D. Bates, M. Mächler, B. Bolker, S. Walker, Fitting linear
//! mixed-effects models using lme4, Journal of Statistical Software 67 (2015), sections 3.4 and 3.5. Every segment is first reduced to
//! S = Z′R⁻¹Z, r = Z′R⁻¹y, q = y′R⁻¹y and ln|R| with Z = [1, τ] ([`wander`] does it where R is not diagonal), then (b₀, b₁), u_v and
//! c_e are eliminated by 2 × 2 and 1 × 1 steps; nothing is ever as large as a segment's readings.

pub(crate) mod dual;
pub(crate) mod frame;
pub(crate) mod law;
pub(crate) mod likelihood;
pub(crate) mod moments;
pub(crate) mod posterior;
pub(crate) mod wander;

pub(crate) use dual::{Dual, Scalar};
pub(crate) use frame::{Frame, Problem};
pub(crate) use law::FleetLaw;
pub(crate) use likelihood::{Profile, Shape, Theta, evaluate};
pub(crate) use moments::Moments;
pub(crate) use posterior::Outlook;
