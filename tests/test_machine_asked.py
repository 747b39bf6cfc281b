"""The vocabulary of questions, what each reads, and derivatives against differences."""

import numpy as np
import pytest

import ductsim as ds
from ductsim.errors import InputError
from ductsim.machine.demos import names
from ductsim.questions.tracing import Over, View, watch
from ductsim.questions.vocabulary import WORDS, question, vocabulary


@pytest.fixture(scope="module")
def machines():
    return {name: ds.demo(name) for name in names()}


@pytest.fixture(scope="module")
def states(machines):
    return {name: machine.solve() for name, machine in machines.items()}


def test_the_words_that_are_promised(states):
    picker = states["picker"]
    assert picker.ask("weakest vacuum") == picker.vacuum["4"]
    assert picker.ask("vacuum 4") == picker.vacuum["4"]
    assert picker.ask("duct air 4") == picker.flow["duct 4"]
    assert picker.ask("opening air 4") == picker.flow["front 4"] + picker.flow["rear 4"]
    assert picker.ask("tapping door 4") == -picker.vacuum["4"]
    assert picker.ask("shaft power left fan") == pytest.approx(picker.power["left fan"], rel=1e-9)
    assert picker.ask("shaft power") == pytest.approx(sum(picker.power.values()), rel=1e-9)
    assert picker.ask("hose 3.flow") == picker.flow["hose 3"]
    assert picker.ask("hose 3.drop") == pytest.approx(picker.drop["hose 3"], rel=1e-9)
    assert picker.ask("jet 1.motive.flow") == picker.flow["jet 1", "motive"]
    assert picker.ask("jet 1.motive.drop") == pytest.approx(picker.drop["jet 1", "motive"], rel=1e-9)
    assert picker.ask("pressure air box") == picker.pressure["air box"]
    assert picker.ask("total vacuum 4") == -picker.pressure["door 4"]
    assert picker.ask("weakest opening air") == min(picker.ask(f"opening air {u}") for u in "12345")
    assert picker.ask("speed left fan") == picker.machine.part("left fan").speed


@pytest.mark.parametrize("name", names())
def test_everything_that_can_be_asked_has_an_answer(machines, states, name):
    for of in vocabulary(machines[name].layout):
        asked = question(machines[name].layout, of)
        answer = states[name].ask(of)
        assert np.isfinite(answer), of
        assert asked.of == of
        assert asked.label
        assert ds.si(1.0, asked.measure) == 1.0
    assert machines[name].ask("shaft power") == states[name].ask("shaft power")


UNKNOWN = [
    ("weakest vacum", "of: unknown question 'weakest vacum'; did you mean 'weakest vacuum'?"),
    ("vacuum 9", "of: unknown question 'vacuum 9'; did you mean 'vacuum 5'?"),
    ("zzzzzzzzz", "of: unknown question 'zzzzzzzzz'; ask for one of 'vacuum 1',"),
    ("jet 1.flow", "of: unknown path 'jet 1.flow'; did you mean 'jet 1.motive.flow'?"),
    (7, "of: unknown question 7; ask for one of"),
]


@pytest.mark.parametrize(("of", "expected"), UNKNOWN)
def test_unknown_questions_name_the_nearest(machines, of, expected):
    with pytest.raises(ds.UnknownName) as caught:
        question(machines["picker"].layout, of)
    assert str(caught.value).startswith(expected)


def test_a_machine_without_units_has_no_weakest():
    opening = {"kind": "opening", "area": 0.1, "loss_coefficient": 1}
    parts = [
        {"name": "in", "from": "outside", "to": "a", **opening},
        {"name": "out", "from": "a", "to": "outside", **opening},
    ]
    machine = ds.Machine.of({"format": 1, "part": parts})
    with pytest.raises(
        ds.InputError, match=r"of: 'weakest vacuum' cannot be asked: the machine has no units"
    ):
        machine.ask("weakest vacuum")
    assert machine.ask("in.flow") == 0.0


def test_a_room_may_add_words(machines):
    try:

        @ds.add_word("door count", lambda layout: [""])
        def _doors(layout, name):
            return ds.Question("door count", "", "doors", lambda machine, flows: float(len(layout.units)))

        assert machines["picker"].ask("door count") == 5.0
        assert "door count" in vocabulary(machines["picker"].layout)
    finally:
        del WORDS["door count"]


# ---- what a question reads


@pytest.mark.parametrize("name", names())
def test_what_a_question_reads_is_all_that_it_needs(machines, states, name):
    """With everything else unknown the answer is the same."""
    machine, state = machines[name], states[name]
    layout = machine.layout
    nan_flow = dict.fromkeys(state.flow, np.nan)
    nan_node = dict.fromkeys(state.pressure, np.nan)
    for of in vocabulary(layout):
        answer, reads = watch(question(layout, of), machine, state)
        assert answer == pytest.approx(state.ask(of), rel=1e-14), of
        outside = {"outside": 0.0}
        view = View(
            machine,
            Over(nan_flow, {key: state.flow[key] for key in reads.paths}),
            Over(nan_node, {n: state.pressure[n] for n in reads.nodes} | outside),
            Over(nan_node, {n: state.temperature[n] for n in (*reads.nodes, "outside")}),
        )
        assert question(layout, of).evaluate(machine, view) == pytest.approx(answer, rel=1e-14), of
        assert set(reads.numbers) <= set(layout.declared)


