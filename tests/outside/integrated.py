"""The integrated wear model from its definition, with dense matrices: kernel, leave-one-out, priors, and whole posteriors by brute force.

Freezes tests/reference/integrated.json, which crates/trend reads in its tests. Nothing here is reduced, filtered or updated by rank one: the
covariance of all readings is written out and inverted, a reading is left out by leaving it out, posteriors are integrated over half a
million points of the prior.
Run: python tests/outside/integrated.py [--check]
"""

import sys

import numpy as np
from scipy import optimize, stats
from scipy.stats import qmc

from freeze import freeze

ORDER = ["power", "growth", "wander", "reading", "slope", "start", "correlation", "engine", "kept", "visit"]


def fleet():
    """Two groups, three engines, re-shims, repeats within visits, schedules of their own. Hours, mm."""
    rng = np.random.Generator(np.random.PCG64(5))
    histories = []

    def add(engine, parts, group, current, age, hours, repeats):
        level, slope = rng.normal(1.0, 0.05), rng.normal([6e-5, -4e-5][group], 1.5e-5)
        rows = []
        for visit, (h, m) in enumerate(zip(hours, repeats)):
            common = rng.normal(0, 0.006)
            rows += [[float(h), round(level + slope * h + common + rng.normal(0, 0.02), 4), visit] for _ in range(m)]
        histories.append({"engine": engine, "parts": parts, "group": group, "current": current, "age": float(age), "rows": rows})

    add(0, 0, 0, False, 0, [0, 900, 2100], [1, 2, 1])
    add(0, 0, 0, True, 2100, [0, 700, 1500, 2600], [1, 1, 2, 1])
    add(0, 1, 1, True, 0, [0, 900, 2100, 2800, 3600, 4700], [1, 1, 1, 1, 3, 1])
    add(1, 2, 0, True, 0, [0, 1500, 3200], [1, 1, 2])
    add(1, 3, 1, False, 0, [0, 1500], [2, 1])
    add(1, 3, 1, True, 1500, [0, 1700, 2500], [1, 1, 1])
    add(2, 4, 0, True, 0, [0, 1100, 2300, 3900, 5200], [1, 2, 2, 1, 1])
    add(2, 5, 1, True, 300, [0], [2])
    histories[2]["rows"][4][1] = 2.9  # a slipped digit
    return histories


def grown(s, p, k):
    """The clock at s = hours over T; 1 at 1 for every power and growth."""
    if np.isscalar(k) and k == 0:
        return s**p
    return np.expm1(np.minimum(k * s**p, 60.0)) / np.expm1(k)


