"""The crop of a machine: its arithmetic, its way, the loaded machine, margins, questions about it."""

import json
import math
import pickle
import warnings

import fluids
import numpy as np
import pytest

import ductsim as ds
from ductsim.crop.crop import STANDING, flows_of
from ductsim.crop.margins import margins, places
from ductsim.documents.document import parse
from ductsim.errors import InputError, UnknownName
from ductsim.network.system import Compiled
from ductsim.sources import SOURCES
from ductsim.speed.limit import speed_limit


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


@pytest.fixture(scope="module")
def loaded(picker):
    return picker.with_crop()


TALL = {
    "format": 1,
    "title": "Tall duct with a weak jet (invented)",
    "air": {"density": "1.1 kg/m3", "viscosity": "1.85e-5 Pa s"},
    "hold": [{"node": "box", "pressure": "2.5 kPa"}],
    "part": [
        {
            "name": "mouth",
            "kind": "opening",
            "from": "outside",
            "to": "door",
            "area": "480 cm2",
            "loss_coefficient": 1.5,
        },
        {
            "name": "jet",
            "kind": "jet",
            "motive": "box",
            "suction": "door",
            "discharge": "foot",
            "nozzle_area": "45 cm2",
            "mixing_area": "598 cm2",
        },
        {
            "name": "duct",
            "kind": "duct",
            "from": "foot",
            "to": "outside",
            "diameter": "276 mm",
            "length": "14 m",
            "loss_coefficient": 1.2,
            "rise": "12 m",
        },
    ],
    "tapping": [{"name": "door", "path": "jet", "end": "suction", "area": "600 cm2"}],
    "unit": [{"name": "1", "vacuum_at": "door", "duct": "duct", "openings": ["mouth"]}],
}
HARDLY = {
    "opening_ratio": 1e-3,
    "capture_velocity": 1e-3,
    "suction_velocity": 1e-3,
    "conveying_velocity": 1e-3,
    "choke_ratio": 1.0,
    "surge": 1.0,
}


# ---- arithmetic


def test_crop_flow_by_hand():
    """0.40 kg/m2 x 1.0 m x 5.4 km/h (1.5 m/s) = 0.60 kg/s."""
    crop = ds.Crop(crop_yield="0.40 kg/m2", row_spacing="1 m", ground_speed="5.4 km/h")
    assert crop.flow() == pytest.approx(0.60, rel=1e-12)
    assert crop.flow(3.0) == pytest.approx(1.20, rel=1e-12)
    two = ds.Crop(crop_yield="4000 kg/ha", row_spacing="30 in", rows_per_unit=2, moisture=1.1)
    assert two.flow(1.0) == pytest.approx(0.4 * 2 * 0.762 * 1.1, rel=1e-12)
    assert two.area_rate(1.5, 4, 0.7) == pytest.approx(1.5 * 2 * 0.762 * 4 * 0.7, rel=1e-12)


def test_bales_and_turnout_by_hand():
    """2.8 bales/acre of 480 lb at 38 %: 2.8 x 217.7 / 0.38 / 4046.86 = 0.396 kg/m2."""
    crop = ds.Crop(bales="2.8 bales/acre", row_spacing=1.0)
    assert crop.mass_yield == pytest.approx(2.8 * 217.7 / 0.38 / 4046.8564, rel=1e-7)
    assert ds.Crop(bales="6.9189 bales/ha", row_spacing=1.0).mass_yield == pytest.approx(0.3964, rel=1e-3)


