"""From readings to the leaks and fans that explain them, with honest intervals."""

from .entry import fit
from .explained import Fit
from .suspected import Suspects

Fit.show_by(plots="ductsim.studies.fit.drawn:FIT_PLOTS")
Suspects.show_by(plots="ductsim.studies.fit.drawn:SUSPECTS_PLOTS")

__all__ = ["Fit", "Suspects", "fit"]
