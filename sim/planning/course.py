"""An ensemble carried through one stage of work, and where each of its members would stop."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.job.results import Figures
from handlap.sim.job.scenario import LimitBy
from handlap.sim.lapping import gauge
from handlap.sim.lapping.ensemble import run_members
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.lap import Bench, Conditions, LapRun, Stage, run_stage, stage_layout
from handlap.sim.lapping.poses import Layout

STOP_AT = 0.9
"""Work stops when a look shows this share of the limit: leaves and straightedges have errors."""


@dataclass(frozen=True)
class Members:
    """Faces (members, n) on a bench's grid [m], conditions and pace [strokes/min] of each."""

    before: Array
    conditions: tuple[Conditions, ...]
    pace: Array

    @property
    def count(self) -> int:
        """Number of members."""
        return len(self.conditions)

    def some(self, index: NDArray[np.int64]) -> Members:
        """The members with these indices (k,)."""
        return Members(self.before[index], tuple(self.conditions[i] for i in index), self.pace[index])


@dataclass(frozen=True)
class Course:
    """What a stage does to every member, at each look.

    Attributes
    ----------
    strokes : strokes of the stage done at each look (looks,) [-]
    heights : faces (members, looks, n), single precision [m]
    figures : arrays (members, looks); depths count from before the whole job
    work, friction : of the arms up to each look [J], and of the paper as it is there [-] (members, looks)
    clipped, tipped : shares of rows (members,), see :class:`handlap.sim.lapping.lap.LapRun`
    rows : rows of each lap [-]
    """

    strokes: NDArray[np.int64]
    heights: NDArray[np.float32]
    figures: Figures
    work: Array
    friction: Array
    clipped: Array
    tipped: Array
    rows: int


def lap_member(
    bench: Bench, gauged: Gauge, stage: Stage, layout: Layout, member: tuple[Array, Array, Conditions]
) -> tuple[LapRun, Figures]:
    """Lap one member, given as (face before the job, face now, conditions), and take its figures."""
    before, start, conditions = member
    run = run_stage(bench, start, conditions, stage, layout)
    return run, gauge.figures(gauged, before, run.heights)


def run_course(
    bench: Bench,
    gauged: Gauge,
    members: Members,
    start: Array,
    stage: Stage,
    *,
    quad_strokes: float,
    seed: int,
    executor: Executor | None = None,
    finished: Callable[[int], None] | None = None,
) -> Course:
    """Carry all members through one stage, from faces ``start`` (members, n) [m]."""
    layout = stage_layout(bench, stage, quad_strokes=quad_strokes, seed=seed)
    work = partial(lap_member, bench, gauged, stage, layout)
    triples = list(zip(members.before, start, members.conditions, strict=True))
    results = run_members(work, triples, executor=executor, finished=finished)
    runs = [run for run, _ in results]
    names = Figures.__dataclass_fields__
    return Course(
        strokes=np.array(layout.snapshot_strokes),
        heights=np.array([run.heights for run in runs], dtype=np.float32),
        figures=Figures(**{name: np.array([getattr(f, name) for _, f in results]) for name in names}),
        work=np.array([run.work for run in runs]),
        friction=np.array([run.friction for run in runs]),
        clipped=np.array([run.clipped for run in runs]),
        tipped=np.array([run.tipped for run in runs]),
        rows=layout.x.size,
    )


def measure(figures: Figures, limit_by: LimitBy) -> Array:
    """The figure that the limit is held against [m]."""
    return figures.straightedge if limit_by == "straightedge" else figures.flatness


@dataclass(frozen=True)
class Stops:
    """Where each member stops: index of the look (members,), and whether the goal made it stop."""

    look: NDArray[np.int64]
    reached: NDArray[np.bool_]
    at_best: NDArray[np.bool_]
    """Stopped at the best point of the course, short of the goal and with worse to follow."""


def find_stops(measured: Array, goal: float) -> Stops:
    """First look (members, looks) at or under ``goal`` [m]; failing that, the best look there is."""
    under = measured <= goal
    reached = np.asarray(under.any(axis=1))
    best = np.argmin(measured, axis=1)
    look = np.where(reached, np.argmax(under, axis=1), best)
    return Stops(look, reached, ~reached & (best < measured.shape[1] - 1))