def test_unit_flows_follow_shares_and_yields(picker):
    crop = ds.Crop(
        crop_yield=0.4,
        row_spacing=1.0,
        ground_speed=1.5,
        unit_yields=[1.0, 0.5, 1.0, 1.2, 0.0],
        shares=[0.7, 0.3],
        surge=1.5,
    )
    machine = picker.with_crop(crop)
    assert flows_of(machine) == pytest.approx({"1": 0.6, "2": 0.3, "3": 0.6, "4": 0.72, "5": 0.0})
    numbers = machine.part_numbers()
    assert numbers["front 4.crop_flow"] == pytest.approx(0.7 * 0.72 * 1.5)
    assert numbers["rear 4.crop_flow"] == pytest.approx(0.3 * 0.72 * 1.5)
    assert numbers["duct 4.crop_flow"] == pytest.approx(0.72 * 1.5)
    assert sum(numbers[f"duct {u}.crop_flow"] for u in "12345") == pytest.approx(1.5 * 2.22)


def test_every_default_of_a_crop_has_its_standing():
    rows = ds.Crop(bales=7e-4, row_spacing=1.0, slip=7.0).standings()
    assert {row["number"] for row in rows} == {f"crop.{name}" for name in STANDING}
    standing = {row["number"]: row["standing"] for row in rows}
    assert standing["crop.slip"] == "given"
    assert standing["crop.opening_ratio"] == "our assumption"
    assert standing["crop.conveying_velocity"] == "from memory"
    assert standing["crop.bale_mass"] == "seen"
    assert set(STANDING.values()) <= set(SOURCES)


# ---- bad input


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"shares": [0.5, 0.4]}, "the shares add up to 0.9; shares that add up to 1."),
        ({"crop_yield": 0.0}, "0 kg/m2 is out of range; allowed: above 0 kg/m2"),
        ({"crop_yield": "40 kPa"}, "crop_yield"),
        ({"lint_share": 0.9}, "0.9 is out of range; allowed: at least 0.2 and at most 0.6"),
        ({"bales": 1e-3}, "got bales, crop_yield; give exactly one set of crop_yield or bales"),
        ({"row_spacing": -1.0}, "row_spacing"),
        ({"surge": 0.5}, "surge"),
        ({"yields": 1.0}, "unknown key 'yields'"),
        ({"unit_yields": [0.0, 0.0]}, "every unit's yield is 0"),
        ({"ground_speed": "5 kg/s"}, "ground_speed"),
    ],
)
def test_bad_crops_get_one_sentence(keys, words):
    with pytest.raises(InputError) as err:
        ds.Crop.of({"crop_yield": 0.4, "row_spacing": 1.0, **keys})
    assert words in str(err.value) and "\n" not in str(err.value)


@pytest.mark.parametrize(
    ("crop", "words"),
    [
        ({"shares": [0.2, 0.3, 0.5]}, "3 shares for the 2 openings of unit '1'"),
        ({"unit_yields": [1.0, 1.0]}, "2 yields for 5 units"),
    ],
)
def test_lists_must_fit_the_units(picker, crop, words):
    with pytest.raises(InputError) as err:
        picker.with_crop(ds.Crop(crop_yield=0.4, row_spacing=1.0, **crop))
    assert words in str(err.value)


def test_a_machine_without_crop_says_so(picker):
    bench = ds.demo("bench")
    for ask in ("carrying margin", "ground speed", "carrying margin left"):
        with pytest.raises(InputError, match="the machine has no crop"):
            bench.ask(ask)
    with pytest.raises(InputError, match="the machine has no crop"):
        bench.with_crop()
    with pytest.raises(InputError, match="crop: the key 'row_spacing' is missing"):
        picker.with_crop({"crop_yield": 0.4})
    with pytest.raises(InputError, match="3 is not a crop"):
        picker.with_crop(3)
    with pytest.raises(UnknownName):
        picker.ask("carrying margin 9")
    assert bench.crop is None and bench.solve().limiting is None and bench.solve().margin_rows() == []
    with pytest.raises(InputError, match="carries no crop"):
        margins(picker, picker.solve())
    with pytest.raises(InputError, match="no crop"):
        flows_of(bench)


def _picker_document():
    from ductsim.machine.demos import demo_file

    return parse(demo_file("picker").read_text(encoding="utf-8"))


