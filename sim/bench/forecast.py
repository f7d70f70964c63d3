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
from handlap.sim.job.results import Figures
from handlap.sim.job.scenario import LimitBy, Scenario
from handlap.sim.lapping import gauge
from handlap.sim.lapping.ensemble import most_typical, run_members
from handlap.sim.lapping.lap import Conditions
from handlap.sim.lapping.rhythm import SETTLED, check_interval, choose_rhythm
from handlap.sim.lapping.sheet import depth_per_stroke
from handlap.sim.materials import grits
from handlap.sim.planning.course import STOP_AT, find_stops, measure
from handlap.sim.planning.work import CLEAR_SHARE, DONE_SHARE, MOST_LOOKS, MOST_STROKES

NAMES = tuple(Figures.__dataclass_fields__)


@dataclass(frozen=True)
class Forecast:
    """Strokes an ensemble needs.

    ``looks`` (looks,): strokes from the start of the job, now first; ``total`` (members,): to each
    member's stop; ``reached`` (members,): whether it stops at the goal; ``figures`` (members,
    looks) from now on, depths from before the job.
    """

    looks: tuple[int, ...]
    total: Array
    reached: NDArray[np.bool_]
    figures: Figures
    limit_by: LimitBy

    @property
    def measured(self) -> Array:
        """The figure the limit is held against (members, looks) [m]."""
        return measure(self.figures, self.limit_by)


def paper_in_use(scenario: Scenario, entries: Sequence[Entry]) -> str:
    """Paper of the last strokes; the scenario's first before there are any."""
    return next((e.paper for e in reversed(entries) if e.paper), scenario.paper.grits[0].name)


def blocks_ahead(
    scenario: Scenario, entries: Sequence[Entry], middle: Conditions, every: int, horizon: int
) -> list[Entry]:
    """Blocks still to come on the paper in use, brushed at every look, sheets as the rhythm has it."""
    paper = paper_in_use(scenario, entries)
    rhythm = choose_rhythm(scenario, middle, grits.find(paper))
    worn = 0
    for entry in entries:
        worn = 0 if entry.new_sheet or (entry.paper and entry.paper != paper) else worn
        worn += entry.strokes if entry.paper == paper else 0
    brush = rhythm.brush_every if 0 < rhythm.brush_every < every else 0
    found: list[Entry] = []
    for _ in range(max(1, math.ceil(horizon / every))):
        fresh = bool(rhythm.sheet_every) and worn >= rhythm.sheet_every
        worn = every if fresh else worn + every
        found.append(
            Entry(0, 0, "", strokes=every, paper=paper, brushed=bool(entries or found), new_sheet=fresh,
                  brush_every=brush)
        )  # fmt: skip
    return found


def forecast(workshop: Workshop, state: State, entries: Sequence[Entry]) -> Forecast:
    """Carry an ensemble through a log and on, until nearly all members have stopped.

    Parameters
    ----------
    entries : what was done so far; () forecasts the job from its start
    """
    scenario, bench = workshop.scenario, workshop.bench
    conditions = state.conditions(scenario)
    typical = state.before[most_typical(state.before)]
    done = sum(entry.strokes for entry in entries)
    guess = _first_guess(workshop, state, conditions, entries)
    while True:
        every = check_interval(scenario, guess, MOST_LOOKS)
        future = blocks_ahead(scenario, entries, workshop.middle, every, guess)
        course = lay_out_log(bench, [*entries, *future], workshop.middle, typical, seed=workshop.seed)
        start = course.state[len(entries) - 1] if entries else 0
        found = run_members(
            lambda pair, course=course, start=start: _figures(workshop, course, start, *pair),  # type: ignore[misc]
            list(zip(state.before, conditions, strict=True)),
            executor=workshop.executor,
        )
        figures = Figures(**{n: np.array([getattr(f, n) for f in found]) for n in NAMES})
        stops = find_stops(measure(figures, scenario.part.limit_by), STOP_AT * scenario.part.limit)
        stopped = np.mean(stops.reached | stops.at_best)
        if stopped >= DONE_SHARE or every * len(future) >= MOST_STROKES:
            break
        guess = min(2 * every * len(future), MOST_STROKES)
    looks = tuple(done + every * k for k in range(len(future) + 1))
    total = np.array(looks)[stops.look].astype(float)
    return Forecast(looks, total, stops.reached, figures, scenario.part.limit_by)


def _figures(
    workshop: Workshop, course: LogCourse, start: int, before: Array, conditions: Conditions
) -> Figures:
    """Figures (looks,) of one member from a state on."""
    states = replay(workshop.bench, course, before, conditions)
    return gauge.figures(workshop.gauged, before, states[start:])


def _first_guess(
    workshop: Workshop, state: State, conditions: Sequence[Conditions], entries: Sequence[Entry]
) -> int:
    """Strokes that could do, were all faces hollow; a third of them where work was done already."""
    grit = grits.find(paper_in_use(workshop.scenario, entries))
    flatness = gauge.flatness(workshop.gauged, state.before)
    fresh = np.array([depth_per_stroke(workshop.scenario, c, grit) for c in conditions])
    whole = float(np.median(CLEAR_SHARE * flatness / (SETTLED * fresh)))
    left = max(whole - sum(e.strokes for e in entries), whole / 3.0)
    return int(np.clip(left, 4 * check_interval(workshop.scenario), MOST_STROKES))
