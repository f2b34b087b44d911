"""Special functions on grids, by mpmath at 50 digits (30 of them are good wherever a difference is taken), from their definitions.

Freezes tests/reference/special_mpmath.json, which crates/numerics/tests/special_functions.rs reads. Arguments are the doubles that the program
gets, exactly. A quantile's reference is that of the *rounded* order: x + (p rounded - p)/f(x), one Newton step from a point where p is known,
whose own error is of the second order in 1e-16.
Run: python tests/outside/special_mpmath.py [--check]
"""

import sys

from mpmath import mp, mpf, erfc, sqrt, exp, log, betainc, gammainc, gamma, loggamma, psi, si, besselk, beta, pi, inf

from freeze import freeze

mp.dps = 50


def d(x):
    """The double next to x, exactly."""
    return mpf(float(x))


def phi(z):
    return exp(-z * z / 2) / sqrt(2 * pi)


def below(z):
    return erfc(-z / sqrt(2)) / 2


def below_beta(a, b, x):
    """The regularised incomplete beta function. An upper tail is the lower one of the swapped function: mpmath would take a difference."""
    return betainc(a, b, 0, x, regularized=True)


# Each row: arguments, then the value or values. Arguments are texts: a reader of JSON may miss a double's last bit, which near 1 matters.
rows = {}


def row(name, arguments, *values):
    # What a double cannot hold with all its digits tells nothing about a function.
    if all(v == 0 or mpf("1e-290") < abs(v) < mpf("1e290") for v in values):
        rows.setdefault(name, []).append([[repr(float(a)) for a in arguments], [float(v) for v in values]])


def quantile(name, parameters, x, p, density):
    """The quantile of p's double, p = P(X <= x). Nearer to 1 the double is so far from p that one step is not enough."""
    order = d(p)
    if mpf("1e-290") < order < 1 - mpf("1e-7") and density != 0:
        row(name, [*parameters, order], x + (order - p) / density)


def normals():
    for k in range(-150, 151):
        z = d(mpf(k) / 4)
        row("normal::pdf", [z], phi(z))
        row("normal::cdf", [z], below(z))
        row("normal::sf", [z], below(-z))
        quantile("normal::quantile", [], z, below(z), phi(z))


def gammas():
    for k in range(-40, 81):
        a = d(mpf(10) ** (mpf(k) / 10))
        row("special::ln_gamma", [a], loggamma(a))
        row("special::digamma", [a], psi(0, a))
    for shape in ["0.05", "0.5", "1", "1.5", "4.5", "10", "49.5", "300", "2000"]:
        a = d(shape)
        points = [a * mpf(10) ** -k for k in (1, 3, 9)] + [a + k * sqrt(a) for k in range(-8, 31, 2)]
        for x in {d(x) for x in points if x > 0}:
            lower, upper = gammainc(a, 0, x, regularized=True), gammainc(a, x, inf, regularized=True)
            density = x ** (a - 1) * exp(-x) / gamma(a)
            row("special::gamma_tails", [a, x], lower, upper)
            row("special::chi_squared_tails", [2 * a, 2 * x], lower, upper)
            quantile("special::chi_squared_quantile", [2 * a], 2 * x, lower, density / 2)


