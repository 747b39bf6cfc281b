"""The drawing: everything of the machine is on it once, air runs to the right, nothing covers anything."""

import itertools
import re
import subprocess
import sys

import matplotlib.colors
import matplotlib.pyplot as plt
import numpy as np
import pytest
from amounts import examples
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch
from pictures import overprinted
from shown_machines import EVIL, FORMULA, LONG, harmful, joined, renamed

import ductsim as ds
from ductsim.display import canvas, style
from ductsim.drawing import picture as drawing
from ductsim.drawing.plan import crossings, plan
from ductsim.drawing.sheet import WIDEST_LINE, Sheet
from ductsim.drawing.spots import ROW, port
from ductsim.drawing.symbols import SYMBOLS, symbol_of, tint, words_of
from ductsim.errors import InputError

DEMOS = ("picker", "suction", "bench")


def figure_of(machine, measures="metric"):
    return canvas.figure_of(machine, "drawing", measures)


@pytest.fixture(scope="module", params=DEMOS)
def machine(request):
    return ds.demo(request.param)


def texts(figure):
    """Everything that is written in a figure."""
    return [t.get_text() for ax in figure.axes for t in ax.texts]


def check(found, machine):
    """What holds for every layout."""
    parts = {("part", p.name) for p in machine.layout.parts}
    nodes = {("node", n) for p in machine.layout.parts for n in p.ends if n != "outside"}
    spots = found.spots
    assert {k for k in spots if k[0] != "line"} == parts | nodes
    placed = [key for column in found.columns for key in column]
    assert sorted(placed) == sorted(spots)
    for layer, column in enumerate(found.columns):
        assert all(spots[key].layer == layer for key in column)
        for a, b in itertools.pairwise([spots[key] for key in column]):
            assert b.y - a.y >= 0.5 * (a.height + b.height) - 1e-6
            if {a.kind, b.kind} == {"node"}:
                assert a.bottom < b.top
    for key, spot in spots.items():
        for after in spot.after:
            assert spots[after].layer == spot.layer + 1
            assert spots[after].before.count(key) == spot.after.count(after)
    assert min(s.y - 0.5 * s.height for s in spots.values()) == pytest.approx(0.0, abs=1e-9)


# ---- the layout


def test_layout_of_the_demos(machine):
    found = plan(machine)
    check(found, machine)
    assert crossings(found.spots, found.columns) == 0
    assert not any(key[0] == "line" for key in found.spots)


def test_air_runs_to_the_right_as_declared(machine):
    found = plan(machine)
    for part in machine.layout.parts:
        spot = found.spots["part", part.name]
        last = part.ends[-1]
        if last != "outside":
            assert found.spots["node", last].layer > spot.layer
        for first in part.ends[:-1]:
            if first != "outside":
                assert found.spots["node", first].layer < spot.layer


def test_open_ends_are_counted():
    found = plan(ds.demo("picker"))
    ends = {name: (found.spots["part", name].from_outside, found.spots["part", name].to_outside) for name in
            ("front 1", "duct 1", "hose 1", "jet 1", "box leak")}  # fmt: skip
    assert ends == {
        "front 1": (1, 0),
        "duct 1": (0, 1),
        "hose 1": (0, 0),
        "jet 1": (0, 0),
        "box leak": (0, 1),
    }


def test_what_serves_one_unit_stands_with_it():
    found = plan(ds.demo("picker"))
    for unit in "12345":
        own = {s.name for s in found.spots.values() if s.unit == unit}
        words = (
            "hose",
            "jet box",
            "jet",
            "cuff leak",
            "door",
            "front",
            "rear",
            "hatch leak",
            "foot",
            "joint leak",
        )
        assert own == {f"{w} {unit}" for w in (*words, "duct")}
    shared = {s.name for s in found.spots.values() if not s.unit}
    sides = [f"{side} {what}" for side in ("left", "right") for what in ("fan", "screen", "inlet")]
    assert shared == {"air box", "box leak", *sides}


