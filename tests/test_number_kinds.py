"""Numbers of other kinds than floats are taken; one that is too large names its place."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest

import ductsim as ds

HUGE = 10**400
MACHINE = ds.demo("bench")


@pytest.mark.parametrize("area", [1e7, 1e200, 1e308, "1e200 m2", [1e200, 1.0], HUGE])
def test_an_overflowing_area_names_its_place(area):
    with pytest.raises(ds.InputError, match=r"left mouth\.area"):
        MACHINE.change({"left mouth.area": area})
    with pytest.raises(ds.InputError, match="opening: area"):
        ds.Opening(area=area, loss_coefficient=1.0)


@pytest.mark.parametrize(
    "number",
    [
        2,
        2.0,
        np.float32(2),
        np.int8(2),
        np.uint64(2),
        np.array(2.0),
        Fraction(2),
        Decimal(2),
        Decimal("2.0"),
        "2 m2",
    ],
)
def test_numbers_of_other_kinds_are_taken(number):
    assert ds.si(number, "m2") == 2.0
    assert MACHINE.change({"left mouth.area": number}).numbers["left mouth.area"] == 2.0
    assert ds.Opening(area=number, loss_coefficient=1.0).area == 2.0
    assert ds.grid({"left mouth.area": [1.0, 2.0]})["left mouth.area"].tolist() == [1.0, 2.0]


@pytest.mark.parametrize(
    "column",
    [
        [2, 3.0],
        (2, 3),
        range(2, 4),
        np.array([2, 3]),
        pd.Series([2.0, 3.0], index=[7, 8]),
        ["2 m2", 3],
        [Fraction(2), Decimal(3)],
        np.array([2, "3 m2"], dtype=object),
        np.ma.array([2.0, 3.0]),
    ],
)
def test_columns_of_other_kinds_are_taken(column):
    assert MACHINE.change({"left mouth.area": column}).numbers["left mouth.area"].tolist() == [2.0, 3.0]
    assert ds.sweep(MACHINE, "left mouth.area", column).values.tolist() == [2.0, 3.0]
