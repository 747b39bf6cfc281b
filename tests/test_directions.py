"""Directions: which way every main number moves the answers, against tables written down from physics first.

A table has a row for each number of one unit and of what it shares: the sign of its effect on the unit's
vacuum, the air through its openings, the air in its duct and, with crop, the ground speed. The signs were
written before the machine was asked. Some need a thought:

- Sealing a leak above the jet (joint) takes vacuum from the door and gives air to the duct; below it (hatch)
  the other way.
- A fan of better efficiency warms the air less. Denser air from the nozzle pushes no harder (twice its
  pressure times its area, whatever the density) and loads the duct more: less vacuum, more duct air.
- Crop that slips more is sped up less and so costs less vacuum; it drives slower all the same, since it
  needs more air.
- In the suction machine unit 1 limits: its duct runs straight into the header, the longest way, and unit 2
  joins right behind it. Air that unit 2 takes unit 1 lacks. The branch's stream also pulls the straight one
  along, but by less: counted by hand from the weights of the merges, per kg/s and in units of (air of a
  unit) / (density times section squared of header 1), the merge gives about 3 back, while friction, the later
  merges and the separator take 8 and the falling curve of the fan another 6. So what gives unit 2 air slows
  the machine, and the other way about; a rise gives its air a draught but with crop is a lift, so that it
  takes from unit 2 and gives to unit 1.
- A narrow branch joins faster and pulls unit 1 along, at its own cost. A wider straight end slows unit 1
  before the merge, where it loses less itself and pulls unit 2 less. A steeper branch costs both.
- The picker's unit 4 has two openings that are alike and limit together: the slope of the ground speed is the
  mean of theirs. By itself a larger one slows the other more than the mean tells.
- A hose without a kink loses nothing by the first hair of one: its loss grows with the square. A point of a
  fan's curve acts where the fan works; next to that only through the slope of the curve between the points.
- A larger nozzle was expected to draw more. It does up to a best size, at which the invented picker already
  is (75 cm2): beyond it the hose takes the pressure and the duct fills with the nozzle's own air. That row
  has a test of its own.
"""

import re

import numpy as np
import pytest

import ductsim as ds
from ductsim.crop.margins import places
from ductsim.speed.limit import place_limits, speed_limit

COLUMNS = ("vacuum", "opening air", "duct air", "ground speed")
LEAST = 1e-7  # elasticity below which a number has no effect

PICKER = """
air.altitude                    - - - -
air.temperature                 - - - -
air.relative_humidity           - - - -
belt.engine_speed               + + + +
belt.driving_pulley             + + + +
belt.driven_pulley              - - - -
belt.slip                       - - - -
belt.available_power            0 0 0 0
belt.slip_rise                  - - - -
left screen.area                + + + +
left screen.open_fraction       + + + +
left screen.blinded             - - - -
right screen.blinded            - - - -
left fan.efficiency             - - + -
left fan.curve_speed            - - - -
left fan.curve_density          - - - -
left fan.highest_speed          0 0 0 0
left fan.soiling                - - - -
left fan.flow[0]                0 0 0 0
left fan.flow[2]                + + + +
left fan.flow[3]                + + + +
left fan.total_pressure[0]      0 0 0 0
left fan.total_pressure[2]      + + + +
left fan.total_pressure[3]      + + + +
left fan.total_pressure[5]      0 0 0 0
left fan.belt_slip              - - - -
left fan.standing_loss          0 0 0 0
air box.area                    0 0 0 0
box leak.bends                  0 0 0 0
box leak.discharge_coefficient  0 0 0 0
box leak.coefficient            - - - -
box leak.exponent               - - - -
box leak.reference_density      - - - -
hose 4.length                   - - - -
hose 4.diameter                 + + + +
hose 4.roughness                - - - -
hose 4.stretch                  + + + +
hose 4.loss_coefficient         - - - -
hose 4.bend 1.angle             - - - -
hose 4.bend 1.radius            + + + +
hose 4.bend_factor              - - - -
hose 4.kink                     0 0 0 0
hose 4.inlet_loss               - - - -
hose 4.inlet_radius             + + + +
hose 4.outlet_loss              - - - -
cuff leak 4.bends               0 0 0 0
cuff leak 4.discharge_coefficient 0 0 0 0
cuff leak 4.coefficient         - - - -
cuff leak 4.exponent            - - - -
cuff leak 4.reference_density   - - - -
jet 4.mixing_area               - - - -
jet 4.nozzle_loss               - - - -
jet 4.suction_loss              - - - -
jet 4.mixing_loss               - - - -
jet 4.angle                     0 0 0 0
jet 4.suction_angle             0 0 0 0
jet 4.mixing_effectiveness      + + + +
front 4.area                    - + + +
front 4.loss_coefficient        + - - -
rear 4.area                     - + + +
rear 4.loss_coefficient         + - - -
hatch leak 4.bends              0 0 0 0
hatch leak 4.reference_density  0 0 0 0
hatch leak 4.area               - - + -
hatch leak 4.discharge_coefficient - - + -
joint leak 4.coefficient        + + - +
joint leak 4.exponent           + + - +
joint leak 4.reference_density  + + - +
joint leak 4.bends              0 0 0 0
joint leak 4.discharge_coefficient 0 0 0 0
duct 4.length                   - - - -
duct 4.diameter                 + + + +
duct 4.roughness                - - - -
duct 4.loss_coefficient         - - - -
duct 4.bend 1.angle             - - - -
duct 4.bend 1.radius            + + + +
duct 4.rise                     + + + -
duct 4.outlet_loss              - - - -
door 4.area                     - 0 0 0
jet box 4.area                  0 0 0 0
"""

