"""Any legal sign in any name: a machine with other names has the same numbers, and all that is made of it."""

import csv
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import ductsim as ds

EXAMPLES = Path(ds.__file__).parent / "examples"
UNITS = {"1": "4+R", "2": "a, b", "3": "5 & 6", "4": "Ünit 1", "5": 'it\'s "6"/7'}
THINGS = {
    "left screen": "left <b>screen</b>",
    "left inlet": "in + let; left",
    "left fan": 'left, + "big" fan',
    "right screen": "screen = right",
    "right inlet": "inlet 'right'",
    "right fan": "right/ & small fan",
    "air box": "air + box",
    "box leak": "leak @ box?",
    "belt": "belt #1 + $2",
    "jet box": "box (jet) + 'b'",
    "hose": "hose, long + short",
    "cuff leak": "cuff + leak",
    "jet": "jet - nozzle",
    "door": "door - Tür",
    "front": "front; a=b",
    "rear": "rear|x\\y",
    "hatch leak": "hatch, leak",
    "joint leak": "joint 'leak' %",
    "foot": "foot ^ ~",
    "duct": "duct_2 `x`",
}
NAMES = (
    "name",
    "from",
    "to",
    "motive",
    "suction",
    "discharge",
    "path",
    "vacuum_at",
    "duct",
    "drive",
    "openings",
    "boxes",
)


def new(name):
    """The other machine's name, of a unit, a thing, or a thing of a unit ("door 4", "door {unit}")."""
    if name in THINGS or name in UNITS:
        return THINGS.get(name) or UNITS[name]
    obj, _, unit = name.rpartition(" ")
    return f"{THINGS[obj]} {UNITS.get(unit, unit)}" if obj in THINGS else name


def address(text):
    obj, dot, number_key = text.partition(".")
    return f"{new(obj)}{dot}{number_key}"


def renamed(value, key=""):
    """The tables of a machine file with other names, in its templates too."""
    if isinstance(value, dict):
        return {new(k) if key == "drive" else k: renamed(item, k) for k, item in value.items()}
    if isinstance(value, list):
        return [renamed(item, key) for item in value]
    if key == "number":
        return address(value)
    return new(value) if key in NAMES else value


@cache
def machines():
    """The picker, and the same by other names."""
    document = tomllib.loads((EXAMPLES / "picker.toml").read_text(encoding="utf-8"))
    return ds.Machine.of(document), ds.Machine.of(renamed(document))


def numbers(rows):
    return [value for row in rows for value in row.values() if isinstance(value, float)]


def same(one, other, rel=1e-6):
    """Two results have the same numbers in every table; the other's words can be said."""
    one_tables, tables = one.tables(), other.tables()
    assert one_tables.keys() == tables.keys()
    for name, rows in one_tables.items():
        np.testing.assert_allclose(numbers(rows), numbers(tables[name]), rel, 1e-9, err_msg=name)
    assert other.sentences("inch") and repr(other)


def test_answers():
    plain, other = (machine.solve() for machine in machines())
    assert UNITS[plain.weakest] == other.weakest
    for unit, vacuum in plain.vacuum.items():
        assert other.vacuum[UNITS[unit]] == pytest.approx(vacuum, rel=1e-9)
    for name, flow in plain.flow.items():
        key = new(name) if isinstance(name, str) else (new(name[0]), name[1])
        assert other.flow[key] == pytest.approx(flow, rel=1e-9)
    same(plain, other)


def test_questions_and_slopes():
    plain, other = machines()
    addresses = [f"hatch leak {unit}.area" for unit in UNITS] + ["belt.engine_speed", "left fan.soiling"]
    of = {"shaft power left fan": "left fan", "weakest vacuum": ""}
    for unit in UNITS:
        of |= {f"vacuum {unit}": unit, f"opening air {unit}": unit, f"duct air {unit}": unit}
        of |= {f"air velocity door {unit}": f"door {unit}", f"tapping jet box {unit}": f"jet box {unit}"}
    there = [word.removesuffix(name) + new(name) if name else word for word, name in of.items()]
    answers = plain.jacobian(list(of), addresses), other.jacobian(there, [address(a) for a in addresses])
    for one, two in zip(*answers, strict=True):
        np.testing.assert_allclose(one, two, 1e-6, 1e-9)


