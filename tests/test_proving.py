"""Proof of a fix: verdicts, the rate of false ones with common errors on, power, what it takes beforehand."""

import numpy as np
import pytest
from synthetic_readings import RPM, SPEED, small_picker

import ductsim as ds
from ductsim.readings.errors import ReadingErrors
from ductsim.readings.unknowns import unknowns_of
from ductsim.studies.proof import result as proving
from ductsim.studies.proof import study

FIX = ds.Fix("seal hatch 2", {"hatch leak 2.area": 0.0}, minutes=20)
ERRORS = ReadingErrors()


@pytest.fixture(scope="module")
def machine():
    return small_picker().change({"hatch leak 2.area": "250 cm2"})


def values(machine, speed):
    state = machine.change({"belt.engine_speed": speed}).solve()
    return {t: state.ask(f"tapping {t}") for t in ("door 1", "door 2", "air box")}


def taken(true, name, speed, rng, times=1):
    """Readings with every error that `ReadingErrors` states: its own, zero and scale, tachometer."""
    stated = speed * np.exp(ERRORS.tachometer * rng.standard_normal())
    zero, scale = ERRORS.zero * rng.standard_normal(), 1.0 + ERRORS.scale * rng.standard_normal()
    return [
        ds.Reading(
            tapping,
            scale * value + zero + np.hypot(ERRORS.swing, ERRORS.share * value) * rng.standard_normal(),
            engine_speed=stated,
            set=name,
            note=str(k),
        )
        for tapping, value in true.items()
        for k in range(times)
    ]


def test_a_fix_that_works_is_said_to_work(machine):
    rng = np.random.default_rng(1)
    before = taken(values(machine, SPEED), "before", SPEED, rng)
    after = taken(values(FIX.on(machine), 1.04 * SPEED), "after", 1.04 * SPEED, rng)
    got = ds.proof(machine, before, after, FIX)
    assert got.verdict == proving.AS_EXPECTED
    assert str(got).startswith("seal hatch 2: works as expected; the change is ")
    assert got.effect == pytest.approx(1.0, abs=0.5)
    rows = {row["where"]: row for row in got.rows()}
    assert rows["door 2"]["change"] == pytest.approx(
        rows["door 2"]["expected"], abs=3 * rows["door 2"]["change_sd"]
    )
    assert rows["door 2"]["expected_low"] < rows["door 2"]["expected"] < rows["door 2"]["expected_high"]
    assert got.power > 0.9
    assert "shows in" in got.notes[-1]
    assert got.cautions


def test_a_fix_without_effect_and_one_with_a_third_of_it(machine):
    rng = np.random.default_rng(2)
    before = taken(values(machine, SPEED), "before", SPEED, rng, times=3)
    same = taken(values(machine, SPEED), "after", SPEED, rng, times=3)
    assert ds.proof(machine, before, same, FIX).verdict == proving.NOT
    many = machine.change({"hatch leak 2.area": np.linspace(0.0245, 0.0255, 20)})
    weak = values(machine.change({"hatch leak 2.area": "170 cm2"}), SPEED)
    after = taken(weak, "after", SPEED, rng, times=3)
    assert ds.proof(many, before, after, FIX).verdict == proving.LESS


def simulated(machine, share, trials, seed, times=1):
    """Verdicts over many sets of readings: the covariance and the weights stay, only the errors are new."""
    rng = np.random.default_rng(seed)
    before, after = values(machine, SPEED), values(FIX.on(machine), SPEED)
    true = {t: before[t] + share * (after[t] - before[t]) for t in before}
    single = machine.change({"hatch leak 2.area": np.full(3, 0.025)})
    return [
        ds.proof(
            single,
            taken(before, "before", SPEED, rng, times),
            taken(true, "after", SPEED, rng, times),
            FIX,
        )
        for _ in range(trials)
    ]


WORKING = (proving.AS_EXPECTED, proving.LESS, proving.MORE)


