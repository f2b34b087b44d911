"""The same packs by numpy and scipy: an independent Monte Carlo of preload, offset, edge margin and contact pressure.

Why: `packdrift stack` must agree with a calculation that shares no code with it. This one reads the same TOML with Python's
own parser, draws with numpy's PCG64, and finds the load of springs in series by bisection on the load, not on deflection.
What it freezes: mean, sd, share below, above and in total, share that cannot be assembled, with standard errors, for each
requirement and condition, in tests/reference/pack_numpy.json. The Rust test allows five standard errors of the difference.

Run: python tests/outside/pack_numpy.py [--check]    (--check compares with the frozen file instead of writing it)
"""

import sys
import tomllib
from pathlib import Path

import numpy as np
from scipy import stats
from scipy.interpolate import PchipInterpolator

from freeze import freeze

HERE = Path(__file__).parent
PACKS = [HERE / "../../data/demo/pack.toml", *sorted((HERE / "packs").glob("*.toml"))]
TRIALS = 400_000


def draw(dimension, n, rng):
    """One dimension's own scatter (without its lot), as the design's section 3 says."""
    if not isinstance(dimension, dict):
        return np.full(n, float(dimension))
    kind = dimension.get("distribution", "normal")
    if "readings" in dimension:
        readings, u = np.array(dimension["readings"], float), dimension.get("u", 0.0)
        x = np.full(n, readings.mean())
        if len(readings) > 1:  # JCGM 101 6.4.9
            x = x + readings.std(ddof=1) / np.sqrt(len(readings)) * rng.standard_t(len(readings) - 1, n)
        return x + u * rng.standard_normal(n)
    if "mean" in dimension:
        mean, sd = dimension["mean"], dimension["sd"]
        if kind == "lognormal":
            s2 = np.log1p((sd / mean) ** 2)
            return rng.lognormal(np.log(mean) - s2 / 2, np.sqrt(s2), n)
        assert kind == "normal", kind
        return mean + sd * rng.standard_normal(n)
    nominal = dimension["nominal"]
    plus, minus = (dimension["tol"],) * 2 if "tol" in dimension else (dimension["plus"], dimension["minus"])
    low, high = nominal - minus, nominal + plus
    middle, half = (low + high) / 2, (high - low) / 2
    if kind == "normal":
        return middle + half / dimension.get("sigmas", 3) * rng.standard_normal(n)
    if kind == "rectangular":
        return rng.uniform(low, high, n)
    if kind == "triangular":
        return rng.triangular(low, middle, high, n)
    if kind == "arcsine":
        return middle + half * np.sin(2 * np.pi * rng.random(n))
    raise ValueError(kind)


def disc_load(s, de, di, t, h0, e, nu):
    """Almen and Laszlo, as in EN 16984."""
    d = de / di
    k1 = ((d - 1) / d) ** 2 / ((d + 1) / (d - 1) - 2 / np.log(d)) / np.pi
    return 4 * e / (1 - nu**2) * t**4 / (k1 * de**2) * (s / t) * ((h0 / t - s / t) * (h0 / t - s / (2 * t)) + 1)


class Spring:
    """A spring washer at temperature: deflection at a load by bisection, capped where it is solid."""

    def __init__(self, part, get, scale, elastic):
        law = part["law"]
        if law == "disc":
            de, di = get("outer_diameter") * scale, get("inner_diameter") * scale
            t, h0 = get("thickness") * scale, get("cone_height") * scale
            self.free, self.stroke = t + h0, h0
            self.load = lambda s: disc_load(s, de, di, t, h0, *elastic)
        elif law == "linear":
            rate, self.free = get("rate"), get("free_height") * scale
            self.stroke = self.free - (get("solid_height") * scale if "solid_height" in part else 0.0)
            self.load = lambda s: rate * s
            self.inverse = lambda f: f / rate
        elif law == "table":
            pairs = np.array(part["table"], float)
            curve = PchipInterpolator(pairs[:, 0], pairs[:, 1])
            self.free = get("free_height") * scale
            self.stroke = np.full_like(self.free, pairs[-1, 0])
            self.load = lambda s: curve(np.clip(s, 0, pairs[-1, 0]))
        else:
            raise ValueError(law)

    inverse = None

    def deflection(self, force):
        if self.inverse:
            return np.clip(self.inverse(force), 0, self.stroke)
        low, high = np.zeros_like(self.stroke), self.stroke.copy()
        for _ in range(36):
            middle = (low + high) / 2
            above = self.load(middle) > force
            high, low = np.where(above, middle, high), np.where(above, low, middle)
        return (low + high) / 2


