"""The sliders: what they move, that they follow the machine's own answer, and what they refuse."""

import builtins
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

import ductsim as ds
from ductsim.errors import UnknownName
from ductsim.machine.demos import demo_file
from ductsim.reports.explore import Explorer
from ductsim.reports.live import Picture


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


@pytest.fixture
def explorer(picker):
    return ds.explore(picker)


def sliders(explorer):
    return {w.description.split(" [")[0]: w for w in explorer.panel.children if hasattr(w, "step")}


def test_speed_and_largest_leaks_get_sliders(explorer, picker):
    assert explorer.addresses[0] == "belt.engine_speed"
    state = picker.solve()
    leaks = {name: abs(state.flow[name]) for name in (p.name for p in picker.layout.parts) if "leak" in name}
    largest = sorted(leaks, key=lambda name: -leaks[name])[: len(explorer.addresses) - 1]
    assert [address.rpartition(".")[0] for address in explorer.addresses[1:]] == largest
    assert set(sliders(explorer)) == set(explorer.addresses)


def test_a_move_gives_the_machines_own_answer(explorer, picker):
    change = {"belt.engine_speed": "1900 rpm", "hatch leak 4.area": "50 cm2"}
    seconds = explorer.move(change)
    assert explorer.seconds == [seconds]
    assert seconds > 0.0
    fresh = picker.change(change).solve()
    for unit, vacuum in fresh.vacuum.items():
        assert explorer.state.vacuum[unit] == pytest.approx(vacuum, rel=1e-12)
    shown = sliders(explorer)
    assert shown["belt.engine_speed"].value == pytest.approx(1900.0)
    assert shown["hatch leak 4.area"].value == pytest.approx(50.0)


def test_a_slider_moves_the_machine_and_the_picture(explorer):
    before = explorer.svg()
    sliders(explorer)["hatch leak 4.area"].value = 0.0
    assert explorer.machine.numbers["hatch leak 4.area"] == 0.0
    assert explorer.state.weakest == "5"
    assert len(explorer.seconds) == 1
    pictures = [w.value for w in explorer.panel.children if "<svg" in str(getattr(w, "value", ""))]
    assert pictures == [explorer.svg()]
    assert pictures != [before]
    words = [str(getattr(w, "value", "")) for w in explorer.panel.children][-1]
    assert "Unit 5 is weakest" in words
    assert re.search(r"This move took \d+ ms", words)
    assert ds.cautions_for("seal")[-1] in words.replace("&#x27;", "'")


def test_numbers_without_a_slider_keep_their_exact_values(explorer, picker):
    sliders(explorer)["belt.engine_speed"].value = 2000.0
    same = set(picker.numbers) - {"belt.engine_speed"}
    assert all(explorer.machine.numbers[a] == picker.numbers[a] for a in same)


def test_reset_returns_to_the_start(explorer, picker):
    explorer.move({"belt.engine_speed": "x0.8"})
    explorer.reset()
    assert explorer.machine == picker
    assert explorer.state.vacuum["4"] == pytest.approx(picker.solve().vacuum["4"], rel=1e-12)


def test_the_button_resets(explorer, picker):
    explorer.move({"belt.engine_speed": "x0.8"})
    next(w for w in explorer.panel.children if hasattr(w, "click")).click()
    assert explorer.machine == picker


def test_limits_that_are_passed_are_said(explorer):
    assert "highest speed" not in str(explorer)
    explorer.move({"belt.engine_speed": "2500 rpm"})
    for words in (str(explorer), explorer.panel.children[-1].value):
        assert "left fan is above its highest speed of 4,200 rpm" in words
        assert "more than the 40.0 kW that the drive has" in words


def test_a_move_beyond_the_ends_stretches_the_slider(explorer):
    slider = sliders(explorer)["hatch leak 4.area"]
    assert slider.max == pytest.approx(800.0)
    explorer.move({"hatch leak 4.area": "0.1 m2"})
    assert slider.max == slider.value == pytest.approx(1000.0)


def test_fans_without_a_drive_get_their_own_speed():
    explorer = ds.explore(ds.demo("suction"), "boot leak *.area", measures="inch")
    assert explorer.addresses == ("fan.speed", *(f"boot leak {i}.area" for i in range(1, 9)))
    assert "inH2O" in str(explorer)
    assert "inH2O" in explorer.svg()
    assert all("[in2]" in w.description for w in explorer.panel.children if "boot" in str(w))


