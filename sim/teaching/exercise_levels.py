"""Levels of the exercises: from a pure hollow to a twisted crown with readings that contradict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Form = Literal["hollow", "crowned", "twisted", "mixed", "saddle", "twisted crown", "twisted hollow"]
ExerciseCase = Literal["leave", "lap", "machine shop"]
"""What is likely best done with the face; only a target when it is made."""
CASES: tuple[tuple[ExerciseCase, int], ...] = (("lap", 8), ("machine shop", 7), ("leave", 5))
"""How many of twenty consecutive numbers are drawn for each, so that no one verdict is right in
more than about half of a class's jobs."""


@dataclass(frozen=True)
class Level:
    """How hard an exercise is.

    Attributes
    ----------
    words : what to expect, in a sentence
    feelable : the same where the learner takes the readings; empty: the same words
    lapped : shapes that one pair of hands brings well inside a limit, for faces that are best lapped
    forms : shapes that the others may have
    leaves : feeler leaves at hand [µm]
    feel : standard error of the feel [m]
    rolled : most that ends and sides are rolled off, over the flatness [-]
    ripple : height of the waves over the flatness [-]
    left_out : which of the six lines were not read
    slips : readings written down plainly wrong
    limits : limits it may have [µm]
    zone : chance that the limit is meant as minimum zone [-]
    """

    words: str
    lapped: tuple[Form, ...]
    forms: tuple[Form, ...]
    leaves: tuple[int, ...]
    feel: float
    rolled: float
    ripple: float
    left_out: tuple[str, ...]
    slips: int
    limits: tuple[int, ...]
    zone: float
    feelable: str = ""

    @property
    def felt(self) -> str:
        """What to expect where the learner feels the face."""
        return self.feelable or self.words


LEVELS: dict[int, Level] = {
    1: Level(
        "a pure hollow or a pure crown, thin leaves, a sure hand",
        ("hollow",), ("crowned", "crowned", "crowned", "crowned", "hollow"),
        (20, 30, 40, 50, 60, 70, 80, 100, 120, 150, 200, 250, 300),
        feel=2e-6, rolled=0.0, ripple=0.01, left_out=(), slips=0,
        limits=(30, 40, 60, 90), zone=0.0,
    ),
    2: Level(
        "hollow, crowned or twisted, ends rolled off a little",
        ("hollow",), ("crowned", "twisted"),
        (20, 30, 40, 50, 60, 80, 100, 120, 150, 200, 250, 300),
        feel=3e-6, rolled=0.1, ripple=0.02, left_out=(), slips=0,
        limits=(30, 40, 60, 90), zone=0.0,
    ),
    3: Level(
        "any shape, twists and saddles among them, ordinary leaves",
        ("hollow", "twisted hollow"), ("hollow", "crowned", "twisted", "twisted", "saddle"),
        (30, 40, 50, 60, 80, 100, 150, 200, 250, 300),
        feel=4e-6, rolled=0.15, ripple=0.03, left_out=(), slips=0,
        limits=(40, 50, 60, 80, 100), zone=0.35,
    ),
    4: Level(
        "any shape, coarser leaves, and one reading may have been written down wrong",
        ("hollow", "twisted hollow"), ("hollow", "crowned", "twisted", "mixed"),
        (40, 50, 60, 80, 100, 150, 200, 300),
        feel=4e-6, rolled=0.15, ripple=0.03, left_out=(), slips=1,
        limits=(50, 60, 80, 100, 120), zone=0.35,
        feelable="any shape, and coarser leaves",
    ),
    5: Level(
        "twisted crowns among others, few lines, coarse leaves, and readings that contradict each other",
        ("twisted hollow", "hollow"), ("twisted crown", "twisted crown", "twisted", "crowned"),
        (50, 60, 80, 100, 150, 200, 250, 300),
        feel=5e-6, rolled=0.2, ripple=0.03, left_out=("cross left", "cross right"), slips=2,
        limits=(60, 80, 100, 120), zone=0.35,
        feelable="twisted crowns among others, coarse leaves, an unsure hand",
    ),
}  # fmt: skip
