"""Ensembles in a folder and in worker processes: they never answer for something else."""

import inspect
import json
import os
import shutil
import sys
from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

import ductsim as ds
from ductsim.errors import InputError
from ductsim.parts.declare import KINDS
from ductsim.questions.vocabulary import WORDS
from ductsim.studies.ensemble import study as sampling
from ductsim.studies.ensemble.points import chunk_points

OPTIONS = {"samples": 10, "chunk": 4, "seed": 2}


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


@pytest.fixture(scope="module")
def bench():
    return ds.demo("bench")


def drawn(machine, folder, **options):
    return ds.ensemble(machine, folder=folder, **{**OPTIONS, **options})


@pytest.fixture(scope="module")
def picker_made(picker, tmp_path_factory):
    folder = tmp_path_factory.mktemp("picker") / "e"
    drawn(picker, folder)
    return folder


@pytest.fixture(scope="module")
def made(bench, tmp_path_factory):
    """A folder of three chunks, and the answers in it."""
    folder = tmp_path_factory.mktemp("bench") / "e"
    return folder, drawn(bench, folder).answers


@pytest.fixture
def kept(made, tmp_path):
    shutil.copytree(made[0], tmp_path / "e")
    return tmp_path / "e"


# ---- another input is refused


def laid(machine, **layout):
    return ds.Machine(replace(machine.layout, **layout), machine.numbers, machine.given)


def first(objects, **fields):
    return (replace(objects[0], **fields), *objects[1:])


def driven(machine):
    """The left fan turned by another drive of the same numbers."""
    layout = machine.layout
    other = replace(layout.drives[0], name="another belt")
    parts = tuple(replace(p, drive=other.name) if p.drive else p for p in layout.parts)
    numbers = {
        a.replace(f"{layout.drives[0].name}.", f"{other.name}."): v for a, v in machine.numbers.items()
    }
    return ds.Machine(replace(layout, drives=(other, *layout.drives[1:]), parts=parts), numbers)


OTHERS = {
    "another number": lambda m: m.change({"hose 1.length": "x1.0000001"}),
    "vacuum taken elsewhere": lambda m: laid(
        m, units=first(m.layout.units, vacuum_at=m.layout.units[1].vacuum_at)
    ),
    "a unit less": lambda m: laid(m, units=m.layout.units[1:]),
    "other openings": lambda m: laid(m, units=first(m.layout.units, openings=())),
    "a tapping elsewhere": lambda m: laid(m, tappings=first(m.layout.tappings, end="from")),
    "another drive": driven,
    "a part turned round": lambda m: laid(m, parts=first(m.layout.parts, ends=m.layout.parts[0].ends[::-1])),
    "a remark": lambda m: laid(m, parts=first(m.layout.parts, note="seen")),
    "crop in the ducts": lambda m: m.with_crop(),
    "no crop known": lambda m: ds.Machine(
        replace(m.layout, crop=None), {a: v for a, v in m.numbers.items() if not a.startswith("crop.")}
    ),
    "another free table": lambda m: laid(m, free={**m.layout.free, "trim": [{"number": "a"}]}),
}


@pytest.mark.parametrize("words", OTHERS)
def test_a_folder_never_answers_for_another_machine(picker, picker_made, words):
    other = OTHERS[words](picker)
    with pytest.raises(InputError, match="holds the chunks of another input"):
        drawn(other, picker_made)
    assert drawn(picker, picker_made).folder_notes == []


@pytest.mark.parametrize(
    "options",
    [
        {"samples": 11},
        {"chunk": 5},
        {"seed": 3},
        {"method": "random"},
        {"of": "shaft power"},
        {"shares": True},
    ],
)
def test_a_folder_never_answers_for_another_draw(bench, kept, options):
    with pytest.raises(InputError, match="holds the chunks of another input"):
        drawn(bench, kept, **options)


WORD = """
import ductsim as ds
FACTOR = {factor}
def install():
    @ds.add_word("scaled vacuum", lambda layout: [""])
    def make(layout, name):
        return ds.Question("scaled vacuum", "Pa", "scaled", lambda machine, flows: FACTOR * machine.crop.slip)
"""


