"""Declarations: what a field takes and refuses, choices, smaller parts, lists of points, forms."""

import copy
import dataclasses
import math
import pickle

import numpy as np
import pandas as pd
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

import ductsim.parts
from ductsim.errors import InputError, UnknownName
from ductsim.parts.declare import (
    KINDS,
    Fields,
    Nested,
    Number,
    Part,
    Schema,
    Word,
    fields,
    nested,
    number,
    number_values,
    part,
    word,
)

before = dict(KINDS)


@fields("elbow")
class Elbow(Fields):
    angle: float = number(
        "rad",
        above=0.0,
        at_most=2 * math.pi,
        default="90 deg",
        spread=0.05,
        doc="angle",
        cure="write '90 deg'",
    )
    radius: float | None = number("m", above=0.0, default=None, doc="centre-line radius")


@part("pipe of the tests")
class Pipe(Part):
    length: float = number("m", at_least=0.0, doc="length")
    diameter: float | None = number("m", above=0.0, below=5.0, default=None, doc="diameter")
    width: float | None = number("m", above=0.0, default=None, doc="width")
    height: float | None = number("m", above=0.0, default=None, doc="height")
    loss: float = number("", at_least=0.0, default=0.5, spread=0.3, doc="loss coefficient")
    lining: str = word("none", "rubber", default="none", doc="lining")
    seam: str | None = word("welded", "folded", default=None, doc="seam")
    flow: tuple[float, ...] | None = number("m3/s", at_least=0.0, default=None, points=True, doc="flows")
    elbows: tuple[Elbow, ...] = nested(Elbow, "elbow", doc="bends along it")
    choices = (("diameter",), ("width", "height"))

    def check(self):
        if self.flow is not None and len(self.flow) == 1:
            raise InputError("one point makes no curve", place="flow")


KINDS.pop("pipe of the tests")
assert before == KINDS


def pipe(**values):
    return Pipe(**{"length": 2.0, "diameter": 0.2} | values)


# ---- numbers


def test_numbers_become_si_floats():
    made = Pipe(length="2 ft", width=np.float32(0.5), height=1, loss="50 %")
    assert made.length == pytest.approx(0.6096)
    assert made.width == 0.5
    assert made.height == 1.0
    assert made.loss == 0.5
    assert all(type(v) is float for v in number_values(made))


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"length": -1.0}, "pipe of the tests: length: -1 m is out of range; allowed: at least 0 m"),
        ({"diameter": 0.0}, "diameter: 0 m is out of range; allowed: above 0 m and below 5 m"),
        ({"diameter": 5.0}, "diameter: 5 m is out of range"),
        ({"diameter": "2 kPa"}, "pipe of the tests: diameter: a length given in kPa"),
        ({"length": "1,2 m"}, "pipe of the tests: length: '1,2 m' has a comma"),
        ({"length": math.nan}, "length: nan m is out of range"),
        ({"length": math.inf}, "length: inf m is out of range"),
        ({"length": np.float64("nan")}, "length: nan is no finite number"),
        ({"length": None}, "pipe of the tests: length is missing; length"),
        ({"length": True}, "length: True .bool. is no number"),
        ({"length": 2j}, "length: 2j .complex. is no number"),
        ({"length": np.complex64(1)}, "is no number"),
        ({"length": 10**400}, "is no finite number"),
        ({"length": {}}, "length: {} .dict. is no number"),
        ({"length": []}, r"length: a column of shape \(0,\)"),
        ({"length": [[1.0]]}, r"length: a column of shape \(1, 1\); a number or a 1-D array"),
        ({"length": [1.0, -2.0, -3.0]}, "length: -2 in the column is out of range; allowed: at least 0 m"),
        ({"length": [1.0, math.nan]}, "length: nan is no finite number"),
        ({"loss": None}, "loss is missing"),
        ({"elbows": [{"angle": 90.0}]}, r"elbow: angle: 90 rad is out of range; .*\(write '90 deg'\)"),
    ],
)
def test_numbers_that_are_refused(values, words):
    with pytest.raises(InputError, match=words):
        pipe(**values)


@given(
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from(["above", "at_least"]),
    st.sampled_from(["below", "at_most"]),
)
def test_bounds_hold_exactly(value, lower, upper):
    declared = number("m", **{lower: -1.0, upper: 2.0}, doc="").metadata["declared"]
    above = value > -1.0 if lower == "above" else value >= -1.0
    below = value < 2.0 if upper == "below" else value <= 2.0
    for given_value in (value, np.array([0.5, value])):
        if above and below:
            assert np.all(declared.check(given_value, "x") == given_value)
        else:
            with pytest.raises(InputError, match=r"^x: "):
                declared.check(given_value, "x")


