"""Whether a piece of work takes long: said before it begins, with what would shorten it.

Whoever owns the callback that is told the share done may also take this, by a method ``ahead`` of its own;
a callback without one is not told.  One that also has a method ``spent``, of the processor time that has gone
already [s], is told as well of work that takes long only with what lies behind: several stages of which none
does by itself.  It is a remark, and no part of any result.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

LONG = 60.0
"""Seconds of processor time from which it is said beforehand that work takes long: our choice."""
STILL_LONG = 10.0
"""… of which so many have to be still to come: later, it is no help to know: our choice."""

Tell = Callable[[float, str], None]


def long_words(seconds: float, what: str, fewer: str = "fewer --members", spent: float = 0.0) -> str:
    """What takes long, how long about, and what would shorten it.

    Parameters
    ----------
    seconds : of processor time to come [s]
    what : is worked, as the beginning of a sentence
    fewer : what there is less of to be asked for; empty: nothing
    spent : seconds that went before, where the work to come alone does not take long [s]

    >>> long_words(150.0, "trying P80", "").split(":")[0]
    'trying P80 takes some 3 minutes of processor time'
    >>> long_words(50.0, "trying P80", spent=45.0).split(":")[0]
    'trying P80 and what went before take some 2 minutes of processor time'
    """
    minutes = max(1, int((seconds + spent) / 60.0 + 0.5))
    shorter = [
        *([fewer] if fewer else []),
        "shorter strokes or straight ones",
        "paper without steps under the part",
    ]
    takes = f"{what} and what went before take" if spent else f"{what} takes"
    return (
        f"{takes} some {minutes} minute{'s' if minutes > 1 else ''} of processor time: "
        f"{', '.join(shorter[:-1])} and {shorter[-1]} take less"
    )


def tell_ahead(tell: Tell | None, seconds: float, what: str, fewer: str = "fewer --members") -> None:
    """Say that work takes long, where it does, by itself or with what lies behind; parameters as of
    :func:`long_words`."""
    ahead = getattr(tell, "ahead", None)
    if ahead is None:
        return
    if seconds >= LONG:
        ahead(seconds, long_words(seconds, what, fewer))
        return
    spent = getattr(tell, "spent", lambda: 0.0)()
    if seconds >= STILL_LONG and spent + seconds >= LONG:
        ahead(spent + seconds, long_words(seconds, what, fewer, spent))


@dataclass(frozen=True)
class Quietly:
    """A callback that tells no share, for work within other work, and passes on what is said beforehand."""

    tell: Tell | None

    def __call__(self, done: float, what: str) -> None:
        """Tell nobody."""

    def ahead(self, seconds: float, words: str) -> None:
        """Pass it on."""
        ahead = getattr(self.tell, "ahead", None)
        if ahead is not None:
            ahead(seconds, words)

    def spent(self) -> float:
        """Processor time that has gone already, where whoever is told of it knows [s]."""
        spent = getattr(self.tell, "spent", None)
        return 0.0 if spent is None else float(spent())
