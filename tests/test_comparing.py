"""Comparing fixes on machines: against networks built anew, limits, contradictions, possible machines."""

import itertools
import json
import math
import pickle

import numpy as np
import pytest
from fixes_built_anew import SOME, brute_force, built_anew

import ductsim as ds
from ductsim.description import layout
from ductsim.description.changing import together
from ductsim.display.tables import plain, text
from ductsim.fixes import sets
from ductsim.fixes.fix import spelled_out
from ductsim.fixes.starts import Starts
from ductsim.machine.demos import FOLDER
from ductsim.network import solve as solving
from ductsim.network import system
from ductsim.network.point import Point
from ductsim.studies.compare import choice, study
from ductsim.studies.compare.sets import SolvedSets


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


@pytest.fixture(scope="module")
def fixes():
    return ds.read_fixes(FOLDER / "picker_fixes.toml")


@pytest.fixture(scope="module")
def full(picker, fixes):
    return ds.compare(picker, fixes)


@pytest.fixture(scope="module")
def small(picker, fixes):
    return ds.compare(picker, [fix for fix in fixes if fix.name in SOME])


# ---- brute force: every set of fixes on a network built anew


def test_the_best_three_are_those_of_brute_force(picker, fixes, small):
    some = [fix for fix in fixes if fix.name in SOME]
    found = brute_force(picker, some, (30.0, 60.0, 120.0))
    for budget, best in found.items():
        assert small.best(budget) == best


@pytest.mark.slow
def test_the_best_three_of_the_whole_file_are_those_of_brute_force(picker, fixes, full):
    found = brute_force(picker, fixes, (30.0, 60.0, 120.0))
    for budget, best in found.items():
        assert full.best(budget) == best


def test_answers_are_those_of_networks_built_anew(picker, fixes, full):
    rng = np.random.default_rng(7)
    before, _ = built_anew(picker, [])
    usable = [fix for fix in fixes if "205" not in fix.name]
    for _ in range(12):
        some = [fix for fix in usable if rng.random() < 0.5]
        answer, allowed = built_anew(picker, some)
        names = [fix.name for fix in some]
        assert full.gain(*names) == pytest.approx(answer - before, abs=1e-6)
        assert full.verdict(*names)[0] == ("" if allowed else "not allowed")


def test_where_sets_start_changes_no_answer(picker, fixes, full, monkeypatch):
    """Large sets start where small ones within them point to; from the middle they come to the same."""
    monkeypatch.setattr(sets, "FEWEST", 10**9)
    plain = ds.compare(picker, fixes)
    assert plain.combining.calls < full.combining.calls  # which solves the small sets first
    one, other = full.solved.answers, plain.solved.answers
    assert full.solved.masks == plain.solved.masks
    assert [row and row.words for row in one.reasons] == [row and row.words for row in other.reasons]
    for name in ("answer", "vacuum", "opening_air", "duct_air", "power"):
        ours, theirs = getattr(one, name), getattr(other, name)
        assert ours == pytest.approx(theirs, abs=1e-7 * np.nanmax(np.abs(theirs)), rel=0.0, nan_ok=True)
    assert (full.order, full.recommended) == (plain.order, plain.recommended)


def test_sets_with_fans_like_the_middles_need_no_proof_of_their_own(picker, fixes, monkeypatch):
    """A proof for a set costs as much as solving it; those of the run-ups are counted elsewhere."""
    proved = [0]
    plain = solving.only

    def only(eq, *args):
        proved[0] += eq.scenarios
        return plain(eq, *args)

    monkeypatch.setattr(solving, "only", only)
    tasks, _ = spelled_out(fixes[:12], picker)
    engine = sets.combining(picker, tasks, "weakest vacuum")
    found = engine.solve(((np.arange(2**12)[:, None] >> np.arange(12)) & 1).astype(bool))
    assert np.isfinite(found.answer).mean() > 0.7
    assert proved[0] < 0.15 * 2**12


