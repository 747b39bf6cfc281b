"""Whether a fix has worked, by readings before and after."""

from .study import Proof, proof

Proof.show_by(plots="ductsim.studies.proof.drawn:PLOTS")

__all__ = ["Proof", "proof"]
