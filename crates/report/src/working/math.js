// What the page reckons with: the program's own curve through points, and the normal distribution.
'use strict';
const reckon = (() => {
  /** Slope at the end of a shape-preserving cubic: the three-point formula, limited so that the first piece does not turn. */
  function endSlope(h0, h1, s0, s1) {
    const slope = ((2 * h0 + h1) * s0 - h0 * s1) / (h0 + h1);
    if (slope * s0 <= 0) return 0;
    return s0 * s1 <= 0 && Math.abs(slope) > 3 * Math.abs(s0) ? 3 * s0 : slope;
  }

  /** The shape-preserving cubic through rising x (F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300), as the program's own. */
  function cubic(x, y) {
    const n = x.length;
    const step = x.slice(1).map((v, k) => v - x[k]);
    const secant = step.map((h, k) => (y[k + 1] - y[k]) / h);
    const slope = x.map((_, k) => {
      if (n === 2) return secant[0];
      if (k === 0) return endSlope(step[0], step[1], secant[0], secant[1]);
      if (k === n - 1) return endSlope(step[n - 2], step[n - 3], secant[n - 2], secant[n - 3]);
      const [a, b] = [secant[k - 1], secant[k]];
      if (a * b <= 0) return 0;
      const [left, right] = [2 * step[k] + step[k - 1], step[k] + 2 * step[k - 1]];
      return (left + right) / (left / a + right / b);
    });
    return (at) => {
      let [low, high] = [0, n - 1];
      while (high - low > 1) {
        const middle = (low + high) >> 1;
        if (x[middle] <= at) low = middle;
        else high = middle;
      }
      const s = (at - x[low]) / step[low];
      const [m, w, rise] = [slope[low] * step[low], slope[high] * step[low], y[high] - y[low]];
      return y[low] + s * (m + s * (3 * rise - 2 * m - w + s * (m + w - 2 * rise)));
    };
  }

  /** Share of a standard normal below z: the series, and Laplace's fraction in the tails (Abramowitz and Stegun, 26.2.11 and 26.2.14). */
  function normal(z) {
    const density = Math.exp(-0.5 * z * z) / Math.sqrt(2 * Math.PI);
    if (Math.abs(z) < 4) {
      let [term, sum] = [z, z];
      for (let k = 3; Math.abs(term) > 1e-17 * Math.abs(sum); k += 2) sum += term *= (z * z) / k;
      // Below -2 the sum is so near a half that too few digits would be left.
      if (z > -2) return 0.5 + density * sum;
    }
    const far = Math.abs(z);
    let fraction = far;
    for (let k = 120; k > 0; k -= 1) fraction = far + k / fraction;
    return z < 0 ? density / fraction : 1 - density / fraction;
  }

  return { cubic, normal };
})();
