"""A new user comes from a started or a typed file to a report with two refusals at most (see new_user.py)."""

from pathlib import Path

import pytest
from new_user import FROM_SCRATCH, PLAYERS, SEVEN

import ductsim as ds
from ductsim.commands.checking import checked
from ductsim.documents.rescue import rescued

MACHINE = """
format = 2
boxes = ["box"]
[[part]]
name = "fan"
kind = "fan"
from = "outside"
to = "box"
speed = "2900 rpm"
typical = { shape = "backward curved", wheel_diameter = "400 mm", width = "80 mm" }
outlet_area = "20 x 20 cm"

[[part]]
name = "pipe"
kind = "duct"
from = "box"
to = "end"
diameter = "150 mm"
length = "3 m"

[[part]]
name = "mouth"
kind = "opening"
from = "end"
to = "outside"
width = "6 in"
height = "8 in"

[[tapping]]
name = "gauge"
path = "pipe"
end = "to"
"""


def said(text):
    with pytest.raises(ds.InputError) as caught:
        ds.Machine.of(text)
    return [str(err) for err in caught.value.each]


def test_the_machine_file_of_the_readme_has_an_answer():
    text = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    machine = ds.Machine.of(text.split("<!-- a machine file -->\n```toml\n")[1].split("```")[0])
    state = machine.solve()
    assert 2.0 < state.ask("weakest vacuum") / ds.si("1 inH2O", "Pa") < 5.0 and not state.notes
    assert "mouth A.loss_coefficient" in machine.given


@pytest.mark.slow
@pytest.mark.parametrize("play", PLAYERS)
def test_players_come_to_an_answer_and_a_report(play, tmp_path):
    me = play(tmp_path)
    assert me.refusals <= 2, [(command, text) for command, status, text in me.commands if status == 2]
    assert me.said("solve").startswith("Unit ") and "is weakest" in me.said("solve")
    assert list(tmp_path.rglob("*.html")) and "report is written" in me.said("report")
    assert me.minutes < 15.0
    assert all(status in (0, 2) and "Traceback" not in text for _, status, text in me.commands)


def test_all_slips_of_a_typed_file_are_said_in_one_run():
    expected = [
        '"3400 rpm"', "format = 2", "typical = {", "did you mean 'diameter'", '"12 in"', "mean 'jet'",
        "mean 'outside'", "mean 'duct'", "11' 6 in", "did you mean 'vacuum_at'", "unknown node 'rear basket'",
    ]  # fmt: skip
    rows = said(FROM_SCRATCH)
    assert [words for words in expected if not any(words in row for row in rows)] == []
    expected = ["1900 rpm", "'outside'", "'header'", "there is none", "comma", "45 rad", '"3.4 m"']
    rows = said(SEVEN)
    assert [words for words in expected if not any(words in row for row in rows)] == []


@pytest.mark.parametrize(
    ("row", "mended"),
    [
        ("length = 5 ft", 'length = "5 ft"'),
        ("length = 5' 6\"", 'length = "5\' 6 in"'),
        ('d = 6 1/2"   # outside', 'd = "6 1/2 in"'),
        ('name = "a', 'name = "a"'),
        ("name = \N{LEFT DOUBLE QUOTATION MARK}a\N{RIGHT DOUBLE QUOTATION MARK}", 'name = "a"'),
        ("x = .5", "x = 0.5"),
        ("x: 3 m", 'x = "3 m"'),
        ('x = "3 m",', 'x = "3 m"'),
        ('x = "3 m";  # so', 'x = "3 m"'),
        ('t = { a = "b" c = "1 m" }', 't = { a = "b", c = "1 m" }'),
        ("n = 0012", "n = 12"),
        ("[[part]", "[[part]]"),
        ("f = [0 cfm, 2000 cfm, 3]", 'f = ["0 cfm", "2000 cfm", 3]'),
        ('b = [{angle = 90 deg, radius = 12"}]', 'b = [{angle = "90 deg", radius = "12 in"}]'),
    ],
)
def test_what_is_no_toml_is_guessed(row, mended):
    text, slips = rescued(f'a = 1\n{row}\nz = "kept # here"\n')
    assert text.split("\n")[1] == mended and text.endswith('z = "kept # here"\n')
    if "\N{LEFT DOUBLE QUOTATION MARK}" not in row:
        assert [str(slip) for slip in slips] == [f"line 2: {row} is not TOML; write {mended}."]


