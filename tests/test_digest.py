"""The digest of a description: complete, indifferent to identity and order, the same in every process."""

import copy
import dataclasses
import enum
import subprocess
import sys
import threading
from types import MappingProxyType, ModuleType

import numpy as np
import pytest

import ductsim as ds
from ductsim.digest import digest


def test_tells_apart_what_differs():
    objects = [1, 1.0, "1", b"1", [1], [[1]], [1, 1], {"a": 1}, {"a": 2}, {1}, None, True, False, "", [], {}]
    objects += [np.arange(3), np.arange(3.0), np.arange(3.0).reshape(3, 1), ["a", "b"], ["ab"], 1j, ..., -1]
    objects += [np.array([1, "a", None], dtype=object), np.array([2, "a", None], dtype=object), range(3)]
    objects += [np.sin, np.cos, len, print, int, float, np.linalg.solve, np.linalg.inv, ds.Hose, ds.Duct]
    assert len({digest(t) for t in objects}) == len(objects)
    assert digest(1, 2) != digest(12) != digest([1, 2])


def test_equal_things_have_equal_digests():
    column = np.arange(6.0)
    assert digest({"a": 1, "b": 2}) == digest(MappingProxyType({"b": 2, "a": 1}))
    assert digest(column[::2]) == digest(column[::2].copy())
    assert digest(np.float64(0.1), np.int64(3)) == digest(0.1, 3)
    twice = [1.5, "x"]
    assert digest([twice, twice]) == digest([[1.5, "x"], (1.5, "x")])
    assert digest(threading.Lock()) == digest(threading.Lock())  # opaque: only its class counts


def test_what_contains_itself_comes_to_an_end():
    one, two = [1], [2]
    one.append(one)
    two.append(two)
    assert digest(one) != digest(two)


# ---- nothing of a layout is forgotten


def changed(obj):
    """(place, copy of `thing` with one field changed) for every field of it and of what it holds."""
    if isinstance(obj, tuple):
        firsts = {type(item): place for place, item in reversed(list(enumerate(obj)))}
        for place in firsts.values():
            for words, other in changed(obj[place]):
                yield f"[{place}]{words}", (*obj[:place], other, *obj[place + 1 :])
    elif dataclasses.is_dataclass(obj) and not isinstance(obj, type):
        for field in dataclasses.fields(obj):
            value = getattr(obj, field.name)
            others = [("", ("another", value)), *changed(value)]
            for words, other in others:
                made = copy.copy(obj)
                object.__setattr__(made, field.name, other)
                yield f".{field.name}{words}", made


def test_every_field_of_a_layout_counts():
    layout = ds.demo("picker").with_crop().layout
    base = digest(layout)
    places = [place for place, other in changed(layout) if digest(other) == base]
    assert places == []
    seen = {place for place, _ in changed(layout)}
    assert {f".{f.name}" for f in dataclasses.fields(layout)} <= seen
    assert {".units[0].openings", ".parts[0].drive", ".tappings[0].schema.part", ".carried[0].part"} <= seen


def test_every_number_and_every_free_table_counts():
    layout = ds.demo("picker").layout
    free = dict(layout.free)
    assert free
    for key in free:
        assert digest(dataclasses.replace(layout, free={**free, key: "another"})) != digest(layout)
    numbers = dict(ds.demo("picker").numbers)
    for address in list(numbers)[::20]:
        assert digest({**numbers, address: np.nextafter(numbers[address], 9e9)}) != digest(numbers)


# ---- code


HELPERS = """
GAIN = 2.0
TABLE = {"a": [1.0, 2.0]}
def helper(x): return x + GAIN
"""
OWN = """
import functools
import own_helpers
from own_helpers import helper as borrowed
CONSTANT = 1.5
POINTS = (1.0, 2.0)
class Base:
    share = 0.5
    def base(self): return self.share
class Kind(Base):
    @property
    def wide(self): return 1
    @staticmethod
    def still(): return 2
    @functools.cached_property
    def later(self): return 3
    def paths(self): return law
def power(x, exponent=2): return x ** exponent
def make(width):
    def inner(x): return x * width
    return inner
closed = make(3.0)
@functools.lru_cache
def kept(x): return x * 7
@functools.wraps(power)
def wrapped(*args): return power(*args)
def late(x):
    from own_late import constant
    return x * constant
def law(x):
    return power(x) * CONSTANT + borrowed(x) + own_helpers.TABLE["a"][0] + closed(x) + kept(x) + inner_of(x)
def inner_of(x): return [(lambda y: y * POINTS[0])(x), late(x), wrapped(x), law]
law.gain = 4
"""
LATE = "constant = 8"


