"""A new user's first hours, played: from `ductsim start` to a report, with the mistakes that people make.

    python tests/new_user.py

Each player has a tape, a manometer and the sizes of the pulleys, and has read the README and what is printed.
The last two type a machine from scratch. Counted are refusals (exit 2), commands, and words on the screen,
of which 200 take a minute to read. Machines, mistakes and readings are ours, made up.
"""

from __future__ import annotations

import contextlib
import io
import re
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import ductsim as ds
from ductsim import cli

WORDS_A_MINUTE = 200.0


@dataclass
class Played:
    """What a player did and read."""

    name: str
    folder: Path
    commands: list[tuple[str, int, str]] = field(default_factory=list)

    def run(self, *words: str) -> tuple[int, str]:
        """Type a command; what it prints is read."""
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), contextlib.chdir(self.folder):
            status = cli.main(list(words))
        text = out.getvalue() + err.getvalue()
        self.commands.append((" ".join(words), status, text))
        return status, text

    def edit(self, file: str, *pairs: tuple[str, str], every: bool = True) -> None:
        """Replace texts in a file; each must be there."""
        place = self.folder / file
        text = place.read_text(encoding="utf-8")
        for old, new in pairs:
            if old not in text:
                raise AssertionError(f"{self.name}: {old!r} is not in {file}")
            text = text.replace(old, new) if every else text.replace(old, new, 1)
        place.write_text(text, encoding="utf-8")

    def write(self, file: str, text: str) -> None:
        """Type a file anew."""
        (self.folder / file).write_text(text, encoding="utf-8")

    @property
    def refusals(self) -> int:
        """Commands that were refused."""
        return sum(status == 2 for _, status, _ in self.commands)

    @property
    def words(self) -> int:
        """Words on the screen."""
        return sum(len(re.findall(r"\w[\w.,'-]*", text)) for _, _, text in self.commands)

    @property
    def minutes(self) -> float:
        """Minutes of reading."""
        return self.words / WORDS_A_MINUTE

    def said(self, command: str) -> str:
        """What the last such command printed, where it was not refused."""
        return next(t for c, s, t in reversed(self.commands) if c.split()[0] == command and s == 0)


def sheet(machine: ds.Machine, measure: str, digits: int, skip: tuple[str, ...] = ()) -> dict[str, str]:
    """What the player's gauge shows at every tapping of the true machine, as it is written down."""
    state = machine.solve()
    factor = ds.si(f"1 {measure}", "Pa")
    return {
        tap.name: f"{abs(float(state.ask(f'tapping {tap.name}'))) / factor:.{digits}f}"
        for tap in machine.layout.tappings
        if tap.name not in skip
    }


def four_in_inches(folder: Path) -> Played:
    """Four units with jets, one fan of constant speed on an electric motor, everything in inches."""
    me = Played("A: four units, jets, inches", folder)
    me.run("start", "mine", "--units", "4", "--fans", "1", "--kind", "jets", "--measures", "inch")
    file = "mine/machine.toml"
    me.run("check", file)
    # the fan runs by itself: the drive goes, but what names it is forgotten, and a measure lacks its quotes
    text = (folder / file).read_text()
    start, end = text.index("[drive.belt]"), text.index("[[part]]")
    me.write(file, text[:start] + text[end:])
    me.edit(
        file,
        ('title = "My machine"', 'title = "Four rows, tried at home"'),
        ("typical = {", "speed = 3450 rpm\ntypical = {"),
        ('wheel_diameter = "22 in", width = "4 in"', 'wheel_diameter = "21 1/2 in", width = "3 3/4 in"'),
        ('altitude = "500 ft"', "altitude = 900 ft"),
        ('diameter = "6.5 in"', 'diameter = "6 in"'),
        ('roughness = "wire-wound" ', 'roughness = "can\'t tell" '),
        ('nozzle_area = "12 in2"', 'nozzle_diameter = "3 7/8 in"'),
        ('area = "74 in2"', 'area = "8 x 9 in"'),
        ('length = "5.5 ft"', 'length = "5\' 3\\""'),
        ('length = "8 ft"', 'length = "7 ft 9 in"'),
    )
    status, told = me.run("check", file)
    if status == 2:
        me.edit(file, ("= 3450 rpm", '= "3450 rpm"'), ("= 900 ft", '= "900 ft"'))
        if "drive" in told:
            me.edit(file, ('drive = "belt"                     # shape', "# shape"))
        me.run("check", file)
    me.run("solve", file)
    me.run("gauges", file)
    true = ds.Machine.read(folder / file).change({"gap 3.area": "x5", "fan.soiling": 0.04})
    shown = sheet(true, "inH2O", 1, ("air box",)) | sheet(true, "inH2O", 0)
    shown |= sheet(true, "inH2O", 2, ("air box",))
    rows = "".join(
        f"{tap},{'static' if tap == 'air box' else 'vacuum'},{value},,,\n" for tap, value in shown.items()
    )
    me.write("mine/readings.csv", "tapping,quantity,value,engine_speed,blanked,note\n" + rows)  # no measure
    status, _ = me.run("fit", file)
    if status == 2:
        rows = re.sub(r"(static|vacuum),([0-9.]+)", r"\1,\2 in wc", rows)
        me.write("mine/readings.csv", "tapping,quantity,value,engine_speed,blanked,note\n" + rows)
        me.run("fit", file)
    fixes = (folder / "mine/fixes.toml").read_text()
    fixes = re.sub(r"^# (\[\[fix|name|change|minutes)", r"\1", fixes, flags=re.MULTILINE)
    me.write("mine/fixes.toml", fixes.replace("unit 4", "unit 3").replace("gap 4", "gap 3"))
    me.run("compare", file)
    me.run("report", file, "mine/report.html")
    return me


