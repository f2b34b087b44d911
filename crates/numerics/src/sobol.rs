//! Sobol' points, scrambled: the integration points of randomised quasi-Monte Carlo.
//!
//! The first 2^m points of a Sobol' sequence, zero point included and none skipped, put exactly one coordinate into each of the 2^m
//! equal cells of \[0, 1). Owen's nested uniform scrambling keeps that, and all the finer balance between coordinates, while making every
//! single point uniform on the cube: estimates are unbiased, and the scatter between independent scramblings is an honest standard
//! error (A. B. Owen, "Scrambled net variance for integrals of smooth functions", Annals of Statistics 25 (1997) 1541–1562;
//! W.-L. Loh, "On the asymptotic distribution of scrambled net quadrature", Annals of Statistics 31 (2003) 1282–1324, for the
//! central limit theorem, which the cheaper linear scramblings do not have).
//!
//! Direction numbers: S. Joe and F. Y. Kuo, new-joe-kuo-6 (2008), 1024 dimensions; the data file bears their licence. Coordinates
//! beyond those are Latin hypercube coordinates (one point in each of the 2^m cells, in random order): balanced singly, random
//! jointly. So put the coordinates that matter most first.

use crate::stream::Key;
use rand::Rng;
use std::sync::OnceLock;

/// Coordinates that have direction numbers; those beyond are Latin hypercube coordinates.
pub const DIMENSIONS: usize = 1024;

/// Largest m: 2^m points of one scrambling are held at once.
pub const MAX_LOG2_POINTS: u32 = 24;

const TABLE: &str = include_str!("sobol/new-joe-kuo-6.txt");
const BITS: usize = 32;

/// The places of dimensions 2 … 1024 in the table, found once.
fn rows() -> &'static [&'static str] {
    static ROWS: OnceLock<Vec<&'static str>> = OnceLock::new();
    ROWS.get_or_init(|| TABLE.lines().filter(|line| !line.starts_with('#')).collect())
}

/// [`directions`], each worked out when it is first asked for.
fn known_directions(coordinate: usize) -> Option<&'static [u32; BITS]> {
    static KNOWN: [OnceLock<[u32; BITS]>; DIMENSIONS] = [const { OnceLock::new() }; DIMENSIONS];
    let known = KNOWN.get(coordinate)?;
    if let Some(v) = known.get() {
        return Some(v);
    }
    let v = directions(coordinate)?;
    Some(known.get_or_init(|| v))
}

/// Direction numbers v₁ … v₃₂ of a coordinate (counted from 0), as 32-bit fractions; None beyond [`DIMENSIONS`].
///
/// vₖ = mₖ·2^(32−k), and beyond the degree s of the primitive polynomial mₖ follows from the s before it
/// (P. Bratley and B. L. Fox, algorithm 659, ACM Transactions on Mathematical Software 14 (1988) 88–100).
pub fn directions(coordinate: usize) -> Option<[u32; BITS]> {
    let mut v = [0_u32; BITS];
    if coordinate == 0 {
        for (k, v) in v.iter_mut().enumerate() {
            *v = 1 << (31 - k);
        }
        return Some(v);
    }
    let mut numbers = rows().get(coordinate - 1)?.split(' ').filter_map(|word| word.parse::<u32>().ok());
    let _dimension = numbers.next()?;
    let degree = numbers.next()? as usize;
    let inner = numbers.next()?;
    for (k, m) in numbers.enumerate().take(degree) {
        v[k] = m << (31 - k);
    }
    for k in degree..BITS {
        let mut next = v[k - degree] ^ (v[k - degree] >> degree);
        for j in 1..degree {
            if (inner >> (degree - 1 - j)) & 1 == 1 {
                next ^= v[k - j];
            }
        }
        v[k] = next;
    }
    Some(v)
}

/// One scrambling of the first 2^m points, coordinate by coordinate.
///
/// Everything is a function of the seed, the purpose, the coordinate's number and the scrambling's number, so that scramblings may
/// be made on any thread and another coordinate changes nothing in those before it.
///
/// ```
/// use packdrift_numerics::sobol::Scrambling;
/// // ∫ x·y over the unit square is 1/4; 256 plain random points would be out by about 0.014.
/// let points = Scrambling { seed: 7, purpose: "example", number: 0, log2_points: 8 };
/// let (mut x, mut y) = (vec![0.0; 256], vec![0.0; 256]);
/// points.fill(0, &mut x);
/// points.fill(1, &mut y);
/// let mean = x.iter().zip(&y).map(|(x, y)| x * y).sum::<f64>() / 256.0;
/// assert!((mean - 0.25).abs() < 5e-4);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scrambling<'a> {
    /// The user's seed.
    pub seed: u64,
    /// What the points are for; other purposes get independent points.
    pub purpose: &'a str,
    /// Which of the independent scramblings.
    pub number: u64,
    /// m; at most [`MAX_LOG2_POINTS`].
    pub log2_points: u32,
}

