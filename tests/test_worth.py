"""What a reading is worth to a decision: against quadrature, against what must hold, and on machines."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats
from synthetic_readings import model_of, plan, read, small_picker

import ductsim as ds
from ductsim.deciding.belief import Belief, described
from ductsim.deciding.choices import Offer, choices
from ductsim.deciding.weighing import Weighing
from ductsim.inference.worth import best_now, worth_of_knowing, worth_of_reading
from ductsim.readings.unknowns import unknowns_of
from ductsim.studies.fit.study import explained
from ductsim.studies.where_to_measure import next_study

COUNT = 20_000
EVEN = np.full(COUNT, 1.0 / COUNT)


def gains_of(x):
    """Nothing, a fix for what is above 1, and one that always gains a little."""
    return np.array([np.zeros_like(x), 3.0 * np.maximum(x - 1.0, 0.0) - 0.4, np.full_like(x, 0.1)])


@pytest.mark.parametrize("noise", [0.3, 1.0, 3.0])
def test_one_reading_is_worth_what_quadrature_says(noise):
    """x is standard normal and read with a normal error: the worth by scipy's quadrature over both."""

    def best(y):
        width = noise / np.hypot(1.0, noise)
        mean = y / (1.0 + noise**2)
        x = mean + width * np.linspace(-8.0, 8.0, 2001)
        density = stats.norm.pdf(x, mean, width)
        means = integrate.trapezoid(gains_of(x) * density, x, axis=1)
        return means.max() * stats.norm.pdf(y, 0.0, np.hypot(1.0, noise))

    reach = 8.0 * np.hypot(1.0, noise)
    ys = np.linspace(-reach, reach, 801)
    after = integrate.simpson([best(y) for y in ys], x=ys)
    density = stats.norm.pdf(np.linspace(-9.0, 9.0, 4001))
    now = integrate.trapezoid(gains_of(np.linspace(-9.0, 9.0, 4001)) * density, dx=18.0 / 4000, axis=1).max()
    rng = np.random.default_rng(3)
    x = rng.standard_normal(COUNT)
    found = worth_of_reading(gains_of(x), x[None] + noise * rng.standard_normal((1, COUNT)), EVEN)
    assert after - now > 0.004
    assert found.value == pytest.approx(after - now, abs=4.0 * found.error + 0.01 * (after - now))
    assert found.error < 0.05 * (after - now) + 0.002


def test_two_readings_are_worth_what_the_exact_rule_says():
    """Gains linear in normal unknowns: the best is the larger of two normal means, whose mean is known.

    E max(0, m) = sd phi(0) for m normal about 0: C. E. Clark, The greatest of a finite set of random
    variables, Operations Research 9 (1961), from memory.
    """
    rng = np.random.default_rng(4)
    x = rng.standard_normal((2, COUNT))
    noise = np.array([0.5, 2.0])
    gains = np.array([np.zeros(COUNT), x[0] - x[1]])
    share = 1.0 / (1.0 + noise**2)  # of each unknown's variance, told by its reading
    sd = np.sqrt(share.sum())
    found = worth_of_reading(gains, x + noise[:, None] * rng.standard_normal((2, COUNT)), EVEN)
    assert found.value == pytest.approx(sd * stats.norm.pdf(0.0), abs=4.0 * found.error)
    one = worth_of_reading(gains, x[:1], EVEN)
    assert one.value == pytest.approx(stats.norm.pdf(0.0), abs=4.0 * one.error)


@given(st.integers(0, 10_000), st.integers(2, 6), st.integers(1, 4))
@settings(max_examples=30, deadline=None)
def test_no_reading_is_worth_more_than_knowing_everything(seed, actions, readings):
    rng = np.random.default_rng(seed)
    count = 150
    weights = rng.dirichlet(np.full(count, 5.0))
    x = rng.standard_normal((readings, count))
    gains = np.tanh(rng.standard_normal((actions, readings)) @ x) + rng.standard_normal((actions, 1))
    found = worth_of_reading(gains, x, weights)
    most = worth_of_knowing(gains, weights)
    assert most >= -1e-12
    assert found.value <= most + 1e-12
    assert found.value > -3.0 * found.error - 0.02
    assert set(found.choice) <= set(range(actions))


