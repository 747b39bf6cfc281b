"""Machines: addresses, changes, replacements, columns, and what is shared between them."""

import pickle

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

import ductsim as ds
from ductsim.description import data
from ductsim.description.changing import Setting, resolve, together
from ductsim.network.system import Compiled


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


# ---- addresses


def test_addresses_are_split_at_the_last_dot(picker):
    numbers = picker.numbers
    assert numbers["hose 3.length"] == 1.9
    assert numbers["hose 3.bend 1.angle"] == pytest.approx(np.pi / 2)
    assert numbers["left fan.total_pressure[3]"] == 4900.0
    assert numbers["belt.driving_pulley"] == 0.42
    assert numbers["air.temperature"] == pytest.approx(304.15)
    assert numbers["door 4.area"] == pytest.approx(0.06)


def test_numbers_are_read_only(picker):
    with pytest.raises(TypeError):
        picker.numbers["hose 3.length"] = 1.0
    with pytest.raises(AttributeError, match="never changed in place"):
        picker.columns = 3


def test_wild_cards_match_only_things_that_have_the_field(picker):
    expand = picker.layout.expand
    assert expand("hose *.length") == tuple(f"hose {i}.length" for i in range(1, 6))
    assert expand("* fan.soiling") == ("left fan.soiling", "right fan.soiling")
    assert expand("left fan.flow[*]") == tuple(f"left fan.flow[{i}]" for i in range(6))
    assert expand("hose 2.*") == tuple(
        a for a in picker.numbers if a.startswith("hose 2.") and "bend 1" not in a
    )
    assert "hose 2.bend_factor" in expand("hose 2.*") and "hose 2.kink" in expand("hose 2.*")
    assert all(a.endswith(".angle") for a in expand("*.angle"))
    assert "jet 1.angle" in expand("*.angle")
    assert "hose 1.bend 1.angle" in expand("*.angle")
    assert expand("joint leak 2.coefficient") == ("joint leak 2.coefficient",)


UNKNOWN = [
    ("hose 3.lenght", "unknown address 'hose 3.lenght'; did you mean 'hose 3.length'?"),
    ("hose3.length", "unknown address 'hose3.length'; did you mean 'hose 3.length'?"),
    ("hose *.lenght", "unknown address 'hose *.lenght'; did you mean 'hose *.length'?"),
    ("hoze *.length", "unknown address 'hoze *.length'; did you mean 'hose 5.length'?"),
    ("length", "'length' is no address; write 'name.field', as in 'hose 3.length'; did you mean"),
    (
        "hatch leak 4.length",
        "unknown address 'hatch leak 4.length'; its numbers: area, bends, discharge_coefficient, "
        "reference_density.",
    ),
    (
        "left fan.speed",
        "'left fan.speed' is given by the drive 'belt'; change the drive: belt.engine_speed, or its ",
    ),
    ("air.density", "unknown address 'air.density'; its numbers: altitude, temperature, relative_humidity."),
    ("zzz.qqq", "unknown address 'zzz.qqq'; things with numbers: 'air', 'belt',"),
    ("*" * 30 + "a*b*c*d*e*f*g*h*i*j.x", "has too many wild cards; up to eight '*'."),
]


@pytest.mark.parametrize(("address", "expected"), UNKNOWN)
def test_unknown_addresses_name_the_nearest(picker, address, expected):
    with pytest.raises(ds.InputError) as caught:
        picker.change({address: 1.0})
    assert expected in str(caught.value)


def test_an_unknown_address_is_a_key_error(picker):
    with pytest.raises(KeyError):
        picker.layout.declaration("hose 9.length")
    with pytest.raises(ds.UnknownName):
        picker.layout.declaration(["hose 3.length"])


# ---- changes


def test_change_takes_numbers_texts_factors_and_columns(picker):
    m = picker.change(
        {
            "hose 1.length": 1.0,
            "hose 2.length": "2 m",
            "hose *.diameter": "x0.8",
            "hose 3.length": np.array([1.0, 2.0]),
            "hose 4.length": ds.times([0.5, 1.0]),
            "hose 5.length": ["1 m", "100 in"],
        }
    )
    n = m.numbers
    assert n["hose 1.length"] == 1.0
    assert n["hose 2.length"] == 2.0
    assert n["hose 1.diameter"] == pytest.approx(0.144, rel=1e-15)
    np.testing.assert_array_equal(n["hose 3.length"], [1.0, 2.0])
    np.testing.assert_allclose(n["hose 4.length"], [1.15, 2.3], rtol=1e-15)
    np.testing.assert_allclose(n["hose 5.length"], [1.0, 2.54], rtol=1e-15)
    assert m.columns == 2
    assert picker.numbers["hose 1.length"] == 1.2
    assert picker.columns is None


