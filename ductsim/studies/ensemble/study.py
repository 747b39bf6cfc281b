"""How sure the answer is: thousands or millions of machines drawn within their spreads."""

from __future__ import annotations

import os
import pickle
import warnings
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import instance, locked, one_of, whole
from ...chunks import Chunk, Folder, run
from ...description.data import MachineData
from ...description.distributions import Correlation, check_scattering, read_correlation
from ...description.spreads import Draw, Scatter, Spread, default_spreads, read_spreads, resolve
from ...digest import digest
from ...errors import InputError, OutsideRange, UnknownName, shown
from ...machine.machine import Machine
from ...machine.network import Network
from ...machine.possible import as_machine
from ...network.state import Outcome
from ...questions.vocabulary import asked_of, question
from ...result import Note
from ...variance import Shares, variance_shares
from .points import METHODS, chunk_points
from .result import Ensemble

Array = NDArray[np.float64]

CHUNK = 16384
LARGEST = 4e9  # bytes that the answers to all samples may take, and one chunk while it is solved
LARGEST_SEED = 2**128  # of which all bits count
A_CHUNK = 2000  # bytes that a chunk takes besides its numbers
VALUES = 3  # kept for each number of the machine or drawn, a scenario of a chunk (1 to 2 measured)


@dataclass(frozen=True)
class Job:
    """What every chunk of an ensemble is made from."""

    machine: Machine
    scatters: tuple[Scatter, ...]
    of: tuple[str, ...]
    samples: int
    seed: int
    method: str
    chunk: int
    shares: bool
    correlation: Correlation | None = None
    sha256_of_input: str = ""
    sha256: str = ""

    @property
    def columns(self) -> int:
        """Dimensions of the unit cube that points are drawn in."""
        return self.draw.dimensions * (2 if self.shares else 1)

    @property
    def draw(self) -> Draw:
        """What makes points into numbers."""
        return Draw(self.machine, self.scatters, self.correlation)

    def points(self, index: int) -> Array:
        """The points of the unit cube of one chunk."""
        sizes = {"chunk": self.chunk, "samples": self.samples, "columns": self.columns}
        return chunk_points(self.method, self.seed, index, **sizes)

    def description(self) -> dict[str, Any]:
        """Everything that the answers follow from but the code of this package.

        Of the machine all but where it was read from; of the questions what answers them.
        """
        layout = self.machine.layout
        own = {f.name: getattr(self, f.name) for f in fields(self) if f.name not in FOLLOWS}
        machine = {n: getattr(self.machine, n) for n in MachineData.__slots__ if n not in NOT_OF_A_DRAW}
        return {**own, "machine": machine, "questions": [question(layout, of) for of in self.of]}


FOLLOWS = ("machine", "sha256_of_input", "sha256")  # said in full, or made from the rest
NOT_OF_A_DRAW = (
    "_air",
    "columns",
    "file",
    "measures",
    "sha256",
)  # follows from the rest, or from where the file stood


def _sha256(description: str) -> str:
    """What stands for a draw: its description and the version of this package."""
    from ...version import VERSION

    return digest(description, VERSION)


def _chunk(packed: bytes, index: int) -> Chunk:
    """One chunk: draw, solve, keep what was asked."""
    job: Job = _unpacked(packed)
    points = job.points(index)
    draw = job.draw
    if not job.shares:
        return _answers(job, draw, points)
    one, two = points[:, : draw.dimensions], points[:, draw.dimensions :]
    first, second = _answers(job, draw, one), _answers(job, draw, two)
    out = dict(first)
    out["second"] = second["answers"]
    mixed = []
    for name in draw.inputs:
        swapped = one.copy()
        swapped[:, draw.dimensions_of(name)] = two[:, draw.dimensions_of(name)]
        mixed.append(_answers(job, draw, swapped)["answers"])
    out["mixed"] = np.array(mixed)
    return out


_KEPT: dict[bytes, Job] = {}


def _unpacked(packed: bytes) -> Job:
    """The job, unpacked once in each process, so that its machine is compiled once there.

    Raises
    ------
    InputError
        When it means something else here than where it was packed: a worker process started before a part,
        law or word was defined anew, or with another version.
    """
    known = _KEPT.get(packed)
    if known is not None:
        return known
    job: Job = pickle.loads(packed)
    try:
        same = _sha256(digest(job.description())) == job.sha256
    except UnknownName:  # a word that was added elsewhere
        same = False
    if not same:
        raise InputError(
            "a worker process has other code of a part, law or word, or another version, than this one",
            place="ensemble",
            allowed="an executor started after they were defined, in modules that its workers load",
        )
    _KEPT.clear()
    _KEPT[packed] = job
    return job