def own_module(monkeypatch, name, text):
    module = ModuleType(name)
    monkeypatch.setitem(sys.modules, name, module)
    exec(text, module.__dict__)
    return module


def test_a_folder_never_answers_for_another_meaning_of_a_word(picker, tmp_path, monkeypatch):
    monkeypatch.setitem(WORDS, "scaled vacuum", None)  # so that it is gone after the test
    own_module(monkeypatch, "own_word", WORD.format(factor=1.0)).install()
    one = drawn(picker, tmp_path / "e", of="scaled vacuum")
    own_module(monkeypatch, "own_word", WORD.format(factor=1.0)).install()  # a cell run twice
    assert np.array_equal(drawn(picker, tmp_path / "e", of="scaled vacuum").answers, one.answers)
    own_module(monkeypatch, "own_word", WORD.format(factor=2.0)).install()
    with pytest.raises(InputError, match="holds the chunks of another input"):
        drawn(picker, tmp_path / "e", of="scaled vacuum")
    assert np.array_equal(drawn(picker, None, of="scaled vacuum").answers, 2.0 * one.answers)


PART = """
import ductsim as ds
SHARE = {share}
def mat_loss(flow, air, *, coefficient):
    loss = SHARE * coefficient
    return loss * flow * abs(flow), 2.0 * loss * abs(flow) + 1e-9, 0.0 * flow
@ds.part("mat of the tests")
class Mat(ds.Part):
    coefficient: float = ds.number("", above=0.0, spread=0.1, doc="coefficient")
    def paths(self):
        return (ds.Path(mat_loss, {{"coefficient": self.coefficient}}, area=0.01),)
"""
WITH_MAT = {
    "format": 1,
    "title": "mat (invented)",
    "part": [
        {"name": "mat", "kind": "mat of the tests", "from": "outside", "to": "box", "coefficient": 1e6},
        {
            "name": "hole",
            "kind": "opening",
            "from": "box",
            "to": "outside",
            "area": 0.01,
            "loss_coefficient": 1,
        },
    ],
    "supply": [{"node": "box", "mass_flow": -0.05}],
}


def mat(monkeypatch, share):
    own_module(monkeypatch, "own_mat", PART.format(share=share))
    return ds.Machine.of(WITH_MAT)


def of_mat(machine, folder=None):
    return ds.ensemble(machine, [{"number": "mat.coefficient"}], "mat.flow", samples=8, folder=folder)


def test_a_folder_never_answers_for_another_law(tmp_path, monkeypatch):
    monkeypatch.setitem(KINDS, "mat of the tests", None)
    one = of_mat(mat(monkeypatch, 1.0), tmp_path / "e")
    assert np.array_equal(of_mat(mat(monkeypatch, 1.0), tmp_path / "e").answers, one.answers)
    with pytest.raises(InputError, match="holds the chunks of another input"):
        of_mat(mat(monkeypatch, 0.25), tmp_path / "e")
    assert not np.allclose(of_mat(mat(monkeypatch, 0.25)).answers, one.answers)


def test_a_worker_with_another_law_does_not_answer(monkeypatch):
    """The machine is sent by name of its parts: a worker that was started earlier may know others."""
    import pickle

    monkeypatch.setitem(KINDS, "mat of the tests", None)
    job = sampling._job(
        mat(monkeypatch, 1.0), [{"number": "mat.coefficient"}], "mat.flow", 8, 0, "random", 8, False
    )
    packed = pickle.dumps(job)
    assert sampling._chunk(packed, 0)["answers"].shape == (1, 8)
    sampling._KEPT.clear()
    own_module(monkeypatch, "own_mat", PART.format(share=0.25))
    with pytest.raises(InputError, match="a worker process has other code"):
        sampling._chunk(packed, 0)


def test_a_worker_without_the_word_says_so(picker, monkeypatch):
    import pickle

    monkeypatch.setitem(WORDS, "scaled vacuum", None)
    own_module(monkeypatch, "own_word", WORD.format(factor=1.0)).install()
    packed = pickle.dumps(sampling._job(picker, None, "scaled vacuum", 8, 0, "random", 8, False))
    del WORDS["scaled vacuum"]
    with pytest.raises(InputError, match="a worker process has other code"):
        sampling._chunk(packed, 0)
    WORDS["scaled vacuum"] = None


