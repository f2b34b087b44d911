//! The largest value of a function over a box, where it is monotone in most axes and bent in few, as packs are.
//!
//! 1. Along each axis, through a few points of the box, is the function monotone? Those axes go to their better end.
//! 2. From several starts (the ends that the slopes point to, and their opposites; corners and scattered points in the bent axes) the
//!    point climbs: each axis in turn to its ends or, where it is bent, to the best of a grid, refined by golden section; then a pattern
//!    search over the bent axes together, whose steps halve to 10⁻¹² of the box.
//! 3. Check: all corners of the bent axes (up to 2⁸), the ends of every axis, and scattered points of the whole box must not be better.
//!    One that is becomes a new start.
//!
//! That is no proof for an arbitrary function. It finds every extreme of a function of one linear combination (both ends are starts), of
//! anything monotone, and of what is bent in a few axes on the scale of the box, which is what the laws of a pack are.

/// Rounds of checking and climbing again.
const ROUNDS: usize = 6;

/// Scattered points of the check.
const SCATTERED: u32 = 192;

type Objective<'a> = dyn Fn(&[f64]) -> Option<f64> + 'a;

/// The largest value and where it is; None where the function has no value at any point looked at.
pub(super) fn maximise(axes: &[(f64, f64)], f: &Objective<'_>) -> Option<(f64, Vec<f64>)> {
    let free: Vec<usize> = (0..axes.len()).filter(|&i| axes[i].0 < axes[i].1).collect();
    let centre: Vec<f64> = axes.iter().map(|(a, b)| 0.5 * (a + b)).collect();
    if free.is_empty() {
        return f(&centre).map(|value| (value, centre));
    }
    let bent = bent_axes(axes, &free, &centre, f);
    let mut best: Option<(f64, Vec<f64>)> = None;
    for start in starts(axes, &free, &bent, &centre, f) {
        keep_better(&mut best, climb(axes, &free, &bent, start, f));
    }
    for _ in 0..ROUNDS {
        let better = checks(axes, &free, &bent, &centre, best.as_ref())
            .filter_map(|v| f(&v).map(|value| (value, v)))
            .filter(|(value, _)| best.as_ref().is_none_or(|(most, _)| exceeds(*value, *most)))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, v)) = better else { break };
        keep_better(&mut best, climb(axes, &free, &bent, v, f));
    }
    best
}

/// Larger by more than rounding.
fn exceeds(value: f64, most: f64) -> bool {
    value > most + 1e-13 * most.abs().max(value.abs())
}

fn keep_better(best: &mut Option<(f64, Vec<f64>)>, candidate: Option<(f64, Vec<f64>)>) {
    if let Some((value, v)) = candidate
        && best.as_ref().is_none_or(|(most, _)| value > *most)
    {
        *best = Some((value, v));
    }
}

/// k-th point of a Halton-like sequence on the golden ratio's generalisation (M. Roberts), for one axis.
fn scattered(k: u32, axis: usize) -> f64 {
    let step = (0.618_033_988_749_894_9 * (axis as f64 + 1.0).sqrt()).fract();
    (0.5 + f64::from(k) * step + 0.754_877_666_246_692_7 * axis as f64).fract()
}

fn scattered_point(axes: &[(f64, f64)], k: u32) -> Vec<f64> {
    axes.iter().enumerate().map(|(axis, (a, b))| a + (b - a) * scattered(k, axis)).collect()
}

/// Axes along which the function is not monotone, seen through three points.
fn bent_axes(axes: &[(f64, f64)], free: &[usize], centre: &[f64], f: &Objective<'_>) -> Vec<usize> {
    let mut bases = vec![centre.to_vec()];
    // Hundreds of axes are solids of a long pack: the centre alone tells.
    if free.len() <= 200 {
        bases.extend([scattered_point(axes, 3), scattered_point(axes, 11)]);
    }
    let is_bent = |&axis: &usize| {
        let mut rises = false;
        let mut falls = false;
        for base in &bases {
            let mut v = base.clone();
            let (a, b) = axes[axis];
            let values: Vec<Option<f64>> = (0..5)
                .map(|k| {
                    v[axis] = a + (b - a) * f64::from(k) / 4.0;
                    f(&v)
                })
                .collect();
            for pair in values.windows(2) {
                match (pair[0], pair[1]) {
                    (Some(x), Some(y)) => {
                        rises |= exceeds(y, x);
                        falls |= exceeds(x, y);
                    }
                    (None, None) => {}
                    _ => return true,
                }
            }
        }
        rises && falls
    };
    free.iter().copied().filter(is_bent).collect()
}

fn starts(axes: &[(f64, f64)], free: &[usize], bent: &[usize], centre: &[f64], f: &Objective<'_>) -> Vec<Vec<f64>> {
    // The ends that the slopes at the centre point to, and the opposite ones.
    let (mut up, mut down) = (centre.to_vec(), centre.to_vec());
    for &axis in free {
        let (a, b) = axes[axis];
        let mut v = centre.to_vec();
        let mut at = |x: f64| {
            v[axis] = x;
            f(&v)
        };
        let quarter = 0.25 * (b - a);
        let rises = match (at(centre[axis] - quarter), at(centre[axis] + quarter)) {
            (Some(low), Some(high)) => high >= low,
            (low, _) => low.is_none(),
        };
        (up[axis], down[axis]) = if rises { (b, a) } else { (a, b) };
    }
    let mut starts = vec![up.clone()];
    if bent.is_empty() {
        return starts;
    }
    starts.push(down);
    let mut with = |place: &dyn Fn(usize, usize) -> f64| {
        let mut v = up.clone();
        for (k, &axis) in bent.iter().enumerate() {
            let (a, b) = axes[axis];
            v[axis] = a + (b - a) * place(k, axis);
        }
        starts.push(v);
    };
    with(&|_, _| 0.5);
    if bent.len() <= 4 {
        for corner in 0..1_usize << bent.len() {
            with(&|k, _| ((corner >> k) & 1) as f64);
        }
    }
    for k in 0..6 {
        with(&|_, axis| scattered(k * 7 + 1, axis));
    }
    starts
}

