"""Derivatives by the adjoint against differences of full solves: all demos, all numbers, many questions."""

import numpy as np
import pytest

import ductsim as ds
from ductsim.answers import gradients
from ductsim.answers.gradients import jacobians
from ductsim.network import sensitivity
from ductsim.network.equations import Equations

QUESTIONS = {
    "bench": ["vacuum left", "duct air right", "opening air left", "shaft power fan", "left duct.flow"],
    "suction": [
        "vacuum 6",
        "duct air 1",
        "opening air 6",
        "tapping header end",
        "shaft power fan",
        "header 2.flow",
    ],
    "picker": [
        "vacuum 4",
        "weakest vacuum",
        "duct air 2",
        "opening air 5",
        "tapping air box",
        "tapping jet box 3",
        "shaft power left fan",
        "hose 1.flow",
    ],
}
# the demos as they are; the bench's fan works within 1e-4 of a point of its curve, so once more off it
CASES = {
    "bench": ("bench", {}, 0.25),
    "bench, throttled": ("bench", {"left duct.loss_coefficient": 6.0}, 0.05),
    "suction": ("suction", {}, 0.05),
    "picker": ("picker", {}, 0.05),
}
STEP = 4e-3  # solves end at 1e-10, so smaller steps would show their rounding
STENCIL = np.array([-2.0, -1.0, 1.0, 2.0])
WEIGHTS = np.array([1.0, -8.0, 8.0, -1.0]) / 12.0


def differences(machine, questions, addresses, sizes):
    """Five-point central differences, (questions, addresses), from one solve with four columns a number."""
    numbers = dict(machine.numbers)
    for i, address in enumerate(addresses):
        column = np.full(4 * len(addresses), machine.numbers[address])
        column[4 * i : 4 * i + 4] += STENCIL * sizes[i]
        numbers[address] = column
    # unchecked, so that a number at the edge of its range can be moved both ways
    state = type(machine)(machine.layout, numbers).solve()
    answers = [np.broadcast_to(state.ask(q), 4 * len(addresses)) for q in questions]
    return np.array([a.reshape(-1, 4) @ WEIGHTS / sizes for a in answers])


@pytest.mark.parametrize("case", CASES)
def test_every_number_of_every_demo(case, capsys):
    name, change, most_left_out = CASES[case]
    machine, questions = ds.demo(name).change(change), QUESTIONS[name]
    # a rise of slip of 0 is the end of its range: its one-sided slope is tested with the belts
    addresses = [a for a in machine.layout.declared if not a.endswith(".slip_rise")]
    answers, slopes = machine.jacobian(questions, addresses)
    state = machine.solve()
    for question, answer in zip(questions, answers):
        assert answer == pytest.approx(state.ask(question), rel=1e-12)
    values = np.array([machine.numbers[a] for a in addresses])
    # what is zero is moved by a typical size of such a number
    scale = np.where(values == 0.0, 0.2, np.abs(values))
    coarse, fine = (differences(machine, questions, addresses, STEP * share * scale) for share in (1.0, 0.25))
    size = np.abs(answers)[:, None]
    elasticity = np.abs(slopes) * scale / size
    allowed = 1e-6 * elasticity.max(axis=1, keepdims=True)
    # where differences with two steps disagree there is a switch within them (a point of a fan's curve, of
    # a table): they are no reference there
    smooth = np.abs(coarse - fine) * scale / size <= allowed
    miss = np.abs(slopes - fine) * scale / size
    wrong = [
        (q, addresses[j], slopes[i, j], fine[i, j])
        for i, q in enumerate(questions)
        for j in np.flatnonzero(smooth[i] & (miss[i] > 2.0 * allowed[i]))
    ]
    assert not wrong, wrong[:10]
    left_out = [addresses[j] for j in np.flatnonzero(~smooth.all(axis=0))]
    worst = (miss / elasticity.max(axis=1, keepdims=True))[smooth].max()
    with capsys.disabled():
        print(f"\n{case}: {len(addresses)} numbers, {len(questions)} questions, worst {worst:.1e}", end="")
        print(f", at a switch {left_out}", end="")
    assert len(left_out) <= most_left_out * len(addresses)


def test_what_plays_no_part_has_no_derivative():
    machine = ds.demo("picker")
    _, slopes = machine.jacobian(["vacuum 4"], ["left fan.highest_speed", "belt.available_power"])
    np.testing.assert_array_equal(slopes, 0.0)