@pytest.mark.parametrize("value", [1e-308, 5e-324, 9e-31, 1.1e30, 1e308, -1e300])
def test_numbers_no_machine_has_are_refused_with_the_limits(value):
    declared = number("Pa", above=0.0, doc="").metadata["declared"]
    for given_value in (value, np.array([1.0, value])):
        with pytest.raises(
            InputError, match=r"above 0 Pa, and no number of a machine is below 1e-30 or beyond 1e\+30"
        ):
            declared.check(given_value, "x")
    assert declared.check(1e-30, "x") == 1e-30


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_a_number_without_bounds_takes_everything_up_to_the_largest(value):
    declared = number("Pa", doc="").metadata["declared"]
    assert declared.allowed == "allowed: a finite number"
    if abs(value) <= 1e30:
        assert declared.check(value, "x") == value
    else:
        with pytest.raises(InputError):
            declared.check(value, "x")


def every_number():
    kinds = dict.fromkeys(KINDS.values())
    for cls in list(kinds):
        kinds |= {d.kind: None for d in cls.declared.values() if isinstance(d, Nested)}
    for cls in kinds:
        for name, declared in cls.declared.items():
            if isinstance(declared, Number):
                yield pytest.param(declared, id=f"{cls.kind}.{name}")


@pytest.mark.parametrize("declared", list(every_number()))
def test_every_declared_number_refuses_what_is_no_number_in_range(declared):
    assert declared.doc
    assert declared.spread >= 0.0
    bad = [math.nan, math.inf, -math.inf, True, None, 1j, "1,2", "1e400", "9**9**9**9 m", [math.nan], [[1.0]]]
    bad += [math.nextafter(declared.low, -math.inf), math.nextafter(declared.high, math.inf)]
    for value in bad:
        with pytest.raises(InputError, match=r"^somewhere: "):
            declared.check(value, "somewhere")
    edges = [max(declared.low, -1e300), min(declared.high, 1e300)]
    assert declared.check(edges[0], "x") == edges[0]
    assert declared.check(edges, "x").tolist() == edges


@pytest.mark.parametrize("kind", KINDS)
def test_every_part_has_its_ends_its_paths_and_its_words(kind):
    cls = KINDS[kind]
    assert cls.kind == kind
    assert cls.__doc__
    assert len(cls.ends) == len(set(cls.ends)) >= 2
    assert len(cls.path_names) == len(set(cls.path_names)) >= 1
    for keys in cls.choices:
        assert set(keys) <= set(cls.declared)
    assert ductsim.parts


# ---- columns


def test_a_column_is_kept_as_a_read_only_copy():
    lengths = np.array([1.0, 2.0])
    made = pipe(length=lengths, loss=[0.1, 0.2])
    lengths[0] = 99.0
    assert made.length.tolist() == [1.0, 2.0]
    with pytest.raises(ValueError, match="read-only"):
        made.length[0] = 3.0
    assert pipe(length=pd.Series([1.0, 2.0])) == pipe(length=["1 m", "200 cm"])
    assert "length=<column of 2>" in repr(made)


# ---- words, choices, smaller parts, points


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"lining": "ruber"}, "pipe of the tests: lining: unknown word 'ruber'; did you mean 'rubber'"),
        ({"lining": 3}, "unknown word 3; known: 'none', 'rubber'"),
        ({"lining": None}, "unknown word None"),
        ({"lining": np.array(["none", "rubber"])}, "unknown word"),
        ({"seam": "glued"}, "unknown word 'glued'"),
    ],
)
def test_words_that_are_refused(values, words):
    with pytest.raises(UnknownName, match=words):
        pipe(**values)


def test_an_optional_word():
    assert pipe().seam is None
    assert pipe(seam="welded").seam == "welded"


@pytest.mark.parametrize(
    ("values", "got"),
    [
        ({}, "none of them"),
        ({"width": 0.1}, "width"),
        ({"diameter": 0.1, "width": 0.1}, "diameter, width"),
        ({"diameter": 0.1, "width": 0.1, "height": 0.1}, "diameter, height, width"),
    ],
)
def test_exactly_one_set_of_choices(values, got):
    words = f"pipe of the tests: got {got}; give exactly one set of diameter or width and height"
    with pytest.raises(InputError, match=words):
        Pipe(length=1.0, **values)


def test_choices_may_share_a_field():
    @fields("slot")
    class Slot(Fields):
        length: float | None = number("m", default=None, doc="")
        width: float | None = number("m", default=None, doc="")
        depth: float | None = number("m", default=None, doc="")
        choices = (("length", "width"), ("length", "width", "depth"))

    assert Slot(length=1.0, width=2.0).depth is None
    assert Slot(length=1.0, width=2.0, depth=3.0).depth == 3.0
    with pytest.raises(InputError, match="got depth, length"):
        Slot(length=1.0, depth=3.0)