def test_nothing_else_stands_in_a_unit():
    for name in DEMOS:
        found = plan(ds.demo(name))
        for unit in {s.unit for s in found.spots.values() if s.unit}:
            own = [s for s in found.spots.values() if s.unit == unit]
            first, last = min(s.layer for s in own), max(s.layer for s in own)
            top, bottom = min(s.y for s in own), max(s.y for s in own)
            others = [s for s in found.spots.values() if s.unit != unit and first <= s.layer <= last]
            assert all(s.y < top or s.y > bottom for s in others)


def test_lines_of_the_picker_are_straight():
    found = plan(ds.demo("picker"))
    for spot in found.spots.values():
        if spot.kind != "part":
            continue
        for key in (*spot.before, *spot.after):
            box = found.spots[key]
            level = spot.y + port(spot, key)
            assert box.top <= level <= box.bottom


def test_a_ring_is_drawn():
    machine = joined([("a", "n1", "n2"), ("b", "n2", "n3"), ("c", "n3", "n1"), ("d", "n1", "outside")])
    check(plan(machine), machine)
    figure_of(machine)


def test_parallel_parts_have_rows_of_their_own():
    machine = joined([("a", "n1", "n2"), ("b", "n1", "n2"), ("c", "n2", "outside")])
    found = plan(machine)
    check(found, machine)
    assert abs(found.spots["part", "a"].y - found.spots["part", "b"].y) >= ROW


def test_a_short_cut_passes_the_columns_between():
    machine = joined(
        [("a", "n1", "n2"), ("b", "n2", "n3"), ("c", "n3", "n4"), ("d", "n1", "n4"), ("e", "n4", "outside")]
    )
    found = plan(machine)
    check(found, machine)
    assert sum(key[0] == "line" for key in found.spots) == 4
    figure_of(machine)


def test_separate_systems_are_drawn_together():
    machine = joined([("a", "n1", "outside"), ("b", "outside", "n2"), ("c", "n2", "outside")])
    found = plan(machine)
    check(found, machine)
    figure_of(machine)


NODES = st.sampled_from(["n1", "n2", "n3", "n4", "n5", "n6", "outside"])
PAIRS = st.lists(st.tuples(NODES, NODES).filter(lambda p: p[0] != p[1]), min_size=1, max_size=14)


@examples(60)
@given(PAIRS)
def test_any_network_is_laid_out(pairs):
    if all(node == "outside" for pair in pairs for node in pair):
        pairs.append(("n1", "outside"))
    machine = joined([(f"p{i}", a, b) for i, (a, b) in enumerate(pairs)], hold_all=True)
    check(plan(machine), machine)


# ---- what is written and drawn


def test_pressures_and_flows_are_those_of_the_state(machine):
    state = machine.solve()
    said = "\n".join(texts(figure_of(state)))
    for node, pressure in state.pressure.items():
        if node != "outside":
            assert f"\n{style.number(pressure)}" in said
    for unit in machine.layout.units:
        assert f"unit {unit.name}: {style.shown(state.vacuum[unit.name], 'Pa')} vacuum" in said
    weak = re.escape(f"unit {state.weakest}: {style.shown(state.vacuum[state.weakest], 'Pa')} vacuum")
    assert "(static; total" in said or len(machine.layout.units) == 2  # where there is room
    assert re.search(weak + r"( \(static; total \S+\))?, weakest", said)
    assert said.count("weakest") == 2  # the sentence above and the frame


def test_every_name_is_written(machine):
    said = "\n".join(texts(figure_of(machine))).split("\n")
    joined_up = " ".join(said)
    for part in machine.layout.parts:
        for line in style.wrapped(part.name, 17).split("\n"):
            assert line in joined_up


def test_inch_measures(machine):
    state = machine.solve()
    said = "\n".join(texts(figure_of(state, "inch")))
    assert "[inH2O]" in said and "[lb/min]" in said and "[Pa]" not in said
    node = next(n for n in state.pressure if n != "outside")
    assert style.number(ds.quantity.from_si(state.pressure[node], "inH2O")) in said


