"""How every member of an ensemble comes out: its own stop on the first paper, then the finer ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.job.results import Figures
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.lap import Conditions, Stage
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.course import Course, Members, Stops
from handlap.sim.planning.effort import Effort, count_effort


@dataclass(frozen=True)
class Finish:
    """One finer paper: the stage, what it did, the faces (members, n) it started from [m], and the look
    (members,) at which each member left it."""

    stage: Stage
    course: Course
    start: Array
    look: NDArray[np.int64]

    @property
    def strokes(self) -> Array:
        """Strokes of every member on it (members,) [-]."""
        return self.course.strokes[self.look].astype(float)

    @property
    def faces(self) -> Array:
        """Faces (members, n) as they were left [m]."""
        return self.course.heights[np.arange(self.look.size), self.look].astype(float)


@dataclass(frozen=True)
class Outcome:
    """Figures of every member at its own end (members,), and the faces (members, n) [SI].

    ``work`` is that of the arms [J].
    """

    figures: Figures
    faces: Array
    work: Array
    effort: Effort


def find_outcome(
    scenario: Scenario,
    middle: Conditions,
    members: Members,
    first: Grit,
    coarse: Course,
    stops: Stops,
    finish: Sequence[Finish],
) -> Outcome:
    """Follow every member to its stop on the first paper and through the finer ones."""
    row = np.arange(members.count)
    work = coarse.work[row, stops.look]
    papers = [(first, coarse.strokes[stops.look].astype(float))]
    last, look, faces = coarse, stops.look, coarse.heights[row, stops.look].astype(float)
    for step in finish:
        work = work + step.course.work[row, step.look]
        papers.append((step.stage.grit, step.strokes))
        last, look, faces = step.course, step.look, step.faces
    names = Figures.__dataclass_fields__
    figures = Figures(**{n: getattr(last.figures, n)[row, look] for n in names})
    return Outcome(figures, faces, work, count_effort(scenario, middle, papers, members.pace))
