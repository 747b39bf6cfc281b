"""A machine file to begin with: short, commented, of typical values for measured ones to replace."""

from __future__ import annotations

import math

KINDS = {
    "jets": "fans blow through hoses into jets, which drag air and crop up each unit's duct",
    "suction": "a fan behind a separator draws air and crop through a duct of each unit",
}
"""Kind of machine -> what it is."""
UNIT_FLOW = {"jets": 0.8, "suction": 0.30}  # m3/s of the fans for each unit, which their width follows from
WHEEL = {"jets": (0.56, 3500.0), "suction": (0.70, 2000.0)}  # diameter [m], speed [rpm]
OUTLET_VELOCITY = 20.0  # m/s, of the fans

PULLEYS = {"jets": (0.400, 0.235), "suction": (0.240, 0.245)}  # on the engine's side and on the fan [m]


class _Say:
    """Sizes as texts in one system of measures, rounded as people say them."""

    def __init__(self, measures: str) -> None:
        self.inch = measures == "inch"

    def _in(self, metric: float, per: float, name: str, other: float, other_name: str, step: float) -> str:
        value = metric * other if self.inch else metric * per
        return f'"{max(round(value / step), 1) * step:g} {other_name if self.inch else name}"'

    def long(self, metres: float) -> str:
        return self._in(metres, 1.0, "m", 1 / 0.3048, "ft", 0.5 if self.inch else 0.1)

    def small(self, metres: float) -> str:
        return self._in(metres, 1000.0, "mm", 1 / 0.0254, "in", 0.25 if self.inch else 5.0)

    def area(self, square_metres: float) -> str:
        return self._in(square_metres, 1e4, "cm2", 1 / 0.0254**2, "in2", 1.0)

    def height(self, metres: float) -> str:
        return self._in(metres, 1.0, "m", 1 / 0.3048, "ft", 50.0)

    def warm(self) -> str:
        return '"86 degF"' if self.inch else '"30 degC"'


def start_files(kind: str, units: int, fans: int, measures: str) -> dict[str, str]:
    """File name -> its text: the machine, a sheet for readings, and companions that hold nothing yet."""
    say = _Say(measures)
    pulleys = [say.small(size) for size in PULLEYS[kind]]
    machine = _HEAD[kind].format(
        measures=measures, altitude=say.height(150.0), warm=say.warm(), pulleys=pulleys
    )
    machine += _fans(kind, units, fans, say) + _each(kind, say)
    machine += "# The units: what differs from one to the next.\n\n"
    for unit in range(1, units + 1):
        length = (1.2 + 0.35 * (unit - 1) if kind == "jets" else 2.5 + 0.2 * (unit - 1)) % 6.0 + 0.5
        machine += f'[[unit]]\nname = "{unit}"\nlength = {say.long(length)}\ngap = {say.area(0.004)}\n'
    return {
        "machine.toml": machine,
        "readings.csv": _sheet(kind, units),
        "fixes.toml": _FIXES,
        "crop.toml": _CROP,
    }


def _fans(kind: str, units: int, fans: int, say: _Say) -> str:
    diameter, speed = WHEEL[kind]
    tip = math.pi * diameter * speed / 60.0
    flow = UNIT_FLOW[kind] * units / fans
    width = flow / (0.18 * math.pi * diameter * tip)
    ends = ("outside", "air box") if kind == "jets" else ("fan inlet", "outside")
    out = ""
    for number in range(1, fans + 1):
        name = "fan" if fans == 1 else f"fan {number}"
        out += _FAN.format(
            name=name, start=ends[0], to=ends[1], diameter=say.small(diameter), width=say.small(width),
            outlet=say.area(flow / OUTLET_VELOCITY), rest=ends[1].replace("air", "the air"),
        )  # fmt: skip
    fan = "fan 1" if fans > 1 else "fan"
    end, node = ("to", "air box") if kind == "jets" else ("from", "fan inlet")
    out += _BOX.format(fan=fan, end=end, node=node, area=say.area(0.12 * max(units / fans, 1.0) / 2.0))
    return out if kind == "jets" else out + _SEPARATOR.format(area=say.area(0.02 * units))


def _each(kind: str, say: _Say) -> str:
    if kind == "jets":
        return _JETS.format(
            hose=say.small(0.165), radius=say.small(0.30), edge=say.small(0.025), nozzle=say.area(0.0075),
            mixing=say.area(0.06),
            mouth=say.area(0.048), duct=say.small(0.275), long=say.long(3.2), rise=say.long(2.4),
            bend=say.small(0.45),
        )  # fmt: skip
    return _SUCTION.format(
        mouth=say.area(0.012), duct=say.small(0.125), rise=say.long(1.1), bend=say.small(0.19),
    )  # fmt: skip


def _sheet(kind: str, units: int) -> str:
    """A line for each tapping, the values still to be written in."""
    door = "door" if kind == "jets" else "head"
    places = ["air box,static" if kind == "jets" else "fan inlet,vacuum"]
    places += [f"{door} {unit},vacuum" for unit in range(1, units + 1)]
    rows = "".join(f"{place},,,,\n" for place in places)
    return (
        "# Write in what the gauge shows, with its measure. A vacuum is positive. Tape shut: all, or names.\n"
        "tapping,quantity,value,engine_speed,blanked,note\n" + rows
    )