def test_warm_is_pressure_cool_is_vacuum():
    picker = ds.demo("picker")
    colour = {level: matplotlib.colors.to_rgb(tint(level, 5000.0)) for level in (4000.0, -4000.0, 0.0)}
    red, _, blue = zip(*colour.values(), strict=True)
    assert red[0] > blue[0] and red[1] < blue[1]
    assert tint(float("nan"), 5000.0) == tint(1.0, 0.0) == style.PAPER
    assert picker.solve().pressure["air box"] > 0 > picker.solve().pressure["door 1"]


def test_more_air_makes_a_thicker_line():
    sheet = Sheet(ds.demo("picker").solve(), plan(ds.demo("picker")), "metric")
    widths = [sheet.line_width(flow) for flow in (0.0, 0.1, 1.0, sheet.most)]
    assert widths == sorted(widths) and widths[-1] == pytest.approx(WIDEST_LINE)
    assert sheet.line_width(-1.0) == sheet.line_width(1.0)


@pytest.mark.parametrize("reverse", [False, True])
def test_arrows_follow_the_air(reverse):
    machine = ds.demo("bench")
    if reverse:  # blown through backwards: the fan stands still and its far side is under pressure
        document = {
            "format": 1,
            "title": "reversed",
            "air": {"density": 1.2},
            "part": [
                {"name": "mouth", "kind": "opening", "from": "outside", "to": "box", "area": "100 cm2",
                 "loss_coefficient": 1.5}
            ],
            "hold": [{"node": "box", "pressure": "500 Pa"}],
        }  # fmt: skip
        machine = ds.Machine.of(document)
    state = machine.solve()
    figure = figure_of(state)
    heads = [p for p in figure.axes[0].patches if p.get_zorder() == 3]
    rightward = [h.get_xy()[0, 0] > h.get_xy()[1, 0] for h in heads]
    assert rightward and all(right is not reverse for right in rightward)


def test_tappings_are_marked(machine):
    figure = figure_of(machine)
    marks = [line for line in figure.axes[0].lines if line.get_marker() == "D"]
    assert len(marks) == len(machine.layout.tappings) + 1  # one in the legend


def test_legend_names_the_kinds_that_are_used(machine):
    said = texts(figure_of(machine))
    for part in machine.layout.parts:
        assert words_of(part.kind) in said


def test_every_registered_kind_is_drawn():
    figure = Figure()
    ax = figure.add_subplot()
    assert set(SYMBOLS) == {kind.symbol for kind in ds.extend.KINDS.values()}
    for kind in ds.extend.KINDS.values():
        before = len(ax.get_children())
        symbol_of(kind).paint(ax, 0.0, 0.0, style.INK)
        assert len(ax.get_children()) > before


def test_columns_show_medians():
    values = np.array([1e-4, 5e-3, 2e-2])
    machine = ds.demo("picker").change({"hatch leak 4.area": values})
    state = machine.solve()
    said = "\n".join(texts(figure_of(machine)))
    assert f"\n{style.number(np.median(state.pressure['door 4']))}" in said
    row = max(state.rows(), key=lambda r: r["chance_weakest"])
    assert (
        f"unit {row['unit']}: {style.shown(np.median(state.vacuum[row['unit']]), 'Pa')} vacuum (static; total"
        in said
    )


def test_a_closed_off_node_says_so():
    machine = ds.demo("bench").change({"left mouth.area": 0.0})
    said = "\n".join(texts(figure_of(machine)))
    assert "closed off" not in said  # the duct still joins it
    lone = joined([("a", "outside", "mid"), ("b", "mid", "outside"), ("c", "n1", "outside")])
    lone = lone.change({"a.area": 0.0, "b.area": 0.0})
    assert "closed off" in "\n".join(texts(figure_of(lone)))


