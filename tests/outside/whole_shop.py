"""A shop that fits every build from its drawer, simulated whole by numpy, for `allocate --fit-from` (crates/policy).

One rocker rests on a shim against the left face; to its right a linear spring washer and a flat washer. Every build is drawn, its offset read, every
permitted set of pieces tried (no search: all of them, for each build), the one of the best score fitted, read again, and fitted again where it
reads outside. The score is that of docs/policy.md: the product of the chances of offset and sum of being inside, less 0.01 for each piece
touched and 0.02 for each squared distance from the aims in half-widths; what is known is jointly normal and conditioned on the readings
(JCGM 102:2011, 6.2; the update is that of any textbook on linear estimation). No code is shared with the program.

Freezes tests/reference/whole_shop.json, which crates/policy/tests/shop.rs reads.
Run: python tests/outside/whole_shop.py [--check]
"""

import itertools
import sys

import numpy as np
from scipy.stats import norm

from freeze import freeze

BUILDS = 24_000
RATE, FREE, SPAN, WIDTH = 150.0, 3.0, 28.0, 24.0
SHIM, ADJUSTER, STEM, OUTER = 0.40, 11.0, 10.4, 1.0
PER_PART, CENTRING = 0.01, 0.02
# Scores nearer than this are a tie: which pieces are taken is then not determined (the program's aim of the sum is good to 1e-4 mm).
TIE = 1e-5


def sides(sizes):
    """What may become of a side: drawn piece kept or not, up to three pieces of the drawer."""
    sets = [s for n in range(4) for s in itertools.combinations_with_replacement(range(len(sizes)), n)]
    left = [(kept, s) for kept in (True, False) for s in sets]
    # The flat washer is stood for by a piece of at least half its thickness.
    right = [(kept, s) for kept in (True, False) for s in sets if kept or (s and max(sizes[k] for k in s) >= 0.5 * OUTER)]
    return left, right


def changed(a, b):
    """Pieces that one side has and the other has not."""
    lack = lambda x, y: sum(max(0, x.count(k) - y.count(k)) for k in set(x))
    return int(a[0] != b[0]) + lack(a[1], b[1]) + lack(b[1], a[1])


