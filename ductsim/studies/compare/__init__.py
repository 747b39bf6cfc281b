"""What each fix is worth: alone, in company, under a budget, within the makers' limits."""

from .comparison import Comparison, compare

Comparison.show_by(plots="ductsim.studies.compare.drawn:PLOTS")

__all__ = ["Comparison", "compare"]
