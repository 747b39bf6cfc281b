"""The field page: its tables against solved machines, what stands in the file, what is refused."""

import base64
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from shown_machines import EVIL, harmful, leaky_bench

import ductsim as ds
from ductsim.crop.crop import with_crop
from ductsim.description.spreads import spread_of
from ductsim.inference.scales import Scales
from ductsim.readings.unknowns import Unknown
from ductsim.reports.field_card import solving
from ductsim.reports.field_card.solving import approximated, solved_fixes
from ductsim.reports.field_card.summary import ground_speeds
from ductsim.reports.field_card.weighing import entered
from ductsim.speed.limit import speed_limit, unit_limits
from ductsim.studies.fit.suspecting import SHARE_HIGH, SHARE_LIKELY, SOUND_FAN

RPM = np.pi / 30.0
FIXES = [
    ds.Fix("wider", change={"left mouth.area": "350 cm2"}, minutes=10.0, cost=25.0, caution="Mind the dog."),
    ds.Fix("narrower", change={"left mouth.area": "250 cm2"}, minutes=10.0),
    ds.Fix("seal", change={"* leak.area": 0.0}, minutes=15.0, caution="seal"),
    ds.Fix("other part", replace={"right duct": ds.Hose(length=2.0, diameter=0.16)}, minutes=40.0),
    ds.Fix("a little faster", change={"fan.speed": "1600 rpm"}, minutes=1.0),
    ds.Fix("far too fast", change={"fan.speed": "2200 rpm"}, minutes=5.0),
    ds.Fix("nowhere", change={"no part.area": 1.0}),
]
PICKER_FIXES = Path(ds.__file__).parent / "examples" / "picker_fixes.toml"
CROP = ds.Crop(crop_yield=0.2, row_spacing=1.0)


@pytest.fixture(scope="module")
def machine():
    return leaky_bench()


@pytest.fixture(scope="module")
def card(machine):
    return ds.field_card(machine, fixes=FIXES, speeds=[])


@pytest.fixture(scope="module")
def compared(machine):
    return ds.compare(machine, FIXES)


def place(card, names):
    """Where the answer of these fixes stands: speed and row."""
    own = card.fixes
    mask = sum(1 << i for i, fix in enumerate(own.fixes) if fix.name in names)
    stops = [v for fix, v in own.turning if fix.name in names]
    return (stops[0] if stops else own.today), own.masks.index(mask)


def test_every_set_is_that_of_a_comparison(card, compared):
    """A fix that turns the fan is the same set at another speed."""
    own, solved, looked = card.fixes, compared.solved, 0
    for row, mask in enumerate(solved.masks):
        names = compared.names(mask)
        if solved.answers.verdict(row) == "contradiction":
            continue
        v, k = place(card, names)
        looked += 1
        assert own.answer[v, k] == pytest.approx(solved.answers.answer[row, 0], rel=1e-9)
        assert own.vacuum[v, k] == pytest.approx(solved.answers.vacuum[row, :, 0], rel=1e-9)
        assert own.opening_air[v, k] == pytest.approx(solved.answers.opening_air[row, :, 0], rel=1e-9)
        assert own.duct_air[v, k] == pytest.approx(solved.answers.duct_air[row, :, 0], rel=1e-9)
        assert own.power[v, k] == pytest.approx(solved.answers.power[row, 0], rel=1e-9)
        assert own.verdicts[own.verdict[v, k]] == (solved.answers.verdict(row), solved.answers.why(row))
        assert card.machine.layout.units[own.weakest[v, k]].name == solved.weakest(row)
    assert looked == 12 * 3
    assert list(own.errors) == ["nowhere"]
    assert {(one, other) for one, other, _ in own.conflicts} == {
        ("wider", "narrower"),
        ("a little faster", "far too fast"),
    }


def test_speeds_are_todays_those_of_fixes_and_steps_of_five_per_cent(machine, card):
    own = card.fixes
    assert [own.speed_label(v) for v in range(3)] == ["1,500 rpm", "1,600 rpm", "2,200 rpm"]
    assert own.speed_label(own.today) == "1,500 rpm"
    factors = solving._factors(machine, {"a little faster": 1600 / 1500}, None, 1)
    speeds = [1340.0, 1420.0, 1500.0, 1580.0, 1600.0, 1660.0]
    assert factors * 1500.0 == pytest.approx(speeds)


