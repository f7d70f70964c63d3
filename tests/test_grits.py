"""Papers: looking up, refusing, finish; how they cut in test_paper_law, tables in published/."""

import pytest

from handlap.sim.materials import grits, metals

ALUMINIUM = metals.find("A356")


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
    assert next(iter(grits.GRITS)) == "P12" and list(grits.GRITS)[-1] == "P2500"


def test_roughness_is_a_band_of_a_factor_two_and_less_when_worn():
    p120 = grits.find("P120")
    low, high = p120.roughness(ALUMINIUM)
    assert high / low == pytest.approx(2.0)
    assert low < p120.roughness_median(ALUMINIUM) < high
    worn_low, worn_high = p120.roughness(ALUMINIUM, worn=True)
    assert worn_low == pytest.approx(0.5 * low) and worn_high == pytest.approx(0.7 * high)