def test_smaller_parts_from_mappings_or_made():
    one = Elbow(angle="45 deg")
    assert pipe(elbows=one).elbows == (one,)
    assert pipe(elbows={"angle": "45 deg"}).elbows == (one,)
    assert pipe(elbows=[one, {"angle": math.pi / 4}]).elbows == (one, one)
    assert pipe(elbows=iter([one])).elbows == (one,)
    assert Elbow().angle == math.pi / 2


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ([{"angel": 1.0}], "elbows: elbow 1, elbow: unknown key 'angel'; did you mean 'angle'"),
        ([{}, {"angle": -1.0}], "elbows: elbow 2, elbow: angle: -1 rad is out of range"),
        ([3.0], "elbows: 3.0 is not a elbow"),
        (3.0, "elbows: 3.0 is not a list; a list: bends along it"),
        ("90 deg", "elbows: '90 deg' is not a list"),
        (None, "elbows: None is not a list"),
        (b"x", "is not a list"),
    ],
)
def test_smaller_parts_that_are_refused(value, words):
    with pytest.raises(InputError, match=words):
        pipe(elbows=value)


@pytest.mark.parametrize(
    "value",
    [
        [0, 1.5, 3],
        (0.0, "1.5 m3/s", "3000 L/s"),
        np.array([0.0, 1.5, 3.0]),
        pd.Series([0.0, 1.5, 3.0]),
        pint.UnitRegistry().Quantity([0.0, 1500.0, 3000.0], "L/s"),
    ],
)
def test_points_in_every_container(value):
    flow = pipe(flow=value).flow
    assert type(flow) is tuple
    assert flow == pytest.approx((0.0, 1.5, 3.0))
    assert all(type(v) is float for v in flow)


def test_a_list_of_points_may_be_required():
    @fields("curve")
    class Curve(Fields):
        heights: tuple[float, ...] = number("m", points=True, doc="heights")

    assert Curve(heights=[1, 2]).heights == (1.0, 2.0)
    with pytest.raises(InputError, match="curve: heights: None is not a list"):
        Curve(heights=None)
    with pytest.raises(InputError, match="the key 'heights' is missing"):
        Curve.of({})


def test_points_may_be_columns():
    flow = pipe(flow=[0.0, [1.0, 1.1, 1.2]]).flow
    assert flow[0] == 0.0
    assert flow[1].tolist() == [1.0, 1.1, 1.2]


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("0 m3/s", "flow: '0 m3/s' is not a list; a list of values"),
        (b"01", "is not a list"),
        (3.0, "flow: 3.0 is not a list"),
        (np.float64(3.0), "is not a list"),
        (np.array(3.0), "is not a list"),
        ({"a": 1.0}, "is not a list"),
        ([0.0, -1.0], r"pipe of the tests: flow\[1\]: -1 m3/s is out of range; allowed: at least 0 m3/s"),
        ([0.0, None], r"flow\[1\]: None .NoneType. is no number"),
        ([0.0, "1 m"], r"flow\[1\]: a volume flow given in m"),
        ([0.0, [[1.0]]], r"flow\[1\]: a column of shape \(1, 1\)"),
        (pint.UnitRegistry().Quantity([0.0, 1.0], "m"), "flow: .*does not convert to m"),
        ([1.0], "flow: one point makes no curve"),
    ],
)
def test_points_that_are_refused(value, words):
    with pytest.raises(InputError, match=words):
        pipe(flow=value)


# ---- from mappings


def test_a_mapping_builds_the_same_part():
    assert Pipe.of({"length": "2 m", "diameter": "200 mm"}) == pipe()


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"lenght": 1.0}, "pipe of the tests: unknown key 'lenght'; did you mean 'length'"),
        ({"diameter": 1.0}, "pipe of the tests: the key 'length' is missing; length"),
        ({"length": 1.0, "check": 1.0}, "unknown key 'check'"),
    ],
)
def test_mappings_that_are_refused(values, words):
    with pytest.raises(InputError, match=words):
        Pipe.of(values)


# ---- as objects


def test_parts_are_frozen_compare_print_copy_and_pickle():
    made = pipe(elbows=[{"angle": "45 deg"}], flow=[0.0, 1.0], loss=[0.1, 0.2])
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.length = 3.0
    for other in (pickle.loads(pickle.dumps(made)), copy.copy(made), dataclasses.replace(made)):
        assert other == made
        assert hash(other) == hash(made)
        assert repr(other) == repr(made)
    assert made != pipe()
    assert made != dataclasses.replace(made, length=2.5)
    assert made != "a pipe"
    assert repr(pipe()) == "Pipe(length=2, diameter=0.2, loss=0.5, lining=none)"


