"""The few constants that several laws share."""

GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s2], exact by definition."""

HEAT_RATIO = 1.4
"""Heat capacity of air at constant pressure over that at constant volume [-]."""

STILL = 1.2e-3
"""Mass flux below which a square-law loss turns linear [kg/(s m2)]: 1 mm/s in air of 1.2 kg/m3."""

MEAN_FREE_PATH = 6.8e-8
"""Way of a molecule of air at sea level between two collisions [m], from memory."""

NOTHING = MEAN_FREE_PATH**2
"""Open area below which a way is shut [m2]: in a passage as narrow as the mean free path air is no longer
the continuum that all laws here describe, and what passes it, a milligram in half a year at 100 Pa, counts
for nothing."""