def test_change_copies_the_columns_it_is_given(picker):
    column = np.array([1.0, 2.0])
    m = picker.change({"hose 3.length": column})
    column[:] = 9.0
    np.testing.assert_array_equal(m.numbers["hose 3.length"], [1.0, 2.0])
    with pytest.raises(ValueError, match="read-only"):
        m.numbers["hose 3.length"][0] = 5.0


BAD = [
    ({"hose 3.length": "2 kPa"}, "hose 3.length: a length given in kPa: '2 kPa'"),
    ({"hose 3.length": "2"}, "hose 3.length: '2' lacks its measure"),
    ({"hose 3.length": -1}, "hose 3.length: -1 m is out of range; allowed: above 0 m."),
    ({"hose 3.length": [1.0, -1.0]}, "hose 3.length: -1 in the column is out of range; allowed: above 0 m."),
    ({"hose 3.length": float("nan")}, "hose 3.length: nan is no finite number"),
    ({"hose 3.length": None}, "hose 3.length: None (NoneType) is no number"),
    ({"hose 3.length": "x-2"}, "hose 3.length: 'x-2' is no factor: a factor of -2; a text like 'x0.8'."),
    ({"hose 3.length": "xa"}, "hose 3.length: 'xa' is no factor"),
    ({"hose 3.length": "x0"}, "hose 3.length: 0 m is out of range"),
    ({"hose 3.length": [[1.0, 2.0]]}, "hose 3.length: a column of shape (1, 2); a number or a 1-D array."),
    ({"hose 3.length": []}, "hose 3.length: a column of shape (0,)"),
    ({"hose 3.length": ["x0.8"]}, "hose 3.length: 'x0.8' is no number"),
    (
        {"hose *.length": "x0.8", "hose 3.length": "2 m"},
        "hose 3.length: is changed twice: scaled by x0.8 and set to 2; several factors, or one value.",
    ),
    (
        {"hose *.length": 1, "hose 3.length": [2, 3]},
        "hose 3.length: is changed twice: set to 1 and set to a column of 2",
    ),
    (
        {"hose 3.length": [1, 2], "hose 4.length": [1, 2, 3]},
        "columns of different length: 'hose 3.length' has 2, 'hose 4.length' has 3; the same number of",
    ),
    (
        {"jet 3.nozzle_area": "700 cm2"},
        "part 'jet 3', jet: nozzle_area: the nozzle is not smaller than the mixing",
    ),
    ({"belt.driven_pulley": "1 cm"}, "part 'left fan', speed from its drive: 9051.56 rad/s is out of range"),
    ({"left fan.flow[1]": 0.0}, "part 'left fan', fan: flow[1]: the flows do not rise from point to point"),
    (
        {"air.temperature": "76 degC", "air.relative_humidity": 1, "air.altitude": 6000},
        "air: relative_humidity: so much",
    ),
]


@pytest.mark.parametrize(("change", "expected"), BAD)
def test_changes_that_make_no_machine(picker, change, expected):
    with pytest.raises(ds.InputError) as caught:
        picker.change(change)
    assert expected in str(caught.value)


def test_several_factors_multiply_and_the_same_value_twice_counts_once(picker):
    m = picker.change(
        {"hose *.length": "x0.5", "hose 3.length": "x0.5", "hose 1.diameter": 0.2, "hose 1.*meter": 0.2}
    )
    assert m.numbers["hose 3.length"] == pytest.approx(1.9 / 4)
    assert m.numbers["hose 1.diameter"] == 0.2


def test_changes_are_resolved_once_and_put_together(picker):
    one = resolve(picker.layout, {"hose 3.length": "x0.5"})
    two = resolve(picker.layout, {"hose *.length": "x0.5"})
    assert together([one, two])["hose 3.length"] == ds.times(0.25)
    assert resolve(picker.layout, {"belt.slip": 0.0})["belt.slip"] == Setting(0.0)
    assert picker.changed(one).numbers["hose 3.length"] == 0.95
    assert hash(Setting(2.0)) == hash(Setting(2.0))
    assert repr(Setting(2.0)) == "Setting(value=2.0)"


@given(st.floats(0.1, 10), st.floats(0.1, 10))
def test_scaling_there_and_back(first, second):
    m = ds.demo("bench")
    out = m.change({"left duct.length": ds.times(first)}).change({"left duct.length": ds.times(second)})
    assert out.numbers["left duct.length"] == pytest.approx(4.0 * first * second, rel=1e-14)


# ---- one layout, compiled once


def test_changes_never_compile_again(picker):
    picker.solve()
    before = Compiled.count
    for length in (1.0, 1.5):
        changed = picker.change({"hose 3.length": length})
        assert changed.layout is picker.layout
        changed.solve()
    picker.change({"hose 3.length": np.linspace(1, 2, 5)}).solve()
    picker.jacobian(["weakest vacuum"], ["hose *.length"])
    assert Compiled.count == before