def play_bay(bay, pack, temperature, values):
    """D, preload, play, each valve's offset range, and which trials cannot be assembled."""
    dt = temperature - pack["reference_temperature"]
    materials = pack["material"]

    def scale(thing):
        return 1 + materials[thing["material"]]["expansion"] * dt if "material" in thing else 1.0

    def value(*path):
        return values["/".join((bay["name"], *path))]

    lengths, springs = [], []
    for part in bay["part"]:
        if part["kind"] == "spring-washer":
            m = materials.get(part.get("material"), {})
            spring = Spring(part, lambda k, p=part: value(p["name"], k), scale(part), (m.get("youngs_modulus"), m.get("poisson")))
            springs.append(spring)
            lengths.append(spring)
        else:
            key = "width" if part["kind"] == "rocker" else "thickness"
            lengths.append(value(part["name"], key) * scale(part))
    span = value("span") * scale(bay)
    total = sum(l.free if isinstance(l, Spring) else l for l in lengths)
    interference = total - span
    stroke = sum(s.stroke for s in springs) if springs else np.zeros_like(span)
    cannot = interference > stroke
    loaded = interference > 0
    force = np.zeros_like(span)
    if len(springs) == 1:
        force = np.where(loaded, springs[0].load(np.clip(interference, 0, springs[0].stroke)), 0.0)
        squeezed = [np.clip(interference, 0, springs[0].stroke)]
    elif springs:
        low, high = np.zeros_like(span), np.max([s.load(s.stroke) for s in springs], axis=0)
        for _ in range(44):
            middle = (low + high) / 2
            above = sum(s.deflection(middle) for s in springs) > interference
            high, low = np.where(above, middle, high), np.where(above, low, middle)
        force = np.where(loaded, (low + high) / 2, 0.0)
        squeezed = [np.where(loaded, s.deflection(force), 0.0) for s in springs]
    play = np.where(loaded, 0.0, -interference)
    offsets = {}
    for valve in bay["valve"]:
        x, k = np.zeros_like(span), 0
        for part, length in zip(bay["part"], lengths):
            if part["name"] == valve["rocker"]:
                x = x + value(part["name"], "adjuster") * scale(part)
                break
            if isinstance(length, Spring):
                x = x + length.free - squeezed[k]
                k += 1
            else:
                x = x + length
        left = x - value(valve["name"], "stem") * scale(bay)
        offsets[valve["name"]] = (left, left + play)
    return force, play, offsets, cannot


def contact(valve, bay, pack, temperature, values):
    """Hertz radius and peak pressure of a sphere on a flat, and the margin to the flat's edge at an offset.

    Adjuster and stem are of the rocker's material here, and every length grows with it.
    """
    rocker = next(p for p in bay["part"] if p["name"] == valve["rocker"])
    m = pack["material"][rocker["material"]]
    growth = 1 + m["expansion"] * (temperature - pack["reference_temperature"])
    load = values[f"{bay['name']}/{valve['name']}/valve_load"]
    get = lambda k: growth * values[f"{bay['name']}/{valve['name']}/{k}"]
    modulus = 1 / (2 * (1 - m["poisson"] ** 2) / m["youngs_modulus"])
    a = np.cbrt(3 * load * get("adjuster_tip_radius") / (4 * modulus))
    margin = lambda offset: get("stem_end_diameter") / 2 - get("stem_end_chamfer") - (np.hypot(offset, get("sweep")) + a)
    return 3 * load / (2 * np.pi * a**2), margin


