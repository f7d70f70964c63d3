"""How a straightedge was held, in the words of the measuring sheet and as scenario files have it."""

from __future__ import annotations

from handlap.sim.common.errors import InputError
from handlap.sim.job.scenario import Held

HELD_WORDS: dict[Held, str] = {
    "rest": "sits still",
    "level": "rocks, held level",
    "tipped start": "tips onto its start",
    "tipped end": "tips onto its end",
}
"""As a scenario file has it → what is ticked on the measuring sheet."""
_SAID: dict[Held, tuple[str, ...]] = {
    "rest": ("sits still", "still", "rest"),
    "level": ("rocks, held level", "rocks", "held level", "level"),
    "tipped start": ("tips onto its start", "tips start", "tipped start"),
    "tipped end": ("tips onto its end", "tips end", "tipped end"),
}
"""What may be said for each, besides the beginnings of these words."""


def read_held(typed: str) -> Held:
    """How a line was held, from the words of the sheet or of a file, by their first letters.

    Raises
    ------
    InputError : says what is allowed

    >>> [read_held(said) for said in ("s", "Rocks", "r", "t e", "tips: start", "level", "rest")]
    ['rest', 'level', 'level', 'tipped end', 'tipped start', 'level', 'rest']
    """
    words = typed.lower().replace(":", " ").replace(",", " ").replace("/", " ").split()
    fits: set[Held] = {held for held in _SAID if held == " ".join(words)}
    if words and not fits:
        fits = {held for held, said in _SAID.items() if any(_begins(words, one) for one in said)}
    if "rest" in fits and "level" in fits:  # "r" is what the sheet has, not what the file has
        fits.remove("rest")
    if len(fits) == 1:
        return fits.pop()
    both = "; which end does it tip onto?" if fits == {"tipped start", "tipped end"} else ""
    raise InputError(f'"{typed}"{both}; allowed: {", ".join(HELD_WORDS.values())}; first letters are enough')


def _begins(words: list[str], said: str) -> bool:
    """Whether the words are, each by its first letters, some of those said, from the first on, in order."""
    rest = iter(said.replace(",", "").split())
    first = True
    for word in words:
        for known in rest:
            if known.startswith(word):
                break
            if first:
                return False
        else:
            return False
        first = False
    return True
