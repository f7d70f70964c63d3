"""Grams and mean depth: consistency and refusals; figures from outside stand in published/."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handlap.sim.materials import mass, metals

positive = st.floats(1e-6, 1e4, allow_nan=False)


@given(positive, positive, positive)
def test_there_and_back(depth, density, area):
    off = mass.mass_off(depth, density, area)
    assert mass.mean_depth(off, density, area) == pytest.approx(depth, rel=1e-12)


def test_nothing_off_is_no_depth():
    assert mass.mean_depth(0.0, 2700.0, 0.01) == 0.0
    assert mass.mass_off(0.0, 2700.0, 0.01) == 0.0


@pytest.mark.parametrize(
    "arguments",
    [(-1e-3, 2700.0, 0.01), (1e-3, 0.0, 0.01), (1e-3, 2700.0, -0.01), (math.nan, 2700.0, 0.01),
     (1e-3, math.inf, 0.01), (1e-3, 2700.0, math.nan)],
)  # fmt: skip
def test_refuses_what_is_no_weighing(arguments):
    for function in (mass.mean_depth, mass.mass_off):
        with pytest.raises(ValueError, match="allowed is a finite number"):
            function(*arguments)


def test_band_of_a_casting_goes_toward_more_depth():
    a356 = metals.find("A356")
    low, high = mass.mean_depth_band(18e-3, a356, 450e-4)
    assert low == mass.mean_depth(18e-3, a356.density, 450e-4)
    assert high / low == pytest.approx(1.0 / 0.95)


def test_band_of_swarf_adds_what_was_lost():
    plate = metals.find("6061")
    low, high = mass.mean_depth_band(1e-3, plate, 0.01, mass.SWARF_LOST)
    depth = mass.mean_depth(1e-3, plate.density, 0.01)
    assert (low / depth, high / depth) == pytest.approx((1 / 0.95, 1 / 0.85))
    with pytest.raises(ValueError, match="share lost"):
        mass.mean_depth_band(1e-3, plate, 0.01, (0.2, 0.1))
