"""A fleet: what is usual, the odd machine, what must not be mixed, folders, the command, and long trials."""

import fleet_trials
import numpy as np
import pytest
from fleet_trials import Bench, bench

import ductsim as ds

NAMES = ["left leak.area", "right leak.area"]


@pytest.fixture(scope="module")
def fits():
    """Five machines of one population."""
    rng = np.random.default_rng(3)
    machine = bench()
    return [Bench(machine, rng).fit(6, draws=60) for _ in range(5)]


@pytest.fixture(scope="module")
def fleet(fits):
    return ds.learn(fits)


def test_the_next_machine_starts_from_what_is_usual(fleet):
    """The population's middle lies in what is believed of the next machine, which is narrower than before."""
    assert list(fleet.unknowns) == NAMES
    scales = [u.scale(fleet.given.layout) for u in fleet.wanted]
    from ductsim.inference.scales import Scales

    middle = Scales(scales).values(np.array(fleet_trials.MEAN)[:, None])[:, 0]
    for (low, likely, high), true in zip(fleet.unknowns.values(), middle, strict=True):
        assert low < likely < high
        assert low <= true <= high
    assert min(fleet.shares.values()) < 0.6
    assert not fleet.odd
    assert "No machine is odd." in fleet.sentences()
    rows = fleet.table("machines")
    assert len(rows) == 5 * 2


def test_what_is_usual_goes_on_as_spreads_and_as_a_machine_file(fleet, tmp_path):
    fleet.write(tmp_path / "next.toml")
    again = ds.Machine.read(tmp_path / "next.toml")
    assert dict(again.numbers) == dict(fleet.given.numbers)
    from ductsim.readings.unknowns import unknowns_of

    for u in unknowns_of(again):
        assert (u.low, u.likely, u.high) == pytest.approx(fleet.unknowns[u.address])
    found = ds.ensemble(fleet.given, fleet.spreads, samples=64)
    assert np.isfinite(found.answers).all()


def test_an_odd_machine_is_named_and_does_not_count(fits):
    rng = np.random.default_rng(4)
    odd = ds.learn([*fits, *fits, Bench(bench(), rng, away=True).fit(6, draws=60)])
    assert (odd.odd[0].name, odd.odd[0].unknown) == ("machine 11", "right leak.area")
    assert {o.name for o in odd.odd} == {"machine 11"}
    assert odd.sentences()[0].startswith("machine 11 is odd: right leak.area is ")
    without = ds.learn([*fits, *fits])
    high = odd.unknowns["right leak.area"][2]
    assert high < odd.odd[0].estimate
    assert high == pytest.approx(without.unknowns["right leak.area"][2], rel=0.1)


def test_the_order_and_the_names_of_machines_change_nothing(fits, fleet):
    other = ds.learn({f"m{i}": fit for i, fit in reversed(list(enumerate(fits)))})
    for name in NAMES:
        assert other.unknowns[name] == pytest.approx(fleet.unknowns[name], rel=1e-6, abs=1e-9)
    assert [m.name for m in other.members] == ["m4", "m3", "m2", "m1", "m0"]


def test_machines_that_differ_in_what_matters_are_not_mixed(fits):
    rng = np.random.default_rng(5)
    longer = Bench(bench().change({"left duct.length": "6 m"}), rng).fit(6, draws=60)
    with pytest.raises(
        ds.InputError, match=r"machine 2 is no machine like machine 1: left duct\.length is 6"
    ):
        ds.learn([fits[0], longer])
    other = ds.fit(fits[0].given, fits[0].taken, dict.fromkeys(NAMES, (0.0, 0.001, 0.009)), draws=20)
    with pytest.raises(ds.InputError, match="other things were believed of their unknowns"):
        ds.learn([fits[0], other])
    joined = bench().document()
    next(p for p in joined["part"] if p["name"] == "right leak")["to"] = "left head"
    with pytest.raises(ds.InputError, match="they have other parts"):
        ds.learn([fits[0], ds.fit(ds.Machine.of(joined), fits[0].taken, draws=20)])


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (lambda fits: (fits[:1], None), "1 machines"),
        (lambda fits: ([fits[0], 3], None), "is no fit"),
        (lambda fits: (fits[:2], ["a"]), "1 names for 2 machines"),
        (lambda fits: (fits[:2], ["a", "a"]), "the name 'a' is used twice"),
        (lambda fits: (3, None), "a list of fits or folders"),
    ],
)
def test_what_is_wrong_has_its_sentence(fits, given, words):
    with pytest.raises(ds.InputError, match=words):
        ds.learn(*given(fits))


def folder(place, machine, seed, fixes=()):
    """A machine's folder with one visit."""
    place.mkdir()
    machine.write(place / "machine.toml")
    readings = Bench(machine, np.random.default_rng(seed)).readings
    ds.log_visit(place, "2026-09-14", readings=readings[:4], fixes=list(fixes))


def test_folders_and_the_command(run, tmp_path):
    machine = bench()
    for i in range(3):
        folder(tmp_path / f"bench {i}", machine, i)
    places = [str(tmp_path / f"bench {i}") for i in range(3)]
    code, out, err = run("fleet", *places, "--next", str(tmp_path / "next.toml"))
    assert (code, err) == (0, "")
    assert "No machine is odd." in out
    assert (tmp_path / "next.toml").exists()
    empty = tmp_path / "bench 3"
    empty.mkdir()
    machine.write(empty / "machine.toml")
    ds.log_visit(empty, "2026-09-14", fixes=[ds.Fix("seal", {"left leak.area": 0.0})])
    code, out, err = run("fleet", *places, str(empty))
    assert code == 2
    assert "no visit has readings before the first fix" in err


@pytest.mark.slow
def test_the_next_machine_is_covered_and_the_odd_one_named():
    trials = [fleet_trials.trial(700 + seed) for seed in range(4)]
    print(fleet_trials.table(trials))
    held = [h for t in trials for h in t.held]
    assert np.mean(held) > 0.85
    assert np.median([n for t in trials for n in t.needed]) <= 0.5
    assert sum(t.named for t in trials) >= 3
