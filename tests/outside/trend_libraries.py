"""A made fleet fitted by statsmodels and by dense matrices with scipy; first passage by scipy; the sums query by SQLite.

Freezes tests/reference/trend_libraries.json, which crates/trend reads in its tests. The fleet itself stands in it.
Run: python tests/outside/trend_libraries.py [--check]
"""

import sqlite3
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf
from scipy import optimize, stats

from freeze import freeze


def fleet():
    """24 valves of two groups, 3 to 8 readings each at uneven hours, with wander; one re-shimmed on the way."""
    rng = np.random.Generator(np.random.PCG64(11))
    rows = []
    for v in range(24):
        start, slope = rng.normal(1.0, 0.05), rng.normal([4e-5, -2e-5][v % 2], 1.2e-5)
        hours, x = float(rng.integers(0, 300)), start
        for k in range(int(rng.integers(3, 9))):
            event = "reshim" if v % 7 == 3 and k == 3 else ("inspect" if k % 2 else "")
            if event == "reshim":
                x = rng.normal(1.0, 0.05)
            rows.append((f"E{v // 4}", f"{v % 4}", f"2024-{1 + k:02d}-01", round(hours), "contact_offset",
                         round(x + rng.normal(0, 0.02), 4), event, ["exhaust", "intake"][v % 2]))
            step = rng.uniform(400, 900)
            x += slope * step + rng.normal(0, 1.5e-3 * np.sqrt(step))
            hours += step
    return pd.DataFrame(rows, columns=["engine", "valve", "date", "hours", "feature", "value", "event", "group"])


def segments(table):
    """Segment number and hours since its start, row by row."""
    out = table.copy()
    number, origin, key = [], [], None
    for row in table.itertuples():
        if (row.engine, row.valve) != key:
            key, n, o = (row.engine, row.valve), 1, row.hours
        elif row.event not in ("", "inspect"):
            n, o = n + 1, row.hours
        number.append(n)
        origin.append(o)
    out["segment"], out["tau"] = number, table.hours - np.array(origin)
    out["unit"] = out.engine + "/" + out.valve + "/" + out.segment.astype(str)
    return out


def dense(table, wander):
    """REML by the definition: dense covariance, simplex and then BFGS; hours in thousands."""
    t, y = table.tau.to_numpy() / 1000, table.value.to_numpy()
    same = table.unit.to_numpy()[:, None] == table.unit.to_numpy()[None, :]
    g = (table.group == "intake").to_numpy(float)
    x = np.column_stack([1 - g, (1 - g) * t, g, g * t])

    def covariance(p):
        l = np.array([[p[0], 0], [p[1], p[2]]])
        z = np.column_stack([np.ones_like(t), t])
        v = z @ l @ l.T @ z.T + (p[4] ** 2 if wander else 0.0) * np.minimum(t[:, None], t[None, :])
        return np.where(same, v, 0.0) + p[3] ** 2 * np.eye(len(t))

    def deviance(p):
        v = covariance(p)
        sign, log_det = np.linalg.slogdet(v)
        vi = np.linalg.inv(v)
        xvx = x.T @ vi @ x
        beta = np.linalg.solve(xvx, x.T @ vi @ y)
        e = y - x @ beta
        return log_det + np.linalg.slogdet(xvx)[1] + e @ vi @ e + (len(y) - 4) * np.log(2 * np.pi)

    p = np.array([0.05, 0.0, 0.012, 0.02] + ([0.02] if wander else []))
    for _ in range(2):
        p = optimize.minimize(deviance, p, method="Nelder-Mead", options={"xatol": 1e-12, "fatol": 1e-13, "maxfev": 2500, "maxiter": 2500}).x
    v = covariance(p)
    vi = np.linalg.inv(v)
    c = np.linalg.inv(x.T @ vi @ x)
    beta = c @ x.T @ vi @ y
    # The first unit's level at its last reading, and its error.
    own = table.unit.to_numpy() == table.unit.iloc[0]
    now = t[own].max()
    l = np.array([[p[0], 0], [p[1], p[2]]])
    k = np.array([1, now]) @ l @ l.T @ np.column_stack([np.ones_like(t), t]).T
    k = np.where(own, k + (p[4] ** 2 if wander else 0.0) * np.minimum(t, now), 0.0)
    a = x[own][-1]
    level = a @ beta + k @ vi @ (y - x @ beta)
    prior = np.array([1, now]) @ l @ l.T @ np.array([1, now]) + (p[4] ** 2 * now if wander else 0.0)
    d = a - x.T @ vi @ k
    # X's raw hours, where we count in thousands: two slope columns.
    log_likelihood = -0.5 * (deviance(p) + 2 * 2 * np.log(1000.0))
    return {
        "log_likelihood": log_likelihood, "sd_intercept": abs(p[0]), "sd_slope": np.hypot(p[1], p[2]) / 1000,
        "sd_reading": abs(p[3]), "sd_wander": abs(p[4]) / np.sqrt(1000) if wander else 0.0,
        "beta": [beta[0], beta[1] / 1000, beta[2], beta[3] / 1000],
        "beta_se": [np.sqrt(c[0, 0]), np.sqrt(c[1, 1]) / 1000, np.sqrt(c[2, 2]), np.sqrt(c[3, 3]) / 1000],
        "level": level, "level_se": np.sqrt(prior - k @ vi @ k + d @ c @ d),
    }


def mixed(table):
    """The same model without wander by statsmodels' MixedLM."""
    data = table.assign(t=table.tau / 1000)
    fit = smf.mixedlm("value ~ 0 + group + group:t", data, groups="unit", re_formula="~t").fit(reml=True, method=["bfgs", "powell"])
    return {"intercept_exhaust": fit.fe_params["group[exhaust]"], "slope_exhaust": fit.fe_params["group[exhaust]:t"] / 1000,
            "sd_reading": float(np.sqrt(fit.scale)), "sd_intercept": float(np.sqrt(fit.cov_re.iloc[0, 0]))}


def by_sql(table):
    """The table of sums by the program's own query, in SQLite: names, segment and seven sums."""
    query = Path(__file__).parent.parent / "reference" / "trend_sums.sql"
    db = sqlite3.connect(":memory:")
    table.to_sql("inspections", db, index=False)
    rows = db.execute(query.read_text()).fetchall()
    return sorted([r[0], r[1], r[3], *map(float, r[4:])] for r in rows)


def main():
    table = fleet()
    cut = segments(table)
    passage = [[d, v, s, t, stats.invgauss.cdf(t, mu=s**2 / (v * d), scale=d**2 / s**2)]
               for d, v, s, t in [(1, 1, 1, 0.5), (0.6, 5e-5, 3e-3, 8000), (0.6, 5e-5, 3e-3, 14000), (0.2, 1e-4, 1e-3, 1500)]]
    values = {
        "fleet": table.to_numpy().tolist(), "random_slope": dense(cut, False), "wiener": dense(cut, True),
        "mixedlm": mixed(cut), "inverse_gaussian": passage, "sums": by_sql(table),
    }
    freeze("trend_libraries", values, relative=2e-5, absolute=1e-9, check="--check" in sys.argv)


if __name__ == "__main__":
    main()
