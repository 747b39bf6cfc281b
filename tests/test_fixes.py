"""Fixes: made by hand and read from files, spelled out for a machine, with their cautions and sentences."""

import pickle

import numpy as np
import pytest

import ductsim as ds
from ductsim.cautions import ALWAYS, CAUTIONS
from ductsim.fixes.file import fixes_of
from ductsim.fixes.fix import Task, all_cautions
from ductsim.machine.demos import FOLDER


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


def read(tmp_path, text):
    path = tmp_path / "fixes.toml"
    path.write_text(text, encoding="utf-8")
    return ds.read_fixes(path)


def test_the_pickers_file_holds_what_the_demonstration_needs(picker):
    fixes = ds.read_fixes(FOLDER / "picker_fixes.toml")
    assert len(fixes) >= 10
    assert not [fix.problem for fix in fixes if fix.problem]
    assert all(isinstance(Task.of(fix, picker), Task) for fix in fixes)


def test_times_and_costs_carry_their_measures(tmp_path):
    (fix,) = read(
        tmp_path,
        'format = 1\n[[fix]]\nname = "a"\nchange = { "hose 1.length" = "1 m" }\nminutes = "1.5 h"\ncost = 12',
    )
    assert (fix.minutes, fix.cost) == (90.0, 12.0)
    assert ds.Fix("b", minutes=25).minutes == 25.0


def test_addresses_without_quotes_mean_the_same(picker):
    document = {"format": 1, "fix": [{"name": "a", "change": {"belt": {"slip": 0.01}}}]}
    assert dict(fixes_of(document)[0].change) == {"belt.slip": 0.01}
    assert fixes_of(document)[0].on(picker).numbers["belt.slip"] == 0.01


def test_a_fix_done_is_the_change_done(picker):
    change = {"hose *.length": "x0.5", "hatch leak 4.area": "0 cm2"}
    assert ds.Fix("a", change=change).on(picker) == picker.change(change)


def test_a_part_of_the_same_form_becomes_its_numbers(picker):
    ends = {"inlet": "rounded", "inlet_radius": 0.02, "outlet": "free"}
    hose = ds.Hose(length=1.0, diameter=0.2, bends=[{"angle": 0.5, "radius": 0.3}], **ends)
    fix = ds.Fix("new hose", replace={"hose 3": hose})
    task = Task.of(fix, picker)
    assert not task.parts
    assert fix.on(picker).layout is picker.layout
    assert fix.on(picker).part("hose 3") == hose


def test_a_part_of_another_form_needs_another_layout(picker):
    fix = ds.Fix("straight", replace={"hose 3": ds.Hose(length=1.0, diameter=0.2)})
    done = fix.on(picker)
    assert done.layout is not picker.layout
    assert done.solve().vacuum["3"] != picker.solve().vacuum["3"]


def test_a_part_in_a_file_takes_its_kind_and_speed_from_the_old_one(picker):
    fix = ds.Fix(
        "other fan",
        replace={
            "left fan": {
                "flow": [0, 1, 2, 3],
                "total_pressure": [6000, 6300, 4900, 1600],
                "curve_speed": "3600 rpm",
                "highest_speed": "4200 rpm",
            }
        },
    )
    done = fix.on(picker)
    assert done.part("left fan").speed == pytest.approx(picker.part("left fan").speed)
    assert "left fan.speed" not in done.numbers  # it still hangs on the belt


def test_a_change_of_a_replaced_part_acts_on_the_new_one(picker):
    hose = ds.Hose(length=2.0, diameter=0.2)
    fix = ds.Fix("both", replace={"hose 3": hose}, change={"hose 3.length": "x0.5", "hose 1.length": 1.0})
    done = fix.on(picker)
    assert done.numbers["hose 3.length"] == 1.0
    assert done.numbers["hose 1.length"] == 1.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"hatch leak 4.area": 0}, "sealant"),
        ({"hose 4.length": 1.0}, "hot"),
        ({"belt.driven_pulley": 0.23}, "guards"),
        ({"belt.engine_speed": 230.0}, "highest_speed"),
        ({"left fan.soiling": 0.0}, "lint"),
        ({"jet 4.nozzle_area": 0.008}, "edges"),
        ({"front 4.area": 0.02}, "edges"),
    ],
)
def test_the_cautions_of_what_a_fix_touches_are_shown_unasked(picker, change, words):
    cautions = Task.of(ds.Fix("a", change=change), picker).cautions
    assert CAUTIONS[words] in cautions
    assert cautions[-1] == ALWAYS


def test_cautions_of_ones_own_and_of_several_fixes(picker):
    one = Task.of(ds.Fix("a", change={"hose 1.length": 1.0}, caution=["noise", "Mind the dog."]), picker)
    two = Task.of(ds.Fix("b", change={"hatch leak 1.area": 0.0}), picker)
    assert CAUTIONS["noise"] in one.cautions
    assert "Mind the dog." in one.cautions
    both = all_cautions([one, two])
    assert both[-1] == ALWAYS
    assert both.count(ALWAYS) == 1
    assert {*one.cautions, *two.cautions} == {*both}
    assert Task.of(ds.Fix("c", change={"air.temperature": 300.0}), picker).cautions == [ALWAYS]