def dimensions(bay):
    """Every dimension of a bay by its path."""
    names = ["thickness", "width", "adjuster", "outer_diameter", "inner_diameter", "cone_height", "free_height", "rate", "solid_height"]
    yield f"{bay['name']}/span", bay["span"]
    for part in bay["part"]:
        for name in names:
            if name in part:
                yield f"{bay['name']}/{part['name']}/{name}", part[name]
    for valve in bay["valve"]:
        for name in ["stem", "stem_end_diameter", "stem_end_chamfer", "adjuster_tip_radius", "sweep", "valve_load"]:
            if name in valve:
                yield f"{bay['name']}/{valve['name']}/{name}", valve[name]


def run(path):
    pack = tomllib.loads(path.read_text())
    rng = np.random.default_rng(20261125)
    lots = {l["name"]: l.get("bias", 0.0) + l.get("between", 0.0) * rng.standard_normal(TRIALS) for l in pack.get("lot", [])}
    values = {}
    for bay in pack["bay"]:
        for name, dimension in dimensions(bay):
            values[name] = draw(dimension, TRIALS, rng)
            if isinstance(dimension, dict) and "lot" in dimension:
                values[name] = values[name] + lots[dimension["lot"]]
    for pair in pack.get("correlation", []):
        # Both are normal in the packs here: draw the second again, tied to the first.
        one, two = pair["between"]
        r = pair["coefficient"]
        z = (values[one] - values[one].mean()) / values[one].std()
        z2 = (values[two] - values[two].mean()) / values[two].std()
        values[two] = values[two].mean() + values[two].std() * (r * z + np.sqrt(1 - r * r) * z2)

    played = {
        (bay["name"], condition): play_bay(bay, pack, settings["temperature"], values)
        for bay in pack["bay"]
        for condition, settings in pack["condition"].items()
    }
    results = []
    for requirement in pack["requirement"]:
        for condition, settings in pack["condition"].items():
            temperature = settings["temperature"]
            if requirement.get("condition", condition) != condition:
                continue
            for bay in pack["bay"]:
                valve = next((v for v in bay["valve"] if v["name"] == requirement.get("valve")), None)
                if valve is None and requirement.get("bay") != bay["name"]:
                    continue
                force, play, offsets, cannot = played[bay["name"], condition]
                quantity = requirement["quantity"]
                if quantity == "offset":
                    low, high = offsets[valve["name"]]
                elif quantity == "preload":
                    low = high = force
                elif quantity == "play":
                    low = high = play
                elif quantity == "contact-pressure":
                    low = high = contact(valve, bay, pack, temperature, values)[0]
                elif quantity == "edge-margin":
                    margin = contact(valve, bay, pack, temperature, values)[1]
                    assert (offsets[valve["name"]][0] > 0).all(), "an offset range across 0 would have its best margin inside"
                    ends = [margin(offset) for offset in offsets[valve["name"]]]
                    low, high = np.minimum(*ends), np.maximum(*ends)
                else:
                    raise ValueError(quantity)
                results.append(summary(requirement, condition, low, high, cannot))
    return results


def summary(requirement, condition, low, high, cannot):
    ok = ~cannot
    middle = ((low + high) / 2)[ok]
    below = ok & (low < requirement.get("lower", -np.inf))
    above = ok & (high > requirement.get("upper", np.inf))
    total = float((below | above | cannot).mean())
    mean, sd = float(middle.mean()), float(middle.std(ddof=1))
    kurtosis = float(stats.kurtosis(middle, fisher=False))
    return {
        "name": requirement["name"],
        "condition": condition,
        "mean": mean,
        "mean_se": sd / np.sqrt(len(middle)),
        "sd": sd,
        "sd_se": sd * np.sqrt((kurtosis - 1) / 4 / len(middle)),
        "below": float(below.mean()),
        "above": float(above.mean()),
        "total": total,
        "total_se": float(np.sqrt(max(total * (1 - total), 1 / TRIALS) / TRIALS)),
        "cannot_assemble": float(cannot.mean()),
        "quantiles": {str(p): float(np.quantile(middle, p)) for p in (0.00135, 0.025, 0.5, 0.975, 0.99865)},
    }


if __name__ == "__main__":
    frozen = {str(p.resolve().relative_to(HERE.resolve().parents[1])): run(p) for p in PACKS}
    # A fixed seed on a pinned numpy: the same draws, so only the last digits of library functions may differ.
    freeze("pack_numpy", frozen, relative=1e-6, absolute=1e-9, check="--check" in sys.argv)
