"""What is usual among machines: against conjugate rules, scipy's maximum of likelihood, a Gibbs sampler."""

import numpy as np
import pytest
from amounts import few_and_all
from scipy import integrate, optimize, stats

from ductsim.inference.population import COMMON, SPREADS, Told, learn, oddness


def single(seen, errors):
    """Machines with one unknown that show it as `seen`, each with its own variance."""
    return [Told(np.array([[1.0 / e]]), np.array([x / e])) for x, e in zip(seen, errors, strict=True)]


def one(seen, errors):
    """What is usual of a single unknown."""
    return learn(single(seen, errors), np.zeros((len(seen), 1), dtype=bool))[0]


def test_without_readings_the_next_machine_is_believed_to_be_as_before():
    found = one(np.zeros(12), np.full(12, 1e9))
    assert found.mean == pytest.approx(0.0, abs=1e-6)
    assert found.variance == pytest.approx(1.0, rel=0.02)
    assert found.quantile(0.975) == pytest.approx(stats.norm.ppf(0.975), rel=0.06)


def test_many_machines_known_exactly_are_their_sample():
    values = np.random.default_rng(1).normal(0.8, 0.5, 400)
    found = one(values, np.full(400, 1e-6))
    assert found.mean == pytest.approx(values.mean(), abs=0.01)
    assert found.spread == pytest.approx(values.std(), rel=0.03)
    assert found.below(0.8 - 1.96 * 0.5) == pytest.approx(0.025, abs=0.01)


def test_the_spread_is_where_the_marginal_likelihood_is_largest():
    """With 60 machines the prior says little: the maximum by scipy.optimize is within its standard error."""
    rng = np.random.default_rng(2)
    errors = rng.uniform(0.05, 0.4, 60) ** 2
    seen = rng.normal(-0.5, np.sqrt(0.6**2 + errors))

    def cost(x):
        return -stats.norm.logpdf(seen, x[0], np.sqrt(np.exp(2.0 * x[1]) + errors)).sum()

    best = optimize.minimize(cost, [0.0, 0.0])
    found = one(seen, errors)
    assert found.mean == pytest.approx(best.x[0], abs=0.05)
    assert found.spread == pytest.approx(np.exp(best.x[1]), rel=0.08)


def test_with_a_known_spread_it_is_the_conjugate_rule():
    """The mean at one spread of the grid is the normal-normal posterior."""
    seen, errors = np.array([0.9, 1.2, 0.4, 0.8]), np.array([0.04, 0.09, 0.2, 0.01])
    found = one(seen, errors)
    for place in (0, 20, 40):
        both = SPREADS[place] ** 2 + errors
        precision = 1.0 / COMMON + np.sum(1.0 / both)
        assert found.means[place] == pytest.approx(np.sum(seen / both) / precision, rel=1e-6)
        assert found.variances[place] == pytest.approx(1.0 / precision, rel=1e-6)


def test_the_weights_of_spreads_are_those_of_quadrature_over_the_mean():
    """The mean integrated out by scipy's quadrature instead."""
    seen, errors = np.array([0.9, 1.2, 0.4, -0.3]), np.array([0.04, 0.09, 0.2, 0.01])
    found = one(seen, errors)

    def at(spread):
        def density(m):
            return stats.norm.pdf(m, 0.0, np.sqrt(COMMON)) * np.prod(
                stats.norm.pdf(seen, m, np.sqrt(spread**2 + errors))
            )

        inside = integrate.quad(density, -6.0, 6.0, points=[0.0, 0.5, 1.0], limit=200)[0]
        return inside * np.exp(-0.5 * spread**2 / (1.0 - COMMON))

    places = [15, 25, 35]
    own = np.array([at(SPREADS[k]) for k in places])
    ours = found.weights[places] / np.gradient(SPREADS)[places]
    assert ours / ours[0] == pytest.approx(own / own[0], rel=1e-5)


def gibbs(machines, steps, seed):
    """A sampler of the whole hierarchy: coordinates, means and spreads in turn; the next machine's draws.

    Means have the conjugate normal, spreads are drawn on a fine grid of their own.
    """
    rng = np.random.default_rng(seed)
    size = len(machines[0].shift)
    grid = np.linspace(0.005, 4.0, 800)
    mean, spread = np.zeros(size), np.full(size, 0.7)
    out = []
    for step in range(steps):
        rows = []
        for told in machines:
            middle, covariance = told.believed(mean, spread**2)
            rows.append(rng.multivariate_normal(middle, covariance))
        z = np.array(rows)
        for a in range(size):
            precision = 1.0 / COMMON + len(z) / spread[a] ** 2
            middle = z[:, a].sum() / spread[a] ** 2 / precision
            mean[a] = rng.normal(middle, 1.0 / np.sqrt(precision))
            square = np.sum((z[:, a] - mean[a]) ** 2)
            log = -len(z) * np.log(grid) - 0.5 * square / grid**2 - 0.5 * grid**2 / (1.0 - COMMON)
            share = np.exp(log - log.max())
            spread[a] = rng.choice(grid, p=share / share.sum())
        if step > steps // 10:
            out.append(rng.normal(mean, spread))
    return np.array(out)


def made(seed, count=8):
    """Machines whose readings tell sums of unknowns better than each: normal, their exact posteriors."""
    rng = np.random.default_rng(seed)
    truth = rng.normal([0.9, -0.4, 0.0], [0.3, 0.6, 1.0], (count, 3))
    effects = np.array([[1.0, 0.8, 0.0], [0.3, 1.0, 0.2]]) / 0.3
    machines = []
    for z in truth:
        shown = effects @ z + rng.standard_normal(2)
        covariance = np.linalg.inv(np.eye(3) + effects.T @ effects)
        machines.append(Told.of(covariance @ effects.T @ shown, covariance))
    return machines, truth