def test_speeds_that_are_asked_for(machine):
    own = solved_fixes(machine, FIXES[:1], "weakest vacuum", None, ["1300 rpm", "1500 rpm"])
    assert [own.speed_label(v) for v in range(2)] == ["1,300 rpm", "1,500 rpm"]
    slower = machine.change({"fan.speed": "1300 rpm"}).solve()
    assert own.answer[0, 0] == pytest.approx(min(slower.vacuum.values()), rel=1e-9)


def test_ground_speeds_are_those_of_the_machine_with_the_fixes(machine):
    own = solved_fixes(machine, [FIXES[2], FIXES[3]], "weakest vacuum", CROP, [])
    assert own.masks == [0, 1, 2, 3]
    done = FIXES[3].on(FIXES[2].on(machine))
    loaded = with_crop(done, CROP)
    exact = unit_limits(loaded)[:, 0]
    assert own.ground_speed[0, 3] == pytest.approx(exact, rel=1e-6)
    assert exact.min() == pytest.approx(speed_limit(loaded), rel=1e-6)
    assert own.ground_speed_error != own.ground_speed_error
    assert "are solved" in ground_speeds(own)


@pytest.mark.slow
def test_ground_speeds_from_the_air_are_within_what_the_page_says():
    """The picker has far too many sets to drive them all: some that were not looked at, driven."""
    machine = ds.demo("picker")
    own = solved_fixes(machine, PICKER_FIXES, "weakest vacuum", None, None)
    assert own.exact
    assert 0.0 < own.ground_speed_error < 0.002
    rng = np.random.default_rng(3)
    for _ in range(12):
        v, k = int(rng.integers(len(own.factors))), int(rng.integers(len(own.masks)))
        done = machine.change({"belt.engine_speed": own.engine_speed * own.factors[v]})
        for i, fix in enumerate(own.fixes):
            done = fix.on(done) if own.masks[k] >> i & 1 else done
        exact = unit_limits(with_crop(done))[:, 0]
        assert own.ground_speed[v, k] == pytest.approx(exact, rel=2.0 * own.ground_speed_error)


def test_too_many_sets_are_put_together_from_pairs(monkeypatch, machine, card):
    monkeypatch.setattr(solving, "MOST_SETS", 5)
    own = solved_fixes(machine, FIXES, "weakest vacuum", None, [])
    assert not own.exact
    assert sorted(own.masks) == [0, 1, 2, 4, 5, 6, 8, 9, 10, 12]
    row = {mask: k for k, mask in enumerate(own.masks)}
    answer = own.answer[own.today]
    assert approximated(answer, row, [0, 2]) == pytest.approx(answer[row[5]])
    whole = card.fixes.answer[card.fixes.today, card.fixes.masks.index(13)]
    assert abs(approximated(answer, row, [0, 2, 3]) - whole) <= own.approximation_error + 1e-9
    assert own.approximation_checks > 0
    small = ds.FieldCard(machine, card.of, own, [], None, [], card.beware)
    assert "an approximation" in small.notes[1]


# ---- readings


def test_sheets_are_what_gauges_shows(card, machine):
    found = ds.gauges(machine)
    assert [sheet.name for sheet in card.sheets] == ["A", "B"]
    assert set(card.sheets[1].blanked) == {"left mouth", "right mouth"}
    for name, values in found.shown.items():
        assert card.sheets[0].shown[name] == pytest.approx(values[0])


def sound_numbers(card):
    """The suspects' numbers on the machine where none is at fault: a sound fan has lost next to nothing."""
    own, layout = card.weighing, card.machine.layout
    soiling = Unknown("fan.soiling", 0.0, SHARE_LIKELY, SHARE_HIGH).scale(layout)
    sound = Scales([soiling]).values(np.array([[SOUND_FAN[0]]]))[0, 0]
    assert own.suspects == ["left leak.area", "right leak.area", "fan.soiling"]
    assert own.likely[2] == SHARE_LIKELY
    return dict(zip(own.suspects, [*map(float, own.likely[:2]), float(sound)]))


