//! Loops in wider vector registers than the portable target promises, chosen when the program runs.
//!
//! The program is built for any processor of its family (on x86-64 that means registers of two doubles); nearly all in use have registers
//! of four. [`widest`] runs a loop compiled for those where the processor has them. The operations and their order are the same, and none
//! is fused with another, so the results are the same bytes: tests hold both ways to each other.

/// Runs `work` compiled for the wider registers where the processor has them, else as it is.
///
/// Only what is inlined into `work` is compiled so: the closure and every function with a loop that it calls must be `#[inline(always)]`.
///
/// ```
/// let mut sum = [1.0, 2.0, 3.0];
/// packdrift_numerics::vector::widest(#[inline(always)] || sum.iter_mut().for_each(|x| *x += 0.5));
/// assert_eq!(sum, [1.5, 2.5, 3.5]);
/// ```
#[inline]
pub fn widest<R>(work: impl FnOnce() -> R) -> R {
    #[cfg(target_arch = "x86_64")]
    if let Some(avx2) = fearless_simd::Level::new().as_avx2() {
        use fearless_simd::Simd as _;
        return avx2.vectorize(work);
    }
    work()
}
