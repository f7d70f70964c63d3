"""Words of a list, as people say them."""

from __future__ import annotations

from collections.abc import Sequence


def listed(words: Sequence[str]) -> str:
    """At least one word, the last of several behind an "and".

    >>> listed(["left"]), listed(["left", "right", "near"])
    ('left', 'left, right and near')
    """
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
