"""The look of the pictures: names that do no harm, numbers, colours told apart by everybody and in grey."""

import itertools

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from shown_machines import FORMULA, harmful, renamed

from ductsim.display import canvas as plots
from ductsim.display import style


def drawn(result, what=""):
    figure = plots.figure_of(result, what)
    with style.own():
        figure.canvas.draw()
    return figure


# ---- names


def test_names_do_no_harm():
    machine = harmful()
    for what in ("units", "fans", "drawing"):
        drawn(machine.solve(), what)
    drawn(machine.sensitivity())


def test_no_formula_is_read_into_a_name():
    figure = drawn(renamed({"left": FORMULA}).solve())
    label = figure.axes[0].child_axes[0].get_yticklabels()[0]
    assert r"\$x_1\$" in label.get_text()
    assert label._preprocess_math(label.get_text())[1] is False


def test_cut_and_wrapped():
    assert style.cut("a  b\tc") == "a b c"
    assert style.cut("x" * 50, 20) == "x" * 13 + "…" + "x" * 6
    assert style.cut("a\x00b") == r"a\x00b"
    assert style.wrapped("separator door leak", 17) == "separator door\nleak"
    assert all(len(line) <= 12 for line in style.wrapped("word " * 40, 12).split("\n"))
    assert style.wrapped("word " * 40, 12).count("\n") == 1


def test_numbers_in_pictures():
    minus = "\N{MINUS SIGN}"
    assert [style.number(v) for v in (0.0, 1234.5, -0.01234, 3.0)] == ["0", "1,234", f"{minus}0.0123", "3.00"]
    assert style.number(float("nan")) == "no answer"
    assert style.number(1.2e-9) == f"1.20e{minus}09"
    assert style.number(0.00612, 3, 1.99) == "0.006"
    assert style.signed(2.0) == "+2.00" and style.signed(-2.0) == f"{minus}2.00" and style.signed(0.0) == "0"
    assert style.shown(250.0, "Pa") == "250 Pa" and style.shown(249.08891, "Pa", "inch") == "1.00 inH2O"


# ---- colours


def lightness(colour):
    """Relative luminance as the Web Content Accessibility Guidelines 2.1 define it (from memory)."""
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return float(np.dot((0.2126, 0.7152, 0.0722), linear))


def contrast(a, b):
    """Contrast ratio of two colours by the same guidelines."""
    low, high = sorted((lightness(a), lightness(b)))
    return (high + 0.05) / (low + 0.05)


def test_colours_are_told_apart_in_grey():
    """What stands side by side differs in lightness; letters have the guidelines' contrast of 7 to 1."""
    for a, b in itertools.combinations((style.DEEP, style.MARK, style.TEAL, style.SAND, style.MIST), 2):
        assert contrast(a, b) > 1.25, (a, b)
    assert contrast(style.DEEP, style.MARK) > 2.0
    assert contrast(style.INK, style.PAPER) > 7.0
    assert contrast(style.INK, "#fbeee6") > 7.0
    assert len(set(style.MARKERS)) == len(style.MARKERS) >= len(style.SERIES)
    assert len(style.LINES) >= len(style.SERIES)


# What is seen without one kind of cones: Machado et al. (2009), IEEE Transactions on Visualization and
# Computer Graphics 15(6), severity 1; matrices from memory.
BLIND = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


@pytest.mark.parametrize("kind", BLIND)
def test_colours_are_told_apart_by_a_colour_blind_reader(kind):
    seen = {}
    for colour in style.SERIES:
        linear = np.array(
            [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
        )
        seen[colour] = np.cbrt(np.clip(np.array(BLIND[kind]) @ linear, 0.0, 1.0))
    for a, b in itertools.combinations(style.SERIES[:5], 2):
        assert np.linalg.norm(seen[a] - seen[b]) > 0.08, (a, b)