def _answers(job: Job, draw: Draw, points: Array) -> Chunk:
    machine = job.machine.change(draw.columns(points))
    state = machine.solve(raise_error=False)
    answers = np.array([np.broadcast_to(state.ask(of), len(points)) for of in job.of], dtype=float)
    names = [unit.name for unit in machine.layout.units]
    out: Chunk = {"answers": answers, "outcomes": np.asarray(state.outcomes)}
    if names:
        vacuum = np.array([state.vacuum[n] for n in names])
        ranked = np.where(np.isnan(vacuum), np.inf, vacuum).argmin(axis=0)
        out["weakest"] = np.where(np.isnan(vacuum).all(axis=0), -1, ranked).astype(np.int16)
    return out


# ---- chunks put together


def _found(job: Job, chunks: Mapping[int, Chunk], folder_notes: Iterable[str]) -> Ensemble:
    """What the chunks of a job hold."""
    ordered = [chunks[i] for i in sorted(chunks)]
    answers = locked(np.concatenate([c["answers"] for c in ordered], axis=1))
    return Ensemble(
        machine=job.machine,
        of=job.of,
        answers=answers,
        chance_weakest=_chances(job, [c["weakest"] for c in ordered if "weakest" in c]),
        failed=_failures(np.concatenate([c["outcomes"] for c in ordered])),
        shares=_shares(job, answers, ordered) if job.shares else None,
        inputs=job.draw.inputs,
        spreads=job.scatters,
        correlation=job.correlation,
        seed=job.seed,
        method=job.method,
        chunk=job.chunk,
        sha256=job.sha256,
        folder_notes=[Note(text, "computed anew") for text in folder_notes],
        as_described=locked(_as_described(job)),
    )


def _as_described(job: Job) -> Array:
    """The answers of the machine that nothing is drawn for, (questions,)."""
    with warnings.catch_warnings():  # its own solve says where it leaves the range of its sources
        warnings.simplefilter("ignore", OutsideRange)
        state = job.machine.solve(raise_error=False)
    if not bool(np.all(state.solved)):
        return np.full(len(job.of), np.nan)
    return np.array([float(state.ask(of)) for of in job.of])


def _chances(job: Job, weakest: list[Any]) -> dict[str, float]:
    if not weakest:
        return {}
    all_of_them = np.concatenate(weakest)
    known = all_of_them[all_of_them >= 0]
    units = [unit.name for unit in job.machine.layout.units]
    counts = np.bincount(known, minlength=len(units)) / max(len(known), 1)
    return {unit: float(share) for unit, share in zip(units, counts, strict=True)}


def _failures(outcomes: NDArray[np.intp]) -> dict[int, str]:
    sentences = [o.sentence for o in Outcome]
    return {int(i): sentences[outcomes[i]] for i in np.flatnonzero(outcomes)}


def _shares(job: Job, answers: Array, chunks: list[Chunk]) -> dict[str, Shares]:
    second = np.concatenate([c["second"] for c in chunks], axis=1)
    mixed = np.concatenate([c["mixed"] for c in chunks], axis=2)
    good = ~np.isnan(answers).any(axis=0) & ~np.isnan(second).any(axis=0)
    good &= ~np.isnan(mixed).any(axis=(0, 1))
    return {
        of: variance_shares(answers[q, good], second[q, good], mixed[:, q, good])
        for q, of in enumerate(job.of)
    }


# ---- the study


