"""`[[header]]`, a shared duct with branches written once; nodes where ducts meet without a junction."""

import math
import tomllib
from itertools import pairwise

import pytest

import ductsim as ds
from ductsim.files.headers import headers

HEADER = {
    "name": "main",
    "from": "a",
    "to": "tank",
    "diameter": "200 mm",
    "angle": "45 deg",
    "branch_diameter": "150 mm",
    "stretch": [
        {"branches": ["b"], "diameter": "250 mm", "length": "2 m"},
        {"branches": ["c", "d"], "diameter": "300 mm", "length": "1 m", "angle": "60 deg"},
        {"branches": "e", "width": "300 mm", "height": "250 mm", "length": "3 m", "branch_area": "0.01 m2"},
    ],
}


def test_a_header_becomes_ducts_and_merges_in_the_order_of_the_air():
    parts = [own.values for own in headers({"header": [HEADER]})]
    assert [(p["name"], p["kind"]) for p in parts] == [
        ("main from b", "merge"),
        ("main 1", "duct"),
        ("main from c", "merge"),
        ("main from d", "merge"),
        ("main 2", "duct"),
        ("main from e", "merge"),
        ("main 3", "duct"),
    ]
    way = [(p.get("straight", p.get("from")), p.get("combined", p.get("to"))) for p in parts]
    assert way[0][0] == "a" and way[-1][1] == "tank"
    assert all(behind == before for (_, behind), (before, _) in pairwise(way))
    assert [p["branch"] for p in parts if p["kind"] == "merge"] == ["b", "c", "d", "e"]


def test_sections_of_a_header_follow_from_its_stretches():
    merges = {p["branch"]: p for own in headers({"header": [HEADER]}) if (p := own.values)["kind"] == "merge"}
    circle = {mm: math.pi / 4 * (mm / 1000) ** 2 for mm in (150, 200, 250, 300)}
    found = {b: (m["straight_area"], m.get("combined_area"), m["branch_area"]) for b, m in merges.items()}
    assert found["b"] == pytest.approx((circle[200], circle[250], circle[150]))
    assert found["c"] == pytest.approx((circle[250], circle[300], circle[150]))
    assert found["d"][:2] == (pytest.approx(circle[300]), None)  # close behind c, in the section behind
    assert found["e"] == pytest.approx((circle[300], 0.075, 0.01))
    assert [merges[b]["angle"] for b in "bcde"] == ["45 deg", "60 deg", "60 deg", "45 deg"]


def bad(**change):
    return {"header": [{**HEADER, **change}]}


@pytest.mark.parametrize(
    ("document", "words"),
    [
        (bad(stretch=[]), "has no stretch"),
        (bad(stretch=[{"branches": [], "diameter": 0.2, "length": 1.0}]), "has no branches"),
        (bad(stretch=[{"branches": ["b"], "length": 1.0}]), "stretch 1"),
        (bad(stretch=[{"branches": ["b"], "diameter": 0.2, "length": [1.0, 2.0]}]), "not one number"),
        (bad(stretch=[{"branches": ["b", "b"], "diameter": 0.2, "length": 1.0}]), "used twice"),
        (bad(stretch=[{"branchs": ["b"], "diameter": 0.2, "length": 1.0}]), "branches"),
        (bad(area=0.03), "got both of diameter and area"),
        (bad(diameter="two"), "diameter"),
        (bad(diameter=-0.2), "out of range"),
        (bad(diameter=[0.2]), "diameter"),
        (bad(angl=1.0), "angle"),
        ({"header": [{k: v for k, v in HEADER.items() if k != "angle"}]}, "'angle' is missing"),
        ({"header": [{k: v for k, v in HEADER.items() if k != "to"}]}, "'to' is missing"),
        ({"header": [{k: v for k, v in HEADER.items() if k != "branch_diameter"}]}, "got neither"),
        ({"header": {"name": "main"}}, "list of tables"),
    ],
)
def test_what_a_header_may_not_say(document, words):
    with pytest.raises(ds.InputError, match=words):
        headers(document)


def test_a_header_is_written_back_spelled_out(tmp_path):
    machine = ds.demo("suction")
    file = tmp_path / "own.toml"
    machine.write(file)
    written = tomllib.loads(file.read_text(encoding="utf-8"))
    assert "header" not in written
    kinds = [p["kind"] for p in written["part"] if p["name"].startswith("header ")]
    assert kinds.count("merge") == 7 and kinds.count("duct") == 4
    assert ds.Machine.read(file) == machine


