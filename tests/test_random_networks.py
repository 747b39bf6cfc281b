"""A thousand random networks solve, whatever they hold; what has no answer has it for a structural reason."""

import numpy as np
import pytest
from amounts import few_and_all
from random_checks import examine, stable, summary
from random_networks import fed_closed_off, generate, reached

import ductsim as ds
from ductsim.network.state import Outcome

pytestmark = pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")


def told(words, total, capsys):
    """Print counts, worst step numbers and the generator's difficulty shares."""
    with capsys.disabled():
        steps = ", ".join(f"{np.percentile(total['steps'], q):.0f} ({q} %)" for q in (50, 90, 99, 100))
        print(
            f"\n{words}: {total['words']}; {total['solved']} solved, {total['structural']} structural",
            end="; ",
        )
        print(f"steps {steps}")
        print(
            "  " + ", ".join(f"{t} {n}" for t, n in sorted(total["traits"].items(), key=lambda p: -p[1])),
            end="",
        )


@few_and_all("seeds", range(0, 600, 7), range(600))
def test_falling_fans(seeds, capsys):
    """Every one solves, with one answer whatever the start, or is fed where no air can go."""
    # the first of each ten may have up to 200 paths, the others up to 40
    cases = [generate(s, most_paths=200 if s % 10 == 0 else 40) for s in seeds]
    found = [examine(case, again_too=case.seed % 4 == 0) for case in cases]
    total = summary(found)
    told(f"falling fans, {len(seeds)} seeds below {seeds.stop}", total, capsys)
    assert total["failed"] == []
    assert total["other answers"] == []
    assert total["solved"] + total["structural"] == len(seeds)


@few_and_all("seeds", range(1, 60, 3), range(60))
def test_rising_fans(seeds, capsys):
    """Every one settles on a stable point."""
    found = [examine(generate(s, most_paths=25, rising=True), rising=True) for s in seeds]
    total = summary(found)
    told("rising fans", total, capsys)
    assert total["failed"] == []
    assert total["unstable"] == []
    assert total["traits"]["rising fan"] > 25 * len(seeds) / 60


@pytest.mark.parametrize("seed", [84, 279])
def test_a_tee_that_loses_less_the_more_it_carries_settles_on_a_stable_point(seed):
    """Newton's method from cold ends on an unstable point of these networks, which have a stable one."""
    state = generate(seed).network().solve()
    assert stable(state)[0]


@pytest.mark.parametrize("seed", [62, 1111, 1620])
def test_a_start_that_leads_to_impossible_speeds_is_given_up(seed):
    """From far off these would end where air moves at several times the speed of sound."""
    assert examine(generate(seed)).same_from_elsewhere


@pytest.mark.parametrize("seed", [84, 1633, 2987, 8999])
def test_a_start_decides_nothing(seed):
    """Two tees and two columns of warm air, each with two stable points: from anywhere, the same answer."""
    found = examine(generate(seed))
    assert found.alone == "at a second stable point"
    assert found.same_from_elsewhere


def test_small_flows_settle_before_a_run_up_ends():
    """The tee that decides here carries a thousandth of the network's largest flow."""
    assert examine(generate(5356), again_too=False).right


def test_the_generator_reaches_what_is_difficult():
    """Over the suite's seeds: all kinds, sizes over three decades, every flow state of a jet."""
    cases = [generate(s) for s in range(300)]
    traits = {t for case in cases for t in case.traits}
    assert traits >= {
        "loop", "jet", "merge", "split", "falling fan", "stopped fan", "closed path", "held node", "supply",
        "dead end", "power leak", "real air", "constant air",
    }  # fmt: skip
    paths = [case.paths for case in cases]
    assert min(paths) <= 3
    assert max(paths) > 150
    sizes = [s for case in cases for s in case.sizes if s > 0.0]
    assert max(sizes) / min(sizes) > 900.0
    exponents = [
        p.exponent for c in cases for _, p, _ in c.parts if getattr(p, "exponent", None) and p.kind == "leak"
    ]
    assert min(exponents) == 0.5
    assert max(exponents) == 1.0
    ways = ("forward", "backward")
    wanted = {f"jet with motive {motive}, suction {suction}" for motive in ways for suction in ways}
    states = set()
    for seed in range(120):  # until all were seen
        states |= examine(generate(seed, most_paths=40), again_too=False).traits
        if states >= wanted and any("motive" in state and "still" in state for state in states):
            return
    raise AssertionError(f"not reached: {wanted - states}, or no jet stands still")


def test_the_same_seed_gives_the_same_network():
    one, two = generate(7), generate(7)
    assert [(n, p.kind, e) for n, p, e in one.parts] == [(n, p.kind, e) for n, p, e in two.parts]
    assert all(a == b for (_, a, _), (_, b, _) in zip(one.parts, two.parts))
    assert (one.held, one.supplies, one.air) == (two.held, two.supplies, two.air)


def closing():
    """Cases in which the ways to a supplied node are shut one by one until it is closed off."""
    for seed in range(60):
        case = generate(seed, most_paths=20)
        if case.supplies and not fed_closed_off(case):
            yield case


def test_structural_failures_are_told_from_all_others():
    """Shutting parts around supplied nodes: closed off exactly when a search finds no way out."""
    outcomes = {True: 0, False: 0}
    for case in closing():
        node = next(iter(case.supplies))
        for i, (name, _, ends) in enumerate(case.parts):
            if node in ends and len(ends) == 2:
                case.parts[i] = (name, ds.Opening(area=0.0, loss_coefficient=1.0), ends)
                case.sizes[i] = 0.0
        fed = fed_closed_off(case)
        state = case.network().solve(raise_error=False)
        assert state.outcome is (Outcome.FED_CLOSED_OFF if fed else Outcome.SOLVED)
        assert set(state.closed_off) == set(case.nodes) - reached(case)
        outcomes[fed] += 1
    assert outcomes[True] > 5


@pytest.mark.slow
@pytest.mark.parametrize("seed", [822, 1669])
def test_fans_that_take_long_to_settle(seed):
    """A run-up of the usual length ends near an unstable point of these networks with rising fans."""
    found = examine(generate(seed, rising=True), rising=True)
    assert found.right
    assert found.stable


@pytest.mark.slow
@pytest.mark.parametrize("block", range(10))
def test_twenty_thousand(block):
    """The benchmark run's networks, of 2 to 200 paths, as a test."""
    found = [examine(generate(s), again_too=s % 4 == 0) for s in range(block * 2000, (block + 1) * 2000)]
    total = summary(found)
    assert total["failed"] == []
    assert total["other answers"] == []