def ensemble(
    machine: Machine | Network,
    spreads: Iterable[Spread | Mapping[str, Any]] | Mapping[str, Any] | None = None,
    of: str | Sequence[str] = "weakest vacuum",
    *,
    samples: int = 10_000,
    executor: Executor | None = None,
    seed: int = 0,
    method: str = "latin hypercube",
    shares: bool = False,
    folder: str | os.PathLike[str] | None = None,
    chunk: int | None = None,
    progress: Callable[[int, int], None] | None = None,
    correlation: Any = None,
) -> Ensemble:
    """Draw, solve and reduce many machines, chunk by chunk, keeping only what is asked.

    Parameters
    ----------
    machine : Machine or Network
        A single one, without columns.
    spreads : list of Spread or mappings, or mapping, optional
        Which numbers scatter how; by default [[spread]] of the machine's file or else the usual spreads
        of `describe()`. A mapping is address -> frozen distribution of scipy.stats (in SI), or a mapping
        with the keys of a Spread.
    of : str or list of str
        Questions of the `of` vocabulary.
    samples : int
        How many machines to draw; as many as have answers of 4 GB in all.
    executor : concurrent.futures.Executor, optional
        Any executor, processes or a cluster's; the answer is the same with any and without. A worker that
        knows another part, law or word than this process is refused. The processes of
        `ductsim.chunks.processes(n)` are never left behind.
    seed : int
        Of the draw; written into every result.
    method : str
        "latin hypercube", "sobol" or "random".
    shares : bool
        Also estimate the variance shares of all inputs; takes (inputs + 2) solves a sample.
    folder : path, optional
        Keep chunks there (NPZ): a run that was stopped goes on where it was, nothing is computed twice. It
        belongs to this machine, draw, these questions and the code of own parts, laws and words (see
        `ductsim.digest`). Chunks that were altered, or written by another version, are computed anew, and
        the result says so.
    chunk : int, optional
        Scenarios in one chunk; as many as can be solved at once in 4 GB. By default 16,384, or as many as
        that.
    progress : function, optional
        Called with (chunks done, chunks in all).
    correlation : DataFrame, or (addresses, matrix), optional
        How closely numbers scatter together: a matrix of the correlations of their normal scores (a Gaussian
        copula), so of the values where these are normal and of their logarithms where they are lognormal.
        In shares of the variance these numbers count as one.

    Raises
    ------
    InputError
        For a machine with columns, unknown questions or addresses, a matrix that is none of correlations,
        more than fits, a folder of another input or that cannot be written, and a worker with other code.
    """
    machine = as_machine(machine, "ensemble")
    job = _job(machine, spreads, of, samples, seed, method, chunk, shares, correlation)
    if executor is not None and not callable(getattr(executor, "submit", None)):
        raise InputError(
            f"{shown(executor)} is no executor", place="ensemble", allowed="one of concurrent.futures"
        )
    if progress is not None and not callable(progress):
        raise InputError(f"{shown(progress)} is no function", place="ensemble, progress")
    kept = None
    if folder is not None:
        about = {"sha256": job.sha256, "sha256_of_input": job.sha256_of_input, "input": machine.sha256}
        kept = Folder(folder, {**about, "seed": job.seed, "samples": job.samples, "of": list(job.of)})
    count = -(-job.samples // job.chunk)
    chunks = dict(run(_chunk, job, count, executor=executor, folder=kept, progress=progress))
    return _found(job, chunks, kept.notes if kept is not None else ())


def _job(
    machine: Machine,
    spreads: Any,
    of: str | Sequence[str],
    samples: int,
    seed: int,
    method: str,
    chunk: int | None,
    shares: bool,
    correlation: Any = None,
) -> Job:
    if machine.columns is not None:
        raise InputError(
            "the machine has columns already", place="ensemble", allowed="one of them: machine[0]"
        )
    one_of(method, METHODS, "ensemble", "method")
    samples = whole(samples, "ensemble", "samples", 2)
    size = CHUNK if chunk is None else whole(chunk, "ensemble", "chunk", 1)
    seed = whole(seed, "ensemble", "seed", 0, LARGEST_SEED - 1)
    instance(shares, (bool, np.bool_), "ensemble, shares", "True or False")
    asked = tuple(asked_of(machine.layout, of, "ensemble"))
    if spreads is None:
        spreads = machine.layout.free.get("spread") or default_spreads(machine)
    scatters = resolve(machine, read_spreads(spreads))
    if not scatters:
        raise InputError("nothing scatters", place="ensemble", allowed="at least one spread")
    together = None
    if correlation is not None:
        together = read_correlation(correlation, machine.layout.expand)
        check_scattering(together, {s.address: s.group for s in scatters})
    job = Job(machine, tuple(scatters), asked, samples, seed, str(method), size, bool(shares), together)
    if chunk is None:
        job = replace(job, chunk=min(size, max(_at_once(job), 1)))
    _check_size(job)
    described = digest(job.description())
    return replace(job, sha256_of_input=described, sha256=_sha256(described))


def _check_size(job: Job) -> None:
    """Refuse a draw whose answers, or one chunk of it, would not fit into LARGEST bytes."""
    inputs = len(job.draw.inputs)
    each = 8 * len(job.of) * (inputs + 2 if job.shares else 1) + 10  # and how it ended, which is weakest
    most = int(LARGEST / (each + A_CHUNK / job.chunk))
    if job.samples > most:
        raise InputError(
            f"samples {shown(job.samples)}",
            place="ensemble",
            allowed=f"up to {most:,}: their answers take {LARGEST / 1e9:g} GB",
        )
    most = _at_once(job)
    if min(job.chunk, job.samples) > most:
        raise InputError(
            f"chunk {shown(job.chunk)}",
            place="ensemble",
            allowed=f"up to {most:,} of this machine: solving them at once takes {LARGEST / 1e9:g} GB",
        )


def _at_once(job: Job) -> int:
    """How many scenarios of a chunk LARGEST bytes hold."""
    return int(LARGEST / (8 * VALUES * (len(job.machine.numbers) + job.columns)))
