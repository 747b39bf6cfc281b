"""What an ensemble has found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import locked, one_of, texts
from ...description.distributions import Correlation
from ...description.spreads import Draw, Scatter
from ...errors import InputError, UnknownName
from ...machine.machine import Machine
from ...quantity import single
from ...questions.vocabulary import Question, question
from ...result import Note, Result
from ...variance import Shares
from .points import chunk_points

Array = NDArray[np.float64]


@dataclass(repr=False, eq=False)
class Ensemble(Result):
    """Answers of many machines drawn within their spreads; made by `ensemble`.

    Attributes
    ----------
    machine : Machine
    of : tuple of str
        What was asked.
    answers : array (questions, samples), in SI; NaN where a scenario has no answer
    chance_weakest : dict
        Unit -> chance that it is the weakest [-].
    failed : dict
        Number of a scenario -> what happened to it.
    shares : dict or None
        Question -> `Shares` of the `inputs`, when asked for.
    inputs : tuple of str
        What the shares belong to: groups by name, other numbers by address.
    spreads : tuple of Scatter
        What was drawn; `inputs_drawn` gives the numbers themselves.
    correlation : Correlation or None
        Which of them scatter together, by a matrix.
    seed, method, chunk, sha256 : of the draw and of everything it was made from
    folder_notes : list of Note
        Which chunks of the folder were not believed and computed anew, and why.
    as_described : array (questions,), in SI
        The answers of the machine itself, every number as it is described; NaN where there is none.
    """

    machine: Machine
    of: tuple[str, ...]
    answers: Array
    chance_weakest: dict[str, float]
    failed: dict[int, str]
    shares: dict[str, Shares] | None
    inputs: tuple[str, ...]
    spreads: tuple[Scatter, ...]
    correlation: Correlation | None
    seed: int
    method: str
    chunk: int
    sha256: str
    folder_notes: list[Note] = field(default_factory=list)
    as_described: Array = field(default_factory=lambda: np.zeros(0))

    def __len__(self) -> int:
        return int(self.answers.shape[1])

    @property
    def questions(self) -> list[Question]:
        """What was asked, with labels and measures."""
        return [question(self.machine.layout, of) for of in self.of]

    def answer(self, of: str) -> Array:
        """The answers to one of the questions, (samples,), in SI."""
        row: Array = self.answers[self.of.index(one_of(of, self.of, "ensemble", "question"))]
        return row

    def quantile(self, of: str, share: float) -> float:
        """The value that a share of all scenarios stays below, in SI."""
        wanted = single(share, "", "quantile, share")
        if not 0.0 <= wanted <= 1.0:
            raise InputError(f"a share of {wanted:g}", place="quantile, share", allowed="0 to 1")
        return float(np.nanquantile(self.answer(of), wanted))

    def inputs_drawn(self, addresses: str | Sequence[str] | None = None) -> dict[str, Array]:
        """The numbers of every machine that was drawn, drawn again from the seed: exactly those.

        Parameters
        ----------
        addresses : str or sequence of str, optional
            Addresses or patterns of numbers that scatter; all of them if not given.

        Returns
        -------
        dict
            Address -> array (samples,), in SI, in the order of `answers`.

        Raises
        ------
        InputError
            For a number that is none or does not scatter (UnknownName).
        """
        drawn = [s.address for s in self.spreads]
        wanted = drawn if addresses is None else self._scattering(addresses, drawn)
        draw = Draw(self.machine, self.spreads, self.correlation)
        columns = draw.dimensions * (1 if self.shares is None else 2)
        sizes = {"chunk": self.chunk, "samples": len(self), "columns": columns}
        out: dict[str, Any] = {address: np.empty(len(self)) for address in wanted}
        for index in range(-(-len(self) // self.chunk)):
            points = chunk_points(self.method, self.seed, index, **sizes)[:, : draw.dimensions]
            first = index * self.chunk
            for address, values in draw.columns(points, set(wanted)).items():
                out[address][first : first + len(points)] = values
        return {address: locked(values) for address, values in out.items()}

    def _scattering(self, addresses: Any, drawn: list[str]) -> list[str]:
        """The addresses that some words mean, if all of them were drawn."""
        place = "inputs_drawn"
        named = texts(addresses, place, "an address, or a list of them")
        known = set(drawn)
        out: dict[str, None] = {}
        for words in named:
            scattering = [a for a in self.machine.layout.expand(words) if a in known]
            if not scattering:
                raise UnknownName.of("number that scatters", words, drawn, place=place)
            out |= dict.fromkeys(scattering)
        return list(out)
