"""Do nine of ten true machines have answers within the bands that are stated? (See answer_coverage.py.)"""

import numpy as np
import pytest
from answer_coverage import MACHINES, WAYS, asked, coverage, described, drawn, within_doubt
from scipy import stats

import ductsim as ds
from ductsim.description.spreads import drawn_spread, spread_of

TRUTHS = 10_000  # the standard error of a share of 90 % is 0.3 %
SEED = 7


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::ductsim.OutsideRange")
@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize("way", WAYS[:2])
def test_nine_of_ten_answers_lie_within_their_bands(name, way):
    found = coverage(name, way, TRUTHS, TRUTHS, SEED)
    assert list(found) == asked(described(name))
    assert all(0.88 <= share <= 0.92 for share in found.values()), found


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::ductsim.OutsideRange")
@pytest.mark.parametrize("name", MACHINES)
def test_typicals_that_are_off_in_all_units_alike(name):
    # an ensemble draws each unit's by themselves: the band of the least of several units is a little narrow
    found = coverage(name, WAYS[2], TRUTHS, TRUTHS, SEED)
    assert found.pop("weakest vacuum") > 0.865
    assert all(0.88 <= share <= 0.92 for share in found.values()), found


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::ductsim.OutsideRange")
@pytest.mark.parametrize("name", MACHINES)
def test_two_in_three_lie_as_close_as_check_says(name):
    assert 0.65 < within_doubt(name, TRUTHS, SEED) < 0.70


def test_the_truths_have_the_spreads_that_are_stated():
    machine = described("suction")
    numbers = drawn(machine, WAYS[0], 4000, np.random.default_rng(1))
    for address in ("duct 2.diameter", "gap 3.area", "separator.loss_coefficient"):
        values = numbers[address] / machine.numbers[address]
        assert values.mean() == pytest.approx(1.0, abs=0.02)
        assert values.std() == pytest.approx(spread_of(machine, address), rel=0.06)


def test_a_number_at_the_end_of_its_range_scatters_one_way():
    machine = ds.demo("suction")
    assert drawn_spread(machine, "duct 1.diameter") == spread_of(machine, "duct 1.diameter")
    machine = ds.demo("picker").change({"jet *.mixing_effectiveness": 1.0})
    # half of the draws lie at 1: the deviation of the smaller of 1 and a lognormal number, by scipy.stats
    width = np.sqrt(np.log(1.01))
    own = stats.lognorm(width, scale=np.exp(-0.5 * width**2))
    first, second = (own.expect(lambda x, n=n: np.minimum(x, 1.0) ** n) for n in (1, 2))
    expected = np.sqrt(second - first**2)
    assert drawn_spread(machine, "jet 1.mixing_effectiveness") == pytest.approx(expected, rel=0.01)
    found = ds.ensemble(machine, of=["weakest vacuum"], samples=4000)
    values = found.inputs_drawn("jet 1.mixing_effectiveness")["jet 1.mixing_effectiveness"]
    assert drawn_spread(machine, "jet 1.mixing_effectiveness") == pytest.approx(values.std(), rel=0.03)
