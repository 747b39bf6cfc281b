"""Comparing fixes on possible machines: as columns, of a fit, thinned, uncertain, kept and read again."""

import pickle

import numpy as np
import pytest
from fixes_built_anew import SOME

import ductsim as ds
from ductsim.fixes.fix import spelled_out
from ductsim.fixes.sets import Answers, combining
from ductsim.machine.demos import FOLDER
from ductsim.studies.compare import study
from ductsim.studies.compare.elsewhere import Elsewhere
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


def test_where_all_sets_are_too_many_they_are_solved_on_one_machine_and_the_best_on_all(
    possible, fixes, monkeypatch
):
    some = [fix for fix in fixes if fix.name in SOME[:5]]
    whole = ds.compare(possible, some, budget=60)
    assert whole.checked is None
    monkeypatch.setattr(study, "MOST_SCENARIOS", 100)
    monkeypatch.setattr(study, "PAIRED", 5)
    thin = ds.compare(possible, some, budget=60)
    assert thin.solved.which.shape == (1,)
    assert thin.solved.machines == thin.sure.machines == 12
    assert thin.names(thin.recommended) == whole.names(whole.recommended)
    assert thin.order == whole.order
    assert thin.chances == whole.chances
    by_name = {row["fix"]: row["gain_Pa"] for row in whole.rows()}
    for row in thin.rows():
        assert row["gain_Pa"] == pytest.approx(by_name[row["fix"]], abs=1e-6)
    # what is not solved elsewhere is told nearly by what single fixes and pairs do there
    scale = np.nanmax(whole.solved.gain)
    for mask in whole.solved.masks:
        one, all_of_them = (found.solved.gain[found.solved.row(mask)] for found in (thin, whole))
        assert one == pytest.approx(all_of_them, abs=0.005 * scale, nan_ok=True)
    assert thin.worths == pytest.approx(whole.worths, abs=0.002 * scale)
    assert any("on 1 of the 12 possible machines" in note for note in thin.notes)


def test_one_machine_tells_all_where_they_differ_by_what_single_fixes_and_pairs_do():
    rng = np.random.default_rng(3)
    n, machines = 4, 6
    sets = ((np.arange(2**n)[:, None] >> np.arange(n)) & 1).astype(bool)
    sets = sets[np.argsort(sets.sum(axis=1), kind="stable")]
    pairs = [(i, j) for i in range(n) for j in range(i)]
    within = np.array([[True, *own, *(own[i] and own[j] for i, j in pairs)] for own in sets], dtype=float)
    parts = rng.normal(size=(within.shape[1], machines))
    common = rng.normal(size=(len(sets), 1))  # of three fixes and more, the same everywhere
    answer = within @ parts + common
    answers = Answers.blank(len(sets), 0, machines)
    answers.answer[:] = answer
    answers.strain(("fan", "speed"))[:] = answer / 10.0
    few = Answers.blank(1 + n + len(pairs), 0, machines)
    small = sets.sum(axis=1) <= 2
    few.answer[:], few.strains = answer[small], {("fan", "speed"): answer[small] / 10.0}
    known = Elsewhere.of("power fan", sets[small], few, 2)
    one = Answers.blank(len(sets), 0, 1)
    one.answer[:] = answer[:, [2]]
    assert known.answers(sets, one) == pytest.approx(answer, abs=1e-12)
    shares = known.passed(sets, {("fan", "speed"): answer[:, [2]] / 10.0})
    assert shares[("fan", "speed")] == pytest.approx((answer > 0.0).mean(axis=1))
    # pairs on some machines: exact there, on average elsewhere
    single = sets.sum(axis=1) <= 1
    alone = Answers.blank(1 + n, 0, machines)
    alone.answer[:] = answer[single]
    where = np.array([1, 2, 4])
    paired = Answers.blank(int(small.sum()), 0, 3)
    paired.answer[:] = answer[small][:, where]
    both = Elsewhere.of("power fan", sets[single], alone, 2).joined(
        Elsewhere.of("power fan", sets[small], paired, 1), where
    )
    told = both.answers(sets, one)
    assert told[:, where] == pytest.approx(answer[:, where], abs=1e-12)
    assert told[single] == pytest.approx(answer[single], abs=1e-12)
    of_pairs = parts[1 + n :]
    usual = np.repeat(of_pairs[:, where].mean(axis=1, keepdims=True), machines, axis=1)
    expected = within[:, : 1 + n] @ parts[: 1 + n] + within[:, 1 + n :] @ usual + common
    rest = [m for m in range(machines) if m not in where]
    assert told[:, rest] == pytest.approx(expected[:, rest], abs=1e-12)


