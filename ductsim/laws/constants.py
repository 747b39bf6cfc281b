"""The few constants that several laws share."""

GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s2], exact by definition."""

STILL = 1.2e-3
"""Mass flux below which a square-law loss turns linear [kg/(s m2)]: 1 mm/s in air of 1.2 kg/m3."""

NOTHING = 1e-60
"""Areas and leak coefficients below this are closed: their squares would be too small to count."""
