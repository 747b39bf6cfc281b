"""Where along a row the crop would stay behind, and how the box fills on the way."""

from .study import FieldPass, field_pass

FieldPass.show_by(plots="ductsim.studies.field_pass.drawn:PLOTS")

__all__ = ["FieldPass", "field_pass"]
