"""`Loaded(part, ...)`: a part that carries crop. The network never hears of crop: it sees other laws.

A loaded part has the numbers of the part itself and those of its load, so crop flow is a number like any
other: it may be a column, and every answer has its slope in it.
"""

from __future__ import annotations

from typing import Any, ClassVar, TypeVar

from .errors import InputError, shown
from .laws.conveying import CROP_COEFFICIENTS, carrying, loaded_jet
from .laws.jets import jet
from .parts.declare import KINDS, Fields, OptionalValue, Pair, Part, Path, Schema, Value, fields, number

P = TypeVar("P", bound=Part)


@fields("load")
class Load(Fields):
    """The numbers that crop adds to the part it passes through; a `Crop` takes its own from here."""

    crop_flow: Value = number("kg/s", at_least=0.0, at_most=100.0, default=0.0, doc="crop carried; 0 = none")
    crop_friction: Value = number(
        "",
        at_least=0.0,
        at_most=5.0,
        default=0.5,
        spread=0.3,
        doc="K: drag added to friction and bends, 1 + K crop / air",
    )
    slip: Value = number(
        "m/s", at_least=0.0, at_most=30.0, default=6.0, spread=0.25, doc="air velocity less crop velocity"
    )
    plug_density: Value = number(
        "kg/m3", above=0.0, at_most=1000.0, default=60.0, spread=0.3, doc="crop density of a plugged duct"
    )
    start_velocity: Value = number(
        "m/s", at_least=0.0, at_most=50.0, default=2.0, spread=0.3, doc="velocity at which crop enters"
    )
    start_share: Value = number(
        "", at_least=0.0, at_most=1.0, default=1.0, doc="share of the crop that is accelerated here"
    )
    arrival_area: OptionalValue = number(
        "m2",
        above=0.0,
        default=None,
        doc="section that the rest of the crop comes from; its own if not given",
    )


LOAD = tuple(Load.declared)
"""The names of the numbers of a load."""


class Carrying:
    """What tells a loaded part's class: its paths follow the loaded laws.

    Class attributes
    ----------------
    plain : the class of the part itself.
    """

    plain: ClassVar[type[Part]]

    def paths(self) -> tuple[Path | Pair, ...]:
        """The paths of the part itself, each by its law with crop."""
        inner: tuple[Path | Pair, ...] = super().paths()  # type: ignore[misc]
        return tuple(self._loaded(path) for path in inner)

    def _loaded(self, path: Path | Pair) -> Path | Pair:
        own: Any = self
        load = {name: getattr(own, name) for name in LOAD if getattr(own, name) is not None}
        if isinstance(path, Pair):
            del load["plug_density"]
            path.law = loaded_jet
        else:
            path.law = carrying(path.law)
            load["crop_rise"] = path.coefficients.get("rise", 0.0)
        path.coefficients = {**path.coefficients, **load}
        return path


def fits(path: Path | Pair) -> bool:
    """Whether a path's law can be loaded: it has a section, or it is a jet."""
    return path.law is jet if isinstance(path, Pair) else "area" in path.coefficients and path.power is None


_CLASSES: dict[type[Fields], type[Part]] = {}


def loaded_class(kind: type[Part]) -> type[Part]:
    """The class of loaded parts of a kind, made once; its fields are the kind's own, then those of `Load`."""
    if kind in _CLASSES:
        return _CLASSES[kind]
    body = {
        "__module__": __name__,
        "__qualname__": f"Loaded{kind.__name__}",
        "__doc__": f"{kind.__name__} that carries crop.",
        "__annotations__": {},
        "plain": kind,
    }
    made: Any = type(f"Loaded{kind.__name__}", (Carrying, Load, kind), body)
    _CLASSES[kind] = fields(kind.kind)(made)
    return _CLASSES[kind]


def __getattr__(name: str) -> Any:
    """The loaded classes by name, so that machines with crop can be sent to another process."""
    for kind in KINDS.values():
        if name == f"Loaded{kind.__name__}":
            return loaded_class(kind)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def loaded_schema(schema: Schema, arrival: bool = False) -> Schema:
    """The schema of a part that carries crop, from that of the part itself.

    Parameters
    ----------
    schema : Schema
        Of the part.
    arrival : bool
        Whether `arrival_area` is one of its numbers.
    """
    if not issubclass(schema.part, Part):
        raise TypeError(f"{schema.part.__name__} is no part")
    own = tuple((name, None if name == "arrival_area" and not arrival else True) for name in LOAD)
    return Schema(loaded_class(schema.part), (*schema.shape, *own))


def plain_schema(schema: Schema) -> Schema:
    """The schema of the part itself, from that of the part that carries crop."""
    if not issubclass(schema.part, Carrying):
        return schema
    return Schema(schema.part.plain, tuple(item for item in schema.shape if item[0] not in LOAD))


def Loaded(part: P, **load: Any) -> P:
    """A part that carries crop.

    Parameters
    ----------
    part : Part
        A duct, hose, opening, gate, screen or jet.
    **load
        Numbers of the load: `crop_flow` [kg/s], `crop_friction` K [-], `slip` [m/s], `plug_density`
        [kg/m3], `start_velocity` [m/s], `start_share` [-], `arrival_area` [m2]. With a crop flow of 0 it
        is exactly the part. Crop is accelerated once: by default all of it in a duct, hose or jet
        (`start_share` 1), none of it in an opening; give 0 where it has been sped up before. Its drag
        multiplies what the part's law loses along walls and in bends, as the law's card says (`walls`).

    Returns
    -------
    Part
        With the ends and paths of `part`; crop moves along a single path, or from suction to discharge.

    Raises
    ------
    InputError
        For something that is no part, a part that no crop can pass through, and bad numbers.

    Example: `net.add("duct 1", Loaded(Duct(...), crop_flow=0.5), "foot", "outside")`.
    """
    if not isinstance(part, Part):
        raise InputError(f"{shown(part)} is not a part", place="Loaded", allowed="a part, like ds.Duct(...)")
    if isinstance(part, Carrying):
        raise InputError("the part carries crop already", place="Loaded", allowed="a part without crop")
    if not all(fits(path) for path in part.paths()):
        raise InputError(
            f"no crop passes through a {part.kind}",
            place="Loaded",
            allowed="a part with one path and a section, or a jet",
        )
    own = {name: getattr(part, name) for name in type(part).declared}
    if not part.speeds_crop:
        load = {"start_share": 0.0, **load}
    return loaded_class(type(part)).of({**own, **load})  # type: ignore[no-any-return]


__all__ = [
    "CROP_COEFFICIENTS",
    "LOAD",
    "Load",
    "Loaded",
    "loaded_class",
    "loaded_schema",
    "plain_schema",
]
