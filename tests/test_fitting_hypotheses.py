"""Hypotheses about a number whose slope far out is quite another than where the Jacobian was taken."""

import numpy as np
from scipy import integrate, stats
from synthetic_readings import SPEED, plan, read, small_picker

import ductsim as ds
from ductsim.inference.hypotheses import weigh
from ductsim.inference.problem import Problem
from ductsim.readings.model import ReadingModel
from ductsim.readings.unknowns import default_scale, nuisances, unknowns_of
from ductsim.studies.fit.suspecting import suspects_of

SD = np.array([2.0, 2.0, 2.0])
WAYS = np.array([[6.0, -4.0], [5.0, 3.0], [1.0, 7.0]])  # of what is usual, and of the other fault
LOST = np.array([9.0, 8.0, 6.0])
AT, SLOPE = 0.0, 0.01  # where the Jacobian is taken there is next to nothing to see of the first number


def predict(x):
    """A screen's loss rises ever faster the more of it is blinded."""
    return -LOST[:, None] * SLOPE * np.expm1(2.5 * x[0]) / 2.5 + WAYS @ x[1:]


def evidence(measured, mean, sd):
    """By quadrature over the first number; given that, readings are normal."""
    grid = mean[0] + sd[0] * np.linspace(-7.0, 7.0, 4001)
    known = np.diag(SD**2) + WAYS @ np.diag(sd[1:] ** 2) @ WAYS.T
    at = predict(np.array([grid, np.full(4001, mean[1]), np.full(4001, mean[2])]))
    density = stats.multivariate_normal(np.zeros(3), known).pdf((measured[:, None] - at).T)
    return float(np.log(integrate.trapezoid(density * stats.norm(mean[0], sd[0]).pdf(grid), grid)))


def test_a_fault_whose_slope_is_faint_at_the_base_is_found_and_has_its_evidence():
    measured = predict(np.array([[2.6], [0.4], [0.1]]))[:, 0] + np.array([1.0, -1.5, 0.5])
    ones = np.ones(3)
    problem = Problem(predict, lambda x: (x, x), measured, SD, 0.0 * ones, ones)
    slopes = np.column_stack([-SLOPE * LOST, WAYS]) / SD[:, None]
    beliefs = [
        ((-1.5, 0.0, 0.0), (0.3, 1.0, 0.2)),  # neither
        ((1.5, 0.0, 0.0), (1.0, 1.0, 0.2)),  # the first
        ((-1.5, 0.0, 1.5), (0.3, 1.0, 1.0)),  # the other
    ]
    means, sds = (np.array([b[k] for b in beliefs]).T for k in (0, 1))
    weighed = weigh(problem, slopes, AT * ones, means, sds, own=[(), (0,), (2,)])
    exact = np.array([evidence(measured, *(np.array(v) for v in belief)) for belief in beliefs])
    told, true = (v - v[1] for v in (weighed.log_evidence, exact))
    assert abs(weighed.x[0, 1] - 2.6) < 0.3
    assert true[0] < -5.0
    assert true[2] < -5.0
    np.testing.assert_allclose(told, true, atol=0.3)


def test_a_soiled_fan_ranks_first_among_the_suspects():
    """All leaks as described, three tenths of the fan lost to dirt on its blades, the rest off as usual."""
    machine = small_picker()
    names = [u.address for u in suspects_of(machine, unknowns_of(machine))]
    scales = {name: default_scale(machine, name) for name in nuisances(machine, names)}
    power = ds.Reading("left fan", 0.0, quantity="shaft power", engine_speed=SPEED, set="A")
    model = ReadingModel(machine.change({"left fan.soiling": 0.3}), [*plan(machine), power], scales)
    rng = np.random.default_rng(1)
    found = ds.fit(
        machine, read(model, 0.7 * rng.standard_normal(model.size), rng), suspects="leaks", draws=0
    )
    first, second = found.rows()[:2]
    assert first["suspect"] == "left fan.soiling"
    assert first["chance"] > 0.7 > 0.3 > second["chance"]
