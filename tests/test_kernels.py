"""The nodal system solved three ways: LAPACK, elimination across scenarios, sparse; they must agree."""

from types import SimpleNamespace

import numpy as np
import pytest
from amounts import examples
from hypothesis import assume, given
from hypothesis import strategies as st
from random_networks import generate

import ductsim as ds
from ductsim.network.linear import (
    Elimination,
    Pattern,
    solve_dense,
    solve_sparse,
)
from ductsim.network.network import stacked
from ductsim.network.point import Point, some_columns
from ductsim.network.sparse import FEW_TERMS, MANY_ENTRIES, MANY_TERMS, Sparse
from ductsim.network.step import newton_step

MANY = examples(60)


@st.composite
def systems(draw, most_nodes=30, fewest=1, most=9):
    """Nodal matrices of random networks: slopes of both signs, jets' 2 x 2 blocks, closed paths."""
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    n, s = draw(st.integers(1, most_nodes)), draw(st.integers(fewest, most))
    rising = draw(st.sampled_from([0.0, 0.05, 0.3]))  # share of fans on a rising stretch: negative gains
    closed = draw(st.sampled_from([0.0, 0.2]))
    spread = draw(st.sampled_from([0.5, 3.0]))  # decades of the gains
    ends = [(i, int(rng.integers(0, i)) if i else n) for i in range(n)]  # a tree down to outside
    ends += [tuple(rng.choice(n + 1, 2, replace=False)) for _ in range(int(1.5 * n) if n > 1 else 0)]
    full = np.zeros((s, n + 1, n + 1))
    for a, b in ends:
        gain = 10.0 ** rng.uniform(-spread, spread, s) * np.where(rng.random(s) < rising, -1.0, 1.0)
        gain *= rng.random(s) >= closed
        # density with pressure: the two ends do not act quite alike
        tilt = 1.0 + 0.05 * rng.uniform(-1.0, 1.0, (2, s))
        full[:, a, a] += gain * tilt[0]
        full[:, a, b] -= gain * tilt[1]
        full[:, b, a] -= gain * tilt[0]
        full[:, b, b] += gain * tilt[1]
    for _ in range(n // 4 if n > 2 else 0):  # jets: motive and suction act on each other, reversed too
        m, y, d = rng.choice(n + 1, 3, replace=False)
        g = 10.0 ** rng.uniform(-1, 1, (2, 2, s)) * rng.choice([-1.0, 1.0], (2, 2, s))
        for i, row in enumerate((m, y)):
            for j, column in enumerate((m, y)):
                full[:, row, column] += g[i, j]
                full[:, row, d] -= g[i, j]
                full[:, d, column] -= g[i, j]
                full[:, d, d] += g[i, j]
    full = full[:, :n, :n]
    rows, columns = np.nonzero((full != 0.0).any(axis=0) | np.eye(n, dtype=bool))
    right = rng.uniform(-1.0, 1.0, (n, s))
    return Pattern(n, rows, columns), full[:, rows, columns].T.copy(), right, full


def condition(full):
    return np.array([np.linalg.cond(m) if np.isfinite(m).all() else np.inf for m in full])


def kernels(pattern, slots, right):
    yield "dense", solve_dense(pattern, slots, right)
    yield "elimination", Elimination.plan(pattern).solve(slots, right)
    yield "sparse", solve_sparse(pattern, slots, right)
    yield "chosen", pattern.solve(slots, right)


@MANY
@given(systems())
def test_all_kernels_agree_with_lapack(system):
    pattern, slots, right, full = system
    good = condition(full) < 1e6
    assume(good.any())
    reference = np.array(
        [np.linalg.solve(m, right[:, i]) if good[i] else right[:, i] for i, m in enumerate(full)]
    ).T
    for name, answer in kernels(pattern, slots, right):
        miss = np.abs(answer - reference).max(axis=0) / np.abs(reference).max(axis=0)
        assert miss[good].max() < 1e-9, name


def test_pivots_do_turn_negative():
    """The systems above are not all tame: most with rising fans have negative pivots."""
    found = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        gains = np.where(rng.random(12) < 0.3, -1.0, 1.0) * 10.0 ** rng.uniform(-1, 1, 12)
        matrix = np.zeros((7, 7))
        for g in gains:
            a, b = rng.choice(7, 2, replace=False)
            matrix[a, a] += g
            matrix[b, b] += g
            matrix[a, b] -= g
            matrix[b, a] -= g
        found += np.linalg.eigvalsh(matrix[:6, :6]).min() < 0.0
    assert found > 20


@MANY
@given(systems(fewest=3), st.data())
def test_a_nan_or_singular_scenario_spoils_no_other(system, data):
    pattern, slots, right, full = system
    s = right.shape[1]
    nan, singular = data.draw(st.permutations(range(s)))[:2]
    slots[data.draw(st.integers(0, len(slots) - 1)), nan] = np.nan
    slots[pattern.rows == data.draw(st.integers(0, pattern.size - 1)), singular] = 0.0
    others = [i for i in range(s) if i not in (nan, singular)]
    good = [i for i in others if condition(full[i : i + 1])[0] < 1e6]
    assume(good)
    for name, answer in kernels(pattern, slots, right):
        assert not np.isfinite(answer[:, nan]).all(), name
        assert not np.isfinite(answer[:, singular]).all(), name
        for i in good:
            reference = np.linalg.solve(full[i], right[:, i])
            assert np.abs(answer[:, i] - reference).max() < 1e-9 * np.abs(reference).max(), name


@MANY
@given(systems(fewest=7, most=20), st.data())
def test_elimination_does_not_know_the_order_of_the_scenarios(system, data):
    pattern, slots, right, _ = system
    order = data.draw(st.permutations(range(right.shape[1])))
    plan = Elimination.plan(pattern)
    one, two = plan.solve(slots, right), plan.solve(slots[:, order], right[:, order])
    np.testing.assert_array_equal(one[:, order], two)


def test_a_pivot_that_vanishes_goes_to_lapack():
    """Without pivoting this system cannot be eliminated; two of its scenarios can."""
    pattern = Pattern(2, np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1]))
    slots = np.array([[0.0, 2.0, 1e-14], [1.0, 1.0, 1.0], [1.0, 1.0, 1.0], [0.0, 3.0, 1e-14]])
    right = np.array([[1.0, 3.0, 2.0], [2.0, 4.0, 1.0]])
    answer = Elimination.plan(pattern).solve(slots, right)
    for i in range(3):
        np.testing.assert_allclose(slots[:, i].reshape(2, 2) @ answer[:, i], right[:, i], rtol=1e-12)


