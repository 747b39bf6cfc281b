"""Ensembles: what is drawn, what is kept, and that nothing depends on who computes it."""

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pytest
from scipy import stats

import ductsim as ds
from ductsim.description.spreads import Draw, default_spreads, resolve
from ductsim.errors import InputError, UnknownName

HATCHES = [{"number": "hatch leak *.area", "kind": "lognormal", "sd": 0.5}]


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


def drawn(machine, spreads, n=4000, seed=3):
    draw = Draw(machine, resolve(machine, [ds.Spread(**s) for s in spreads]))
    return draw.columns(np.random.default_rng(seed).random((n, draw.dimensions)))


@pytest.mark.parametrize(
    ("spread", "law"),
    [
        ({"kind": "normal", "sd": 0.1}, stats.norm(1.2, 0.12)),
        ({"kind": "lognormal", "sd": 0.3}, stats.lognorm(np.sqrt(np.log1p(0.09)), scale=1.2 / np.sqrt(1.09))),
        ({"kind": "uniform", "low": 1.0, "high": "1500 mm"}, stats.uniform(1.0, 0.5)),
        ({"kind": "triangular", "low": 1.0, "likely": 1.1, "high": 1.5}, stats.triang(0.2, 1.0, 0.5)),
        ({"kind": "normal", "sd": "60 mm"}, stats.norm(1.2, 0.06)),
        ({"kind": "normal", "sd": "5 %"}, stats.norm(1.2, 0.06)),
    ],
)
def test_each_kind_has_its_distribution(picker, spread, law):
    """Against scipy.stats, by the Kolmogorov-Smirnov test."""
    machine = picker.change({"hose 1.length": 1.2})
    values = drawn(machine, [{"number": "hose 1.length", **spread}])["hose 1.length"]
    assert stats.kstest(values, law.cdf).pvalue > 0.001


def test_groups_scatter_together(picker):
    spread = {"number": "hatch leak *.area", "sd": 0.4, "group": "hatches"}
    full = drawn(picker, [spread])
    half = drawn(picker, [{**spread, "correlation": 0.5}])
    for columns, expected in ((full, 1.0), (half, 0.5)):
        logs = [np.log(columns[f"hatch leak {u}.area"]) for u in "14"]
        assert np.corrcoef(logs)[0, 1] == pytest.approx(expected, abs=0.05)


def test_values_stay_within_the_range_of_the_number(picker):
    values = drawn(picker, [{"number": "belt.slip", "kind": "normal", "sd": 3.0}])["belt.slip"]
    low = picker.layout.declaration("belt.slip").low
    assert values.min() == low


def test_default_spreads_are_those_of_the_description(picker):
    known = {row["address"]: row["spread"] for row in picker.describe().rows()}
    spreads = default_spreads(picker)
    assert len(spreads) > 100
    assert all(s.sd == known[s.number] for s in spreads)
    points = [s for s in spreads if s.number.startswith("left fan.total_pressure[")]
    assert {s.group for s in points} == {"left fan.total_pressure"}


def test_the_answer_is_that_of_the_scenarios_solved_one_by_one(picker):
    found = ds.ensemble(picker, HATCHES, ["weakest vacuum", "duct air 4"], samples=6, seed=5)
    draw = Draw(picker, found.spreads)
    from scipy.stats import qmc

    unit = qmc.LatinHypercube(draw.dimensions, seed=np.random.default_rng([5, 0])).random(6)
    columns = draw.columns(unit)
    for i in range(6):
        state = picker.change({a: float(v[i]) for a, v in columns.items()}).solve()
        assert found.answers[0, i] == pytest.approx(state.ask("weakest vacuum"), rel=1e-7)
        assert found.answers[1, i] == pytest.approx(state.ask("duct air 4"), rel=1e-7)


def test_chunks_executors_and_folders_change_nothing(picker, tmp_path):
    options = {"of": ["weakest vacuum"], "samples": 50, "seed": 2, "chunk": 20}
    here = ds.ensemble(picker, HATCHES, **options)
    with ProcessPoolExecutor(2) as pool:
        there = ds.ensemble(picker, HATCHES, executor=pool, **options)
    kept = ds.ensemble(picker, HATCHES, folder=tmp_path / "e", **options)
    again = ds.ensemble(picker, HATCHES, folder=tmp_path / "e", **options)
    for other in (there, kept, again):
        assert np.array_equal(here.answers, other.answers)
        assert here.chance_weakest == other.chance_weakest
    with pytest.raises(InputError, match="holds the chunks of another input"):
        ds.ensemble(picker, HATCHES, folder=tmp_path / "e", **{**options, "seed": 3})


@pytest.mark.parametrize("method", ["latin hypercube", "sobol", "random"])
def test_methods_agree_on_the_mean(picker, method):
    found = ds.ensemble(picker, HATCHES, samples=256, method=method, seed=1)
    exact = ds.ensemble(picker, HATCHES, samples=1024, method="sobol", seed=9)
    error = found.answers.std() / 16.0
    assert abs(found.answers.mean() - exact.answers.mean()) < 4.0 * error


def test_rows_sentences_and_tables(picker):
    found = ds.ensemble(picker, HATCHES, ["weakest vacuum"], samples=200)
    row = found.rows()[0]
    assert row["p2.5"] < row["p50"] < row["p97.5"] and row["measure"] == "Pa"
    assert found.quantile("weakest vacuum", 0.5) == pytest.approx(row["p50"])
    assert sum(found.chance_weakest.values()) == pytest.approx(1.0)
    assert set(found.tables()) == {"answers", "weakest"}
    assert str(found).startswith("Weakest vacuum: ")
    assert len(found) == 200 and found.seed == 0


