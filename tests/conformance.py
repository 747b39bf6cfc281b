"""What every part must do, a user's own too: `conforms(part, examples)` runs all of it.

Each check takes one example part and raises an AssertionError that says which path, at which flow.
"""

from __future__ import annotations

import inspect
import re
import warnings
from dataclasses import replace

import numpy as np

from ductsim.errors import InputError
from ductsim.laws.card import card_of
from ductsim.parts.declare import LocalAir, Nested, Number, Pair, Path
from ductsim.sources import SOURCES

RHO, OUTSIDE, VISCOSITY = 1.1, 1.13, 1.85e-5
AIR = LocalAir(RHO, VISCOSITY, OUTSIDE)
BETA = (1.1e-5, 1.08e-5, 1.05e-5)
PAIR_RHO = (1.12, 1.1, 1.09)
SHARES = (1e-7, 1e-4, 3e-4, 1e-2, 0.1, 0.3, 1.0, 2.0, 10.0)


def conforms(kind, examples):
    """Run every check on every example of a part class."""
    assert examples, f"no example of {kind.__name__}"
    for example in examples:
        assert type(example) is kind
        for check in CHECKS:
            check(example)


# ---- evaluating


def drop(path, flow, density=RHO):
    return path.law(flow, LocalAir(density, VISCOSITY, OUTSIDE), **path.coefficients)[0]


def pair_drops(pair, x, y, density=PAIR_RHO):
    return np.array(pair.law((x, y), LocalAir(density, VISCOSITY, OUTSIDE, BETA), **pair.coefficients)[0])


def usual(path, side=None):
    """The flow that the path is made for [kg/s]."""
    start, area = (path.start, path.area) if side is None else (path.start, path.area[side])
    if side is not None and start is not None:
        start = start[side]
    guess = 12.0 * np.asarray(area) if start is None else np.asarray(start)
    return float(np.where(guess > 0.0, guess, 12.0 * np.asarray(area)).max())


def flows(path):
    """Flows on both sides of zero, and on each side of every switch of the law."""
    out = [0.0]
    for m in [*(s * usual(path) for s in SHARES), *switches(path)]:
        out += [m, -m]
    return out


def switches(path):
    """Flows a little below and above where the law changes its form."""
    c = path.coefficients
    at = []
    if path.law.__name__ == "friction":
        per = c["area"] * VISCOSITY / c["hydraulic_diameter"]
        at = [2000.0 * per, 4000.0 * per]
    if path.law.__name__ == "fan":
        at = [c[n] * c["speed"] * RHO for n in c if n.startswith("flow_")]
    return [float(m) * s for m in at if m > 0.0 for s in (1.0 - 1e-4, 1.0 + 1e-4)]


def pair_states(pair):
    """Pairs of flows in every state: forward, blocked, reversed, nothing at all."""
    a, b = usual(pair, 0), usual(pair, 1)
    out = [(0.0, 0.0), (a, 0.0), (-a, 0.0), (0.0, b), (0.0, -b), (a, -a), (a, -1.2 * a), (1e-6 * a, 1e-6 * b)]
    for sx in (1.0, -1.0):
        for sy in (1.0, -1.0):
            out += [(sx * a * k, sy * b * n) for k, n in ((1, 1), (0.01, 1), (1, 0.01), (3, 0.3), (10, 10))]
    return out


def near(got, wanted, tolerance, scale, where):
    gap = np.max(np.abs(np.asarray(got) - np.asarray(wanted)))
    assert gap <= tolerance * scale, f"{where}: {got} against {wanted}"


# ---- checks


def slopes(part):
    """Slope and slope in density against differences, at zero, both signs, each side of every switch."""
    for path in part.paths():
        if isinstance(path, Pair):
            pair_slopes(part, path)
            continue
        for m in flows(path):
            _, slope, in_density = path.law(m, AIR, **path.coefficients)
            # near zero as small as the rounding of the drop there allows
            h = max(1e-6 * abs(m), (1e-9 if drop(path, 0.0) else 1e-12) * usual(path))
            by_flow = (drop(path, m + h) - drop(path, m - h)) / (2.0 * h)
            where = f"{part} at {m} kg/s"
            near(slope, by_flow, 2e-5, abs(slope) + 1e-3 * abs(drop(path, m)) / usual(path), where)
            assert np.isfinite(slope), where
            k = 1e-5
            by_rho = (drop(path, m, RHO + k) - drop(path, m, RHO - k)) / (2.0 * k)
            near(in_density, by_rho, 1e-5, abs(in_density) + 1e-3 * abs(drop(path, m)) + 1e-9, where)
    return


