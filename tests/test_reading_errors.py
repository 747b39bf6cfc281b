"""The errors that readings of one set have in common: counted once, and as the fit's model has them."""

from dataclasses import replace

import numpy as np
import pytest
from synthetic_readings import SPEED, model_of, small_picker

import ductsim as ds
from ductsim.deciding.sheet import sheet_text
from ductsim.readings.errors import ReadingErrors

COMMON = ("zero of", "scale of", "tachometer of", "engine speed under")


@pytest.fixture(scope="module")
def machine():
    return small_picker()


def by_model(machine, reading):
    """Standard deviation of a reading by what is common to its set, from the fit's model; and the reading."""
    model = model_of(machine, [reading])
    shown, slopes = model.jacobian(np.zeros(model.size))
    common = [i for i, name in enumerate(model.names) if name.startswith(COMMON)]
    return float(np.linalg.norm(slopes[0, common])), float(shown[0])


KINDS = {
    "pressure": ds.Reading("door 1", 0.0, engine_speed=SPEED, set="A"),
    "difference": ds.Reading("door 1", 0.0, minus="air box", engine_speed=SPEED, set="A"),
    "speed unread": ds.Reading("door 1", 0.0, set="A"),
    "fan": ds.Reading("left fan", 0.0, quantity="speed", engine_speed=SPEED, set="A"),
    "fan, speed unread": ds.Reading("left fan", 0.0, quantity="speed", set="A"),
    "power": ds.Reading("left fan", 0.0, quantity="shaft power", engine_speed=SPEED, set="A"),
}


@pytest.mark.parametrize("kind", KINDS)
def test_what_a_set_has_in_common_is_what_the_model_makes_of_it(machine, kind):
    """Fan laws by the errors, the solved machine by the model: alike but for what goes with another power."""
    reading, errors = KINDS[kind], ReadingErrors()
    common, value = by_model(machine, reading)
    reading = replace(reading, value=value)
    whole, own = errors.whole(reading, value, reading.engine_speed is None), errors.of(reading, value)
    assert np.sqrt(whole**2 - own**2) == pytest.approx(common, rel=0.05, abs=1e-6 * abs(value))


@pytest.mark.parametrize("kind", KINDS)
def test_draws_of_what_is_shown_spread_by_the_same(kind):
    reading, errors = KINDS[kind], ReadingErrors(facing=0.0, unread_speed=0.02)
    true = np.full((1, 40_000), -300.0 if reading.measure == "Pa" else 200.0)
    faced = np.zeros((int(reading.quantity == "static"), true.shape[1]))
    shown = errors.shown([reading], true, faced, seed=1)
    own = errors.of(reading, true[0, 0])
    whole = errors.whole(reading, true[0, 0], reading.engine_speed is None)
    assert shown.std() == pytest.approx(np.sqrt(whole**2 - own**2), rel=0.02, abs=1e-9)


@pytest.mark.parametrize(
    ("lines", "line"),
    [
        (['door 1,-261 Pa,"6 in tap', "door 2,-403 Pa,", 'door 3,-391 Pa,"8 in tap'], 2),
        (["door 1,-261 Pa,", 'door 2,-403 Pa,"shaky', "door 3,-391 Pa,"], 3),
    ],
)
def test_a_stray_quote_swallows_no_reading(tmp_path, lines, line):
    """What stands between two of them would be one cell, and so would the rest of the file."""
    file = tmp_path / "readings.csv"
    file.write_text("\n".join(["tapping,value,note", *lines]), encoding="utf-8")
    with pytest.raises(ds.InputError, match=rf'line {line}: a quote \("\) is opened and not closed'):
        ds.read_readings(file)


def test_quotes_in_remarks_and_within_a_cell_are_text(tmp_path):
    file = tmp_path / "readings.csv"
    lines = [
        "tapping,value,note",
        '# hose 6" long, "B',
        'door 1,-261 Pa,"calm, no wind"',
        'door 2,-403 Pa,6" tap',
    ]
    file.write_text("\n".join(lines), encoding="utf-8")
    found = list(ds.read_readings(file))
    assert [reading.note for reading in found] == ["calm, no wind", '6" tap']


def test_a_note_of_several_lines_comes_back_from_a_logbook_on_one(tmp_path):
    own = [ds.Reading("door 1", -261.0, note="calm\nno wind", engine_speed=220.0)]
    text = sheet_text([], own)
    file = tmp_path / "sheet.csv"
    file.write_text(text, encoding="utf-8")
    assert [reading.note for reading in ds.read_readings(file)] == ["calm no wind"]