def seven_by_suction(folder: Path) -> Played:
    """Seven units on one header, a fan behind a separator, metric."""
    me = Played("B: seven units, direct suction, metric", folder)
    me.run("start", "picker seven", "--units", "7", "--kind", "suction", "--measures", "metric")
    file = "picker seven/machine.toml"
    me.edit(
        file,
        ('engine_speed = "2100 rpm"', 'engine_speed = "1,950 rpm"'),  # a comma
        ('driving_pulley = "240 mm"', 'driving_pulley = "25 cm"'),
        ('driven_pulley = "245 mm"', 'driven_pulley = "23.5 cm"'),
        ("loss_coefficient = 3.0", 'loss_coefficient = "can\'t tell"'),
        ('"flanged duct end"', '"rounded"'),  # not quite the word
        ('diameter = "125 mm"', 'dia = "12 cm"'),
        ('length = "3.2 m"', "length = 3.1"),
    )
    status, _ = me.run("check", file)
    if status == 2:
        me.edit(
            file,
            ("1,950 rpm", "1950 rpm"),
            ('"rounded"', '"rounded edge"'),
            ('dia = "12 cm"', 'diameter = "12 cm"'),
        )
        me.run("check", file)
    me.run("solve", file)
    true = ds.Machine.read(folder / file).change({"gap 5.area": "x4"})
    shown = sheet(true, "Pa", 0)
    rows = "".join(f"{tap},vacuum,{value} Pa,1950 rpm,,\n" for tap, value in shown.items())
    me.write("picker seven/readings.csv", "tapping,quantity,value,engine_speed,blanked,note\n" + rows)
    me.run("fit", file)
    me.run("where-to-measure", file)
    me.write(
        "picker seven/fixes.toml",
        'format = 1\n[[fix]]\nname = "seal gap 5"\nchange = { "gap 5.area" = 0 }\nminutes = 20\n'
        '[[fix]]\nname = "seal gap 2"\nchange = { "gap 2.area" = "0 cm2" }\nminutes = 20\n',
    )
    me.run("compare", file)
    me.run("report", file, "picker seven/report.html")
    return me


FROM_SCRATCH = """
title = "Two heads, typed from scratch"
measures = "inch"
boxes = ["rear basket"]

[[part]]
name = "blower"
kind = "fan"
from = "outside"
to = "air chest"
speed = 3400 rpm
wheel_diameter = "21 in"
width = "3 1/2 in"

[[each_unit.part]]
name = "flex {unit}"
kind = "hose"
from = "air chest"
to = "elbow {unit}"
dia = "5 1/2 in"
length = "{flex}"
bends = [{ angle = 90 deg, radius = 12" }]

[[each_unit.part]]
name = "jet {unit}"
kind = "nozzle"
motive = "elbow {unit}"
suction = "head {unit}"
discharge = "tower foot {unit}"
nozzle_diameter = "3 1/2 in"
mixing_diameter = "9 in"

[[each_unit.part]]
name = "mouth {unit}"
kind = "opening"
from = "atmosphere"
to = "head {unit}"
area = "5 x 12 in"

[[each_unit.part]]
name = "tower {unit}"
kind = "pipe"
from = "tower foot {unit}"
to = "basket"
diameter = "9 in"
length = 11' 6"

[[each_unit.tapping]]
name = "gauge {unit}"
path = "jet {unit}"
end = "suction"

[each_unit]
vacuum = "gauge {unit}"
duct = "tower {unit}"
openings = "mouth {unit}"

[[unit]]
name = "A"
flex = "6 ft"
[[unit]]
name = "B"
flex = "8 1/2 ft"

[[part]]
name = "basket screen"
kind = "screen"
from = "basket"
to = "atmosphere"
area = "20 sq ft"
"""
"""Without a format; a measure without quotes, everyday words for kinds and keys, two names for one box."""