def test_false_proofs_are_rarer_than_five_in_a_hundred(machine, monkeypatch):
    """No effect, all common errors on. Expected changes are kept: they do not depend on readings."""
    kept = {}

    def made(machines, points, near=None):
        key = id(machines.layout), tuple(np.ravel(machines.numbers["hatch leak 2.area"])), len(points)
        if key not in kept:
            kept[key] = inner(machines, points)
        return kept[key]

    inner = study.made
    monkeypatch.setattr(study, "made", made)
    monkeypatch.setattr(study, "refuse", lambda *given: None)
    none = simulated(machine, 0.0, 400, 3)
    false = np.mean([p.verdict in WORKING for p in none])
    print(f"false 'works' on sets without effect: {false:.3f}")
    assert false < 0.05
    full = simulated(machine, 1.0, 200, 4)
    shown = np.mean([p.verdict in WORKING for p in full])
    predicted = full[0].power
    print(f"power {shown:.3f}, predicted {predicted:.3f}")
    assert shown == pytest.approx(predicted, abs=0.05)
    small = simulated(machine, 0.12, 300, 5)
    shown = np.mean([p.verdict in WORKING for p in small])
    from scipy.special import ndtr

    expected = float(ndtr(0.12 / small[0].effect_sd - proving.SURE))
    print(f"an eighth of the effect shows in {shown:.3f}, predicted {expected:.3f}")
    assert shown == pytest.approx(expected, abs=0.09)


def test_common_errors_count(machine):
    """Without them, the spread of the effect would be far too small."""
    rng = np.random.default_rng(6)
    before = taken(values(machine, SPEED), "before", SPEED, rng)
    after = taken(values(machine, SPEED), "after", SPEED, rng)
    faster = ds.Fix("10 rpm more", {"belt.driven_pulley": "x0.99"})
    real = ds.proof(machine, before, after, faster)
    blind = ds.proof(
        machine, before, after, faster, errors=ReadingErrors(zero=0.0, scale=0.0, tachometer=0.0)
    )
    assert real.effect_sd > 2.0 * blind.effect_sd
    assert real.verdict in (proving.UNTOLD, proving.NOT)


def test_the_same_set_before_and_after_shares_its_errors(machine):
    rng = np.random.default_rng(7)
    before = taken(values(machine, SPEED), "before", SPEED, rng)
    after = taken(values(FIX.on(machine), SPEED), "after", SPEED, rng)
    apart = ds.proof(machine, before, after, FIX)
    one = [
        [ds.Reading(r.tapping, r.value, engine_speed=SPEED, set="one") for r in s] for s in (before, after)
    ]
    together = ds.proof(machine, *one, FIX)
    assert together.effect_sd < apart.effect_sd


def test_what_it_takes_beforehand(machine):
    plan = ds.proof(machine, None, None, FIX)
    assert plan.planned
    assert str(plan).startswith(
        "To prove seal hatch 2, one reading at each of 2 places before and after will do."
    )
    assert plan.readings_needed == 1
    small = ds.proof(machine, None, None, {"cuff leak 1.coefficient": 0.0}, at=["door 1", "door 2"])
    assert small.readings_needed is None or small.readings_needed > 1
    rough = ds.proof(machine, None, None, FIX, errors=ReadingErrors(swing=25.0))
    assert rough.readings_needed > 1
    assert rough.readings_needed == needed_by_hand(rough)
    speed = ds.proof(machine, None, None, {"belt.driven_pulley": "x0.995"})
    assert speed.readings_needed is None
    assert "the errors common to a set hide the change" in str(speed)
    assert speed.sets_needed == int(np.ceil((speed.effect_sd / proving.NEEDED) ** 2))
    nothing = ds.proof(machine, None, None, {"hatch leak 2.area": 0.025}, at=["door 1"])
    assert nothing.power == pytest.approx(0.025, abs=0.01) or not nothing.expected.any() or nothing.planned


def needed_by_hand(plan):
    """Readings at each place at which the effect is known to `NEEDED`, by trying."""
    own, common = np.diag(plan.covariance - plan.common @ plan.common.T), plan.common
    for n in range(1, 200):
        inverse = np.linalg.inv(np.diag(own) / n + common @ common.T)
        if (plan.expected @ inverse @ plan.expected) ** -0.5 <= proving.NEEDED:
            return n
    return None


