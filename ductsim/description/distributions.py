"""Distributions of scipy.stats as spreads, and numbers that scatter together by a correlation matrix."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arguments import listed, locked, text
from ..errors import InputError, UnknownName, shown

Array = NDArray[np.float64]
ALLOWED = "a frozen distribution of scipy.stats, like scipy.stats.norm(1.2, 0.05)"
ROUNDING = 1e-9


@dataclass(frozen=True)
class Distribution:
    """A distribution of a number itself, in SI.

    Attributes
    ----------
    name : str
        Its name in scipy.stats; empty for one that is not of scipy.stats.
    args, kwds :
        Its parameters, as plain numbers.
    own : object
        The frozen distribution itself, where it has no such name.
    """

    name: str = ""
    args: tuple[Any, ...] = ()
    kwds: dict[str, Any] = field(default_factory=dict)
    own: Any = None

    def quantile(self, share: Array) -> Array:
        """The values that these shares of all draws stay below."""
        from scipy import stats

        known = self.own if not self.name else getattr(stats, self.name)(*self.args, **self.kwds)
        return np.asarray(known.ppf(share), dtype=float)


def is_distribution(given: Any) -> bool:
    """Whether something can be drawn from by its quantiles, as scipy.stats has them."""
    return callable(getattr(given, "ppf", None))


def read_distribution(given: Any, place: str) -> Distribution:
    """A distribution with single parameters, such as scipy.stats makes with `norm(1.2, 0.05)`.

    Raises
    ------
    InputError
        For anything else, parameters still missing or in arrays among it.
    """
    from scipy import stats

    if isinstance(given, stats.rv_histogram):  # it has no parameters to wait for
        given = given()
    if isinstance(given, (stats.rv_continuous, stats.rv_discrete)):
        raise InputError(f"the distribution {given.name!r} has no parameters", place=place, allowed=ALLOWED)
    if not is_distribution(given):
        raise InputError(f"{shown(given)} is no distribution", place=place, allowed=ALLOWED)
    found = _named(given) or Distribution(own=given)
    middle = found.quantile(np.array([0.25, 0.5, 0.75])) if np.ndim(given.ppf(0.5)) == 0 else np.array([])
    if middle.shape != (3,) or not np.isfinite(middle).all():
        raise InputError("a distribution without values", place=place, allowed=ALLOWED)
    return found


def _named(given: Any) -> Distribution | None:
    """By name and plain parameters, where scipy.stats has it: so it can be kept in files, and compared."""
    from scipy import stats

    inner, args, kwds = (getattr(given, word, None) for word in ("dist", "args", "kwds"))
    name = str(getattr(inner, "name", ""))
    known = getattr(stats, name, None) if name in stats.__all__ else None
    if not isinstance(known, (stats.rv_continuous, stats.rv_discrete)) or type(known) is not type(inner):
        return None
    try:
        plain = tuple(map(float, args or ())), {str(k): float(v) for k, v in (kwds or {}).items()}
    except (TypeError, ValueError):
        return None
    found = Distribution(name, *plain)
    shares = np.linspace(0.0, 1.0, 33)  # another support under the same name would show
    return found if np.array_equal(found.quantile(shares), given.ppf(shares), equal_nan=True) else None


# ---- numbers that scatter together


@dataclass(frozen=True)
class Correlation:
    """How closely some numbers scatter together.

    Attributes
    ----------
    addresses : tuple of str
    matrix : array (A, A)
        Correlations of their normal scores: of the values themselves where these are normal, of their
        logarithms where they are lognormal.
    """

    addresses: tuple[str, ...]
    matrix: Array

    @property
    def name(self) -> str:
        """What the numbers are called as one input."""
        few = len(self.addresses) <= 3
        return " with ".join(self.addresses) if few else f"{len(self.addresses)} correlated numbers"

    def joined(self, scores: Array) -> Array:
        """Independent standard normal scores (scenarios, A) made into correlated ones."""
        values, vectors = np.linalg.eigh(self.matrix)
        root = (
            vectors * np.sqrt(np.maximum(values, 0.0))
        ) @ vectors.T  # the same whatever the vectors' signs
        return np.asarray(scores @ root)


def read_correlation(given: Any, expand: Callable[[str], Iterable[str]]) -> Correlation:
    """A correlation matrix over some numbers.

    Parameters
    ----------
    given : DataFrame, or (addresses, matrix)
        A DataFrame has the addresses at its rows and columns, in the same order.
    expand : callable
        `expand(address)` gives the addresses that a text means, or raises UnknownName.

    Raises
    ------
    InputError
        For anything else, patterns of several numbers, and a matrix that is none of correlations.
    """
    place = "ensemble, correlation"
    allowed = "(addresses, matrix), or a DataFrame with the addresses at its rows and columns"
    if hasattr(given, "columns") and hasattr(given, "index"):
        names, values = list(given.columns), np.asarray(given)
        if list(given.index) != names:
            raise InputError("rows and columns are not the same numbers", place=place, allowed=allowed)
    else:
        pair = listed(given, place, allowed)
        if len(pair) != 2:
            raise InputError(f"{shown(given)} is no pair", place=place, allowed=allowed)
        names, values = listed(pair[0], place, allowed), pair[1]
    addresses = [_single(text(name, place, "an address"), expand, place) for name in names]
    if len(set(addresses)) != len(addresses):
        raise InputError("a number stands there twice", place=place, allowed="each address once")
    return Correlation(tuple(addresses), locked(_matrix(values, len(addresses), place)))


def _single(address: str, expand: Callable[[str], Iterable[str]], place: str) -> str:
    found = list(expand(address))
    if len(found) != 1:
        raise InputError(f"{address!r} means {len(found)} numbers", place=place, allowed="single addresses")
    return found[0]


def _matrix(values: Any, size: int, place: str) -> Array:
    try:
        matrix = np.array(values, dtype=float)
    except (TypeError, ValueError):
        raise InputError(f"{shown(values)} is no matrix of numbers", place=place) from None
    if matrix.shape != (size, size):
        raise InputError(
            f"a matrix of shape {matrix.shape}",
            place=place,
            allowed=f"({size}, {size}): a row for each number",
        )
    if not np.isfinite(matrix).all() or np.abs(matrix - matrix.T).max(initial=0.0) > ROUNDING:
        raise InputError("the matrix is not symmetric", place=place, allowed="the same above and below")
    if np.abs(np.diag(matrix) - 1.0).max(initial=0.0) > ROUNDING:
        raise InputError(
            "a number's correlation with itself is not 1", place=place, allowed="1 on the diagonal"
        )
    if np.linalg.eigvalsh(matrix).min(initial=0.0) < -ROUNDING * size:
        raise InputError(
            "these correlations contradict each other",
            place=place,
            allowed="a matrix without negative eigenvalues",
        )
    return matrix


def check_scattering(correlation: Correlation, grouped: dict[str, str]) -> None:
    """Refuse numbers that do not scatter, or scatter with a group already.

    Parameters
    ----------
    correlation : Correlation
        Which numbers are to scatter together.
    grouped : dict
        Address of each number that scatters -> the group it scatters with, empty for none.

    Raises
    ------
    InputError
        For a number that does not scatter (UnknownName), and one that scatters with a group already.
    """
    for address in correlation.addresses:
        if address not in grouped:
            raise UnknownName.of("number that scatters", address, grouped, place="ensemble, correlation")
        if grouped[address]:
            raise InputError(
                f"{address} scatters with the group {grouped[address]!r} already",
                place="ensemble, correlation",
                allowed="numbers without a group",
            )