def test_any_number_may_have_a_slider_with_ends_of_its_own(picker):
    explorer = ds.explore(picker, "right screen.blinded", ranges={"right screen.blinded": (0.0, 0.9)})
    slider = sliders(explorer)["right screen.blinded"]
    assert (slider.min, slider.max) == (0.0, 0.9)
    slider.value = 0.8
    assert explorer.state.vacuum["4"] < picker.solve().vacuum["4"]


def test_a_value_that_the_machine_refuses_is_said_and_changes_nothing(picker):
    explorer = ds.explore(picker, "left fan.soiling", ranges={"left fan.soiling": (0.0, 5.0)})
    slider = sliders(explorer)["left fan.soiling"]
    assert slider.max <= picker.layout.declared["left fan.soiling"].high
    explorer = ds.explore(picker, "door 4.area", ranges={"door 4.area": ("10 cm2", "700 cm2")})
    slider = sliders(explorer)["door 4.area"]
    slider.min = -10.0
    slider.value = -5.0
    assert "door 4.area" in explorer.panel.children[-1].value
    assert explorer.machine == picker


def test_what_jupyter_shows_has_a_picture_for_pages_without_sliders(explorer):
    bundle = explorer._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in bundle
    assert "<svg" in bundle["text/html"]
    assert "Unit 4 is weakest" in bundle["text/html"]
    assert bundle["text/plain"] == repr(explorer)
    assert repr(explorer).startswith("<Explorer: 5 sliders; Unit 4 is weakest")


# ---- the picture


def test_the_picture_is_one_tree_with_a_bar_a_quantity(explorer):
    root = ET.fromstring(explorer.svg())
    words = " ".join(root.itertext())
    for row in explorer.state.rows():
        assert f"unit {row['unit']}" in words
    assert "vacuum [Pa]" in words
    assert words.count("unit 4") == 1
    bars = [r for r in root.iter("{http://www.w3.org/2000/svg}rect") if r.get("height") == "17"]
    assert len(bars) == 3 * 5 + 1  # the weakest vacuum is hatched


def row(unit, vacuum):
    return {"unit": unit, "vacuum_Pa": vacuum, "opening_air_kg_s": 1.0, "duct_air_kg_s": 2.0}


def test_the_length_of_a_bar_is_its_value():
    picture = Picture([row("a", 100.0), row("b", 50.0)])
    root = ET.fromstring(picture.svg([row("a", 100.0), row("b", 50.0)]))
    bars = [
        float(r.get("width"))
        for r in root.iter("{http://www.w3.org/2000/svg}rect")
        if r.get("height") == "17"
    ]
    assert bars[0] == pytest.approx(2.0 * bars[3], abs=0.2)


@pytest.mark.parametrize("value", [np.nan, -40.0, 0.0, 1e12])
def test_odd_values_are_drawn_within_the_picture(value):
    picture = Picture([row("a", 100.0)])
    root = ET.fromstring(picture.svg([row("a", value)], "a"))
    wide = float(root.get("viewBox").split()[2])
    for r in root.iter("{http://www.w3.org/2000/svg}rect"):
        assert 0.0 <= float(r.get("x", 0)) + float(r.get("width")) <= wide
    if np.isnan(value):
        assert "no answer" in " ".join(root.itertext())


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "x" * 200, 'a"b&c', "$x$"])
def test_names_come_out_harmless(name):
    svg = Picture([row(name, 100.0)]).svg([row(name, 90.0)], name)
    ET.fromstring(svg)
    assert "<script" not in svg
    assert len(svg) < 5000


# ---- what is refused


