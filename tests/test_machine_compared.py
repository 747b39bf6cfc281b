"""A machine beside another, as a document, and everything that may be asked of it."""

import copy
import pickle

import numpy as np
import pytest
import tomli_w

import ductsim as ds
from ductsim.files.writer import HEADER
from ductsim.version import VERSION


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


def test_a_machine_of_the_text_of_its_file(picker, tmp_path):
    picker.write(tmp_path / "m.toml")
    text = (tmp_path / "m.toml").read_text(encoding="utf-8")
    assert ds.Machine.of(text) == ds.Machine.of(picker.document()) == picker
    assert text == HEADER.format(version=VERSION) + tomli_w.dumps(picker.document())


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ("picker.toml", r"of: 'picker.toml' is not the text of a machine file; .* ds\.Machine\.read\(path\)"),
        ("a = [", r"is not TOML"),
        ("format = 1\n[[part]]\n", r"part: the key 'name' is missing"),
        (3, r"of: 3 is not a mapping; the tables of a machine file, or its text"),
        (None, r"of: None is not a mapping"),
    ],
)
def test_what_is_no_machine_is_refused(given, sentence):
    with pytest.raises(ds.InputError, match=sentence):
        ds.Machine.of(given)


def test_a_document_holds_no_columns(picker):
    with pytest.raises(ds.InputError, match="the machine has 2 scenarios"):
        picker.change({"hose 1.length": [1.0, 2.0]}).document()


def test_numbers_that_differ(picker):
    other = picker.change({"hatch leak 4.area": "0 cm2", "hose *.length": "x0.9"})
    found = picker.diff(other)
    assert {one.address for one in found.numbers} == {f"hose {i}.length" for i in range(1, 6)} | {
        "hatch leak 4.area"
    }
    for one in found.numbers:
        assert (one.first, one.second) == (picker.numbers[one.address], other.numbers[one.address])
    np.testing.assert_allclose(
        [row["ratio"] for row in found.rows() if "hose" in row["address"]], 0.9, rtol=1e-12
    )
    assert not found.elements
    assert found.sentences()[0].startswith("6 numbers differ: hose 1.length 1.20 m -> 1.08 m; ")
    assert "3.94 ft" in found.sentences("inch")[0]
    # the other way round it says the reverse
    back = other.diff(picker)
    assert {(one.address, one.first, one.second) for one in back.numbers} == {
        (one.address, one.second, one.first) for one in found.numbers
    }
    # what it lists is exactly what it takes
    assert picker.change({one.address: one.second for one in found.numbers}) == other


def test_the_same_machine_does_not_differ(picker):
    found = picker.diff(ds.Machine.of(picker.document()))
    assert not found
    assert found.rows() == []
    assert found.sentences() == ["The two machines have the same parts and the same numbers."]


def test_columns_are_told_by_their_median(picker):
    found = picker.diff(picker.change({"hose 1.length": [1.0, 2.0, 3.0]}))
    assert [(row["address"], row["second"]) for row in found.rows()] == [("hose 1.length", 2.0)]


def test_parts_and_units_that_came_or_went(picker):
    document = picker.document()
    document["part"] = [part for part in document["part"] if part["name"] != "hatch leak 4"]
    document["part"].append(
        {"name": "slit", "kind": "leak", "from": "outside", "to": "door 4", "area": "4 cm2"}
    )
    document["unit"][0]["name"] = "first"
    del document["crop"]
    other = ds.Machine.of({key: value for key, value in document.items() if key != "fill"})
    found = picker.diff(other)
    assert {(one.what, one.name, one.how) for one in found.elements} == {
        ("part", "hatch leak 4", "gone"),
        ("part", "slit", "added"),
        ("unit", "1", "gone"),
        ("unit", "first", "added"),
        ("table", "crop", "gone"),
    }
    assert not found.numbers
    assert "Added: part 'slit' and unit 'first'." in found.sentences()
    replaced = picker.diff(picker.replace({"hose 3": ds.Duct(length="1.9 m", diameter="165 mm")}))
    assert [(one.name, one.how) for one in replaced.elements] == [("hose 3", "with another kind")]
    row = next(row for row in replaced.rows() if row["address"] == "hose 3.stretch")
    assert row["second"] is None
    assert row["ratio"] is None
    assert "hose 3.length" not in {one.address for one in replaced.numbers}


def test_only_machines_are_held_against_each_other(picker):
    with pytest.raises(ds.InputError, match="diff: 3 is not a machine"):
        picker.diff(3)


def test_everything_that_is_listed_may_be_asked(picker):
    for machine in (picker, ds.demo("bench"), ds.demo("suction")):
        asked = machine.questions()
        state = machine.with_crop().solve() if machine.crop else machine.solve()
        assert len(asked) == len(set(asked)) == len(asked.rows()) > 10
        for row in asked.rows():
            if not row["of"].startswith(("ground speed", "carrying margin")):  # a search each
                assert np.ndim(state.ask(row["of"])) == 0, row
            assert row["label"]
        assert "weakest vacuum" in asked
        assert asked.table().set_index("of").loc["weakest vacuum", "measure"] == "Pa"
    assert not dict(zip(asked.asked, asked.more_is_better, strict=True))["shaft power"]


@pytest.mark.parametrize(
    "make", [lambda m: m.questions(), lambda m: m.diff(m.change({"hose 1.length": 2.0}))]
)
def test_they_are_copied_and_kept(picker, make, tmp_path):
    found = make(picker)
    found.save(tmp_path / "found")
    for other in (
        copy.copy(found),
        copy.deepcopy(found),
        pickle.loads(pickle.dumps(found)),
        ds.Result.load(tmp_path / "found"),
    ):
        assert type(other) is type(found)
        assert other.tables() == found.tables()
        assert repr(other) == repr(found)


def test_a_word_or_a_list_is_asked(picker):
    state = picker.solve()
    words = ["weakest vacuum", "shaft power", "hose 3.flow"]
    one_by_one = [state.ask(word) for word in words]
    assert state.ask(words) == state.ask(tuple(words)) == picker.ask(words) == one_by_one
    assert state.ask([]) == []
    many = picker.change({"hose 3.length": [1.0, 2.0]}).ask(words)
    assert [answer.shape for answer in many] == [(2,), (2,), (2,)]
    with pytest.raises(ds.UnknownName, match="unknown question 3"):
        state.ask(["weakest vacuum", 3])
    answers, slopes = picker.jacobian("weakest vacuum", "hose 3.length")
    several = picker.jacobian(["weakest vacuum"], ["hose 3.length"])
    assert (answers.shape, slopes.shape) == ((1,), (1, 1))
    np.testing.assert_array_equal(answers, several[0])
    np.testing.assert_array_equal(slopes, several[1])


def test_keys_are_completed_in_a_notebook(picker):
    state = picker.solve()
    for names in (state.flow, state.pressure, state.vacuum, state.power, picker.numbers):
        assert names._ipython_key_completions_() == list(names)