def test_sizes_and_scenarios_choose_the_kernel():
    """A long chain: one scenario goes to the sparse kernel, many to the elimination; all agree."""
    n = 400
    rows = np.concatenate([np.arange(n), np.arange(n - 1), np.arange(1, n)])
    columns = np.concatenate([np.arange(n), np.arange(1, n), np.arange(n - 1)])
    order = np.lexsort((columns, rows))
    pattern = Pattern(n, rows[order], columns[order])
    assert pattern.elimination.cheap
    rng = np.random.default_rng(3)
    slots = np.where(pattern.rows == pattern.columns, 2.5, -1.0)[:, None] * rng.uniform(
        0.9, 1.1, (3 * n - 2, 20)
    )
    right = rng.uniform(-1, 1, (n, 20))
    whole = pattern.solve(slots, right)
    for i in range(20):
        np.testing.assert_allclose(pattern.solve(slots[:, [i]], right[:, [i]])[:, 0], whole[:, i], rtol=1e-9)


def test_nothing_to_solve():
    pattern = Pattern(0, np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp))
    assert pattern.solve(np.empty((0, 3)), np.empty((0, 3))).shape == (0, 3)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_a_matrix_that_is_not_finite_is_not_factorised(bad):
    pattern = Pattern(2, np.array([0, 1]), np.array([0, 1]))
    factorise = pattern.ordered.factorise
    assert factorise(np.array([1.0, bad])) is None
    assert factorise(np.array([1.0, 0.0])) is None
    assert factorise(np.array([1.0, 2.0])).solve(np.array([1.0, 1.0])).tolist() == [1.0, 0.5]


