"""The solved machine: its state, its notes and limits, and its derivatives."""

from .gradients import Sensitivity

Sensitivity.show_by(plots="ductsim.answers.drawn:PLOTS")
