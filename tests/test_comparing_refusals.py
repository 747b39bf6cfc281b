"""Bad fixes: one sentence each, the others still computed; and what is asked wrongly."""

import pytest

import ductsim as ds


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


def test_bad_fixes_are_named_and_the_others_compared(picker):
    bad = {
        "no such thing": ds.Fix("no such thing", change={"hatch leak 9.area": 0.0}),
        "negative length": ds.Fix("negative length", change={"hose 4.length": "-2 m"}),
        "negative minutes": ds.Fix("negative minutes", change={"hose 4.length": 2.0}, minutes=-3),
        "against itself": ds.Fix("against itself", change={"hose 4.length": 2.0, "hose *.length": "x0.5"}),
        "no part": ds.Fix("no part", replace={"hose 4": 3.0}),
    }
    good = ds.Fix("seal hatch 4", change={"hatch leak 4.area": 0.0}, minutes=25)
    found = ds.compare(picker, [*bad.values(), good], budget=60)
    assert set(found.errors) == set(bad)
    for name, sentence in found.errors.items():
        assert sentence.startswith(f"fix {name!r}")
        assert sentence.count("\n") == 0
        assert any(row["fix"] == name and "not computed" in row["remark"] for row in found.rows())
        assert any(name in s for s in found.sentences())
    assert found.best()[0] == ["seal hatch 4"]
    assert {row["fixes"] for row in found.tables()["refused"]} == set(bad)


def test_only_bad_fixes_leave_the_machine_as_it_is(picker):
    found = ds.compare(picker, [ds.Fix("bad", change={"nothing.here": 1.0})])
    assert found.best() == [[]]
    assert found.sentences()[0] == "None of the fixes can be computed."  # not that none of them helps
    assert "nothing.here" in str(found)
    assert found.rows()[0]["fix"] == "bad"


def test_an_impossible_result_of_two_fixes_fails_alone(picker):
    fixes = [
        ds.Fix("blind the screen", change={"right screen.blinded": "x2"}),
        ds.Fix("blind it more", change={"right screen.blinded": "x3"}),
        ds.Fix("seal hatch 4", change={"hatch leak 4.area": 0.0}),
    ]
    found = ds.compare(picker, fixes)
    assert not found.errors
    verdict, reason = found.verdict("blind the screen", "blind it more")
    assert verdict == "impossible"
    assert "right screen.blinded" in reason
    assert found.verdict("blind the screen", "seal hatch 4") == ("", "")


def test_checks_that_need_several_numbers_are_made_for_each_set(picker):
    """A point of the fan's curve may move, but not past its neighbour."""
    fixes = [
        ds.Fix("second point", change={"left fan.flow[1]": "1.4 m3/s"}),
        ds.Fix("third point", change={"left fan.flow[2]": "1.3 m3/s"}),
        ds.Fix("seal hatch 4", change={"hatch leak 4.area": 0.0}),
    ]
    found = ds.compare(picker, fixes)
    verdict, reason = found.verdict("second point", "third point", "seal hatch 4")
    assert verdict == "impossible"
    assert "do not rise" in reason
    assert found.verdict("second point", "seal hatch 4") == ("", "")


def test_a_machine_over_its_limits_already_says_so(picker):
    strained = picker.change({"belt.available_power": "20 kW"})
    found = ds.compare(strained, [ds.Fix("engine slower", change={"belt.engine_speed": "1500 rpm"})])
    assert found.verdict()[0] == "not allowed"
    assert found.best()[0] == ["engine slower"]
    stuck = ds.compare(strained, [ds.Fix("seal hatch 4", change={"hatch leak 4.area": 0.0})])
    assert stuck.best() == []
    assert stuck.sentences()[0].startswith("As it is, the machine is not allowed to run: The fans on belt")


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda m, f: ds.compare(m, []), "there is no fix to compare"),
        (lambda m, f: ds.compare(m, "fixes.toml"), "fixes.toml: no such file of fixes"),
        (lambda m, f: ds.compare(m, 3), "3 is no list of fixes"),
        (lambda m, f: ds.compare(m, [3]), "3 is no fix"),
        (lambda m, f: ds.compare(m, [f, f]), "the name 'a' is used twice"),
        (lambda m, f: ds.compare(m, [f], budget=-1), "budget: -1 is no working time"),
        (lambda m, f: ds.compare(m, [f], budget="3 kg"), "budget: a time given in kg"),
        (
            lambda m, f: ds.compare(m, [f], of="weakest vacum"),
            "unknown question.*did you mean 'weakest vacuum'",
        ),
        (lambda m, f: ds.compare("picker.toml", [f]), "'picker.toml' is no machine"),
        (lambda m, f: ds.compare(m, f).gain("b"), "unknown fix 'b'"),
    ],
)
def test_what_is_asked_wrongly_gets_one_sentence(picker, call, sentence):
    fix = ds.Fix("a", change={"hose 1.length": 1.0})
    with pytest.raises(ds.InputError, match=sentence):
        call(picker, fix)
