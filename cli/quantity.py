"""Numbers as a person reads them: with unit and band, and no digit that means nothing."""

from __future__ import annotations

import math
from typing import Protocol

FEWEST_STEPS = 3.0
"""A band spans at least this many steps of the last digit shown (and under ten times as many)."""
MOST_DIGITS = 4


class Triple(Protocol):
    """Anything with a 5, 50 and 95 % point, such as :class:`handlap.sim.results.Band`."""

    @property
    def p05(self) -> float: ...
    @property
    def p50(self) -> float: ...
    @property
    def p95(self) -> float: ...


def _in_steps(value: float, exponent: int) -> str:
    """Value rounded to 10**exponent, with as many decimals as that has."""
    step = 10.0**exponent
    rounded = round(value / step) * step
    text = f"{rounded:.{max(0, -exponent)}f}"
    return text.lstrip("-") if float(text) == 0.0 else text.replace("-", "−")


def number(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, without exponent.

    >>> number(0.04567), number(1234.5), number(-2.5, 2), number(0.0)
    ('0.0457', '1230', '−2.5', '0')
    """
    if value == 0.0 or not math.isfinite(value):
        return "0" if value == 0.0 else "none"
    exponent = math.floor(math.log10(abs(value))) - digits + 1
    rounded = round(value / 10.0**exponent) * 10.0**exponent
    if abs(rounded) >= 10.0 ** (exponent + digits):
        exponent += 1
    return _in_steps(value, exponent)


def _last_digit(band: Triple) -> int:
    """Exponent of the last digit worth showing for a band."""
    width = band.p95 - band.p05
    largest = max(abs(band.p05), abs(band.p50), abs(band.p95))
    fewest = math.floor(math.log10(largest)) - MOST_DIGITS + 1 if largest > 0.0 else 0
    return max(math.floor(math.log10(width / FEWEST_STEPS)), fewest)


def spread_words(band: Triple, *, whole: bool = False) -> str:
    """The ends of a band, such as ``31–58``, or ``−3 to 5`` where one is negative.

    ``whole``: the figure counts things, so it has no decimals.
    """
    if not band.p95 > band.p05:
        return number(band.p50)
    last = _last_digit(band)
    last = max(0, last) if whole else last
    low, high = _in_steps(band.p05, last), _in_steps(band.p95, last)
    return f"{low} to {high}" if "−" in low + high else f"{low}–{high}"


def quantity(band: Triple, unit: str = "", *, whole: bool = False) -> str:
    """A figure with its unit and its band.

    >>> from handlap.sim.results import Band
    >>> quantity(Band(31.234, 42.123, 58.49), "µm")
    '42 µm (31–58)'
    >>> quantity(Band(-3.4, 1.26, 5.0), "µm")
    '1 µm (−3 to 5)'
    >>> quantity(Band(2.0, 2.0, 2.0), "g")
    '2.00 g'
    """
    with_unit = f" {unit}" if unit else ""
    if not (math.isfinite(band.p05) and math.isfinite(band.p50) and math.isfinite(band.p95)):
        return "not known"
    if not band.p95 > band.p05:
        text = f"{band.p50:.0f}" if whole else number(band.p50)
        return text + with_unit
    last = _last_digit(band)
    middle = _in_steps(band.p50, max(0, last) if whole else last)
    return f"{middle}{with_unit} ({spread_words(band, whole=whole)})"


def share(value: float) -> str:
    """A chance or share in per cent, never a false 0 or 100.

    >>> share(0.0), share(0.004), share(0.37), share(0.998), share(1.0)
    ('0 %', 'under 1 %', '37 %', 'over 99 %', '100 %')
    """
    if 0.0 < value < 0.01:
        return "under 1 %"
    if 0.99 < value < 1.0:
        return "over 99 %"
    return f"{100.0 * value:.0f} %"


def counted(value: float, thing: str, things: str | None = None) -> str:
    """A whole number of things.

    >>> counted(1, "sheet"), counted(3, "sheet"), counted(2, "pass", "passes")
    ('1 sheet', '3 sheets', '2 passes')
    """
    return f"{value:.0f} {thing if round(value) == 1 else things or thing + 's'}"
