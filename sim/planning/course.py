"""What work on one paper does to every member of an ensemble, and how each of them comes out in the end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.job.results import FIGURE_NAMES, Figures
from handlap.sim.job.scenario import LimitBy, Scenario
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.ensemble import run_members
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.set_up import Rig
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.crew import Members
from handlap.sim.planning.effort import Effort, count_effort
from handlap.sim.planning.leg import Leg, LegRun, StopRule, ToTheEnd, lay_leg, work_leg


@dataclass(frozen=True)
class Course:
    """All members on one paper.

    Attributes
    ----------
    stage : the work, its strokes those up to which looks are even
    strokes : at the looks of the member that was worked furthest (looks,) [-]
    worked : looks to which each was worked (members,); ``complete``: to which all were
    figures : arrays (members, looks), depths from before the whole job; NaN where a member was not worked
    faces : (members, looks, n), single precision [m], zeros where it was not; no looks if not kept
    work, friction : of the arms up to each look [J], and of the paper as it is there [-] (members, looks)
    stops : where each stopped (members,) [strokes]
    reached, at_best : the goal made it stop; or it was at its best, with worse to follow (members,)
    given_up : it was on its way down, but too slowly ever to get there (members,)
    start, left : faces at the start and at the stop (members, n) [m]
    end, spent : figures, and work of the arms [J], at the stop (members,)
    clipped, tipped : shares of rows (members,), see :class:`handlap.sim.lapping.lap.LapRun`
    """

    stage: Stage
    strokes: NDArray[np.int64]
    worked: NDArray[np.int64]
    figures: Figures
    faces: NDArray[np.float32]
    work: Array
    friction: Array
    stops: Array
    reached: NDArray[np.bool_]
    at_best: NDArray[np.bool_]
    given_up: NDArray[np.bool_]
    start: Array
    left: Array
    end: Figures
    spent: Array
    clipped: Array
    tipped: Array

    @property
    def complete(self) -> int:
        """Looks to which all members were worked [-]."""
        return int(self.worked.min())

    @property
    def grit(self) -> Grit:
        """The paper."""
        return self.stage.grit


def gather_course(stage: Stage, start: Array, runs: Sequence[LegRun]) -> Course:
    """One course from what came of all members, which started from faces (members, n) [m]."""
    looks = max(run.strokes.size for run in runs)
    strokes = next(run.strokes for run in runs if run.strokes.size == looks)

    def padded(values: Callable[[LegRun], Array]) -> Array:
        found = np.full((len(runs), looks), np.nan)
        for row, run in zip(found, runs, strict=True):
            row[: run.strokes.size] = values(run)
        return found

    kept = looks if all(len(run.faces) for run in runs) else 0
    faces = np.zeros((len(runs), kept, start.shape[1]), dtype=np.float32)
    for row, run in zip(faces, runs, strict=True):
        row[: len(run.faces)] = run.faces[:kept]
    figures = {name: padded(lambda r, name=name: getattr(r.figures, name)) for name in FIGURE_NAMES}  # type: ignore[misc]
    return Course(
        stage=stage,
        strokes=strokes,
        worked=np.array([run.strokes.size for run in runs]),
        figures=Figures(**figures),
        faces=faces,
        work=padded(lambda r: r.work),
        friction=padded(lambda r: r.friction),
        stops=np.array([run.stroke for run in runs]),
        reached=np.array([run.stop.reached for run in runs]),
        at_best=np.array([run.stop.at_best for run in runs]),
        given_up=np.array([run.stop.given_up for run in runs]),
        start=start,
        left=np.array([run.face for run in runs]),
        end=Figures(**{name: np.array([getattr(run.end, name)[0] for run in runs]) for name in FIGURE_NAMES}),
        spent=np.array([run.worked for run in runs]),
        clipped=np.array([run.clipped for run in runs]),
        tipped=np.array([run.tipped for run in runs]),
    )


def run_course(
    rig: Rig,
    gauged: Gauge,
    members: Members,
    start: Array,
    stage: Stage,
    *,
    quad_strokes: float,
    seed: int,
    executor: Executor | None = None,
    finished: Callable[[int], None] | None = None,
    rule: StopRule | None = None,
    limit_by: LimitBy = "straightedge",
    shown: int = 0,
    most: int | None = None,
) -> Course:
    """Carry all members through a stage, from faces ``start`` (members, n) [m].

    Parameters
    ----------
    most : strokes up to which anybody may go, looks and rows growing beyond those of the stage; None: those
    rule, limit_by : where each of them stops, by which figure; without a rule, at the end of the stage
    shown : strokes up to which they are worked in any case
    """
    leg = lay_leg(rig, stage, quad_strokes=quad_strokes, seed=seed, most=most)
    runs = run_legs(
        rig, gauged, members, start, leg, executor=executor, finished=finished, rule=rule,
        limit_by=limit_by, shown=shown,
    )  # fmt: skip
    return gather_course(stage, start, runs)


def run_legs(
    rig: Rig,
    gauged: Gauge,
    members: Members,
    start: Array,
    leg: Leg,
    *,
    executor: Executor | None = None,
    finished: Callable[[int], None] | None = None,
    rule: StopRule | None = None,
    limit_by: LimitBy = "straightedge",
    shown: int = 0,
) -> list[LegRun]:
    """What comes of a leg for every member; parameters as of :func:`run_course`."""
    work = partial(_work, rig, gauged, leg, rule or ToTheEnd(), limit_by, shown)
    triples = list(zip(members.before, start, members.conditions, strict=True))
    return run_members(work, triples, executor=executor, finished=finished)


def _work(
    rig: Rig,
    gauged: Gauge,
    leg: Leg,
    rule: StopRule,
    limit_by: LimitBy,
    shown: int,
    member: tuple[Array, Array, Conditions],
) -> LegRun:
    before, start, conditions = member
    return work_leg(
        rig, gauged, leg, conditions, rule, before=before, start=start, limit_by=limit_by, shown=shown
    )


@dataclass(frozen=True)
class Outcome:
    """Figures of every member at its own end (members,), and the faces (members, n) [SI].

    ``work`` is that of the arms [J].
    """

    figures: Figures
    faces: Array
    work: Array
    effort: Effort


def outcome_of(scenario: Scenario, middle: Conditions, pace: Array, courses: Sequence[Course]) -> Outcome:
    """Every member at the end of all papers; ``pace`` (members,) [strokes/min]."""
    papers = [(course.grit, course.stops) for course in courses]
    last = courses[-1]
    return Outcome(
        last.end,
        last.left,
        np.sum([course.spent for course in courses], axis=0),
        count_effort(scenario, middle, papers, pace),
    )