/// Points that must not be better than the best.
fn checks<'a>(
    axes: &'a [(f64, f64)],
    free: &'a [usize],
    bent: &'a [usize],
    centre: &'a [f64],
    best: Option<&(f64, Vec<f64>)>,
) -> impl Iterator<Item = Vec<f64>> + 'a {
    let base = best.map_or_else(|| centre.to_vec(), |(_, v)| v.clone());
    let corners = if bent.len() <= 8 { 1_usize << bent.len() } else { 0 };
    let of_corners = {
        let base = base.clone();
        (0..corners).map(move |corner| {
            let mut v = base.clone();
            for (k, &axis) in bent.iter().enumerate() {
                v[axis] = if (corner >> k) & 1 == 0 { axes[axis].0 } else { axes[axis].1 };
            }
            v
        })
    };
    let of_ends = free.iter().flat_map(move |&axis| {
        let (a, b) = axes[axis];
        let elsewhere = [a, b].into_iter().filter(|end| *end != base[axis]);
        let points: Vec<Vec<f64>> = elsewhere
            .map(|end| {
                let mut v = base.clone();
                v[axis] = end;
                v
            })
            .collect();
        points
    });
    // Scattered points, and the corners of the box nearest to them.
    let of_box = (0..SCATTERED).flat_map(move |k| {
        let point = scattered_point(axes, k);
        let corner = point.iter().zip(axes).map(|(&x, &(a, b))| if x < 0.5 * (a + b) { a } else { b }).collect();
        [point, corner]
    });
    of_corners.chain(of_ends).chain(of_box)
}

/// Uphill from a start, axis by axis, then by pattern search in the bent axes.
fn climb(
    axes: &[(f64, f64)],
    free: &[usize],
    bent: &[usize],
    mut v: Vec<f64>,
    f: &Objective<'_>,
) -> Option<(f64, Vec<f64>)> {
    let mut most = f(&v);
    for _ in 0..20 {
        let before = most;
        for &axis in free {
            let (a, b) = axes[axis];
            let here = v[axis];
            let (mut place, mut best) = (here, most);
            let mut consider = |x: f64| {
                // Where it stands it is no better than itself.
                if x == here {
                    return;
                }
                v[axis] = x;
                let value = f(&v);
                if better(value, best) {
                    (place, best) = (x, value);
                }
            };
            consider(a);
            consider(b);
            if bent.contains(&axis) {
                for k in 1..8 {
                    consider(a + (b - a) * f64::from(k) / 8.0);
                }
            }
            v[axis] = place;
            most = best;
            if bent.contains(&axis) && place > a && place < b {
                golden(axes[axis], &mut v, axis, &mut most, f);
            }
        }
        if !better(most, before) {
            break;
        }
    }
    pattern(axes, bent, &mut v, &mut most, f);
    most.map(|value| (value, v))
}

fn better(value: Option<f64>, than: Option<f64>) -> bool {
    match (value, than) {
        (Some(value), Some(than)) => exceeds(value, than),
        (Some(_), None) => true,
        (None, _) => false,
    }
}

/// Golden-section search within an eighth of the axis on either side.
fn golden((a, b): (f64, f64), v: &mut [f64], axis: usize, most: &mut Option<f64>, f: &Objective<'_>) {
    const RATIO: f64 = 0.618_033_988_749_894_9;
    let start = v[axis];
    let (mut low, mut high) = ((start - (b - a) / 8.0).max(a), (start + (b - a) / 8.0).min(b));
    let mut at = |x: f64| {
        v[axis] = x;
        f(v).unwrap_or(f64::NEG_INFINITY)
    };
    let (mut left, mut right) = (high - RATIO * (high - low), low + RATIO * (high - low));
    let (mut at_left, mut at_right) = (at(left), at(right));
    while high - low > 1e-9 * (b - a) {
        if at_left > at_right {
            (high, right, at_right) = (right, left, at_left);
            left = high - RATIO * (high - low);
            at_left = at(left);
        } else {
            (low, left, at_left) = (left, right, at_right);
            right = low + RATIO * (high - low);
            at_right = at(right);
        }
    }
    let place = 0.5 * (low + high);
    let value = at(place);
    if most.is_none_or(|most| value > most) && value.is_finite() {
        *most = Some(value);
        v[axis] = place;
    } else {
        v[axis] = start;
    }
}

/// Steps of ± one size along each bent axis while any is better, else half the size.
fn pattern(axes: &[(f64, f64)], bent: &[usize], v: &mut [f64], most: &mut Option<f64>, f: &Objective<'_>) {
    let mut size = 1.0 / 16.0;
    while size > 1e-12 && !bent.is_empty() {
        let mut moved = false;
        for &axis in bent {
            let (a, b) = axes[axis];
            for sign in [1.0, -1.0] {
                let here = v[axis];
                v[axis] = (here + sign * size * (b - a)).clamp(a, b);
                let value = f(v);
                if better(value, *most) {
                    *most = value;
                    moved = true;
                    break;
                }
                v[axis] = here;
            }
        }
        if !moved {
            size *= 0.5;
        }
    }
}