def test_larger_sets_are_foretold_from_those_within_them(picker, fixes):
    names = ("seal hatch 4", "patch air box", "clean right screen", "driven pulley 230 mm")
    tasks, _ = spelled_out([fix for fix in fixes if fix.name in names], picker)
    rows = ((np.arange(16)[:, None] >> np.arange(4)) & 1).astype(bool)
    rows = rows[np.argsort(rows.sum(axis=1), kind="stable")]
    done = [[task.effects for task, has in zip(tasks, row, strict=True) if has] for row in rows]
    points = [picker.changed(together(effects)).solve().arrays.point for effects in done]
    unknowns = ("flow", "pressure", "temperature_rise")
    every = Point(*(np.hstack([getattr(p, name) for p in points]) for name in unknowns))
    error = []
    for known in (5, 11, 15):  # none and single fixes; pairs too; three too
        found = Starts(rows[:known], every.take(slice(known))).point(rows[15:])
        error.append(np.abs(found.pressure[:-1] / every.pressure[:-1, 15:] - 1.0).max())
    assert error[0] < 0.05 and error[1] < 0.2 * error[0] and error[2] < 0.2 * error[1]


# ---- the whole table


@pytest.fixture
def compiled(monkeypatch):
    """The networks that are compiled from here on."""
    made = []

    def counted(*what):
        made.append(what)
        return system.System(*what)

    monkeypatch.setattr(layout, "System", counted)
    return made


def test_all_sets_take_one_call_and_no_new_layout(picker, fixes, compiled):
    picker.solve()
    compiled.clear()
    found = ds.compare(picker, [fix for fix in fixes if fix.name in SOME])
    assert not compiled
    assert len(found.solved.masks) == 2 ** len(SOME)
    assert found.combining.calls == 2  # the machine as it is, then all sets


def test_each_set_of_replaced_parts_is_one_layout(picker, compiled):
    fixes = [
        ds.Fix("a", replace={"hose 4": ds.Hose(length=1.5, diameter=0.165)}),
        ds.Fix("b", replace={"hose 5": ds.Hose(length=1.5, diameter=0.165)}),
        ds.Fix("c", change={"hatch leak 4.area": 0.0}),
    ]
    picker.solve()
    compiled.clear()
    found = ds.compare(picker, fixes)
    assert found.order == ["c"]  # as advised the machine has its own parts
    assert len(compiled) == 3
    assert found.combining.calls == 5
    both = picker.replace({"hose 4": fixes[0].replace["hose 4"], "hose 5": fixes[1].replace["hose 5"]})
    answer = both.change({"hatch leak 4.area": 0.0}).ask("weakest vacuum")
    assert found.gain("a", "b", "c") == pytest.approx(answer - picker.ask("weakest vacuum"), abs=1e-6)
    assert found.done(["a", "c"]).layout is not picker.layout


def test_what_the_demonstration_is_meant_to_show(full):
    rows = {row["fix"]: row for row in full.rows()}
    assert rows["seal hatch 4"]["gain_Pa"] > 60
    assert rows["seal hatch 4"]["weakest_after"] == "5"
    assert ("only together", "seal cuff 5", "seal hatch 4") in {
        (row["effect"], row["fix"], row["with"]) for row in full.tables()["together"]
    }
    for name in ("seal joint 4", "seal hatch 4"):
        assert "moves vacuum and duct air opposite ways at unit 4" in rows[name]["remark"]
        assert rows[name]["vacuum_change_Pa"] * rows[name]["duct_air_change_kg_s"] < 0
    assert rows["seal joint 4"]["duct_air_change_kg_s"] > 0
    assert "opposite" not in rows["engine 100 rpm faster"]["remark"]


def test_over_a_limit_is_listed_and_never_recommended(full):
    rows = {row["fix"]: row for row in full.rows()}
    assert rows["driven pulley 205 mm"]["remark"].startswith(
        "not allowed: left fan and right fan turn at 4,2"
    )
    assert rows["driven pulley 205 mm"]["gain_Pa"] > 100
    verdict, reason = full.verdict("driven pulley 230 mm", "engine 100 rpm faster")
    assert verdict == "not allowed"
    assert "more than the 40.0 kW that it has" in reason
    for budget in (10, 60, 1000):
        for names in full.best(budget, count=50):
            assert "driven pulley 205 mm" not in names
            assert not {"driven pulley 230 mm", "engine 100 rpm faster"} <= set(names)
    for names in full.front():
        assert full.verdict(*names)[0] == ""
    assert any("driven pulley 205 mm is not allowed" in s for s in full.sentences())


