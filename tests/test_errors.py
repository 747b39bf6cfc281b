"""Every error is a sentence, keeps its fields, and survives pickling."""

import copy
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ductsim.errors import (
    DuctsimError,
    InputError,
    NoOperatingPoint,
    OutsideRange,
    UnknownName,
    nearest_name,
    shown,
)


def test_input_error_says_file_place_problem_allowed_nearest():
    err = InputError(
        "unknown measure 'kpa'",
        place="part 'fan', speed",
        allowed="allowed: Pa",
        nearest="kPa",
        file="m.toml",
    )
    assert str(err) == ("m.toml: part 'fan', speed: unknown measure 'kpa'; allowed: Pa; did you mean 'kPa'?")
    assert err.as_dict() == {
        "file": "m.toml",
        "place": "part 'fan', speed",
        "problem": "unknown measure 'kpa'",
        "allowed": "allowed: Pa",
        "nearest": "kPa",
    }


@pytest.mark.parametrize(
    ("fields", "text"),
    [
        ({}, "is empty."),
        ({"allowed": "a table"}, "is empty; a table."),
        ({"place": "air"}, "air: is empty."),
        ({"file": "a.toml"}, "a.toml: is empty."),
        ({"allowed": "really?"}, "is empty; really?"),
    ],
)
def test_a_sentence_ends_once(fields, text):
    assert str(InputError("is empty", **fields)) == text


def test_seen_from_further_out_the_place_is_put_in_front_and_the_first_file_stays():
    err = InputError("is missing", place="length", nearest="width").at(place="part 'hose 1'", file="m.toml")
    assert err.place == "part 'hose 1', length"
    assert err.at(file="other.toml").file == "m.toml"
    assert err.at(place="").place == "part 'hose 1', length"
    assert isinstance(UnknownName.of("key", "a", ["b"]).at(place="x"), UnknownName)


def test_kinds_of_errors():
    assert issubclass(InputError, ValueError)
    assert issubclass(InputError, DuctsimError)
    assert issubclass(UnknownName, KeyError)
    assert issubclass(UnknownName, InputError)
    assert issubclass(NoOperatingPoint, RuntimeError)
    assert issubclass(OutsideRange, UserWarning)
    with pytest.raises(KeyError, match=r"^unknown node 'x'; known: 'door 1'\.$"):
        raise UnknownName.of("node", "x", ["door 1"])


def test_unknown_name_gives_the_nearest_or_a_short_list():
    assert UnknownName.of("node", "dor 4", ["door 4", "door 5"]).nearest == "door 4"
    many = [f"part {i}" for i in range(40)]
    err = UnknownName.of("part", "zzz", many, place="compare")
    assert err.nearest == ""
    assert "'part 11' and 28 more" in err.allowed
    assert "'part 12'" not in err.allowed
    assert str(UnknownName.of("part", "a", [])) == "unknown part 'a'."


def test_unknown_name_takes_names_that_are_no_texts_or_very_long():
    assert "unknown key 7" in str(UnknownName.of("key", 7, ["length"]))
    long = str(UnknownName.of("key", "x" * 1_000_000, ["length"]))
    assert len(long) < 200
    assert "1000002 characters" in long


@pytest.mark.parametrize(
    ("name", "known", "expected"),
    [
        ("KPA", ["Pa", "kPa"], "kPa"),
        ("hose", ["hose 1", "fan"], "hose 1"),
        ("lenght", ["length", "width"], "length"),
        ("qqq", ["length", "width"], ""),
        ("", ["length"], ""),
        ("length" * 50, ["length"], ""),
    ],
)
def test_nearest_name(name, known, expected):
    assert nearest_name(name, iter(known)) == expected


@pytest.mark.parametrize(
    "value", ["a" * 10_000, pytest.param(10**10_000, id="long"), list(range(10_000)), b"x" * 500]
)
def test_what_was_given_is_cut(value):
    assert len(shown(value)) < 90


def test_short_values_are_shown_whole():
    assert shown("1,2 m") == "'1,2 m'"


words = st.text(max_size=30)


@given(problem=words, place=words, allowed=words, nearest=words, file=words)
def test_input_errors_survive_pickling_and_copying(problem, place, allowed, nearest, file):
    for kind in (InputError, UnknownName):
        err = kind(problem, place=place, allowed=allowed, nearest=nearest, file=file)
        for back in (pickle.loads(pickle.dumps(err)), copy.copy(err)):
            assert type(back) is kind
            assert back.as_dict() == err.as_dict()
            assert str(back) == str(err)
            assert back.args == err.args


def test_no_operating_point_keeps_its_state():
    err = NoOperatingPoint(
        "Node 'tank' is closed off and gets 0.1 kg/s.",
        node="tank",
        remedy="Open a path.",
        state={"flow": 0.1},
    )
    back = pickle.loads(pickle.dumps(err))
    assert str(back) == "Node 'tank' is closed off and gets 0.1 kg/s. Open a path."
    assert (back.node, back.remedy, back.outcome, back.state) == (
        err.node,
        err.remedy,
        err.outcome,
        {"flow": 0.1},
    )
