"""How much is looked at: little in every run, all where `slow` or the profile "full" asks for it.

`python -m pytest -m slow` runs the whole of each block; `--hypothesis-profile full` has every property
look at four times as many examples.
"""

import pytest
from hypothesis import settings

FULL = 100
"""The examples of a property by the profile "full"."""
SHARE = 4
"""What the usual run leaves out: three of four."""

settings.register_profile("full", deadline=None, derandomize=True, database=None, max_examples=FULL)
settings.register_profile("ductsim", settings.get_profile("full"), max_examples=FULL // SHARE)


def examples(count, **more):
    """A property that looks at so many examples by the profile "full", at its share of them otherwise."""
    return settings(max_examples=max(1, count * settings.default.max_examples // FULL), **more)


def few_and_all(name, few, whole):
    """The test with few cases in every run, and with all of them among the slow ones."""
    whole = pytest.param(whole, id="all", marks=pytest.mark.slow)
    return pytest.mark.parametrize(name, [pytest.param(few, id="few"), whole])
