"""Writing a machine and reading it back: equal numbers, whole files only."""

import math
import os
import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import ductsim as ds
from ductsim.machine.demos import demo_file, names


@pytest.mark.parametrize("name", names())
def test_there_and_back(tmp_path, name):
    machine = ds.demo(name)
    machine.write(tmp_path / "copy.toml")
    back = ds.Machine.read(tmp_path / "copy.toml")
    assert back == machine
    assert list(back.numbers) == list(machine.numbers)
    for mine, theirs in ((back.layout, machine.layout),):
        assert mine.title == theirs.title
        assert mine.parts == theirs.parts
        assert mine.tappings == theirs.tappings
        assert mine.units == theirs.units
        assert mine.drives == theirs.drives
    if machine.layout.units:
        assert back.solve().vacuum == machine.solve().vacuum


EVERYTHING = """
format = 1
title = "All kinds of things"
[air]
density = 1.2
[[hold]]
node = "tank"
pressure = "250 Pa"
[[supply]]
node = "box"
mass_flow = "0.1 kg/s"
[crop]
crop_yield = "0.4 kg/m2"
row_spacing = "1 m"
[[unknown]]
number = "duct.length"
low = "1 m"
[[part]]
name = "duct"
kind = "duct"
from = "box"
to = "tank"
length = "9.3 ft"
width = "8 in"
height = "0.1 m"
shape = "flat oval"
note = "with a dent"
bends = [{ angle = "33 deg", style = "mitre" }, { angle = 1.5, radius = "1 ft", style = "three-piece" }]
[[part]]
name = "leak"
kind = "leak"
from = "outside"
to = "box"
coefficient = 0.01
exponent = 0.65
[[tapping]]
name = "hole"
path = "duct"
end = "from"
area = "1 ft2"
access = "unreachable"
minutes = "7 min"
note = "high up"
[[unit]]
name = "one"
vacuum_at = "hole"
duct = "duct"
openings = ["leak"]
note = "the only one"
"""


def test_every_table_is_written(tmp_path):
    machine = ds.Machine.of(tomllib.loads(EVERYTHING))
    machine.write(tmp_path / "copy.toml")
    back = ds.Machine.read(tmp_path / "copy.toml")
    assert back == machine
    for name in ("title", "parts", "tappings", "units", "held", "supplied", "air"):
        assert getattr(back.layout, name) == getattr(machine.layout, name)
    assert dict(back.layout.free) == dict(machine.layout.free)
    assert back.layout.tapping["hole"].minutes == 7.0
    assert back.numbers["tank.pressure"] == 250.0
    assert back.numbers["box.mass_flow"] == 0.1
    assert back.solve().flow["leak"] == machine.solve().flow["leak"]


@given(
    st.floats(1e-6, 1e6, allow_subnormal=False),
    st.floats(1e-30, 2 * math.pi),
    st.floats(270.0, 320.0),
    st.floats(-1000.0, 1000.0),
)
def test_any_number_reads_back_exactly(tmp_path_factory, length, angle, temperature, pressure):
    tables = tomllib.loads(EVERYTHING)
    tables["air"] = {"temperature": temperature, "relative_humidity": 0.0}
    machine = ds.Machine.of(tables)
    changed = machine.change({"duct.length": length, "duct.bend 2.angle": angle, "tank.pressure": pressure})
    file = tmp_path_factory.mktemp("write") / "copy.toml"
    changed.write(file)
    assert ds.Machine.read(file) == changed


def test_what_the_file_says_of_itself(tmp_path):
    machine = ds.Machine.read(demo_file("bench"))
    machine.write(tmp_path / "copy.toml")
    text = (tmp_path / "copy.toml").read_text(encoding="utf-8")
    assert text.startswith(f"# Written by ductsim {ds.__version__}.")
    tables = tomllib.loads(text)
    assert tables["format"] == 2
    assert tables["ductsim"] == ds.__version__
    assert tables["input_sha256"] == machine.sha256
    assert len(machine.sha256) == 64
    made = ds.Machine.of(tomllib.loads(demo_file("bench").read_text(encoding="utf-8")))
    made.write(tmp_path / "copy.toml")
    assert "input_sha256" not in (tmp_path / "copy.toml").read_text(encoding="utf-8")


def test_columns_are_not_written(tmp_path):
    machine = ds.demo("bench").change({"left duct.length": np.array([1.0, 2.0])})
    with pytest.raises(
        ds.InputError, match=r"write: the machine has 2 scenarios; one of them: machine\[0\]\."
    ):
        machine.write(tmp_path / "copy.toml")
    assert list(tmp_path.iterdir()) == []
    machine[1].write(tmp_path / "copy.toml")
    assert ds.Machine.read(tmp_path / "copy.toml").numbers["left duct.length"] == 2.0


def test_where_nothing_can_be_written(tmp_path):
    machine = ds.demo("bench")
    with pytest.raises(ds.InputError, match="is a folder; the name of a file in it"):
        machine.write(tmp_path)
    with pytest.raises(ds.InputError, match="nowhere: there is no such folder"):
        machine.write(tmp_path / "nowhere" / "copy.toml")


def test_no_file_is_left_half_written(tmp_path, monkeypatch):
    file = tmp_path / "copy.toml"
    file.write_text("what was there")

    def refuse(*args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(ds.InputError, match="cannot be written: No space left on device"):
        ds.demo("bench").write(file)
    assert file.read_text() == "what was there"
    assert list(tmp_path.iterdir()) == [file]


def test_a_file_is_replaced_whole(tmp_path):
    file = tmp_path / "copy.toml"
    file.write_text("x" * 10**6)
    ds.demo("bench").write(file)
    assert ds.Machine.read(file) == ds.demo("bench")
    assert list(tmp_path.iterdir()) == [file]