class Dense:
    """All readings of a fleet as one vector."""

    def __init__(self, histories):
        self.h = histories
        self.case = np.array([i for i, h in enumerate(histories) for _ in h["rows"]])
        self.hours = np.array([r[0] for h in histories for r in h["rows"]])
        self.y = np.array([r[1] for h in histories for r in h["rows"]])
        self.visit = np.array([r[2] for h in histories for r in h["rows"]])
        key = lambda name: np.array([histories[i][name] for i in self.case])
        self.engine, self.parts, self.group, self.age = key("engine"), key("parts"), key("group"), key("age")
        self.groups = max(h["group"] for h in histories) + 1
        long = [h for h in histories if h["rows"][-1][0] > 0]
        self.T = float(np.median([h["rows"][-1][0] - h["rows"][0][0] for h in long]))
        # An engine's slope moves each group in proportion to the median slope of its histories.
        rate = lambda h: (h["rows"][-1][1] - h["rows"][0][1]) / (h["rows"][-1][0] - h["rows"][0][0])
        middle = np.array([np.median([rate(h) for h in long if h["group"] == g]) for g in range(self.groups)])
        count = np.array([sum(h["group"] == g for h in long) for g in range(self.groups)])
        self.share = middle / np.sqrt((count * middle**2).sum() / count.sum()) if self.groups > 1 else np.ones(1)

    def clock(self, hours, age, t):
        """A power of the hours, and growth upon it: exp(k·u) − 1 over exp(k) − 1."""
        return self.T * (grown((age + hours) / self.T, t["power"], t["growth"]) - grown(age / self.T, t["power"], t["growth"]))

    def design(self, x, group):
        out = np.zeros((len(x), 2 * self.groups))
        out[np.arange(len(x)), 2 * group] = 1
        out[np.arange(len(x)), 2 * group + 1] = x
        return out

    def true_cov(self, t, a, b):
        """Covariance of true values: a, b are tuples (case, engine, parts, group, x) of arrays."""
        (ca, ea, pa, ga, xa), (cb, eb, pb, gb, xb) = a, b
        same = ca[:, None] == cb[None, :]
        xx, x0, x1 = xa[:, None] * xb[None, :], xa[:, None], xb[None, :]
        own = t["start"] ** 2 + t["correlation"] * t["start"] * t["slope"] * (x0 + x1) + t["slope"] ** 2 * xx
        out = np.where(same, own + t["wander"] ** 2 * np.minimum(x0, x1), 0.0)
        parts = (ea[:, None] == eb[None, :]) & (pa[:, None] == pb[None, :])
        out = out + np.where(parts, t["kept"] ** 2 * xx, 0.0)
        shares = self.share[ga][:, None] * self.share[gb][None, :]
        return out + np.where(ea[:, None] == eb[None, :], t["engine"] ** 2 * shares * xx, 0.0)

    def places(self, t, which=slice(None)):
        x = self.clock(self.hours, self.age, t)
        return tuple(v[which] for v in (self.case, self.engine, self.parts, self.group, x))

    def fit(self, t, keep):
        at = self.places(t, keep)
        v = self.true_cov(t, at, at)
        same_visit = (at[0][:, None] == at[0][None, :]) & (self.visit[keep][:, None] == self.visit[keep][None, :])
        v = v + np.where(same_visit, t["visit"] ** 2, 0.0) + t["reading"] ** 2 * np.eye(len(v))
        x, y = self.design(at[4], at[3]), self.y[keep]
        vi = np.linalg.inv(v)
        f = x.T @ vi @ x
        beta = np.linalg.solve(f, x.T @ vi @ y)
        r = y - x @ beta
        ll = -0.5 * (np.linalg.slogdet(v)[1] + np.linalg.slogdet(f)[1] + r @ vi @ r)
        return {"at": at, "x": x, "vi": vi, "c": np.linalg.inv(f), "beta": beta, "r": r, "ll": ll, "keep": keep}

    def predict(self, t, fit, a, k, prior):
        """Mean and covariance of linear forms of the truth: a (rows in β), k (covariance with the readings), prior covariance."""
        mean = a @ fit["beta"] + k @ fit["vi"] @ fit["r"]
        d = a - k @ fit["vi"] @ fit["x"]
        return mean, prior - k @ fit["vi"] @ k.T + d @ fit["c"] @ d.T

    def line_now(self, t, fit, i):
        """(level at the last visit, slope over the clock) of history i."""
        h = self.h[i]
        one = lambda v: np.array([v])
        x = self.clock(h["rows"][-1][0], h["age"], t)
        at = (one(i), one(h["engine"]), one(h["parts"]), one(h["group"]), one(x))
        level = self.true_cov(t, at, fit["at"])
        # The slope is what the line, without the wander, rises by in T hours, over T.
        still = {**t, "wander": 0.0}
        far = tuple(list(at[:4]) + [at[4] + self.T])
        slope = (self.true_cov(still, far, fit["at"]) - self.true_cov(still, at, fit["at"])) / self.T
        a = np.vstack([self.design(at[4], at[3]), (self.design(far[4], at[3]) - self.design(at[4], at[3])) / self.T])
        p00 = self.true_cov(t, at, at)[0, 0]
        q00, q01, q11 = (self.true_cov(still, u, w)[0, 0] for u, w in [(at, at), (at, far), (far, far)])
        prior = np.array([[p00, (q01 - q00) / self.T], [(q01 - q00) / self.T, (q11 - 2 * q01 + q00) / self.T**2]])
        return self.predict(t, fit, a, np.vstack([level, slope]), prior)

    def seen(self, t, fit, i):
        """The true value of history i at its visits: means and variances."""
        h = self.h[i]
        hours = np.array(sorted({r[0] for r in h["rows"]}))
        many = lambda v: np.full(len(hours), v)
        at = (many(i), many(h["engine"]), many(h["parts"]), many(h["group"]), self.clock(hours, h["age"], t))
        mean, cov = self.predict(t, fit, self.design(at[4], at[3]), self.true_cov(t, at, fit["at"]), self.true_cov(t, at, at))
        return [[float(m), float(v)] for m, v in zip(mean, np.diag(cov))]

    def unread(self, t, fit, g):
        """A history of a group on an engine and with parts of their own: start and slope, with their covariance."""
        c = fit["c"][2 * g:2 * g + 2, 2 * g:2 * g + 2]
        cross = t["correlation"] * t["start"] * t["slope"]
        own = [[t["start"] ** 2, cross], [cross, t["slope"] ** 2 + t["kept"] ** 2 + (self.share[g] * t["engine"]) ** 2]]
        v = c + np.array(own)
        return [*map(float, fit["beta"][2 * g:2 * g + 2]), float(v[0, 0]), float(v[0, 1]), float(v[1, 1])]

    def foretold(self, t, keep, k):
        """How the kept readings but k foretell reading k: (miss, variance)."""
        rest = keep.copy()
        rest[k] = False
        fit = self.fit(t, rest)
        at = self.places(t, [k])
        cov = self.true_cov(t, at, fit["at"])
        cov = cov + np.where((fit["at"][0] == at[0]) & (self.visit[rest] == self.visit[k]), t["visit"] ** 2, 0.0)
        prior = self.true_cov(t, at, at) + t["visit"] ** 2
        mean, var = self.predict(t, fit, self.design(at[4], at[3]), cov, prior)
        return self.y[k] - mean[0], var[0, 0] + t["reading"] ** 2


