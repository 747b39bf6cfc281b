"""Evening the units out: the weakest lifted as far as the trims go, then the others evened."""

from .evening import Balance, balance
from .trims import Trim

Balance.show_by(plots="ductsim.studies.balance.drawn:PLOTS")

__all__ = ["Balance", "Trim", "balance"]