def test_a_contradiction_fails_only_where_it_is(full):
    pulleys = ("driven pulley 205 mm", "driven pulley 230 mm")
    verdict, reason = full.verdict(*pulleys, "seal cuff 3")
    assert verdict == "contradiction"
    assert "belt.driven_pulley is changed twice" in reason
    assert math.isnan(full.gain(*pulleys))
    assert full.verdict(pulleys[1], "seal cuff 3") == ("", "")
    assert len(full.contradictions) == 1


def test_worths_add_up_and_leave_out_what_is_never_allowed(full):
    never = [i for i, task in enumerate(full.tasks) if task.fix.name == "driven pulley 205 mm"]
    assert [i for i in range(full.n) if i not in full.usable] == never
    everything = [task.fix.name for i, task in enumerate(full.tasks) if i in full.usable]
    assert np.nansum(full.worths) == pytest.approx(full.gain(*everything), abs=1e-9)


def test_a_fix_that_changes_nothing_is_worth_nothing_and_twins_are_equal(picker):
    fixes = [
        ds.Fix("nothing", change={"hose 1.length": "x1"}, minutes=5),
        ds.Fix("one half", change={"hatch leak 4.area": "x0.5"}, minutes=5),
        ds.Fix("other half", change={"hatch leak 4.area": "x0.5"}, minutes=5),
        ds.Fix("cuff", change={"cuff leak 5.coefficient": 0.0}, minutes=5),
    ]
    found = ds.compare(picker, fixes)
    worth = dict(zip([fix.name for fix in fixes], found.worths.tolist(), strict=True))
    assert worth["nothing"] == pytest.approx(0.0, abs=1e-7)
    assert worth["one half"] == pytest.approx(worth["other half"], abs=1e-7)
    assert found.worths.sum() == pytest.approx(found.gain(*worth), abs=1e-9)
    assert "nothing" not in found.best(60)[0]  # among equal gains the shorter work


def test_on_independent_units_each_worth_is_the_fixs_own_gain():
    """Two fans, each with a duct of its own: what is done to one does nothing to the other."""
    part = {"from": "outside", "speed": "1500 rpm", "curve_speed": "1500 rpm"}
    curve = {"flow": [0.0, 1.0, 2.0], "total_pressure": [1200.0, 1000.0, 300.0]}
    parts = []
    for name in "AB":
        parts.append({"name": f"fan {name}", "kind": "fan", "to": f"box {name}", **part, **curve})
        parts.append(
            {"name": f"duct {name}", "kind": "duct", "from": f"box {name}", "to": "outside"}
            | {"diameter": 0.2, "length": 4.0, "loss_coefficient": 3.0}
        )
    machine = ds.Machine.of({"format": 1, "part": parts})
    fixes = [
        ds.Fix("A shorter", change={"duct A.length": 2.0}),
        ds.Fix("B smoother", change={"duct B.loss_coefficient": 1.0}),
        ds.Fix("B faster", change={"fan B.speed": "1600 rpm"}),
    ]
    found = ds.compare(machine, fixes[:2], of="shaft power")
    own = [found.gain("A shorter"), found.gain("B smoother")]
    assert found.worths == pytest.approx(own, abs=1e-6)
    assert not found.together
    third = ds.compare(machine, fixes, of="shaft power")
    assert third.worths[0] == pytest.approx(own[0], abs=1e-6)
    # less power is better: more of it is a loss
    assert third.gain("B faster") < 0
    power = [machine.change(fixes[2].change).ask("shaft power"), machine.ask("shaft power")]
    assert third.gain("B faster") == pytest.approx(power[1] - power[0], abs=1e-6)


# ---- choosing