def test_a_unit_without_a_way_for_its_crop():
    document = _picker_document()
    for part in document["each_unit"]["part"]:
        if part["name"] == "jet {unit}":  # the openings now lead into the nozzle, not into the suction
            part["motive"], part["suction"] = part["suction"], part["motive"]
    with pytest.raises(InputError) as err:
        ds.Machine.of(document)
    assert "there is no way for the crop from its opening 'front 1' to its duct 'duct 1'" in str(err.value)
    assert "unit '1'" in str(err.value)


def test_a_crop_without_units():
    document = _picker_document()
    document = {
        k: v for k, v in document.items() if k not in ("unit", "each_unit", "fill", "unknown", "trim")
    }
    with pytest.raises(InputError, match="no units that could pick it"):
        ds.Machine.of(document)


def test_changes_of_a_crop_are_checked(picker):
    with pytest.raises(InputError, match="add up to 1"):
        picker.with_crop(ds.Crop(crop_yield=0.4, row_spacing=1.0, shares=[0.5, 0.5])).change(
            {"crop.shares[0]": 0.7}
        )
    with pytest.raises(UnknownName, match=r"crop\.slip"):
        picker.change({"crop.slipp": 5.0})


def test_crop_files(tmp_path):
    good = tmp_path / "crop.toml"
    good.write_text('format = 1\n[crop]\nbales = "2.5 bales/acre"\nrow_spacing = "38 in"\n', encoding="utf-8")
    crop = ds.read_crop(good)
    assert crop.row_spacing == pytest.approx(0.9652)
    for text, words in (
        ("format = 1\n", r"the table \[crop\] is missing"),
        ("format = 1\n[corp]\n", "did you mean 'crop'"),
        ('format = 1\n[crop]\ncrop_yield = "0,4 kg/m2"\n', "crop"),
        ("format = 1\n[crop]\ncrop_yield = 0.4\n", "row_spacing"),
    ):
        bad = tmp_path / "bad.toml"
        bad.write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match=words) as err:
            ds.read_crop(bad)
        assert err.value.file == str(bad)


# ---- the way of the crop


def test_the_way_through_a_jet(loaded):
    carried = {c.part: c for c in loaded.layout.carried}
    assert set(carried) == {f"{part} {u}" for part in ("front", "rear", "jet", "duct") for u in "12345"}
    assert carried["jet 4"].starts == ((3, 0), (3, 1)) and carried["jet 4"].before == ""
    assert carried["duct 4"].starts == () and carried["duct 4"].before == "jet 4"
    assert loaded.part_numbers()["duct 4.arrival_area"] == pytest.approx(0.06)
    assert loaded.part_numbers()["duct 4.start_share"] == 0.0


def test_the_way_along_shared_ducts():
    machine = ds.demo("suction").with_crop(
        ds.Crop(crop_yield=0.1, row_spacing=0.5, ground_speed=1.0, surge=1.0)
    )
    numbers = machine.part_numbers()
    crop = {name: numbers.get(f"{name}.crop_flow") for name in machine.layout.part}
    assert crop["header 1"] == pytest.approx(2 * 0.05) and crop["header 4"] == pytest.approx(8 * 0.05)
    assert crop["fan"] is None and crop["separator"] is None
    assert numbers["duct 3.start_share"] == 1.0 and numbers["header 1.start_share"] == 1.0
    assert numbers["header 2.start_share"] == pytest.approx(0.5)  # what comes along header 1 moves on
    judged = {place.part: place.unit for place in places(machine.layout)}
    assert judged["header 4"] == "1+2+3+4+5+6+7+8" and judged["duct 3"] == "3"
    state = machine.solve()
    assert np.isfinite(state.limiting.margin)


# ---- a loaded machine


