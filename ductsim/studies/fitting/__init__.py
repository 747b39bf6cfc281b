"""From readings to the leaks and fans that explain them, with honest intervals."""

from .entry import fit
from .explained import Fit
from .suspected import Suspects

__all__ = ["Fit", "Suspects", "fit"]
