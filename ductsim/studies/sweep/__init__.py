"""What the answer does while one number runs through its values."""

from .study import Sweep, sweep

Sweep.show_by(plots="ductsim.studies.sweep.drawn:PLOTS")

__all__ = ["Sweep", "sweep"]
