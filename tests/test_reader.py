"""Bad machine files: one sentence each that says where, what, what is allowed, and the nearest name."""

import re
from pathlib import Path

import pytest

import ductsim as ds
from ductsim.machine.demos import demo_file

PICKER = demo_file("picker").read_text(encoding="utf-8")


def read(tmp_path: Path, content: str | bytes) -> ds.Machine:
    file = tmp_path / "machine.toml"
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    return ds.Machine.read(file)


def message(tmp_path: Path, content: str | bytes) -> str:
    """What is wrong first, without file and line; every sentence has both."""
    with pytest.raises(ds.InputError) as caught:
        read(tmp_path, content)
    for own in caught.value.each:
        assert own.file and "\n" not in str(own)
    text = str(caught.value.each[0])
    file = str(tmp_path / "machine.toml")
    assert text.startswith(file + ": ")
    assert caught.value.file == file
    assert "\n" not in text
    return re.sub(r"^line \d+(, |: )", "", text[len(file) + 2 :])


REPLACED = [
    # what is replaced, by what, the message
    (
        'diameter = "180 mm"',
        'diametre = "180 mm"',
        "part 'hose 1' (hose): unknown key 'diametre'; did you mean 'diameter'?",
    ),
    ('kind = "hose"', 'kind = "house"', "part 'hose 1': unknown kind 'house'; did you mean 'hose'?"),
    ('kind = "hose"\n', "", "part 'hose 1': the key 'kind' is missing."),
    (
        'to = "jet box {unit}"\ninlet',
        'to = "jetbox {unit}"\ninlet',
        "part 'hose 1', to: no other part is at the node 'jetbox 1', so it is closed off; "
        "did you mean 'jet box 1'?",
    ),
    (
        'to = "jet box {unit}"\ninlet',
        'to = "air box"\ninlet',
        "part 'hose 1': two of its ends are at the same node; a node for each end.",
    ),
    (
        'hose_length = "1.2 m"',
        'hose_length = "1.2"',
        "part 'hose 1', length: '1.2' lacks its measure; a text needs one, like '1.8 m'; a bare number is",
    ),
    (
        'hose_length = "1.2 m"',
        'hose_length = "2 kPa"',
        "part 'hose 1', length: a length given in kPa: '2 kPa'; allowed: a length in m, cm, mm,",
    ),
    (
        'hose_length = "1.2 m"',
        'hose_length = "1,2 m"',
        "part 'hose 1', length: '1,2 m' has a comma in its number; write a decimal point, no commas.",
    ),
    (
        'hose_length = "1.2 m"',
        'hose_length = "9**9**9**9 m"',
        "part 'hose 1', length: '9**9**9**9 m' is no number with its measure",
    ),
    (
        'hose_length = "1.2 m"',
        'hose_length = "1e400 m"',
        "part 'hose 1', length: '1e400 m' is no finite number",
    ),
    (
        'hose_length = "1.2 m"',
        'hose_length = "-1.2 m"',
        "part 'hose 1', length: -1.2 m is out of range; allowed: above 0 m.",
    ),
    (
        'hose_length = "1.2 m"',
        "hose_length = 0",
        "part 'hose 1', length: 0 m is out of range; allowed: above 0 m.",
    ),
    (
        'hose_length = "1.2 m"',
        "hose_length = nan",
        "part 'hose 1', length: nan m is out of range; allowed: above 0 m.",
    ),
    (
        'hose_length = "1.2 m"',
        "hose_length = inf",
        "part 'hose 1', length: inf m is out of range; allowed: above 0 m.",
    ),
    ('hose_length = "1.2 m"', "hose_length = " + "9" * 400, "part 'hose 1', length: 99999"),
    ('diameter = "180 mm"', "diameter = true", "part 'hose 1', diameter: True (bool) is no number"),
    (
        'diameter = "180 mm"',
        "diameter = 2020-01-01",
        "part 'hose 1', diameter: datetime.date(2020, 1, 1) (date) is no number",
    ),
    (
        'diameter = "180 mm"',
        'diameter = ["1 m", "2 m"]',
        "part 'hose 1': diameter: ['1 m', '2 m'] is not one number; a file holds no columns.",
    ),
    ('diameter = "180 mm"\n', "", "part 'hose 1': the key 'diameter' is missing; inner diameter."),
    ('angle = "90 deg"', "angle = 90", "(write '90 deg')."),
    (', radius = "0.3 m"', "", "radius is missing; give the centre-line radius, or style"),
    ('temperature = "31 degC"', "temperature = 31", "air, temperature: 31 K is out of range"),
    ('temperature = "31 degC"', "temperature = 31", "(write '31 degC')."),
    ('"2100 rpm"', "2100", "drive 'belt', engine_speed: 2100 rad/s is out of range"),
    ('"2100 rpm"', "2100", "(write '2100 rpm')."),
    ("slip = 0.02", "slipp = 0.02", "drive 'belt': unknown key 'slipp'; did you mean 'slip'?"),
    ("[drive.belt]", "[drive.'a.b']", "drive: 'a.b' is no name for a drive; a name is a text of 1 to 200"),
    (
        "[drive.belt]",
        '[drive.belt]\nkind = "chain"',
        "drive 'belt': unknown kind of drive 'chain'; known: 'belt'.",
    ),
    ('drive = "belt"', 'drive = "bolt"', "part 'left fan': unknown drive 'bolt'; did you mean 'belt'?"),
    ('drive = "belt"', 'drive = "belt"\nspeed = "3000 rpm"', "part 'left fan': has both a drive and a speed"),
    ('drive = "belt"\n', "", "part 'left fan': the key 'speed' is missing; speed it runs at."),
    (
        'kind = "hose"',
        'kind = "hose"\ndrive = "belt"',
        "part 'hose 1': the kind 'hose' has no speed for a drive to give.",
    ),
    ('driven_pulley = "239 mm"', 'driven_pulley = "9 mm"', "part 'left fan', speed: 10057.3 rad/s is out of"),
    (
        'curve_speed = "3600 rpm"',
        'through = {flow = "1 m3/s"}',
        "part 'left fan': has both through and flow; one way to say the curve.",
    ),
    ('"0 m3/s", "1 m3/s"', '"0 m3/s", "0 m3/s"', "the flows do not rise from point to point"),
    ('flow = ["0 m3/s"', 'flow = ["0 kPa"', "part 'left fan', flow[0]: a volume flow given in kPa"),
    ('{ angle = "90 deg", radius = "0.3 m" }', '"90 deg"', "part 'hose 1', bends"),
    ("[air]", "[airs]", "unknown key 'airs'; did you mean 'air'?"),
    (
        'altitude = "420 m"',
        'altitude = "420 m"\ndensity = 1.2',
        "air: got density and altitude; a constant density, or the weather, not both.",
    ),
    (
        'altitude = "420 m"\ntemperature = "31 degC"\nrelative_humidity = 0.35',
        'pressure = "300 hPa"\ntemperature = "76 degC"\nrelative_humidity = 1',
        "air: relative_humidity: so much water vapour",
    ),
    ('name = "hose {unit}"', 'name = "hose {unti}"', "unknown key of the unit 'unti'; did you mean 'unit'?"),
    (
        'name = "hose {unit}"',
        'name = "hose {unit"',
        "each_unit.part 'hose {unit': 'hose {unit' has an open brace",
    ),
    ('name = "hose {unit}"', 'name = "hose"', "part: the name 'hose' is used twice; each name once."),
    ('name = "hose {unit}"\n', "", "part: the key 'name' is missing."),
    ('hose_length = "1.2 m"', 'colour = "red"', "unit '1': unknown key 'colour'; known: 'cuff_leak',"),
    (
        'hose_length = "1.2 m"',
        'hose_lenght = "1.2 m"',
        "unit '1': unknown key 'hose_lenght'; did you mean 'hose_length'?",
    ),
    ('hose_length = "1.2 m"', "hose_length = true", "unit '1': hose_length: True fits in no text"),
    ('hose_length = "1.2 m"', 'hose_length = "{x} m"', "unit 1: hose_length: '{x} m' has a brace"),
    ('name = "2"', 'name = "1"', "unit: the name '1' is used twice; each name once."),
    ('name = "2"\n', "", "unit 2: the key 'name' is missing."),
    ('name = "2"', 'name = "a*b"', "unit 2: 'a*b' is no name for a unit"),
    ('name = "right fan"', 'name = "left fan"', "part: the name 'left fan' is used twice; each name once."),
    ('name = "box leak"', 'name = "belt"', "part or drive: the name 'belt' is used twice"),
    (
        'name = "box leak"',
        'name = "box * leak"',
        "part: 'box * leak' is no name for a part; a name is a text",
    ),
    ('name = "box leak"', 'name = " "', "part: ' ' is no name for a part"),
    ('name = "box leak"', 'name = "air"', "part: the name 'air' is taken; not air, crop, fill, outside."),
    ('name = "box leak"', "name = 3", "part: name: 3 is not a text; a text in quotes."),
    (
        'vacuum_at = "door {unit}"',
        'vacuum_at = "dor {unit}"',
        "unit '1', vacuum_at: unknown tapping 'dor 1'; did you mean 'door 1'?",
    ),
    (
        'vacuum_at = "door {unit}"',
        "",
        "unit '1': the key 'vacuum_at' is missing; the name of the [[tapping]]",
    ),
    (
        'duct = "duct {unit}" ',
        'duct = "dukt {unit}" ',
        "unit '1', duct: unknown part 'dukt 1'; did you mean 'duct 1'?",
    ),
    (
        'duct = "duct {unit}" ',
        'duct = "jet {unit}" ',
        "unit '1', duct: 'jet 1' has several paths; a part with one",
    ),
    (
        'openings = ["front {unit}", "rear {unit}"]',
        "openings = []",
        "unit '1': has no openings; openings = [names of the parts the crop enters by].",
    ),
    (
        'openings = ["front {unit}", "rear {unit}"]',
        "openings = [1]",
        "unit '1': openings: [1] is not a list of texts.",
    ),
    (
        'openings = ["front',
        'openings = ["frond',
        "unit '1', openings: unknown part 'frond 1'; did you mean 'front 1'?",
    ),
    (
        'from = "foot {unit}"\nto = "outside"\ndiameter',
        'from = "foot {unit}"\nto = "roof {unit}"\ndiameter',
        "part 'duct 1', to: no other part is at the node 'roof 1', so it is closed off",
    ),
    (
        'from = "foot {unit}"\nto = "outside"\ndiameter',
        'from = "foot {unit}"\nto = "roof"\ndiameter',
        "unit '1': has no path to outside: none leads there from 'roof', where its duct 'duct 1' ends.",
    ),
    (
        'end = "suction"',
        'end = "suktion"',
        "tapping 'door 1', end of 'jet 1': unknown end 'suktion'; did you mean",
    ),
    (
        'path = "jet {unit}"',
        'path = "jett {unit}"',
        "tapping 'door 1', path: unknown part 'jett 1'; did you mean 'jet 1'?",
    ),
    (
        'path = "left fan"\nend = "to"',
        'path = "box leak"\nend = "to"',
        "tapping 'air box': sits in the open air",
    ),
    (
        'area = "0.35 m2"',
        'area = "0.35 m2"\naccess = "easi"',
        "tapping 'air box', access: unknown word 'easi'; did you",
    ),
    (
        'area = "0.35 m2"',
        'area = "0.35 m2"\nminutes = "2 m"',
        "tapping 'air box', minutes: a time given in m",
    ),
    (
        'area = "0.35 m2"',
        'area = "0.35 m2"\nminutes = -1',
        "tapping 'air box', minutes: -1 is out of range; 0 to 24 h.",
    ),
    ("format = 2", "format = 3", "format 3 is newer than this version reads; up to format 2"),
    ("format = 2", 'format = "1"', "format '1' is unknown; format = 2."),
    ("format = 2", "", "the key 'format' is missing; write format = 2 at the top."),
    ("[[part]]", "[[parts]]", "unknown key 'parts'; did you mean 'part'?"),
    ("[[each_unit.part]]", "[[each_unit.parts]]", "each_unit: unknown key 'parts'; did you mean 'part'?"),
]