def test_what_cannot_be_guessed_hides_no_other_slip():
    _, slips = rescued("a = {{\nb = 3 in\n")
    assert "at line 1" in str(slips[0]) and "line 2: b = 3 in" in str(slips[1])
    _, slips = rescued("[part]\nname = 1\n[part]\nname = 2\n")
    assert "write [[part]] above each" in str(slips[0])


def test_what_is_left_out_is_taken_as_can_not_tell():
    machine = ds.Machine.of(MACHINE)
    number = machine.numbers["mouth.loss_coefficient"]
    assert number.choice.word == "can't tell" and "mouth.loss_coefficient" not in machine.given
    assert machine.numbers["mouth.area"] == pytest.approx(0.1524 * 0.2032)
    # a tapping on a duct has the section of the duct
    assert machine.numbers["gauge.area"] == machine.layout.part["pipe"].schema.build(
        [machine.numbers[f"pipe.{key}"] for key in machine.layout.part["pipe"].schema.number_keys]
    ).section_at("to")
    (note,) = (note for note in checked(machine.solve()).notes if note.kind == "left out")
    assert note.startswith("mouth: no loss_coefficient is given, so 2 is taken, which may well be 30% off.")
    back = ds.Machine.of(machine.document())
    assert back.numbers == machine.numbers


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('kind = "duct"', 'kind = "pipe"', ["did you mean 'duct'"]),
        ('diameter = "150 mm"', 'bore = "150 mm"\nlenth = 3', ["mean 'diameter'", "mean 'length'"]),
        ('name = "gauge"', 'name = "mouth"', ["tapping 'mouth': a part or a drive has the name"]),
        ('to = "end"', 'bends = 2\nto = "end"', ["2 is no bend; a list with a table for each"]),
        ('to = "end"', 'bends = [{angle = "90 deg"}]\nto = "end"', ["bend 1: radius is missing"]),
        ('from = "end"\nto = "outside"', 'from = "end"\nto = "Ambient"', ["mean 'outside'"]),
        ('path = "pipe"\n', 'path = "pip"\nacess = "easy"\n', ["mean 'pipe'", "mean 'access'"]),
        # an unknown key hides neither another value nor what is wrong with the nodes
        (
            'diameter = "150 mm"\nlength = "3 m"',
            'diameter = "150 mm"\nlength = "3 kg"\ncolour = "red"',
            ["unknown key 'colour'", "a length given in kg"],
        ),
        (
            'to = "end"\ndiameter = "150 mm"',
            'to = "ends"\ncolour = "red"\ndiameter = "150 mm"',
            ["unknown key 'colour'", "'ends', so it is closed off"],
        ),
    ],
)  # fmt: skip
def test_every_slip_of_a_part_is_said_at_once(old, new, words):
    assert old in MACHINE
    rows = said(MACHINE.replace(old, new))
    assert [own for own in words if not any(own in row for row in rows)] == []


def test_boxes_that_nobody_named_are_noted_with_what_is_at_stake():
    two = MACHINE.replace('boxes = ["box"]\n', "") + MACHINE[
        MACHINE.index('[[part]]\nname = "pipe"') :
    ].replace('"pipe"', '"pipe 2"').replace('"mouth"', '"mouth 2"').replace('"gauge"', '"gauge 2"').replace(
        '"end"', '"end 2"', 1
    ).replace('from = "end"', 'from = "end 2"')
    state = ds.Machine.of(two).solve()
    (note,) = (note for note in state.notes if note.kind == "no box")
    assert note.place == "box" and 'boxes = ["box"]' in note
    # half of the velocity pressure of air that enters a duct (an edge in a wall)
    flow, area = state.flow["pipe"], 0.25 * 3.141592653589793 * 0.15**2
    expected = 0.5 * 0.5 * (flow / area) ** 2 / state.density["pipe"]
    assert note.value == pytest.approx(float(expected), rel=1e-9)
    named = ds.Machine.of(two.replace("format = 2", 'format = 2\nboxes = ["box"]')).solve()
    assert not [note for note in named.notes if note.kind == "no box"]
    inch = ds.Machine.of(two.replace("format = 2", 'format = 2\nmeasures = "inch"')).solve()
    assert any("inH2O of velocity pressure is taken" in note for note in inch.notes)


def test_answers_follow_the_measures_of_the_file():
    inch = ds.Machine.of(MACHINE.replace("format = 2", 'format = 2\nmeasures = "inch"'))
    longer = inch.change({"pipe.length": "4 m"})
    assert "ft" in str(inch.diff(longer)) and " m" not in str(inch.diff(longer))
    held = ds.check_readings(inch, [ds.Reading("gauge", 400.0)])
    assert held.measures == held.readings.measures == "inch" and "inH2O" in str(held)