GROWTH, GROWTH_RANGE = 0.3, (-1.0, 20.0)


def ln_prior(t, A, T, s0, width, cuts, names):
    """In the coordinates ln sd, atanh correlation, power, growth."""
    out = 0.0
    scale = {"start": A, "slope": A / T, "engine": A / T, "kept": A / T, "wander": 0.75 * A / np.sqrt(T), "visit": s0}
    for name in names:
        if name == "power":
            out += stats.truncnorm((0.2 - 1) / 0.4, (2.5 - 1) / 0.4, 1, 0.4).logpdf(t[name])
        elif name == "growth":
            d, g = stats.t(4, 0, GROWTH), np.asarray(t[name])
            out += np.where((g < GROWTH_RANGE[0]) | (g > GROWTH_RANGE[1]), -np.inf, d.logpdf(g) - np.log(np.diff(d.cdf(GROWTH_RANGE))[0]))
        elif name == "reading":
            z, (lo, hi) = np.log(t[name]), np.log(cuts)
            d = stats.t(4, np.log(s0), width)
            out += d.logpdf(z) - np.log(d.cdf(hi) - d.cdf(lo))
        elif name == "correlation":
            rho = t[name]
            out += np.log(0.75 * (1 - rho**2) * (1 - rho**2))
        else:
            out += np.log(2) + stats.t(4, 0, scale[name]).logpdf(t[name]) + np.log(t[name])
    return out


def kernel():
    d = Dense(fleet())
    whole = np.ones(len(d.y), bool)
    slipped = int(np.argmax(d.y))
    without = whole.copy()
    without[slipped] = False
    points = [
        dict(power=1.0, growth=0.2, wander=4e-4, reading=0.02, slope=1.5e-5, start=0.05, correlation=0.2, engine=5e-6, kept=8e-6, visit=0.006),
        dict(power=0.6, growth=1.1, wander=1e-5, reading=0.011, slope=3e-5, start=0.02, correlation=-0.7, engine=2e-5, kept=1e-6, visit=0.02),
        dict(power=1.9, growth=-0.4, wander=1.3e-3, reading=0.05, slope=2e-6, start=0.12, correlation=0.5, engine=1e-7, kept=3e-5, visit=0.001),
        dict(power=1.3, growth=0.5, wander=7e-4, reading=0.004, slope=8e-6, start=0.3, correlation=-0.1, engine=9e-6, kept=9e-6, visit=0.004),
    ]
    A, s0, cuts = 0.06, 0.02, (0.001 / np.sqrt(12), 1.2)
    out = []
    for t in points:
        for keep in (whole, without):
            fit = d.fit(t, keep)
            now = [d.line_now(t, fit, i) for i, h in enumerate(d.h) if h["current"]]
            foretold = [d.foretold(t, keep, k) for k in range(len(d.y))]
            out.append({
                "theta": t, "left_out": -1 if keep[slipped] else slipped, "ln_likelihood": fit["ll"],
                "beta": fit["beta"].tolist(), "beta_cov": np.asarray(fit["c"]).tolist(),
                "now": [[*m, c[0, 0], c[0, 1], c[1, 1]] for m, c in now],
                "seen": [d.seen(t, fit, i) for i, h in enumerate(d.h) if h["current"]],
                "unread": [d.unread(t, fit, g) for g in range(d.groups)],
                "foretold": [[float(e), float(v)] for e, v in foretold],
                "ln_prior": ln_prior(t, A, d.T, s0, 0.7, cuts, ORDER),
            })
    return {"histories": d.h, "T": d.T, "A": A, "s0": s0, "step": 0.001, "share": d.share.tolist(), "points": out}