@examples(25)
@given(st.integers(0, 10**6), st.integers(0, 2**31))
@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_a_newton_step_solves_the_linearised_equations(seed, other):
    """Eliminated flows and nodal solve together: the full Jacobian by differences times the step."""
    case = generate(seed, most_paths=16, rising=True)
    net = case.network()
    system = net.system()
    numbers, _ = stacked(system, net.numbers(), net.air)
    eq = numbers.equations(system)
    rng = np.random.default_rng(other)
    guess = np.broadcast_to(eq.guess, (system.paths, 1))
    guess = np.where(guess > 0.0, guess, guess.max())  # a stopped fan's is 0, where its slope turns sharply
    flow = guess * rng.uniform(0.2, 1.5, guess.shape) * rng.choice([-1.0, 1.0], guess.shape)
    if eq.shut is not None:
        flow = np.where(eq.shut, 0.0, flow)
        assume(not eq.shut.any())
    pressure = 300.0 * rng.uniform(-1, 1, (len(system.nodes), 1))
    pressure[system.free :] = eq.held
    point = Point(flow, pressure, None)
    values = eq.evaluate(flow, pressure, None)
    step = newton_step(eq, values, point, None)
    # along the step the residual of every path falls to zero to first order
    small = 1e-6
    after = eq.evaluate(flow + small * step.flow, pressure + small * step.pressure, None)
    before = eq.evaluate(flow - small * step.flow, pressure - small * step.pressure, None)
    slope = (after.residual - before.residual) / (2.0 * small)
    size = np.abs(values.residual).max()
    np.testing.assert_allclose(slope, -values.residual, atol=1e-4 * size)
    np.testing.assert_allclose(
        system.outflow @ (flow + step.flow),
        np.broadcast_to(eq.supply, (system.free, 1)),
        atol=1e-9 * np.abs(flow).max() + 1e-9 * np.abs(step.flow).max(),
    )


def test_scenarios_solved_alone_or_in_company_are_the_same():
    """The dense kernel (few columns) and the elimination (many) end at the same answers."""
    speeds = np.linspace(0.9, 1.1, 40)
    many = ds.demo("picker").change({"belt.engine_speed": ds.times(speeds)}).solve()
    few = ds.demo("picker").change({"belt.engine_speed": ds.times(speeds[:3])}).solve()
    for path in few.flow:
        np.testing.assert_allclose(few.flow[path], many.flow[path][:3], rtol=1e-9)


@pytest.mark.parametrize("scenarios", [1, 2, 7, 400])
@pytest.mark.parametrize("size", [0, 1, 40, 400])
def test_a_sparse_product_is_that_of_scipy_to_the_last_digit(size, scenarios):
    """Whoever adds the terms, NumPy or scipy.sparse; what is not finite stays in its rows."""
    from scipy.sparse import csr_matrix

    rng = np.random.default_rng(size + scenarios)
    whole = rng.standard_normal((size, size + 3)) * (rng.random((size, size + 3)) < 0.2)
    rows, columns = np.nonzero(whole)
    mixed = rng.permutation(len(rows))
    ours = Sparse(whole[rows, columns][mixed], rows[mixed], columns[mixed], whole.shape)
    assert np.array_equal(ours.toarray(), whole)
    right = rng.standard_normal((size + 3, scenarios)) * 10.0 ** rng.uniform(-9, 9, (size + 3, scenarios))
    right[rng.random(right.shape) < 0.02] = np.inf
    for some in (right, right.astype(np.float32)):
        found, theirs = ours @ some, csr_matrix(whole.astype(some.dtype)) @ some
        assert found.dtype == some.dtype and found.shape == (size, scenarios)
        assert np.array_equal(found, theirs, equal_nan=True)


