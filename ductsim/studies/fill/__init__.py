"""How evenly the ducts fill the box behind the machine."""

from .study import Fill, fill

Fill.show_by(plots="ductsim.studies.fill.drawn:PLOTS")

__all__ = ["Fill", "fill"]