def test_some_places_of_a_proof_are_the_proof_at_these_places(machine):
    places = list(machine.layout.tapping)
    some = [places[-1], places[0]]
    part, alone = (
        ds.proof(machine, None, None, FIX, at=places).only(some),
        ds.proof(machine, None, None, FIX, at=some),
    )
    assert [point.tapping for point in part.points] == some
    for word in ("means", "counts", "changes", "covariance", "weights", "power"):
        assert getattr(part, word) == pytest.approx(getattr(alone, word), rel=1e-6), word
    assert (part.readings_needed, part.sets_needed) == (alone.readings_needed, alone.sets_needed)


def test_more_readings_are_asked_for_when_it_cannot_be_told(machine):
    rng = np.random.default_rng(8)
    rough = ReadingErrors(swing=60.0)
    before = taken(values(machine, SPEED), "before", SPEED, rng)
    after = taken(values(FIX.on(machine), SPEED), "after", SPEED, rng)
    got = ds.proof(machine, before, after, FIX, errors=rough)
    assert got.verdict == proving.UNTOLD
    assert "cannot be told" in str(got)
    assert "more readings at each place, before and after, would tell" in str(got)


def test_a_higher_engine_speed_is_a_fix_too(machine):
    rng = np.random.default_rng(9)
    faster = ds.Fix("engine 10 % faster", {"belt.engine_speed": "x1.1"})
    before = taken(values(machine, SPEED), "before", SPEED, rng)
    after = taken(values(machine, 1.1 * SPEED), "after", 1.1 * SPEED, rng)
    got = ds.proof(machine, before, after, faster)
    assert got.verdict == proving.AS_EXPECTED
    assert got.effect == pytest.approx(1.0, abs=0.4)


def test_a_fit_knows_the_effect_better_than_a_machine_as_described(machine):
    """By half at least where jets surely mix; less where not, as poor mixing reads like a small leak."""
    rng = np.random.default_rng(10)
    before = taken(values(machine, SPEED), "before", SPEED, rng)
    after = taken(values(FIX.on(machine), SPEED), "after", SPEED, rng)
    blanked = [f"{side} {i}" for side in ("front", "rear") for i in (1, 2)]
    shut = machine.change({f"{o}.area": 0.0 for o in blanked})
    more = [
        ds.Reading(r.tapping, r.value, engine_speed=r.engine_speed, set="C", blanked=tuple(blanked))
        for r in taken(values(shut, SPEED), "C", SPEED, rng)
    ]
    leaks = dict.fromkeys(u.address for u in unknowns_of(machine))
    mixing = {"jet *.mixing_effectiveness": (0.9, 0.98, 1.0)}
    known, fit = (ds.fit(machine, [*before, *more], asked, draws=100) for asked in (leaks | mixing, leaks))
    proofs = [ds.proof(m, before, after, FIX) for m in (known, fit, small_picker())]
    assert {got.verdict for got in proofs[:2]} == {proving.AS_EXPECTED}
    true = values(FIX.on(machine), SPEED)["door 2"] - values(machine, SPEED)["door 2"]
    place = [p.where for p in proofs[0].points].index("door 2")
    by_known, by_fit, as_described = (abs(got.expected[place] - true) for got in proofs)
    assert by_known < 0.5 * as_described
    assert by_known < by_fit < as_described


def test_changes_without_the_expected_pattern_are_said(machine):
    before = [ds.Reading(t, v, engine_speed=SPEED, set="a") for t, v in values(machine, SPEED).items()]
    moved = {"door 1": -80.0, "door 2": -5.0, "air box": 0.0}
    after = [ds.Reading(r.tapping, r.value + moved[r.tapping], engine_speed=SPEED, set="a") for r in before]
    assert "something else moved" in str(ds.proof(machine, before, after, FIX))


def test_places_read_once_only_are_said(machine):
    true = values(machine, SPEED)
    before = [ds.Reading(t, v, engine_speed=SPEED) for t, v in true.items()]
    got = ds.proof(machine, before, before[:2], FIX)
    assert len(got.points) == 2
    assert any("air box" in note and "was read before only and is left out" in note for note in got.notes)