class Shop:
    def __init__(self, case):
        self.case = case
        self.sizes = np.array(case["sizes"])
        left, right = sides(case["sizes"])
        self.options = [(l, r) for l in left for r in right]
        self.left, self.right = np.array([left.index(l) for l, _ in self.options]), np.array([right.index(r) for _, r in self.options])
        self.lefts, self.rights = left, right
        total = lambda side, drawn: np.array([(drawn if kept else 0.0) + sum(case["sizes"][k] for k in s) for kept, s in side])
        self.sum_left, self.sum_right = total(left, SHIM)[self.left], total(right, OUTER)[self.right]
        spread = lambda side: np.array([sum(self.piece_variance(s.count(k)) for k in set(s)) for _, s in side])
        self.var_left, self.var_right = spread(left)[self.left], spread(right)[self.right]
        self.shim_kept = np.array([left[l][0] for l in self.left])
        low, high = self.preload = case["preload"]
        half = 0.5 * (high - low) / RATE
        squeeze = SHIM + WIDTH + OUTER + FREE - SPAN
        self.limits = np.array([[-case["half_width"], case["half_width"]], [low / RATE - squeeze, high / RATE - squeeze]])
        self.aims = np.array([0.0, 0.5 * (low + high) / RATE - squeeze])
        self.halves = np.array([case["half_width"], half])

    def piece_variance(self, count):
        """Of the sum of so many pieces of one size: the packet's deviation comes with each of them."""
        return (count * self.case["between"]) ** 2 + count * self.case["within"] ** 2

    def score(self, mean, variance, touched):
        chance, miss = 1.0, 0.0
        for j in range(2):
            sd = np.sqrt(np.maximum(variance[j], 1e-14))
            chance = chance * (norm.cdf((self.limits[j, 1] - mean[j]) / sd) - norm.cdf((self.limits[j, 0] - mean[j]) / sd))
            miss = miss + ((mean[j] - self.aims[j]) / self.halves[j]) ** 2
        return chance - PER_PART * touched - CENTRING * miss

    def best(self, scores):
        """The best option, and whether another one that takes other pieces is as good to what the program's own sums are good for."""
        pick = int(np.argmax(scores))
        pieces = lambda o: sorted(self.lefts[self.left[o]][1] + self.rights[self.right[o]][1])
        near = np.flatnonzero(scores > scores[pick] - TIE)
        return pick, any(pieces(o) != pieces(pick) for o in near)

    def run(self, rng):
        c = self.case
        s_shim, s_rest, u = c["shim"] / 3, np.hypot(c["adjuster"] / 3, c["stem"] / 3), c["u"]
        # Offset, squeeze and shim before and after one reading of the offset.
        prior = np.array([[s_shim**2 + s_rest**2, s_shim**2, s_shim**2], [s_shim**2] * 3, [s_shim**2] * 3])
        gain = prior[:, 0] / (prior[0, 0] + u**2)
        left_over = prior - np.outer(gain, prior[0])
        # Without the shim its deviation goes from both.
        take_out = np.array([[1.0, 0.0, -1.0], [0.0, 1.0, -1.0]])
        keep = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
        known = {True: (keep @ gain, keep @ left_over @ keep.T), False: (take_out @ gain, take_out @ left_over @ take_out.T)}
        d_left, d_sum = self.sum_left - SHIM, self.sum_left + self.sum_right - SHIM - OUTER
        touched = np.array([changed((True, ()), self.lefts[l]) + changed((True, ()), self.rights[r]) for l, r in zip(self.left, self.right)])
        g = np.where(self.shim_kept[:, None], known[True][0], known[False][0])
        v = np.where(self.shim_kept[:, None], np.diag(known[True][1]), np.diag(known[False][1]))
        v0, v1 = v[:, 0] + self.var_left, v[:, 1] + self.var_left + self.var_right
        as_drawn = int(np.flatnonzero(touched == 0)[0])
        counts = dict(out_drawn=0, out_first=0, out=0, fitted=0, again=0, touched=0, readings=0, tied=0)
        taken, taken_square, touched_square = np.zeros(len(self.sizes)), np.zeros(len(self.sizes)), 0.0
        copies = rng.standard_normal((BUILDS, len(self.sizes), 2, 3)) * c["within"]
        packet = rng.standard_normal((BUILDS, len(self.sizes))) * c["between"]
        shim, rest = rng.standard_normal(BUILDS) * s_shim, rng.standard_normal(BUILDS) * s_rest
        # What is new at each reading, and what both readings of a build have wrong alike (JCGM 100:2008, 5.2.2).
        noise = rng.standard_normal((BUILDS, 2)) * c["repeats"]
        noise += (rng.standard_normal(BUILDS) * np.sqrt(max(0.0, u**2 - c["repeats"] ** 2)))[:, None]
        # The mean of both has this variance; the offset is never taken to be known better than it makes it.
        of_two = u**2 - c["repeats"] ** 2 / 2
        floor = prior[0, 0] * of_two / (prior[0, 0] + of_two)
        for b in range(BUILDS):
            def truth(option):
                total = []
                for at, (kept, s) in enumerate((self.lefts[self.left[option]], self.rights[self.right[option]])):
                    drawn = (SHIM + shim[b], OUTER)[at] if kept else 0.0
                    total.append(drawn + sum(self.sizes[k] + packet[b, k] + copies[b, k, at, s[:n].count(k)] for n, k in enumerate(s)))
                offset = total[0] - SHIM + rest[b]
                preload = RATE * (sum(total) + WIDTH + FREE - SPAN)
                return offset, abs(offset) <= c["half_width"] and self.preload[0] <= preload <= self.preload[1]

            here, parts = np.zeros(len(self.sizes)), 0
            offset, inside = truth(as_drawn)
            counts["out_drawn"] += not inside
            off = offset + noise[b, 0]
            counts["readings"] += 1
            mean = (g[:, 0] * off + d_left, g[:, 1] * off + d_sum)
            pick, tied = self.best(self.score(mean, (v0, v1), touched))
            counts["tied"] += tied
            first = inside
            if touched[pick]:
                counts["fitted"] += 1
                parts += int(touched[pick])
                counts["readings"] += 1
                for side in (self.lefts[self.left[pick]], self.rights[self.right[pick]]):
                    for k in side[1]:
                        here[k] += 1
                offset, first = truth(pick)
                inside = first
                off = offset + noise[b, 1]
                if abs(off) > c["half_width"]:
                    kept = bool(self.shim_kept[pick])
                    cov = known[kept][1] + self.var_left[pick] * np.ones((2, 2)) + self.var_right[pick] * np.array([[0.0, 0.0], [0.0, 1.0]])
                    now = np.array([mean[0][pick], mean[1][pick]])
                    k = cov[:, 0] / (cov[0, 0] + u**2)
                    before = cov[0, 0]
                    now, cov = now + k * (off - now[0]), cov - np.outer(k, cov[0])
                    cov[0, 0] = max(cov[0, 0], min(floor, before))
                    pieces = lambda a, o: sum(max(0, a.count(n) - o.count(n)) for n in set(a)) + sum(max(0, o.count(n) - a.count(n)) for n in set(o))
                    one = c["between"] ** 2 + c["within"] ** 2
                    apart = lambda a, o, drawn: pieces(a[1], o[1]) * one + (drawn if a[0] != o[0] else 0.0)
                    al = np.array([apart(s, self.lefts[self.left[pick]], s_shim**2) for s in self.lefts])[self.left]
                    ar = np.array([apart(s, self.rights[self.right[pick]], 0.0) for s in self.rights])[self.right]
                    tl = np.array([changed(s, self.lefts[self.left[pick]]) for s in self.lefts])[self.left]
                    tr = np.array([changed(s, self.rights[self.right[pick]]) for s in self.rights])[self.right]
                    move = (self.sum_left - self.sum_left[pick], self.sum_left + self.sum_right - self.sum_left[pick] - self.sum_right[pick])
                    second, tied = self.best(self.score((now[0] + move[0], now[1] + move[1]), (cov[0, 0] + al, cov[1, 1] + al + ar), tl + tr))
                    counts["tied"] += tied
                    if tl[second] + tr[second]:
                        counts["again"] += 1
                        parts += int(tl[second] + tr[second])
                        counts["readings"] += 1
                        for a, o in ((self.lefts[self.left[second]], self.lefts[self.left[pick]]), (self.rights[self.right[second]], self.rights[self.right[pick]])):
                            for n in set(a[1]):
                                here[n] += max(0, a[1].count(n) - o[1].count(n))
                        inside = truth(second)[1]
            taken, taken_square = taken + here, taken_square + here**2
            counts["touched"], touched_square = counts["touched"] + parts, touched_square + parts**2
            counts["out_first"] += not first
            counts["out"] += not inside
        variance = lambda total, square: square / BUILDS - (total / BUILDS) ** 2
        return {
            **{key: value / BUILDS for key, value in counts.items()},
            "touched_variance": variance(counts["touched"], touched_square),
            "taken": (taken / BUILDS).tolist(),
            "taken_variance": variance(taken, taken_square).tolist(),
            "builds": BUILDS,
            "case": c,
        }


