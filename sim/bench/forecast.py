"""Strokes still to come: an ensemble carried on from where a log ends, until it has stopped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.learn import ReadyLog, State
from handlap.sim.bench.replay import LogCourse, at_place, carry, lay_out_log
from handlap.sim.common.outline import Array
from handlap.sim.job.results import FIGURE_NAMES, Band, Figures
from handlap.sim.job.scenario import LimitBy, Scenario
from handlap.sim.lapping import column_kernels, gauge
from handlap.sim.lapping.conditions import Conditions
from handlap.sim.lapping.ensemble import most_typical, run_members
from handlap.sim.lapping.lap import states_of
from handlap.sim.lapping.poses import START
from handlap.sim.lapping.resolution import quad_within
from handlap.sim.lapping.rhythm import check_interval, choose_rhythm, stage_of
from handlap.sim.lapping.sheet import one_sheet
from handlap.sim.materials import grits
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.course import gather_course
from handlap.sim.planning.fineness import LOGGED, find_steps
from handlap.sim.planning.leg import STOP_AT, Leg, LegRun, ToGoal, best_look, lay_leg, measure, work_leg
from handlap.sim.planning.work import CLEAR_SHARE, MOST_LOOKS, MOST_STROKES

MODEL = 6e-6
"""What bands of the flatness are widened by on either side: about a leaf, for a model that is not
quite right [m]."""
SLACKS = (0.0, MODEL, -MODEL)
"""What the goal is missed or bettered by where a forecast is asked for strokes [m]: nothing; and what the
model may be out by, which begins and ends its band."""


@dataclass(frozen=True)
class Forecast:
    """Strokes an ensemble needs.

    Attributes
    ----------
    done : strokes of the log [-]
    ahead : strokes from there on at the looks (looks,) [-]
    worked : looks to which each member was worked (members,); ``complete``: to which all were
    figures : (members, 1 + looks), now and at the looks, depths from before the job; NaN where a member was
        not worked
    limit_by, limit : [m]
    """

    done: int
    ahead: NDArray[np.int64]
    worked: NDArray[np.int64]
    figures: Figures
    met: Array
    at_goal: Figures
    limit_by: LimitBy
    limit: float

    @property
    def complete(self) -> int:
        """Looks to which all members were worked [-]."""
        return int(self.worked.min())

    @property
    def looks(self) -> tuple[int, ...]:
        """Strokes from the start of the job, now first, at looks to which all members were worked."""
        return (self.done, *(self.done + int(k) for k in self.ahead[: self.complete]))

    @property
    def measured(self) -> Array:
        """The figure the limit is held against (members, looks) [m]."""
        return measure(self.figures, self.limit_by)[:, : 1 + self.complete]

    def stops(self, slack: float = 0.0) -> tuple[Array, NDArray[np.bool_]]:
        """Strokes from the start of the job at which members (members,) stop, and who gets to the goal.

        ``slack``: one of :data:`SLACKS`, by which the goal is more or less [m].  Who does not get there stops
        at the best look.
        """
        met = self.met[:, SLACKS.index(slack)]
        reached = ~np.isnan(met)
        best = np.concatenate([[0.0], self.ahead])[self._best]
        return self.done + np.where(reached, met, best), reached

    @property
    def _best(self) -> NDArray[np.int64]:
        """The best look of every member (members,), now being the first."""
        return np.array([best_look(row) for row in measure(self.figures, self.limit_by)])

    @property
    def total(self) -> Array:
        """Strokes from the start of the job to each member's stop (members,)."""
        return self.stops()[0]

    @property
    def reached(self) -> NDArray[np.bool_]:
        """Whether each member (members,) stops at the goal."""
        return self.stops()[1]

    def at_stop(self, name: str) -> Array:
        """A figure of every member (members,) where it stops [m]."""
        best = self._best
        looks = getattr(self.figures, name)[np.arange(best.size), best]
        found: Array = np.where(self.reached, getattr(self.at_goal, name), looks)
        return found

    def to_goal(self) -> Band | None:
        """Band of strokes of the members that get to the goal; None: none does.

        It begins where the goal would be met with so much to spare as the model may be out by, and ends where
        it would be with so much less.
        """
        total, reached = self.stops()
        if not reached.any():
            return None
        early, late = (self.stops(slack)[0] for slack in (MODEL, -MODEL))
        return Band(
            float(np.percentile(early[reached], 5.0)),
            float(np.median(total[reached])),
            float(np.percentile(late[reached], 95.0)),
        )


def paper_in_use(scenario: Scenario, entries: Sequence[Entry]) -> str:
    """Paper of the last strokes; before there are any, the one to start on, or the scenario's first."""
    start = scenario.paper.start or scenario.paper.grits[0]
    return next((e.paper for e in reversed(entries) if e.paper), start.name)


def paper_begun_on(scenario: Scenario, entries: Sequence[Entry]) -> str:
    """Paper of the first strokes; before there are any, as :func:`paper_in_use`."""
    return next((e.paper for e in entries if e.paper), paper_in_use(scenario, ()))


def worn_strokes(entries: Sequence[Entry], paper: str) -> int:
    """Strokes done on the sheet of a paper that is laid now."""
    worn = 0
    for entry in entries:
        worn = 0 if entry.new_sheet or (entry.paper and entry.paper != paper) else worn
        worn += entry.strokes if entry.paper == paper else 0
    return worn


