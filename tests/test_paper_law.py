"""How papers cut by their grain: laws that hold for whatever is taken to be true of paper."""

from __future__ import annotations

import dataclasses
from itertools import pairwise, product
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jobs import job, middle

from handlap.sim.lapping.conditions import law_of
from handlap.sim.materials import grits, metals
from handlap.sim.materials.grits import GRITS, REFERENCE, Grit
from handlap.sim.materials.paper_law import (
    HIGHEST_FLOOR,
    LOWEST_FLOOR,
    MIDDLE,
    PaperLaw,
    PaperTraits,
    paper_law,
    rate_factor,
)

P120 = grits.find("P120")
BY_GRAIN = sorted(GRITS.values(), key=lambda grit: grit.diameter)
"""All grades, fine to coarse."""
KINDS = list(product(("A356", "grey iron", "mild steel", "brass"), (False, True)))
TABLE_OF_G = {"P50": 1.22, "P60": 1.17, "P80": 1.10, "P120": 1.0, "P180": 0.83, "P240": 0.66, "P400": 0.46}
"""Rate of fresh paper over that of P120, worked out apart from the program for the middles."""


@st.composite
def traits(draw: st.DrawFn) -> PaperTraits:
    """What papers may be taken to be, well beyond what members of an ensemble draw."""
    share = st.floats(0.02, 0.98)
    return PaperTraits(
        loading_floor=draw(share),
        dulling_floor=draw(share),
        brushing=draw(share),
        critical=draw(st.floats(40e-6, 300e-6)),
        exponent_fine=draw(st.floats(0.2, 1.5)),
        exponent_coarse=draw(st.floats(0.0, 0.6)),
    )


def law(name: str, metal: str = "A356", wet: bool = False, **changes: Any) -> PaperLaw:
    return paper_law(
        grits.find(name), metals.find(metal), wet=wet, traits=dataclasses.replace(MIDDLE, **changes)
    )


# ---- fresh paper


def test_fresh_rate_by_grain(checked):
    """From memory: rising with the grain to some 100 µm, then hardly (Avient, Goddard & Wilman 1960;
    Nathan & Jones 1966; Sin, Saka & Suh 1979)."""
    checked(
        f"rate of fresh {', '.join(TABLE_OF_G)} over that of P120",
        expected=list(TABLE_OF_G.values()),
        got=[rate_factor(grits.find(name)) for name in TABLE_OF_G],
        tolerance=0.005,
        kind="from memory",
        source="Avient, Goddard & Wilman 1960; Nathan & Jones 1966; Sin, Saka & Suh 1979",
        about="paper",
    )


@given(traits())
def test_p120_is_the_reference_whatever_paper_is_taken_to_be(drawn):
    assert rate_factor(P120, drawn) == pytest.approx(1.0, rel=1e-14)


@given(traits())
def test_the_fresh_rate_has_no_step_at_the_critical_grain(drawn):
    near = [rate_factor(Grit("near", drawn.critical * (1.0 + off)), drawn) for off in (-1e-9, 0.0, 1e-9)]
    assert near == pytest.approx([near[1]] * 3, rel=1e-8)


@given(traits())
def test_coarser_paper_never_cuts_less_when_fresh(drawn):
    """… and below the critical grain by the one power, above it by the other."""
    factors = [rate_factor(grit, drawn) for grit in BY_GRAIN]
    assert all(fine <= coarse * (1.0 + 1e-12) for fine, coarse in pairwise(factors))
    for size, exponent in (
        (0.5 * drawn.critical, drawn.exponent_fine), (2.0 * drawn.critical, drawn.exponent_coarse),
    ):  # fmt: skip
        here, finer = (rate_factor(Grit("", factor * size), drawn) for factor in (1.0, 0.9))
        assert finer / here == pytest.approx(0.9**exponent, rel=1e-12)


def test_the_luck_of_a_grade_is_its_own():
    drawn = PaperTraits(own_rate={"P80": 1.3}, own_ageing={"P80": 0.7})
    assert rate_factor(grits.find("P80"), drawn) == pytest.approx(1.3 * rate_factor(grits.find("P80")))
    assert rate_factor(grits.find("P60"), drawn) == rate_factor(grits.find("P60"))
    a, b = (paper_law(grits.find("P80"), metals.find("A356"), wet=False, traits=t) for t in (drawn, MIDDLE))
    assert a.loading_scale == pytest.approx(0.7 * b.loading_scale)
    assert a.dulling_scale == pytest.approx(0.7 * b.dulling_scale)


# ---- clogged, blunt, brushed


@pytest.mark.parametrize(("metal", "wet"), KINDS)
@given(drawn=traits())
def test_coarser_paper_keeps_more_brushes_out_better_and_lasts_longer(metal, wet, drawn):
    """Floors, brushing and scales do not fall with the grain, and stay within their bounds."""
    laws = [paper_law(grit, metals.find(metal), wet=wet, traits=drawn) for grit in BY_GRAIN]
    shares = ("loading_floor", "dulling_floor", "brushing")
    for name in (*shares, "loading_scale", "dulling_scale", "edge_length", "stock"):
        values = [getattr(one, name) for one in laws]
        assert values == sorted(values), name
        if name in shares:
            assert min(values) >= LOWEST_FLOOR and max(values) <= HIGHEST_FLOOR


