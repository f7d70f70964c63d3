"""A plan tried on the true face of an exercise, with hands and paper as little known as they are.

The face is the same in all members; press, height, bias and wobble of the hands, the rate of the
paper and its ageing vary as in any plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.errors import TippingError
from handlap.sim.common.outline import Array
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.ways import Way, apply_way
from handlap.sim.lapping import gauge
from handlap.sim.lapping.ensemble import SCORES, conditions_at, draw_scores, strokes_per_minute
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.lap import Bench, Conditions, Stage, set_up, tipping_words
from handlap.sim.lapping.resolution import choose_resolution
from handlap.sim.lapping.rhythm import SETTLED, check_interval, stage_of
from handlap.sim.lapping.sheet import depth_per_stroke
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.course import STOP_AT, Course, Members, find_stops, measure, run_course
from handlap.sim.planning.papers import clearing_looks, looks_when_gone, strokes_to_clear
from handlap.sim.planning.work import CLEAR_SHARE, MOST_STROKES, TIP_REFUSED, TOLERANCE
from handlap.sim.teaching.exercise_face import TrueFace

CELLS = 1500
MOST_ROWS = 1500
MOST_LOOKS = 40
STOPPED = 0.9
"""The course is long enough when this share of the members has stopped."""


@dataclass(frozen=True)
class WayTried:
    """Papers coarse to fine with the strokes on each, how the part is turned, how often (0: never)."""

    papers: tuple[str, ...]
    strokes: tuple[int, ...]
    turning: str
    turn_every: int


@dataclass(frozen=True)
class Trial:
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
class TrueBench:
    """A true face on the bench of its scenario, with one pair of hands a member."""

    scenario: Scenario
    bench: Bench
    gauged: Gauge
    members: Members
    middle: Conditions
    seed: int


def lay_out(scenario: Scenario, face: TrueFace, *, members: int, seed: int) -> TrueBench:
    """Put a true face on the bench.

    Parameters
    ----------
    members : pairs of hands [-]
    seed : same seed, same hands
    """
    lines, follow = gauge.lines_to_follow(scenario.part.outline)
    bench = set_up(scenario, cells=CELLS, follow=follow)
    gauged = gauge.make_gauge(scenario.part.outline, bench.grid, lines)
    scores = draw_scores(members, seed)
    conditions = tuple(conditions_at(scenario, z) for z in scores)
    before = np.tile(face.heights_at(bench.grid.points), (members, 1))
    middle = conditions_at(scenario, np.zeros(len(SCORES)))
    hands = Members(before, conditions, strokes_per_minute(scenario, scores))
    return TrueBench(scenario, bench, gauged, hands, middle, seed)


def try_way(true: TrueBench, way: WayTried, *, executor: Executor | None = None) -> Trial:
    """Try a way of working on the true face.

    Raises
    ------
    TippingError : if the press lies off the face for most of the members
    """
    changed = apply_way(true.scenario, Way("", turning=way.turning, every=way.turn_every))
    grits = [_grit(changed, name) for name in way.papers]
    work = _Work(true, replace(true, bench=set_up(changed, like=true.bench)).bench, changed, executor)
    course = work.first(grits[0], way.strokes[0])
    if np.mean(course.tipped) > TIP_REFUSED:
        raise TippingError(tipping_words(true.middle, float(np.mean(course.tipped))))
    part = changed.part
    measured = measure(course.figures, part.limit_by)
    count = measured.shape[0]
    planned = np.full(count, int(np.argmin(np.abs(course.strokes - way.strokes[0]))))
    stops = find_stops(measured, STOP_AT * part.limit)
    written = work.finish(course, planned, grits, way.strokes)
    looking = work.finish(course, stops.look, grits)
    kept = [_kept(end, deep, part.limit, part.allowance) for end, deep in (written, looking)]
    return Trial(
        way=way,
        members=count,
        limit=part.limit,
        allowance=part.allowance,
        written=kept[0][0], written_goal=kept[0][1], written_allowance=kept[0][2],
        looking=kept[1][0], looking_goal=kept[1][1], looking_allowance=kept[1][2],
        stops=Band.of(course.strokes[stops.look]),
        after=Band.of(written[0]),
        deepest=Band.of(written[1]),
        before=float(measure(gauge.figures(true.gauged, true.members.before[0], true.members.before[:1]),
                             part.limit_by)[0]),
    )  # fmt: skip


def _grit(scenario: Scenario, name: str) -> Grit:
    return next(grit for grit in scenario.paper.grits if grit.name == name)


def _kept(end: Array, deep: Array, limit: float, allowance: float | None) -> tuple[float, float, float]:
    """Chances of both, of the limit, of the allowance."""
    inside = end <= limit
    within = np.ones_like(inside) if allowance is None else deep <= allowance
    return float(np.mean(inside & within)), float(np.mean(inside)), float(np.mean(within))


@dataclass(frozen=True)
class _Work:
    """The laps of one trial."""

    true: TrueBench
    bench: Bench
    scenario: Scenario
    executor: Executor | None

    def _run(self, stage: Stage, start: Array, quad: float) -> Course:
        true = self.true
        return run_course(
            self.bench, true.gauged, true.members, start, stage,
            quad_strokes=quad, seed=true.seed, executor=self.executor,
        )  # fmt: skip

    def _stage(self, grit: Grit, strokes: int, looks: Sequence[int]) -> tuple[Stage, float]:
        true = self.true
        stage = stage_of(self.scenario, true.middle, grit, strokes, strokes)
        stage = replace(stage, snapshots=tuple(looks))
        found = choose_resolution(
            self.bench, true.members.before[0], true.middle, stage,
            tolerance=TOLERANCE, seed=true.seed, most_rows=MOST_ROWS // 2,
        )  # fmt: skip
        return stage, max(found.quad_strokes, 4.0 * strokes / MOST_ROWS)

    def first(self, grit: Grit, planned: int) -> Course:
        """The first paper, until nearly all who look have stopped; with a look at the planned strokes."""
        true = self.true
        flatness = float(gauge.flatness(true.gauged, true.members.before[:1])[0])
        fresh = depth_per_stroke(self.scenario, true.middle, grit)
        guess = int(np.clip(1.5 * CLEAR_SHARE * flatness / (SETTLED * fresh), 1, MOST_STROKES))
        horizon = min(max(guess, planned), MOST_STROKES)
        while True:
            every = check_interval(self.scenario, horizon, MOST_LOOKS)
            looks = sorted({*range(every, horizon, every), planned, horizon})
            stage, quad = self._stage(grit, horizon, looks)
            course = self._run(stage, true.members.before, quad)
            measured = measure(course.figures, self.scenario.part.limit_by)
            stops = find_stops(measured, STOP_AT * self.scenario.part.limit)
            if horizon >= MOST_STROKES or np.mean(stops.reached | stops.at_best) >= STOPPED:
                return course
            horizon = min(2 * horizon, MOST_STROKES)

    def finish(
        self,
        course: Course,
        look: NDArray[np.int64],
        grits: Sequence[Grit],
        strokes: Sequence[int] | None = None,
    ) -> tuple[Array, Array]:
        """Measured figure and deepest spot (members,) after the finer papers, from a look at the first.

        ``strokes`` on each paper; without them every finer one until the scratches of the one before are
        gone.
        """
        true, row = self.true, np.arange(look.size)
        area = self.bench.grid.area[: self.bench.grid.n_cells]
        limit_by = self.scenario.part.limit_by
        end = measure(course.figures, limit_by)[row, look]
        deep = course.figures.greatest_depth[row, look]
        before, now = true.members.before, course.heights[row, look].astype(float)
        for i, (previous, grit) in enumerate(pairwise(grits), start=1):
            if strokes is not None:
                looks: tuple[int, ...] = (strokes[i],)
            else:
                looks = clearing_looks(strokes_to_clear(self.scenario, true.middle, previous, grit))
            stage, quad = self._stage(grit, looks[-1], looks)
            done = self._run(stage, now, quad)
            at = looks_when_gone(
                self.scenario, true.members.conditions, previous,
                before=before, start=now, looks=done.heights, area=area,
            )  # fmt: skip
            end = measure(done.figures, limit_by)[row, at]
            deep = done.figures.greatest_depth[row, at]
            before, now = now, done.heights[row, at].astype(float)
        return end, deep