@pytest.mark.parametrize(("old", "new", "expected"), REPLACED)
def test_one_slip_in_the_picker(tmp_path, old, new, expected):
    assert old in PICKER
    assert expected in message(tmp_path, PICKER.replace(old, new))


TABLES = [
    ("format = 1", "part: there is no part; write a [[part]] for each part of the air path."),
    ('format = 1\n[part]\nname = "a"', "part: is not a list of tables; write [[part]] above each."),
    ("format = 1\npart = [1]", "part: is not a list of tables"),
    ("format = 1\nair = 3", "air: 3 is not a table; write [air]."),
    (
        "format = 1\n[each_unit]\nduct = 'a'",
        "each_unit: there is no unit to repeat it for; write a [[unit]] each.",
    ),
    ("format = 1\n[drive]\nbelt = 1", "drive 'belt': 1 is not a table"),
]
ENDS = 'kind = "opening"\nfrom = "outside"\nto = "a"\narea = 0.1\nloss_coefficient = 1\n'
TWO = f'format = 1\n[[part]]\nname = "in"\n{ENDS}[[part]]\nname = "out"\n{ENDS}'
NODES = [
    ('[[hold]]\nnode = "b"\npressure = 1', "hold: unknown node 'b'"),
    ('[[hold]]\nnode = "a"', "hold 'a': the key 'pressure' is missing; total pressure, gauge."),
    ('[[hold]]\nnode = "a"\npressure = "9 bar"', "hold 'a', pressure: 900000 Pa is out of range"),
    ("[[hold]]\npressure = 1", "hold: the key 'node' is missing."),
    ('[[hold]]\nnode = "outside"\npressure = 1', "hold: the name 'outside' is taken"),
    ('[[supply]]\nnode = "a"\nflow = 1', "supply 'a': unknown key 'flow'"),
    (
        '[[supply]]\nnode = "a"\nmass_flow = 1\n[[supply]]\nnode = "a"\nmass_flow = 1',
        "supply: the name 'a' is used twice",
    ),
    (
        '[[supply]]\nnode = "a"\nmass_flow = 1\n[[hold]]\nnode = "a"\npressure = 1',
        "supply: the node 'a' has a pressure and a supply; one of the two.",
    ),
    (
        '[[unknown]]\nnumber = "in.aria"',
        "unknown, number: unknown address 'in.aria'; did you mean 'in.area'?",
    ),
    ("[[trim]]\nlow = 1", "trim: the key 'number' is missing."),
    ("[[crop]]\nx = 1", "crop: [{'x': 1}] is not a table; write [crop]."),
    (
        f'[[part]]\nname = "island"\n{ENDS}[[part]]\nname = "island 2"\n{ENDS}'.replace(
            '"outside"', '"b"'
        ).replace('"a"', '"c"'),
        "part 'island', from: the node 'b' has no path to outside",
    ),
]