# Preloads are such that no two sets lie equally far from the sum's aim. With 10 to 170 N they did: a build that had 0.2 on the left was as well served by
# 0.3 as by 0.5 on the right, and how often each was taken hung on the last bit of the arithmetic.
CASES = {
    "coarse": dict(half_width=0.10, preload=[10.0, 176.0], sizes=[0.2, 0.3, 0.5, 0.6], between=0.004, within=0.006, u=0.02, repeats=0.02, shim=0.03, adjuster=0.12, stem=0.30),
    "fine": dict(half_width=0.06, preload=[10.0, 176.0], sizes=[0.2, 0.35, 0.45, 0.8], between=0.008, within=0.004, u=0.03, repeats=0.03, shim=0.03, adjuster=0.06, stem=0.12),
    # A worse gauge, most of whose error is the same at each reading of a build.
    "biased": dict(half_width=0.06, preload=[10.0, 176.0], sizes=[0.2, 0.35, 0.45, 0.8], between=0.012, within=0.008, u=0.03, repeats=0.01, shim=0.03, adjuster=0.06, stem=0.12),
}

if __name__ == "__main__":
    values = {name: Shop(case).run(np.random.default_rng(20260101)) for name, case in CASES.items()}
    freeze("whole_shop", values, 1e-9, 1e-12, "--check" in sys.argv)