def test_the_hatch_of_the_weakest_unit_explains_its_vacuum(picker):
    found = ds.ensemble(picker, HATCHES, ["vacuum 4"], samples=128, shares=True, method="sobol")
    shares = found.shares["vacuum 4"]
    best = found.inputs[int(np.argmax(shares.total))]
    assert best == "hatch leak 4.area"
    assert shares.total.max() > 0.95
    assert found.tables()["shares"][0]["number"] == best


def test_a_scenario_without_an_answer_is_named():
    hole = {"kind": "opening", "area": 0.01, "loss_coefficient": 1}
    machine = ds.Machine.of(
        {
            "format": 1,
            "title": "closed at times (invented)",
            "air": {"density": 1.2, "viscosity": 1.8e-5},
            "part": [{"name": n, "from": "outside", "to": "box", **hole} for n in ("in", "out")],
            "supply": [{"node": "box", "mass_flow": 0.1}],
        }
    )  # fmt: skip
    spreads = [
        {"number": f"{n}.area", "kind": "triangular", "low": 0, "likely": 0, "high": 0} for n in ("in", "out")
    ]
    found = ds.ensemble(machine, spreads, ["in.flow"], samples=4)
    assert sorted(found.failed) == [0, 1, 2, 3]
    assert "no open path" in found.failed[0]
    assert np.isnan(found.answers).all()


@pytest.mark.parametrize(
    ("spread", "words"),
    [
        ({"number": "hatch leek 4.area"}, "did you mean 'hatch leak 4.area'"),
        ({"number": "hatch leak 4.area", "kind": "norml"}, "did you mean 'normal'"),
        ({"number": "hatch leak 4.area", "kind": "uniform", "low": 2, "high": 1}, "missing or crossed"),
        ({"number": "hatch leak 4.area", "kind": "uniform", "low": "1 Pa", "high": 1}, "hatch leak 4.area"),
        ({"number": "hatch leak 4.area", "kind": "triangular", "low": 0, "likely": 9, "high": 1}, "likely"),
        ({"number": "hatch leak 4.area", "correlation": 2}, "correlation 2"),
        ({"number": "air.altitude"}, "no spread is known"),
        ({"kind": "normal"}, "the key 'number' is missing"),
        ({"number": "air.altitude", "sdd": 1}, "unknown key 'sdd'"),
        ({"number": "left screen.blinded", "kind": "lognormal", "sd": 0.1}, "a lognormal spread about 0"),
    ],
)  # fmt: skip
def test_bad_spreads_get_a_sentence(picker, spread, words):
    with pytest.raises(InputError, match=words):
        ds.ensemble(picker, [spread], samples=4)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"samples": 1}, "samples 1"),
        ({"seed": -1}, "seed -1"),
        ({"seed": 10**5000}, "seed a very long number"),
        ({"samples": -(10**5000)}, "samples a very long number"),
        ({"chunk": 0}, "chunk 0"),
        ({"method": "sobl"}, "did you mean 'sobol'"),
        ({"of": "weakest vacum"}, "did you mean 'weakest vacuum'"),
        ({"spreads": []}, "nothing scatters"),
    ],
)
def test_bad_options_get_a_sentence(picker, options, words):
    with pytest.raises(InputError, match=words):
        ds.ensemble(picker, **{"spreads": HATCHES, "samples": 4, **options})


def test_a_machine_with_columns_is_refused(picker):
    machine = picker.change({"belt.slip": np.array([0.01, 0.02])})
    with pytest.raises(InputError, match="has columns"):
        ds.ensemble(machine, HATCHES, samples=4)
    with pytest.raises(UnknownName):
        ds.ensemble(picker, HATCHES, samples=4).quantile("vacuum 4", 0.5)


STOPPED = """
import sys, ductsim as ds
ds.ensemble(ds.demo("picker"), {spreads!r}, samples=60_000, chunk=500, folder=sys.argv[1])
"""


@pytest.mark.slow
def test_killed_and_resumed_gives_the_identical_result(picker, tmp_path):
    folder = tmp_path / "e"
    run = subprocess.Popen([sys.executable, "-c", STOPPED.format(spreads=HATCHES), str(folder)])
    deadline = time.monotonic() + 120
    while len(list(folder.glob("chunk_*.npz"))) < 5 and time.monotonic() < deadline:
        time.sleep(0.02)
    run.kill()
    run.wait()
    before = {p.name: p.stat().st_mtime_ns for p in folder.glob("chunk_*.npz")}
    assert 5 <= len(before) < 120
    resumed = ds.ensemble(picker, HATCHES, samples=60_000, chunk=500, folder=folder)
    assert all((folder / name).stat().st_mtime_ns == when for name, when in before.items())
    whole = ds.ensemble(picker, HATCHES, samples=60_000, chunk=500)
    assert np.array_equal(resumed.answers, whole.answers)


@pytest.mark.slow
def test_a_cluster_that_loses_a_worker_gives_the_same_numbers(picker):
    import distributed

    options = {"spreads": HATCHES, "samples": 40_000, "chunk": 1000}
    expected = ds.ensemble(picker, **options)
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        lost = []

        def lose_one(done, count):
            if done == 5 and not lost:
                lost.append(next(iter(cluster.workers.values())))
                os.kill(lost[0].pid, signal.SIGTERM)

        found = ds.ensemble(picker, executor=client.get_executor(), progress=lose_one, **options)
    assert lost
    assert np.array_equal(found.answers, expected.answers)
