"""Checks of how a part is written: shapes, columns, numbers that are zero or wrong, cards, sources."""

from __future__ import annotations

import inspect
import re
from dataclasses import replace
from typing import Any

import numpy as np

from ..errors import InputError, shown
from ..laws.card import LawCard, card_of
from ..parts.declare import Fields, LocalAir, Nested, Number, Pair, Part, Path
from ..sources import SOURCES
from .probing import AIR, PAIR_AIR, Wrong, demand, flat, flows, pair_states, same, usual

DENSITIES = ("mean", "inlet", "entering")


def shapes(part: Part) -> None:
    """The paths fit the part's ends and names, and the numbers of each path fit together."""
    paths = part.paths()
    demand(isinstance(paths, tuple), f"paths() gives {shown(paths)}, no tuple of Path and Pair")
    for path in paths:
        demand(isinstance(path, Path | Pair), f"paths() gives {shown(path)}, no Path or Pair")
        demand(callable(path.law), f"the law {shown(path.law)} is no function")
        ends = path.ends if isinstance(path, Pair) else (path.ends,)
        for both in ends:
            inside = len(both) == 2 and all(0 <= end < len(part.ends) for end in both)
            demand(inside, f"a path between the ends {both}; the part has {len(part.ends)}")
        if isinstance(path, Path):
            demand(
                path.density in DENSITIES, f"density {path.density!r}; it is one of {', '.join(DENSITIES)}"
            )
    count = sum(2 if isinstance(path, Pair) else 1 for path in paths)
    demand(count == len(part.path_names), f"{count} paths, and {len(part.path_names)} names for them")
    powered = any(isinstance(path, Path) and path.power is not None for path in paths)
    demand(powered or not part.is_fan, "it is a fan, and no path of it takes shaft power")
    demand(part.is_fan or not powered, "a path takes shaft power: say is_fan = True, with a number speed")


def containers(part: Part) -> None:
    """Floats, NumPy scalars, columns of one and whole arrays give the same numbers."""
    for path in part.paths():
        if isinstance(path, Pair):
            _pair_containers(path)
            continue
        ms = np.array(flows(path))
        many = path.law(ms.reshape(1, -1), AIR, **path.coefficients)
        demand(len(many) == 3, f"the law gives {len(many)} answers, not drop, slope and slope in density")
        for i, m in enumerate(ms):
            wanted = [np.ravel(np.broadcast_to(v, (1, len(ms))))[i] for v in many]
            for value in (float(m), np.float64(m), np.array([m]), np.array([[m]])):
                got = path.law(value, AIR, **path.coefficients)
                for g, w in zip(got, wanted, strict=True):
                    same(g, w, 1e-12, f"at {m:g} kg/s alone and among others")
        for kept in path.law(float(ms[1]), AIR, **path.coefficients):
            demand(np.ndim(kept) == 0, "the law makes an array of a single number")


def _pair_containers(path: Pair) -> None:
    states = pair_states(path)
    xs, ys = np.array(states).T
    many = flat(path.law((xs[None, :], ys[None, :]), PAIR_AIR, **path.coefficients))
    for i, (x, y) in enumerate(states):
        one = flat(path.law((x, y), PAIR_AIR, **path.coefficients))
        got = [np.ravel(np.broadcast_to(v, (1, len(xs))))[i] for v in many]
        same(got, one, 1e-12, f"at {x:g} and {y:g} kg/s among others and alone")


def columns(part: Part) -> None:
    """A part with columns, stacked as the network stacks it, gives what the single parts give."""
    numbers = part.numbers()
    singles = []
    for i in range(3):
        values = []
        for name, value in numbers.items():
            decl = part.schema.declaration(name)
            moved = value * (1.0 + 0.01 * i) if value else value
            values.append(moved if decl.low <= moved <= decl.high else value * (1.0 - 0.01 * i))
        singles.append(part.schema.build(values))
    stacked = [np.array([[s.numbers()[n] for s in singles]]) for n in numbers]
    together = part.schema.build(stacked).paths()
    for k, single in enumerate(singles):
        for path, many in zip(single.paths(), together, strict=True):
            demand(path.law is many.law, "the law depends on the numbers; np.where chooses between values")
            _same_column(path.coefficients, many.coefficients, k)
            own, wide = ({"area": p.area, "shut": p.shut, "start": p.start} for p in (path, many))
            _same_column(own, wide, k)
            m = 0.7 * usual(path, 0 if isinstance(path, Pair) else None)
            if isinstance(path, Pair):
                both = [flat(p.law((m, 0.5 * m), PAIR_AIR, **p.coefficients)) for p in (many, path)]
            else:
                both = [list(p.law(m, AIR, **p.coefficients)) for p in (many, path)]
            for w, o in zip(*both, strict=True):
                same(_of_column(w, k), o, 1e-11, f"at {m:g} kg/s in a column and alone")


def _of_column(value: Any, k: int) -> Any:
    try:
        return np.broadcast_to(value, (1, 3))[0, k]
    except ValueError:
        raise Wrong(f"an answer of shape {np.shape(value)} for (1 part, 3 scenarios)") from None


def _same_column(one: dict[str, Any], many: dict[str, Any], k: int) -> None:
    for name, value in one.items():
        if value is None or isinstance(value, tuple):
            for a, b in zip(value or (), many[name] or (), strict=True):
                same(_of_column(b, k), a, 1e-12, f"{name} in a column and alone")
            continue
        same(_of_column(many[name], k), value, 1e-11, f"{name} in a column and alone")


