"""The table of metals: looking up, refusing, replacing; figures stand in published/."""

import dataclasses
import math

import pytest

from handlap.sim.materials import metals


@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("a356", "A356"), ("  Cast   Aluminium ", "A356"), ("cast aluminum", "A356"),
        ("grey iron", "grey iron"),
        ("Gray Iron", "grey iron"), ("cast iron", "grey iron"), ("CAST_IRON", "grey iron"),
        ("mild steel", "mild steel"), ("Brass", "brass"), ("bronze", "bronze"), ("6061-T6", "6061"),
        ("nodular iron", "ductile iron"),
    ],
)  # fmt: skip
def test_finds_by_the_words_of_the_trade(words, name):
    assert metals.find(words).name == name


def test_every_name_and_synonym_leads_somewhere():
    for name in metals.METALS:
        assert metals.find(name) is metals.METALS[name]
    for word, name in metals.SYNONYMS.items():
        assert metals.find(word).name == name


def test_unknown_metal_names_the_nearest_and_all_known():
    with pytest.raises(ValueError, match='the nearest is "brass"') as caught:
        metals.find("bras")
    for name in metals.METALS:
        assert name in str(caught.value)
    with pytest.raises(ValueError, match="known are"):
        metals.find("")


def test_every_metal_is_complete_and_plausible():
    for metal in metals.METALS.values():
        assert 2000.0 < metal.density < 9500.0
        assert 50e9 < metal.youngs_modulus < 250e9
        assert 0.2 < metal.poisson < 0.4
        assert 1e-12 < metal.rate < 1e-10
        assert metal.rate_spread == metal.rate_factor >= 1.0
        assert metal.friction_low <= metal.friction_wet < metal.friction_dry <= metal.friction_high
        assert metal.friction(wet=True) == metal.friction_wet
        assert metal.basis
        if metal.youngs_range:
            assert metal.youngs_range[0] < metal.youngs_modulus < metal.youngs_range[1]


def test_only_castings_may_be_porous():
    assert metals.find("A356").density_range == pytest.approx((0.95 * 2680.0, 2680.0))
    assert metals.find("6061").density_range == (2700.0, 2700.0)


def test_custom_replaces_what_is_given_and_nothing_else():
    base = metals.find("brass")
    mine = metals.custom("my brass", like="brass", density=8400.0, rate=2e-11, rate_spread=1.2, friction=0.5)
    assert (mine.name, mine.density, mine.rate, mine.rate_spread) == ("my brass", 8400.0, 2e-11, 1.2)
    assert mine.friction_dry == mine.friction_wet == mine.friction_low == mine.friction_high == 0.5
    assert mine.basis == "stated"
    changed = {"name", "density", "rate", "rate_spread", "basis", "friction_dry", "friction_wet",
               "friction_low", "friction_high"}  # fmt: skip
    for field in dataclasses.fields(base):
        if field.name not in changed:
            assert getattr(mine, field.name) == getattr(base, field.name)


@pytest.mark.parametrize(
    "wrong", [{"density": 0.0}, {"rate": -1e-11}, {"rate_spread": 0.5}, {"friction": math.nan}]
)
def test_custom_refuses_what_is_not_positive(wrong):
    with pytest.raises(ValueError, match="my metal"):
        metals.custom("my metal", like="A356", **wrong)


def test_gasket_finish_is_a_range_for_every_kind_and_metal():
    for kind in metals.GASKET_RA:
        for metal in metals.METALS.values():
            low, high = metals.gasket_finish(kind, metal)
            assert 0.0 <= low < high < 3e-6
    with pytest.raises(ValueError, match="known are composite"):
        metals.gasket_finish("paper", metals.find("A356"))