@pytest.mark.parametrize("grade", ["P50", "P120", "P400"])
@pytest.mark.parametrize("metal", ["A356", "grey iron", "mild steel", "brass"])
def test_wet_paper_clogs_later_keeps_more_and_rubs_less(metal, grade):
    dry, wet = (law(grade, metal, wet) for wet in (False, True))
    assert wet.loading_scale > dry.loading_scale
    assert wet.loading_floor >= dry.loading_floor
    assert wet.brushing >= dry.brushing
    assert wet.friction_gain < dry.friction_gain
    # Water does not keep grains sharp.
    assert wet.dulling_scale == dry.dulling_scale and wet.dulling_floor == dry.dulling_floor


@given(traits(), st.sampled_from(BY_GRAIN), st.floats(0.0, 50e-6), st.floats(0.0, 50e-6))
def test_paper_in_use_cuts_less_down_to_its_floors_and_brushing_only_helps(drawn, grit, load, dull):
    one = paper_law(grit, metals.find("A356"), wet=False, traits=drawn)
    power = one.power(load, dull)
    assert one.loading_floor * one.dulling_floor * (1 - 1e-12) <= power <= 1.0
    # Brushing takes loading out, and never puts any in.
    assert 0.0 <= (1.0 - one.brushing) * load <= load
    assert one.power((1.0 - one.brushing) * load, dull) >= power
    assert one.power(load + 1e-6, dull) <= power and one.power(load, dull + 1e-6) <= power
    assert one.power(0.0, 0.0) == pytest.approx(1.0)


@given(st.sampled_from(BY_GRAIN))
def test_nought_and_one_switch_floors_and_brushing_off_for_every_grade(grit):
    """A share of 0 or 1 stays what it is: 1 keeps all, 0 keeps nothing."""
    for value in (0.0, 1.0):
        drawn = PaperTraits(loading_floor=value, dulling_floor=value, brushing=value)
        one = paper_law(grit, metals.find("A356"), wet=False, traits=drawn)
        assert (one.loading_floor, one.dulling_floor, one.brushing) == (value, value, value)
    assert one.power(1.0, 1.0) == 1.0


def test_scales_and_floors_of_p120(checked):
    """Derived and fitted: P120 dry on aluminium clogs over 0.62 µm of metal and blunts over 1.25."""
    dry, wet, iron = law("P120"), law("P120", wet=True), law("P120", "grey iron")
    assert REFERENCE == P120.diameter
    for name, got, want in (
        ("clogs, dry on aluminium", 1e6 * dry.loading_scale, 0.005 * 125),
        ("clogs, wet on aluminium", 1e6 * wet.loading_scale, 0.04 * 125),
        ("clogs, dry on iron", 1e6 * iron.loading_scale, 0.0075 * 125),
        ("blunts on aluminium", 1e6 * dry.dulling_scale, 0.010 * 125),
        ("blunts on iron", 1e6 * iron.dulling_scale, 0.003 * 125),
    ):
        checked(
            f"metal cut per area of P120 over which it {name}",
            expected=want,
            got=got,
            tolerance=1e-6,
            unit="µm",
            kind="from memory",
            source="derived from the voids between grains, fitted to how sheets fall off",
            about="paper",
        )
    assert (dry.loading_floor, wet.loading_floor, iron.loading_floor) == (0.30, 0.60, 0.40)
    assert (dry.dulling_floor, dry.brushing, wet.brushing, iron.brushing) == (0.20, 0.60, 0.85, 0.80)
    assert (dry.friction_gain, wet.friction_gain, iron.friction_gain) == (0.4, 0.1, 0.15)


def test_stock_is_two_roughnesses_of_the_fresh_paper():
    metal = metals.find("A356")
    assert law("P80").stock == pytest.approx(2.0 * grits.find("P80").roughness_median(metal))
    assert law("P80", stock=3.0).stock == pytest.approx(1.5 * law("P80").stock)


# ---- one member's law


def test_a_stated_bedding_length_does_not_fall():
    falls = job(bedding=None, blunt_bedding=0.6)
    assert law_of(falls, middle(falls), P120).blunt_bedding == 0.6
    assert middle(falls).bedding_of(P120) == pytest.approx(0.12 * 125e-6)
    stated = dataclasses.replace(falls, wear=dataclasses.replace(falls.wear, bedding_length=20e-6))
    assert law_of(stated, middle(stated), P120).blunt_bedding == 1.0
    assert middle(stated).bedding_of(P120) == 20e-6


def test_the_ageing_of_a_member_multiplies_both_scales():
    scenario = job(ageing=2.5)
    own = law_of(scenario, middle(scenario), P120)
    plain = law_of(job(), middle(job()), P120)
    np.testing.assert_allclose(
        [own.loading_scale, own.dulling_scale], [2.5 * plain.loading_scale, 2.5 * plain.dulling_scale]
    )