def test_without_crop_everything_is_as_it_was(picker, loaded):
    empty = loaded.change({"crop.ground_speed": 0.0}).solve()
    bare = picker.solve()
    # the laws are the same to the last bit (test_conveying); two Newton runs end as close as they are let
    for path in bare.flow:
        assert empty.flow[path] == pytest.approx(bare.flow[path], rel=1e-10, abs=1e-11)
    for node in bare.pressure:
        assert empty.pressure[node] == pytest.approx(bare.pressure[node], rel=1e-10, abs=1e-9)
    assert empty.vacuum == pytest.approx(bare.vacuum, rel=1e-10)
    assert np.isinf(margins(empty.machine, empty)).any()


def test_air_falls_as_crop_grows(loaded):
    flow = np.linspace(0.0, 12.0 / 3.6, 60)
    state = loaded.change({"crop.ground_speed": flow}).solve()
    for unit in "12345":
        for question in (
            f"vacuum {unit}",
            f"opening air {unit}",
            f"duct air {unit}",
            f"carrying margin {unit}",
        ):
            values = state.ask(question)
            assert np.all(np.diff(values[np.isfinite(values)]) < 0.0), question


def test_crop_in_one_unit_is_felt_by_the_others(picker):
    crop = ds.Crop(crop_yield=0.4, row_spacing=1.0, unit_yields=[0, 0, 1, 0, 0])
    one, none = picker.with_crop(crop).solve(), picker.solve()
    change = {u: one.ask(f"duct air {u}") - none.ask(f"duct air {u}") for u in "12345"}
    # by hand, as a loss of the empty duct: drag, K times crop over air on friction and a bend of 60 degrees,
    # and the crop sped up to the air's velocity less its slip
    air, crop_flow = one.ask("duct air 3"), 0.4 * picker.numbers["crop.ground_speed"]
    per_length = fluids.friction_factor(Re=4 * air / (math.pi * 0.2764 * 1.8e-5), eD=0.2 / 276.4)
    drag = 0.5 * crop_flow / air * (per_length * 3.2 / 0.2764 + 0.78 * 0.14)
    speed = one.units.loc["3", "duct_velocity_m_s"]
    more = drag + 2.0 * crop_flow / air * (1.0 - 6.0 / speed)
    by_hand = picker.change({"duct 3.loss_coefficient": 0.19 + more}).solve().ask("duct air 3")
    lost = by_hand - none.ask("duct air 3")
    assert 1.5 * lost < change["3"] < lost < -0.14  # lifting it, and giving way to it, come on top
    for unit in "1245":  # the loaded duct takes less from the shared air box, and the others get it
        assert 0.0 < change[unit] < 0.02 * abs(change["3"])


def test_columns_are_the_single_answers_in_any_order(loaded):
    rng = np.random.default_rng(5)
    speed, slip = rng.uniform(0.5, 3.0, 24), rng.uniform(3.0, 9.0, 24)
    many = loaded.change({"crop.ground_speed": speed, "crop.slip": slip})
    state = many.solve()
    order = rng.permutation(24)
    again = loaded.change({"crop.ground_speed": speed[order], "crop.slip": slip[order]}).solve()
    assert np.array_equal(state.ask("carrying margin")[order], again.ask("carrying margin"))
    for i in (0, 7, 23):
        assert many[i].solve().ask("carrying margin") == pytest.approx(
            state.ask("carrying margin")[i], rel=1e-9
        )
    assert set(state.limiting.unit) <= set("12345") and str(state.limiting) == "24 scenarios"
    assert state[3].limiting.margin == pytest.approx(state.limiting.margin[3])


def test_layouts_are_compiled_once(picker):
    machine = picker.with_crop()
    machine.solve()
    before = Compiled.count
    picker.change({"hatch leak 4.area": "64 cm2"}).with_crop().solve()
    machine.change({"crop.slip": 5.0, "crop.ground_speed": "6 km/h"}).solve()
    machine.without_crop().with_crop().solve()
    picker.ask("ground speed")
    assert Compiled.count == before
    assert machine.carries and not picker.carries
    assert machine.without_crop().layout is picker.layout and picker.without_crop() is picker