def typed_in_inches(folder: Path) -> Played:
    """Two heads on one blower, typed from what the README shows."""
    me = Played("C: typed from scratch, jets, inches", folder)
    me.run("kinds")
    me.write("two.toml", FROM_SCRATCH)
    status, told = me.run("check", "two.toml")
    if status == 2:  # every line is mended as it is told
        me.edit(
            "two.toml",
            ('title = "Two', 'format = 2\ntitle = "Two'),
            ("= 3400 rpm", '= "3400 rpm"'),
            (
                'wheel_diameter = "21 in"\nwidth = "3 1/2 in"',
                'typical = { wheel_diameter = "21 in", width = "3 1/2 in" }',
            ),
            ("dia =", "diameter ="),
            ('{ angle = 90 deg, radius = 12" }', '{ angle = "90 deg", radius = "12 in" }'),
            ('"nozzle"', '"jet"'),
            ('"atmosphere"', '"outside"'),
            ('"pipe"', '"duct"'),
            ("11' 6\"", '"11 ft 6 in"'),
            ("vacuum =", "vacuum_at ="),
        )
        if "rear basket" in told:
            me.edit("two.toml", ('boxes = ["rear basket"]', 'boxes = ["basket"]'))
    status, told = me.run("check", "two.toml")
    if status == 2:
        me.edit("two.toml", ('boxes = ["rear basket"]', 'boxes = ["basket"]'))
        status, told = me.run("check", "two.toml")
    if 'boxes = ["air chest"]' in told:  # as the note says
        me.edit("two.toml", ('["basket"]', '["basket", "air chest"]'))
    me.run("solve", "two.toml")
    me.run("report", "two.toml", "two.html")
    return me


SEVEN = """
format = 2
title = "Seven heads, typed from scratch"

[air]
temperature = "28 C"

[[part]]
name = "fan"
kind = "fan"
from = "fan box"
to = "Outside"
speed = 1900 rpm
typical = { shape = "radial", wheel_diameter = "650 mm", width = "12 cm" }
outlet_area = "30 x 30 cm"

[[part]]
name = "separator"
kind = "opening"
from = "header box"
to = "fan box"
area = "30 x 40 cm"
loss_coefficient = 2

[each_unit]
vacuum_at = "mouth {unit}"
duct = "riser {unit}"
openings = ["mouth {unit}"]

[[each_unit.part]]
name = "mouth {unit}"
kind = "opening"
from = "outside"
to = "mouth {unit}"
width = "10 cm"
height = "12 cm"

[[each_unit.part]]
name = "riser {unit}"
kind = "duct"
from = "mouth {unit}"
to = "header"
diameter = "12,5 cm"
length = "{length}"
bends = [{angle = "90 deg", radius = "20 cm"}, {angle = 45, radius = "20 cm"}]
""" + "".join(f"\n[[unit]]\nname = {n}\nlength = {2.0 + 0.2 * n:.1f} m\n" for n in range(1, 8))
"""A comma, degrees without their measure, two names for one box that nobody declares, no tapping."""


def typed_in_metric(folder: Path) -> Played:
    """Seven heads on one box, typed from what the README shows."""
    me = Played("D: typed from scratch, suction, metric", folder)
    me.run("kinds", "duct")
    me.write("seven.toml", SEVEN)
    status, _ = me.run("check", "seven.toml")
    if status == 2:
        text = (folder / "seven.toml").read_text(encoding="utf-8")
        me.write("seven.toml", re.sub(r"= ([0-9.]+ (?:m|rpm))\n", r'= "\1"\n', text))
        tapping = '[[each_unit.tapping]]\nname = "mouth {unit}"\npath = "riser {unit}"\nend = "from"\n'
        me.edit(
            "seven.toml",
            ('"Outside"', '"outside"'),
            ('"header box"', '"header"'),
            ("12,5", "12.5"),
            ("angle = 45", 'angle = "45 deg"'),
            ("[[unit]]\nname = 1\n", f"{tapping}\n[[unit]]\nname = 1\n"),
        )
    status, told = me.run("check", "seven.toml")
    if status == 2:  # the tapping has the name of a part
        me.edit(
            "seven.toml",
            ('tapping]]\nname = "mouth {unit}"', 'tapping]]\nname = "gauge {unit}"'),
            ('vacuum_at = "mouth {unit}"', 'vacuum_at = "gauge {unit}"'),
        )
        status, told = me.run("check", "seven.toml")
    if 'boxes = ["header"]' in told:
        me.edit("seven.toml", ("\n[air]", 'boxes = ["header"]\n\n[air]'))
    me.run("solve", "seven.toml")
    me.run("gauges", "seven.toml")
    me.run("report", "seven.toml", "seven.html")
    return me


PLAYERS = (four_in_inches, seven_by_suction, typed_in_inches, typed_in_metric)


def main() -> None:
    """Play, and print the table."""
    print(f"{'player':44s} {'refusals':>8s} {'commands':>8s} {'words':>6s} {'minutes of reading':>18s}")
    for play in PLAYERS:
        with tempfile.TemporaryDirectory() as folder:
            me = play(Path(folder))
            print(f"{me.name:44s} {me.refusals:8d} {len(me.commands):8d} {me.words:6d} {me.minutes:18.0f}")
            if "--told" in sys.argv:
                for command, status, text in me.commands:
                    print(f"\n$ ductsim {command}   [{status}]\n{text}")


if __name__ == "__main__":
    main()
