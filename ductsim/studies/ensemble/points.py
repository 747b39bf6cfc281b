"""The points of the unit cube that an ensemble is drawn at, chunk by chunk."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
METHODS = ("latin hypercube", "sobol", "random")


def chunk_points(method: str, seed: int, index: int, *, chunk: int, samples: int, columns: int) -> Array:
    """The points of one chunk, which depend on nothing but the seed and its number.

    A Latin hypercube is stratified chunk by chunk; a Sobol sequence runs on through the chunks.

    Parameters
    ----------
    method : str
        One of `METHODS`.
    seed, index : int
        Of the draw, and of the chunk from 0.
    chunk, samples : int
        Points in a chunk, and in all chunks together: the last may have fewer.
    columns : int
        Dimensions of the unit cube.

    Returns
    -------
    array (points, columns)
    """
    first = index * chunk
    count = min(chunk, samples - first)
    rng = np.random.default_rng([seed, index])
    if method == "random":
        return rng.random((count, columns))
    if method == "latin hypercube":
        return _latin_hypercube(count, columns, rng)
    sequence = _sobol(columns, np.random.default_rng(seed))
    if first:
        sequence.fast_forward(first)
    return np.asarray(sequence.random(count))


def _latin_hypercube(count: int, columns: int, rng: np.random.Generator) -> Array:
    """Points (count, columns): in every column one in each of `count` equal slices, in any order.

    Number for number those of scipy.stats.qmc, whose generator goes by two names in its versions.
    """
    rng = rng.spawn(1)[0]
    within = rng.random((count, columns))
    slices = rng.permuted(np.tile(np.arange(1, count + 1), (columns, 1)), axis=1)
    points = slices - within.T  # a dimension is one piece of memory: each is drawn from by itself
    points /= count
    return points.T


def _sobol(columns: int, rng: np.random.Generator) -> Any:
    """A scrambled Sobol sequence; scipy 1.15 gave its generator another name."""
    from scipy.stats import qmc

    try:
        return qmc.Sobol(columns, rng=rng)
    except TypeError:
        return qmc.Sobol(columns, seed=rng)