# Whole posteriors by brute force.

PI, TAU = 0.02, 50.0


def from_prior(names, u, A, T, s0, width, cuts):
    """Coordinates (ln sd, atanh correlation, power, growth) at shares u of the prior."""
    out = np.empty_like(u)
    for k, (name, col) in enumerate(zip(names, u.T)):
        if name == "power":
            out[:, k] = stats.truncnorm((0.2 - 1) / 0.4, (2.5 - 1) / 0.4, 1, 0.4).ppf(col)
        elif name == "reading":
            d = stats.t(4, np.log(s0), width)
            lo, hi = d.cdf(np.log(cuts[0])), d.cdf(np.log(cuts[1]))
            out[:, k] = d.ppf(lo + col * (hi - lo))
        elif name == "growth":
            d = stats.t(4, 0, GROWTH)
            lo, hi = d.cdf(GROWTH_RANGE)
            out[:, k] = d.ppf(lo + col * (hi - lo))
        elif name == "correlation":
            out[:, k] = np.arctanh(2 * stats.beta(2, 2).ppf(col) - 1)  # ¾(1 − ρ²) is a beta distribution
        else:
            scale = {"start": A, "slope": A / T, "wander": 0.75 * A / np.sqrt(T)}[name]
            out[:, k] = np.log(np.abs(stats.t(4, 0, scale).ppf(0.5 + 0.5 * col)))
    return out


def parameters(names, z):
    t = {k: np.zeros(len(z)) for k in ORDER} | {"power": np.ones(len(z))}
    for k, name in enumerate(names):
        t[name] = z[:, k] if name in ("power", "growth") else np.tanh(z[:, k]) if name == "correlation" else np.exp(z[:, k])
    return t


def batch(t, hours, y, T, valves, keep):
    """Valves read at the same hours, all parameters at once: ln-likelihood, and per valve (level, slope) with covariance. keep: mask of readings."""
    n = len(t["power"])
    x = T * grown(hours[None, :] / T, t["power"][:, None], t["growth"][:, None])
    m = len(hours)
    big = valves * m
    v = np.zeros((n, big, big))
    own = (t["start"] ** 2)[:, None, None] + (t["correlation"] * t["start"] * t["slope"])[:, None, None] * (x[:, :, None] + x[:, None, :])
    own = own + (t["slope"] ** 2)[:, None, None] * x[:, :, None] * x[:, None, :] + (t["wander"] ** 2)[:, None, None] * np.minimum(x[:, :, None], x[:, None, :])
    for k in range(valves):
        v[:, k * m:(k + 1) * m, k * m:(k + 1) * m] = own
    design = np.tile(np.stack([np.ones_like(x), x], 2), (1, valves, 1))
    level_cov = np.zeros((n, valves, 2, big))
    last = x[:, -1]
    for k in range(valves):
        level_cov[:, k, 0, k * m:(k + 1) * m] = own[:, -1, :]
        level_cov[:, k, 1, k * m:(k + 1) * m] = (t["correlation"] * t["start"] * t["slope"])[:, None] + (t["slope"] ** 2)[:, None] * x
    v = v + (t["reading"] ** 2)[:, None, None] * np.eye(big)
    v, design, level_cov, y = v[:, keep][:, :, keep], design[:, keep], level_cov[..., keep], y[keep]
    vi = np.linalg.inv(v)
    xt = design.transpose(0, 2, 1)
    f = xt @ vi @ design
    c = np.linalg.inv(f)
    beta = (c @ xt @ vi @ y[:, None])[..., 0]
    r = y[None] - (design @ beta[..., None])[..., 0]
    vr = (vi @ r[..., None])[..., 0]
    ll = -0.5 * (np.linalg.slogdet(v)[1] + np.linalg.slogdet(f)[1] + (r * vr).sum(1))
    a = np.zeros((n, 2, 2))
    a[:, 0, 0], a[:, 0, 1], a[:, 1, 1] = 1, last, 1
    kv = level_cov @ vi[:, None]
    mean = (a @ beta[..., None])[:, None, :, 0] + (kv @ r[:, None, :, None])[..., 0]
    d = a[:, None] - kv @ design[:, None]
    cross = (t["correlation"] * t["start"] * t["slope"]) + t["slope"] ** 2 * last
    prior = np.stack([np.stack([own[:, -1, -1], cross], 1), np.stack([cross, t["slope"] ** 2], 1)], 1)
    cov = prior[:, None] - kv @ level_cov.transpose(0, 1, 3, 2) + d @ c[:, None] @ d.transpose(0, 1, 3, 2)
    # Leaving one out by the projection matrix is checked against leaving it out in the kernel's part; here it only saves time.
    vx = vi @ design
    p = vi - vx @ c @ vx.transpose(0, 2, 1)
    py, pkk = p @ y, np.einsum("nii->ni", p)
    with np.errstate(all="ignore"):
        return ll, mean, cov, py / pkk, 1 / pkk


