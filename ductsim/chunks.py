"""Long work in chunks: in order, through any executor, on disk when asked, resumed without loss.

A chunk is a pure function of a job and its number. So it does not matter which worker does it, in which
order, or in which of two runs.
"""

from __future__ import annotations

import hashlib
import json
import os
import pickle
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any

import numpy as np

from .errors import InputError

Chunk = dict[str, Any]
AHEAD = 8  # chunks in the hands of an executor at once, per worker that it is thought to have
TRIES = 3


def digest(*things: Any) -> str:
    """The SHA-256 of plain data (mappings, lists, numbers, texts, arrays)."""
    sha = hashlib.sha256()
    for thing in things:
        _feed(sha, thing)
    return sha.hexdigest()


def _feed(sha: Any, thing: Any) -> None:
    if isinstance(thing, np.ndarray):
        sha.update(b"array" + str(thing.dtype).encode() + str(thing.shape).encode())
        sha.update(np.ascontiguousarray(thing).tobytes())
    elif isinstance(thing, dict):
        sha.update(b"{")
        for key in sorted(thing, key=str):
            _feed(sha, str(key))
            _feed(sha, thing[key])
        sha.update(b"}")
    elif isinstance(thing, (list, tuple)):
        sha.update(b"[")
        for item in thing:
            _feed(sha, item)
        sha.update(b"]")
    else:
        sha.update(f"{type(thing).__name__}:{thing!r};".encode())


class Folder:
    """Chunks on disk (NPZ), each written whole or not at all, all of one input.

    Parameters
    ----------
    path : path
        A new or empty folder, or one that an earlier run of the same input left.
    about : dict
        What the chunks belong to, with the key "sha256"; written beside them.

    Raises
    ------
    InputError
        When the folder holds chunks of another input, or cannot be written.
    """

    def __init__(self, path: str | os.PathLike[str], about: dict[str, Any]) -> None:
        self.path = Path(path)
        try:
            self.path.mkdir(parents=True, exist_ok=True)
            note = self.path / "about.json"
            if note.exists():
                self._compare(note, about)
            else:
                if any(self.path.glob("chunk_*.npz")):
                    raise InputError(
                        "holds chunks but no about.json", file=str(self.path), allowed="a new folder"
                    )
                _write_whole(note, json.dumps(about, indent=1).encode())
        except OSError as err:
            raise InputError(f"cannot be written: {err.strerror}", file=str(self.path)) from None

    def _compare(self, note: Path, about: dict[str, Any]) -> None:
        try:
            known = json.loads(note.read_text(encoding="utf-8"))
        except ValueError:
            raise InputError(
                "about.json cannot be read", file=str(self.path), allowed="a new folder"
            ) from None
        if known.get("sha256") != about["sha256"]:
            raise InputError(
                "holds the chunks of another input",
                file=str(self.path),
                allowed="the same machine, spreads, questions, samples and seed, or a new folder",
            )

    def _file(self, index: int) -> Path:
        return self.path / f"chunk_{index:06d}.npz"

    def load(self, index: int) -> Chunk | None:
        """A chunk that is there and whole, else None."""
        from io import BytesIO
        from zipfile import BadZipFile

        try:
            with np.load(BytesIO(self._file(index).read_bytes()), allow_pickle=False) as data:
                return {name: data[name] for name in data.files}
        except (OSError, ValueError, EOFError, KeyError, BadZipFile):
            return None

    def save(self, index: int, chunk: Chunk) -> None:
        """Write a chunk whole or not at all."""
        from io import BytesIO

        data = BytesIO()
        np.savez(data, **chunk)
        _write_whole(self._file(index), data.getvalue())


def _write_whole(path: Path, data: bytes) -> None:
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    with open(part, "wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())
    os.replace(part, path)


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
        Where chunks are kept; those that are there are not computed again.
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