def test_a_loaded_machine_is_written_pickled_and_given_other_parts(picker, loaded, tmp_path):
    loaded.write(tmp_path / "copy.toml")
    again = ds.Machine.read(tmp_path / "copy.toml")
    assert again == picker and not again.carries and again.crop == picker.crop
    other = pickle.loads(pickle.dumps(loaded))
    assert other.solve().ask("carrying margin") == pytest.approx(
        loaded.solve().ask("carrying margin"), rel=1e-12
    )
    assert other.without_crop().solve().ask("vacuum 4") == pytest.approx(
        picker.solve().vacuum["4"], rel=1e-12
    )
    wide = loaded.replace(
        {"duct 4": ds.Duct(width=0.2, height=0.2, length=3.2, loss_coefficient=0.2, rise=2.4)}
    )
    assert wide.carries and wide.part("duct 4").crop_flow == loaded.part("duct 4").crop_flow
    assert wide.solve().ask("duct air 4") < loaded.solve().ask("duct air 4")
    assert {s["source"] for s in loaded.sources().rows()} > {"added_pressure", "from_memory_slip"}
    assert "crop.slip" in {row["address"] for row in loaded.describe().rows()}


def test_states_tell_what_limits(picker, loaded):
    faster = {"crop.ground_speed": "6 km/h"}  # than today, when the slowest duct comes first
    picker, loaded = picker.change(faster), loaded.change(faster)
    state = picker.solve()
    assert (state.limiting.unit, state.limiting.what) == ("4", "air-to-crop ratio")
    assert state.limiting == loaded.solve().limiting
    assert str(state.limiting).startswith("unit 4: front 4 (air-to-crop ratio), margin 1.")
    rows = state.margin_rows()
    assert len(rows) == 35 and {row["measure"] for row in rows} == {"", "m/s"}
    assert min(row["margin"] for row in rows) == pytest.approx(state.limiting.margin)
    row = next(r for r in rows if r["place"] == "duct 2" and r["what"] == "conveying velocity")
    duct = loaded.solve().units.loc["2", "duct_velocity_m_s"]
    assert row["value"] == pytest.approx(duct, rel=1e-9) and row["margin"] == pytest.approx(duct / 18.0)
    json.dumps(rows, allow_nan=True)
    assert state.vacuum["4"] > 1.3 * loaded.solve().vacuum["4"]  # the state itself is that of empty ducts


# ---- slopes


ADDRESSES = [
    *(
        "crop.ground_speed",
        "crop.crop_yield",
        "crop.slip",
        "crop.surge",
        "crop.friction",
        "crop.opening_ratio",
    ),
    *("crop.conveying_velocity", "crop.entry_velocity", "hatch leak 4.area", "jet 4.mixing_area"),
    *("duct 4.diameter", "jet 4.nozzle_area", "duct 5.length", "belt.engine_speed", "air.temperature"),
]


def _differences(machine, of, addresses, relative):
    """Central differences, all in one column call."""
    columns = {}
    steps = []
    for i, address in enumerate(addresses):
        step = relative * abs(machine.numbers[address])
        column = np.full(2 * len(addresses), machine.numbers[address])
        column[2 * i] += step
        column[2 * i + 1] -= step
        columns[address] = column
        steps.append(step)
    state = machine.change(columns).solve()
    out = []
    for question in of:
        values = state.ask(question)
        out.append((values[0::2] - values[1::2]) / (2.0 * np.array(steps)))
    return np.array(out)