def test_the_front_is_what_no_other_set_beats(small):
    table = small.solved
    for axes in (("minutes",), ("minutes", "cost"), ("minutes", "cost", "power")):
        rows = [table.row(small.mask(names)) for names in small.front(axes)]
        gain = np.round(table.gain / (choice.CLOSE * table.base))
        power = np.round(table.power / (choice.CLOSE * np.median(table.answers.power[0])))
        own = {"minutes": table.minutes, "cost": table.cost, "power": power}
        small_is_good = np.column_stack([-gain, *(own[axis] for axis in axes)])
        allowed = np.flatnonzero(table.allowed)
        for k in allowed:
            as_good = (small_is_good[allowed] <= small_is_good[k]).all(axis=1)
            better = as_good & (small_is_good[allowed] < small_is_good[k]).any(axis=1)
            if k in rows:
                assert not better.any()
            else:  # beaten, or the same as one on the front
                assert as_good[np.isin(allowed, rows)].any()
    with pytest.raises(ds.UnknownName, match="unknown axis 'hours'"):
        small.front(("hours",))


def test_the_order_gains_most_early_on(small):
    names = ["seal hatch 4", "seal cuff 5", "clean right screen", "engine 100 rpm faster"]

    def area(order):
        """Gain so far times the minutes of the next fix, added up."""
        done, total = [], 0.0
        for name in order:
            fix = next(task.fix for task in small.tasks if task.fix.name == name)
            total += (small.gain(*done) if done else 0.0) * fix.minutes
            done.append(name)
        return total

    best = max(area(order) for order in itertools.permutations(names))
    assert area(small.order_of(names)) == pytest.approx(best)
    assert sorted(small.order_of(names)) == sorted(names)


def test_steps_that_are_not_allowed_are_gone_round(picker):
    """The small pulley alone asks too much of the belt; with the engine slower it does not."""
    fixes = [
        ds.Fix("small pulley", change={"belt.driven_pulley": "205 mm"}, minutes=1),
        ds.Fix("engine slower", change={"belt.engine_speed": "1850 rpm"}, minutes=30),
    ]
    found = ds.compare(picker, fixes)
    assert found.verdict("small pulley")[0] == "not allowed"
    assert found.verdict("small pulley", "engine slower")[0] == ""
    assert found.order_of(["small pulley", "engine slower"]) == ["engine slower", "small pulley"]
    assert found.usable == [0, 1]


def test_the_search_finds_what_the_full_table_holds(small):
    for budget in (30.0, 60.0, 120.0, None):
        table = SolvedSets(small.combining)
        table.need([0])
        choice.search(table, budget, 10_000)
        best = table.masks[table.ranked(budget)[0]]
        assert small.names(best) == small.best(10_000 if budget is None else budget)[0]
        assert len(table.masks) < 2 ** len(SOME)


def test_many_fixes_are_searched_and_said_so(picker, fixes, small, monkeypatch):
    monkeypatch.setattr(study, "MOST_EXACT", 5)
    monkeypatch.setattr(study, "ORDERS", 40)
    found = ds.compare(picker, [fix for fix in fixes if fix.name in SOME], budget=60)
    assert not found.exact
    assert found.best(60)[0] == small.best(60)[0]
    assert "too many sets to solve them all" in found.notes[0]
    assert np.all(np.abs(found.worths - small.worths) < 4 * found.worth_errors + 1e-6)
    assert found.worths.sum() == pytest.approx(small.worths.sum(), abs=15)
    assert found.order == small.order_of(found.best(60)[0])


def test_a_long_order_goes_by_gain_per_minute(small, monkeypatch):
    monkeypatch.setattr(choice, "MOST_ORDERED", 2)
    order = small.order_of(["seal hatch 4", "seal cuff 5", "engine 100 rpm faster"])
    assert order == ["engine 100 rpm faster", "seal hatch 4", "seal cuff 5"]


# ---- what is shown


def test_sentences_say_what_to_do_first(picker, fixes):
    found = ds.compare(picker, fixes, budget="1.5 h")
    assert found.budget == 90.0
    first, second, third, *_ = found.sentences()
    assert first.startswith("Within 90 minutes the best is to do engine 100 rpm faster, then seal hatch 4")
    assert "unit 5 is weakest then, no longer unit 4" in second
    for word in ("vacuum", "opening air", "duct air"):
        assert word in third
    assert "inH2O" in found.sentences("inch")[1]
    assert repr(found) == "<Comparison: 14 fixes, weakest vacuum, 90 minutes>"