SUCTION = """
air.altitude                    - - - -
air.temperature                 - - - -
air.relative_humidity           - - - -
fan.speed                       + + + +
fan.curve_speed                 - - - -
fan.curve_density               - - - -
fan.soiling                     - - - -
fan.efficiency                  0 0 0 0
fan.highest_speed               0 0 0 0
fan.flow[0]                     0 0 0 0
fan.flow[4]                     + + + +
fan.total_pressure[0]           0 0 0 0
fan.total_pressure[4]           + + + +
fan.shaft_power[0]              0 0 0 0
fan.shaft_power[4]              0 0 0 0
fan.belt_slip                   - - - -
fan.standing_loss               0 0 0 0
fan inlet.area                  0 0 0 0
separator door leak.bends       0 0 0 0
separator door leak.reference_density 0 0 0 0
separator.area                  + + + +
separator.loss_coefficient      - - - -
separator door leak.length      - - - -
separator door leak.width       - - - -
separator door leak.discharge_coefficient - - - -
header 1.diameter               + + + +
header 4.length                 - - - -
header 4.width                  + + + +
header 4.height                 + + + +
header 4.roughness              - - - -
header 4.loss_coefficient       - - - -
header 4.bend 1.radius          + + + +
header 4.bend 1.angle           - - - -
header 4.outlet_loss            - - - -
header 1.rise                   + + + -
header end.area                 0 0 0 0
header from foot 2.combined_area - - - -
mouth 1.area                    - - - +
mouth 1.loss_coefficient        + + + -
duct 1.length                   + + + -
duct 1.diameter                 - - - +
duct 1.roughness                + + + -
header from foot 2.straight_area - - - +
header from foot 2.branch_area  + + + -
header from foot 2.angle        - - - -
header from foot 3.angle        - - - -
mouth 2.area                    - + + -
mouth 2.loss_coefficient        + - - +
boot leak 2.area                - - + -
boot leak 2.discharge_coefficient - - + -
boot leak 2.bends               0 0 0 0
boot leak 2.reference_density   0 0 0 0
duct 2.length                   - - - +
duct 2.diameter                 + + + -
duct 2.roughness                - - - +
duct 2.loss_coefficient         - - - +
duct 2.bend 1.angle             - - - +
duct 2.bend 1.radius            + + + -
duct 2.rise                     + + + +
head 2.area                     - 0 0 0
"""

BENCH = """
air.density                     + + +
air.viscosity                   - - -
fan.speed                       + + +
fan.curve_speed                 - - -
fan.curve_density               - - -
fan.soiling                     - - -
fan.efficiency                  0 0 0
fan.flow[0]                     0 0 0
fan.flow[2]                     + + +
fan.total_pressure[2]           + + +
fan.highest_speed               0 0 0
fan.belt_slip                   - - -
fan.standing_loss               0 0 0
left mouth.area                 - + +
left mouth.loss_coefficient     + - -
left duct.length                - - -
left duct.diameter              + + +
left duct.roughness             - - -
left duct.loss_coefficient      - - -
left duct.rise                  0 0 0
left duct.outlet_loss           - - -
right mouth.area                - - -
right mouth.loss_coefficient    + + +
right duct.length               + + +
right duct.diameter             - - -
left tapping.area               - 0 0
right tapping.area              0 0 0
"""

# with crop; needs that do not decide have no effect
CROP = """
crop.row_spacing                - - - -
crop.rows_per_unit              - - - -
crop.ground_speed               - - - 0
crop.moisture                   - - - -
crop.surge                      - - - -
crop.crop_yield                 - - - -
crop.friction                   - - - -
crop.slip                       + + + -
crop.reference_slip             0 0 0 +
crop.entry_velocity             + + + +
crop.plug_density               - - - -
crop.opening_ratio              0 0 0 -
crop.capture_velocity           0 0 0 0
crop.suction_velocity           0 0 0 0
crop.conveying_velocity         0 0 0 0
crop.choke_ratio                0 0 0 0
crop.bale_mass                  0 0 0 0
crop.lint_share                 0 0 0 0
crop.highest_speed              0 0 0 0
crop.highest_speed              0 0 0 0
"""


