"""Chances in words that do not pretend to more than an ensemble knows."""

from __future__ import annotations

PROBABLY = 0.6
"""Chance from which something is called probable; as far below a half, improbable."""


def likely(chance: float) -> str:
    """A chance between the lines that are drawn, in a word and a number.

    >>> likely(0.73), likely(0.3), likely(0.5)
    ('probably, 73 %', 'probably not, chance 30 %', 'as likely as not, 50 %')
    """
    if chance >= PROBABLY:
        return f"probably, {percent(chance)}"
    if chance <= 1.0 - PROBABLY:
        return f"probably not, chance {percent(chance)}"
    return f"as likely as not, {percent(chance)}"


def percent(chance: float) -> str:
    """A chance 0…1 counted over an ensemble, in per cent; its ends are not known closer than this.

    >>> percent(1.0), percent(0.37), percent(0.01)
    ('over 95 %', '37 %', 'under 5 %')
    """
    if chance > 0.95:
        return "over 95 %"
    return "under 5 %" if chance < 0.05 else f"{100.0 * chance:.0f} %"