def crossed(level, slope, wander, zone, ahead):
    """First passage from a level with a slope, both known, to either limit (the farther one is out of reach)."""
    out = np.zeros_like(level)
    for limit, side in ((zone[0], -1), (zone[1], 1)):
        d, b = side * (limit - level), side * slope
        s = np.maximum(wander * np.sqrt(ahead), 1e-12)
        back = np.exp(np.minimum(2 * b * d / np.maximum(wander**2, 1e-24), 700.0) + stats.norm.logcdf(-(d + b * ahead) / s))
        out = out + np.where(d <= 0, 1.0, stats.norm.cdf((b * ahead - d) / s) + np.minimum(back, stats.norm.sf((b * ahead - d) / s)))
    return np.minimum(out, 1.0)


def ends(normals):
    """2.5 and 97.5 % of a weighted mixture of normals."""
    weight, mean, sd = (np.concatenate([n[k] for n in normals]) for k in range(3))
    weight = weight / weight.sum()
    share = lambda x: (weight * stats.norm.cdf(x, mean, sd)).sum()
    return [optimize.brentq(lambda x: share(x) - p, (mean - 9 * sd).min(), (mean + 9 * sd).max(), xtol=1e-14) for p in (0.025, 0.975)]


def posterior(name, hours, values, zone, s0, horizon, log2, seed):
    """Level, slope and chances of every valve, over the parameters and over which single reading is gross.

    Half of the points come from the prior, half from a t about what the first half found; both weighted against their mixture.
    """
    hours, values = np.array(hours, float), np.array(values, float)
    valves = len(values)
    T = hours[-1]
    A = max((zone[1] - zone[0]) / 2 / 10, s0)
    step = 0.001
    cuts = (max(step / np.sqrt(12), 1e-4 * s0), 20 * A)
    names = ["power", "growth", "wander", "reading"] + (["slope", "start", "correlation"] if valves > 1 else [])
    y, everything = values.ravel(), np.ones(values.size, bool)

    def target(z):
        t = parameters(names, z)
        with np.errstate(all="ignore"):
            prior = ln_prior(t, A, T, s0, 0.7, cuts, names)
        # Points that the prior gives e^-60 are nowhere, and there the arithmetic fails.
        held = np.flatnonzero(prior > np.nanmax(prior) - 60)
        t = {k: q[held] for k, q in t.items()}
        like, odds = np.full(len(z), -np.inf), np.zeros((len(z), values.size))
        with np.errstate(all="ignore"):
            ll, _, _, e, v = batch(t, hours, y, T, valves, everything)
            tau = np.sqrt((TAU * A) ** 2 + v)
            own = np.log(PI / (1 - PI)) + stats.cauchy.logpdf(e, 0, tau) - stats.norm.logpdf(e, 0, np.sqrt(v))
            odds[held] = np.exp(np.minimum(own, 300.0))
            like[held] = ll + np.log1p(odds[held].sum(1))
        return np.where(np.isfinite(prior), prior, -np.inf), np.where(np.isnan(like), -np.inf, like), odds

    n = 2**log2
    z = from_prior(names, qmc.Sobol(len(names), seed=seed).random(n), A, T, s0, 0.7, cuts)
    _, like, _ = target(z)
    power, like = 1.0, like - like.max()
    while (w := np.exp(power * like)).sum() ** 2 / (w**2).sum() < 150:
        power *= 0.8
    centre = np.average(z, 0, w)
    spread = np.cov(z.T, aweights=w) * 1.5
    u = qmc.Sobol(len(names) + 1, seed=seed + 1).random(n)
    z2 = centre + stats.norm.ppf(u[:, 1:]) @ np.linalg.cholesky(spread).T * np.sqrt(5 / stats.chi2(5).ppf(u[:, :1]))
    z = np.vstack([z, z2])
    prior, like, odds = target(z)
    proposal = np.logaddexp(prior, stats.multivariate_t(centre, spread, 5).logpdf(z)) - np.log(2)
    weight = np.where(np.isfinite(prior), prior + like - proposal, -np.inf)
    weight = np.exp(weight - weight.max())
    effective = weight.sum() ** 2 / (weight**2).sum()
    heavy = weight > 1e-7
    t = {k: q[heavy] for k, q in parameters(names, z).items()}
    weight, odds = weight[heavy] / weight[heavy].sum(), odds[heavy]
    share = np.column_stack([np.ones(len(weight)), odds]) / (1 + odds.sum(1))[:, None]
    x, w = np.polynomial.hermite_e.hermegauss(9)
    w = w / w.sum()
    sums = np.zeros((valves, 3))
    normals = [[[], []] for _ in range(valves)]
    for k in range(values.size + 1):
        part = weight * share[:, k]
        if part.sum() < 1e-5:
            continue
        keep = everything.copy()
        if k:
            keep[k - 1] = False
        _, mean, cov, _, _ = batch(t, hours, y, T, valves, keep)
        ahead = T * (grown((T + horizon) / T, t["power"], t["growth"]) - 1)
        rate = t["power"] * t["growth"] / -np.expm1(-t["growth"])
        for q in range(valves):
            m0, m1 = mean[:, q, 0], mean[:, q, 1]
            c = cov[:, q]
            l00 = np.sqrt(c[:, 0, 0])
            l10 = c[:, 1, 0] / l00
            l11 = np.sqrt(np.maximum(c[:, 1, 1] - l10**2, 0))
            chance = np.zeros(len(weight))
            for zi, wi in zip(x, w):
                for zj, wj in zip(x, w):
                    chance += wi * wj * crossed(m0 + l00 * zi, m1 + l10 * zi + l11 * zj, t["wander"], zone, ahead)
            sums[q] += [(part * term).sum() for term in (m0, m1 * rate, chance)]
            normals[q][0].append((part, m0, np.sqrt(c[:, 0, 0])))
            normals[q][1].append((part, m1 * rate, np.sqrt(c[:, 1, 1]) * rate))
    out = [{"level": s[0], "level_95": ends(n[0]), "slope": s[1], "slope_95": ends(n[1]), "chance": s[2]} for s, n in zip(sums, normals)]
    return {"name": name, "hours": hours.tolist(), "values": values.tolist(), "zone": zone, "s0": s0, "step": step, "horizon": horizon,
            "effective": effective, "power": float((weight * t["power"]).sum()), "gross": (weight[:, None] * share[:, 1:]).sum(0).tolist(), "valves": out}


def main():
    three = posterior("one valve, three readings", [0, 2500, 5500], [[0.99, 1.16, 1.41]], [0.4, 1.6], 0.02, 1500, 13, 1)
    odd = posterior("one valve, five readings, one of them odd", [0, 1500, 3000, 4500, 6000], [[1.01, 1.08, 1.34, 1.22, 1.31]],
                    [0.4, 1.6], 0.02, 3000, 13, 3)
    four = posterior("four valves, four readings", [0, 2000, 4000, 6000],
                     [[1.02, 1.13, 1.31, 1.45], [0.95, 1.10, 1.21, 1.38], [1.07, 1.20, 1.30, 1.41], [1.00, 1.19, 1.37, 1.52]],
                     [0.4, 1.6], 0.02, 1500, 12, 5)
    freeze("integrated", {"kernel": kernel(), "posteriors": [three, odd, four]}, relative=1e-5, absolute=1e-12, check="--check" in sys.argv)


if __name__ == "__main__":
    main()
