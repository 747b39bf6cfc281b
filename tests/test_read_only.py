"""What an answer holds cannot be written to; an odd index picks nothing; taken words are refused."""

import numpy as np
import pytest

import ductsim as ds
from ductsim.questions.vocabulary import WORDS, Question

NUMBER = "hatch leak 4.area"


@pytest.fixture(scope="module")
def wide():
    return ds.demo("picker").change({NUMBER: [0.0, 0.01, 0.02]})


@pytest.fixture(scope="module")
def solved(wide):
    return wide.solve()


@pytest.mark.parametrize(
    "answer",
    [
        lambda state: state.flow["hose 1"],
        lambda state: state.flow["jet 1", "motive"],
        lambda state: state.pressure["outside"],
        lambda state: state.drop["hose 1"],
        lambda state: state.density["hose 1"],
        lambda state: state.slope["hose 1"],
        lambda state: state.temperature["outside"],
        lambda state: state.power["left fan"],
        lambda state: state.vacuum["4"],
        lambda state: state.steps,
        lambda state: state.imbalance,
        lambda state: state.outcomes,
        lambda state: state.machine.numbers[NUMBER],
    ],
)
def test_answers_are_read_only(solved, answer):
    before = np.array(answer(solved))
    with pytest.raises(ValueError, match="read-only"):
        answer(solved)[0] = 7
    np.testing.assert_array_equal(answer(solved), before)


def test_results_of_studies_are_read_only(wide):
    swept = ds.sweep(wide[0], NUMBER, [0.0, 0.01])
    drawn = ds.ensemble(wide[0], [ds.Spread("belt.engine_speed", sd=0.01)], samples=4)
    for array in (
        swept.answers["weakest vacuum"],
        swept.values,
        swept.power,
        swept.vacuum["4"],
        drawn.answers,
    ):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 7.0


def test_what_was_given_stays_the_users_own():
    column = np.array([0.0, 0.01, 0.02])
    machine = ds.demo("picker").change({NUMBER: column})
    column[:] = 5.0
    assert machine.numbers[NUMBER].tolist() == [0.0, 0.01, 0.02]
    with pytest.raises(TypeError):
        machine.numbers[NUMBER] = 1.0


@pytest.mark.parametrize("index", [slice(1, 3), "a", 1.5, True, None, np.array([1]), (1,), 1j])
def test_an_odd_index_is_refused(wide, solved, index):
    for obj in (wide, solved):
        with pytest.raises(ds.InputError, match="no number of a scenario; one scenario, -3 to 2"):
            obj[index]


def test_scenarios_that_are_not_there(wide, solved):
    for obj in (wide, solved):
        for index in (3, -4, 10**400):
            with pytest.raises(IndexError, match="there is no scenario") as err:
                obj[index]
            assert isinstance(err.value, ds.InputError)
        assert len(list(obj)) == 3
    with pytest.raises(IndexError, match="there is no scenario 1; 0, the only scenario there is"):
        solved[0][1]
    assert solved[np.int64(-1)].vacuum["4"] == solved.vacuum["4"][2]


@pytest.mark.parametrize("name", [None, 3, ["hose 1"], {"a": 1}, ("hose 1", "x"), np.ones(2), "hose 99"])
def test_unknown_names_have_a_sentence(wide, solved, name):
    for names in (solved.flow, solved.pressure, solved.vacuum, wide.numbers):
        with pytest.raises(ds.UnknownName, match="unknown"):
            names[name]


def test_a_taken_word_is_refused():
    before = dict(WORDS)

    def make(layout, name):
        return Question("odd word", "", "odd", lambda machine, flows: 1.0)

    try:
        with pytest.raises(ds.InputError, match="the words 'vacuum' are taken"):
            ds.add_word("vacuum", lambda layout: [""])(make)
        for _ in range(2):  # a cell that runs again
            ds.add_word("odd word", lambda layout: [""])(make)
        assert ds.demo("bench").ask("odd word") == 1.0
        for odd in (None, "", " a", "a\nb", 3, ["a"]):
            with pytest.raises(ds.InputError, match="no word to ask by"):
                ds.add_word(odd, lambda layout: [""])
        with pytest.raises(ds.InputError, match="no function"):
            ds.add_word("another", 3)
    finally:
        WORDS.clear()
        WORDS.update(before)
