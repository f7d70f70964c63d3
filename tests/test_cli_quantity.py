"""Numbers for people: no false digits, no lost ones."""

from __future__ import annotations

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from handlap.cli.reports.quantity import FEWEST_STEPS, chance, number, quantity, spread_words, stated
from handlap.sim.job.results import Band

widths = st.floats(1e-4, 1e6)
middles = st.floats(-1e6, 1e6)


def value(text: str) -> float:
    return float(text.replace("−", "-"))


@given(middles, widths)
def test_ends_are_rounded_by_less_than_the_band_can_feel(middle, width):
    band = Band(middle - width / 2, middle, middle + width / 2)
    words = spread_words(band)
    low, high = (value(part) for part in re.split(" to |–", words))
    finest = max(width / FEWEST_STEPS, 1.1e-3 * max(abs(band.p05), abs(band.p95)))
    assert abs(low - band.p05) <= 0.51 * finest
    assert abs(high - band.p95) <= 0.51 * finest


@given(st.floats(1.0, 1e6), st.floats(0.05, 0.9))
def test_a_band_shows_few_digits(middle, share):
    band = Band(middle * (1 - share), middle, middle * (1 + share))
    digits = re.sub(r"[^0-9]", "", quantity(band).split(" ")[0]).strip("0")
    assert len(digits) <= 3


@given(st.floats(-1e6, 1e6), st.integers(1, 6))
@example(5e-324, 1)
def test_number_keeps_its_digits(x, digits):
    shown = value(number(x, digits))
    assert shown == pytest.approx(x, rel=0.51 * 10 ** (1 - digits), abs=1e-300) or x == 0.0


@pytest.mark.parametrize(
    ("band", "text"),
    [
        (Band(31.2, 42.1, 58.5), "42 µm (32–58)"),
        (Band(108.0, 122.3, 139.8), "122 µm (108–140)"),
        (Band(-3.4, 1.2, 5.0), "1 µm (−3 to 5)"),
        (Band(0.0, 0.0, 0.0), "0 µm"),
        (Band(99.9999, 100.0, 100.0), "100.0 µm"),
        (Band(0.02, 0.05, 0.11), "0.05 µm (0.02–0.11)"),
    ],
)
def test_examples(band, text):
    assert quantity(band, "µm") == text


def test_counts_have_no_decimals():
    assert quantity(Band(1.2, 2.0, 3.9), "sheets", whole=True) == "2 sheets (1–4)"


def test_minus_zero_is_zero():
    assert number(-0.0) == "0"
    assert quantity(Band(-2.0, -0.01, 2.0)).startswith("0.0 (")


def test_stated_numbers_are_as_written():
    assert [stated(x) for x in (50.0, 38.1, 0.045, 1e6, 123456.0)] == [
        "50",
        "38.1",
        "0.045",
        "1000000",
        "123456",
    ]


def test_chances_do_not_pretend():
    assert [chance(x) for x in (0.0, 0.049, 0.05, 0.5, 0.95, 0.96, 1.0)] == [
        "under 5 %",
        "under 5 %",
        "5 %",
        "50 %",
        "95 %",
        "over 95 %",
        "over 95 %",
    ]