_HEAD = {
    kind: f"""# A machine to begin with: {words}.
# Every number is typical, none is yours. `ductsim check` says which to measure first, and how;
# `ductsim kinds` tells the keys. A text carries its measure ("2 1/4 in", "5 ft 6 in", "3.5 in wc"); where no
# tape tells a number, a word may stand, "can't tell" too.

format = 2
title = "My machine"
measures = "{{measures}}"
boxes = {boxes}

[air]
altitude = {{altitude}}
temperature = {{warm}}

[drive.belt]                       # a fan of constant speed: engine_speed is the fan's, both pulleys alike
engine_speed = "2100 rpm"
driving_pulley = {{pulleys[0]}}
driven_pulley = {{pulleys[1]}}
"""
    for kind, words, boxes in (
        (
            "jets",
            KINDS["jets"],
            '["air box", "jet box {{unit}}"]    # air is at rest there: ends in them are free',
        ),
        ("suction", KINDS["suction"], '["header"]              # air is at rest there: ends in it are free'),
    )
}
_FAN = """
[[part]]
name = "{name}"
kind = "fan"
from = "{start}"
to = "{to}"
drive = "belt"                     # shape: backward-curved, radial or forward-curved blades
typical = {{ shape = "backward-curved", wheel_diameter = {diameter}, width = {width} }}
outlet_area = {outlet}             # it blows into {rest}, where the velocity of its air is lost
"""
_BOX = """
[[tapping]]                        # a tapping sits on the end of a part, with the section there
name = "{node}"
path = "{fan}"
end = "{end}"
area = {area}
"""
_SEPARATOR = """
[[part]]
name = "separator"
kind = "opening"
from = "header"
to = "fan inlet"
area = {area}
loss_coefficient = 3.0
"""
_JETS = """
[each_unit]                        # written once, repeated for every unit
vacuum_at = "door {{unit}}"
duct = "duct {{unit}}"
openings = ["opening {{unit}}"]

[[each_unit.part]]
name = "hose {{unit}}"
kind = "hose"
from = "air box"
to = "jet box {{unit}}"
diameter = {hose}
length = "{{length}}"
inlet = "rounded"                  # its edge at the air box: plain, in a wall, or rounded
inlet_radius = {edge}
roughness = "wire-wound"           # smooth, wire-wound or corrugated
stretch = 1.0                      # its length as it lies over that pulled out
bends = [{{ angle = "90 deg", radius = {radius} }}]

[[each_unit.part]]
name = "jet {{unit}}"
kind = "jet"
motive = "jet box {{unit}}"
suction = "door {{unit}}"
discharge = "foot {{unit}}"
nozzle_area = {nozzle}
mixing_area = {mixing}
nozzle_loss = "smooth cone"        # smooth cone, dented cone or short pipe

[[each_unit.part]]
name = "opening {{unit}}"            # where the crop enters
kind = "opening"
from = "outside"
to = "door {{unit}}"
area = {mouth}
loss_coefficient = "flanged duct end"    # sharp edge, duct end, flanged duct end or rounded edge

[[each_unit.part]]
name = "gap {{unit}}"                # all gaps about the door together
kind = "leak"
from = "outside"
to = "door {{unit}}"
area = "{{gap}}"

[[each_unit.part]]
name = "duct {{unit}}"
kind = "duct"
from = "foot {{unit}}"
to = "outside"
diameter = {duct}
length = {long}
rise = {rise}
loss_coefficient = 0.2             # what else is in the way; its outlet is free
bends = [{{ angle = "60 deg", radius = {bend} }}]

[[each_unit.tapping]]
name = "door {{unit}}"
path = "jet {{unit}}"
end = "suction"
area = {mixing}

"""
_SUCTION = """
[each_unit]                        # written once, repeated for every unit
vacuum_at = "head {{unit}}"
duct = "duct {{unit}}"
openings = ["opening {{unit}}"]

[[each_unit.part]]
name = "opening {{unit}}"            # where the crop enters
kind = "opening"
from = "outside"
to = "head {{unit}}"
area = {mouth}
loss_coefficient = "flanged duct end"    # sharp edge, duct end, flanged duct end or rounded edge

[[each_unit.part]]
name = "gap {{unit}}"                # all gaps between head and duct together
kind = "leak"
from = "outside"
to = "head {{unit}}"
area = "{{gap}}"

[[each_unit.part]]
name = "duct {{unit}}"
kind = "duct"
from = "head {{unit}}"
to = "header"
diameter = {duct}
length = "{{length}}"
rise = {rise}
loss_coefficient = 0.3             # what else is in the way; its outlet is free
bends = [{{ angle = "90 deg", radius = {bend} }}]

[[each_unit.tapping]]              # its section is that of the duct; elsewhere give area, or diameter
name = "head {{unit}}"
path = "duct {{unit}}"
end = "from"

"""
_FIXES = """# What might be done, a [[fix]] each; take the marks away and write your own.

format = 1

# [[fix]]
# name = "seal the gap of unit 4"
# change = { "gap 4.area" = "x0.1" }
# minutes = 30
"""
_CROP = """# The crop that is picked; take the marks away and write your own.

format = 1

# [crop]
# crop_yield = "2 bales/acre of 1260 lb"
# row_spacing = "38 in"
# ground_speed = "4 mph"
"""
