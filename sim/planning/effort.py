"""What work costs in time and paper: strokes, turns, brushings and sheets, counted once for all reports."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.conditions import Conditions
from handlap.sim.lapping.rhythm import choose_rhythm
from handlap.sim.lapping.sheet import BRUSH_MINUTES, SHEET_MINUTES
from handlap.sim.materials.grits import Grit

TURN_MINUTES = 0.05
"""What a turn of the part or a walk round takes (C) [min]."""


@dataclass(frozen=True)
class Effort:
    """What the work of every member costs (members,) [-, min].

    ``minutes`` are of all of it, ``stroke_minutes`` of the strokes alone; cleaning, looking and measuring at
    the checks are not counted.
    """

    strokes: Array
    stroke_minutes: Array
    minutes: Array
    turns: Array
    brushings: Array
    sheets: Array

    @property
    def turning_minutes(self) -> Array:
        """Of turns and walks round (members,) [min]."""
        return TURN_MINUTES * self.turns

    @property
    def brushing_minutes(self) -> Array:
        """Of brushings (members,) [min]."""
        return BRUSH_MINUTES * self.brushings

    @property
    def sheet_minutes(self) -> Array:
        """Of sheets laid, the first included (members,) [min]."""
        return SHEET_MINUTES * self.sheets


MINUTES_OF = ("stroke_minutes", "turning_minutes", "brushing_minutes", "sheet_minutes")
"""What the minutes of all work are made of, by name, in the order in which reports tell it."""


def times(strokes: ArrayLike, every: int) -> Array:
    """How often something done after each ``every`` strokes (0: never) is done before the last of them.

    >>> times([80, 81, 240], 80).tolist()
    [0.0, 1.0, 2.0]
    """
    done = np.asarray(strokes, dtype=float)
    return np.maximum(0.0, np.ceil(done / every) - 1.0) if every else np.zeros_like(done)


def count_effort(
    scenario: Scenario, middle: Conditions, papers: Sequence[tuple[Grit, Array]], pace: Array
) -> Effort:
    """Effort of work on several papers.

    Parameters
    ----------
    middle : conditions from which the rhythm of turns, brushings and sheets follows
    papers : each with the strokes of every member on it (members,) [-]
    pace : strokes a minute (members,)
    """
    strokes, turns, brushings, sheets = (np.zeros_like(pace) for _ in range(4))
    for grit, count in papers:
        rhythm = choose_rhythm(scenario, middle, grit)
        strokes = strokes + count
        turns = turns + times(count, rhythm.turn_every)
        brushings = brushings + times(count, rhythm.brush_every)
        sheets = sheets + 1.0 + times(count, rhythm.sheet_every)
    found = Effort(strokes, strokes / pace, np.zeros_like(pace), turns, brushings, sheets)
    return replace(found, minutes=np.sum([getattr(found, name) for name in MINUTES_OF], axis=0))