def forecast(ready: ReadyLog, state: State, entries: Sequence[Entry]) -> Forecast:
    """Carry an ensemble through a log and on, until each of its members has stopped.

    Parameters
    ----------
    entries : what was done so far; () forecasts the job from its start, on the paper that the log began on
    """
    scenario, rig = ready.scenario, ready.rig
    conditions = state.conditions(scenario)
    typical = state.before[most_typical(state.before)]
    done = sum(entry.strokes for entry in entries)
    paper = paper_in_use(scenario, entries) if entries else paper_begun_on(scenario, ready.entries)
    guess = _first_guess(ready, state, conditions, done, grits.find(paper))
    course = lay_out_log(rig, entries, ready.middle, typical, seed=ready.seed)
    leg = _leg_ahead(ready, course, entries, typical, grits.find(paper), guess)
    goals = [STOP_AT * scenario.part.limit + slack for slack in SLACKS]
    # Worked a little further than the goal: what the model may be out by is asked of it as well.
    rule = ToGoal(min(goals), leg.horizon, at_look=True)

    def work(member: tuple[Array, Conditions]) -> tuple[Array, LegRun]:
        before, own = member
        faces, lapped = carry(rig, course, before, own)
        if lapped is not None:
            lapped = at_place(lapped, leg.blocks[0].begin)
        run = work_leg(
            rig, ready.gauged, leg, own, rule, before=before, start=faces[-1], state=lapped,
            limit_by=scenario.part.limit_by, shown=leg.horizon, keep=False, goals=goals,
        )  # fmt: skip
        return faces[-1], run

    found = run_members(work, list(zip(state.before, conditions, strict=True)), executor=ready.executor)
    start = np.array([face for face, _ in found])
    ahead = gather_course(leg.stage, start, [run for _, run in found])
    now = gauge.figures(ready.gauged, state.before, start)
    figures = Figures(
        **{n: np.column_stack([getattr(now, n), getattr(ahead.figures, n)]) for n in FIGURE_NAMES}
    )
    met = np.array([[np.nan if at is None else at.stroke for at in run.met] for _, run in found])
    return Forecast(
        done, ahead.strokes, ahead.worked, figures, met, _at_goal(ready, state, [run for _, run in found]),
        scenario.part.limit_by, scenario.part.limit,
    )  # fmt: skip


def _at_goal(ready: ReadyLog, state: State, runs: Sequence[LegRun]) -> Figures:
    """Figures of all members (members,) where they meet the goal itself; NaN where they do not."""
    there = np.array([state.before[0] if run.met[0] is None else run.met[0].face for run in runs])
    found = gauge.figures(ready.gauged, state.before, there)
    missed = np.array([run.met[0] is None for run in runs])
    return Figures(**{n: np.where(missed, np.nan, getattr(found, n)) for n in FIGURE_NAMES})


def _leg_ahead(
    ready: ReadyLog, course: LogCourse, entries: Sequence[Entry], typical: Array, grit: Grit, guess: int
) -> Leg:
    """Work still to come on a paper from where the log ends, turned, brushed and changed by the rhythm.

    ``guess``: strokes that most members should need.
    """
    scenario, rig, middle = ready.scenario, ready.rig, ready.middle
    every = check_interval(scenario, guess, MOST_LOOKS)
    horizon = every * max(3, math.ceil(guess / every))
    stage = stage_of(scenario, middle, grit, horizon, every)
    found = find_steps(rig, typical, middle, stage, LOGGED, seed=ready.seed)
    begin, events = START, 0
    if course.blocks:
        worn = worn_strokes(entries, grit.name)
        fresh = bool(stage.sheet_every) and worn >= stage.sheet_every
        # It was cleaned when it was looked at.
        events = column_kernels.EVENT_BRUSH | column_kernels.EVENT_SHEET * fresh
        begin = replace(course.blocks[-1].layout.end, strokes=0 if fresh else worn)
    return lay_leg(
        rig, stage, quad_strokes=quad_within(found.quad_strokes, horizon, LOGGED.most_rows(rig)),
        seed=ready.seed + max(len(course.papers) - 1, 0), most=every * (MOST_STROKES // every),
        begin=begin, states=states_of(scenario), first_events=events,
    )  # fmt: skip


def _first_guess(
    ready: ReadyLog, state: State, conditions: Sequence[Conditions], done: int, grit: Grit
) -> int:
    """Strokes that could do, were all faces hollow; a third of them where work was done already."""
    scenario = ready.scenario
    rhythm = choose_rhythm(scenario, ready.middle, grit)
    pace = float(scenario.hands.strokes_per_minute.value)
    need = CLEAR_SHARE * gauge.flatness(ready.gauged, state.before)
    sheets = (one_sheet(scenario, c, grit, brush_every=rhythm.brush_every, pace=pace) for c in conditions)
    strokes = [s.to_take(depth, rhythm.sheet_every)[0] for s, depth in zip(sheets, need, strict=True)]
    whole = float(np.median(strokes))
    left = max(whole - done, whole / 3.0)
    return int(np.clip(left, 4 * check_interval(scenario), MOST_STROKES))