def test_errors_of_parts_pickle():
    with pytest.raises(UnknownName) as err:
        pipe(elbows=[{"angel": 1.0}])
    back = pickle.loads(pickle.dumps(err.value))
    assert str(back) == str(err.value)
    assert back.nearest == "angle"


def test_a_field_must_be_declared():
    with pytest.raises(TypeError, match=r"Loose.size is declared by none of number\(\), word\(\) and nested"):

        @fields("loose")
        class Loose(Fields):
            size: float = 3.0


def test_a_part_must_give_paths():
    with pytest.raises(TypeError, match="Pipe gives no paths"):
        pipe().paths()


def test_a_part_is_registered_under_its_kind():
    try:

        @part("sleeve of the tests")
        class Sleeve(Part):
            size: float = number("m", above=0.0, doc="size")

        assert KINDS["sleeve of the tests"] is Sleeve
        assert Sleeve(size=1.0).kind == "sleeve of the tests"
    finally:
        KINDS.pop("sleeve of the tests", None)


# ---- forms


def test_leaves_are_the_addresses_of_all_numbers():
    made = pipe(flow=[0.0, 1.0], elbows=[{}, {"radius": 0.3}])
    assert made.schema.number_keys == (
        "length",
        "diameter",
        "loss",
        "flow[0]",
        "flow[1]",
        "elbow 1.angle",
        "elbow 2.angle",
        "elbow 2.radius",
    )
    assert made.numbers()["elbow 2.radius"] == 0.3
    assert made.schema.declaration("flow[1]").measure == "m3/s"
    assert made.schema.declaration("elbow 1.angle").spread == 0.05
    with pytest.raises(KeyError):
        made.schema.declaration("radius")


def test_forms_are_shared_and_differ_in_all_but_the_numbers():
    assert pipe().schema is pipe(length=3.0, loss=[1.0, 2.0]).schema
    others = [
        pipe(lining="rubber"),
        pipe(flow=[0.0, 1.0]),
        pipe(elbows=[{}]),
        pipe(elbows=[{"radius": 1.0}]),
        Pipe(length=1.0, width=1.0, height=1.0),
    ]
    assert len({pipe().schema, *(p.schema for p in others)}) == 6


positive = st.floats(1e-3, 4.9)
columns = st.lists(positive, min_size=3, max_size=3)
value = st.one_of(positive, columns)


@given(
    length=value,
    size=st.one_of(
        st.fixed_dictionaries({"diameter": value}),
        st.fixed_dictionaries({"width": value, "height": value}),
    ),
    loss=value,
    lining=st.sampled_from(["none", "rubber"]),
    flow=st.one_of(st.none(), st.lists(value, min_size=2, max_size=4)),
    elbows=st.lists(
        st.fixed_dictionaries({"angle": positive}, optional={"radius": value}), min_size=0, max_size=3
    ),
)
def test_a_part_is_its_form_and_its_numbers(length, size, loss, lining, flow, elbows):
    made = Pipe(length=length, loss=loss, lining=lining, flow=flow, elbows=elbows, **size)
    assert len(made.schema.number_keys) == len(set(made.schema.number_keys)) == len(number_values(made))
    built = made.schema.build(list(made.numbers().values()))
    assert type(built) is Pipe
    assert built == made
    assert built.schema is made.schema
    for number_key, number_of_it in made.numbers().items():
        assert made.schema.declaration(number_key).check(number_of_it, "x") is not None


def test_a_form_builds_stacked_parts_unchecked():
    schema = pipe(flow=[0.0, 1.0], elbows=[{}]).schema
    stack = [np.full((4, 5), float(i)) for i in range(len(schema.number_keys))]
    built = schema.build(stack)
    assert built.length is stack[0]
    assert all(a is b for a, b in zip(built.flow, stack[3:5], strict=True))
    assert built.elbows[0].angle is stack[5]
    assert built.elbows[0].radius is None
    assert built.width is None
    assert built.lining == "none"


@pytest.mark.parametrize("count", [0, 2, 4])
def test_a_form_takes_as_many_values_as_it_has_leaves(count):
    with pytest.raises(ValueError, match=f"Pipe takes 3 values, got {count}"):
        pipe().schema.build([1.0] * count)


def test_the_form_of_a_smaller_part():
    assert Schema.of(Elbow()).number_keys == ("angle",)
    assert isinstance(Elbow.declared["angle"], Number)
    assert isinstance(Pipe.declared["lining"], Word)
    assert isinstance(Pipe.declared["elbows"], Nested)