def betas():
    shapes = ["0.5", "1", "2.5", "12", "80.5", "500"]
    for a in map(d, shapes):
        for b in map(d, shapes):
            mean, sd = a / (a + b), sqrt(a * b / (a + b + 1)) / (a + b)
            points = [mean / 1000, mean / 10] + [mean + k * sd for k in (-6, -3, -1, 0, 1, 3, 6)] + [1 - (1 - mean) / 100]
            for x in {d(x) for x in points if 0 < x < 1}:
                # The program is given 1 - x on its own; here it is the double next to it, and so is x's complement.
                lower, upper = below_beta(a, b, x), below_beta(b, a, 1 - x)
                density = x ** (a - 1) * (1 - x) ** (b - 1) / beta(a, b)
                # Only where 1 - x is a double are x and y complements in fact.
                if d(1 - x) == 1 - x:
                    row("special::beta_tails", [a, b, x, 1 - x], lower, upper)
                quantile("special::beta_quantile", [a, b], x, lower, density)
                f = d(b * x / (a * (1 - x)))
                y = a * f / (a * f + b)
                lower, upper = below_beta(a, b, y), below_beta(b, a, 1 - y)
                row("special::fisher_tails", [2 * a, 2 * b, f], lower, upper)
                slope = y ** (a - 1) * (1 - y) ** (b - 1) / beta(a, b) * a * b / (a * f + b) ** 2
                quantile("special::fisher_quantile", [2 * a, 2 * b], f, lower, slope)
    for n in (1, 5, 20, 125, 1000):
        for p in map(d, ["1e-6", "0.001", "0.03", "0.3", "0.9"]):
            for k in sorted({0, 1, n // 50, n // 10, n // 2, n - 1}):
                if k < n:
                    row("special::binomial_tails", [n, p, k], below_beta(n - k, k + 1, 1 - p), below_beta(k + 1, n - k, p))


def students():
    for nu in map(d, ["0.7", "1", "2", "3", "4.5", "9", "30", "100", "1000"]):
        for size in ["1e-8", "1e-3", "0.1", "0.5", "1", "2", "3.5", "6", "12", "50", "1e4", "1e8"]:
            for t in (d(size), -d(size)):
                far = below_beta(nu / 2, mpf(1) / 2, nu / (nu + t * t)) / 2
                lower, upper = (far, 1 - far) if t < 0 else (1 - far, far)
                density = gamma((nu + 1) / 2) / gamma(nu / 2) / sqrt(nu * pi) * (1 + t * t / nu) ** (-(nu + 1) / 2)
                row("special::student_t_tails", [nu, t], lower, upper)
                quantile("special::student_t_quantile", [nu], t, lower, density)
        for size in ["1e-6", "0.01", "0.3", "1", "2.5", "6", "12"]:
            t = d(size)
            x, mu = sqrt(nu) * t, nu / 2
            row("transcendental::student_t_characteristic", [nu, t], 2 * (x / 2) ** mu * besselk(mu, x) / gamma(mu))
    for k in range(-12, 25):
        x = d(mpf(10) ** (mpf(k) / 6))
        row("transcendental::sine_integral", [x], si(x))


def over_the_line(f, centre, width):
    """The integrals over the whole line of functions that f gives together, analytic and falling off on both sides: the trapezoidal rule, its
    step halved until 18 digits of each stand (it converges so fast that the last step has twice as many)."""
    h, last = width / 2, None
    while True:
        sums = list(f(centre))
        for direction in (h, -h):
            y = centre
            while True:
                y += direction
                terms = f(y)
                sums = [a + b for a, b in zip(sums, terms)]
                if all(b <= a * mpf("1e-22") for a, b in zip(sums, terms)) and abs(y - centre) > 3 * width:
                    break
        found = [h * s for s in sums]
        if last and all(abs(a - b) <= abs(a) * mpf("1e-18") for a, b in zip(found, last)):
            return found
        h, last = h / 2, found


def noncentral():
    mp.dps = 30
    for nu in map(d, ["2", "9", "199"]):
        ln_scale = log(2) + nu / 2 * log(nu / 2) - loggamma(nu / 2)
        for delta in map(d, ["0", "0.8", "7"]):
            for z in ("-5", "-2", "-0.5", "1", "6"):
                t = d(delta + mpf(z) * sqrt(1 + delta * delta / (2 * nu)))

                def terms(y):
                    """With x = e^y: both tails, the density, and how fast the lower tail falls with the noncentrality."""
                    x = exp(y)
                    weight, at = exp(ln_scale + nu * y - nu * x * x / 2), t * x - delta
                    steep = phi(at) * weight
                    return below(at) * weight, below(-at) * weight, x * steep, steep

                lower, upper, density, falls = over_the_line(terms, mpf(0), 1 / sqrt(2 * nu + delta * delta))
                row("special::noncentral_t_tails", [nu, delta, t], lower, upper)
                quantile("special::noncentral_t_quantile", [nu, delta], t, lower, density)
                order = d(lower)
                if mpf("1e-12") < order < 1 - mpf("1e-12") and delta > 0:
                    row("special::noncentral_t_noncentrality", [nu, t, order], delta - (order - lower) / falls)


def main():
    normals()
    gammas()
    betas()
    students()
    noncentral()
    # Sets have no order.
    freeze("special_mpmath", {name: sorted(of) for name, of in rows.items()}, 1e-15, 0.0, "--check" in sys.argv)


main()