def test_a_change_works_out_the_speeds_of_driven_parts_once_however_many_parts_it_touches(
    picker, monkeypatch
):
    calls = []
    counted = data.part_numbers
    monkeypatch.setattr(data, "part_numbers", lambda *given: calls.append(1) or counted(*given))
    longer = picker.change({"hose *.length": "x1.1", "belt.slip": 0.03})
    assert len(calls) == 1
    assert longer.numbers["hose 3.length"] == pytest.approx(1.9 * 1.1)


# ---- replacements


def test_replace_makes_a_new_layout_with_the_same_ends(picker):
    hose = ds.Hose(length="2.0 m", diameter="200 mm", roughness="1.2 mm")
    m = picker.replace({"hose 4": hose})
    assert m.layout is not picker.layout
    assert m.part("hose 4") == ds.Hose(
        length="2.0 m", diameter="200 mm", roughness="1.2 mm", inlet="plain", outlet="free"
    )  # it lies between two boxes
    assert "hose 4.bend 1.angle" not in m.numbers
    assert m.layout.part["hose 4"].ends == picker.layout.part["hose 4"].ends
    assert m.solve().vacuum["4"] > picker.solve().vacuum["4"]
    assert list(m.layout.part) == list(picker.layout.part)


def test_a_replaced_fan_stays_on_its_drive(picker):
    fan = ds.Fan.typical(wheel_diameter="0.55 m", width="0.12 m", speed="3600 rpm")
    m = picker.replace({"left fan": fan})
    assert "left fan.speed" not in m.numbers
    assert m.part("left fan").speed == pytest.approx(picker.part("left fan").speed)


def test_a_replaced_part_may_hold_columns(picker):
    m = picker.replace({"hose 4": ds.Hose(length=np.array([1.0, 2.0]), diameter="165 mm")})
    assert m.columns == 2
    assert m.solve().vacuum["4"].shape == (2,)


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ({"hose 9": ds.Bend}, "replace: unknown part 'hose 9'; did you mean"),
        ({"hose 4": 3}, "replace, 'hose 4': 3 is not a part; a part, like ds.Hose(...)."),
        (
            {"jet 4": ds.Opening(area=0.01, loss_coefficient=1.0)},
            "replace, 'jet 4': the kind 'opening' has the ends from, to, not motive, suction, discharge; a",
        ),
    ],
)
def test_replacements_that_do_not_fit(picker, parts, expected):
    with pytest.raises(ds.InputError) as caught:
        picker.replace(parts)
    assert str(caught.value).startswith(expected)


# ---- columns


def test_one_scenario_of_a_machine_with_columns(picker):
    m = picker.change({"hose 3.length": [1.0, 2.0, 3.0]})
    assert len(m) == 3
    assert [one.numbers["hose 3.length"] for one in m] == [1.0, 2.0, 3.0]
    assert m[-1].numbers["hose 3.length"] == 3.0
    assert m[1].columns is None
    assert m[1].layout is picker.layout
    for bad in (3, -4):
        with pytest.raises(ds.InputError, match="there is no scenario"):
            m[bad]
    with pytest.raises(ds.InputError, match="'a' is no number of a scenario"):
        m["a"]


def test_a_machine_and_a_state_without_columns_are_their_own_only_scenario(picker):
    for obj in (
        picker,
        picker.solve(),
        ds.Network(ds.Air()).add("a", ds.Leak(area=1e-3), "outside", "n").solve(),
    ):
        assert obj
        assert len(obj) == 1
        assert [one is obj for one in obj] == [True]
        assert obj[0] is obj[-1] is obj
        for bad in (1, -2):
            with pytest.raises(IndexError, match=r"there is no scenario .*; 0, the only scenario there is"):
                obj[bad]


def test_grid_is_a_product_in_step(picker):
    change = ds.grid(
        {
            "belt.engine_speed": ["2000 rpm", "2100 rpm"],
            "hose *.length": ds.times([0.8, 1.0, 1.2]),
            "hatch leak 4.area": [0.0, 0.04],
        }
    )
    m = picker.change(change)
    assert m.columns == 12
    np.testing.assert_allclose(m.numbers["belt.engine_speed"] * 60 / (2 * np.pi), [2000] * 6 + [2100] * 6)
    np.testing.assert_allclose(m.numbers["hose 1.length"] / 1.2, [0.8, 0.8, 1, 1, 1.2, 1.2] * 2)
    np.testing.assert_allclose(m.numbers["hatch leak 4.area"], [0.0, 0.04] * 6)


