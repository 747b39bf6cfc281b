"""Work that can be done on a machine: what it changes, its time and cost, what to beware of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any

import numpy as np

from .. import storage
from ..cautions import ALWAYS, CAUTIONS, TAGS, cautions_for
from ..crop.replacement import replace
from ..description.changing import Effect, Setting, resolve, together
from ..description.data import M, MachineData
from ..description.layout import Layout
from ..documents.building import build
from ..errors import InputError, UnknownName, shown
from ..parts import KINDS
from ..parts.declare import Part, Value
from ..quantity import si

_NONE: Any = 0.0


@dataclass(frozen=True, eq=False)
class Fix:
    """One piece of work on a machine.

    A fix whose numbers make no sense is kept, with the sentence that says why in `problem`: a comparison
    shows that sentence and goes on with the others.

    Parameters
    ----------
    name : str
    change : mapping
        Address or pattern -> value, as `Machine.change` takes it.
    replace : mapping
        Name of a part -> the part that takes its place, a `Part` or a mapping with the keys of a machine
        file (`kind` is that of the old part if it is not given).
    minutes : float or str
        Working time: a number of minutes [min], or a text with its measure ("1.5 h").
    cost : float
        What it costs, in any one currency.
    caution : str or sequence of str
        Kinds of work or cautions from `ductsim.cautions`, or sentences of one's own. The cautions that
        belong to what the fix touches are shown in any case.
    note : str

    Attributes
    ----------
    problem : str
        What is wrong with the fix itself; empty when nothing is.
    """

    name: str
    change: Mapping[str, Any] = field(default_factory=dict)
    replace: Mapping[str, Any] = field(default_factory=dict)
    minutes: Value = field(default=_NONE)
    cost: Value = field(default=_NONE)
    caution: Any = ()
    note: str = ""
    problem: str = field(init=False, default="")

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name.strip() or not self.name.isprintable():
            raise InputError(f"{shown(self.name)} is no name", place="fix", allowed="a text on one line")
        for key in ("change", "replace"):
            table = getattr(self, key)
            if not isinstance(table, Mapping):
                raise InputError(
                    f"{key}: {shown(table)} is no mapping",
                    place=self.place,
                    allowed='write change = { "hose 3.length" = "2 m" }',
                )
            object.__setattr__(self, key, MappingProxyType(dict(table)))
        words = [self.caution] if isinstance(self.caution, str) else self.caution
        problem = ""
        for key, read in (("minutes", _minutes), ("cost", _cost), ("caution", _cautions)):
            try:
                value = read(words if key == "caution" else getattr(self, key))
            except InputError as err:
                value = () if key == "caution" else 0.0
                problem = problem or str(err.at(place=f"{self.place}, {key}"))
            object.__setattr__(self, key, value)
        object.__setattr__(self, "problem", problem)

    @property
    def place(self) -> str:
        """Where it is, for messages."""
        return f"fix {self.name!r}"

    def on(self, machine: M) -> M:
        """The machine with this fix done.

        Raises
        ------
        InputError
            For whatever is wrong with the fix on this machine, one sentence.
        """
        if not hasattr(machine, "layout") or not hasattr(machine, "changed"):
            raise InputError(f"{shown(machine)} is not a machine", place=self.place, allowed="a machine")
        task = Task.of(self, machine)
        done = replace(machine, task.parts) if task.parts else machine
        return done.changed(task.effects)

    def __repr__(self) -> str:
        return f"<Fix {self.name!r}: {self.minutes:g} min>"

    def __reduce__(self) -> tuple[Any, ...]:
        return _again, (type(self), _plainly(self))


def _plainly(fix: Fix) -> dict[str, Any]:
    own = {f.name: getattr(fix, f.name) for f in fields(fix)}
    return own | {"change": dict(fix.change), "replace": dict(fix.replace)}


def _again(cls: type[Fix], own: dict[str, Any]) -> Fix:
    """A fix as it was, its problem too: what was wrong with it is no longer there to be found again."""
    fix = object.__new__(cls)
    for name, value in own.items():
        seen = MappingProxyType(value) if name in ("change", "replace") else value
        object.__setattr__(fix, name, seen)
    return fix


storage.keeps(Fix, _plainly, _again)


def working_time(value: Any, place: str) -> float | None:
    """A working time in minutes, from a number of them or a text with its measure; None stays None.

    Raises
    ------
    InputError
        For what is no working time.
    """
    if value is None:
        return None
    try:
        return _minutes(value)
    except InputError as err:
        raise err.at(place=place) from None


def _minutes(value: Any) -> float:
    seconds = si(value, "min")
    if not isinstance(seconds, float) or seconds < 0.0:
        raise InputError(
            f"{shown(value)} is no working time", allowed="0 minutes or more, as in 25 or '1.5 h'"
        )
    return seconds / 60.0


def _cost(value: Any) -> float:
    cost = si(value, "")
    if not isinstance(cost, float) or cost < 0.0:
        raise InputError(f"{shown(value)} is no cost", allowed="0 or more")
    return cost


def _cautions(words: Any) -> tuple[str, ...]:
    """Known words, or sentences: a single word that is not known is a slip."""
    if (
        not isinstance(words, Iterable)
        or getattr(words, "shape", (1,)) == ()
        or not all(isinstance(word, str) for word in words)
    ):
        raise InputError(f"{shown(words)} is no caution", allowed="a text or a list of texts")
    out = tuple(words)
    for word in out:
        if " " not in word:
            cautions_for([word])
    return out


# ---- a fix on a certain machine


@dataclass(frozen=True, eq=False)
class Task:
    """A fix spelled out for one machine.

    Attributes
    ----------
    fix : Fix
    effects : mapping
        Address -> what happens to the number there. A part of the same schema that takes another's place is
        written as its numbers.
    parts : mapping
        Name -> part of another schema, which needs another layout.
    cautions : list of str
        What to beware of: by what the fix touches, by its own words, the constant sentence last.
    """

    fix: Fix
    effects: Mapping[str, Effect]
    parts: Mapping[str, Part]
    cautions: list[str]

    @classmethod
    def of(cls, fix: Fix, machine: MachineData) -> Task:
        """The fix on that machine, tried out.

        Raises
        ------
        InputError
            One sentence that begins with the fix: unknown addresses and parts, values out of range.
        """
        if fix.problem:
            raise InputError(fix.problem)
        try:
            given = {name: _built(machine, name, what) for name, what in fix.replace.items()}
            done = replace(machine, given) if given else machine
            effects = resolve(done.layout, fix.change)
            done = done.changed(effects)
        except InputError as err:
            raise err.at(place=fix.place) from None
        own = {address: effect for address, effect in effects.items() if address.split(".")[0] not in given}
        other: dict[str, Part] = {}
        for name in given:
            entry = machine.layout.part[name]
            part = done.part(name)
            if part.schema == entry.schema:
                number_keys = [
                    number_key
                    for number_key in entry.schema.number_keys
                    if f"{name}.{number_key}" in machine.layout.declared
                ]
                own.update(
                    {
                        f"{name}.{number_key}": Setting(done.numbers[f"{name}.{number_key}"])
                        for number_key in number_keys
                    }
                )
            else:
                other[name] = part
        return cls(fix, own, other, _cautions_of(fix, machine.layout, own, other))

    @property
    def columns(self) -> int | None:
        """The number of scenarios in its values, None when all are single."""
        values = [e.value if isinstance(e, Setting) else e.factor for e in self.effects.values()]
        sizes = [np.size(value) for value in values if np.ndim(value)]
        return sizes[0] if sizes else None

    def against(self, other: Task) -> str:
        """Why the two cannot both be done, in words without a full stop; empty when they can."""
        try:
            together([self.effects, other.effects])
        except InputError as err:
            return self._both(other, f"{err.place} {err.problem}")
        for name in self.parts.keys() & other.parts.keys():
            if self.parts[name] != other.parts[name]:
                return self._both(other, f"each puts another part in the place of {name!r}")
        for one, two in ((self, other), (other, self)):
            for name in one.parts:
                if name not in two.parts and any(a.split(".")[0] == name for a in two.effects):
                    return self._both(other, f"one replaces {name!r}, the other changes it")
        return ""

    def _both(self, other: Task, why: str) -> str:
        return f"{self.fix.name} and {other.fix.name} contradict each other: {why}"


def _cautions_of(
    fix: Fix, layout: Layout, effects: Mapping[str, Effect], parts: Mapping[str, Part]
) -> list[str]:
    tags = [tag for address in effects for tag in work_on(layout, address)]
    tags += [part.work for part in parts.values()]
    own = [word for word in fix.caution if word not in TAGS and word not in CAUTIONS]
    tags += [word for word in fix.caution if word not in own]
    *known, always = cautions_for(tags)
    return [*known, *own, always]


def work_on(layout: Layout, address: str) -> list[str]:
    """The kinds of work, keys of `ductsim.cautions.TAGS`, behind a change of one number."""
    owner, _, number_key = address.partition(".")
    if owner in layout.drive:
        return (
            ["speed"]
            if number_key == "engine_speed"
            else ["pulley"]
            if number_key != "available_power"
            else []
        )
    if owner not in layout.part:  # weather, tappings, held nodes: nothing to be done by hand
        return []
    kind = layout.part[owner].kind
    return [kind.work_on.get(number_key, kind.work)]


def spelled_out(fixes: Iterable[Fix], machine: MachineData) -> tuple[list[Task], dict[str, str]]:
    """The fixes on a machine, and of those that cannot be done there, by name, why."""
    tasks: list[Task] = []
    errors: dict[str, str] = {}
    for fix in fixes:
        try:
            tasks.append(Task.of(fix, machine))
        except InputError as err:
            errors[fix.name] = str(err)
    return tasks, errors


def named_once(fixes: Iterable[Fix]) -> None:
    """Refuse fixes of one name.

    Raises
    ------
    InputError
        Naming the first that is used twice.
    """
    names = [fix.name for fix in fixes]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"the name {name!r} is used twice", place="fixes", allowed="each name once")


def all_cautions(tasks: Iterable[Task]) -> list[str]:
    """The cautions of several fixes, each once, the constant one last."""
    out: list[str] = []
    for task in tasks:
        out += [text for text in task.cautions if text not in out and text != ALWAYS]
    return [*out, ALWAYS]


def _built(machine: MachineData, name: str, what: Any) -> Any:
    """The part that `what` describes: a part, or a table with the keys of a machine file."""
    if not isinstance(what, Mapping):
        return what
    entry = machine.layout.part.get(name)
    if entry is None:
        raise UnknownName.of("part", name, machine.layout.part, place="replace")
    place = f"replace, {name!r}"
    values = dict(what)
    kind = values.pop("kind", entry.schema.part.kind)
    if not isinstance(kind, str) or kind not in KINDS:
        raise UnknownName.of("kind", kind, KINDS, place=place)
    if entry.drive and KINDS[kind].is_fan and "speed" not in values:
        values["speed"] = machine.part_numbers()[f"{name}.speed"]
    return build(KINDS[kind], values, place)
