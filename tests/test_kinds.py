"""What a part says of its kind is all that the rooms above know of it: a user's own kinds count like ours."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

import ductsim as ds
from ductsim.cautions import TAGS, cautions_for
from ductsim.description.layout import PartEntry
from ductsim.drawing.symbols import SYMBOLS, symbol_of, words_of
from ductsim.fixes.fix import Task
from ductsim.parts.declare import KINDS, part
from ductsim.readings.model import blank
from ductsim.readings.unknowns import assumed, fan_faults, leak_sizes
from ductsim.reports.explore import _leaks

DOCUMENT = tomllib.loads((Path(ds.__file__).parent / "examples" / "picker.toml").read_text(encoding="utf-8"))
OWN = {"leak": "seam of the tests", "fan": "blower of the tests", "screen": "sieve of the tests"}


@pytest.fixture(scope="module", autouse=True)
def own_kinds():
    """Kinds of a user's own that are ours by another name; of the blower, the screen and the seam."""
    made = [
        part(OWN["leak"])(type("Seam", (ds.Leak,), {"__module__": __name__, "__annotations__": {}})),
        part(OWN["fan"])(type("Blower", (ds.Fan,), {"__module__": __name__, "__annotations__": {}})),
        part(OWN["screen"])(type("Sieve", (ds.Screen,), {"__module__": __name__, "__annotations__": {}})),
    ]
    yield made
    for kind in OWN.values():
        KINDS.pop(kind)


def of_own(value):
    """The tables of a machine file with our kinds replaced by a user's own."""
    if isinstance(value, dict):
        return {k: OWN.get(v, v) if k == "kind" else of_own(v) for k, v in value.items()}
    return [of_own(item) for item in value] if isinstance(value, list) else value


@pytest.fixture(scope="module")
def both(own_kinds):
    return ds.demo("picker"), ds.Machine.of(of_own(DOCUMENT))


def test_answers_and_questions(both):
    plain, own = both
    assert own.ask("weakest vacuum") == plain.ask("weakest vacuum")
    assert own.ask("shaft power") == plain.ask("shaft power")
    assert own.layout.fans == plain.layout.fans == ("left fan", "right fan")


def test_what_readings_look_for(both):
    plain, own = both
    assert leak_sizes(own.layout) == leak_sizes(plain.layout)
    faults = ["left screen.blinded", "right screen.blinded", "left fan.soiling", "right fan.soiling"]
    assert fan_faults(own.layout) == fan_faults(plain.layout) == faults
    for address in (*leak_sizes(plain.layout), *faults):
        assert assumed(own, address) == assumed(plain, address)
    for name in ("hatch leak 4", "box leak", "left screen", "front 2", "jet 1"):
        assert blank(own.layout, name) == blank(plain.layout, name)
    with pytest.raises(ds.InputError, match="'duct 1' cannot be taped shut"):
        blank(own.layout, "duct 1")


def test_what_work_is_told(both):
    plain, own = both
    for address, kind in {
        "hatch leak 4.area": "seal",
        "left fan.soiling": "clean",
        "left fan.efficiency": "part",
        "left screen.blinded": "clean",
        "hose 1.length": "hose",
        "front 1.area": "restrictor",
        "belt.driven_pulley": "pulley",
    }.items():
        fix = ds.Fix("a", {address: plain.numbers[address] * 0.9})
        assert Task.of(fix, own).cautions == Task.of(fix, plain).cautions == cautions_for([kind])


def test_what_is_shown(both):
    plain, own = both
    assert _leaks(own, own.solve()) == _leaks(plain, plain.solve())
    assert {words_of(entry.kind) for entry in own.layout.parts} >= set(OWN.values())
    for ours, theirs in zip(plain.layout.parts, own.layout.parts, strict=True):
        assert symbol_of(ours.kind) is symbol_of(theirs.kind)