# ---- ducts that meet without a junction


def plain(**more):
    """Two heads whose ducts meet at a plain node before a third duct and a fan (invented)."""
    size = {"diameter": "150 mm", "length": "2 m"}
    fan = {"curve_speed": 300.0, "speed": 300.0, "flow": [0.0, 1.0], "total_pressure": [3000.0, 500.0]}
    return {
        "format": 1,
        "air": {"density": 1.2},
        "part": [
            {"name": "mouth a", "kind": "opening", "from": "outside", "to": "a", "area": 0.02}
            | {"loss_coefficient": 1.0},
            {"name": "mouth b", "kind": "opening", "from": "outside", "to": "b", "area": 0.02}
            | {"loss_coefficient": 1.0},
            {"name": "duct a", "kind": "duct", "from": "a", "to": "joint", **size},
            {"name": "duct b", "kind": "duct", "from": "b", "to": "joint", **size},
            {"name": "main", "kind": "duct", "from": "joint", "to": "eye", **size},
            {"name": "fan", "kind": "fan", "from": "eye", "to": "outside", **fan},
        ],
        **more,
    }


def junctions(document):
    state = ds.Machine.of(document).solve()
    return state, [note for note in state.notes if note.kind == "plain junction"]


def test_ducts_that_meet_without_a_junction_are_noted_with_what_is_at_stake():
    state, (note,) = junctions(plain())
    assert note.place == "joint" and note.startswith("3 ducts meet at joint without a junction")
    area = math.pi / 4 * 0.15**2
    assert note.value == pytest.approx(state.flow["main"] ** 2 / (2 * 1.2 * area**2), rel=1e-9)


def test_nothing_is_noted_in_a_box_at_a_junction_and_where_little_is_at_stake():
    assert junctions(plain(boxes=["joint"]))[1] == []
    opening = plain()
    opening["part"].append(
        {"name": "flap", "kind": "opening", "from": "outside", "to": "joint", "area": 1e-4}
        | {"loss_coefficient": 1.0}
    )
    assert junctions(opening)[1] == []  # an opening ends there: a box
    leaking = plain()
    leaking["part"].append({"name": "gap", "kind": "leak", "from": "outside", "to": "joint", "area": 1e-4})
    assert len(junctions(leaking)[1]) == 1  # a leak makes no box
    gated = plain()
    gated["part"][4] |= {"from": "behind"}
    gate = {"name": "gate", "kind": "gate", "from": "joint", "to": "behind", "area": 0.0177, "opening": 0.9}
    gated["part"].append(gate)
    assert [note.place for note in junctions(gated)[1]] == ["joint"]  # a gate stands within a duct
    slow = plain()
    slow["part"][-1]["total_pressure"] = [4.0, 0.2]
    assert junctions(slow)[1] == []
    assert all(junctions_of(name) == [] for name in ("picker", "suction", "bench"))


def junctions_of(name):
    return [note for note in ds.demo(name).solve().notes if note.kind == "plain junction"]


def test_a_sudden_step_of_the_section_is_noted_with_its_loss():
    step = plain()
    step["part"] = [p for p in step["part"] if p["name"] not in ("mouth b", "duct b")]
    step["part"][2]["diameter"] = "300 mm"
    state, (note,) = junctions(step)
    area = math.pi / 4 * 0.15**2
    whole = state.flow["duct a"] ** 2 / (2 * 1.2 * area**2)
    assert note.value == pytest.approx((1 - 0.25) ** 2 * whole, rel=1e-9)
    assert "different sections" in note
    columns = ds.Machine.of(step).change({"fan.speed": [100.0, 300.0]}).solve()
    (both,) = [n for n in columns.notes if n.kind == "plain junction"]
    assert both.value == pytest.approx(note.value, rel=1e-6)


@pytest.mark.parametrize(
    ("boxes", "words"),
    [(["joynt"], "joint"), (["outside"], "outside"), (["joint", "joint"], "twice"), ([1], "list of texts")],
)
def test_boxes_name_nodes_that_there_are(boxes, words):
    with pytest.raises(ds.InputError, match=words):
        ds.Machine.of(plain(boxes=boxes))


def test_boxes_are_written_back(tmp_path):
    machine = ds.Machine.of(plain(boxes=["joint"]))
    machine.write(tmp_path / "own.toml")
    assert ds.Machine.read(tmp_path / "own.toml").layout.boxes == ("joint",)
