"""The usual mishaps, each against the machine that has it, built by hand."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

import ductsim as ds
from ductsim.errors import InputError
from ductsim.laws.losses import quadratic
from ductsim.parts.declare import KINDS
from ductsim.studies.faults.mishaps import DOOR, LATCH, cases

DEMO = (Path(ds.__file__).parent / "examples" / "picker.toml").read_text(encoding="utf-8")
CROP = ds.Crop(crop_yield=0.2, row_spacing=1.0)
BELT_OFF = "{} stands still (drive off)"


@pytest.fixture(scope="module")
def picker():
    """The demo with units and fans of its own, each unlike the others; without a crop, which takes longer."""
    return ds.Machine.of({key: own for key, own in tomllib.loads(DEMO).items() if key != "crop"})


@pytest.fixture(scope="module")
def found(picker):
    """What could happen to it."""
    return ds.what_if(picker)


@pytest.fixture(scope="module")
def document(picker, tmp_path_factory):
    """Its machine file with every part spelled out."""
    path = tmp_path_factory.mktemp("faults") / "picker.toml"
    picker.write(path)
    return path.read_text(encoding="utf-8")


def test_a_machine_tells_its_own(picker, found):
    assert picker.what_if().rows() == found.rows()


def after(found, words):
    """What is seen after one mishap."""
    (own,) = [seen for seen in found.after if seen.words == words]
    return own


def same(own, machine, rel=1e-6):
    """Whether a mishap leaves what a machine shows."""
    state = machine.solve()
    assert own.vacuum == pytest.approx(dict(state.vacuum), rel=rel, abs=1e-4)
    for unit, air in own.opening_air.items():
        assert air == pytest.approx(state.ask(f"opening air {unit}"), rel=rel, abs=1e-6)
    for name, value in own.gauges.items():
        assert value == pytest.approx(state.ask(f"tapping {name}"), rel=rel, abs=1e-4)
    assert own.power == pytest.approx(sum(float(p) for p in state.power.values()), rel=rel)


# ---- against machines built by hand


def test_the_machine_as_it_is(found, picker):
    same(found.before, picker)
    assert found.before.answer == pytest.approx(picker.ask("weakest vacuum"))


def test_a_plugged_duct_carries_nothing(found, picker):
    shut = picker.replace({"duct 3": ds.Opening(area=0.0, loss_coefficient=1.0)})
    assert shut.ask("duct air 3") == 0.0
    own = after(found, "duct 3 is plugged")
    same(own, shut)
    # the nozzle's air has no way but out by the openings
    assert own.vacuum["3"] < 0.0 and own.opening_air["3"] < 0.0


def test_a_rectangular_duct_is_plugged():
    bench = ds.demo("bench").replace({"right duct": ds.Duct(length=4.0, width=0.2, height=0.1)})
    own = after(ds.what_if(bench), "right duct is plugged")
    assert own.vacuum["right"] == own.opening_air["right"] == 0.0 < own.vacuum["left"]


@pytest.mark.parametrize("density", [1.0, 1.2])
def test_a_fan_off_its_belt_is_its_standing_resistance(document, density):
    made = tomllib.loads(document)
    made["air"] = {"density": density, "viscosity": 1.8e-5}
    machine = ds.Machine.of(made)
    own = after(ds.what_if(machine), BELT_OFF.format("left fan"))
    standing = machine.change({"belt.engine_speed": 0.0}).part("left fan").paths()[0]
    air = ds.LocalAir(density=density, viscosity=1.8e-5, outside=density)
    one, two = (-standing.law(-flow, air, **standing.coefficients)[0] for flow in (1.0, 2.0))
    assert one > 0.0 and two == pytest.approx(4.0 * one, rel=1e-3)  # the box drives air back through it
    part = next(p for p in made["part"] if p["name"] == "left fan")
    ends = {key: part[key] for key in ("name", "from", "to")}
    part.clear()
    part.update(ends, kind="resistance", coefficient=float(one), exponent=math.log2(two / one))
    same(own, ds.Machine.of(made), rel=1e-4)
    assert own.power < 0.7 * machine.ask("shaft power")


def test_a_hose_that_is_off_leaves_two_open_ends(found, document):
    made = tomllib.loads(document)
    made["part"] = [part for part in made["part"] if part["name"] != "hose 3"]
    for name, node in (("stub", "air box"), ("inlet", "jet box 3")):
        area = math.pi / 4 * 0.180**2
        end = {"name": name, "kind": "opening", "from": node, "to": "outside"}
        made["part"].append({**end, "area": area, "loss_coefficient": 1.5})
    tapping = next(t for t in made["tapping"] if t["name"] == "jet box 3")
    tapping |= {"path": "jet 3", "end": "motive", "area": 100.0}  # where the box is wide
    state = ds.Machine.of(made).solve()
    own = after(found, "hose 3 has come off")
    assert own.vacuum == pytest.approx(dict(state.vacuum), rel=1e-5, abs=1e-4)
    assert own.gauges["air box"] == pytest.approx(state.ask("tapping air box"), rel=1e-6)
    assert own.gauges["air box"] < 0.95 * found.before.gauges["air box"]


@pytest.mark.parametrize(
    ("words", "share"), [("stands open", DOOR), ("has its latch open", LATCH)], ids=["open", "latch"]
)
def test_a_door_is_a_hole_beside_its_openings(found, document, words, share):
    made = tomllib.loads(document)
    hole = {"name": "gap", "kind": "leak", "from": "outside", "to": "door 2", "area": share * 0.048}
    made["part"].append(hole)
    same(after(found, f"the door of unit 2 {words}"), ds.Machine.of(made))


def test_a_torn_seal_is_a_hole_beside_it(found, document):
    made = tomllib.loads(document)
    hole = {"name": "gap", "kind": "leak", "from": "jet box 4", "to": "outside", "area": "100 cm2"}
    made["part"].append(hole)
    same(after(found, "cuff leak 4 is torn open by 100 cm2"), ds.Machine.of(made))


@pytest.mark.parametrize(
    ("words", "change"),
    [
        ("right screen is blinded by half", {"right screen.blinded": 0.5}),
        ("right screen is blinded to 80 %", {"right screen.blinded": 0.8}),
        ("left fan is soiled by a fifth", {"left fan.soiling": 0.2}),
        ("hose 4 is kinked to half its section", {"hose 4.kink": 0.5}),
        ("hose 4 is plugged", {"hose 4.kink": 1.0}),
        ("jet 1 has its nozzle plugged", {"jet 1.nozzle_area": 0.0}),
        (
            "hose 1 and hose 2 are exchanged",
            {
                "hose 1.length": "1.5 m",
                "hose 1.loss_coefficient": 0.227,
                "hose 2.length": "1.2 m",
                "hose 2.loss_coefficient": 0.053,
            },
        ),
    ],
)
def test_what_is_a_change_of_numbers(found, picker, words, change):
    same(after(found, words), picker.change(change))


# ---- symmetry


def test_mirrored_mishaps_give_mirrored_answers(picker):
    even = picker.change(
        {
            "right screen.blinded": 0.0,
            "hose *.length": "2 m",
            "hose *.loss_coefficient": 0.9,
            "hatch leak *.area": "70 cm2",
            "joint leak *.coefficient": 0.0015,
            "cuff leak *.coefficient": 0.0004,
        }
    )
    found = ds.what_if(even)
    assert not [own for own in found.after if own.kind.endswith("exchanged")]  # all are alike
    assert after(found, BELT_OFF.format("left fan")).answer == pytest.approx(
        after(found, BELT_OFF.format("right fan")).answer
    )
    for words in ("hose {} has come off", "duct {} is plugged", "the door of unit {} stands open"):
        one, five = (after(found, words.format(unit)) for unit in "15")
        mirror = {"1": "5", "5": "1"}
        assert one.answer == pytest.approx(five.answer)
        for unit, value in one.vacuum.items():
            assert value == pytest.approx(five.vacuum[mirror.get(unit, unit)], abs=1e-6)
        assert one.power == pytest.approx(five.power)


# ---- the order, and what is told


def test_the_worst_stand_first(found):
    damages = [found.damage(own) for own in found.after]
    assert damages == sorted(damages, reverse=True)
    rows = found.tables()["faults"]
    assert [row["mishap"] for row in rows] == [own.words for own in found.after]
    assert rows[0]["change_Pa"] == pytest.approx(rows[0]["weakest_vacuum_Pa"] - 296.97, abs=0.1)
    assert found.sentences("metric")[0].startswith(
        f"Of {len(found.after)} usual mishaps, each by itself, this would be the worst: {rows[0]['mishap']}."
    )
    assert len({own.words for own in found.after}) == len(found.after)


def test_another_question_makes_another_order(picker):
    found = ds.what_if(picker, of="shaft power")
    damages = [own.power - found.before.power for own in found.after]
    assert damages == pytest.approx(sorted(damages, reverse=True))
    assert found.after[0].power > found.before.power  # less is better


def test_what_blocks_first_is_what_the_crop_says():
    bench = ds.demo("bench").with_crop(CROP).without_crop()
    own = after(found := ds.what_if(bench), "the door of unit left stands open")
    hole = {"name": "gap", "kind": "leak", "from": "outside", "to": "left head", "area": 0.03}
    made = tomllib.loads((Path(ds.__file__).parent / "examples" / "bench.toml").read_text(encoding="utf-8"))
    limiting = ds.Machine.of(made | {"part": [*made["part"], hole]}).with_crop(CROP).solve().limiting
    assert (own.place.units, own.place.part, own.place.what) == (
        limiting.units,
        limiting.place,
        limiting.what,
    )
    assert own.margin == pytest.approx(limiting.margin, rel=1e-6)
    row = next(r for r in found.rows() if r["mishap"] == own.words)
    assert row["driver_notices"].startswith(f"as before, unit right blocks first, at {own.place}")


def test_gauges_before_and_after(found, picker):
    rows = [r for r in found.tables()["gauges"] if r["mishap"] == "hose 2 is plugged"]
    assert [r["tapping"] for r in rows] == [t.name for t in picker.layout.tappings]
    for row in rows:
        assert row["before_Pa"] == pytest.approx(picker.ask(f"tapping {row['tapping']}"))
        assert row["change_Pa"] == pytest.approx(row["after_Pa"] - row["before_Pa"])
    sign = next(r for r in found.tables()["signs"] if r["mishap"] == "hose 2 is plugged")
    assert sign["gauge"] == "jet box 2" and sign["after_Pa"] == 0.0


def test_without_a_crop_the_driver_notices_air_and_power():
    found = ds.what_if(ds.demo("bench"))
    assert math.isnan(found.before.margin) and "no crop" in [note.kind for note in found.notes]
    own = after(found, "left duct is plugged")
    row = next(r for r in found.rows() if r["mishap"] == own.words)
    assert row["driver_notices"].startswith("unit left draws hardly any air; the fans take")
    assert own.opening_air["left"] == own.vacuum["left"] == 0.0
    still = after(found, "fan stands still (drive off)")
    assert still.power == 0.0 and set(still.gauges.values()) == {0.0}


def test_cautions_come_with_it(found):
    told = " ".join(found.cautions)
    assert "lock it out" in told and "never bring a mishap about" in told
    assert "our assumption" in " ".join(found.notes)


# ---- which mishaps there are


def test_what_is_as_bad_already_is_left_out(picker):
    worse = picker.change({"left screen.blinded": 0.9, "right fan.soiling": 0.3, "hose 1.kink": 0.6})
    words = [case.words for case in cases(worse)]
    assert not [w for w in words if w.startswith(("left screen", "right fan is soiled", "hose 1 is kinked"))]
    assert "hose 1 is plugged" in words and "right screen is blinded by half" in words


def test_a_machine_that_carries_crop():
    loaded = ds.demo("bench").with_crop(CROP)
    found = ds.what_if(loaded)
    assert found.before.answer == pytest.approx(loaded.ask("weakest vacuum"))
    assert found.before.answer != pytest.approx(ds.demo("bench").ask("weakest vacuum"))
    assert after(found, "left duct is plugged").margin < 1.0


def test_possible_machines_by_their_middle(picker):
    wide = picker.change({"hatch leak 4.area": [0.03, 0.04, 0.08]})
    assert ds.what_if(wide).before.answer == pytest.approx(picker.ask("weakest vacuum"))


def test_a_name_that_is_taken(document):
    made = tomllib.loads(document)
    made["part"].append(
        {"name": "hole at door 1", "kind": "leak", "from": "outside", "to": "door 1", "area": 0.001}
    )
    found = ds.what_if(ds.Machine.of(made))
    assert after(found, "hole at door 1 is torn open by 100 cm2").vacuum["1"] < found.before.vacuum["1"]


def test_a_part_of_ones_own_declares_its_mishaps():
    class Filter(ds.Part):
        """A filter."""

        symbol = "screen"
        mishaps = (ds.Mishap("is clogged", "its cover bulges", {"area": 0.001}),)
        area: float = ds.number("m2", at_least=0, doc="its area")

        def paths(self):
            """One path, that of an opening."""
            return (ds.Path(quadratic, {"area": self.area, "loss": 1.0}, self.area),)

    known = dict(KINDS)
    try:
        made = ds.part("filter of its own")(Filter)
        machine = ds.demo("bench").replace({"left mouth": made(area=0.03)})
        own = after(ds.what_if(machine), "left mouth is clogged")
        assert own.sign == "its cover bulges"
        same(own, machine.change({"left mouth.area": 0.001}))
    finally:
        KINDS.clear()
        KINDS.update(known)


@pytest.mark.parametrize(
    ("attribute", "problem"),
    [
        ({"mishaps": ["is clogged"]}, "mishaps = "),
        ({"mishaps": (ds.Mishap("is clogged", "", {"aera": 0.0}),)}, "unknown number 'aera'"),
        ({"mixed_up": 1}, "mixed_up = 1"),
    ],
)
def test_mishaps_that_are_none(attribute, problem):
    own = {"__annotations__": {"area": float}, "area": ds.number("m2", at_least=0, doc="its area")}
    with pytest.raises(ds.InputError, match=problem):
        ds.part("part of bad mishaps")(type("Bad", (ds.Part,), {**own, **attribute}))


def test_every_mishap_fits_its_kind():
    for kind, cls in KINDS.items():
        for own in cls.mishaps:
            assert own.words and own.sign and not own.words.endswith("."), kind
            assert own.numbers or own.opens > 0.0
            for name, value in own.numbers.items():
                assert cls.declared[name].low <= value <= cls.declared[name].high


def test_no_answer_stands_last(picker, monkeypatch):
    from ductsim.studies.faults import study

    def some(machine, columns, listed, of):
        out = true(machine, columns, listed, of)
        for own in out:
            if own.words == "hose 1 is plugged":
                own.answer = np.nan
        return out

    true = study._solved
    monkeypatch.setattr(study, "_solved", some)
    found = ds.what_if(picker)
    assert found.after[-1].words == "hose 1 is plugged" and found.rows()[-1]["note"] == "no answer"
    assert "1 of 63 mishaps have no answer" in " ".join(found.notes)


@pytest.mark.parametrize(
    ("machine", "of", "problem"),
    [("picker", "weakest vacuum", "is no machine"), (None, "vaccum 4", "vaccum"), (None, 3, "what_if, of")],
)
def test_what_cannot_be_asked(picker, machine, of, problem):
    with pytest.raises(ds.InputError, match=problem):
        ds.what_if(machine or picker, of=of)


def test_a_belt_is_taken_off_by_a_word(picker):
    """In a change and in a fix; the same machine as with a belt that slips wholly."""
    off = picker.change({"left fan.belt": "off"})
    assert off == picker.change({"left fan.belt_slip": 1.0})
    assert off.change({"* fan.belt": "on"}).numbers["left fan.belt_slip"] == 0.0
    assert ds.Fix("belt off", {"left fan.belt": "off"}).on(picker) == off
    for word in ("of", 1.0):
        with pytest.raises(InputError, match=r"left fan\.belt: .* is no setting; 'off' or 'on'"):
            picker.change({"left fan.belt": word})
