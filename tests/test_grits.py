"""Papers: looking up, refusing, and laws of the grain; tables stand in published/."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handlap.sim.materials import grits, metals

ALUMINIUM, IRON = metals.find("A356"), metals.find("grey iron")


@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("P120", "P120"), ("p120", "P120"), ("P 120", "P120"), ("120", "P120"), ("120 grit", "P120"),
        ("120 US", "P120"), ("US 400", "P800"), ("400us", "P800"), ("CAMI 600", "P1200"), ("P2500", "P2500"),
    ],
)  # fmt: skip
def test_finds_the_usual_ways_to_write_a_grade(words, name):
    assert grits.find(words).name == name


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("P130", "the nearest is P120"), ("320", "could be P or US"), ("P240 US", "no grade of paper"),
        ("emery", "no grade of paper"), ("", "no grade of paper"), ("330 US", "the nearest is 320"),
        ("P0", "no grade P0"), ("-120", "no grade of paper"),
    ],
)  # fmt: skip
def test_refuses_and_says_what_is_allowed(words, message):
    with pytest.raises(ValueError, match=message):
        grits.find(words)


def test_grains_shrink_from_grade_to_grade():
    sizes = [g.diameter for g in grits.GRITS.values()]
    assert sizes == sorted(sizes, reverse=True)
    assert grits.names()[0] == "P12" and grits.names()[-1] == "P2500"


@given(st.floats(1e-6, 5e-3))
def test_nearest_is_nearest_by_ratio(diameter):
    def off(grit):
        return max(grit.diameter / diameter, diameter / grit.diameter)

    assert off(grits.nearest(diameter)) == min(off(g) for g in grits.GRITS.values())


@pytest.mark.parametrize("wrong", [0.0, -1e-6, float("nan"), float("inf")])
def test_nearest_refuses_what_is_no_size(wrong):
    with pytest.raises(ValueError, match="positive"):
        grits.nearest(wrong)


def test_rate_factor_is_one_for_coarse_paper_and_falls_with_the_grain():
    factors = [g.rate_factor() for g in grits.GRITS.values()]
    assert all(f == 1.0 for g, f in zip(grits.GRITS.values(), factors, strict=True) if g.diameter >= 80e-6)
    assert factors == sorted(factors, reverse=True)
    half = grits.Grit("half the critical size", 40e-6)
    assert half.rate_factor() == pytest.approx(0.5**0.7)


def test_ageing_follows_grain_metal_and_water():
    p80, p240 = grits.find("P80"), grits.find("P240")
    for wet in (False, True):
        assert p80.loading_scale(IRON, wet=wet) == 2.0 * p80.loading_scale(ALUMINIUM, wet=wet)
        ratio = p80.loading_scale(ALUMINIUM, wet=wet) / p240.loading_scale(ALUMINIUM, wet=wet)
        assert ratio == pytest.approx(p80.diameter / p240.diameter)
    dry = p80.loading_scale(ALUMINIUM, wet=False)
    assert p80.loading_scale(ALUMINIUM, wet=True) == pytest.approx(8.0 * dry)
    assert p80.dulling_scale(IRON) < p80.dulling_scale(ALUMINIUM)
    assert 0.0 < p80.loading_floor(wet=False) < p80.loading_floor(wet=True) < 1.0


def test_roughness_is_a_band_of_a_factor_two_and_less_when_worn():
    p120 = grits.find("P120")
    low, high = p120.roughness(ALUMINIUM)
    assert high / low == pytest.approx(2.0)
    assert low < p120.roughness_median(ALUMINIUM) < high
    worn_low, worn_high = p120.roughness(ALUMINIUM, worn=True)
    assert worn_low == pytest.approx(0.5 * low) and worn_high == pytest.approx(0.7 * high)
    least, most = p120.scratch_stock(ALUMINIUM)
    assert (least, most) == pytest.approx((6 * 125e-6 / 70, 12 * 125e-6 / 70))
