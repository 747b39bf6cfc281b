"""Units whose names hold signs that join names: they stay one unit each, and are shown as they are."""

import numpy as np
import pytest

import ductsim as ds
from ductsim.crop.margins import places
from ductsim.errors import UnknownName

NAMES = ("4+R", "4", "a, b", "5 & 6", "Ünit 1")


def document():
    """Five heads on one header, at a held vacuum (invented)."""
    parts, taps, units = [], [], []
    for i, name in enumerate(NAMES):
        parts.append(
            {"name": f"mouth {i}", "kind": "opening", "from": "outside", "to": f"head {i}"}
            | {"area": 0.03 + 0.002 * i, "loss_coefficient": 1.0}
        )
        parts.append(
            {"name": f"duct {i}", "kind": "duct", "from": f"head {i}", "to": "header"}
            | {"diameter": 0.2, "length": 3.0}
        )
        taps.append({"name": f"tap {i}", "path": f"duct {i}", "end": "from", "area": 0.03})
        units.append({"name": name, "vacuum_at": f"tap {i}", "duct": f"duct {i}", "openings": [f"mouth {i}"]})
    parts.append(
        {"name": "shared", "kind": "duct", "from": "header", "to": "tank", "diameter": 0.5, "length": 3.0}
    )
    return {
        "format": 1,
        "air": {"density": 1.2},
        "hold": [{"node": "tank", "pressure": -1500.0}],
        "part": parts,
        "tapping": taps,
        "unit": units,
        "crop": {"crop_yield": 0.3, "row_spacing": 1.0, "ground_speed": 1.0},
        "fill": {"width": 5.0, "length": 2.0, "height": 2.0, "positions": [0.5, 1.5, 2.5, 3.5, 4.5]},
    }


@pytest.fixture(scope="module")
def machine():
    return ds.Machine.of(document())


def test_places_and_limits_carry_the_names_of_units_in_tuples(machine):
    shared = [place for place in places(machine.with_crop().layout) if place.part == "shared"]
    assert {place.units for place in shared} == {NAMES}
    assert {place.unit for place in shared} == {"4+R+4+a, b+5 & 6+Ünit 1"}  # to be read
    state = machine.solve()
    assert state.limiting.units in [*((name,) for name in NAMES), NAMES]
    many = machine.change({"crop.ground_speed": [0.5, 1.0]}).solve()
    assert many.limiting.units.shape == (2,) and many.limiting.units[1] == state.limiting.units
    assert [row["unit"] for row in state.rows()] == list(NAMES)


def test_a_ground_speed_knows_every_unit_by_its_own_name(machine):
    found = ds.ground_speed(machine, samples=20, fixes={"wider": {"mouth 0.area": 0.04}})
    assert {row["unit"] for row in found.rows()} == set(NAMES) == set(found.margin_today)
    assert set(found.duct_margins) == set(NAMES)
    assert all(row["margin_today"] is not None for row in found.rows())
    assert set(found.limiting.units) <= set(NAMES) and f"Unit {found.unit} limits" in str(found)
    # all units pick alike, so that the flow of one is that of any of several
    assert found.crop_flow == pytest.approx(found.flow_at(("4+R",), found.limit))
    shown = found.plot(what="margins")
    kinds = {line.get_label(): np.sort(line.get_xdata()) for line in shown.get_lines()}
    own = [m.margin for m in found.margins if m.place.what == "choke" for _ in m.place.units]
    np.testing.assert_allclose(kinds["choke"], np.sort(own))  # a shared duct once for each of its units


def test_what_was_seen_names_units_by_all_their_signs(machine, tmp_path):
    place = tmp_path / "seen.csv"
    place.write_text(
        'ground_speed,blocked\n1.0,\n2.0,4+R\n2.0,"a, b"\n2.0,4+R+4+5 & 6\n2.0, Ünit 1 + 4 \n',
        encoding="utf-8",
    )
    found = ds.calibrate(machine, place)
    units = [run.units for run in found.runs]
    assert units == [(), ("4+R",), ("a, b",), ("4+R", "4", "5 & 6"), ("Ünit 1", "4")]
    listed = [{"ground_speed": 1.0}, *({"ground_speed": 2.0, "blocked": names} for names in units[1:])]
    assert ds.calibrate(machine, listed).median == found.median
    assert [row["unit"] for row in found.rows()][1:] == ["4+R", "a, b", "4+R", "Ünit 1"]
    for blocked, problem in (("4+Q", "unknown unit 'Q'"), (["4", "R"], "unknown unit 'R'"), ("R", "'R'")):
        with pytest.raises(UnknownName, match=problem):
            ds.calibrate(machine, [{"ground_speed": 1.0, "blocked": blocked}])


def test_a_pass_and_a_box_show_the_names(machine):
    along = ds.field_pass(machine, [0.2, 0.9])
    assert all(set(place.units) <= set(NAMES) for place in along.places)
    assert f"unit {along.places[1].unit} at" in along.sentences("inch")[0]
    assert [row["unit"] for row in ds.fill(machine).tables()["discharges"]] == list(NAMES)
