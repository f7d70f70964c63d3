"""Members of an ensemble worked in several ways: the same faces, hands and paper in each.

Every member is worked in one go, from its face to the last paper, in whatever thread or process
an executor puts it; only what is reported comes back.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.errors import HandlapError, InputError, SolverError, TippingError
from handlap.sim.common.outline import Array
from handlap.sim.job.results import Figures
from handlap.sim.job.scenario import LimitBy
from handlap.sim.lapping import gauge
from handlap.sim.lapping.ensemble import most_typical, run_members
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.lap import (
    Bench,
    Conditions,
    Stage,
    law_of,
    run_stage,
    stage_layout,
    tipping_words,
)
from handlap.sim.lapping.poses import Layout
from handlap.sim.lapping.resolution import choose_resolution
from handlap.sim.lapping.rhythm import check_interval, stage_of
from handlap.sim.lapping.sheet import depth_per_stroke
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.course import STOP_AT, measure
from handlap.sim.planning.effort import Effort, count_effort
from handlap.sim.planning.papers import chain, scratches_gone
from handlap.sim.planning.work import (
    MOST_ROWS,
    MOST_STROKES,
    TIP_REFUSED,
    TOLERANCE,
    Job,
    clearing_stage,
)

LONGEST = 8
"""The longest course over the one first tried."""
PAST_BEST = 0.6
"""A member is past its best when the best look lies before this share of its course."""
CHUNK = 4
"""Members that go to a worker together."""
FIGURES = tuple(Figures.__dataclass_fields__)


@dataclass(frozen=True)
class Steps:
    """All that a worker needs to know to work a member in one way.

    ``courses``: the first paper for longer and longer; ``finish``: the finer papers; ``papers``: all.
    """

    bench: Bench
    gauged: Gauge
    courses: tuple[tuple[Stage, Layout], ...]
    finish: tuple[tuple[Stage, Layout], ...]
    papers: tuple[Grit, ...]
    limit_by: LimitBy
    goal: float
    step_error: float


@dataclass(frozen=True)
class MemberWork:
    """What comes back of one member.

    Attributes
    ----------
    figures : at its end, in the order of ``FIGURES`` (6,) [m]
    face : then (n,), single precision [m]
    curve : measured figure, mean and greatest depth at the looks of the first course (looks, 3) [m]
    strokes : on every paper until it was left (papers,) [-]
    work : of the arms over all papers [J]
    tipped : share of rows with the press off the face [-]
    """

    figures: Array
    face: NDArray[np.float32]
    curve: NDArray[np.float32]
    strokes: tuple[int, ...]
    work: float
    tipped: float


@dataclass(frozen=True)
class Done:
    """An ensemble worked in one way.

    Attributes
    ----------
    failure : why it cannot be done; then nothing else is there
    figures : arrays (members,) at the end [m]
    faces : (members, n), single precision [m]
    looks : strokes at the looks of the curves (looks,) [-]
    curve : measured figure, mean and greatest depth (members, looks, 3) [m]
    first_strokes : strokes of every member on the first paper (members,) [-]
    work : of the arms (members,) [J]
    step_error : numerical error of a step, measured [m]
    """

    failure: str | None
    figures: Figures
    faces: NDArray[np.float32]
    looks: NDArray[np.int64]
    curve: NDArray[np.float32]
    first_strokes: Array
    effort: Effort
    work: Array
    step_error: float


def work_member(steps: Steps, before: Array, conditions: Conditions) -> MemberWork:
    """Work one face (n,) [m] through all papers; it stops on the first at its goal or its best point."""
    curve = None
    for stage, layout in steps.courses:
        # A longer course begins with the very strokes of the shorter one, so nothing is redrawn.
        run = run_stage(steps.bench, before, conditions, stage, layout)
        figures = gauge.figures(steps.gauged, before, run.heights)
        measured = measure(figures, steps.limit_by)
        if curve is None:
            curve = np.column_stack([measured, figures.mean_depth, figures.greatest_depth])
        under = measured <= steps.goal
        look = int(np.argmax(under)) if under.any() else int(np.argmin(measured))
        if under.any() or run.strokes[look] <= PAST_BEST * run.strokes[-1]:
            break
    assert curve is not None
    strokes, work = [run.strokes[look]], float(run.work[look])
    start, now, tipped = before, run.heights[look], run.tipped
    at_end = np.array([getattr(figures, name)[look] for name in FIGURES])
    cells, scenario = slice(0, steps.bench.grid.n_cells), steps.bench.scenario
    for previous, (stage, layout) in zip(steps.papers, steps.finish, strict=False):
        run = run_stage(steps.bench, now, conditions, stage, layout)
        stock = law_of(scenario, conditions, previous).stock
        area = steps.bench.grid.area[cells]
        look = scratches_gone(start[cells], now[cells], run.heights[:, cells], area, stock)
        start, now = now, run.heights[look]
        strokes.append(run.strokes[look])
        work += float(run.work[look])
        figures = gauge.figures(steps.gauged, before, now)
        at_end = np.array([getattr(figures, name)[-1] for name in FIGURES])
    return MemberWork(at_end, now.astype(np.float32), curve.astype(np.float32), tuple(strokes), work, tipped)


def work_chunk(task: tuple[Steps, Sequence[tuple[Array, Conditions]]]) -> list[MemberWork] | HandlapError:
    """Work several faces (n,) [m] in one way; an error in words comes back instead of being raised."""
    steps, members = task
    try:
        return [work_member(steps, before, conditions) for before, conditions in members]
    except (InputError, SolverError) as fault:
        return fault


def quad_of(job: Job, stage: Stage, face: Array) -> tuple[float, float]:
    """Strokes of a group of rows within the tolerance, and the error measured [m].

    Turns that fall within less wear than the tolerance need no rows of their own.
    """
    per_turn = stage.turn_every * depth_per_stroke(job.scenario, job.middle, stage.grit)
    small = stage.turn_every > 0 and per_turn <= TOLERANCE
    probe = replace(stage, turn_every=0) if small else stage
    found = choose_resolution(
        job.bench, face, job.middle, probe, tolerance=TOLERANCE, seed=job.seed, most_rows=MOST_ROWS
    )
    return found.quad_strokes, found.error


def prepare(job: Job, first: int, horizon: int) -> Steps:
    """Lay out the papers from the ``first`` on; the course on it is tried for ``horizon`` strokes."""
    scenario, middle = job.scenario, job.middle
    grits = chain(scenario, middle, first)
    before = job.members.before
    face = before[most_typical(before)]
    every = check_interval(scenario)
    looks = max(3, -(-min(horizon, MOST_STROKES) // every))
    quad, error = quad_of(job, stage_of(scenario, middle, grits[0], every * looks, every), face)
    courses: list[tuple[Stage, Layout]] = []
    while looks * every <= MOST_STROKES and len(courses) <= np.log2(LONGEST):
        stage = stage_of(scenario, middle, grits[0], every * looks, every)
        courses.append((stage, stage_layout(job.bench, stage, quad_strokes=quad, seed=job.seed)))
        looks *= 2
    finish: list[tuple[Stage, Layout]] = []
    for previous, grit in pairwise(grits):
        stage = clearing_stage(scenario, middle, previous, grit)
        quad, step = quad_of(job, stage, face)
        error = max(error, step)
        finish.append((stage, stage_layout(job.bench, stage, quad_strokes=quad, seed=job.seed + 1)))
    part = scenario.part
    return Steps(
        job.bench,
        job.gauged,
        tuple(courses),
        tuple(finish),
        grits,
        part.limit_by,
        STOP_AT * part.limit,
        error,
    )


def work_ways(
    jobs: Sequence[Job],
    first: Sequence[int],
    horizon: int,
    *,
    executor: Executor | None = None,
    finished: Callable[[float], None] | None = None,
) -> list[Done]:
    """Work the members of all jobs, side by side.

    Parameters
    ----------
    jobs : one for each way, all of the same ensemble
    first : place of the first paper of each
    horizon : strokes that most members are expected to need on it
    finished : called with the share done

    Returns
    -------
    One result for each job, the same whatever the executor.
    """
    steps: list[Steps | HandlapError] = []
    for job, start in zip(jobs, first, strict=True):
        try:
            steps.append(prepare(job, start, horizon))
        except (InputError, SolverError) as refused:
            steps.append(refused)
    tasks: list[tuple[Steps, Sequence[tuple[Array, Conditions]]]] = []
    owner: list[int] = []
    for i, (job, plan) in enumerate(zip(jobs, steps, strict=True)):
        if isinstance(plan, Steps):
            pairs = list(zip(job.members.before, job.members.conditions, strict=True))
            for at in range(0, len(pairs), CHUNK):
                tasks.append((plan, pairs[at : at + CHUNK]))
                owner.append(i)
    total = len(tasks)
    tell = None if finished is None else lambda n: finished(n / total)
    results = run_members(work_chunk, tasks, executor=executor, finished=tell)
    found = []
    for i, (job, plan) in enumerate(zip(jobs, steps, strict=True)):
        mine = [r for r, o in zip(results, owner, strict=True) if o == i]
        fault = plan if isinstance(plan, HandlapError) else next(
            (r for r in mine if isinstance(r, HandlapError)), None
        )  # fmt: skip
        if fault is not None or not isinstance(plan, Steps):
            found.append(_failed(str(fault)))
            continue
        found.append(_gather(job, plan, [m for r in mine if not isinstance(r, HandlapError) for m in r]))
    return found


def _failed(why: str) -> Done:
    none = np.zeros(0)
    return Done(
        why,
        Figures(*[none] * len(FIGURES)),
        np.zeros((0, 0), np.float32),
        np.zeros(0, np.int64),
        np.zeros((0, 0, 3), np.float32),
        none,
        Effort(*[none] * len(Effort.__dataclass_fields__)),
        none,
        0.0,
    )


def _gather(job: Job, steps: Steps, members: Sequence[MemberWork]) -> Done:
    tipped = float(np.mean([m.tipped for m in members]))
    if tipped > TIP_REFUSED:
        return _failed(str(TippingError(tipping_words(job.middle, tipped))))
    strokes = np.array([m.strokes for m in members], dtype=float)
    figures: dict[str, Any] = dict(zip(FIGURES, np.array([m.figures for m in members]).T.copy(), strict=True))
    papers = list(zip(steps.papers, strokes.T, strict=True))
    effort = count_effort(job.scenario, job.middle, papers, job.members.pace)
    return Done(
        None,
        Figures(**figures),
        np.array([m.face for m in members]),
        np.array(steps.courses[0][1].snapshot_strokes),
        np.array([m.curve for m in members]),
        strokes[:, 0],
        effort,
        np.array([m.work for m in members]),
        steps.step_error,
    )
