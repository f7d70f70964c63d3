"""What the work costs everybody who could have been drawn, foretold from the members that were worked.

Strokes and minutes are what a plan promises, and go most by what is known beforehand: how fast the paper
cuts, how it ages, how hollow the face is.  So their bands are read off thousands of hands and all faces that
the survey drew (:mod:`handlap.sim.common.steadied`), not off the members alone; chances, depths and what is
left of the warp are the members' own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.common.steadied import FEWEST, GROUPS, of_everybody
from handlap.sim.common.steadiness import CHANCE_Z, middle_again
from handlap.sim.lapping.ensemble import EVEN_SCORES, strokes_per_minute
from handlap.sim.planning.crew import Crew
from handlap.sim.planning.effort import Effort, count_effort
from handlap.sim.planning.work import Worked

Span = tuple[float, float]


@dataclass(frozen=True)
class Foretold:
    """What the work costs.

    Attributes
    ----------
    stops : strokes on each paper (papers, n) [-]
    effort : of all papers (n,)
    by_line : whether of everybody; else of the members alone
    """

    stops: tuple[Array, ...]
    effort: Effort
    by_line: bool


def foretell(crew: Crew, worked: Worked) -> Foretold:
    """What work of a crew costs everybody; the members alone where they do not bear that out."""
    count = crew.members.count
    found = _foretell(crew, worked, np.arange(count), None)
    if found is None:
        return Foretold(tuple(course.stops for course in worked.courses), worked.outcome.effort, False)
    return found


def _foretell(crew: Crew, worked: Worked, members: NDArray[np.int64], without: int | None) -> Foretold | None:
    """Foretold from the members with these indices (k,), ``without`` a group of the faces."""
    if len(members) < FEWEST:
        return None
    known = crew.everybody.known
    rows = slice(None) if without is None else known.whose % GROUPS != without
    own = [course.stops[members] for course in worked.courses]
    rng = np.random.default_rng([crew.seed, 14])
    stops = of_everybody(own, known.own[members], known.all[rows], rng)
    if stops is None:
        return None
    papers = [(course.grit, on) for course, on in zip(worked.courses, stops, strict=True)]
    pace = strokes_per_minute(worked.scenario, known.scores[rows])
    return Foretold(stops, count_effort(worked.scenario, crew.middle, papers, pace), True)


def again(crew: Crew, worked: Worked, found: Foretold) -> tuple[Span | None, Span | None]:
    """Between what the middle strokes and minutes of another seed lie nine times in ten.

    With groups of the members, and of the faces of everybody, left out in turn (jackknife).
    """
    own = worked.outcome.effort
    even = crew.scores[:, :EVEN_SCORES]
    plain = middle_again(own.strokes, even), middle_again(own.minutes, even)
    if not found.by_line:
        return plain
    place = np.arange(crew.members.count)
    middles = []
    for group in range(GROUPS):
        fewer = _foretell(crew, worked, place[place % GROUPS != group], group)
        if fewer is None:
            return plain
        middles.append([np.median(fewer.effort.strokes), np.median(fewer.effort.minutes)])
    logs = np.log(np.maximum(middles, 1e-9))
    wander = np.sqrt((GROUPS - 1.0) * logs.var(axis=0))
    reach = np.exp(CHANCE_Z * np.sqrt(2.0) * wander)
    return (
        _about(float(np.median(found.effort.strokes)), reach[0]),
        _about(float(np.median(found.effort.minutes)), reach[1]),
    )


def _about(middle: float, reach: float) -> Span:
    return middle / float(reach), middle * float(reach)
