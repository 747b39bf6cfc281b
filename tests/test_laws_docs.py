"""Every law and every number says what it is: measures in brackets, ranges, spreads, worked numbers."""

import inspect
import re

import pytest

import ductsim.parts
from ductsim.laws import bends, friction, jets, leaks, losses
from ductsim.laws.card import LAWS, card_of
from ductsim.parts.bend import Bend
from ductsim.parts.declare import KINDS, Fields, Nested, Number
from ductsim.parts.fan import ASSUMED_SPREAD, Fan
from ductsim.sources import SOURCES

assert ductsim.parts.KINDS is KINDS
# the laws of air alone; those with crop are made from them, and tested with what they carry
SHIPPED = [
    f for f in LAWS.values() if f.__module__.startswith("ductsim.") and "conveying" not in f.__module__
]
HELPERS = [
    bends.angle_share,
    bends.mitre_loss,
    bends.round_bend_loss,
    bends.square_bend_loss,
    friction.compression_correction,
    leaks.leakage_coefficient,
    jets.mixing_share,
    losses.contraction_loss,
    losses.diffuser_loss,
    losses.plate_loss,
    losses.thin_plate_loss,
    losses.wire_mesh_loss,
    losses.grille_loss,
]


def described(function):
    """Parameter -> the words that describe it, from the docstring's sections."""
    out = {}
    doc = inspect.getdoc(function) or ""
    for head, body in re.findall(r"^(\**\w[\w, *]*) : [^\n]*\n((?:    [^\n]*\n?)+)", doc, re.M):
        for name in head.split(","):
            out[name.strip().strip("*")] = body
    return out


@pytest.mark.parametrize("function", SHIPPED, ids=lambda f: f.__name__)
def test_each_parameter_of_a_law_has_its_measure(function):
    words = described(function)
    for name, parameter in inspect.signature(function).parameters.items():
        assert name in words, f"{function.__name__} does not describe {name}"
        if name != "air" and parameter.kind is not parameter.VAR_KEYWORD:
            assert re.search(r"\[[^\]]+\]", words[name]), f"{function.__name__}: {name} has no measure"


@pytest.mark.parametrize("function", SHIPPED, ids=lambda f: f.__name__)
def test_each_law_has_a_card_with_known_sources(function):
    card = card_of(function)
    assert card.equation and card.valid and set(card.sources) <= set(SOURCES)


@pytest.mark.parametrize("function", HELPERS, ids=lambda f: f.__name__)
def test_each_formula_has_a_measure_a_worked_number_and_a_source(function):
    doc = inspect.getdoc(function)
    assert "[" in doc
    assert "Example:" in doc
    assert "Source:" in doc


@pytest.mark.parametrize("kind", [*KINDS.values(), Bend], ids=lambda k: k.kind)
def test_each_number_says_what_it_is_and_how_well_it_is_known(kind):
    """A number that is measured or chosen by the user has a spread; exact ones are named here."""
    exact = {"bends", "curve_speed", "curve_density", "reference_density", "highest_speed", "flow"}
    assert issubclass(kind, Fields) and inspect.getdoc(kind)
    for name, declared in kind.declared.items():
        if isinstance(declared, Nested):
            continue
        assert declared.doc
        if isinstance(declared, Number):
            assert declared.allowed.startswith("allowed: ")
            assert (declared.spread > 0.0) == (name not in exact), f"{kind.kind}: {name}"


def test_fan_assumptions_carry_a_wide_spread():
    assert Fan.declared["total_pressure"].spread < 0.1 < ASSUMED_SPREAD
