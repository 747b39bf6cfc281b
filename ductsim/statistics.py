"""Statistics of columns in which some scenarios have no answer."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray


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


FEW = 20_000
"""Values: of so many, the library of special functions takes longer to load than it saves."""


def normal_below(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """How likely a standard normal number is below each of these values."""
    if value.size > FEW:
        from scipy.special import ndtr

        many: NDArray[np.float64] = ndtr(value)
        return many
    few = [0.5 * math.erfc(-math.sqrt(0.5) * v) for v in value.ravel().tolist()]
    return np.array(few).reshape(value.shape)


def middle(value: Any) -> float:
    """A float as it is, a column as the median of what is known of it."""
    return quantile(value, 0.5) if np.ndim(value) else float(value)


def median(values: Any) -> Any:
    """The median along the first axis, NaN where one is unknown."""
    ordered = np.sort(values, axis=0)
    count = len(ordered)
    both = 0.5 * (ordered[(count - 1) // 2] + ordered[count // 2])
    return np.where(np.isnan(ordered[-1]), np.nan, both)[()]


def finite_quantile(values: NDArray[np.float64], share: float) -> Any:
    """A quantile along the last axis of finite values, at least one; linear between them.

    As `median` without what NumPy's own load first, which takes longer (15 ms) than all quantiles of a fit.
    """
    ordered = np.sort(values, axis=-1)
    at = share * (ordered.shape[-1] - 1)
    low = int(at)
    high = min(low + 1, ordered.shape[-1] - 1)
    return ordered[..., low] + (at - low) * (ordered[..., high] - ordered[..., low])