def test_factors_multiply_and_settings_contradict(picker):
    half = Task.of(ds.Fix("half", change={"hose 1.length": "x0.5"}), picker)
    third = Task.of(ds.Fix("third", change={"hose *.length": "x0.3"}), picker)
    one = Task.of(ds.Fix("one", change={"hose 1.length": 1.0}), picker)
    same = Task.of(ds.Fix("same", change={"hose 1.length": "1 m"}), picker)
    two = Task.of(ds.Fix("two", change={"hose 1.length": 2.0}), picker)
    other = Task.of(ds.Fix("other", replace={"hose 1": ds.Hose(length=1.0, diameter=0.2)}), picker)
    wide = Task.of(ds.Fix("wide", replace={"hose 1": ds.Hose(length=1.0, diameter=0.3)}), picker)
    assert half.against(third) == ""
    assert one.against(same) == ""
    assert other.against(other) == ""
    assert "hose 1.length is changed twice: set to 1 and set to 2" in one.against(two)
    assert "half and one contradict each other" in half.against(one)
    assert "one replaces 'hose 1', the other changes it" in half.against(other)
    assert "each puts another part in the place of 'hose 1'" in wide.against(other)


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"minutes": -5}, "fix 'a', minutes: -5 is no working time; 0 minutes or more"),
        ({"minutes": "3 kg"}, "fix 'a', minutes: a time given in kg"),
        ({"minutes": [1, 2]}, "fix 'a', minutes: [1, 2] is no working time"),
        ({"cost": -1.0}, "fix 'a', cost: -1.0 is no cost; 0 or more"),
        ({"cost": float("nan")}, "fix 'a', cost: nan is no finite number"),
        ({"caution": "sael"}, "fix 'a', caution: unknown caution 'sael'; did you mean 'seal'?"),
        ({"caution": [1]}, "fix 'a', caution: [1] is no caution"),
    ],
)
def test_numbers_without_sense_are_kept_with_their_sentence(picker, values, sentence):
    fix = ds.Fix("a", change={"hose 1.length": 1.0}, **values)
    assert fix.problem.startswith(sentence)
    with pytest.raises(ds.InputError, match="fix 'a'"):
        fix.on(picker)


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"change": {"hose 9.length": 1.0}}, "unknown address 'hose 9.length'.*did you mean"),
        ({"change": {"hose 1.length": "-1 m"}}, "hose 1.length.*-1 m is out of range"),
        ({"change": {"hose 1.length": "1 kPa"}}, "hose 1.length: a length given in kPa"),
        ({"change": {"hose 1.length": 1.0, "hose *.length": 2.0}}, "changed twice"),
        ({"change": {"belt.engine_speed": "9000 rpm"}}, "speed from its drive"),
        ({"replace": {"hose 9": ds.Hose(length=1.0, diameter=0.2)}}, "unknown part 'hose 9'"),
        ({"replace": {"hose 9": {"length": 1.0}}}, "unknown part 'hose 9'"),
        ({"replace": {"hose 1": {"length": 1.0}}}, "the key 'diameter' is missing"),
        ({"replace": {"hose 1": {"kind": "hoes"}}}, "unknown kind 'hoes'.*did you mean 'hose'"),
        ({"replace": {"hose 1": 5}}, "5 is not a part"),
        ({"replace": {"hose 1": ds.Jet(nozzle_area=0.01, mixing_area=0.06)}}, "has the ends"),
    ],
)
def test_a_fix_that_does_not_suit_the_machine_says_why(picker, values, sentence):
    with pytest.raises(ds.InputError, match="(?s)^fix 'a'.*" + sentence):
        ds.Fix("a", **values).on(picker)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("[[fix]]\nname = 'a'", "the key 'format' is missing"),
        ("format = 1", "there is no fix; write a \\[\\[fix\\]\\]"),
        ("format = 1\n[[fix]]\nminutes = 3", "the key 'name' is missing"),
        ("format = 1\n[[fix]]\nname = 'a'\nminuts = 3", "unknown key 'minuts'; did you mean 'minutes'"),
        ("format = 1\n[[fixes]]\nname = 'a'", "unknown key 'fixes'; did you mean 'fix'"),
        ("format = 1\n[[fix]]\nname = 'a'\nchange = 3", "change: 3 is no mapping"),
        ("format = 1\n[[fix]]\nname = 'a'\n[[fix]]\nname = 'a'", "the name 'a' is used twice"),
        ("format = 1\n[[fix]]\nname = ''", "'' is no name"),
        ("format = 7\n[[fix]]\nname = 'a'", "format 7 is newer"),
        ("x", "is not TOML"),
    ],
)
def test_files_that_are_wrong_say_where(tmp_path, text, sentence):
    with pytest.raises(ds.InputError, match=sentence) as caught:
        read(tmp_path, text)
    assert "fixes.toml" in str(caught.value)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(ds.InputError, match="no such file of fixes"):
        ds.read_fixes(tmp_path / "none.toml")


def test_fixes_are_pickled_and_shown(picker):
    fix = ds.Fix("a", change={"hose 1.length": "x0.5"}, minutes=3, caution="seal")
    again = pickle.loads(pickle.dumps(fix))
    assert again.on(picker) == fix.on(picker)
    assert repr(again) == "<Fix 'a': 3 min>"


def test_what_is_wrong_with_a_fix_goes_with_it(picker):
    """The number that was wrong is not kept, so its sentence has to be."""
    bad = ds.Fix("a", change={"hose 1.length": 1.0}, minutes=-3)
    again = pickle.loads(pickle.dumps(bad))
    assert bad.problem and again.problem == bad.problem
    with pytest.raises(ds.InputError) as told:
        Task.of(again, picker)
    assert str(told.value) == bad.problem
    with pytest.raises(TypeError):
        again.change["hose 1.length"] = 2.0


def test_a_fix_may_carry_a_column(picker):
    fix = ds.Fix("a", change={"hose 1.length": ds.times(np.array([0.5, 1.0]))})
    assert Task.of(fix, picker).columns == 2
    assert fix.on(picker).columns == 2