# ---- what is not whole is not believed


def resaved(change):
    def damage(folder):
        file = folder / "chunk_000001.npz"
        with np.load(file) as data:
            arrays = {name: data[name] for name in data.files}
        change(arrays)
        np.savez(file, **arrays)

    return damage


def rewritten(change):
    def damage(folder):
        file = folder / "chunk_000001.npz"
        file.write_bytes(change(file.read_bytes()))

    return damage


def scaled(arrays):
    arrays["answers"] = 1.1 * arrays["answers"]


def shortened(arrays):
    arrays["answers"] = arrays["answers"][:, :2]


def single(arrays):
    arrays["answers"] = arrays["answers"].astype(np.float32)


def renamed(arrays):
    arrays["weakest"] = np.roll(arrays["weakest"], 1) + 1


def reshaped(arrays):
    arrays["answers"] = arrays["answers"].T


def unsealed(arrays):
    del arrays["seal"]


def lacking(arrays):
    del arrays["outcomes"]


def wider(arrays):
    arrays["more"] = np.arange(3)


def strange(arrays):
    arrays.clear()
    arrays["x"] = np.arange(3)


def turned(folder):
    """One bit of the answers, as a failing disk turns it."""
    file = folder / "chunk_000001.npz"
    with np.load(file) as data:
        place = file.read_bytes().index(data["answers"].tobytes())
    data = bytearray(file.read_bytes())
    data[place] ^= 1
    file.write_bytes(data)


def swapped(folder):
    shutil.copy(folder / "chunk_000000.npz", folder / "chunk_000001.npz")


def plain_array(folder):
    with open(folder / "chunk_000001.npz", "wb") as stream:
        np.save(stream, np.arange(3.0))


def piped(folder):
    (folder / "chunk_000001.npz").unlink()
    os.mkfifo(folder / "chunk_000001.npz")


DAMAGE = {
    **{f.__name__: resaved(f) for f in (scaled, shortened, single, renamed, reshaped)},
    **{f.__name__: resaved(f) for f in (unsealed, lacking, wider, strange)},
    "one bit": turned,
    "cut": rewritten(lambda data: data[:-30]),
    "a byte more": rewritten(lambda data: data + b"x"),
    "a bit of the archive": rewritten(lambda data: bytes([data[0] ^ 1]) + data[1:]),
    "empty": rewritten(lambda data: b""),
    "text": rewritten(lambda data: b"answers\n1,2,3\n"),
    "pickle": rewritten(lambda data: b"\x80\x04K\x01."),
    "another chunk": swapped,
    "a plain array": plain_array,
    "a pipe": piped,
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_chunk_that_does_not_match_is_computed_anew_and_said(bench, made, kept, damage):
    DAMAGE[damage](kept)
    found = drawn(bench, kept)
    assert np.array_equal(found.answers, made[1])
    assert len(found.folder_notes) == 1
    assert "chunk 1 was not used" in found.folder_notes[0] and "computed anew" in found.folder_notes[0]
    assert found.folder_notes[0] in found.sentences()
    again = drawn(bench, kept)
    assert again.folder_notes == [] and np.array_equal(again.answers, made[1])


def test_a_chunk_stays_a_file_that_others_can_read(kept, made):
    with np.load(kept / "chunk_000000.npz") as data:
        assert np.array_equal(data["answers"], made[1][:, :4])
        told = json.loads(data["seal"].tobytes())
    assert told["chunk"] == 0 and told["format"] == 2
    assert told["arrays"]["answers"] == ["<f8", [1, 4]]


def test_a_chunk_of_another_run_is_not_believed(bench, made, kept, tmp_path):
    drawn(bench, tmp_path / "other", seed=9)
    for file in (tmp_path / "other").glob("chunk_*"):
        shutil.copy(file, kept)
    found = drawn(bench, kept)
    assert np.array_equal(found.answers, made[1])
    assert "3 chunks (0, 1, 2) were not used (of another run)" in found.folder_notes[0]


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("format", 99, "format 99, not 2"),
        ("format", None, "format None"),
        ("ductsim", "9.9", "version '9.9'"),
    ],
)
def test_another_format_or_version_is_computed_anew_and_said(bench, made, kept, key, value, words):
    about = json.loads((kept / "about.json").read_text())
    changed = {**about, key: value, **({"sha256": "0" * 64} if key == "ductsim" else {})}
    (kept / "about.json").write_text(json.dumps(changed))
    found = drawn(bench, kept)
    assert np.array_equal(found.answers, made[1])
    assert words in found.folder_notes[0]
    assert json.loads((kept / "about.json").read_text()) == about
    assert drawn(bench, kept).folder_notes == []