def table(text):
    """Number -> its signs, one for each column."""
    rows = [line.split() for line in text.strip().splitlines()]
    signs = [[word for word in row if word in "+-0"] for row in rows]
    return {" ".join(row[: -len(own)]): own for row, own in zip(rows, signs, strict=True)}


def signs(machine, of, numbers):
    """The sign of every number's effect on every question: "+", "-" or "0"."""
    values, slopes = machine.jacobian(of, numbers)
    size = np.array([abs(machine.numbers[a]) or 1.0 for a in numbers])
    elasticity = slopes * size / np.abs(values)[:, None]
    return np.where(np.abs(elasticity) < LEAST, "0", np.where(elasticity > 0.0, "+", "-"))


def differences(given, columns, found):
    """Where the machine says otherwise than the table: (number, column, what it says)."""
    return [
        (number, column, str(found[i, j]))
        for j, (number, row) in enumerate(given.items())
        for i, column in enumerate(columns)
        if row[i] != found[i, j]
    ]


@pytest.mark.parametrize(
    ("name", "unit", "text"), [("picker", "4", PICKER), ("suction", "2", SUCTION), ("bench", "left", BENCH)]
)
def test_every_number_moves_the_air_the_way_physics_says(name, unit, text):
    given, columns = table(text), COLUMNS[:3]
    found = signs(ds.demo(name), [f"{column} {unit}" for column in columns], list(given))
    assert differences(given, columns, found) == []


@pytest.mark.parametrize(
    ("name", "first", "text"), [("picker", "front 4", PICKER), ("suction", "mouth 1", SUCTION)]
)
def test_every_number_moves_the_ground_speed_the_way_physics_says(name, first, text):
    given = {number: row[-1:] for number, row in table(text).items()}
    machine = ds.demo(name).with_crop()
    judged = places(machine.layout)
    assert judged[place_limits(machine, 0.8, 2.0).argmin()].part == first  # where the table says it limits
    found = signs(machine, ["ground speed"], list(given))
    assert differences(given, COLUMNS[3:], found) == []


@pytest.mark.parametrize(("name", "unit"), [("picker", "4"), ("suction", "2")])
def test_every_number_of_the_crop_moves_what_it_should(name, unit):
    machine = ds.demo(name).with_crop()
    given = {number: row for number, row in table(CROP).items() if number in machine.numbers}
    assert len(given) >= len(table(CROP)) - 1  # one of the two has no top speed
    of = [*(f"{column} {unit}" for column in COLUMNS[:3]), "ground speed"]
    found = signs(machine, of, list(given))
    assert differences(given, COLUMNS, found) == []


def family(address):
    """An address whatever unit, side and point of a curve it is of."""
    return re.sub(r"\d+", "#", re.sub(r"\b(left|right)\b", "side", address))


@pytest.mark.parametrize(("name", "text"), [("picker", PICKER), ("suction", SUCTION), ("bench", BENCH)])
def test_every_number_has_its_row(name, text):
    """But a nozzle's area, which has a best size and a test of its own."""
    given = {family(number) for number in [*table(text), *table(CROP), "jet 4.nozzle_area"]}
    machine = ds.demo(name)
    machine = machine.with_crop() if name != "bench" else machine
    assert [a for a in machine.numbers if family(a) not in given] == []


def test_a_nozzle_has_a_best_size():
    """Below it more area draws more, beyond it less, while the duct's air still grows."""
    areas = ["60 cm2", "67 cm2", "75 cm2", "83 cm2", "90 cm2"]
    state = ds.demo("picker").change({"jet 4.nozzle_area": areas}).solve()
    vacuum, air, duct = (state.ask(f"{what} 4") for what in COLUMNS[:3])
    assert vacuum.argmax() == air.argmax() == 2
    assert np.all(np.diff(duct) > 0.0)
    assert np.all(np.diff(state.ask("pressure jet box 4")) < 0.0)


def test_a_kink_costs_vacuum_and_air():
    state = ds.demo("picker").change({"hose 4.kink": [0.0, 0.2, 0.4]}).solve()
    for what in COLUMNS[:3]:
        assert np.all(np.diff(state.ask(f"{what} 4")) < 0.0)


@pytest.mark.parametrize(
    ("name", "slips"), [("picker", (4.0, 6.0, 8.0, 10.0)), ("suction", (2.0, 3.0, 4.0, 5.0))]
)
def test_heavier_crop_never_drives_faster(name, slips):
    """8.1, 6.2, 5.0 and 4.2 km/h in the picker; with needs of one slip heavier crop drove faster."""
    machine = ds.demo(name)
    speeds = [speed_limit(machine.change({"crop.slip": slip}).with_crop()) for slip in slips]
    assert np.all(np.diff(speeds) < 0.0)
