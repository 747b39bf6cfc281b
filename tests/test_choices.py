"""Words in place of numbers that no tape or gauge tells: values, spreads, sources, and where they end up."""

import copy
import math
import pickle
import tomllib

import fluids
import numpy as np
import pytest

import ductsim as ds
from ductsim.description.spreads import spread_of
from ductsim.parts.declare import KINDS, Number
from ductsim.sources import SOURCES

WORDS = [
    (kind, name, choice)
    for kind, cls in KINDS.items()
    for name, number in cls.declared.items()
    if isinstance(number, Number)
    for choice in number.words
]


@pytest.mark.parametrize(("kind", "name", "choice"), WORDS, ids=lambda v: getattr(v, "word", v))
def test_every_word_is_a_number_in_range_with_a_spread_and_a_source(kind, name, choice):
    number = KINDS[kind].declared[name]
    value = number.check(choice.word, name)
    assert value == choice.value and number.low <= value <= number.high
    assert 0.0 < choice.spread < 1.0 and choice.source in SOURCES
    # who cannot tell knows less than anybody who can
    assert choice.word != "can't tell" or choice.spread >= max(number.spread, 0.12)


def test_words_against_published_values():
    opening = {c.word: c.value for c in ds.Opening.declared["loss_coefficient"].words}
    # Crane, Flow of Fluids: a sharp entrance into a pipe flush with a wall takes 0.5, and the exit 1.0
    assert opening["flanged duct end"] == pytest.approx(
        fluids.entrance_sharp(method="Crane") + fluids.exit_normal(), 0.02
    )
    # a hole in a thin plate with a discharge coefficient of 0.61 (ISO 5167, small ratio): 1 / 0.61^2
    assert opening["sharp edge"] == pytest.approx(1.0 / 0.61**2, rel=0.05)
    # the general library's tables: galvanised sheet steel, new 0.15 mm; galvanised tubes 0.07 to 0.15 mm
    assert (
        0.05e-3
        <= ds.Duct.declared["roughness"].words[0].value
        <= fluids.material_roughness("Galvanized iron")
    )


def test_leakage_classes_against_published_values():
    words = {c.word: c.value for c in ds.Leak.declared["leakage_class"].words}
    # class 6 at 2 inches of water on 1000 ft2 leaks 94.15 ft3/min: 6 x 10 x 2^0.65
    leak = ds.Leak(leakage_class="rectangular, all sealed", surface="1000 ft2", reference_density=1.2)
    assert leak.leakage_class == pytest.approx(words["rectangular, all sealed"])
    flow = 1e-3 * leak.leakage_class * leak.surface * ds.si("2 inH2O", "Pa") ** 0.65
    assert flow == pytest.approx(ds.si("94.15 CFM", "m3/s"), rel=1e-3)
    # EN 12237 and EN 1507 (constants from memory): what each class allows is a third of the one before
    classes = [words[f"class {letter}"] for letter in "ABCD"]
    assert classes == [0.027, 0.009, 0.003, 0.001]
    assert 1e0 * classes[0] * 400.0**0.65 == pytest.approx(1.326, rel=5e-3)
    with pytest.raises(ds.InputError, match="did you mean 'lies loose'"):
        ds.Flap(area=0.01, opening_pressure="limp rubber", gap="lie loose")


HOSE = {"length": 2.0, "diameter": 0.15}


def bench(wall='"wire-wound"', edge='"can\'t tell"'):
    return ds.Machine.of(
        f"""
format = 2
[air]
density = 1.2
[[hold]]
node = "box"
pressure = "500 Pa"
[[part]]
name = "hose"
kind = "hose"
from = "box"
to = "foot"
length = 2
diameter = 0.15
roughness = {wall}
[[part]]
name = "hole"
kind = "opening"
from = "foot"
to = "outside"
width = "20 cm"
height = "5 cm"
loss_coefficient = {edge}
"""
    )


