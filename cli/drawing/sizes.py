"""How wide pictures are: for a page, and once more for the width of a hand-held screen."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

PHONE = 4.0
"""Width of a picture for a narrow screen [inch]: shown at 360 px, its letters of 10 pt come to 12.5 px."""
LETTERS_AN_INCH = 11.5
"""Letters of 10 pt that fit in an inch, about."""

_narrow: ContextVar[bool] = ContextVar("narrow", default=False)


@contextmanager
def for_phones() -> Iterator[None]:
    """What is drawn within is drawn for a narrow screen: one panel a row, words folded."""
    before = _narrow.set(True)
    try:
        yield
    finally:
        _narrow.reset(before)


def narrow() -> bool:
    """Whether pictures are to be drawn for a narrow screen now."""
    return _narrow.get()


def wide(inches: float) -> float:
    """A picture's width as it is wanted now, from that on a page [inch]."""
    return min(inches, PHONE) if narrow() else inches


def folded(text: str, inches: float, size: float = 10.0) -> str:
    """Text broken into lines that fit a width [inch] at a size [pt]; its own breaks stay.

    >>> folded("one two three", 1.0)
    'one two\\nthree'
    """
    letters = max(8, int(inches * LETTERS_AN_INCH * 10.0 / size))
    lines = (textwrap.wrap(line, letters, break_long_words=False) for line in text.split("\n"))
    return "\n".join("\n".join(line) for line in lines)
