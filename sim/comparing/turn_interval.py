"""How often to turn: the same strokes, turned at one interval after another, up to never.

Every interval sees the same wobble of the hands at the same strokes, so that what is left
between two of them is the turning alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.common.said import record, said
from handlap.sim.job.results import Band
from handlap.sim.lapping.ensemble import spread_over
from handlap.sim.lapping.rhythm import stage_of
from handlap.sim.planning.course import run_course
from handlap.sim.planning.crew import Crew
from handlap.sim.planning.leg import measure

MEASURABLE = 2e-6
"""What a dial indicator on the bench tells apart: common practice [m]."""
MOST_MEMBERS = 32
FULLEST = 0.6
"""An interval longer than this share of the strokes is as good as never."""
GROUPS = 72
"""Groups of rows a course is laid out in, at the most: turns fall between them."""
UNITS = (1, 2, 3, 5, 10, 20, 40, 80, 160)
"""Strokes of a group of rows, none more than twice the one before: at least half as many groups then."""


@record()
class TurnCurve:
    """What the interval between turns does, all at the same strokes on one paper.

    Attributes
    ----------
    schedule : name of the schedule of turns
    paper, strokes : what all were worked with [-]
    intervals : strokes between turns (k,), the last is never: as many as all strokes
    flatness, taper : bands (k, 3) of the measured figure and of the greater taper of the removal [m]
    cost, taper_cost : what an interval adds to both over turning at every stroke, bands (k, 3) [m]
    largest : the largest interval that costs nothing measurable; None: even the shortest does
    harmless : never turning costs nothing measurable either
    depth : mean depth that comes off in the largest such interval (or the shortest tried) [m]
    bedding : bedding length of the paper [m]
    members : members that were worked
    """

    schedule: str
    paper: str
    strokes: int
    intervals: tuple[int, ...]
    flatness: Array = said("um", "measured_um")
    taper: Array = said("um")
    cost: Array = said("um")
    taper_cost: Array = said("um")
    largest: int | None = said(name="largest_harmless")
    harmless: bool = said(name="never_is_harmless")
    depth: float
    bedding: float
    members: int


def unit_of(strokes: int) -> int:
    """Strokes of a group of rows, of which all intervals are multiples.

    >>> unit_of(480), unit_of(1290), unit_of(30)
    (10, 20, 1)
    """
    return next((u for u in UNITS if u * GROUPS >= strokes), UNITS[-1])


def turn_curve(crew: Crew, *, first: int, strokes: int) -> TurnCurve:
    """Work some members with turns at intervals from every stroke to never.

    Parameters
    ----------
    crew : its scenario's schedule has at least two states
    first : place of the paper in the scenario's list
    strokes : strokes of every course; rounded up to whole groups of rows
    """
    scenario, middle = crew.scenario, crew.middle
    grit = scenario.paper.grits[first]
    unit = unit_of(strokes)
    strokes = unit * max(2, -(-strokes // unit))
    intervals = [1]
    step = unit if unit > 1 else 2
    while step <= FULLEST * strokes:
        intervals.append(step)
        step *= 2
    intervals.append(strokes)
    few = spread_over(crew.members.count, MOST_MEMBERS)
    members = crew.members.some(few)
    base = stage_of(scenario, middle, grit, strokes, strokes)
    # Brushing and sheets fall between groups too, so that all courses have the same groups.
    base = replace(
        base,
        brush_every=_whole_groups(base.brush_every, unit),
        sheet_every=_whole_groups(base.sheet_every, unit),
    )
    measured, tapers = [], []
    for every in intervals:
        course = run_course(
            crew.rig, crew.gauged, members, members.before, replace(base, turn_every=every),
            quad_strokes=unit, seed=crew.seed, executor=crew.executor,
        )  # fmt: skip
        figures = course.figures
        measured.append(measure(figures, scenario.part.limit_by)[:, -1])
        tapers.append(np.maximum(np.abs(figures.taper_along), np.abs(figures.taper_across))[:, -1])
    flat, taper = np.array(measured), np.array(tapers)
    cost, taper_cost = _bands(flat - flat[0]), _bands(taper - taper[0])
    free = np.maximum(cost[:, 2], taper_cost[:, 2]) <= MEASURABLE
    count = int(np.argmin(free)) if not free.all() else len(free)
    fit = intervals[count - 1] if count else None
    mean_depth = float(np.median(course.figures.mean_depth[:, -1]))
    return TurnCurve(
        scenario.turning.name, grit.name, strokes, tuple(intervals), _bands(flat), _bands(taper),
        cost, taper_cost, fit, bool(free.all()), mean_depth * (fit or intervals[0]) / strokes,
        middle.bedding_of(grit), members.count,
    )  # fmt: skip


def _whole_groups(every: int, unit: int) -> int:
    return max(unit, unit * (every // unit)) if every else 0


def _bands(values: Array) -> Array:
    """Bands (k, 3) of values (k, members)."""
    found = [Band.of(row) for row in values]
    return np.array([[b.p05, b.p50, b.p95] for b in found])
