"""Statistics of columns in which some scenarios have no answer."""

from __future__ import annotations

import math
from typing import Any

import numpy as np


def quantile(values: Any, share: float) -> float:
    """A quantile of the values that are known (not NaN); NaN where none is, infinite beyond finite values."""
    known = np.asarray(values, dtype=float)
    known = known[~np.isnan(known)] if known.ndim else known
    if not known.size:
        return math.nan
    if known.size == 1:
        return float(known.item())
    with np.errstate(invalid="ignore"):
        found = float(np.quantile(known, share))
    # beside an infinite value there is nothing to interpolate
    return found if math.isfinite(found) else float(np.quantile(known, share, method="higher"))


ALIKE = 1e-6
"""Of a value: what is nearer than that to another may come before or after it."""
FEW = 20_000
"""Values: of so many, the library of special functions takes longer to load than it saves."""


def normal_below(value: Any) -> Any:
    """How likely a standard normal number is below a value; a float or an array."""
    value = np.asarray(value, dtype=float)
    if value.size > FEW:
        from scipy.special import ndtr

        return ndtr(value)
    few = [0.5 * math.erfc(-math.sqrt(0.5) * v) for v in value.ravel().tolist()]
    return np.array(few).reshape(value.shape) if value.ndim else few[0]


def normal_at(share: Any) -> Any:
    """The value that a standard normal number is below with this probability, within 0 and 1."""
    share = np.asarray(share, dtype=float)
    if share.size > FEW:
        from scipy.special import ndtri

        return ndtri(share)
    from statistics import NormalDist

    few = [NormalDist().inv_cdf(p) for p in share.ravel().tolist()]
    return np.array(few).reshape(share.shape) if share.ndim else few[0]


def chance_beyond(chi_square: float, count: int) -> float:
    """How often the sum of the squares of `count` standard normal numbers is larger; 1 for none of them.

    A sum in closed form, down to 1 or to the normal distribution's own share: a fit needs nothing else of the
    library of special functions, which takes longer to load than to fit.
    """
    x = 0.5 * chi_square
    if count <= 0 or x <= 0.0:
        return 1.0
    if math.isinf(x):
        return 0.0
    rest = math.erfc(math.sqrt(x)) if count % 2 else 0.0
    powers = (k + 0.5 * (count % 2) for k in range(count // 2))
    return rest + math.fsum(math.exp(p * math.log(x) - x - math.lgamma(p + 1.0)) for p in powers)


def first_least(values: Any) -> Any:
    """Where the least value along the first axis is; the first of those alike but for a search's rounding.

    What is unknown (NaN) counts as endless.
    """
    known = np.where(np.isnan(values), np.inf, values)
    least = known.min(axis=0)
    with np.errstate(invalid="ignore"):
        alike = (known - least <= ALIKE * np.abs(least)) & np.isfinite(least) | (known == least)
    return np.argmax(alike, axis=0)


def middle(value: Any) -> float:
    """A float as it is, a column as the median of what is known of it."""
    return quantile(value, 0.5) if np.ndim(value) else float(value)
