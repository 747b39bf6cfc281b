"""The vocabulary of `of`: what can be asked of a machine, by the same words everywhere.

"weakest vacuum", "vacuum 4", "opening air 4", "duct air 4", "tapping door 4", "shaft power fan",
"hose 3.flow" and their like. A room further down adds words of its own with `add_word`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from ..arguments import same_place, texts
from ..description.data import MachineData, running_speed
from ..description.layout import Layout
from ..errors import InputError, UnknownName, nearest_name, shown
from ..network.groups import PathName
from .gauges import (
    Flows,
    air_density,
    end_flow,
    least,
    opening_air,
    shaft_power,
    tapping_pressures,
)


@dataclass(frozen=True)
class Question:
    """Something that can be asked of a solved machine.

    Attributes
    ----------
    of : str
        The words it was asked by.
    measure : str
        The SI measure of the answer.
    label : str
        What it is, for tables and axes.
    evaluate : callable
        `evaluate(machine, flows) -> float or (S,)`, where `flows` is a state or anything with `flow`,
        `pressure`, `temperature`, `vacuum`, `power` and `ask`. What it reads is watched when derivatives are
        asked for.
    more_is_better : bool
        False where less is better (shaft power).
    """

    of: str
    measure: str
    label: str
    evaluate: Callable[[MachineData, Flows], Any]
    more_is_better: bool = True


@dataclass(frozen=True)
class Word:
    """One way to ask: the leading words, what may follow them, and the question they make.

    Attributes
    ----------
    words : str
        "vacuum", "shaft power".
    names : callable
        `names(layout)`: what may follow; an empty text stands for nothing.
    make : callable
        `make(layout, name) -> Question`.
    """

    words: str
    names: Callable[[Layout], Iterable[str]]
    make: Callable[[Layout, str], Question]


WORDS: dict[str, Word] = {}


def add_word(words: str, names: Callable[[Layout], Iterable[str]]) -> Callable[[Any], Any]:
    """Decorator that adds a way to ask: `make(layout, name) -> Question`.

    The same function of the same module may be added again (a notebook cell run twice); the last counts.

    Raises
    ------
    InputError
        For words that are taken, or none, and for what is no function.
    """
    if not isinstance(words, str) or not words.strip() or not words.isprintable() or words != words.strip():
        raise InputError(
            f"{shown(words)} is no word to ask by", place="add_word", allowed="a text on one line"
        )
    if not callable(names):
        raise InputError(
            f"{shown(names)} is no function", place=f"add_word, {words!r}", allowed="names(layout) -> names"
        )

    def add(make: Callable[[Layout, str], Question]) -> Callable[[Layout, str], Question]:
        if not callable(make):
            raise InputError(f"{shown(make)} is no function", place=f"add_word, {words!r}")
        known = WORDS.get(words)
        if known is not None and not same_place(known.make, make):
            raise InputError(f"the words {words!r} are taken", place="add_word", allowed="other words")
        WORDS[words] = Word(words, names, make)
        return make

    return add


def asked_of(layout: Layout, of: str | Sequence[str], place: str) -> list[str]:
    """The questions that a study is asked, by one word or a list of them, as a list: at least one.

    Raises
    ------
    InputError, UnknownName
        For what is no text or list of texts, and for words that ask nothing.
    """
    asked = texts(of, f"{place}, of", "a question, or a list of them")
    for words in asked:
        question(layout, words)
    return asked


def question(layout: Layout, of: str) -> Question:
    """The question that `of` asks of machines with this layout.

    Raises
    ------
    UnknownName
        For words that ask nothing, with the nearest that do.
    """
    if isinstance(of, str):
        for words in sorted(WORDS, key=len, reverse=True):
            if of == words or of.startswith(words + " "):
                name = of[len(words) :].strip()
                word = WORDS[words]
                if name in word.names(layout):
                    return word.make(layout, name)
        found = _of_path(layout, of)
        if found is not None:
            return found
        if of.startswith("weakest ") and not layout.units:
            raise InputError(
                f"{of!r} cannot be asked: the machine has no units", place="of", allowed="a [[unit]]"
            )
        if of.startswith(("carrying margin", "ground speed")) and layout.crop is None:
            raise InputError(
                f"{of!r} cannot be asked: the machine has no crop",
                place="of",
                allowed="a [crop] table in its file, or machine.with_crop(ds.Crop(...))",
            )
    known = vocabulary(layout)
    raise UnknownName(
        f"unknown question {shown(of)}",
        place="of",
        allowed=""
        if nearest_name(str(of), known)
        else f"ask for one of {', '.join(map(repr, known[:8]))} ...",
        nearest=nearest_name(str(of), known),
    )


def vocabulary(layout: Layout) -> list[str]:
    """Everything that can be asked of machines with this layout."""
    out = [f"{word.words} {name}".strip() for word in WORDS.values() for name in word.names(layout)]
    for part in layout.parts:
        for key in layout.path_keys(part.name):
            out += [f"{_dotted(key)}.flow", f"{_dotted(key)}.drop"]
    return out


def _dotted(key: PathName) -> str:
    return key if isinstance(key, str) else ".".join(key)


# ---- units


def _units(layout: Layout) -> list[str]:
    return [unit.name for unit in layout.units]


def _if_units(layout: Layout) -> list[str]:
    return [""] if layout.units else []


@add_word("vacuum", _units)
def _vacuum(layout: Layout, name: str) -> Question:
    at = layout.unit[name].vacuum_at
    return Question(
        f"vacuum {name}",
        "Pa",
        f"vacuum of unit {name}",
        lambda machine, flows: 0.0 - tapping_pressures(machine, flows, at).static,
    )


@add_word("total vacuum", _units)
def _total_vacuum(layout: Layout, name: str) -> Question:
    at = layout.unit[name].vacuum_at
    return Question(
        f"total vacuum {name}",
        "Pa",
        f"total vacuum of unit {name}",
        lambda machine, flows: 0.0 - tapping_pressures(machine, flows, at).total,
    )


@add_word("weakest vacuum", _if_units)
def _weakest_vacuum(layout: Layout, name: str) -> Question:
    taps = [unit.vacuum_at for unit in layout.units]
    return Question(
        "weakest vacuum",
        "Pa",
        "vacuum of the weakest unit",
        lambda machine, flows: least([0.0 - tapping_pressures(machine, flows, at).static for at in taps]),
    )


@add_word("opening air", _units)
def _opening_air(layout: Layout, name: str) -> Question:
    return Question(
        f"opening air {name}",
        "kg/s",
        f"air through the openings of unit {name}",
        lambda machine, flows: opening_air(machine, flows, name),
    )


@add_word("weakest opening air", _if_units)
def _weakest_opening_air(layout: Layout, name: str) -> Question:
    return Question(
        "weakest opening air",
        "kg/s",
        "least air through the openings of a unit",
        lambda machine, flows: least([opening_air(machine, flows, unit) for unit in _units(layout)]),
    )


@add_word("duct air", _units)
def _duct_air(layout: Layout, name: str) -> Question:
    key = layout.path_keys(layout.unit[name].duct)[0]
    return Question(
        f"duct air {name}",
        "kg/s",
        f"air in the duct of unit {name}",
        lambda machine, flows: flows.flow[key],
    )


# ---- tappings


def _tappings(layout: Layout) -> list[str]:
    return [tapping.name for tapping in layout.tappings]


def _at_tapping(words: str, which: str, meaning: str) -> None:
    def make(layout: Layout, name: str) -> Question:
        return Question(
            f"{words} {name}",
            "Pa",
            f"{meaning} at {name}",
            lambda machine, flows: getattr(tapping_pressures(machine, flows, name), which),
        )

    add_word(words, _tappings)(make)


_at_tapping("tapping", "static", "static pressure")
_at_tapping("total pressure", "total", "total pressure")
_at_tapping("velocity pressure", "velocity", "velocity pressure")


@add_word("air at", _tappings)
def _air_at(layout: Layout, name: str) -> Question:
    tapping = layout.tapping[name]
    return Question(
        f"air at {name}",
        "kg/s",
        f"air past the tapping {name}",
        lambda machine, flows: abs(end_flow(machine, flows, tapping.path, tapping.end)),
    )


@add_word("air velocity", _tappings)
def _air_velocity(layout: Layout, name: str) -> Question:
    tapping = layout.tapping[name]

    def evaluate(machine: MachineData, flows: Flows) -> Any:
        density = air_density(
            machine.air(),
            tapping_pressures(machine, flows, name).total,
            flows.temperature[layout.end_node(tapping.path, tapping.end)],
        )
        return abs(end_flow(machine, flows, tapping.path, tapping.end)) / (
            density * machine.numbers[f"{name}.area"]
        )

    return Question(
        f"air velocity {name}",
        "m/s",
        f"mean air velocity past the tapping {name}",
        evaluate,
    )


# ---- fans


@add_word("shaft power", lambda layout: [*layout.fans, *([""] if layout.fans else [])])
def _shaft_power(layout: Layout, name: str) -> Question:
    names = [name] if name else layout.fans
    return Question(
        f"shaft power {name}".strip(),
        "W",
        f"shaft power of {name or 'all fans'}",
        lambda machine, flows: sum(shaft_power(machine, flows, n) for n in names),
        more_is_better=False,
    )


@add_word("speed", lambda layout: layout.fans)
def _speed(layout: Layout, name: str) -> Question:
    return Question(
        f"speed {name}",
        "rad/s",
        f"speed of {name}",
        lambda machine, flows: running_speed(machine.part_numbers(), name),
    )


# ---- nodes and paths


def _nodes(layout: Layout) -> list[str]:
    return list(dict.fromkeys(end for part in layout.parts for end in part.ends if end != "outside"))


@add_word("pressure", _nodes)
def _pressure(layout: Layout, name: str) -> Question:
    return Question(
        f"pressure {name}",
        "Pa",
        f"total pressure in {name}",
        lambda machine, flows: flows.pressure[name],
    )


def _of_path(layout: Layout, of: str) -> Question | None:
    """Flow and drop of a path ("hose 3.flow", "jet 1.motive.flow"); None when it is nothing of the kind."""
    path, _, what = of.rpartition(".")
    part, _, which = path.partition(".")
    if what not in ("flow", "drop") or part not in layout.part:
        return None
    key: PathName = (part, which) if which else part
    if key not in layout.path_keys(part):
        ways = [f"{_dotted(k)}.{what}" for k in layout.path_keys(part)]
        raise UnknownName.of("path", of, ways, place="of")
    if what == "flow":
        return Question(of, "kg/s", f"air in {path}", lambda machine, flows: flows.flow[key])
    start, finish = _path_nodes(layout, part, which)
    return Question(
        of,
        "Pa",
        f"loss of total pressure in {path}",
        lambda machine, flows: flows.pressure[start] - flows.pressure[finish],
    )


def _path_nodes(layout: Layout, part: str, which: str) -> tuple[str, str]:
    """The nodes at the ends of a path; each of several runs between its own end and the shared one."""
    entry = layout.part[part]
    kind: Any = entry.schema.part
    if not which:
        return entry.ends[0], entry.ends[-1]
    own = kind.ends.index(which)
    shared = next(i for i, word in enumerate(kind.ends) if word not in kind.path_names)
    return (entry.ends[own], entry.ends[shared]) if own < shared else (entry.ends[shared], entry.ends[own])