def test_files(tmp_path):
    other = machines()[1]
    other.write(tmp_path / "machine.toml")
    assert dict(ds.Machine.read(tmp_path / "machine.toml").numbers) == dict(other.numbers)


def test_compare():
    plain, other = machines()
    changes = {"a": ("hatch leak 4.area", 0.0), "b": ("hatch leak 2.area", 0.0), "c": ("* fan.soiling", 0.0)}
    fixes = [ds.Fix(name, {where: value}, minutes=5.0) for name, (where, value) in changes.items()]
    signs = [
        ds.Fix(f'{name} + "x", y', {address(where): value}, minutes=5.0)
        for name, (where, value) in changes.items()
    ]
    hose = ds.Hose(length=1.5, diameter=0.165)
    fixes.append(ds.Fix("d", replace={"hose 4": hose}))
    signs.append(ds.Fix("d & e / f", replace={new("hose 4"): hose}))
    nozzle, ends = "jet 4.nozzle_area", ("65 cm2", "85 cm2")
    one, two = ds.Trim(nozzle, *ends), ds.Trim(address(nozzle), *ends)
    same(ds.balance(plain, one), ds.balance(other, two), 1e-5)


def test_ground_speed():
    plain, other = (ds.ground_speed(machine, samples=20) for machine in machines())
    same(plain, other)
    for unit, name in UNITS.items():
        assert other.flow_at(name, 1.5) == pytest.approx(plain.flow_at(unit, 1.5))


def test_crop_box_and_field():
    plain, other = machines()
    same(ds.fill(plain), ds.fill(other))
    same(
        ds.field_pass(plain, EXAMPLES / "picker_field.csv"),
        ds.field_pass(other, EXAMPLES / "picker_field.csv"),
    )
    same(plain.with_crop().solve(), other.with_crop().solve())


@pytest.mark.parametrize("units", [["1"], ["4"], ["1", "2"]])
def test_units_that_blocked(units, tmp_path):
    text = (EXAMPLES / "picker_seen.csv").read_text(encoding="utf-8")
    plain, other = machines()
    found = []
    for machine, names in ((plain, units), (other, [UNITS[unit] for unit in units])):
        cell = " + ".join(names).replace('"', '""')
        (tmp_path / "seen.csv").write_text(text.replace(",4\n", f',"{cell}"\n'), encoding="utf-8")
        found.append(ds.calibrate(machine, tmp_path / "seen.csv"))
    same(*found)


def readings(path, called):
    """Some of the picker's own readings, those with something taped too, in a file by other names."""
    with (EXAMPLES / "picker_readings.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    rows = [row for i, row in enumerate(rows) if i < 8 or row["blanked"]]
    for row in rows:
        taped = [called(name.strip()) for name in row["blanked"].split("+") if name.strip()]
        row |= {"tapping": called(row["tapping"]), "blanked": " + ".join(taped)}
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_readings_and_fit(tmp_path):
    plain, other = machines()
    ours, theirs = readings(tmp_path / "plain.csv", str), readings(tmp_path / "signs.csv", new)
    same(ds.check_readings(plain, ours), ds.check_readings(other, theirs))
    leaks = "hatch leak *.area"
    same(ds.fit(plain, ours, leaks, draws=60), ds.fit(other, theirs, address(leaks), draws=60), 1e-3)


def test_pictures_and_report(tmp_path):
    document = tomllib.loads((EXAMPLES / "picker.toml").read_text(encoding="utf-8"))
    del document["crop"], document["fill"]  # what they add has its own tests
    machine = ds.Machine.of(renamed(document))
    ds.draw(machine)
    ds.report(machine, tmp_path / "report.html")
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "left &lt;b&gt;screen" in page and "left <b>screen" not in page
