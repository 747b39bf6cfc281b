"""Settings for all tests."""

import os

# Small systems are solved quickest by one thread; before NumPy is imported, in workers too.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import amounts  # noqa: E402, F401 (registers how many examples a property looks at)
import pytest  # noqa: E402
from command_line import kept, refused, run  # noqa: E402
from hypothesis import settings  # noqa: E402

__all__ = ["kept", "refused", "run"]  # fixtures that any test may ask for

# No test depends on the time it takes, and a run can be repeated exactly.
settings.load_profile("ductsim")


def pytest_addoption(parser):
    """What a run leaves out whose time is short."""
    parser.addoption("--one-in", type=int, default=1, help="run one test in so many")
    parser.addoption("--first", type=int, default=0, help="which test of the first so many that is")


@pytest.hookimpl(trylast=True)  # of the tests that the marks leave
def pytest_collection_modifyitems(config, items):
    """Leave out all but one test in so many; runs that begin with different ones look at different tests."""
    step = config.getoption("one_in")
    kept_ones = slice(config.getoption("first") % step, None, step)
    chosen, left = items[kept_ones], items[:]
    del left[kept_ones]
    if left:
        config.hook.pytest_deselected(items=left)
        items[:] = chosen
