"""Numbers as a person reads them: with unit and band, and no digit that means nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from handlap.sim.common.chance import percent
from handlap.sim.common.spoken import (
    height_unit,
    length_unit,
    per,
    per_height,
    per_length,
    per_swarf,
    swarf_unit,
    unit,
)

chance = percent
"""A chance as everything else here: a number in words."""

FEWEST_STEPS = 8.0
"""A band spans at least this many steps of the last digit shown; steps are 1, 2 or 5."""
MOST_DIGITS = 4
NOTHING = 1e-300
"""Below this a number is shown as zero; powers of ten run out not far under it."""


class Triple(Protocol):
    """Anything with a 5, 50 and 95 % point, such as :class:`handlap.sim.job.results.Band`."""

    @property
    def p05(self) -> float:
        """The 5 % point."""
        ...

    @property
    def p50(self) -> float:
        """The middle."""
        ...

    @property
    def p95(self) -> float:
        """The 95 % point."""
        ...


def _in_steps(value: float, step: float) -> str:
    """Value rounded to a multiple of a step, with as many decimals as the step has."""
    text = f"{round(value / step) * step:.{max(0, -math.floor(math.log10(step) + 1e-9))}f}"
    return text.lstrip("-") if float(text) == 0.0 else text.replace("-", "−")


def number(value: float, digits: int = 3, finest: float = 0.0) -> str:
    """A number to ``digits`` significant digits, without exponent; none finer than ``finest``.

    >>> number(0.04567), number(1234.5), number(-2.5, 2), number(0.0), number(0.04567, 3, 0.01)
    ('0.0457', '1230', '−2.5', '0', '0.05')
    """
    if not math.isfinite(value):
        return "none"
    if abs(value) < NOTHING:
        return "0"
    exponent = math.floor(math.log10(abs(value))) - digits + 1
    if round(abs(value) / 10.0**exponent) >= 10**digits:
        exponent += 1
    return _in_steps(value, max(10.0**exponent, finest))


def rounded_up(value: float) -> str:
    """An error as a bound: one digit, two where the first is a one, and never less than it is.

    >>> [rounded_up(x) for x in (0.21, 0.2, 0.113, 0.97, 10.2, 23.0, 0.0)]
    ['0.3', '0.2', '0.12', '1.0', '11', '30', '0']
    """
    if not value > NOTHING:
        return "0"
    power = 10.0 ** math.floor(math.log10(value) + 1e-9)
    step = 0.1 * power if value < 2.0 * power * (1.0 - 1e-9) else power
    return _in_steps(math.ceil(value / step - 1e-9) * step, step)


def stated(value: float) -> str:
    """A number as a person wrote it.

    >>> stated(50.0), stated(0.8), stated(57.15), stated(-3.0)
    ('50', '0.8', '57.15', '−3')
    """
    text = f"{value:.7g}"
    text = f"{value:.0f}" if "e+" in text else text
    return text.replace("-", "−")


def height(value: float, digits: int = 3, finest: float = 0.0) -> str:
    """A height [m] in the unit of the job; ``finest`` as it is shown.

    >>> height(50.8e-6, 2)
    '51 µm'
    """
    return f"{number(per_height() * value, digits, finest)} {height_unit()}"


def stated_height(value: float) -> str:
    """A height [m] that somebody wrote down, in the unit of the job."""
    return f"{stated(per_height() * value)} {height_unit()}"


def stated_length(value: float) -> str:
    """A length [m] that somebody wrote down, in the unit of the job."""
    return f"{stated(per_length() * value)} {length_unit()}"


def shown(value: float, kind: str, digits: int = 3) -> str:
    """An SI value in the unit of the job; ``kind``: a quantity of :mod:`handlap.sim.common.spoken`.

    >>> shown(40.0, "force", 2)
    '40 N'
    """
    return f"{number(per(kind) * value, digits)} {unit(kind)}"


def off(mass: float, digits: int = 3) -> str:
    """What has come off a part [kg] in the unit of the job."""
    return f"{number(per_swarf() * mass, digits)} {swarf_unit()}"


def _step(band: Triple) -> float:
    """The step of the last digit worth showing for a band."""
    finest = (band.p95 - band.p05) / FEWEST_STEPS
    largest = max(abs(band.p05), abs(band.p50), abs(band.p95))
    power = 10.0 ** math.floor(math.log10(finest))
    step = next(m for m in (5.0, 2.0, 1.0) if m * power <= finest * (1.0 + 1e-9)) * power
    return max(step, 10.0 ** (math.floor(math.log10(largest)) - MOST_DIGITS + 1))


def spread_words(band: Triple, *, whole: bool = False, finest: float = 0.0) -> str:
    """The ends of a band, such as ``31–58``, or ``−3 to 5`` where one is negative.

    ``whole``: the figure counts things, so it has no decimals; ``finest``: least step shown.
    Empty for a band of no width.
    """
    if not band.p95 > band.p05:
        return ""
    step = max(1.0 if whole else finest, _step(band))
    low, high = _in_steps(band.p05, step), _in_steps(band.p95, step)
    return f"{low} to {high}" if "−" in low + high else f"{low}–{high}"


def quantity(band: Triple, unit_shown: str = "", *, whole: bool = False, finest: float = 0.0) -> str:
    """A figure with its unit and its band; see :func:`spread_words`.

    >>> from handlap.sim.job.results import Band
    >>> quantity(Band(31.234, 42.123, 58.49), "µm")
    '42 µm (32–58)'
    >>> quantity(Band(-3.4, 1.26, 5.0), "µm")
    '1 µm (−3 to 5)'
    >>> quantity(Band(2.0, 2.0, 2.0), "g")
    '2.00 g'
    """
    with_unit = f" {unit_shown}" if unit_shown else ""
    if not (math.isfinite(band.p05) and math.isfinite(band.p50) and math.isfinite(band.p95)):
        return "not known"
    if not band.p95 > band.p05:
        text = f"{band.p50:.0f}" if whole else number(band.p50, finest=finest)
        return text + with_unit
    step = max(1.0 if whole else finest, _step(band))
    middle = _in_steps(band.p50, step)
    span = spread_words(band, whole=whole, finest=finest)
    return middle + with_unit + ("" if span == f"{middle}–{middle}" else f" ({span})")


def middle(band: Triple, *, whole: bool = False, finest: float = 0.0) -> str:
    """The middle of a figure alone, rounded as :func:`quantity` rounds it beside its band.

    >>> from handlap.sim.job.results import Band
    >>> middle(Band(-50.0, -24.2, -5.0))
    '−25'
    """
    return quantity(band, whole=whole, finest=finest).split(" (", maxsplit=1)[0]


def force(band: Triple) -> str:
    """A force [N] with its band, in the unit of the job."""
    return quantity(_scaled(band, per("force")), unit("force"))


@dataclass(frozen=True)
class _Scaled:
    p05: float
    p50: float
    p95: float


def _scaled(band: Triple, factor: float) -> Triple:
    return _Scaled(band.p05 * factor, band.p50 * factor, band.p95 * factor)


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