def test_a_closed_path_answers_with_zero():
    machine = ds.demo("picker").change({"hatch leak 4.area": 0.0})
    _, slopes = machine.jacobian(["vacuum 4"], ["hatch leak 4.area", "hatch leak 3.area"])
    assert slopes[0, 0] == 0.0
    assert slopes[0, 1] != 0.0


def test_signs_that_anyone_expects():
    machine = ds.demo("picker")
    addresses = [
        "belt.engine_speed",
        "hatch leak 4.area",
        "hose 4.length",
        "jet 4.nozzle_loss",
        "front 4.area",
    ]
    _, slopes = machine.jacobian(["vacuum 4"], addresses)
    assert slopes[0, 0] > 0.0
    assert np.all(slopes[0, 1:] < 0.0)


def test_derivatives_need_a_single_machine():
    machine = ds.demo("bench").change({"fan.speed": np.array([150.0, 160.0])})
    with pytest.raises(ds.InputError, match="single machine"):
        machine.jacobian(["vacuum left"], ["fan.speed"])


def test_patterns_are_expanded_in_order():
    machine = ds.demo("picker")
    _, many = machine.jacobian(["vacuum 4"], ["hose *.length"])
    ones = [machine.jacobian(["vacuum 4"], [f"hose {i}.length"])[1][0, 0] for i in range(1, 6)]
    np.testing.assert_allclose(many[0], ones, rtol=1e-10)


def test_the_table_of_sensitivities():
    found = ds.demo("bench").sensitivity(of="vacuum left")
    rows = {row["address"]: row for row in found.rows()}
    assert set(rows) == set(ds.demo("bench").layout.declared)
    speed = rows["fan.speed"]
    # the fan laws: nearly square of the speed, the ducts being nearly square-law
    assert speed["elasticity"] == pytest.approx(2.0, abs=0.05)
    assert speed["elasticity"] == pytest.approx(
        speed["derivative"] * speed["value"] / found.answer, rel=1e-12
    )
    effects = [row["effect_of_spread_Pa"] for row in found.rows()]
    assert effects == sorted(effects, reverse=True)


