"""The ground speed that the carrying margins allow, and what a season has told about them."""

from .calibration import Calibration

Calibration.show_by(plots="ductsim.speed.drawn:PLOTS")