def pair_slopes(part, pair):
    """The same for two paths that act on each other, and in all three densities."""
    for x, y in pair_states(pair):
        air = LocalAir(PAIR_RHO, VISCOSITY, OUTSIDE, BETA)
        d, s, q = pair.law((x, y), air, **pair.coefficients)
        where = f"{part} at {x}, {y} kg/s"
        h = max(2e-8 * max(abs(x), abs(y)), 1e-10 * usual(pair, 0))
        by_x = (pair_drops(pair, x + h, y) - pair_drops(pair, x - h, y)) / (2.0 * h)
        by_y = (pair_drops(pair, x, y + h) - pair_drops(pair, x, y - h)) / (2.0 * h)
        size = np.max(np.abs(s)) + 1e-3 * np.max(np.abs(d)) / usual(pair, 0)
        near(np.array(s)[:, 0], by_x, 2e-5, size, where)
        near(np.array(s)[:, 1], by_y, 2e-5, size, where)
        for i in range(3):
            up, down = list(PAIR_RHO), list(PAIR_RHO)
            up[i], down[i] = PAIR_RHO[i] + 1e-5, PAIR_RHO[i] - 1e-5
            by_rho = (pair_drops(pair, x, y, tuple(up)) - pair_drops(pair, x, y, tuple(down))) / 2e-5
            size = np.max(np.abs(d)) + np.max(np.abs(q)) + 1e-9
            near([q[0][i], q[1][i]], by_rho, 1e-5, size, where)


def meets_itself(part):
    """No jump: over each switch, and over zero, neither the drop nor its slope jumps."""
    for path in part.paths():
        if isinstance(path, Pair):
            continue
        for below, above in zip(switches(path)[::2], switches(path)[1::2], strict=True):
            _, low, _ = path.law(below, AIR, **path.coefficients)
            _, high, _ = path.law(above, AIR, **path.coefficients)
            near(high, low, 0.02, abs(low) + abs(drop(path, above)) / above, f"{part} slope at {below} kg/s")
            step = drop(path, above) - drop(path, below)
            near(
                step,
                0.5 * (low + high) * (above - below),
                0.01,
                abs(step) + 1e-6 * abs(drop(path, above)),
                f"{part} at {below} kg/s",
            )


def finite_at_zero(part):
    """A finite slope at zero flow; above zero for all but a fan, which may rise there."""
    for path in part.paths():
        if isinstance(path, Pair):
            air = LocalAir(PAIR_RHO, VISCOSITY, OUTSIDE, BETA)
            s = np.array(path.law((0.0, 0.0), air, **path.coefficients)[1], dtype=float)
            assert np.isfinite(s).all(), part
            assert s[0, 0] > 0.0 and np.linalg.det(s) > 0.0, part
        else:
            slope = path.law(0.0, AIR, **path.coefficients)[1]
            assert np.isfinite(slope), part
            assert slope > 0.0 or path.power is not None, part


def signed(part):
    """The drop has the sign of the flow (but for a fan, and what a rise adds)."""
    for path in part.paths():
        if isinstance(path, Pair) or path.power is not None:
            continue
        rest = drop(path, 0.0)
        for m in flows(path):
            if m:
                assert (drop(path, m) - rest) * m > 0.0, f"{part} at {m} kg/s"


def coercive(part):
    """At 10 times and 100 times the usual flow, either way, every part takes power out of the air."""
    for path in part.paths():
        for far in (10.0, 100.0):
            if isinstance(path, Pair):
                a, b = usual(path, 0), usual(path, 1)
                for t in np.linspace(0.0, 2.0 * np.pi, 73):
                    x, y = far * a * np.cos(t), far * b * np.sin(t)
                    d1, d2 = path.law(
                        (x, y), LocalAir((RHO,) * 3, VISCOSITY, RHO, (0.0,) * 3), **path.coefficients
                    )[0]
                    assert x * d1 + y * d2 > 0.0, f"{part} at {x}, {y} kg/s"
            else:
                for m in (far * usual(path), -far * usual(path)):
                    assert drop(path, m) * m > 0.0, f"{part} at {m} kg/s"