def test_rows_and_tables_are_plain_and_show_vacuum_and_air_together(full):
    tables = full.tables()
    assert tables["fixes"] == full.rows()
    assert {"fixes", "best_sets", "order", "units", "front", "together", "refused"} == set(tables)
    for rows in tables.values():
        assert rows
        json.dumps(plain(rows), allow_nan=False)
        assert text(rows)
    for row in tables["units"]:
        assert {"vacuum_before_Pa", "opening_air_after_kg_s", "duct_air_after_kg_s"} <= set(row)
    assert len(full.table()) == len(full.fixes)
    sets = full.combinations()
    assert len(sets) == 2**14
    assert sets[0]["fixes"] == " + ".join(full.best(10_000)[0])
    assert full.combinations(count=5) == sets[:5]


def test_the_units_after_are_those_of_the_machine_with_the_fixes_done(full):
    state = full.done().solve()
    for row in full.units():
        assert row["vacuum_after_Pa"] == pytest.approx(state.vacuum[row["unit"]], abs=1e-6)
        assert row["duct_air_after_kg_s"] == pytest.approx(state.ask(f"duct air {row['unit']}"), abs=1e-9)


def test_cautions_are_those_of_what_is_advised(full, small):
    assert any("fumes" in caution for caution in full.cautions)
    assert any("highest speed" in caution for caution in full.cautions)
    assert full.cautions[-1].startswith("Follow the machine maker's limits")


def test_what_stands_against_a_set_is_data(full):
    """The verdict, the words and the limits passed, of fans too fast and of a belt that has too little."""
    reasons = full.solved.answers.reasons

    def reason(*names):
        return reasons[full.solved.row(full.mask(names))]

    fast = reason("driven pulley 205 mm")
    assert [(b.name, b.kind) for b in fast.breaches[:2]] == [("left fan", "speed"), ("right fan", "speed")]
    assert fast.verdict == "not allowed" and fast.words.startswith("left fan and right fan turn at")
    strong = reason("driven pulley 230 mm", "engine 100 rpm faster")
    (own,) = strong.breaches
    assert own.name == "belt" and own.allowed == pytest.approx(40e3) and own.value > 40e3
    assert strong.words.startswith(f"The fans on belt take {own.value / 1000:.1f} kW")
    assert full.verdict("driven pulley 230 mm", "engine 100 rpm faster")[1] == f"{strong.words}."
    assert reason("seal hatch 4") is None


def test_a_machine_without_units_is_compared_too():
    bench = {
        "format": 1,
        "part": [
            {"name": "fan", "kind": "fan", "from": "outside", "to": "box", "speed": "1500 rpm"}
            | {"curve_speed": "1500 rpm", "flow": [0.0, 1.0, 2.0], "total_pressure": [900.0, 800.0, 200.0]},
            {"name": "mouth", "kind": "opening", "from": "box", "to": "outside", "area": 0.05}
            | {"loss_coefficient": 1.5},
        ],
    }
    machine = ds.Machine.of(bench)
    found = ds.compare(machine, ds.Fix("wider", change={"mouth.area": 0.08}, minutes=3), of="mouth.flow")
    assert found.best()[0] == ["wider"]
    assert found.units() == []
    assert "goes from" in str(found)


def test_further_questions_stand_beside_the_first(picker, fixes):
    some = [fix for fix in fixes if fix.name in SOME[:3]]
    of = ["weakest vacuum", "shaft power left fan", "duct air 4"]
    found, alone = ds.compare(picker, some, of=of), ds.compare(picker, some)
    assert found.of == "weakest vacuum"
    assert found.order == alone.order and found.worths.tolist() == alone.worths.tolist()
    for rows in (found.tables()["fixes"], pickle.loads(pickle.dumps(found)).tables()["fixes"]):
        for row in rows:
            changed = found.done([row["fix"]])
            for words, measure in zip(of[1:], ("W", "kg_s"), strict=True):
                key = f"{'_'.join(words.split())}_change_{measure}"
                assert row[key] == pytest.approx(changed.ask(words) - picker.ask(words), rel=1e-6, abs=1e-9)
    assert "duct_air_4_change_kg_s" in found.tables()["order"][0]
    with pytest.raises(ds.UnknownName, match="duct air"):
        ds.compare(picker, some, of=["weakest vacuum", "duct air 44"])