def test_another_version_of_the_package_has_another_digest(bench, made, kept, monkeypatch):
    monkeypatch.setattr("ductsim.version.VERSION", "0.0.1")
    monkeypatch.setattr("ductsim.chunks.VERSION", "0.0.1")
    found = drawn(bench, kept)
    assert f"version {ds.__version__!r} of ductsim, not 0.0.1" in found.folder_notes[0]
    assert found.sha256 != drawn(bench, None, seed=3).sha256
    monkeypatch.undo()
    assert drawn(bench, None).sha256 != found.sha256


def test_another_format_of_another_draw_is_refused(bench, kept):
    about = json.loads((kept / "about.json").read_text())
    (kept / "about.json").write_text(json.dumps({**about, "format": 1, "seed": 7}))
    with pytest.raises(InputError, match="another input"):
        drawn(bench, kept)


@pytest.mark.parametrize("text", ["[1]", "7", "null", "{", "[" * 100_000, "\x00"])
def test_an_about_that_is_none_is_refused(bench, kept, text):
    (kept / "about.json").write_text(text)
    with pytest.raises(InputError, match=r"about\.json cannot be read"):
        drawn(bench, kept)


def test_the_command_line_says_it_on_the_error_stream(run, tmp_path):
    words = ("ensemble", "demo:bench", "--samples", "50", "--folder", tmp_path)
    status, out, err = run(*words)
    assert (status, err) == (0, "")
    file = tmp_path / "chunk_000000.npz"
    file.write_bytes(file.read_bytes()[:-5])
    status, told, err = run(*words)
    assert status == 0
    assert err == f"ductsim: {tmp_path}: chunk 0 was not used (altered or shortened) and computed anew.\n"
    assert err.removeprefix("ductsim: ").strip() in " ".join(told.split())
    assert run(*words) == (0, out, "")


# ---- what would not fit


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (
            {"samples": 10**12},
            "samples 1000000000000; up to 7,722,007: their answers take 4 GB",
        ),
        ({"samples": 10**5000}, "samples a very long number"),
        ({"samples": 10**9, "shares": True}, "their answers take 4 GB"),
        ({"samples": 10**8, "chunk": 1}, "samples 100000000"),
        ({"samples": 10**8, "chunk": 10**8}, "chunk 100000000; up to"),
    ],
)
def test_what_would_not_fit_is_refused_at_once(bench, tmp_path, options, words):
    with pytest.raises(InputError, match=words):
        drawn(bench, tmp_path / "e", **options)
    assert not (tmp_path / "e").exists()


# ---- what is drawn


def test_the_sequence_is_drawn_with_the_name_that_older_versions_give_the_generator(bench, monkeypatch):
    from scipy.stats import qmc

    new = drawn(bench, None, method="sobol")
    real = qmc.Sobol
    name = "rng" if "rng" in inspect.signature(real).parameters else "seed"

    def older(d, *, scramble=True, bits=None, seed=None, optimization=None):
        return real(d, scramble=scramble, bits=bits, optimization=optimization, **{name: seed})

    monkeypatch.setattr(qmc, "Sobol", older)
    assert np.array_equal(drawn(bench, None, method="sobol").answers, new.answers)


def test_a_latin_hypercube_has_one_point_in_every_slice():
    """And is number for number that of scipy.stats.qmc, which some versions call otherwise."""
    from scipy.stats import qmc

    points = chunk_points("latin hypercube", 4, 1, chunk=50, samples=100, columns=7)
    assert np.array_equal(np.sort(np.floor(points * 50), axis=0), np.tile(np.arange(50.0)[:, None], (1, 7)))
    other = qmc.LatinHypercube(7, seed=np.random.default_rng([4, 1])).random(50)
    assert np.array_equal(points, other)
