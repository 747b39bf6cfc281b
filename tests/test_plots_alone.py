"""Plots of results that are made for them alone; those of every kind of result are in `test_plots`."""

import io
import os
import re
import subprocess
import sys

import matplotlib
import matplotlib.pyplot as plt
import numpy as np
import pytest
from pictures import drawn, words
from shown_machines import joined, leaky_bench
from test_plots import BENCH_FIXES, readings

import ductsim as ds
from ductsim.display import canvas as plots
from ductsim.display import style, svg
from ductsim.errors import InputError


@pytest.fixture(scope="module")
def machine():
    return leaky_bench()


def test_a_machine_without_units_has_no_plot_of_them():
    state = joined([("a", "outside", "box"), ("b", "box", "outside")]).solve()
    with pytest.raises(InputError, match="the machine has no units"):
        plots.figure_of(state)


def test_equal_fans_share_a_curve():
    ax = drawn(ds.demo("picker").solve(), "fans").axes[0]
    labels = [t.get_text() for t in ax.get_legend().get_texts()]
    assert len(labels) == 2 and labels[0].startswith("left fan") and labels[1].startswith("right fan")
    assert (
        len({tuple(np.round(line.get_ydata(), 6)) for line in ax.lines if line.get_linestyle() == "-"}) == 1
    )


def test_a_reading_that_does_not_fit_is_named(machine):
    own = readings(machine) + readings(machine)
    own[3] = ds.Reading("right tapping", 0.55 * own[3].value, set="a")
    found = ds.fit(machine, own, draws=60)
    assert found.outliers
    said = words(drawn(found, "readings"))
    assert "right tapping" in said and "not fit the others" in said
    assert any(x.get_marker() == "X" and len(x.get_xdata()) for x in drawn(found, "misfits").axes[0].lines)


def test_titles_are_whole_in_a_callers_own_file(machine):
    with matplotlib.rc_context({"savefig.bbox": None}):
        ax = machine.sensitivity().plot(what="spread")
        ax.figure.canvas.draw()
        wide = ax.figure.bbox.width
        for text in (ax._left_title, ax.xaxis.label):
            box = text.get_window_extent()
            assert box.x0 >= 0.0 and box.x1 <= wide, text.get_text()
        plt.close(ax.figure)


def test_a_flat_sweep_looks_flat(machine):
    found = ds.sweep(machine, "left mouth.loss_coefficient", ["x1.0", "x1.001"])
    ax = drawn(found).axes[0]
    low, high = ax.get_ylim()
    answers = np.ravel(found.answers["weakest vacuum"])
    assert np.ptp(answers) < 0.1 * (high - low)


def test_every_question_of_a_sweep_is_drawn(machine):
    asked = ["weakest vacuum", "duct air left"]
    found = ds.sweep(machine, "left leak.area", [0.0, 0.002, 0.004], of=asked)
    panes = drawn(found).axes[0].child_axes
    assert len(panes) == 2
    for pane, own in zip(panes, found.questions, strict=True):
        line = next(line for line in pane.lines if len(line.get_xdata()) == 3)
        np.testing.assert_allclose(line.get_ydata(), np.ravel(found.answers[own.of]))


def test_a_pass_shows_its_speed():
    found = ds.field_pass(ds.demo("picker"), [0.3, 0.5, 0.4], margin=1.2)
    (stairs,) = drawn(found, "speed").axes[0].patches
    np.testing.assert_allclose(stairs.get_data().values, 3.6 * found.speed)
    assert np.ptp(found.speed) > 0.1


def test_a_picture_for_a_file_loads_no_windows():
    code = (
        "import sys, io, ductsim as ds\n"
        "from ductsim.display import canvas as plots\n"
        "plots.figure_of(ds.demo('bench').solve()).savefig(io.BytesIO())\n"
        "print('matplotlib.pyplot' in sys.modules)"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "False"


@pytest.mark.parametrize(
    "asked",
    [
        lambda machine: ds.compare(machine, BENCH_FIXES, budget=20.0),
        lambda machine: machine.solve(),
        lambda machine: ds.fit(machine, readings(machine), draws=60),
    ],
    ids=["comparison", "state", "fit"],
)
def test_in_a_page_a_picture_is_what_it_is_in_a_file(machine, asked):
    result = asked(machine)
    what = next(iter(result.plots()))
    stream = io.StringIO()
    with style.own():
        plots.figure_of(result, what).savefig(stream, format="svg")
    inside = svg.inline(plots.figure_of(result, what), "here", "a picture")
    boxes, places = (
        [re.findall(pattern, text) for text in (stream.getvalue(), inside)]
        for pattern in (r'viewBox="[^"]*"', r'<path d="([^"]*)"')
    )
    assert boxes[0] == boxes[1] and len(boxes[0]) == 1
    assert places[0] == places[1] and len(places[0]) > 5


@pytest.mark.parametrize(("ending", "magic"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_a_picture_is_saved(machine, tmp_path, ending, magic):
    place = tmp_path / f"picture.{ending}"
    plots.save(machine.solve(), place)
    assert place.read_bytes().startswith(magic)
    assert os.listdir(tmp_path) == [place.name]


def test_pictures_that_cannot_be_saved(machine, tmp_path):
    with pytest.raises(InputError, match="pictures of kind 'gif' are not drawn"):
        plots.save(machine.solve(), tmp_path / "a.gif")
    with pytest.raises(InputError, match="there is no such folder"):
        plots.save(machine.solve(), tmp_path / "no such folder" / "a.png")
    assert os.listdir(tmp_path) == []


def test_the_same_picture_twice_is_the_same(machine):
    texts = []
    for _ in range(2):
        stream = io.StringIO()
        with style.own():
            plots.figure_of(machine.solve()).savefig(stream, format="svg", metadata={"Date": None})
        texts.append(stream.getvalue())
    assert texts[0] == texts[1]
