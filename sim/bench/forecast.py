"""Strokes still to come: an ensemble carried on from where a log ends, until it has stopped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.learn import State, Workshop
from handlap.sim.bench.replay import LogCourse, lay_out_log, replay
from handlap.sim.common.outline import Array
from handlap.sim.job.results import Band, Figures
from handlap.sim.job.scenario import LimitBy, Scenario
from handlap.sim.lapping import gauge
from handlap.sim.lapping.ensemble import most_typical, run_members
from handlap.sim.lapping.lap import Conditions
from handlap.sim.lapping.rhythm import check_interval, choose_rhythm
from handlap.sim.lapping.sheet import one_sheet
from handlap.sim.materials import grits
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.course import STOP_AT, find_stops, measure
from handlap.sim.planning.work import CLEAR_SHARE, DONE_SHARE, MOST_LOOKS, MOST_STROKES

NAMES = tuple(Figures.__dataclass_fields__)


@dataclass(frozen=True)
class Forecast:
    """Strokes an ensemble needs.

    ``looks`` (looks,): strokes from the start of the job, now first; ``total`` (members,): to each
    member's stop; ``reached`` (members,): whether it stops at the goal; ``figures`` (members,
    looks) from now on, depths from before the job; ``goal``: what the limit's figure stops at [m].
    """

    looks: tuple[int, ...]
    total: Array
    reached: NDArray[np.bool_]
    figures: Figures
    limit_by: LimitBy
    goal: float

    def to_goal(self, slack: float) -> Band | None:
        """Band of strokes of the members that get to the goal; None: none does.

        ``slack`` [m] is what the model may be out by in the figure: the band begins where the goal would be
        met with so much to spare it, and ends where it would be with so much less.
        """
        if not self.reached.any():
            return None
        looks = np.array(self.looks, dtype=float)
        early, late = (looks[find_stops(self.measured, self.goal + d).look] for d in (slack, -slack))
        return Band(
            float(np.percentile(early[self.reached], 5.0)),
            float(np.median(self.total[self.reached])),
            float(np.percentile(late[self.reached], 95.0)),
        )

    @property
    def measured(self) -> Array:
        """The figure the limit is held against (members, looks) [m]."""
        return measure(self.figures, self.limit_by)


def paper_in_use(scenario: Scenario, entries: Sequence[Entry]) -> str:
    """Paper of the last strokes; before there are any, the one to start on, or the scenario's first."""
    start = scenario.paper.start or scenario.paper.grits[0]
    return next((e.paper for e in reversed(entries) if e.paper), start.name)


def paper_begun_on(scenario: Scenario, entries: Sequence[Entry]) -> str:
    """Paper of the first strokes; before there are any, as :func:`paper_in_use`."""
    return next((e.paper for e in entries if e.paper), paper_in_use(scenario, ()))


def blocks_ahead(
    scenario: Scenario, entries: Sequence[Entry], middle: Conditions, every: int, horizon: int, paper: str
) -> list[Entry]:
    """Blocks still to come on a paper, looked at and brushed every so many strokes, to the horizon.

    A block in which a new sheet falls due is two entries or more: the first strokes on fresh paper count
    for many later ones.
    """
    rhythm = choose_rhythm(scenario, middle, grits.find(paper))
    worn = 0
    for entry in entries:
        worn = 0 if entry.new_sheet or (entry.paper and entry.paper != paper) else worn
        worn += entry.strokes if entry.paper == paper else 0
    brush = rhythm.brush_every if 0 < rhythm.brush_every < every else 0
    found: list[Entry] = []
    for _ in range(max(1, math.ceil(horizon / every))):
        left, looked = every, bool(entries or found)
        while left > 0:
            fresh = bool(rhythm.sheet_every) and worn >= rhythm.sheet_every
            worn = 0 if fresh else worn
            part = min(left, rhythm.sheet_every - worn) if rhythm.sheet_every else left
            found.append(
                Entry(0, 0, "", strokes=part, paper=paper, brushed=looked, new_sheet=fresh, brush_every=brush)
            )
            worn, left, looked = worn + part, left - part, False
    return found


def looks_at(entries: Sequence[Entry], every: int) -> list[int]:
    """Places, in entries still to come, of those after which the part is looked at.

    >>> blocks = [Entry(0, 0, "", strokes=n) for n in (50, 25, 75)]
    >>> looks_at(blocks, 75)
    [1, 2]
    """
    done = np.cumsum([entry.strokes for entry in entries])
    return np.flatnonzero(done % every == 0).tolist()


def forecast(workshop: Workshop, state: State, entries: Sequence[Entry]) -> Forecast:
    """Carry an ensemble through a log and on, until nearly all members have stopped.

    Parameters
    ----------
    entries : what was done so far; () forecasts the job from its start, on the paper that the log began on
    """
    scenario, bench = workshop.scenario, workshop.bench
    conditions = state.conditions(scenario)
    typical = state.before[most_typical(state.before)]
    done = sum(entry.strokes for entry in entries)
    paper = paper_in_use(scenario, entries) if entries else paper_begun_on(scenario, workshop.entries)
    guess = _first_guess(workshop, state, conditions, done, grits.find(paper))
    goal = STOP_AT * scenario.part.limit
    while True:
        every = check_interval(scenario, guess, MOST_LOOKS)
        future = blocks_ahead(scenario, entries, workshop.middle, every, guess, paper)
        course = lay_out_log(bench, [*entries, *future], workshop.middle, typical, seed=workshop.seed)
        start = course.state[len(entries) - 1] if entries else 0
        seen = [start, *(start + 1 + place for place in looks_at(future, every))]
        found = run_members(
            lambda pair, course=course, seen=seen: _figures(workshop, course, seen, *pair),  # type: ignore[misc]
            list(zip(state.before, conditions, strict=True)),
            executor=workshop.executor,
        )
        figures = Figures(**{n: np.array([getattr(f, n) for f in found]) for n in NAMES})
        stops = find_stops(measure(figures, scenario.part.limit_by), goal)
        stopped = np.mean(stops.reached | stops.at_best)
        horizon = every * (len(seen) - 1)
        if stopped >= DONE_SHARE or horizon >= MOST_STROKES:
            break
        guess = min(2 * horizon, MOST_STROKES)
    looks = tuple(done + every * k for k in range(len(seen)))
    total = np.array(looks)[stops.look].astype(float)
    return Forecast(looks, total, stops.reached, figures, scenario.part.limit_by, goal)


def _figures(
    workshop: Workshop, course: LogCourse, seen: list[int], before: Array, conditions: Conditions
) -> Figures:
    """Figures (looks,) of one member at some states."""
    states = replay(workshop.bench, course, before, conditions)
    return gauge.figures(workshop.gauged, before, states[seen])


def _first_guess(
    workshop: Workshop, state: State, conditions: Sequence[Conditions], done: int, grit: Grit
) -> int:
    """Strokes that could do, were all faces hollow; a third of them where work was done already."""
    scenario = workshop.scenario
    rhythm = choose_rhythm(scenario, workshop.middle, grit)
    pace = float(scenario.hands.strokes_per_minute.value)
    need = CLEAR_SHARE * gauge.flatness(workshop.gauged, state.before)
    sheets = (one_sheet(scenario, c, grit, brush_every=rhythm.brush_every, pace=pace) for c in conditions)
    strokes = [s.to_take(depth, rhythm.sheet_every)[0] for s, depth in zip(sheets, need, strict=True)]
    whole = float(np.median(strokes))
    left = max(whole - done, whole / 3.0)
    return int(np.clip(left, 4 * check_interval(scenario), MOST_STROKES))