def test_pressures_under_a_fault_are_those_of_the_machine_with_it(card, machine):
    own = card.weighing
    taps = [f"tapping {tapping.name}" for tapping in machine.layout.tappings]
    healthy = sound_numbers(card)
    for values, shown in ((healthy, own.sound), (healthy | {own.suspects[0]: own.sizes[0, 7]}, own.at[0, 7])):
        open_state, taped = (machine.change(values | more).solve() for more in ({}, {"* mouth.area": 0.0}))
        expected = [float(state.ask(tap)) for state in (open_state, taped) for tap in taps]
        assert shown == pytest.approx(expected, rel=1e-6)


def test_uncertainties_by_differences(card, machine):
    """What a sound suspect and the engine speed move."""
    own = card.weighing
    likely = sound_numbers(card)

    def shown(**more):
        state = machine.change(likely | more).solve()
        return np.array([float(state.ask(f"tapping {t.name}")) for t in machine.layout.tappings])

    speed, step = 1500.0 * RPM, 1e-4
    turned = (shown(**{"fan.speed": speed * (1 + step)}) - shown(**{"fan.speed": speed * (1 - step)})) / (
        2 * step
    )
    count = len(turned)
    assert own.by_speed[:count] == pytest.approx(turned, rel=1e-4)
    assert own.exponent[:count] == pytest.approx(turned / own.sound[:count], rel=1e-4)
    sd = max(spread_of(machine, "left leak.area"), 0.1) * own.likely[0]
    more, less = (shown(**{"left leak.area": own.likely[0] * (1 + way * step)}) for way in (1, -1))
    assert own.by_suspect[:count, 0] == pytest.approx(
        (more - less) / (2 * step * own.likely[0]) * sd, rel=1e-3
    )
    assert np.linalg.eigvalsh(own.relative).min() > -1e-6
    assert own.zero[0, 0] == pytest.approx(ds.ReadingErrors().zero ** 2)
    assert own.zero[0, count] == 0.0


def test_a_machine_without_leaks_has_sheets_but_no_suspects():
    found = ds.field_card(ds.demo("bench"))
    assert found.weighing is None
    assert found.fixes is None
    assert "not weighed" in found.notes[0]
    assert 'id="readings"' in found.page()
    assert 'id="fixes"' not in found.page()


def test_readings_stand_on_the_page(card, machine):
    """With others the page is another, with a place of its own for what is typed."""
    given = [{"tapping": "left tapping", "value": "-300 Pa", "set": "x", "engine_speed": "1500 rpm"}]
    found = entered(ds.read_readings(given))
    texts = {"tapping": "left tapping", "quantity": "static", "value": "-300 Pa", "engine_speed": "1500 rpm"}
    assert {key: value for key, value in found[0].items() if value} == texts | {"set": "x"}
    again = data_of(card.page())["key"]
    assert data_of(card.page())["key"] == again
    assert data_of(card.page("inch"))["key"] != again
    other = ds.FieldCard(machine, card.of, card.fixes, card.sheets, card.weighing, found, card.beware)
    assert data_of(other.page())["key"] != again
    assert data_of(other.page())["readings"]["entered"] == found


def test_fixes_start_from_the_machine_as_its_readings_tell_it(machine):
    """The page and a report start from one machine, and the page says from which."""
    true = machine.change({"left leak.area": "75 cm2"})
    read = [
        {"tapping": name, "value": float(true.ask(f"tapping {name}")), "set": "a"}
        for name in ("left tapping", "right tapping")
    ]
    found = ds.field_card(machine, fixes=FIXES, readings=read, speeds=[])
    fitted = ds.fit(machine, read).machine
    assert found.fixes.answer[found.fixes.today, 0] == pytest.approx(fitted.ask("weakest vacuum"), rel=1e-9)
    assert fitted.ask("weakest vacuum") != pytest.approx(machine.ask("weakest vacuum"), rel=1e-3)
    assert "They start from the machine as its readings tell it." in found.sentences()
    assert "Fixes start from the machine as its readings tell it." in found.page()


def test_fixes_start_from_the_machine_as_described(card):
    assert "They start from the machine as described." in card.sentences()
    assert "Fixes start from the machine as described: readings typed here" in card.page()


# ---- the file


