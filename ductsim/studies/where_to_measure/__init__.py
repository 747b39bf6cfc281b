"""Which reading would tell most next."""

from .study import NextReadings, where_to_measure

NextReadings.show_by(plots="ductsim.studies.where_to_measure.drawn:PLOTS")

__all__ = ["NextReadings", "where_to_measure"]