def containers(part):
    """Floats, NumPy scalars, columns of one and whole arrays give the same numbers."""
    for path in part.paths():
        if isinstance(path, Pair):
            shapes = [(x, y) for x, y in pair_states(path)]
            xs, ys = np.array(shapes).T
            air = LocalAir(PAIR_RHO, VISCOSITY, OUTSIDE, BETA)
            many = flat(path.law((xs[None, :], ys[None, :]), air, **path.coefficients))
            for i, (x, y) in enumerate(shapes):
                one = flat(path.law((x, y), air, **path.coefficients))
                np.testing.assert_allclose(
                    [np.ravel(np.broadcast_to(v, (1, len(xs))))[i] for v in many],
                    one,
                    rtol=1e-12,
                    atol=1e-300,
                )
            continue
        ms = np.array(flows(path))
        many = path.law(ms.reshape(1, -1), AIR, **path.coefficients)
        for i, m in enumerate(ms):
            wanted = [np.ravel(np.broadcast_to(v, (1, len(ms))))[i] for v in many]
            for value in (float(m), np.float64(m), np.array([m]), np.array([[m]])):
                got = path.law(value, AIR, **path.coefficients)
                for g, w in zip(got, wanted, strict=True):
                    np.testing.assert_allclose(g, w, rtol=1e-12, atol=1e-300, err_msg=f"{part} at {value!r}")
        for kept in path.law(float(ms[1]), AIR, **path.coefficients):
            assert np.ndim(kept) == 0


def flat(answer):
    """A pair law's answer as a plain list."""
    d, s, q = answer
    return [*d, *s[0], *s[1], *q[0], *q[1]]


def columns(part):
    """A part with columns, stacked as the network stacks it, gives what the single parts give."""
    numbers = part.numbers()
    singles = []
    for i in range(3):
        values = []
        for name, value in numbers.items():
            decl = part.form.declaration(name)
            moved = value * (1.0 + 0.01 * i) if value else value
            values.append(moved if decl.low <= moved <= decl.high else value * (1.0 - 0.01 * i))
        singles.append(part.form.build(values))
    stacked = [np.array([[s.numbers()[n] for s in singles]]) for n in numbers]
    together = part.form.build(stacked).paths()
    for k, single in enumerate(singles):
        for path, many in zip(single.paths(), together, strict=True):
            assert path.law is many.law
            same_column(path.coefficients, many.coefficients, k)
            same_column(
                {"a": path.area, "s": path.shut, "m": path.start},
                {"a": many.area, "s": many.shut, "m": many.start},
                k,
            )
            m = 0.7 * usual(path, 0 if isinstance(path, Pair) else None)
            if isinstance(path, Pair):
                air = LocalAir(PAIR_RHO, VISCOSITY, OUTSIDE, BETA)
                wide, one = (flat(p.law((m, 0.5 * m), air, **p.coefficients)) for p in (many, path))
            else:
                wide, one = (p.law(m, AIR, **p.coefficients) for p in (many, path))
            for w, o in zip(wide, one, strict=True):
                np.testing.assert_allclose(np.broadcast_to(w, (1, 3))[0, k], o, rtol=1e-11, atol=1e-300)


def same_column(one, many, k):
    for name, value in one.items():
        if value is None or isinstance(value, tuple):
            for a, b in zip(value or (), many[name] or (), strict=True):
                np.testing.assert_allclose(np.broadcast_to(b, (1, 3))[0, k], a, rtol=1e-12, err_msg=name)
            continue
        np.testing.assert_allclose(
            np.broadcast_to(many[name], (1, 3))[0, k], value, rtol=1e-11, atol=1e-300, err_msg=name
        )


def zero_is_normal(part):
    """Each number that may be zero may be zero: closed, or still with finite drops and slopes."""
    for name, value in part.numbers().items():
        decl = part.form.declaration(name)
        if not decl.low <= 0.0 <= decl.high or value == 0.0 or "[" in name:
            continue
        numbers = {n: np.array([[v]]) for n, v in part.numbers().items()}
        numbers[name] = np.array([[0.0, value]])
        for path in part.form.build(list(numbers.values())).paths():
            check_finite(part, name, path)
            if isinstance(path, Path) and re.search(r"0 = (closed|sealed)", decl.doc):
                shut = np.broadcast_to(path.shut, (1, 2))[0]
                assert shut.tolist() == [True, False], f"{part}: {name} = 0 does not close the path"


def check_finite(part, name, path):
    one = np.ones((1, 2))
    if isinstance(path, Pair):
        air = LocalAir(PAIR_RHO, VISCOSITY, OUTSIDE, BETA)
        for x in (0.0, 1.0, -1.0):
            values = flat(path.law((x * one, 0.5 * one), air, **path.coefficients))
            assert all(np.isfinite(v).all() for v in values), f"{part}: {name} = 0"
        assert any(np.any(s) for s in path.shut) or "area" not in name, f"{part}: {name} = 0"
        return
    for m in (0.0, 0.3, -0.3):
        values = path.law(m * one, AIR, **path.coefficients)
        assert all(np.isfinite(v).all() for v in values), f"{part}: {name} = 0"


