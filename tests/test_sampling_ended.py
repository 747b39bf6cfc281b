"""Ensembles that are ended: a full disk, a signal, a parent that is killed."""

import json
import os
import resource
import signal
import subprocess
import sys
import time

import pytest

import ductsim as ds
from ductsim.chunks import Folder
from ductsim.errors import InputError


@pytest.fixture(scope="module")
def bench():
    return ds.demo("bench")


# ---- a disk that is full, a run that was killed


def test_a_full_disk_ends_in_a_sentence_and_leaves_no_half_file(bench, tmp_path):
    """A limit on the size of files stands for the full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (3000, before[1]))
    try:
        with pytest.raises(InputError, match=r"chunk_000000\.npz: cannot be written: File too large"):
            ds.ensemble(bench, folder=tmp_path / "e", samples=400, chunk=400)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert [p.name for p in (tmp_path / "e").iterdir()] == ["about.json"]


def test_what_a_killed_run_left_half_written_is_removed(tmp_path):
    old, new, other = (
        tmp_path / n
        for n in (".chunk_000001.npz.0a1b2c3d.part", ".about.json.00000000.part", ".my.0a1b2c3d.part")
    )
    for file in (old, new, other):
        file.write_bytes(b"half")
    for file in (old, other):
        os.utime(file, (0, time.time() - 3600))
    Folder(tmp_path, {"sha256": "a"})
    assert (old.exists(), new.exists(), other.exists()) == (False, True, True)


# ---- worker processes

KILLED = """
import os, signal
from ductsim.chunks import processes
if __name__ == "__main__":
    with processes(1) as pool:
        pool.submit(os.getpid).result()
        os.kill(os.getpid(), signal.SIGKILL)
"""


def test_no_worker_outlives_its_parent(tmp_path):
    """All processes hold the end of one pipe: it is closed when the last of them is gone."""
    (tmp_path / "killed.py").write_text(KILLED)
    ended = subprocess.run([sys.executable, tmp_path / "killed.py"], capture_output=True, timeout=60)
    assert ended.returncode == -signal.SIGKILL


HALF = """
import gc, os
from concurrent.futures import BrokenExecutor
from multiprocessing.connection import Connection
from ductsim.chunks import processes

def half_of_an_answer():
    for pipe in gc.get_objects():
        if isinstance(pipe, Connection) and pipe.writable:
            os.write(pipe.fileno(), (1000).to_bytes(4, "big") + b"half")
    os._exit(1)

if __name__ == "__main__":
    with processes(1) as pool:
        try:
            pool.submit(half_of_an_answer).result()
        except BrokenExecutor as err:
            print(err)
        print(pool.submit(divmod, 7, 2).result())
        try:
            pool.submit(divmod, 7, 0).result()
        except ZeroDivisionError as err:
            print(type(err).__name__)
        raise SystemExit(5)
"""


def test_a_process_that_ends_amid_its_answer_is_not_waited_for(tmp_path):
    """Another takes its place; an error of the work is that of its future; an error in the body ends all."""
    (tmp_path / "half.py").write_text(HALF)
    ended = subprocess.run([sys.executable, tmp_path / "half.py"], capture_output=True, timeout=60, text=True)
    assert ended.stdout.splitlines() == [
        "a process ended before its work was done",
        "(3, 1)",
        "ZeroDivisionError",
    ]
    assert (ended.returncode, ended.stderr) == (5, "")


@pytest.fixture
def started():
    """Starts an ensemble and waits for its first chunk; what a failed test leaves running is killed."""
    runs = []

    def start(folder, *words):
        command = (sys.executable, "-m", "ductsim", "ensemble", "demo:bench", "--samples", "3000000", *words)
        run = subprocess.Popen(
            [*command, "--folder", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        runs.append(run)
        deadline = time.monotonic() + 60
        while not list(folder.glob("chunk_*.npz")) and time.monotonic() < deadline:
            time.sleep(0.02)
        assert run.poll() is None
        return run

    yield start
    for run in runs:
        run.kill()
        run.communicate()


def test_sigterm_ends_workers_and_keeps_what_is_done(tmp_path, started):
    folder = tmp_path / "e"
    run = started(folder, "--processes", "2")
    run.terminate()
    out, err = run.communicate(timeout=60)  # comes back when no worker holds the streams any more
    assert run.returncode == 143
    assert out == ""
    assert err == f"ductsim: stopped by the system (SIGTERM); what is done is kept in {folder}.\n"
    assert not list(folder.glob("*.part"))
    about = json.loads((folder / "about.json").read_text())
    again = Folder(folder, about)
    chunks = sorted(folder.glob("chunk_*.npz"))
    assert chunks
    assert all(again.load(int(p.stem[6:])) is not None for p in chunks)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "number", "status"),
    [
        (("--processes", "3"), signal.SIGKILL, -9),
        (("--processes", "3"), signal.SIGINT, 130),
        ((), signal.SIGTERM, 143),
        ((), signal.SIGKILL, -9),
    ],
)
def test_no_process_is_left_however_a_run_ends(tmp_path, started, words, number, status):
    run = started(tmp_path / "e", *words)
    run.send_signal(number)
    run.communicate(timeout=60)
    assert run.returncode == status
    if number != signal.SIGKILL:
        assert not list((tmp_path / "e").glob("*.part"))