def test_a_limit_that_only_other_machines_pass_forbids_the_set_there_too(possible, fixes, monkeypatch):
    """The belt's power is stated between what the middle machine and others take with a faster engine."""
    some = [fix for fix in fixes if fix.name in (*SOME[:3], "engine 100 rpm faster")]
    rng = np.random.default_rng(2)
    uneven = possible.change({"belt.engine_speed": ds.times(rng.uniform(0.97, 1.03, 12))})
    faster = ds.compare(uneven, some)
    taken = faster.solved.answers.power[faster.solved.row(faster.mask(["engine 100 rpm faster"]))]
    stated = uneven.change({"belt.available_power": float(np.sort(taken)[8])})
    whole = ds.compare(stated, some)
    monkeypatch.setattr(study, "MOST_SCENARIOS", 100)
    thin = ds.compare(stated, some)
    assert thin.checked is not None
    for mask in whole.solved.masks:
        assert thin.solved.verdict(thin.solved.row(mask)) == whole.solved.verdict(whole.solved.row(mask))
    assert thin.names(thin.recommended) == whole.names(whole.recommended)
    refused = thin.solved.row(thin.mask(["engine 100 rpm faster", SOME[0]]))
    assert "of the possible machines it passes the power of belt" in thin.solved.why(refused)


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
        anew = SolvedSets(again.combining, again.solved.which, elsewhere=again.solved.elsewhere)
        anew.need([0, again.mask(SOME[:1])])
        assert anew.gain[1] == pytest.approx(found.gain(SOME[0]), abs=1e-6)


def test_what_single_fixes_come_to_is_not_solved_again_on_some_of_the_machines(possible, fixes, monkeypatch):
    for name, number in (("MOST_SCENARIOS", 200), ("PAIRED", 5)):
        monkeypatch.setattr(study, name, number)
    some = [fix for fix in fixes if fix.name in SOME[:5]]
    tasks, _ = spelled_out(some, possible)
    whole = SolvedSets(combining(possible, tasks, "weakest vacuum"))
    singles = [0, *(1 << i for i in range(5))]
    whole.need(singles)
    which = np.array([1, 4, 7])
    few = whole.on(which)
    anew = SolvedSets(whole.combining, which)
    pairs = [3, 5, 10]
    few.need(pairs)
    calls = whole.combining.calls
    few.need(singles)
    assert whole.combining.calls == calls
    anew.need([*singles, *pairs])
    for own in ("answer", "vacuum", "opening_air", "duct_air", "power"):
        value, other = getattr(few.answers, own), getattr(anew.answers, own)
        assert value == pytest.approx(other, rel=1e-8, nan_ok=True)
        assert value[:6] == pytest.approx(getattr(whole.answers, own)[..., which], nan_ok=True)


def test_what_the_best_set_is_asked_is_solved_along_with_it(possible, fixes, monkeypatch):
    monkeypatch.setattr(study, "MOST_SCENARIOS", 200)
    some = [fix for fix in fixes if fix.name in SOME[:6]]
    asked = []
    need = SolvedSets.need

    def watched(self, masks):
        new = [mask for mask in dict.fromkeys(masks) if not self.has(mask)]
        if new and self.elsewhere is None and self.which is None:
            asked.append(new)
        need(self, new)

    monkeypatch.setattr(SolvedSets, "need", watched)
    found = ds.compare(possible, some, budget=60)
    assert found.checked is not None and found.order
    assert len(asked) == 2  # single fixes, then all that the advice rests on