def test_what_is_wrong_has_its_sentence(machine):
    true = values(machine, SPEED)
    readings = [ds.Reading(t, v, engine_speed=SPEED) for t, v in true.items()]
    with pytest.raises(ds.InputError, match="no place was read both before and after"):
        ds.proof(machine, readings[:1], readings[1:], FIX)
    with pytest.raises(ds.InputError, match="is no fix"):
        ds.proof(machine, readings, readings, "seal it")
    with pytest.raises(ds.InputError, match="is not a machine"):
        ds.proof(7, readings, readings, FIX)
    with pytest.raises(ds.InputError, match="only one set of readings"):
        ds.proof(machine, readings, None, FIX)
    with pytest.raises(ds.UnknownName, match="did you mean 'door 1'"):
        ds.proof(machine, None, None, FIX, at=["dor 1"])
    with pytest.raises(ds.UnknownName, match="hatch leak 2"):
        ds.proof(machine, readings, readings, {"hatch leek 2.area": 0.0})


def test_readings_without_engine_speed_prove_only_by_their_ratios(machine):
    """One unit against its neighbour: a common speed error is taken up by the other unit's reading."""
    before, after = values(machine, SPEED), values(FIX.on(machine), 1.1 * SPEED)
    sets = [[ds.Reading(t, v, set=n) for t, v in side.items()] for n, side in (("b", before), ("a", after))]
    got = ds.proof(machine, *sets, FIX)
    assert got.effect == pytest.approx(1.0, abs=0.25)
    assert got.effect_sd < 0.7
    assert 2100 * RPM == SPEED


def test_errors_of_one_set_cancel_in_a_change(machine):
    """Zero and scale of a gauge: of one set the zero falls out and the scale acts on the change alone; of two

    sets both count twice, in squares.
    """
    true = [values(machine, SPEED), values(FIX.on(machine), SPEED)]

    def sd(names, **errors):
        sides = [
            [ds.Reading(t, v, engine_speed=SPEED, set=name) for t, v in own.items()]
            for own, name in zip(true, names, strict=True)
        ]
        usual = {"zero": 0.0, "scale": 0.0, "tachometer": 0.0} | errors
        rows = ds.proof(machine, *sides, FIX, errors=ReadingErrors(**usual)).rows()
        return next(row["change_sd"] for row in rows if row["where"] == "door 2")

    one, two = ("a", "a"), ("a", "b")
    before, after = (own["door 2"] for own in true)
    assert sd(one, zero=9.0) == pytest.approx(sd(one), rel=1e-9)
    assert sd(two, zero=9.0) ** 2 - sd(two) ** 2 == pytest.approx(2 * 81.0, rel=1e-2)
    assert sd(one, scale=0.1) ** 2 - sd(one) ** 2 == pytest.approx((0.1 * (after - before)) ** 2, rel=1e-2)
    both = 0.01 * (after**2 + before**2)
    assert sd(two, scale=0.1) ** 2 - sd(two) ** 2 == pytest.approx(both, rel=1e-2)


def test_proofs_of_fixes_one_after_the_other_are_those_of_each(machine, monkeypatch):
    fixes = [FIX, ds.Fix("seal hatch 1", {"hatch leak 1.area": 0.0}, minutes=20)]
    columns = study.possible_columns(machine, 0)
    befores = [columns, fixes[0].on(columns)]
    alone = [ds.proof(before, None, None, fix) for before, fix in zip(befores, fixes, strict=True)]
    solved, calls, own = study.Solved(), [], study.made
    monkeypatch.setattr(study, "made", lambda *given: calls.append(given) or own(*given))
    for before, fix, one in zip(befores, fixes, alone, strict=True):
        found = study.planned_beside(solved, before, fix)
        assert found.changes == pytest.approx(one.changes, rel=1e-6, abs=1e-6)
        assert found.readings_needed == one.readings_needed
    assert len(calls) == 3  # before, after the first, after the second


def test_it_says_when_the_machine_is_taken_as_described(machine):
    """A leak that is not known may make a fix worth several times as much; a plan and a fit say nothing."""
    rng = np.random.default_rng(1)
    before = taken(values(machine, SPEED), "before", SPEED, rng)
    after = taken(values(FIX.on(machine), SPEED), "after", SPEED, rng)
    fitted = ds.fit(machine, before, draws=60)
    says = [
        "as described" in [note.kind for note in found.notes]
        for found in (
            ds.proof(machine, before, after, FIX),
            ds.proof(machine, None, None, FIX),
            ds.proof(fitted, before, after, FIX),
        )
    ]
    assert says == [True, False, False]
