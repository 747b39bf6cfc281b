"""Comparing fixes on possible machines: as columns, of a fit, thinned, uncertain, kept and read again."""

import pickle

import numpy as np
import pytest
from fixes_built_anew import SOME

import ductsim as ds
from ductsim.machine.demos import FOLDER
from ductsim.studies.compare import study
from ductsim.studies.compare.sets import SolvedSets


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


@pytest.fixture(scope="module")
def fixes():
    return ds.read_fixes(FOLDER / "picker_fixes.toml")


@pytest.fixture(scope="module")
def possible(picker):
    rng = np.random.default_rng(11)
    return picker.change(
        {
            "hatch leak *.area": ds.times(rng.lognormal(0.0, 0.4, 12)),
            "joint leak 5.coefficient": ds.times(rng.lognormal(0.0, 0.4, 12)),
        }
    )


def test_possible_machines_are_the_single_ones_together(possible, fixes):
    some = [fix for fix in fixes if fix.name in SOME[:3]]
    found = ds.compare(possible, some, budget=30)
    singles = [ds.compare(possible[i], some) for i in range(12)]
    gains = [single.gain("seal hatch 4") for single in singles]
    row = next(row for row in found.rows() if row["fix"] == "seal hatch 4")
    assert row["gain_Pa"] == pytest.approx(np.median(gains), abs=1e-6)
    assert row["gain_low_Pa"] == pytest.approx(np.quantile(gains, 0.05), abs=1e-6)
    assert row["gain_high_Pa"] == pytest.approx(np.quantile(gains, 0.95), abs=1e-6)
    assert sum(found.chances.values()) == pytest.approx(1.0)
    best = [tuple(single.best(30)[0]) for single in singles]
    for mask, chance in found.chances.items():
        assert best.count(tuple(found.names(mask))) / 12 == pytest.approx(chance)
    assert any("possible machines" in sentence for sentence in found.sentences())
    assert "chance_best" in found.tables()["best_sets"][0]


def test_a_fit_is_asked_for_its_possible_machines(possible, fixes, monkeypatch):
    monkeypatch.setattr(ds.Fit, "sample", lambda self, count: possible)
    fit = object.__new__(ds.Fit)
    some = [fix for fix in fixes if fix.name in SOME[:2]]
    assert ds.compare(fit, some).rows() == ds.compare(possible, some).rows()


def test_many_sets_of_many_machines_are_thinned_and_the_best_taken_again(possible, fixes, monkeypatch):
    some = [fix for fix in fixes if fix.name in SOME[:5]]
    whole = ds.compare(possible, some, budget=60)
    monkeypatch.setattr(study, "MOST_SCENARIOS", 10)
    monkeypatch.setattr(study, "LEAST_MACHINES", 4)
    thin = ds.compare(possible, some, budget=60)
    assert thin.solved.machines == 4
    assert thin.sure.machines == 12
    assert thin.names(thin.recommended) == whole.names(whole.recommended)
    assert [row["gain_Pa"] for row in thin.rows()] != []
    by_name = {row["fix"]: row["gain_Pa"] for row in whole.rows()}
    for row in thin.rows():
        assert row["gain_Pa"] == pytest.approx(by_name[row["fix"]], abs=1e-6)
    assert any("4 of the 12 possible machines" in note for note in thin.notes)


def test_an_uncertain_fix_is_a_column(picker):
    rest = np.array([0.0, 0.005, 0.01])
    found = ds.compare(picker, [ds.Fix("seal", change={"hatch leak 4.area": rest})])
    row = found.rows()[0]
    gains = [picker.change({"hatch leak 4.area": r}).ask("weakest vacuum") for r in rest]
    assert row["gain_Pa"] == pytest.approx(np.median(gains) - picker.ask("weakest vacuum"), abs=1e-6)
    found = ds.compare(
        picker.change({"hose 1.length": [1.0, 1.2]}), [ds.Fix("seal", change={"hatch leak 4.area": rest})]
    )
    assert "columns of different length" in found.errors["seal"]
    with pytest.raises(ds.InputError, match="a column of 2 values for 3 possible machines"):
        ds.compare(
            picker,
            [
                ds.Fix("seal", change={"hatch leak 4.area": rest}),
                ds.Fix("hose", change={"hose 4.length": [1.0, 1.2]}),
            ],
        )


@pytest.mark.parametrize("thin", [False, True])
def test_kept_or_pickled_it_goes_on_where_it_was(possible, fixes, thin, monkeypatch, tmp_path):
    """Nothing is solved again, and what is not solved yet can still be asked."""
    if thin:
        monkeypatch.setattr(study, "MOST_SCENARIOS", 10)
    found = ds.compare(possible, [fix for fix in fixes if fix.name in SOME[:5]])
    assert (found.checked is not None) == thin
    found.save(tmp_path / "kept")
    for again in (pickle.loads(pickle.dumps(found)), ds.Result.load(tmp_path / "kept")):
        calls = again.combining.calls
        assert again.to_json() == found.to_json()
        assert again.combinations() == found.combinations()
        assert again.order_of(SOME[:2]) == found.order_of(SOME[:2])
        assert again.combining.calls == calls
        for address, value in found.done().numbers.items():
            assert np.array_equal(again.done().numbers[address], value)
        anew = SolvedSets(again.combining, again.solved.which)
        anew.need([0, again.mask(SOME[:1])])
        assert anew.gain[1] == pytest.approx(found.gain(SOME[0]), abs=1e-6)