def test_a_reading_that_hangs_on_nothing_is_worth_nothing():
    rng = np.random.default_rng(5)
    x, count = rng.standard_normal(400), 400
    even = np.full(count, 1.0 / count)
    gains = gains_of(x)
    for values in (np.ones((1, count)), rng.standard_normal((1, count)), rng.standard_normal((3, count))):
        found = worth_of_reading(gains, values, even)
        assert abs(found.value) <= 2.0 * found.error + 1e-12
    assert worth_of_reading(gains[:, ::-1][:1], x[None], even).value == 0.0  # one action: nothing to decide


def test_what_takes_time_may_cost_more_than_it_tells():
    x = np.random.default_rng(6).standard_normal(400)
    even = np.full(400, 1.0 / 400)
    gains = gains_of(x) + np.array([[0.0], [2.0], [1.0]])
    now = gains[best_now(gains, even)]
    assert worth_of_reading(gains[:1], x[None], even, now).value == pytest.approx(-(now @ even))


def test_worths_do_not_hang_on_the_order_of_draws_or_on_measures():
    rng = np.random.default_rng(7)
    x = rng.standard_normal(300)
    y, weights = x + 0.5 * rng.standard_normal(300), rng.dirichlet(np.full(300, 3.0))
    base = worth_of_reading(gains_of(x), y[None], weights)
    order = rng.permutation(300)
    again = worth_of_reading(gains_of(x)[:, order], 7.0 - 20.0 * y[None, order], weights[order])
    assert again.value == pytest.approx(base.value, rel=1e-6)
    assert again.error == pytest.approx(base.error, rel=1e-6)


# ---- on machines


@pytest.fixture(autouse=True)
def few(monkeypatch):
    """Fewer possible machines, so that it is quick."""
    monkeypatch.setattr(next_study, "SAMPLES", 80)


@pytest.fixture(scope="module")
def machine():
    return small_picker(cuffs=False)


@pytest.fixture(scope="module")
def weighing(machine):
    offer = Offer.on(*described(machine), None, "weakest vacuum")
    found, belief = choices(Belief.of(machine, 120, 0), offer)
    return Weighing(belief, found, None)


@pytest.mark.filterwarnings("ignore::ductsim.OutsideRange")
def test_what_can_be_done_is_solved_on_every_possible_machine(machine, weighing):
    """The table against each possible machine changed and solved by itself."""
    found = weighing.choices
    assert found.fixes[0] == ()
    assert np.all(found.gains[0] == 0.0)
    many = weighing.belief.machine
    place = found.fixes.index(("seal hatch leak 2",))
    for i in (0, 17, 60):
        one = many[i]
        before = one.solve().ask("weakest vacuum")
        after = one.change({"hatch leak 2.area": 0.0}).solve().ask("weakest vacuum")
        assert found.answer[i] == pytest.approx(before, rel=1e-6)
        assert found.gains[place, i] == pytest.approx(after - before, rel=1e-5, abs=1e-4)


def test_what_the_instruments_show_is_the_machine_and_its_errors(machine, weighing):
    """Without errors it is what each possible machine makes; with them it scatters as the errors say."""
    exact = ds.ReadingErrors(zero=0.0, scale=0.0, tachometer=0.0, facing=0.0)
    still = replace(weighing.belief, errors=exact)
    singles = [r for r in weighing.singles if not r.blanked][:4]
    shown, mean = still.shown(singles, 0)
    state = weighing.belief.machine[5].solve()
    for r, row in zip(singles, shown, strict=True):
        assert row[5] == pytest.approx(state.ask(f"tapping {r.tapping}"), rel=1e-6)
    assert mean == pytest.approx(shown @ weighing.belief.weights)
    noisy = weighing.belief.shown(singles, 0)[0]
    off = (noisy - shown) / np.hypot(2.0, 0.0224 * np.abs(shown))  # zero; scale 1 %, tachometer 2 x 1 %
    assert np.sqrt(np.mean(off**2)) == pytest.approx(1.0, abs=0.25)


