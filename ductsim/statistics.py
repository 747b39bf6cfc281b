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
