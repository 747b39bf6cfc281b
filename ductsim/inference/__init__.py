"""Fitting numbers to readings: least squares with priors, posterior draws, the choice of the next reading.

Numbers only: this room knows no machines, no files and no measures.
"""
