"""Chances in words that do not pretend to more than an ensemble knows."""

from __future__ import annotations


def percent(chance: float) -> str:
    """A chance 0…1 counted over an ensemble, in per cent; its ends are not known closer than this.

    >>> percent(1.0), percent(0.37), percent(0.01)
    ('over 95 %', '37 %', 'under 5 %')
    """
    if chance > 0.95:
        return "over 95 %"
    return "under 5 %" if chance < 0.05 else f"{100.0 * chance:.0f} %"
