"""Makes `ductsim/examples/picker_readings.csv`: invented readings of the invented picker.

They come from a copy of the machine in which every uncertain number is off by its usual spread, read with a
gauge and a tachometer that err as real ones do. Run it to write the file again:

    python tests/make_picker_readings.py
"""

from pathlib import Path

import numpy as np

import ductsim as ds
from ductsim.description.spreads import spread_of

FILE = Path(ds.__file__).parent / "examples" / "picker_readings.csv"
SEED = 46  # as for a third of those from 40: unit 4 is weakest, its hatch told, as are all hatches and joints
GAUGE_ZERO = 2.0  # Pa, standard deviation of a set's zero
GAUGE_SCALE = 0.01  # of the reading, common to a set
GAUGE_OWN = (1.5, 0.005)  # Pa and share of the reading, each reading's own swing
TACHOMETER = 0.005  # common to a set
DOORS = [f"door {i}" for i in range(1, 6)]
BOXES = ["air box", *(f"jet box {i}" for i in range(1, 6))]
FRONTS, REARS = ([f"{side} {i}" for i in range(1, 6)] for side in ("front", "rear"))
# name of the set, engine speed [rpm], openings taped shut, tappings read
CONFIGURATIONS = [
    ("A", 2100, [], DOORS + BOXES),
    ("B", 1800, [], [*DOORS, "air box"]),
    ("C", 2100, FRONTS + REARS, [*DOORS, "air box"]),
    ("D", 2100, FRONTS, DOORS),
    ("E", 2100, [*FRONTS[3:], *REARS[3:]], DOORS),
]
UNSEEN = (
    ".standing_loss",
    ".belt_slip",
    ".bend_factor",
    ".suction_angle",
)  # what no reading at work can show
ENDS = (".inlet_loss", ".outlet_loss", ".inlet_radius")  # these are drawn apart: the rest is as without them
HEADER = """\
# Invented readings of the invented five-unit picker, as taken with one manometer and one tachometer.
# They come from a copy of the machine with every uncertain number off by its usual spread, plus errors of
# the instruments: zero {zero:g} Pa and scale {scale:.0%} a set, {own:g} Pa or {share:.1%} a reading,
# tachometer {tacho:.1%} a set.
tapping,quantity,value,engine_speed,set,sd,blanked,note
"""


def perturbed(machine: ds.Machine, rng: np.random.Generator) -> ds.Machine:
    """Every number off by its usual spread, within its range; all points of a fan's curve alike."""
    numbers = dict(machine.numbers)
    curves: dict[str, float] = {}
    of_ends = np.random.default_rng(SEED + 2)
    for address, value in machine.numbers.items():
        spread = spread_of(machine, address)
        if not spread or address.startswith(("air.", "belt.engine_speed")) or address.endswith(UNSEEN):
            continue
        dice = of_ends if address.endswith(ENDS) else rng
        drawn = float(np.exp(spread * dice.standard_normal()))
        if "[" in address:
            drawn = curves.setdefault(address.partition("[")[0], drawn)
        declared = machine.layout.declared[address]
        numbers[address] = float(np.clip(value * drawn, declared.low, declared.high))
    return ds.Machine(machine.layout, numbers, machine.given)


def truth() -> ds.Machine:
    """The machine that was read."""
    return perturbed(ds.demo("picker"), np.random.default_rng(SEED))


def readings() -> list[dict[str, object]]:
    """What the instruments showed: a row for each reading."""
    machine = truth()
    rng = np.random.default_rng(SEED + 1)
    rows: list[dict[str, object]] = []
    for name, speed, blanked, tappings in CONFIGURATIONS:
        turning = speed * float(np.exp(TACHOMETER * rng.standard_normal()))
        zero = GAUGE_ZERO * rng.standard_normal()
        scale = 1.0 + GAUGE_SCALE * rng.standard_normal()
        shut = {f"{opening}.area": 0.0 for opening in blanked}
        state = machine.change({"belt.engine_speed": f"{turning!r} rpm", **shut}).solve()
        for tapping in tappings:
            pressure = state.ask(f"tapping {tapping}")
            own = max(GAUGE_OWN[0], GAUGE_OWN[1] * abs(pressure))
            shown = zero + scale * pressure + own * rng.standard_normal()
            digits = 0 if abs(pressure) < 1500.0 else -1  # the display shows kPa with two decimals from there
            rows.append(
                {
                    "tapping": tapping,
                    "quantity": "static",
                    "value": f"{round(shown, digits):.0f} Pa",
                    "engine_speed": f"{speed} rpm",
                    "set": name,
                    "sd": f"{own:.1f} Pa",
                    "blanked": " + ".join(blanked),
                    "note": "",
                }
            )
    return rows


def text() -> str:
    """The file."""
    head = HEADER.format(
        zero=GAUGE_ZERO, scale=GAUGE_SCALE, own=GAUGE_OWN[0], share=GAUGE_OWN[1], tacho=TACHOMETER
    )
    return head + "".join(",".join(map(str, row.values())) + "\n" for row in readings())


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8", newline="\n")
