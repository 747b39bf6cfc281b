"""Evening the units out: the weakest lifted as far as the trims go, then the others evened."""

from .evening import Balance, balance
from .trims import Trim

__all__ = ["Balance", "Trim", "balance"]