impl Scrambling<'_> {
    /// 2^m.
    pub fn points(&self) -> usize {
        1 << self.log2_points.min(MAX_LOG2_POINTS)
    }

    /// Writes a coordinate (counted from 0) of the points to `out`, in order of the points; each value lies in the open
    /// interval (0, 1). Fills the first 2^m places of `out`, or all of them where it is shorter.
    pub fn fill(&self, coordinate: usize, out: &mut [f64]) {
        let mut stream = Key::new(self.seed, &format!("sobol/{}/{coordinate}", self.purpose)).stream(self.number);
        let m = self.log2_points.min(MAX_LOG2_POINTS);
        let n = 1_usize << m;
        // `cell[s]` is where the cell s of the unscrambled sequence goes.
        let mut cell = vec![0_u32; n];
        let v = known_directions(coordinate);
        if v.is_some() {
            owen(&mut cell, m, &mut stream);
        } else {
            for (s, cell) in cell.iter_mut().enumerate() {
                *cell = s as u32;
            }
            for k in (1..n).rev() {
                // Lemire's multiply-shift; its bias is below 2⁻⁴⁰ for at most 2²⁴ points.
                let j = ((u128::from(stream.next_u64()) * (k as u128 + 1)) >> 64) as usize;
                cell.swap(k, j);
            }
        }
        // Below the m-th bit a point is alone in its cell, so its further bits are independent uniform ones.
        let mut within = vec![0.0; n];
        stream.fill_uniform(&mut within);
        let mut index = vec![0_u32; n];
        if let Some(v) = v {
            for (b, v) in v.iter().enumerate().take(m as usize) {
                let direction = v >> (BITS as u32 - m);
                let (done, rest) = index.split_at_mut(1 << b);
                for (next, before) in rest.iter_mut().zip(done) {
                    *next = *before ^ direction;
                }
            }
        } else {
            for (i, index) in index.iter_mut().enumerate() {
                *index = i as u32;
            }
        }
        let width = 1.0 / n as f64;
        for ((x, &s), &u) in out.iter_mut().zip(&index).zip(&within) {
            // Rounding must not carry a point onto the cube's face.
            *x = ((f64::from(cell[s as usize]) + u) * width).min(1.0 - f64::EPSILON / 2.0);
        }
    }

    /// As [`Scrambling::fill`], put through Φ⁻¹: a coordinate of points that are balanced under the standard normal distribution.
    pub fn fill_normal(&self, coordinate: usize, out: &mut [f64]) {
        self.fill(coordinate, out);
        let filled = out.len().min(self.points());
        crate::normal::quantiles(&mut out[..filled]);
    }
}

