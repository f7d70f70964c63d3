"""How every member of an ensemble comes out: its own stop on the first paper, then the finer ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.job.results import Figures
from handlap.sim.lapping.lap import Stage
from handlap.sim.planning.course import Course, Members, Stops


@dataclass(frozen=True)
class Finish:
    """One finer paper: the stage, what it did, and the faces (members, n) it started from [m]."""

    stage: Stage
    course: Course
    start: Array


@dataclass(frozen=True)
class Outcome:
    """Figures of every member at its own end (members,), and the faces (members, n) [SI].

    ``work`` is that of the arms [J]; ``minutes`` are of strokes only [min].
    """

    figures: Figures
    faces: Array
    strokes: Array
    work: Array
    minutes: Array


def find_outcome(members: Members, coarse: Course, stops: Stops, finish: Sequence[Finish]) -> Outcome:
    """Follow every member to its stop on the first paper and through the finer ones."""
    row = np.arange(members.count)
    at_stop = coarse.strokes[stops.look].astype(float)
    friction = np.array([c.friction for c in members.conditions])
    work = friction * coarse.load_sliding * at_stop / coarse.strokes[-1]
    strokes = at_stop
    names = Figures.__dataclass_fields__
    if not finish:
        figures = Figures(**{n: getattr(coarse.figures, n)[row, stops.look] for n in names})
        faces = coarse.heights[row, stops.look].astype(float)
        return Outcome(figures, faces, strokes, work, strokes / members.pace)
    for step in finish:
        strokes = strokes + step.stage.strokes
        work = work + friction * step.course.load_sliding
    last = finish[-1].course
    figures = Figures(**{n: getattr(last.figures, n)[:, -1] for n in names})
    return Outcome(figures, last.heights[:, -1].astype(float), strokes, work, strokes / members.pace)
