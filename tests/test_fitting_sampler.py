"""The long test of draws against a general sampler: 30 unknowns, some of them exactly zero, curved readings.

The oracle is emcee, a general sampler that knows nothing of our weights: 400 walkers that take Metropolis
steps of normal shape (by the linear covariance, which makes them quick and cannot make them wrong) and steps
along differences of walkers. They begin at our draws and run long before any of them counts.
Run as a script it prints the table: `python tests/test_fitting_sampler.py`.
"""

import numpy as np
import pytest

from ductsim.inference.problem import Problem, find
from ductsim.inference.sampling import draw
from ductsim.inference.scales import Scale, Scales

PLACES = 13
WALKERS, BURNT, STEPS, THIN = 400, 1_000, 8_000, 20
DRAWS = 20_000


def row_of_leaks(seed):
    """Suctions along a duct with a leak at each place, read twice: with all leaks, and with every other one.

    13 leaks and 13 resistances, the suction at the end, and a gauge's zero, scale and a share of speed: 30.
    """
    leaks = [Scale.three_points(0.0, 1.0, 6.0)] * PLACES
    resistances = [Scale.about(0.1, 0.15, 0.0, np.inf)] * PLACES
    scales = Scales([*leaks, *resistances, Scale.about(600.0, 0.06, 0.0, np.inf)])
    own = len(scales)
    every = np.ones(PLACES), (np.arange(PLACES) % 2 == 0).astype(float)

    def predict(z):
        value = scales.values(z[:own])
        leak, resistance, end = value[:PLACES], value[PLACES : 2 * PLACES], value[-1]
        out = []
        for open_ in every:
            carried = np.cumsum((leak * open_[:, None])[::-1], axis=0)[::-1]
            lost = np.cumsum(resistance * carried**1.8, axis=0)
            out.append(end * np.exp(0.02 * z[own + 2]) / (1.0 + lost / 60.0))
        return np.concatenate(out) * (1.0 + 0.01 * z[own + 1]) + 2.0 * z[own]

    def jacobian(z):
        step = 1e-5 * np.eye(len(z))
        both = predict(np.concatenate([z[:, None] + step, z[:, None] - step], axis=1))
        return predict(z[:, None])[:, 0], (both[:, : len(z)] - both[:, len(z) :]) / 2e-5

    def stretch(z):
        return np.concatenate([scales.slopes(z[:own]), np.ones((3, z.shape[1]))])

    rng = np.random.default_rng(seed)
    size = own + 3
    true = predict(rng.standard_normal((size, 1)))[:, 0]
    sd = np.hypot(2.0, 0.01 * true)  # the errors that readings are taken to have
    measured = true + sd * rng.standard_normal(len(sd))
    return Problem(predict, jacobian, measured, sd, np.zeros(size), np.ones(size), stretch)


def sampled(problem, covariance, begin, seed):
    """Coordinates (A, N) that emcee finds from (A, walkers) on, and its autocorrelation time in steps."""
    import emcee

    shape = np.linalg.cholesky(covariance)  # walkers stand in coordinates in which steps are alike

    def log_density(v):
        z = shape @ v.T
        miss = (problem.predict(z) - problem.measured[:, None]) / problem.sd[:, None]
        return -0.5 * np.sum(miss**2, axis=0) - 0.5 * np.sum(z**2, axis=0)

    size = len(problem.mean)
    moves = [(emcee.moves.GaussianMove(2.38**2 / size), 0.8), (emcee.moves.DEMove(), 0.2)]
    sampler = emcee.EnsembleSampler(WALKERS, size, log_density, moves=moves, vectorize=True)
    sampler.random_state = np.random.RandomState(seed).get_state()
    state = sampler.run_mcmc(np.linalg.solve(shape, begin).T, BURNT, store=False)
    sampler.run_mcmc(state, STEPS, skip_initial_state_check=True)
    time = float(sampler.get_autocorr_time(quiet=True).max())
    return shape @ sampler.get_chain(flat=True, thin=THIN).T, time


def compared(seed):
    """For each unknown the sampler's mass in our 95 % interval, and the medians' distance in prior widths."""
    problem = row_of_leaks(seed)
    estimate = find(problem)
    rng = np.random.default_rng(seed)
    draws = draw(problem, estimate, DRAWS, rng)
    begin = draws.x[:, draws.resample(WALKERS, rng)]
    other, time = sampled(problem, estimate.covariance, begin, seed)
    mass, off = [], []
    for ours, theirs in zip(draws.x, other, strict=True):
        low, high, _ = draws.interval(ours)
        mass.append(np.mean((theirs >= low) & (theirs <= high)))
        off.append(float(draws.quantiles(ours, np.array([0.5]))[0] - np.median(theirs)))
    return np.array(mass), np.array(off), draws, WALKERS * STEPS / time


def told(mass, off, draws, independent):
    """The table in a line."""
    return (
        f"{len(mass)} unknowns: the sampler's mass in our intervals {mass.min():.3f} to {mass.max():.3f}, "
        f"{int(np.sum((mass < 0.94) | (mass > 0.96)))} beyond 0.94 to 0.96; medians at most "
        f"{np.abs(off).max():.3f} prior deviations apart; {draws.effective:.0f} effective draws, lost "
        f"{draws.lost}; about {independent:.0f} independent samples"
    )


@pytest.mark.slow
def test_a_general_sampler_finds_the_same_intervals():
    mass, off, draws, independent = compared(3)
    print(told(mass, off, draws, independent))
    assert len(mass) == 30 and independent > 3_000
    assert np.sum((mass < 0.94) | (mass > 0.96)) <= 2
    assert np.abs(off).max() < 0.1


if __name__ == "__main__":
    print(told(*compared(3)))
