"""The letters that pictures and printed pages are set in."""

from __future__ import annotations

from functools import cache

from matplotlib.font_manager import FontProperties, findfont, get_font

FAMILY = "DejaVu Sans"


@cache
def font(bold: bool) -> FontProperties:
    """The font, plain or bold."""
    return FontProperties(family=FAMILY, weight="bold" if bold else "normal")


@cache
def _known() -> frozenset[int]:
    return frozenset(get_font(findfont(font(False))).get_charmap())


def printable(text: str) -> str:
    """The text with "?" for every letter that the font lacks; line breaks stay."""
    known = _known()
    return "".join(c if ord(c) in known or c == "\n" else "?" for c in text)
