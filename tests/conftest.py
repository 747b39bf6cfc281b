"""Settings for all tests."""

import os

# Small systems are solved quickest by one thread; before NumPy is imported, in workers too.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import amounts  # noqa: E402, F401 (registers how many examples a property looks at)
from command_line import kept, refused, run  # noqa: E402
from hypothesis import settings  # noqa: E402

__all__ = ["kept", "refused", "run"]  # fixtures that any test may ask for

# No test depends on the time it takes, and a run can be repeated exactly.
settings.load_profile("ductsim")
