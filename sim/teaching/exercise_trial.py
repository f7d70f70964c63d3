"""A plan tried on the true face of an exercise, with hands and paper as little known as they are.

The face is the same in all members; press, height, bias and wobble of the hands, the rate of the
paper and its ageing vary as in any plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from handlap.sim.common.outline import Array
from handlap.sim.face.face_ensemble import FaceEnsemble
from handlap.sim.job.results import Band, Figures
from handlap.sim.job.scenario import Part, Scenario
from handlap.sim.job.ways import Way, apply_way
from handlap.sim.lapping.rhythm import stage_of
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.course import run_course
from handlap.sim.planning.crew import Crew, crew_of, vary
from handlap.sim.planning.fineness import EXERCISED
from handlap.sim.planning.leg import inside_limits, measure
from handlap.sim.planning.work import first_guess, lay_steps, work
from handlap.sim.teaching.exercise_face import TrueFace


@dataclass(frozen=True)
class WayTried:
    """Papers coarse to fine with the strokes on each, how the part is turned, how often (0: never)."""

    papers: tuple[str, ...]
    strokes: tuple[int, ...]
    turning: str
    turn_every: int


@dataclass(frozen=True)
class PlanTrial:
    """What came of a plan on the true face.

    Attributes
    ----------
    way : what was tried
    members : hands, each with its own paper [-]
    limit, allowance : [m]
    written : chance to end inside limit and allowance with just the strokes written down [-]
    written_goal, written_allowance : of keeping the one and the other [-]
    looking : chance of both, stopping the first paper at nine tenths of the limit, or where it gets
        no better, with a look every two minutes, and each finer one where the scratches of the one before
        are gone, as a plan does [-]
    looking_goal, looking_allowance : of keeping the one and the other [-]
    stops : strokes on the first paper at which those who look stop [-]
    after, deepest : the measured figure and the deepest spot with the strokes written down [m]
    before : the measured figure at the start [m]
    """

    way: WayTried
    members: int
    limit: float
    allowance: float | None
    written: float
    written_goal: float
    written_allowance: float
    looking: float
    looking_goal: float
    looking_allowance: float
    stops: Band
    after: Band
    deepest: Band
    before: float


@dataclass(frozen=True)
class _OneFace:
    """The same face for all members."""

    face: TrueFace

    def at(self, points: ArrayLike) -> Array:
        """Heights (1, n) at points (n, 2) [m]."""
        return self.face.heights_at(np.asarray(points, dtype=float))[None, :]


def crew_on(scenario: Scenario, face: TrueFace, *, members: int, seed: int) -> Crew:
    """A true face on the bench of its scenario, with one pair of hands a member.

    Parameters
    ----------
    members : pairs of hands [-]
    seed : same seed, same hands
    """
    known = FaceEnsemble(scenario.part.outline, 1, True, 1.0, (), _OneFace(face))
    return crew_of(scenario, known, members=members, seed=seed, fineness=EXERCISED)


def try_way(crew: Crew, way: WayTried, *, executor: Executor | None = None) -> PlanTrial:
    """Try a way of working on the true face.

    Raises
    ------
    TippingError : if the press lies off the face for most of the members
    """
    changed = replace(
        vary(crew, apply_way(crew.scenario, Way("", turning=way.turning, every=way.turn_every))),
        executor=executor,
    )
    part = changed.scenario.part
    grits = tuple(_grit(changed.scenario, name) for name in way.papers)
    guess = first_guess(changed, grits[0])
    looking = work(changed, lay_steps(changed, 0, np.array([guess]), grits=grits))
    written = _as_written(changed, grits, way.strokes)
    kept = [_kept(part, end) for end in (written, looking.outcome.figures)]
    return PlanTrial(
        way=way,
        members=changed.members.count,
        limit=part.limit,
        allowance=part.allowance,
        written=kept[0][0], written_goal=kept[0][1], written_allowance=kept[0][2],
        looking=kept[1][0], looking_goal=kept[1][1], looking_allowance=kept[1][2],
        stops=Band.of(looking.first.stops),
        after=Band.of(measure(written, part.limit_by)),
        deepest=Band.of(written.greatest_depth),
        before=float(changed.measured(changed.members.before[:1])[0]),
    )  # fmt: skip


def _as_written(crew: Crew, grits: Sequence[Grit], strokes: Sequence[int]) -> Figures:
    """Figures of everybody (members,) after so many strokes on each paper, whatever they show."""
    now = crew.members.before
    for grit, count in zip(grits, strokes, strict=True):
        stage = stage_of(crew.scenario, crew.middle, grit, count, count)
        course = run_course(
            crew.rig, crew.gauged, crew.members, now, stage,
            quad_strokes=crew.steps_for(stage).quad_strokes, seed=crew.seed, executor=crew.executor,
        )  # fmt: skip
        now, end = course.left, course.end
    return end


def _grit(scenario: Scenario, name: str) -> Grit:
    return next(grit for grit in scenario.paper.grits if grit.name == name)


def _kept(part: Part, end: Figures) -> tuple[float, float, float]:
    """Chances of both, of the limit, of the allowance."""
    inside, within = inside_limits(part, end)
    return float(np.mean(inside & within)), float(np.mean(inside)), float(np.mean(within))