def test_without_an_answer_it_is_drawn_without_numbers():
    shut = {"name": "a", "kind": "opening", "from": "box", "to": "outside", "area": 0.0}
    document = {
        "format": 1,
        "title": "fed and shut",
        "air": {"density": 1.2},
        "part": [{**shut, "loss_coefficient": 1.0}],
        "supply": [{"node": "box", "mass_flow": 0.1}],
    }
    machine = ds.Machine.of(document)
    assert not machine.solve(raise_error=False).solved
    said = texts(figure_of(machine))
    assert any("no operating point" in t for t in said)


def test_names_do_no_harm():
    figure = figure_of(harmful())
    with style.own():
        figure.canvas.draw()
    said = "\n".join(texts(figure))
    assert EVIL[:8] in said.replace("\n", "")
    assert LONG not in said
    assert max(map(len, said.split("\n"))) < 130
    assert FORMULA.replace("$", r"\$")[:6] in said


def test_a_name_without_spaces_is_cut():
    said = "\n".join(texts(figure_of(renamed({"left duct": "d" * 150}))))
    assert "d" * 30 not in said and "…" in said


def test_too_many_parts_are_refused():
    machine = joined([(f"p{i}", "box", "outside") for i in range(drawing.MOST_PARTS + 1)])
    with pytest.raises(InputError, match="401 parts are too many to be drawn"):
        drawing.draw_machine(machine)


# ---- where it is drawn


def test_on_given_axes_everything_is_smaller():
    figure = Figure(figsize=(4.0, 3.0))
    ax = figure.add_subplot()
    assert ds.draw(ds.demo("picker"), ax) is ax
    whole = figure_of(ds.demo("picker")).axes[0]
    small, large = (max(t.get_fontsize() for t in a.texts) for a in (ax, whole))
    assert small < 0.5 * large
    assert ax.get_xlim() == whole.get_xlim()


def test_without_axes_a_shown_figure_is_made():
    ax = ds.draw(ds.demo("bench"))
    assert ax.figure.number in plt.get_fignums()
    plt.close(ax.figure)


def test_a_figure_for_a_file_loads_no_windows():
    code = (
        "import sys, ductsim as ds\n"
        "from ductsim.display.canvas import figure_of\n"
        "figure_of(ds.demo('bench'))\n"
        "print('matplotlib.pyplot' in sys.modules)"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "False"


@pytest.mark.parametrize(
    "machine",
    [
        ds.demo("picker"),
        renamed({"left head": "left head chamber behind the fans", "plenum": "a distribution chamber"}),
    ],
)
def test_the_words_of_every_box_stand_within_it(machine):
    ax = ds.draw(machine)
    ax.figure.canvas.draw()
    boxes = [p.get_window_extent() for p in ax.patches if isinstance(p, FancyBboxPatch) and p.zorder == 4]
    nodes = {n for part in machine.layout.parts for n in part.ends if n != "outside"}
    assert len(boxes) == len(nodes)
    for box in boxes:
        middle = (0.5 * (box.x0 + box.x1), 0.5 * (box.y0 + box.y1))
        (words,) = [e for t in ax.texts if t.zorder == 7 and (e := t.get_window_extent()).contains(*middle)]
        assert box.x0 <= words.x0 and words.x1 <= box.x1
        assert box.y0 - 1.0 <= words.y0 and words.y1 <= box.y1 + 1.0
    plt.close(ax.figure)


def test_a_small_drawing_has_only_words_that_can_be_read():
    machine = ds.demo("picker")
    figure = Figure(figsize=(3.0, 3.0))
    ax = figure.add_subplot()
    ds.draw(machine, ax)
    said = [t for t in ax.texts if t.get_text()]
    assert all(t.get_fontsize() >= 4.0 for t in said)
    assert [t.get_text().split(":")[0] for t in said if t.get_text().startswith("unit")] == [
        f"unit {n}" for n in range(1, 6)
    ]
    assert not any("hose" in t.get_text() for t in said)
    figure.canvas.draw()
    assert overprinted(figure) == []
