"""Schedules of turns: how part and operator stand, one after the other, and what a schedule is called."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class TurnState:
    """How the part and the operator stand: turns from the start, anticlockwise [rad]."""

    part: float
    operator: float


@dataclass(frozen=True)
class Schedule:
    """One schedule of turns.

    Attributes
    ----------
    states : gone through in a round
    asked : what a scenario may ask for, in the help of its key
    short : as the name of a way of working
    words : what is done at a turn
    """

    states: tuple[TurnState, ...]
    asked: str
    short: str
    words: str


START = TurnState(0.0, 0.0)
PART, OPERATOR = TurnState(math.pi, 0.0), TurnState(0.0, math.pi)
QUARTERS = tuple(TurnState(i * math.pi / 2.0, 0.0) for i in range(4))
BOTH = (START, PART, TurnState(math.pi, math.pi), OPERATOR)

SCHEDULES: dict[str, Schedule] = {
    "none": Schedule((START,), "none", "never turned", "never turned"),
    "half": Schedule((START, PART), "half turns of the part", "half turn", "half turn of the part"),
    "quarter": Schedule(
        QUARTERS, "quarter turns", "quarter turns", "quarter turn of the part, always the same way"
    ),
    "walk": Schedule(
        (START, OPERATOR), "walk to the other side of the plate", "walking round",
        "walk half round the plate, the part stays as it lies",
    ),
    "half and walk": Schedule(
        BOTH, "both", "half turn and walking",
        "half turn of the part and walk half round the plate, in turn",
    ),
}  # fmt: skip
"""By the name that a scenario file and a way of working give them."""


def short_words(schedule: str) -> str:
    """A schedule as the name of a way of working; a round of the user's own by its own name."""
    return SCHEDULES[schedule].short if schedule in SCHEDULES else schedule
