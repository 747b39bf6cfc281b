"""Settings for all tests."""

from command_line import refused, run
from hypothesis import settings

__all__ = ["refused", "run"]  # fixtures that any test may ask for

# No test depends on the time it takes, and a run can be repeated exactly.
settings.register_profile("ductsim", deadline=None, derandomize=True, database=None)
settings.load_profile("ductsim")
