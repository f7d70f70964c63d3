"""How a complaint shows what was written, and what somebody meant who wrote a name that is none."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def shortened(given: object, most: int = 60) -> str:
    """What was given as a complaint shows it: cut, with a sign of it, beyond ``most`` letters.

    >>> shortened("a" * 9, most=9), shortened("a" * 10, most=9)
    ('aaaaaaaaa', 'aaaaaa…')
    """
    text = str(given)
    return text if len(text) <= most else text[: most - 3] + "…"


def nearest(word: str, known: Iterable[str], cutoff: float = 0.5) -> str | None:
    """The known name nearest to a word: of its own letters in another order first; None if none is near.

    ``cutoff``: least likeness that counts, 0 to 1 (that of :mod:`difflib`).

    >>> nearest("plna", ["play", "plan"]), nearest("survy", ["plan", "survey"]), nearest("xyz", ["plan"])
    ('plan', 'survey', None)
    """
    near = difflib.get_close_matches(word, list(known), n=5, cutoff=cutoff)
    swapped = [name for name in near if sorted(name) == sorted(word)]
    return next(iter(swapped or near), None)


def did_you_mean(near: str | None) -> str:
    """The end of a complaint about a name, where there is one near it.

    >>> did_you_mean("plan"), did_you_mean(None)
    ('; did you mean "plan"?', '')
    """
    return f'; did you mean "{near}"?' if near else ""
