"""Long work in chunks: in order, through any executor, on disk when asked, resumed without loss.

A chunk is a pure function of a job and its number. So it does not matter which worker does it, in which
order, or in which of two runs.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import pickle
import re
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future
from contextlib import contextmanager, suppress
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import numpy as np

from .errors import InputError, shown
from .version import VERSION
from .writing import half_written, write_whole

Chunk = dict[str, Any]
AHEAD = 8  # chunks in the hands of an executor at once, per worker that it is thought to have
TRIES = 3
FORMAT = 2  # of the chunks on disk: 1 had no seals
STALE = 600.0  # seconds after which nobody is still writing one file
_OURS = re.compile(r"chunk_\d+\.npz|about\.json")
SEAL = "seal"  # the name of the seal among a chunk's arrays
CHECKSUM = 64  # letters of it


class Folder:
    """Chunks on disk (NPZ), each written whole or not at all, all of one input.

    Every chunk carries a seal: what it belongs to, its number, the kind and shape of each of its arrays; and
    a checksum of every byte. One for which they do not hold is not believed: it is computed anew, and said.

    Parameters
    ----------
    path : path
        A new or empty folder, or one that an earlier run of the same input left.
    about : dict
        What the chunks belong to, written beside them: "sha256" of everything they follow from; optionally
        "sha256_of_input", the same but for the version of this package.

    Attributes
    ----------
    refused : dict
        Number of a chunk that was there -> why it was not believed; `notes` says it in sentences.

    Raises
    ------
    InputError
        When the folder holds chunks of another input, or cannot be read or written.
    """

    def __init__(self, path: str | os.PathLike[str], about: dict[str, Any]) -> None:
        self.path = Path(path)
        self.about = {"format": FORMAT, "ductsim": VERSION, **about}
        self.refused: dict[int, str] = {}
        self._older = ""
        note = self.path / "about.json"
        try:
            self.path.mkdir(parents=True, exist_ok=True)
            self._sweep()
            if note.exists():
                self._older = self._compare(self._read(note))
            elif any(self.path.glob("chunk_*.npz")):
                raise InputError(
                    "holds chunks but no about.json", file=str(self.path), allowed="a new folder"
                )
        except OSError as err:
            raise _unwritable(err, self.path) from None
        if self._older or not note.exists():
            write_whole(note, json.dumps(self.about, indent=1).encode())

    def _sweep(self) -> None:
        """Remove what a run that was killed has left half written; not what another is writing now."""
        for part in self.path.glob("*.part"):
            with suppress(OSError):
                whose = half_written(part.name)
                if _OURS.fullmatch(whose) and time.time() - part.stat().st_mtime > STALE:
                    part.unlink()

    def _read(self, note: Path) -> dict[str, Any]:
        try:
            known = json.loads(note.read_text(encoding="utf-8")) if note.is_file() else None
        except (ValueError, RecursionError):
            known = None
        if not isinstance(known, dict):
            raise InputError("about.json cannot be read", file=str(self.path), allowed="a new folder")
        return known

    def _compare(self, known: dict[str, Any]) -> str:
        """Nothing for a folder of this very work; a few words where only format or version is another."""
        differ = {key for key, value in self.about.items() if key in known and known[key] != value}
        if known.get("format") == FORMAT:
            if not differ & {"sha256", "ductsim"} and "sha256" in known:
                return ""
            differ -= {"sha256", "ductsim"}
            if not differ and "sha256_of_input" in known.keys() & self.about.keys():
                return f"version {shown(known.get('ductsim'))} of ductsim, not {VERSION}"
        elif differ <= {"format", "sha256", "ductsim"}:  # sums of another format may mean something else
            return f"format {shown(known.get('format'))}, not {FORMAT}"
        raise InputError(
            "holds the chunks of another input",
            file=str(self.path),
            allowed="the same machine, spreads, questions, samples, seed and code of own parts, laws and "
            "words, or a new folder",
        )

    def _file(self, index: int) -> Path:
        return self.path / f"chunk_{index:06d}.npz"

    def load(self, index: int) -> Chunk | None:
        """A chunk that is there and whose seal holds, else None."""
        file = self._file(index)
        if not os.path.lexists(file):
            return None
        why = self._older and f"of {self._older}"
        if not why and not file.is_file():  # a pipe would be waited for
            why = "no file"
        if not why:
            try:
                chunk, seal = _unpacked(file.read_bytes())
            except Exception:  # a file of anybody's: whatever is wrong with it, it is no chunk
                why = "altered or shortened"
            else:
                if seal == self._seal(index, chunk):
                    return chunk
                why = "of another run"
        self.refused[index] = why
        return None

    def save(self, index: int, chunk: Chunk) -> None:
        """Write a chunk whole or not at all.

        Raises
        ------
        InputError
            When it cannot be written (a full disk).
        """
        data = io.BytesIO()
        arrays: Chunk = {name: np.asarray(array) for name, array in chunk.items()}
        seal = np.frombuffer(self._seal(index, arrays).encode(), dtype=np.uint8)
        np.savez(data, **{**arrays, SEAL: seal})
        file = self._file(index)
        if os.path.lexists(file) and not file.is_file() and not file.is_dir():
            file.unlink()  # a pipe or the like in the place of a chunk holds nothing that could be lost
        write_whole(file, _with_checksum(data.getvalue()))

    def _seal(self, index: int, chunk: Chunk) -> str:
        """What a chunk carries beside its arrays, as JSON."""
        told: dict[str, Any] = {key: self.about[key] for key in ("format", "ductsim", "sha256")}
        told["chunk"] = index
        told["arrays"] = {name: [chunk[name].dtype.str, list(chunk[name].shape)] for name in sorted(chunk)}
        return json.dumps(told)

    @property
    def notes(self) -> list[str]:
        """A sentence when chunks that were there have been computed anew, and why."""
        reasons: dict[str, list[int]] = {}
        for index, why in sorted(self.refused.items()):
            reasons.setdefault(why, []).append(index)
        return [
            f"{self.path}: {_numbered(numbers)} not used ({why}) and computed anew."
            for why, numbers in reasons.items()
        ]


def _numbered(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"chunk {numbers[0]} was"
    some = ", ".join(map(str, numbers[:5]))
    return f"{len(numbers):,} chunks ({some}{', ...' if len(numbers) > 5 else ''}) were"


def _with_checksum(data: bytes) -> bytes:
    """An archive with the SHA-256 of all its bytes as its comment, which stands last."""
    data = data[:-2] + CHECKSUM.to_bytes(2, "little")
    return data + hashlib.sha256(data).hexdigest().encode()


def _unpacked(data: bytes) -> tuple[Chunk, str]:
    """The arrays and the seal in a file; any error when it is not what was written."""
    if hashlib.sha256(data[:-CHECKSUM]).hexdigest().encode() != data[-CHECKSUM:]:
        raise ValueError("the checksum does not hold")
    with np.load(io.BytesIO(data), allow_pickle=False) as arrays:
        chunk = {name: arrays[name] for name in arrays.files}
    return chunk, chunk.pop(SEAL).tobytes().decode()


def _unwritable(err: OSError, path: Path) -> InputError:
    return InputError(f"cannot be written: {err.strerror or err}", file=str(path))


def run(
    work: Callable[[bytes, int], Chunk],
    job: Any,
    count: int,
    *,
    executor: Executor | None = None,
    folder: Folder | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Iterator[tuple[int, Chunk]]:
    """Do `work(pickled job, i)` for i below `count`, yielding (i, chunk) as they come.

    Parameters
    ----------
    work : function
        Of a module, so that it can be sent to another process.
    job : object
        Pickled once.
    count : int
        How many chunks there are.
    executor : concurrent.futures.Executor, optional
        Any; without one the work is done here.
    folder : Folder, optional
        Where chunks are kept; those that are there are not computed again. One that is there but cannot be
        believed is; `folder.notes` says so.
    progress : function, optional
        Called with (chunks done, chunks in all).

    A chunk that fails in a worker is tried again, the last time here, where its error is raised.
    """
    packed = pickle.dumps(job)
    done = 0
    left = []
    for index in range(count):
        chunk = None if folder is None else folder.load(index)
        if chunk is None:
            left.append(index)
            continue
        done += 1
        yield index, chunk
    if progress is not None:
        progress(done, count)
    source = _here(work, packed, left) if executor is None else _through(executor, work, packed, left)
    for index, chunk in source:
        if folder is not None:
            folder.save(index, chunk)
        done += 1
        if progress is not None:
            progress(done, count)
        yield index, chunk


def _here(work: Callable[[bytes, int], Chunk], packed: bytes, left: list[int]) -> Iterator[tuple[int, Chunk]]:
    for index in left:
        yield index, work(packed, index)


def _through(
    executor: Executor, work: Callable[[bytes, int], Chunk], packed: bytes, left: list[int]
) -> Iterator[tuple[int, Chunk]]:
    """Keep some chunks in the executor's hands; yield the oldest first."""
    waiting: list[tuple[int, int, Future[Chunk] | None]] = []
    queue = list(reversed(left))
    while queue or waiting:
        while queue and len(waiting) < AHEAD:
            index = queue.pop()
            waiting.append((index, 1, _submit(executor, work, packed, index)))
        index, tries, future = waiting.pop(0)
        try:
            if future is None or tries >= TRIES:
                yield index, work(packed, index)
            else:
                yield index, future.result()
        except (InputError, GeneratorExit):
            raise
        except Exception:
            if future is None or tries >= TRIES:
                raise
            waiting.insert(0, (index, tries + 1, _submit(executor, work, packed, index)))