def test_without_ipywidgets_one_sentence_says_how_to_get_it(picker, monkeypatch):
    original = builtins.__import__

    def without(name, *args, **kwargs):
        if name.startswith("ipywidgets"):
            raise ImportError(name)
        return original(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(ImportError, match=r"^explore needs ipywidgets, .*pip install 'ductsim\[jupyter\]'$"):
        ds.explore(picker)


def test_a_machine_with_columns_is_refused(picker):
    with pytest.raises(ds.InputError, match="the machine has columns"):
        ds.explore(picker.change({"belt.slip": np.array([0.01, 0.02])}))


@pytest.mark.parametrize(
    ("numbers", "ranges", "message"),
    [
        ("hatch leek 4.area", None, "hatch leak 4.area"),
        ("hatch leak *.area", {"joint leak 1.coefficient": (0, 1)}, "joint leak 1.coefficient"),
        ("left screen.blinded", None, r"left screen.blinded is 0.*give one: ranges="),
        ("hatch leak 4.area", {"hatch leak 4.area": 3.0}, "is no range"),
        ("hatch leak 4.area", {"hatch leak 4.area": "abc"}, "is no range"),
        ("hatch leak 4.area", {"hatch leak 4.area": ("1 m", "2 m")}, "explore: ranges: hatch leak 4.area"),
        ("hatch leak 4.area", {"hatch leak 4.area": ("9 cm2", "1 cm2")}, "the low end first"),
    ],
)
def test_wrong_sliders_are_refused(picker, numbers, ranges, message):
    with pytest.raises(ds.InputError, match=message):
        ds.explore(picker, numbers, ranges)


def test_wrong_moves_are_refused(explorer, picker):
    with pytest.raises(ds.UnknownName, match=r"belt\.engine_speed"):
        explorer.move({"belt.engine_sped": 200.0})
    with pytest.raises(ds.InputError, match="lacks its measure"):
        explorer.move({"belt.engine_speed": "2000"})
    assert explorer.machine == picker


def test_an_unknown_system_of_measures_is_refused(picker):
    with pytest.raises(ds.UnknownName, match="metric"):
        ds.explore(picker, measures="metrik")


def test_explore_gives_an_explorer(explorer):
    assert isinstance(explorer, Explorer)
    assert ds.Explorer is Explorer


# ---- fixes and readings beside the sliders


@pytest.fixture(scope="module")
def beside(picker):
    folder = demo_file("picker").parent
    given = {"fixes": folder / "picker_fixes.toml", "readings": folder / "picker_readings.csv"}
    return ds.explore(picker, **given)


def test_ticked_fixes_are_done_where_the_sliders_stand(beside, picker):
    names = ("seal hatch 4", "straighten hose 4", "engine 100 rpm faster")
    beside.move({"hatch leak 4.area": "300 cm2"})
    beside.tick(*names)
    done = picker.change({"hatch leak 4.area": "300 cm2"})
    fixes = {fix.name: fix for fix in ds.read_fixes(demo_file("picker").with_name("picker_fixes.toml"))}
    for name in names:
        done = fixes[name].on(done)
    for unit, vacuum in done.solve().vacuum.items():
        assert beside.state.vacuum[unit] == pytest.approx(vacuum, rel=1e-9)
    assert "Ticked: 61 minutes of work, cost 72." in beside.sentences()
    box = next(
        w for w in beside.panel.children if str(getattr(w, "description", "")).startswith("seal hatch 4")
    )
    assert box.value is True
    box.value = False
    assert beside.ticked == names[1:]
    beside.reset()
    assert beside.ticked == () and beside.machine.numbers == picker.numbers


def test_a_fix_that_passes_a_limit_is_said_to(beside):
    beside.tick("driven pulley 205 mm")
    assert any("highest speed" in note for note in beside.state.notes)
    beside.reset()
    with pytest.raises(UnknownName, match="unknown fix 'seal hatch 5'"):
        beside.tick("seal hatch 5")


def test_readings_are_held_against_the_machine_as_it_stands(beside, picker):
    held = beside.readings
    from_check = ds.check_readings(picker, demo_file("picker").with_name("picker_readings.csv"))
    np.testing.assert_allclose(held.shown, from_check.predicted, rtol=1e-9)
    assert any(words.startswith("Readings: ") for words in beside.sentences())
    worst = int(np.argmax(np.abs(held.misfit)))
    assert held.taken[worst].where in held.table("metric")
    leaky = picker.change({"hatch leak 4.area": "330 cm2"})
    state = leaky.solve()
    taken = [ds.Reading(name, float(state.ask(f"tapping {name}"))) for name in ("door 4", "air box")]
    made = ds.explore(picker, readings=taken)
    assert np.abs(made.readings.misfit).max() > 1.0
    made.move({"hatch leak 4.area": "330 cm2"})
    assert np.abs(made.readings.misfit).max() < 1e-6
    assert "Readings: 2 of 2 within 2 standard deviations." in made.sentences()


def test_fixes_that_make_no_sense_are_named(picker):
    made = ds.explore(picker, fixes=[ds.Fix("odd", change={"no such part.area": 0.0})])
    assert any("no such part" in str(getattr(w, "value", "")) for w in made.panel.children)