def test_a_users_word_has_right_derivatives(machines):
    """Nobody has to say what it reads; here the vacuum of every unit."""
    machine = machines["picker"]

    @ds.add_word("mean vacuum", lambda layout: [""])
    def mean_vacuum(layout, name):
        def evaluate(machine, state):
            return sum(state.vacuum.values()) / len(state.vacuum)

        return ds.Question("mean vacuum", "Pa", "mean vacuum of all units", evaluate)

    try:
        addresses = ["belt.engine_speed", "hatch leak 4.area", "door 3.area", "air.temperature"]
        answers, slopes = machine.jacobian(["mean vacuum"], addresses)
        assert answers[0] == pytest.approx(np.mean(list(machine.solve().vacuum.values())), rel=1e-12)
        there = differences(machine, ["mean vacuum"], addresses, 1e-5)
        assert slopes == pytest.approx(there, rel=1e-4)
    finally:
        del WORDS["mean vacuum"]


def test_a_word_that_reads_what_has_no_slopes_is_refused(machines):
    @ds.add_word("odd", lambda layout: [""])
    def odd(layout, name):
        return ds.Question("odd", "Pa", "odd", lambda machine, state: len(state.weakest))

    try:
        with pytest.raises(InputError, match=r"odd.*reads 'weakest' of the state"):
            machines["bench"].jacobian(["odd"], ["air.density"])
    finally:
        del WORDS["odd"]


# ---- derivatives


def differences(machine: ds.Machine, of: list[str], addresses: list[str], share: float) -> np.ndarray:
    """Central differences of full solves, one pair of columns for each address."""
    numbers = dict(machine.numbers)
    distance = []
    for i, address in enumerate(addresses):
        declared, value = machine.layout.declared[address], machine.numbers[address]
        step = share * (abs(value) or 1e-2)
        low, high = max(value - step, declared.low), min(value + step, declared.high)
        column = np.full(2 * len(addresses), value)
        column[2 * i], column[2 * i + 1] = high, low
        numbers[address] = column
        distance.append(high - low)
    state = ds.Machine(machine.layout, numbers).solve()
    answers = np.array([np.broadcast_to(state.ask(words), 2 * len(addresses)) for words in of])
    return (answers[:, 0::2] - answers[:, 1::2]) / np.array(distance)


# A corner of a law lies at these numbers themselves: a difference straddles it, or one side is out of range.
AT_A_CORNER = ("stretch", "kink", "soiling", "mixing_effectiveness", "angle", "blinded", "rise", "bends")
AT_A_CORNER += ("slip_rise",)


# These fans run at a point of their curve, where its second derivative jumps: the point is moved away.
OFF_A_POINT = {"bench": {"fan.flow[2]": 0.9}, "picker": {}, "suction": {"fan.flow[4]": 2.8}}


@pytest.mark.parametrize("name", names())
def test_derivatives_against_differences_of_full_solves(machines, name):
    machine = machines[name].change(OFF_A_POINT[name])
    state = machine.solve()
    first, last = machine.layout.units[0].name, machine.layout.units[-1].name
    tapping = machine.layout.tappings[-1].name
    of = ["weakest vacuum", "shaft power", f"opening air {first}", f"duct air {last}", f"tapping {tapping}"]
    addresses = [a for a in machine.numbers if a.rpartition(".")[2] not in AT_A_CORNER]
    answers, slopes = machine.jacobian(of, addresses, state=state)
    whole, half = (differences(machine, of, addresses, step) for step in (1.6e-3, 8e-4))
    expected = (4.0 * half - whole) / 3.0
    size = np.array([abs(machine.numbers[a]) or 1e-2 for a in addresses])
    for words, answer, mine, theirs in zip(of, answers, slopes, expected, strict=True):
        assert answer == state.ask(words)
        largest = np.abs(theirs * size).max()
        wrong = np.abs(mine - theirs) * size / largest
        assert wrong.max() < 1e-6, (words, addresses[int(wrong.argmax())])


def test_an_altogether_linear_answer(machines):
    _, slopes = machines["picker"].jacobian(
        ["speed left fan"], ["belt.engine_speed", "belt.slip", "hose 1.length"]
    )
    engine = machines["picker"].numbers["belt.engine_speed"]
    np.testing.assert_allclose(slopes, [[420 / 239 * 0.98, -engine * 420 / 239, 0.0]], rtol=1e-8)


def test_jacobian_takes_patterns_and_refuses_columns(machines):
    machine = machines["picker"]
    answers, slopes = machine.jacobian(["vacuum 4", "vacuum 5"], ["hose *.length", "belt.slip"])
    assert answers.shape == (2,)
    assert slopes.shape == (2, 6)
    with pytest.raises(
        ds.InputError, match=r"derivatives are taken at a single machine; one of its scenarios"
    ):
        machine.change({"belt.slip": [0.0, 0.1]}).jacobian(["vacuum 4"], ["belt.slip"])


def test_a_sealed_leak_does_not_answer(machines):
    machine = machines["picker"].change({"hatch leak 4.area": 0.0})
    _, slopes = machine.jacobian(["vacuum 4"], ["hatch leak 4.area"])
    assert slopes[0, 0] == 0.0


def test_sensitivity_is_a_table_with_the_largest_effect_first(machines):
    result = machines["picker"].sensitivity(of="weakest vacuum")
    rows = result.rows()
    assert len(rows) == len(machines["picker"].numbers)
    effects = [row["effect_of_spread_Pa"] for row in rows]
    assert effects == sorted(effects, reverse=True)
    by_address = {row["address"]: row for row in rows}
    # with the fan laws pressures go with speed squared, nearly so with density that follows pressure
    assert by_address["belt.engine_speed"]["elasticity"] == pytest.approx(2.0, abs=0.15)
    assert by_address["hatch leak 4.area"]["derivative"] < 0
    assert by_address["joint leak 4.coefficient"]["derivative"] > 0
    assert "% per %" in str(result)
    assert repr(result) == f"<Sensitivity: weakest vacuum, {len(rows)} numbers>"
    assert "duct 4.diameter" in result.sentences()[0]