class Outline(HTMLParser):
    """Tags, and the attributes that could fetch something."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.links = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [
            value for name, value in attrs if name in ("src", "href", "action", "srcset", "poster")
        ]


def data_of(text):
    return json.loads(re.search(r'id="data">(.*?)</script>', text, re.DOTALL).group(1))


def test_the_page_fetches_nothing_and_is_whole(card):
    text = card.page()
    outline = Outline(text)
    assert outline.links == ["data:,"]
    assert outline.tags.count("script") == 2
    assert not re.search(r"url\(|@import|https?://|\bfetch\(|XMLHttp|WebSocket|import\(", text)
    assert "default-src 'none'" in text
    data = data_of(text)
    assert data["units"] == ["left", "right"]
    assert [fix["name"] for fix in data["fixes"]["list"]][:4] == ["wider", "narrower", "seal", "other part"]
    assert data["cautions"][-1] == card.cautions[-1]
    assert "Mind the dog." in data["cautions"]


def test_names_that_could_do_harm_stay_texts():
    text = ds.field_card(harmful(), fixes={EVIL: {"left duct.length": "3 m"}}, speeds=[]).page()
    outline = Outline(text)
    assert outline.tags.count("script") == 2
    assert "img" not in outline.tags
    assert data_of(text)["fixes"]["list"][0]["name"] == EVIL


def test_what_is_shown_is_rounded_once(card):
    """The whole numbers of the last digit, decoded as the page does, are the rounded answers."""
    data = data_of(card.page("inch"))
    table = data["fixes"]["tables"]["vacuum"]
    assert table["label"] == "inH2O"
    packed = np.frombuffer(base64.b64decode(table["data"]["bytes"]), table["data"]["kind"])
    own = packed.reshape(card.fixes.vacuum.shape) + table["low"]
    expected = np.round(card.fixes.vacuum / 249.08891, table["decimals"])
    assert own / 10.0 ** table["decimals"] == pytest.approx(expected, abs=1e-9)
    assert data["readings"]["label"] == "inH2O"


def test_the_size_of_the_page_is_bounded():
    """Many units at many speeds: fewer speeds are laid out."""
    machine = ds.demo("bench")
    assert len(solving._factors(machine, {}, None, 1000)) == 5
    assert len(solving._factors(machine, {}, None, solving.MOST_CELLS // 4)) == 3
    assert len(solving._factors(machine, {}, None, solving.MOST_CELLS)) == 1
    assert solving.MOST_CELLS * 4 / 3 < 3e6


# ---- what is refused


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"fixes": []}, "there is no fix"),
        ({"fixes": [FIXES[0], FIXES[0]]}, "'wider' is used twice"),
        ({"fixes": FIXES[:1], "speeds": ["fast"]}, "speeds"),
        ({"fixes": FIXES[:1], "speeds": ["0 rpm"]}, "speeds"),
        ({"of": "nonsense"}, "nonsense"),
        ({"of": 5}, "field_card, of"),
        ({"measures": "furlongs"}, "furlongs"),
        ({"readings": [{"tapping": "nowhere", "value": 1.0}]}, "nowhere"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(machine, more, words):
    with pytest.raises(ds.InputError, match=words):
        ds.field_card(machine, **more)


def test_machines_that_have_no_page(machine):
    with pytest.raises(ds.InputError, match="has columns"):
        ds.field_card(machine.change({"fan.speed": ["1500 rpm", "1600 rpm"]}))
    document = {
        "format": 1,
        "air": {"density": 1.2, "viscosity": 1.8e-5},
        "part": [
            {"name": n, "kind": "opening", "from": a, "to": b, "area": 0.01, "loss_coefficient": 1}
            for n, a, b in (("in", "outside", "box"), ("out", "box", "outside"))
        ],
    }
    with pytest.raises(ds.InputError, match="nothing to put on the page"):
        ds.field_card(ds.Machine.of(document), of="pressure box")


# ---- the command


def test_the_command_writes_the_page(run, tmp_path):
    status, out, err = run("field-card", "demo:bench", str(tmp_path / "page.html"))
    assert (status, err) == (0, "")
    assert f"written to {tmp_path / 'page.html'}" in out.replace("\n", " ")
    assert "2 sheets" in out
    assert "Bench" in (tmp_path / "page.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["page.txt", "page", "."])
def test_the_command_refuses_another_name(run, tmp_path, name):
    status, out, err = run("field-card", "demo:bench", str(tmp_path / name))
    assert (status, out) == (2, "")
    assert "does not end in .html" in err
    assert not list(tmp_path.iterdir())
