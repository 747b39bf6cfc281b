"""Chunks: the same from any executor, from disk, and after a stop."""

import json
import pickle
from concurrent.futures import Executor, Future, ThreadPoolExecutor

import numpy as np
import pytest

from ductsim.chunks import Folder, run
from ductsim.digest import digest
from ductsim.errors import InputError

CALLS = []


def squares(packed, index):
    CALLS.append(index)
    return {"x": np.arange(3) * pickle.loads(packed) + index}


def collect(**options):
    CALLS.clear()
    return {i: c["x"].tolist() for i, c in run(squares, 2.0, 5, **options)}


EXPECTED = {i: [0.0 + i, 2.0 + i, 4.0 + i] for i in range(5)}


def test_here_and_through_an_executor():
    assert collect() == EXPECTED
    with ThreadPoolExecutor(2) as pool:
        assert collect(executor=pool) == EXPECTED


def test_progress_counts_every_chunk():
    seen = []
    collect(progress=lambda done, count: seen.append((done, count)))
    assert seen == [(i, 5) for i in range(6)]


def about(text="a"):
    return {"sha256": digest(text)}


def test_resumes_without_computing_twice(tmp_path):
    source = run(squares, 2.0, 5, folder=Folder(tmp_path / "f", about()))
    for _ in range(2):
        next(source)
    source.close()
    assert collect(folder=Folder(tmp_path / "f", about())) == EXPECTED
    assert sorted(CALLS) == [2, 3, 4]


def test_a_torn_chunk_is_computed_again(tmp_path):
    assert collect(folder=Folder(tmp_path, about())) == EXPECTED
    chunk = tmp_path / "chunk_000003.npz"
    chunk.write_bytes(chunk.read_bytes()[:40])
    assert collect(folder=Folder(tmp_path, about())) == EXPECTED
    assert CALLS == [3]
    assert not list(tmp_path.glob("*.part"))


def test_another_input_is_refused(tmp_path):
    Folder(tmp_path, about())
    with pytest.raises(InputError, match="holds the chunks of another input"):
        Folder(tmp_path, about("b"))


def test_a_strange_folder_is_refused(tmp_path):
    (tmp_path / "chunk_000000.npz").write_bytes(b"")
    with pytest.raises(InputError, match="holds chunks but no about"):
        Folder(tmp_path, about())
    (tmp_path / "about.json").write_text("{")
    with pytest.raises(InputError, match="cannot be read"):
        Folder(tmp_path, about())
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        Folder(tmp_path / "file", about())


def test_the_folder_says_what_it_belongs_to(tmp_path):
    Folder(tmp_path, {**about(), "seed": 3})
    assert json.loads((tmp_path / "about.json").read_text())["seed"] == 3


class Flaky(Executor):
    """Fails the first time it is given a chunk, or always."""

    def __init__(self, always):
        self.always, self.tried = always, set()

    def submit(self, fn, /, *args, **kwargs):
        future = Future()
        if self.always or args[1] not in self.tried:
            self.tried.add(args[1])
            future.set_exception(OSError("the worker is gone"))
        else:
            future.set_result(fn(*args))
        return future


@pytest.mark.parametrize("always", [False, True])
def test_a_chunk_that_fails_in_a_worker_is_tried_again(always):
    assert collect(executor=Flaky(always)) == EXPECTED


class Closed(Executor):
    def submit(self, fn, /, *args, **kwargs):
        raise RuntimeError("cannot schedule new futures")


def test_an_executor_that_takes_no_work_is_done_without():
    assert collect(executor=Closed()) == EXPECTED


def broken(packed, index):
    raise ZeroDivisionError("no")


def test_an_error_of_the_work_itself_is_raised():
    with ThreadPoolExecutor(1) as pool, pytest.raises(ZeroDivisionError):
        list(run(broken, None, 1, executor=pool))