/// Nested uniform scrambling of the first m bits: at every node of the binary tree of cells the two halves change places or not,
/// by a fair coin of that node.
fn owen(cell: &mut [u32], m: u32, stream: &mut impl Rng) {
    // Cells of a level, 2^level of them, each become two; from the back, so that none is overwritten before it is read.
    let mut split = |s: usize, flip: u32| {
        let parent = cell[s] << 1;
        cell[2 * s] = parent | flip;
        cell[2 * s + 1] = parent | (flip ^ 1);
    };
    if m == 0 {
        return;
    }
    // The first six levels take 63 coins of one word.
    let mut coins = stream.next_u64();
    for level in 0..m.min(6) {
        for s in (0..1_usize << level).rev() {
            split(s, (coins & 1) as u32);
            coins >>= 1;
        }
    }
    // Beyond, 64 cells take the one that is left and 63 of the next word.
    for level in 6..m {
        for end in (1..=1_usize << (level - 6)).rev() {
            let next = stream.next_u64();
            let mut flips = coins | (next << 1);
            coins = next >> 63;
            for s in (64 * (end - 1)..64 * end).rev() {
                split(s, (flips & 1) as u32);
                flips >>= 1;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unscrambled(coordinate: usize, index: u32) -> u32 {
        let v = directions(coordinate).unwrap_or([0; BITS]);
        (0..32).filter(|b| (index >> b) & 1 == 1).fold(0, |x, b| x ^ v[b as usize])
    }

    /// scipy 1.17.1, `qmc.Sobol(1024, scramble=False, bits=32).random(64)`, times 2³²; scipy goes in the order of the Gray code.
    #[test]
    fn unscrambled_points_are_those_of_scipy() {
        let expected: [(u32, usize, u32); 12] = [
            (1, 0, 2147483648),
            (2, 1, 1073741824),
            (3, 2, 3221225472),
            (5, 4, 3758096384),
            (7, 17, 536870912),
            (13, 100, 805306368),
            (21, 255, 671088640),
            (33, 511, 1811939328),
            (50, 700, 2348810240),
            (63, 1023, 2214592512),
            (40, 999, 3825205248),
            (62, 12, 201326592),
        ];
        for (i, j, x) in expected {
            assert_eq!(unscrambled(j, i ^ (i >> 1)), x, "point {i}, coordinate {j}");
        }
        assert!(directions(DIMENSIONS).is_none());
        assert!((0..DIMENSIONS).all(|j| directions(j).is_some_and(|v| v[0] == 1 << 31)));
    }

    fn points(number: u64, log2_points: u32, coordinates: &[usize]) -> Vec<Vec<f64>> {
        let s = Scrambling { seed: 11, purpose: "test", number, log2_points };
        coordinates
            .iter()
            .map(|&k| {
                let mut x = vec![0.0; s.points()];
                s.fill(k, &mut x);
                x
            })
            .collect()
    }

    /// The definition of a digital net: the first two coordinates are a (0, m, 2)-net in base 2, so every elementary interval of
    /// area 2^−m holds exactly one point, scrambled or not.
    #[test]
    fn scrambling_keeps_the_net() {
        let m = 8_u32;
        let xy = points(3, m, &[0, 1]);
        for a in 0..=m {
            let b = m - a;
            let mut count = vec![0; 1 << m];
            for (x, y) in xy[0].iter().zip(&xy[1]) {
                let (i, j) = ((x * f64::from(1 << a)) as usize, (y * f64::from(1 << b)) as usize);
                count[(i << b) | j] += 1;
            }
            assert!(count.iter().all(|&c| c == 1), "intervals 2^-{a} by 2^-{b}");
        }
    }

    #[test]
    fn every_coordinate_is_balanced_also_beyond_the_table() {
        for x in points(0, 10, &[0, 77, 1023, 1024, 5000]) {
            let mut seen = vec![false; 1024];
            for x in x {
                assert!(x > 0.0 && x < 1.0);
                let k = (x * 1024.0) as usize;
                assert!(!seen[k]);
                seen[k] = true;
            }
        }
    }

    #[test]
    fn small_and_empty_nets() {
        assert_eq!(points(0, 0, &[0, 2000])[0].len(), 1);
        let mut short = [0.0; 3];
        Scrambling { seed: 1, purpose: "short", number: 0, log2_points: 4 }.fill(2, &mut short);
        assert!(short.iter().all(|x| *x > 0.0));
    }

    /// Owen (1997): for smooth integrands the root-mean-square error falls as n^−3/2 (times logarithms), so from 2⁶ to 2¹⁰ points by about
    /// 4⁻³ per factor 16 = 1/64; plain Monte Carlo would give 1/4. The integrand is Π (1 + (exp(xᵢ) − e + 1)/3) over 4 coordinates, whose
    /// integral is 1. Tolerance: half that gain, as the spread of 64 scramblings is known to about 9 %.
    #[test]
    fn error_falls_faster_than_monte_carlo_and_is_unbiased() {
        let spread = |m: u32| {
            let errors: Vec<f64> = (0..64)
                .map(|r| {
                    let x = points(r, m, &[0, 1, 2, 3]);
                    let n = 1 << m;
                    (0..n)
                        .map(|i| {
                            x.iter().map(|x| 1.0 + (x[i].exp() - std::f64::consts::E + 1.0) / 3.0).product::<f64>()
                        })
                        .sum::<f64>()
                        / f64::from(n as u32)
                        - 1.0
                })
                .collect();
            let rms = (errors.iter().map(|e| e * e).sum::<f64>() / 64.0).sqrt();
            let mean = errors.iter().sum::<f64>() / 64.0;
            assert!(mean.abs() < 4.0 * rms / 8.0, "bias {mean} at rms {rms}");
            rms
        };
        let (coarse, fine) = (spread(6), spread(10));
        assert!(coarse / fine > 32.0, "{coarse} -> {fine}");
    }

    #[test]
    fn scramblings_are_independent_and_repeatable() {
        assert_eq!(points(5, 6, &[3]), points(5, 6, &[3]));
        assert_ne!(points(5, 6, &[3]), points(6, 6, &[3]));
        // Marginal uniformity of one fixed point over scramblings: mean 1/2 within 4 standard errors of 1/√(12·2000).
        let mean = (0..2000).map(|r| points(r, 3, &[5])[0][6]).sum::<f64>() / 2000.0;
        assert!((mean - 0.5).abs() < 4.0 / (12.0_f64 * 2000.0).sqrt(), "{mean}");
    }
}