def test_slopes_with_crop_agree_with_differences(loaded):
    of = ["carrying margin", "carrying margin 2", "opening air 4", "duct air 4", "vacuum 5"]
    _, slopes = loaded.jacobian(of, ADDRESSES)
    differences = _differences(loaded, of, ADDRESSES, 1e-4)
    scale = np.abs(differences).max(axis=1, keepdims=True)
    values = np.array([[abs(loaded.numbers[a])] for a in ADDRESSES]).T
    assert np.max(np.abs((slopes - differences) * values) / (scale * values).max()) < 1e-6
    for i in range(len(of)):
        for j in range(len(ADDRESSES)):
            near = (
                2e-5 * abs(differences[i, j])
                + 1e-7 * np.max(np.abs(differences[i] * values[0])) / values[0, j]
            )
            assert abs(slopes[i, j] - differences[i, j]) <= near, (of[i], ADDRESSES[j])


def test_an_empty_machine_answers_about_its_crop(picker):
    of = ["ground speed", "carrying margin"]
    answers, slopes = picker.jacobian(of, ADDRESSES)
    differences = _differences(picker, of, ADDRESSES, 1e-3)
    assert answers[1] == pytest.approx(picker.with_crop().ask("carrying margin"), rel=1e-9)
    values = np.array([abs(picker.numbers[a]) for a in ADDRESSES])
    scale = np.abs(differences * values).max(axis=1, keepdims=True)
    assert np.all(
        np.abs((slopes - differences) * values) <= 2e-4 * scale + 1e-3 * np.abs(differences * values)
    )
    assert slopes[0][0] == pytest.approx(0.0, abs=1e-5)  # the limit does not depend on today's speed
    assert slopes[0][ADDRESSES.index("crop.crop_yield")] == pytest.approx(-answers[0] / 0.4, rel=1e-3)


def test_the_words_work_in_the_studies(picker):
    fixes = [
        ds.Fix("seal hatch 4", change={"hatch leak 4.area": "64 cm2"}),
        ds.Fix("shorter hose 5", change={"hose 5.length": "1.5 m"}),
    ]
    found = ds.compare(picker, fixes, of="ground speed")
    assert "seal hatch 4" in str(found)
    swept = ds.sweep(picker, "crop.ground_speed", np.linspace(0.5, 2.5, 5), of="carrying margin")
    assert len(swept.rows()) == 5
    told = picker.sensitivity(of="ground speed")
    steep = {row["address"]: row["elasticity"] for row in told.rows()}
    assert steep["crop.crop_yield"] == pytest.approx(-1.0, abs=1e-3)
    assert steep["crop.row_spacing"] == pytest.approx(-1.0, abs=1e-3)
    assert steep["hatch leak 4.area"] < -0.05


# ---- choke on a machine


def test_a_tall_duct_chokes_and_the_running_state_is_found():
    machine = ds.Machine.of(TALL)
    crop = ds.Crop(crop_yield=1.0, row_spacing=1.0, ground_speed=0.05, **HARDLY)
    loaded = machine.with_crop(crop)
    limit = speed_limit(loaded)
    speeds = limit * np.array([1.05, 0.2, 0.999, 1.5, 0.7, 1.001])
    state = loaded.change({"crop.ground_speed": speeds}).solve()
    velocity = state.ask("duct air 1") / 1.1 / machine.part("duct").section()[0]
    running = speeds < limit
    assert np.all(velocity[running] > 6.0) and np.all(velocity[~running] < 0.5)
    # running air falls with crop, down to the fold, which lies above the slip velocity
    assert velocity[1] > velocity[4] > velocity[2] > 6.3
    margin = state.ask("carrying margin")
    assert np.all(margin[running] > 1.0) and np.all(margin[~running] < 1.0)
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        blocked = loaded.change({"crop.ground_speed": 1.2 * limit}).solve()
    assert {w.category for w in heard} == {ds.OutsideRange}
    assert any("duct: the air is no faster than the crop's slip velocity" in str(w.message) for w in heard)
    assert blocked.flow["jet", "suction"] < 0.0  # the jet blows back out of the door
    assert "slip velocity" in " ".join(blocked.notes)