@pytest.mark.parametrize(("content", "expected"), TABLES + [(TWO + more, text) for more, text in NODES])
def test_tables(tmp_path, content, expected):
    assert expected in message(tmp_path, content)


FILES = [
    (b"", "is empty."),
    (b" \n\t\n", "is empty."),
    (b"length: 3 m", 'length: 3 m is not TOML; write length = "3 m".'),
    (b"format = 1\nformat = 1", "format = 1 stands there a second time; each key once."),
    (b"format = 1\nx", "is not TOML: Expected '=' after a key"),
    (bytes(range(256)), "is no UTF-8 text; expected a text file: is this really a machine file?"),
    (b"format = 1\0", "is a binary file; expected a text file"),
    (b"# x\n" * 500_001, "larger than 2 MB; at most 2 MB."),
    (b"format = 1\nx = " + b"[" * 5000 + b"]" * 5000, "is not TOML that can be read: RecursionError."),
    (b"format = 1\nx = " + b"[" * 30 + b"]" * 30, "has tables nested too deep; at most 12 levels."),
    (b"format = 1\n" + b"a." * 3000 + b"a = 1", "line 2 is 6,005 characters long with 3,000 dots; at most"),
    (b"x = " + b"9" * 5000, "is not TOML that can be read: ValueError."),
    (b'x = "' + b"y" * 30_000 + b'"', "line 1 is 30,006 characters long"),
]