@pytest.mark.parametrize("precision", [float, np.float32])
@pytest.mark.parametrize("size", [1, 40, 120])
def test_large_sparse_products_are_the_same_before_the_library_is_loaded(size, precision, monkeypatch):
    """Thousands of scenarios alone are no reason to load it."""
    rng = np.random.default_rng(size)
    whole = rng.standard_normal((size, size + 3)) * (rng.random((size, size + 3)) < 0.2)
    whole[0] = 0.0
    rows, columns = np.nonzero(whole)
    ours = Sparse(whole[rows, columns], rows, columns, whole.shape)
    right = rng.standard_normal((size + 3, 300)) * 10.0 ** rng.uniform(-9, 9, (size + 3, 300))
    right[rng.random(right.shape) < 0.02] = np.inf
    right = right.astype(precision)
    theirs = ours._in(right.dtype) @ right
    monkeypatch.setattr("ductsim.network.sparse.sys", SimpleNamespace(modules={}))
    monkeypatch.setattr(Sparse, "added", 0)
    monkeypatch.setattr(Sparse, "_in", lambda own, precision: pytest.fail("the library was asked"))
    found = ours @ right
    assert found.dtype == precision and np.array_equal(found, theirs, equal_nan=True)
    assert (Sparse.added > 0) == (len(rows) * 300 > (FEW_TERMS if precision is float else 0))
    monkeypatch.setattr(Sparse, "added", MANY_TERMS)
    monkeypatch.setattr(Sparse, "_in", lambda own, precision: np.zeros(whole.shape))
    assert not np.any(ours @ np.ones_like(right))  # the library's turn


def test_both_ways_of_sparse_products_are_tried():
    """By the sizes above: few and many entries, few and many terms."""
    assert 0.2 * 40 * 43 < FEW_TERMS < 0.2 * 40 * 43 * 400
    assert FEW_TERMS < 0.2 * 40 * 43 * 300 < 0.2 * 120 * 123 * 300 < MANY_TERMS
    assert 0.2 * 40 * 43 < MANY_ENTRIES < 0.2 * 400 * 403


def _mesh(side, rng):
    """The nodal matrix of a square mesh, open at its first node, and the gains of its paths."""
    node = np.arange(side * side).reshape(side, side)
    ends = np.concatenate([np.stack([node[:, :-1], node[:, 1:]]).reshape(2, -1),
                           np.stack([node[:-1], node[1:]]).reshape(2, -1)], axis=1)  # fmt: skip
    rows = np.concatenate([ends[0], ends[1], ends[0], ends[1], [0]])
    columns = np.concatenate([ends[0], ends[1], ends[1], ends[0], [0]])
    places, slot = np.unique(rows * side * side + columns, return_inverse=True)
    pattern = Pattern(side * side, *np.divmod(places, side * side))

    def slots(gain):
        return np.bincount(slot, np.concatenate([gain, gain, -gain, -gain, [1.0]]))

    return pattern, slots, 10.0 ** rng.uniform(-1, 1, ends.shape[1])


def test_factors_serve_matrices_nearby_and_no_others(monkeypatch):
    """As accurate as factors of its own, which scipy's own solve tells; a far matrix gets factors anew."""
    from scipy.sparse import csc_matrix
    from scipy.sparse.linalg import spsolve

    rng = np.random.default_rng(3)
    pattern, slots, gain = _mesh(101, rng)
    made = []
    whole = pattern.ordered.factorise
    monkeypatch.setattr(pattern.ordered, "factorise", lambda s: made.append(1) or whole(s))
    right = rng.standard_normal(pattern.size)
    changes = (0.0, 0.0, 1e-3, 0.03, 2.0)
    for change in changes:
        own = slots(gain * 10.0 ** (change * rng.uniform(-1, 1, len(gain))))
        found = pattern.solve(own[:, None], right[:, None])[:, 0]
        wanted = spsolve(csc_matrix((own, (pattern.rows, pattern.columns))), right)
        assert np.abs(found - wanted).max() <= 1e-9 * np.abs(wanted).max()
    # the first pass finds the order, the second makes factors in it, which serve two more
    assert len(made) == 3
    pattern.ordered.forget()
    pattern.solve(own[:, None], right[:, None])
    assert len(made) == 4


@pytest.mark.parametrize(
    "columns", [slice(1, 4), [4, 0, 0], np.array([2]), np.arange(5) % 2 == 0, np.zeros(5, dtype=bool)]
)
def test_picked_scenarios_are_laid_out_row_by_row(columns):
    """As all are: rows of what is laid out column by column take ten times as long to read."""
    values = np.arange(15.0).reshape(3, 5)
    found = some_columns(values, columns)
    assert np.array_equal(found, values[:, columns])
    assert found.flags.c_contiguous or found.strides[1] == values.itemsize
