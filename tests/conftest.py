"""Settings for all tests."""

from hypothesis import settings

# No test depends on the time it takes, and a run can be repeated exactly.
settings.register_profile("ductsim", deadline=None, derandomize=True, database=None)
settings.load_profile("ductsim")