def load(monkeypatch, old="", new=""):
    """The module `own` with its helpers, loaded anew, one text in them replaced."""
    found = 0
    for name, text in (("own_helpers", HELPERS), ("own_late", LATE), ("own", OWN)):
        found += bool(old) and text.count(old)
        module = ModuleType(name)
        monkeypatch.setitem(sys.modules, name, module)
        exec(text.replace(old, new) if old else text, module.__dict__)
    assert found == bool(old)
    return module


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("CONSTANT = 1.5", "CONSTANT = 1.6"),
        ("GAIN = 2.0", "GAIN = 2.1"),
        ("x + GAIN", "x - GAIN"),
        ("[1.0, 2.0]}", "[1.0, 2.1]}"),
        ("POINTS = (1.0,", "POINTS = (1.1,"),
        ("share = 0.5", "share = 0.6"),
        ("return self.share", "return -self.share"),
        ("return 1\n", "return 11\n"),
        ("return 2\n", "return 12\n"),
        ("return 3\n", "return 13\n"),
        ("exponent=2", "exponent=3"),
        ("x ** exponent", "x * exponent"),
        ("make(3.0)", "make(3.1)"),
        ("x * width", "x / width"),
        ("x * 7", "x * 8"),
        ("constant = 8", "constant = 9"),
        ("y * POINTS", "y / POINTS"),
        ("law.gain = 4", "law.gain = 5"),
        ("return power(*args)", "return -power(*args)"),
    ],
)
def test_any_change_of_a_users_code_is_seen(monkeypatch, old, new):
    before = digest(load(monkeypatch).Kind)
    assert digest(load(monkeypatch).Kind) == before
    assert digest(load(monkeypatch, old, new).Kind) != before


def test_words_that_change_nothing_do_not_count(monkeypatch):
    before = digest(load(monkeypatch).Kind)
    assert digest(load(monkeypatch, "CONSTANT = 1.5", "CONSTANT = 1.5  # measured\n\n").Kind) == before


def test_a_global_that_is_only_called_like_an_attribute_does_not_count(monkeypatch):
    before = digest(load(monkeypatch).Kind)
    assert digest(load(monkeypatch, "CONSTANT = 1.5", "CONSTANT = 1.5; gain = share = 7").Kind) == before


def test_the_packages_code_counts_by_name_and_what_it_closes_over():
    from ductsim.conveying import carrying
    from ductsim.laws.losses import plate_loss

    def own(flow, air):
        return flow

    def other(flow, air):
        return -flow

    assert digest(carrying(own)) != digest(carrying(other))
    assert digest(plate_loss) == digest(plate_loss)


class Way(enum.Enum):
    UP = 1
    DOWN = 2


def test_members_and_objects_count_by_their_value():
    assert digest(Way.UP) != digest(Way.DOWN)
    assert digest(np.poly1d([1.0, 2.0])) == digest(np.poly1d([1.0, 2.0]))
    assert digest(np.poly1d([1.0, 2.0])) != digest(np.poly1d([1.0, 3.0]))


LOOSE = """
import ductsim as ds
from ductsim.digest import digest
from ductsim.questions.vocabulary import question
class Way: pass
def one(x): return x in {"a", "b", "c"} and other(x) in NAMES
def other(x): return one(x) or Way
NAMES = {"hose", "duct", "jet", Way, one, other}
machine = ds.demo("picker").with_crop()
told = digest(machine.layout, machine.numbers, question(machine.layout, "weakest vacuum"), {one, other, Way})
"""


def test_it_is_the_same_in_every_process(monkeypatch):
    module = ModuleType("__main__")
    monkeypatch.setitem(sys.modules, "__main__", module)
    exec(LOOSE, module.__dict__)
    for seed in ("1", "2"):
        told = subprocess.run(
            [sys.executable, "-c", LOOSE + "print(told)"],
            env={"PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        )
        assert told.stdout.strip() == module.told