def zero_is_normal(part: Part) -> None:
    """Each number that may be zero may be zero: closed, or still with finite drops and slopes."""
    for name, value in part.numbers().items():
        decl = part.schema.declaration(name)
        if not decl.low <= 0.0 <= decl.high or value == 0.0 or "[" in name:
            continue
        numbers = {n: np.array([[v]]) for n, v in part.numbers().items()}
        numbers[name] = np.array([[0.0, value]])
        for path in part.schema.build(list(numbers.values())).paths():
            _finite(name, path)
            closes = name in part.sizes or re.search(r"0 = (closed|sealed)", decl.doc)
            if isinstance(path, Path) and closes:
                shut = np.broadcast_to(path.shut, (1, 2))[0]
                demand(shut.tolist() == [True, False], f"{name} = 0 does not close the path")


def _finite(name: str, path: Path | Pair) -> None:
    one = np.ones((1, 2))
    for m in (0.0, 0.3, -0.3):
        if isinstance(path, Pair):
            values = flat(path.law((m / 0.3 * one, 0.5 * m / 0.3 * one), PAIR_AIR, **path.coefficients))
        else:
            values = list(path.law(m * one, AIR, **path.coefficients))
        finite = all(np.isfinite(v).all() for v in values)
        demand(finite, f"{name} = 0 gives drops or slopes that are not finite")
    if isinstance(path, Pair):
        demand(any(np.any(s) for s in path.shut) or "area" not in name, f"{name} = 0 closes no path")


def refuses_bad_values(part: Fields) -> None:
    """Every number refuses what lies outside its range, NaN, infinity, words and wrong measures."""
    for name, decl in type(part).declared.items():
        value = getattr(part, name)
        if isinstance(decl, Nested):
            for inner in value[:1]:
                refuses_bad_values(inner)
        if not isinstance(decl, Number) or value is None:
            continue
        bad: list[Any] = [np.nan, np.inf, -np.inf, "seven", "3 candela", "1,5", True]
        bad += [np.nextafter(decl.low, -np.inf)] if decl.low > -1e300 else []
        bad += [np.nextafter(decl.high, np.inf)] if decl.high < 1e300 else []
        for wrong in bad:
            _refuses(part, name, [*value[:-1], wrong] if decl.points else wrong)
        if not decl.points:
            _refuses(part, name, np.array([value, np.nan]))
            _refuses(part, name, np.ones((2, 2)) * value)


def _refuses(part: Any, name: str, wrong: Any) -> None:
    try:
        replace(part, **{name: wrong})
    except InputError as err:
        demand(name in err.place, f"the message for {name} = {shown(wrong)} does not name it: {err}")
        demand(err.allowed, f"{name} = {shown(wrong)} is refused without saying what is allowed: {err}")
    else:
        raise Wrong(f"{name} = {shown(wrong)} was accepted")


def carded(part: Part) -> None:
    """The laws have cards and full docstrings, all sources are known, all fields say what they are."""
    demand(type(part).sources, "it names no source ('our_assumption' is one)")
    demand(inspect.getdoc(type(part)), "its class has no docstring")
    for key in type(part).sources:
        demand(key in SOURCES, f"unknown source {key!r}")
    for name, decl in type(part).declared.items():
        demand(len(decl.doc) > 3, f"{name} has no words")
    for path in part.paths():
        _law_carded(path, card_of(path.law))


def _law_carded(path: Path | Pair, card: LawCard | None) -> None:
    if card is None:
        raise Wrong(f"the law {getattr(path.law, '__name__', path.law)} has no card: decorate it with ds.law")
    demand(card.equation and card.valid, f"the card of {card.name} lacks its equation or its range")
    for key in card.sources:
        demand(key in SOURCES, f"{card.name}: unknown source {key!r}")
    doc = inspect.getdoc(path.law) or ""
    demand("Example" in doc, f"{card.name} has no worked number (Example) in its docstring")
    for word in inspect.signature(path.law).parameters:
        demand(re.search(rf"\b{word}\b", doc), f"the docstring of {card.name} does not describe {word}")
    if card.outside is not None:
        _outside_works(path, card)


def _outside_works(path: Path | Pair, card: LawCard) -> None:
    """The warnings of a law are masks with sentences."""
    assert card.outside is not None
    flow: Any = (usual(path, 0), usual(path, 1)) if isinstance(path, Pair) else usual(path)
    air: LocalAir = PAIR_AIR if isinstance(path, Pair) else AIR
    for mask, sentence in card.outside(flow, air, **path.coefficients):
        one = np.asarray(mask).dtype == bool and np.size(mask) == 1
        demand(one, f"outside() of {card.name} gives {shown(mask)}, no truth value")
        demand(len(sentence) > 20, f"outside() of {card.name} gives no sentence: {sentence!r}")


def guesses(part: Part) -> None:
    """Areas and first guesses are positive and finite."""
    for path in part.paths():
        for side in (0, 1) if isinstance(path, Pair) else (None,):
            demand(0.0 < usual(path, side) < 1e6, f"a first guess of {usual(path, side):g} kg/s")
            area: Any = path.area if side is None else path.area[side]
            demand(np.all(np.asarray(area) > 0.0), f"an area of {area} m2")


def survives(part: Part) -> None:
    """Numbers and form give the part back; copies are equal; its repr names its kind."""
    again = part.schema.build(list(part.numbers().values()))
    demand(again == part and hash(again) == hash(part), "its numbers and form do not give it back")
    demand(type(part).__name__ in repr(part), "its repr does not name its class")
    given = {n: getattr(part, n) for n in part.declared if getattr(part, n) is not None}
    demand(type(part).of(given) == part, "its fields do not give it back")