def _submit(
    executor: Executor, work: Callable[[bytes, int], Chunk], packed: bytes, index: int
) -> Future[Chunk] | None:
    """A future, or None when the executor takes no more work."""
    try:
        return executor.submit(work, packed, index)
    except RuntimeError:
        return None


@contextmanager
def processes(count: int) -> Iterator[Executor]:
    """Processes that share work and never outlive it: none is left however this process ends.

    When the body ends by an error, a signal or Ctrl-C they end at once, in the midst of a chunk; when this
    process is killed, each sees the end of its pipe to it.

    Parameters
    ----------
    count : int
        How many.
    """
    pool = _Processes(count)
    try:
        yield pool
        pool.shutdown(cancel_futures=True)
    finally:
        pool.end()


class _Processes(Executor):
    """Processes, each with a pipe of its own, at whose other end a thread of this process waits.

    A process that is ended while it sends its answer leaves half of it in its pipe. Here that pipe then ends;
    a queue that is shared by all, as in the standard library's executor, is waited for without end.
    """

    def __init__(self, count: int) -> None:
        import multiprocessing
        from concurrent.futures import ThreadPoolExecutor

        self._context = multiprocessing.get_context("spawn")  # this process has threads: no fork beside them
        self._threads = ThreadPoolExecutor(count)
        self._lock = threading.Lock()
        self._ended = False
        self._started: list[tuple[Any, Any]] = []  # processes and their pipes
        self._idle: SimpleQueue[tuple[Any, Any] | None] = SimpleQueue()  # None: one that is to be started
        for _ in range(count):
            self._idle.put(None)

    def submit(self, work: Callable[..., Any], /, *args: Any, **more: Any) -> Future[Any]:
        """Have `work(*args, **more)` done by the next process that is free."""
        return self._threads.submit(self._do, work, args, more)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Take no more work; wait for what is being done."""
        self._threads.shutdown(wait=wait, cancel_futures=cancel_futures)

    def end(self) -> None:
        """End all processes, whatever they are doing."""
        with self._lock:
            self._ended = True
            started = list(self._started)
        for process, _ in started:
            process.kill()
        self._threads.shutdown(cancel_futures=True)
        for process, pipe in started:
            process.join()
            pipe.close()

    def _do(self, *task: Any) -> Any:
        one = self._idle.get()
        try:
            if one is None:
                one = self._start()
            one[1].send(task)
            error, answer = one[1].recv()
        except (EOFError, OSError):
            one = None  # another takes the place of one that is gone
            raise BrokenExecutor("a process ended before its work was done") from None
        finally:
            self._idle.put(one)
        if error is not None:
            raise error
        return answer

    def _start(self) -> tuple[Any, Any]:
        ours, theirs = self._context.Pipe()
        process = self._context.Process(target=_serve, args=(theirs,), daemon=True)
        with self._lock:
            if self._ended:
                raise BrokenExecutor("all processes have been ended")
            process.start()
            self._started.append((process, ours))
        theirs.close()  # so that the pipe ends with the process
        return process, ours


def _serve(pipe: Any) -> None:
    """Work in a process of its own: it ends at once, by Ctrl-C or when nobody holds the pipe's other end."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_DFL)
    tasks: SimpleQueue[Any] = SimpleQueue()

    def receive() -> None:
        with suppress(OSError, EOFError):
            while True:
                tasks.put(pipe.recv_bytes())
        os._exit(1)

    threading.Thread(target=receive, daemon=True).start()
    while True:
        packed = tasks.get()
        answer: tuple[Exception | None, Any]
        try:
            work, args, more = pickle.loads(packed)
            answer = (None, work(*args, **more))
        except Exception as err:
            answer = (err, None)
        pipe.send(answer)