SMALL = {
    "format": 1,
    "title": "A blower of the size of a thimble that draws hot air (invented)",
    "air": {"temperature": "20 degC", "pressure": "1000 hPa"},
    "part": [
        {
            "name": "fan",
            "kind": "fan",
            "from": "head",
            "to": "chest",
            "speed": "9000 rpm",
            "curve_speed": "9000 rpm",
            "flow": [0.0, 0.004, 0.008, 0.012],
            "total_pressure": [2000.0, 2050.0, 1500.0, 500.0],
            "inlet_temperature": "70 degC",
            "efficiency": 0.3,
        },
        {
            "name": "pipe",
            "kind": "duct",
            "from": "chest",
            "to": "outside",
            "diameter": "30 mm",
            "length": "4 m",
            "rise": "3 m",
        },
        {
            "name": "seam",
            "kind": "opening",
            "from": "chest",
            "to": "outside",
            "area": 2e-5,
            "loss_coefficient": 2.0,
        },
        {
            "name": "mouth",
            "kind": "opening",
            "from": "outside",
            "to": "head",
            "area": 2e-4,
            "loss_coefficient": 1.5,
        },
    ],
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_small_and_large_networks_have_the_same_derivatives(name, monkeypatch):
    machine = ds.demo(name)
    dense = machine.jacobian(QUESTIONS[name], "*.*")[1]
    monkeypatch.setattr(sensitivity, "LARGEST_DENSE", 0)
    sparse = machine.jacobian(QUESTIONS[name], "*.*")[1]
    size = np.abs(sparse).max(axis=1, keepdims=True)
    assert (np.abs(dense - sparse) < 1e-11 * size).all()
    assert (np.abs(sparse) > 0.0).any(axis=1).all()


def test_all_slopes_take_four_evaluations_of_the_laws(monkeypatch):
    machine = ds.demo("picker")
    state, counted = machine.solve(), [0]
    plain = Equations.evaluate

    def evaluate(self, *args, **words):
        counted[0] += 1
        return plain(self, *args, **words)

    monkeypatch.setattr(Equations, "evaluate", evaluate)
    machine.jacobian(QUESTIONS["picker"], "*.*", state)
    assert counted[0] == 4  # at the point, for its own slopes, and for those in fields and in shared numbers


def test_only_fields_that_are_asked_for_are_nudged(monkeypatch):
    machine, wide = ds.demo("picker"), []
    every = machine.jacobian(QUESTIONS["picker"], "*.*")[1]
    plain = Equations.evaluate

    def evaluate(self, flow, *args, **words):
        wide.append(flow.shape[1])
        return plain(self, flow, *args, **words)

    monkeypatch.setattr(Equations, "evaluate", evaluate)
    for address, widths in (("hose 1.length", [1, 8, 2]), ("belt.slip", [1, 8, 2]), ("*.roughness", None)):
        state, chosen = machine.solve(), machine.layout.expand(address)
        wide.clear()
        some = machine.jacobian(QUESTIONS["picker"], address, state)[1]
        assert wide == widths or widths is None
        np.testing.assert_allclose(some, every[:, [list(machine.layout.declared).index(a) for a in chosen]])


def test_small_hot_flows_have_derivatives_like_large_cool_ones():
    """A few grams a second, warmed by the fan and by a hot inlet, against differences of full solves."""
    machine = ds.Machine.of(SMALL)
    addresses = [a for a in machine.layout.declared if not a.endswith(("highest_speed", "curve_density"))]
    questions = ["pipe.flow", "seam.flow", "mouth.flow"]
    answers, slopes = machine.jacobian(questions, addresses)
    assert np.all(np.abs(answers) < 0.04)
    values = np.array([machine.numbers[a] for a in addresses])
    scale = np.where(values == 0.0, 0.2, np.abs(values))
    coarse, fine = (differences(machine, questions, addresses, STEP * s * scale) for s in (1.0, 0.25))
    size = np.abs(answers)[:, None] / scale
    allowed = 2e-6 * np.abs(slopes / size).max()
    smooth = np.abs(coarse - fine) / size < allowed
    assert smooth.mean() > 0.7
    assert np.all((np.abs(slopes - fine) / size)[smooth] < 2.0 * allowed)


@pytest.mark.parametrize("name", QUESTIONS)
def test_scenarios_together_have_the_derivatives_of_each_alone(name, monkeypatch):
    """Some with leaks taped shut; one by one where there are many, and where belts slip."""
    machine = ds.demo(name)
    leaks = [a for a in machine.numbers if "leak" in a and a.endswith((".area", ".coefficient"))]
    fan = next(a for a in machine.numbers if a.endswith(("engine_speed", "fan.speed")))
    air = next(a for a in machine.numbers if a in ("air.temperature", "air.density"))
    many = machine.change(
        {
            **{a: ds.times([1.0, 0.0, 2.0, 0.0, 1.0]) for a in leaks},
            fan: ds.times([1.0, 1.0, 0.9, 1.1, 0.2]),
            air: ds.times([1.0, 1.03, 0.97, 1.0, 1.0]),
        }
    )
    addresses = list(machine.numbers)

    def compared(many):
        state = many.solve()
        answers, slopes = jacobians(many, QUESTIONS[name], addresses, state)
        for i in range(5):
            alone, own = many[i].jacobian(QUESTIONS[name], addresses, state[i])
            np.testing.assert_allclose(answers[i], alone, rtol=1e-12)
            # differences of laws over 1e-5 of a number, whose last digits hang on how many are evaluated
            np.testing.assert_allclose(slopes[i], own, rtol=1e-8, atol=1e-12 * np.abs(own).max())

    compared(many)
    monkeypatch.setattr(gradients, "MOST_AT_ONCE", 0)
    compared(many)
    if name == "picker":
        monkeypatch.undo()
        compared(many.change({"belt.slip_rise": 0.02}))


def test_a_list_of_questions_is_answered_one_by_one():
    machine = ds.demo("bench")
    of = ["weakest vacuum", "shaft power fan"]
    several = machine.sensitivity(of)
    assert [own.of for own in several] == of
    for own in several:
        alone = machine.sensitivity(own.of)
        assert own.answer == alone.answer
        np.testing.assert_allclose(own.derivatives, alone.derivatives, rtol=1e-12)
    with pytest.raises(ds.InputError, match="an empty list"):
        machine.sensitivity([])
