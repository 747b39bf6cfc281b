"""How sure the answer is: thousands or millions of machines drawn within their spreads."""

from .study import Ensemble, ensemble

Ensemble.show_by(plots="ductsim.studies.ensemble.drawn:PLOTS")

__all__ = ["Ensemble", "ensemble"]