def test_a_grid_keeps_the_measures_of_quantities(picker):
    """100 cm2 are 0.01 m2, as `pint` itself converts them, whether a list or each item is a quantity."""
    unit = pint.UnitRegistry()
    areas = np.array([0, 100, 400]) * unit.cm**2
    for axis in (areas, list(areas), [areas[0], "100 cm2", areas[2]]):
        grid = ds.grid({"hatch leak 4.area": axis, "belt.slip": [0.0, 0.02]})
        wide = picker.change(grid)
        wanted = np.repeat(areas.m_as("m**2"), 2)
        np.testing.assert_allclose(wide.numbers["hatch leak 4.area"], wanted, rtol=1e-12)
    with pytest.raises(ds.InputError, match=r"hatch leak 4.area.*does not convert to m\*\*2"):
        picker.change(ds.grid({"hatch leak 4.area": np.array([1.0, 2.0]) * unit.second}))


@pytest.mark.parametrize(
    "bad", [[complex(1)], [{"a": 1}], [None], [10**400], [[1.0], [2.0, 3.0]], [float("nan")], None, {"a": 1}]
)
def test_a_grid_takes_nothing_that_is_no_number(bad):
    with pytest.raises(ds.InputError, match=r"belt\.slip"):
        ds.grid({"belt.slip": bad})


def test_a_grid_of_too_many_combinations_is_refused():
    with pytest.raises(ds.InputError, match="1,000,000,000,000 combinations"):
        ds.grid({f"a{i}.b": range(1000) for i in range(4)})


@pytest.mark.parametrize("bad", ["2 m", 3.0, [], [[1.0]], ds.times(2.0)])
def test_grid_needs_lists(bad):
    with pytest.raises(ds.InputError, match="is not a list of values; a 1-D list or array"):
        ds.grid({"belt.slip": bad})


# ---- equality, pickling, words


def test_machines_are_equal_by_their_numbers(picker):
    assert picker == ds.demo("picker")
    assert picker != picker.change({"belt.slip": 0.03})
    assert picker != "picker"
    assert hash(picker) == hash(ds.demo("picker"))


def test_machines_pickle_and_solve_elsewhere(picker):
    m = picker.change({"hose 3.length": [1.0, 2.0]})
    m.solve()
    copy = pickle.loads(pickle.dumps(m))
    assert copy == m
    assert copy.given == m.given
    np.testing.assert_array_equal(copy.solve().vacuum["3"], m.solve().vacuum["3"])


def test_words(picker):
    assert repr(picker) == "<Machine 'Five-unit picker (invented)': 45 parts, 5 units>"
    assert repr(picker.change({"belt.slip": [0.0, 0.1]})).endswith("5 units, 2 scenarios>")
    assert repr(picker.layout) == "<Layout 'Five-unit picker (invented)': 45 parts, 5 units>"


def test_a_part_by_its_name(picker):
    assert isinstance(picker.part("hose 3"), ds.Hose)
    assert picker.part("left fan").speed == pytest.approx(ds.si("2100 rpm", "rad/s") * 420 / 239 * 0.98)
    with pytest.raises(ds.UnknownName, match=r"unknown part 'hose 33'; did you mean 'hose 3'\?"):
        picker.part("hose 33")


# ---- describe and sources


def test_describe_lists_every_number(picker):
    rows = {row["address"]: row for row in picker.describe().rows()}
    assert set(rows) == set(picker.numbers)
    assert rows["hose 3.length"] == {
        "address": "hose 3.length",
        "value": 1.9,
        "measure": "m",
        "origin": "given",
        "choice": "",
        "source": "",
        "spread": 0.03,
        "column": "",
        "doc": "installed length along the centre line",
    }
    assert rows["hose 3.stretch"]["origin"] == "given" and rows["hose 3.kink"]["origin"] == "default"
    assert str(picker.describe()).startswith("Five-unit picker (invented): 45 parts, 5 units, ")
    changed = picker.change({"hose 3.kink": [0.1, 0.2, 0.3]}).describe().rows()
    row = next(row for row in changed if row["address"] == "hose 3.kink")
    assert (row["origin"], row["value"], row["column"]) == ("given", 0.2, "0.1 to 0.3")


def test_sources_are_the_references_of_what_is_used(picker):
    rows = {row["source"]: row for row in picker.sources().rows()}
    assert "cipm2007" in rows
    assert all(
        row["standing"] in ("seen", "from memory", "common practice", "our assumption")
        for row in rows.values()
    )
    assert any("jet" in row["used_by"] for row in rows.values())
    assert str(picker.sources()).endswith(f"rests on {len(rows)} references.")
    assert "cipm2007" not in {row["source"] for row in ds.demo("bench").sources().rows()}


def test_public_names_are_there_and_loaded_when_used():
    for name in ds.__all__:
        assert getattr(ds, name) is not None
    assert set(ds.__all__) <= set(dir(ds))
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        ds.nothing