def test_the_reading_that_decides_is_found(machine):
    """All doors tell which hatch leaks; the box's own pressure does not."""
    found = ds.where_to_measure(machine)
    best = found.best
    assert best is not None
    assert {"door 1", "door 2"} <= {name for r in best.readings for name in (r.tapping, r.minus)}
    assert 0.0 < best.worth <= found.worth_of_knowing
    boxes = [o for o in found.options if o.where == "air box" and not o.readings[0].blanked]
    assert all(o.worth < 0.5 * best.worth for o in boxes)
    words = found.sentences()
    assert words[0].startswith("Read door 1")
    assert "more of the vacuum of the weakest unit than deciding now" in words[0]
    assert found.cautions[-1].startswith("Follow the machine maker's limits")


@pytest.fixture(scope="module")
def told(machine):
    """A fit to all readings of a machine whose second hatch stands open."""
    points = plan(machine)
    model = model_of(machine, points)
    truth = np.zeros(model.size)
    truth[model.names.index("hatch leak 2.area")] = 2.5
    readings = read(model, truth, np.random.default_rng(1))
    return explained(machine, ds.Readings(readings), unknowns_of(machine), draws=80)


def test_enough_is_said_and_the_fix_named_where_no_reading_pays(told):
    fixes = [
        ds.Fix("seal hatch 1", {"hatch leak 1.area": 0.0}, minutes=20),
        ds.Fix("seal hatch 2", {"hatch leak 2.area": 0.0}, minutes=25),
    ]
    found = ds.where_to_measure(told, fixes=fixes)
    assert found.enough
    assert found.best is None
    assert found.sentences()[0] == "Enough: do seal hatch 2."
    assert found.work[0].fixes == ("seal hatch 2",)
    assert found.work[0].chance == pytest.approx(1.0, abs=0.02)
    assert found.worth_of_knowing <= found.noticed
    with pytest.raises(ds.InputError, match="there is no reading to take"):
        found.write_sheet("sheet.csv")


def test_time_bounds_what_is_read_and_done(told):
    fixes = [
        ds.Fix("seal hatch 1", {"hatch leak 1.area": 0.0}, minutes=20),
        ds.Fix("seal hatch 2", {"hatch leak 2.area": 0.0}, minutes=25),
        ds.Fix("a day's work", {"joint leak 1.coefficient": 0.0}, minutes="8 h"),
    ]
    found = ds.where_to_measure(told, fixes=fixes, minutes="46 min")
    assert all(o.minutes <= 46.0 for o in found.options)
    assert {w.fixes for w in found.work} <= {
        (),
        ("seal hatch 1",),
        ("seal hatch 2",),
        ("seal hatch 2", "seal hatch 1"),
    }
    assert found.work[0].fixes == ("seal hatch 2", "seal hatch 1")
    tight = [o for o in found.options if o.minutes > 1.0]
    assert any(o.worth < 0.0 for o in tight)  # the second fix would have no time left


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"fixes": [ds.Fix("none", {"no part.area": 0.0})]}, "no part"),
        ({"answer": "weakest vacum"}, "weakest vacuum"),
        ({"minutes": "-3 min"}, "working time"),
        ({"fixes": [ds.Fix(f"fix {i}", {}) for i in range(41)]}, "40"),
    ],
)
def test_what_is_wrong_has_its_sentence(told, given, words):
    with pytest.raises(ds.InputError, match=words):
        ds.where_to_measure(told, **given)


def test_something_that_is_no_machine_has_its_sentence():
    with pytest.raises(ds.InputError, match="is not a machine"):
        ds.where_to_measure(3)


def test_a_machine_without_anything_to_mend_has_its_sentence():
    with pytest.raises(ds.InputError, match="nothing that a fix would mend"):
        ds.where_to_measure(ds.demo("bench"))