def test_every_kind_of_ours_says_what_the_rooms_know():
    for kind in KINDS.values():
        assert kind.symbol in SYMBOLS
        assert {kind.work, *kind.work_on.values()} <= TAGS.keys()
        assert kind.is_fan == ("highest_speed" in kind.declared) and kind.is_leak == issubclass(kind, ds.Leak)


@pytest.mark.parametrize("size", [1.0, np.array([1.0, 2.0])])
def test_a_speed_alone_makes_no_fan(size):
    try:

        @part("wheel of the tests")
        class Wheel(ds.Part):
            speed: float = ds.number("rad/s", at_least=0, doc="speed at which it lets crop through")
            area: float = ds.number("m2", above=0, doc="section")

            def paths(self):
                return ds.Opening(area=self.area, loss_coefficient=1.0).paths()

        made = Wheel(speed=3.0, area=size)
        entry = PartEntry("wheel", made.schema, ("a", "b"))
        assert entry.kind is Wheel and not entry.kind.is_fan and entry.size == ""
    finally:
        KINDS.pop("wheel of the tests", None)


number = ds.number("", doc="")


def described(**more):
    """A part with a number that may be 0, one that may not, and some class attributes."""
    own = {
        "__annotations__": {"area": "float", "length": "float"},
        "__module__": __name__,
        "area": ds.number("m2", at_least=0, doc="area"),
        "length": ds.number("m", above=0, doc="length"),
    }
    return type("Described", (ds.Part,), own | more)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"is_fan": 1}, "is_fan = 1; True or False"),
        ({"is_fan": True}, "a fan without a speed; a number speed in rad/s"),
        ({"sizes": "area"}, "sizes = 'area'; a tuple, like"),
        ({"sizes": ("length",)}, "sizes: unknown number that may be 0 'length'"),
        ({"faults": ("dirt",)}, "faults: unknown number that may be 0 'dirt'"),
        ({"work": "seel"}, "work: unknown kind of work 'seel'; did you mean 'seal'"),
        ({"work_on": {"area": "polish"}}, "work: unknown kind of work 'polish'"),
        ({"work_on": {"are": "seal"}}, "work_on: unknown number 'are'; did you mean 'area'"),
        ({"symbol": 3}, "symbol = 3; a text"),
        ({"speeds_crop": None}, "speeds_crop = None; True or False"),
        ({"crop_ways": ((0, 2),)}, "crop_ways = ((0, 2),); a tuple of (from, to)"),
        ({"crop_ways": (0, 1)}, "crop_ways = (0, 1); a tuple of (from, to)"),
        ({"crop_ways": None}, "crop_ways = None; a tuple of (from, to)"),
        (
            {
                "__annotations__": dict.fromkeys(["area", "length", "work"], "float"),
                "work": ds.number("", doc=""),
            },
            "'work' is what every part has; another name for it",
        ),
    ],
)
def test_what_does_not_fit_is_refused(more, words):
    with pytest.raises(ds.InputError) as err:
        part("described of the tests")(described(**more))
    assert words in str(err.value) and "part 'described of the tests'" in str(err.value)
    assert "described of the tests" not in KINDS


def test_an_unknown_symbol_is_told_when_it_is_drawn():
    try:
        made = part("described of the tests")(described(symbol="fann"))
        with pytest.raises(ds.UnknownName, match="symbol: unknown symbol 'fann'; did you mean 'fan'"):
            symbol_of(made)
    finally:
        KINDS.pop("described of the tests", None)


def test_a_cell_run_twice_takes_the_place_of_the_first():
    """The last counts, with what it says; a class of another name is refused."""
    try:
        first = part("described of the tests")(described(work="seal"))
        second = part("described of the tests")(described(work="clean"))
        assert KINDS["described of the tests"] is second is not first
        assert second(area=0.0, length=1.0) != first(area=0.0, length=1.0)
        other = described()
        other.__qualname__ = "Another"
        with pytest.raises(ds.InputError, match=r"the kind is taken by .*Described"):
            part("described of the tests")(other)
    finally:
        KINDS.pop("described of the tests", None)