@pytest.mark.parametrize(("content", "expected"), FILES)
def test_files_that_are_no_machine(tmp_path, content, expected):
    assert message(tmp_path, content).startswith(expected)


def test_missing_files_and_folders(tmp_path):
    read(tmp_path, PICKER)
    with pytest.raises(ds.InputError, match=r"no such machine file; did you mean '.*machine\.toml'\?"):
        ds.Machine.read(tmp_path / "machin.toml")
    with pytest.raises(ds.InputError, match=r"no such machine file\.$"):
        ds.Machine.read(tmp_path / "nowhere" / "x.toml")
    with pytest.raises(ds.InputError, match="is a folder, not a machine file; give the machine file in it"):
        ds.Machine.read(tmp_path)
    with pytest.raises(ds.InputError, match=r"cannot be read: .*embedded null"):
        ds.Machine.read("a\0b")


def test_too_much_repetition_is_refused_before_it_is_done(tmp_path):
    units = "".join(f'[[unit]]\nname = "{i}"\n' for i in range(900))
    parts = '[[each_unit.part]]\nname = "x {unit}"\n' * 30
    assert "things for 900 units are too many; at most 20,000 in all." in message(
        tmp_path, f"format = 1\n{parts}{units}"
    )
    many = "".join(f'[[unit]]\nname = "{i}"\n' for i in range(1001))
    assert "unit: has 1,001 entries; at most 1,000." in message(tmp_path, f"format = 1\n{many}")
    long = 'format = 1\n[each_unit]\nduct = "' + "{name}" * 300 + '"\n[[unit]]\nname = "abcdefghij"'
    assert "becomes 3,000 characters long" in message(tmp_path, long)