def test_a_word_goes_with_the_number_until_another_takes_its_place(tmp_path):
    machine = bench()
    assert machine.numbers["hose.roughness"] == 0.9e-3 and machine.numbers["hole.area"] == 0.2 * 0.05
    assert {"hose.roughness", "hole.area"} <= machine.given
    for same in (pickle.loads(pickle.dumps(machine)), copy.deepcopy(machine), machine[0]):
        assert same == machine and spread_of(same, "hose.roughness") == 0.5
    machine.write(tmp_path / "own.toml")
    assert 'roughness = "wire-wound"' in (tmp_path / "own.toml").read_text()
    assert spread_of(ds.Machine.read(tmp_path / "own.toml"), "hole.loss_coefficient") == 0.3
    state = machine.solve()
    state.save(tmp_path / "state.zip")
    assert spread_of(type(state).load(tmp_path / "state.zip").machine, "hose.roughness") == 0.5
    other = machine.change({"hose.roughness": "smooth", "hole.loss_coefficient": 2.0})
    assert other.numbers["hose.roughness"] == 0.03e-3 and spread_of(other, "hose.roughness") == 0.7
    assert spread_of(other, "hole.loss_coefficient") == ds.Opening.declared["loss_coefficient"].spread
    with pytest.raises(
        ds.UnknownName,
        match=r"unknown word 'smoth'; allowed: .*, or 'smooth', 'wire-wound'.* did you mean 'smooth'",
    ):
        machine.change({"hose.roughness": "smoth"})
    rows = machine.describe().table().set_index("address")
    assert tuple(rows.loc["hose.roughness"][["choice", "source", "spread"]]) == (
        "wire-wound",
        "ashrae2021ch21",
        0.5,
    )
    net = (
        ds.Network(ds.Air(density=1.2))
        .hold("a", 100.0)
        .add("h", ds.Hose(**HOSE, roughness="corrugated"), "a", "b")
    )
    net.add("out", ds.Opening(area=0.01, loss_coefficient="sharp edge"), "b", "outside")
    assert spread_of(net.change({"a.pressure": 200.0}).machine(), "out.loss_coefficient") == 0.08


def test_the_spread_of_the_word_flows_into_the_answer():
    # almost all is lost in the opening: its spread s of K is half of it in the flow, 0.5 s
    def width(edge):
        got = ds.ensemble(
            bench('"smooth"', edge),
            [ds.Spread("hole.loss_coefficient")],
            of=["hole.flow"],
            samples=512,
            seed=1,
        )
        return np.std(np.log(np.asarray(got.answers)))

    share = bench('"smooth"').sensitivity("hole.flow").table().set_index("address")
    elastic = abs(share.loc["hole.loss_coefficient"]["elasticity"])
    assert width('"can\'t tell"') == pytest.approx(elastic * math.sqrt(math.log1p(0.3**2)), rel=0.06)
    assert width('"sharp edge"') < 0.4 * width('"can\'t tell"')


def test_screens_by_hole_and_pitch():
    # round holes in triangles: pi / (2 sqrt 3) (d / p)^2; in squares pi / 4 (d / p)^2 (geometry)
    size = {"area": 0.2, "hole": "3 mm", "pitch": "5 mm"}
    for more, share in (
        ({}, 0.32648),
        ({"pattern": "square"}, 0.28274),
        ({"style": "wire mesh"}, 0.36),
        ({"style": "grille"}, 0.6),
    ):
        own = ds.Screen(**size, **more)
        assert own.clean == pytest.approx(share, abs=1e-5)
        style = {"style": more.get("style", "thin plate")}
        same = ds.Screen(area=0.2, open_fraction=own.clean, **style)
        assert own.paths()[0].coefficients["loss"] == pytest.approx(same.paths()[0].coefficients["loss"])
    with pytest.raises(ds.InputError, match="hole is not smaller than the pitch"):
        ds.Screen(area=0.2, hole=5e-3, pitch=5e-3)
    with pytest.raises(ds.InputError, match="give exactly one set of open_fraction or hole and pitch"):
        ds.Screen(**size, open_fraction=0.4)


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        (
            'area = 0.01\ndiameter = "10 cm"',
            "area from diameter beside area; area, or diameter, or width and height",
        ),
        ('width = "10 cm"', "area from width; area, or diameter, or width and height"),
        ('width = "10 cm"\nheight = "x"', "height"),
        ("diameter = [1, 2]", "is not one number"),
        ("diameter = -1", "out of range"),
    ],
)
def test_areas_that_are_said_wrongly(sizes, words):
    document = bench().document()
    hole = document["part"][1]
    del hole["area"]
    hole |= tomllib.loads(sizes)
    with pytest.raises(ds.InputError, match=words):
        ds.Machine.of(document)


def test_areas_by_diameter_of_any_part_and_tapping():
    document = bench().document()
    hole = document["part"][1]
    del hole["area"]
    hole["diameter"] = "100 mm"
    document["tapping"] = [{"name": "tap", "path": "hose", "end": "to", "diameter": "15 cm"}]
    made = ds.Machine.of(document)
    assert made.numbers["hole.area"] == pytest.approx(math.pi / 4 * 0.1**2)
    assert made.numbers["tap.area"] == pytest.approx(math.pi / 4 * 0.15**2)
    assert "hole.area" in made.given