def test_taking_the_prior_out_leaves_what_the_readings_say():
    machines, _ = made(3)
    effects = np.array([[1.0, 0.8, 0.0], [0.3, 1.0, 0.2]]) / 0.3
    assert machines[0].information == pytest.approx(effects.T @ effects, abs=1e-8)
    mean, covariance = machines[0].believed(np.zeros(3), np.ones(3))
    assert covariance == pytest.approx(np.linalg.inv(np.eye(3) + effects.T @ effects), abs=1e-9)
    assert np.all(np.isfinite(mean))


@pytest.mark.slow
def test_it_is_what_a_sampler_of_the_whole_hierarchy_finds():
    machines, _ = made(3)
    found = learn(machines, np.zeros((len(machines), 3), dtype=bool))
    drawn = gibbs(machines, 6000, 0)
    for a, own in enumerate(found):
        print(own.mean, drawn[:, a].mean(), np.sqrt(own.variance), drawn[:, a].std())
        assert own.mean == pytest.approx(drawn[:, a].mean(), abs=0.1)
        assert np.sqrt(own.variance) == pytest.approx(drawn[:, a].std(), rel=0.12)


def grid_of(seen, error):
    """Machines that show all their unknowns (N, A) with one variance."""
    size = seen.shape[1]
    return [Told(np.eye(size) / error, row / error) for row in seen]


def test_what_is_odd_is_told_and_what_is_not_is_not():
    rng = np.random.default_rng(5)
    seen = rng.normal(0.3, 0.4, (12, 4))
    none, spreads = np.zeros((12, 4), dtype=bool), np.full(4, 0.4)
    assert oddness(grid_of(seen, 0.02), none, spreads)[0].min() > 0.01 / 48
    seen[7, 2] += 4.0
    machines = grid_of(seen, 0.02)
    chance, shown, freed = oddness(machines, none, spreads)
    assert freed[7] == 2
    assert np.unravel_index(chance.argmin(), chance.shape) == (7, 2)
    assert chance.min() < 0.01 / 48
    assert shown == pytest.approx(seen, abs=1e-3)
    none[7, 2] = True
    assert oddness(machines, none, spreads)[0].min() > 0.01 / 48  # what is left out spoils no other
    assert learn(machines, none)[2].spread < 0.6 < learn(machines, np.zeros((12, 4), dtype=bool))[2].spread


def test_chances_are_even_where_machines_are_alike():
    """Over many fleets without an odd machine the chances are uniform: Kolmogorov and Smirnov's test."""
    rng = np.random.default_rng(6)
    chances = []
    for _ in range(60):
        spread = abs(rng.normal(0.0, np.sqrt(1.0 - COMMON)))
        seen = rng.normal(rng.normal(0.0, np.sqrt(COMMON)), np.hypot(spread, 0.2), (6, 1))
        chances.append(oddness(grid_of(seen, 0.04), np.zeros((6, 1), dtype=bool), np.ones(1))[0][0, 0])
    assert stats.kstest(chances, "uniform").pvalue > 0.01


EFFECTS = np.array([[1.0, 0.8, 0.0], [0.3, 1.0, 0.2]]) / 0.3


def covered(population, fleets, seed, count=12):
    """How often the 95 % intervals of the next machine hold it, (fleets, 3), by the true population's shares.

    `population` draws the means and the spreads of each fleet. The machines are linear and normal.
    """
    rng = np.random.default_rng(seed)
    out = []
    for _ in range(fleets):
        mean, spread = population(rng)
        shown = rng.normal(mean, spread, (count, 3)) @ EFFECTS.T + rng.standard_normal((count, 2))
        machines = [Told(EFFECTS.T @ EFFECTS, EFFECTS.T @ row) for row in shown]
        usual = learn(machines, np.zeros((count, 3), dtype=bool))
        ends = np.array([[u.quantile(0.025), u.quantile(0.975)] for u in usual])
        out.append(np.diff(stats.norm.cdf((ends - mean[:, None]) / spread[:, None]))[:, 0])
    return np.array(out)


def believed(rng):
    """A population as it is believed beforehand."""
    return rng.normal(0.0, np.sqrt(COMMON), 3), abs(rng.normal(0.0, np.sqrt(1.0 - COMMON), 3))


@few_and_all("fleets", 150, 1500)
def test_intervals_of_the_next_machine_hold_as_often_as_they_say(fleets):
    """Over populations drawn from what is believed: simulation-based calibration.

    Half a percent is lost since each unknown's population takes the other unknowns' spreads as known.
    """
    found = covered(believed, fleets, 4).mean(axis=1)
    print(found.mean(), found.std() / np.sqrt(fleets))
    assert found.mean() == pytest.approx(0.95, abs=0.01)


def test_intervals_are_wide_where_machines_are_more_alike_than_believed_and_the_other_way_about():
    """Twelve machines do not tell a spread so well that what was believed of it decides nothing."""
    alike, apart = (
        covered(lambda rng, s=s: (rng.normal(0.0, np.sqrt(COMMON), 3), np.full(3, s)), 60, 5).mean()
        for s in (0.15, 1.2)
    )
    print(alike, apart)
    assert apart < 0.95 < alike
