"""What each fix is worth: alone, in company, under a budget, within the makers' limits."""

from .comparison import Comparison, compare

__all__ = ["Comparison", "compare"]