def test_a_byte_order_mark_and_windows_line_ends_change_nothing(tmp_path):
    plain = read(tmp_path, PICKER)
    marked = read(tmp_path, b"\xef\xbb\xbf" + PICKER.replace("\n", "\r\n").encode())
    assert marked == plain


def test_a_whole_hole_takes_the_value_as_it_is_and_texts_are_filled(tmp_path):
    machine = read(tmp_path, PICKER)
    assert machine.numbers["hose 3.length"] == 1.9
    assert machine.numbers["cuff leak 3.coefficient"] == 0.0008
    assert machine.layout.part["jet 2"].ends == ("jet box 2", "door 2", "foot 2")
    assert machine.layout.unit["5"].openings == ("front 5", "rear 5")


def test_a_unit_may_be_named_by_a_number_and_may_differ_from_the_rest(tmp_path):
    machine = read(tmp_path, PICKER.replace('name = "3"\nhose', 'name = 3\nvacuum_at = "jet box 3"\nhose'))
    assert machine.layout.unit["3"].vacuum_at == "jet box 3"
    assert machine.layout.unit["4"].vacuum_at == "door 4"


def test_what_was_given_and_what_is_a_default():
    machine = ds.demo("picker")
    assert "hose 1.length" in machine.given
    assert "hose 1.bend 1.radius" in machine.given
    assert "left fan.total_pressure[2]" in machine.given
    assert "hose 1.kink" not in machine.given
    assert "left fan.speed" not in machine.numbers


def fan_file(curve: str) -> str:
    return (
        f'format = 1\n[[part]]\nname = "fan"\nkind = "fan"\nfrom = "outside"\nto = "box"\n{curve}\n'
        '[[part]]\nname = "out"\nkind = "opening"\nfrom = "box"\nto = "outside"\narea = 0.1\n'
        "loss_coefficient = 1\n"
    )


def test_fans_without_a_curve(tmp_path):
    typical = read(
        tmp_path, fan_file('typical = {wheel_diameter = "0.6 m", width = "0.1 m", speed = "1500 rpm"}')
    )
    same = ds.Fan.typical(wheel_diameter="0.6 m", width="0.1 m", speed="1500 rpm")
    assert typical.part("fan") == same
    through = read(
        tmp_path,
        fan_file(
            'through = {flow = "1 m3/s", total_pressure = "2 kPa", speed = "1500 rpm"}\nspeed = "1600 rpm"'
        ),
    )
    assert through.numbers["fan.speed"] == pytest.approx(ds.si("1600 rpm", "rad/s"))
    assert through.numbers["fan.curve_speed"] == pytest.approx(ds.si("1500 rpm", "rad/s"))
    spreads = {row["address"]: row["spread"] for row in through.describe().rows()}
    assert spreads["fan.total_pressure[0]"] == 0.15


@pytest.mark.parametrize(
    ("curve", "expected"),
    [
        ("typical = 3", "part 'fan', typical: 3 is not a table"),
        ('typical = {wheel = "0.6 m"}', "part 'fan', typical: unknown key 'wheel'"),
        (
            'typical = {width = "0.6 m"}',
            "part 'fan', typical: the key 'wheel_diameter' is missing; one quantity.",
        ),
        ('typical = {wheel_diameter = 0.5, width = 0.1, speed = "3 m"}', "part 'fan': "),
        (
            "typical = {wheel_diameter = 0, width = 0.1, speed = 100}",
            "part 'fan', fan: wheel_diameter: 0.0 is out",
        ),
        ("typical = {}\nthrough = {}", "part 'fan': has both typical and through; one way to say the curve."),
    ],
)
def test_fans_without_a_curve_written_wrongly(tmp_path, curve, expected):
    assert message(tmp_path, fan_file(curve)).startswith(expected)


def test_a_mapping_is_read_like_a_file():
    import tomllib

    assert ds.Machine.of(tomllib.loads(PICKER)) == ds.demo("picker")
    with pytest.raises(ds.InputError, match=r"^the key 'format' is missing"):
        ds.Machine.of({})


def test_unknown_demonstration_machine():
    with pytest.raises(
        ds.UnknownName, match=r"unknown demonstration machine 'piker'; did you mean 'picker'\?"
    ):
        ds.demo("piker")
