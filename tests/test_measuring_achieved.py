"""The long test of chosen readings: what they were expected to tell, what they told, and the truth.

Seeds were fixed beforehand and every case counts. Run as a script it prints the table:
`python tests/test_measuring_achieved.py CASES`.
"""

import sys
from dataclasses import replace

import numpy as np
import pytest
from synthetic_readings import model_of, plan, read, small_picker

import ductsim as ds
from ductsim.readings.unknowns import unknowns_of
from ductsim.studies.fit.study import explained
from ductsim.studies.where_to_measure.study import where_to_measure

SEED = 700
CASES = 100
QUESTIONS = ("hatch leak 1.area", "hatch leak 2.area", "joint leak 1.coefficient", "vacuum 1")


def answers(fit, words):
    """What each draw answers, as far as it is felt."""
    if words in fit.model.coordinates:
        count = fit.model.numbers
        return fit.model.scales.felt(fit.draws.x[:count])[fit.model.coordinates.index(words)]
    return fit.at(fit.draws.x).solve(raise_error=False).ask(words)


def moments(fit, words):
    """Mean and standard deviation of a question."""
    values = answers(fit, words)
    mean = float(fit.draws.mean(values))
    return mean, float(np.sqrt(fit.draws.mean((values - mean) ** 2)))


def with_readings(machine, fit, rows, chosen, truth, rng):
    """The fit to the old readings and the chosen ones, which are read of the true machine."""
    model = model_of(machine, [*rows, *[replace(c.reading, line=50 + i) for i, c in enumerate(chosen)]])
    z = np.array([truth.setdefault(name, rng.standard_normal()) for name in model.names])
    new = read(model, z, rng)[len(rows) :]
    return explained(machine, ds.Readings([*rows, *new]), unknowns_of(machine), seed=fit.seed)


def run(cases):
    """For each case: expected and achieved deviation over that before, squared errors, and of random ones."""
    machine = small_picker()
    points = [r for r in plan(machine) if not r.blanked]
    out = []
    for case in range(cases):
        rng = np.random.default_rng(SEED + case)
        model = model_of(machine, points)
        truth = dict(zip(model.names, rng.standard_normal(model.size), strict=True))
        rows = read(model, np.array(list(truth.values())), rng)
        fit = explained(machine, ds.Readings(rows), unknowns_of(machine), seed=case)
        words = QUESTIONS[case % len(QUESTIONS)]
        found = where_to_measure(fit, words)
        picked = rng.choice(len(found.candidates), len(found.together), replace=False)
        random = [found.candidates[i] for i in picked]
        z = np.array([truth[name] for name in fit.names])[:, None]
        true = (
            float(fit.model.scales.felt(z[: fit.model.numbers])[fit.model.coordinates.index(words), 0])
            if words in fit.model.coordinates
            else float(fit.at(z).solve().ask(words)[0])
        )
        before = moments(fit, words)
        then = moments(with_readings(machine, fit, rows, found.together, truth, rng), words)
        other = moments(with_readings(machine, fit, rows, random, truth, rng), words)
        sd = before[1]
        out.append(
            (
                np.sqrt(found.left_together),
                then[1] / sd,
                ((before[0] - true) / sd) ** 2,
                ((then[0] - true) / sd) ** 2,
                other[1] / sd,
            )
        )
    return np.array(out)


def told(found):
    """A few lines on what was expected and achieved."""
    expected, achieved, first, then, other = found.T
    return (
        f"{len(found)} cases: standard deviation expected {expected.mean():.3f} of that before, achieved "
        f"{achieved.mean():.3f} (root mean squares {np.sqrt((expected**2).mean()):.3f} and "
        f"{np.sqrt((achieved**2).mean()):.3f}; correlation {np.corrcoef(expected, achieved)[0, 1]:.2f}); "
        f"error against the truth {np.sqrt(first.mean()):.3f} before and {np.sqrt(then.mean()):.3f} after, "
        f"in deviations before; better than random readings in {np.mean(achieved < other):.0%} "
        f"(these: {other.mean():.3f})"
    )


@pytest.mark.slow
def test_what_chosen_readings_tell_is_what_was_expected():
    found = run(CASES)
    print(told(found))
    expected, achieved, _, then, other = found.T
    assert achieved.mean() == pytest.approx(expected.mean(), abs=0.05)
    # the mean of 100 squared errors has a relative deviation of 0.14 or more
    assert 0.6 < then.mean() / (achieved**2).mean() < 1.5
    assert np.mean(achieved < other) >= 0.75


if __name__ == "__main__":
    print(told(run(int(sys.argv[1]))))