def quiet(part):
    """No warning and no floating-point trouble anywhere on the range of flows."""
    with warnings.catch_warnings(), np.errstate(all="raise", under="ignore"):
        warnings.simplefilter("error")
        for path in part.paths():
            if isinstance(path, Pair):
                for x, y in pair_states(path):
                    pair_drops(path, x, y)
            else:
                for m in flows(path):
                    drop(path, m)
                    if path.power is not None:
                        power = path.power(m, RHO, **path.coefficients)
                        assert np.isfinite(power) and power >= 0.0, f"{part} at {m} kg/s"


def refuses_bad_values(part):
    """Every declared number refuses what lies outside its range, NaN, infinity, words and wrong measures."""
    for name, decl in type(part).declared.items():
        value = getattr(part, name)
        if isinstance(decl, Nested):
            for inner in value[:1]:
                refuses_bad_values(inner)
        if not isinstance(decl, Number) or value is None:
            continue
        bad = [np.nan, np.inf, -np.inf, "seven", "3 candela", "1,5", True]
        bad += [np.nextafter(decl.low, -np.inf)] if decl.low > -1e300 else []
        bad += [np.nextafter(decl.high, np.inf)] if decl.high < 1e300 else []
        for wrong in bad:
            if decl.points:
                wrong = [*value[:-1], wrong]
            refuses(part, name, wrong)
        if not decl.points:
            refuses(part, name, np.array([value, np.nan]))
            refuses(part, name, np.ones((2, 2)) * value)


def refuses(part, name, wrong):
    try:
        replace(part, **{name: wrong})
    except InputError as err:
        assert name in err.place, f"{part}: the message for {name} = {wrong!r} names {err.place!r}: {err}"
        assert err.allowed, f"{part}: {name} = {wrong!r} is refused without saying what is allowed: {err}"
    else:
        raise AssertionError(f"{part}: {name} = {wrong!r} was accepted")


def carded(part):
    """The laws have cards and full docstrings, all sources are known, all fields say what they are."""
    assert type(part).sources, f"{part} names no source"
    assert inspect.getdoc(type(part)), part
    for key in type(part).sources:
        assert key in SOURCES, f"{part}: unknown source {key!r}"
    for name, decl in type(part).declared.items():
        assert len(decl.doc) > 3, f"{part}: {name} has no words"
    for path in part.paths():
        assert isinstance(path, Path | Pair)
        card = card_of(path.law)
        assert card is not None, f"the law of {part} has no card"
        assert card.equation and card.valid
        for key in card.sources:
            assert key in SOURCES, f"{card.name}: unknown source {key!r}"
        doc = inspect.getdoc(path.law) or ""
        assert "Example" in doc, f"{card.name} has no worked number"
        for word in inspect.signature(path.law).parameters:
            assert re.search(rf"\b{word}\b", doc), f"{card.name} does not describe {word}"
        if card.outside is not None:
            outside_works(path, card)


def outside_works(path, card):
    """The warnings of a law are masks with sentences, silent in the middle of the range."""
    if isinstance(path, Pair):
        found = card.outside(
            (usual(path, 0), usual(path, 1)),
            LocalAir(PAIR_RHO, VISCOSITY, OUTSIDE, BETA),
            **path.coefficients,
        )
    else:
        found = card.outside(usual(path), AIR, **path.coefficients)
    for mask, sentence in found:
        assert np.asarray(mask).dtype == bool and np.size(mask) == 1
        assert len(sentence) > 20


def guesses(part):
    """Areas and first guesses are positive and finite."""
    for path in part.paths():
        for side in (0, 1) if isinstance(path, Pair) else (None,):
            assert 0.0 < usual(path, side) < 1e6, part
            area = path.area if side is None else path.area[side]
            assert np.all(np.asarray(area) > 0.0), part


def survives(part):
    """Numbers and form give the part back; copies are equal; its repr names its kind."""
    again = part.form.build(list(part.numbers().values()))
    assert again == part
    assert hash(again) == hash(part)
    assert type(part).__name__ in repr(part)
    text = {n: getattr(part, n) for n in part.declared if getattr(part, n) is not None}
    assert type(part).of(text) == part


CHECKS = (
    slopes,
    meets_itself,
    finite_at_zero,
    signed,
    coercive,
    containers,
    columns,
    zero_is_normal,
    quiet,
    refuses_bad_values,
    carded,
    guesses,
    survives,
)
