"""Example parts of a kind, made from its declared numbers alone."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from ..errors import InputError
from ..parts.declare import Fields, Nested, Number, Word

TYPICAL = {
    "m": 0.3,
    "m2": 0.03,
    "m3/s": 1.0,
    "m/s": 5.0,
    "kg/s": 0.5,
    "kg/m3": 1.2,
    "Pa": 1000.0,
    "rad": 1.0,
    "rad/s": 300.0,
    "K": 300.0,
    "W": 5000.0,
    "": 0.6,
}
"""A value of the size met on a machine, for numbers without a default, by measure."""
SCALES = (1.0, 0.5, 2.0)


def examples_of(kind: type[Fields]) -> list[Any]:
    """Parts of a kind: those of its own `examples()`, else what its declarations allow.

    From the declarations: a part for each of its `choices`, each of its words, each optional number and
    each smaller part given, and all numbers half and twice as large. What the kind's own checks refuse is
    left out.
    """
    own = getattr(kind, "examples", None)
    if callable(own):
        return list(own())
    out: list[Any] = []
    for place, values in enumerate(_variants(kind)):
        for scale in SCALES if place == 0 else (1.0,):
            try:
                made = kind(**{n: _scaled(kind.declared[n], v, scale) for n, v in values.items()})
            except InputError:
                continue
            if made not in out:
                out.append(made)
    return out


def _variants(kind: type[Fields]) -> list[dict[str, Any]]:
    chosen = {name for names in kind.choices for name in names}
    optional = {f.name for f in dataclasses.fields(kind) if f.default is None} - chosen  # type: ignore[arg-type]
    plain = {n: d for n, d in kind.declared.items() if n not in chosen and n not in optional}
    base = {n: _typical(d) for n, d in plain.items() if not isinstance(d, Word | Nested)}
    base |= {n: d.choices[0] for n, d in plain.items() if isinstance(d, Word)}
    defaults = {f.name: f.default for f in dataclasses.fields(kind) if f.name in base}  # type: ignore[arg-type]
    base |= {n: v for n, v in defaults.items() if v is not dataclasses.MISSING}
    bases = [{**base, **{n: _typical(kind.declared[n]) for n in names}} for names in kind.choices or ((),)]
    out = list(bases)
    everything = {n: _typical(kind.declared[n]) for n in optional}
    for first in bases:
        for name, decl in kind.declared.items():
            if isinstance(decl, Word):
                # a word may need a number that is optional else
                out += [{**first, **more, name: word} for word in decl.choices for more in ({}, everything)]
            elif name in optional:
                out.append({**first, name: _typical(decl)})
            elif isinstance(decl, Nested):
                out.append({**first, name: tuple(examples_of(decl.kind)[:3])})
            elif name in plain and defaults.get(name) == 0.0:  # a part without it, and one with
                out.append({**first, name: _typical(decl)})
    return [*out, *({**first, **everything} for first in bases)]


def _typical(decl: Any) -> Any:
    """A value inside the range of a declared number; for points a short rising list."""
    if isinstance(decl, Word):
        return decl.choices[0]
    if isinstance(decl, Nested):
        return ()
    value = TYPICAL.get(decl.measure, 1.0)
    if not decl.low < value < decl.high:
        wide = decl.low < -1e300 or decl.high > 1e300
        value = float(np.clip(value, decl.low, decl.high)) if wide else 0.5 * (decl.low + decl.high)
        value = 2.0 * value if value == decl.low > 0.0 and wide else value
    return [value * k for k in (0.5, 1.0, 1.5)] if decl.points else value


def _scaled(decl: Any, value: Any, scale: float) -> Any:
    if not isinstance(decl, Number) or not isinstance(value, float):
        return value
    out = value * scale
    return out if decl.low <= out <= decl.high else value
