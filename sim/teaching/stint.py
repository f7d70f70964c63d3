"""A stint at the bench: the face of an exercise lapped in blocks of strokes that the learner orders.

One pair of hands and one luck of the paper are drawn by the exercise's number and stay unknown, as at a
real bench.  Every order costs minutes; sheets, strokes and metal are counted; what the face is like is
told only where it is checked, with the error of the tool.  The lap is that of :func:`lap_on`, block by
block, so that a stint is the same lap in one go.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

from handlap.sim.common.errors import InputError
from handlap.sim.common.outline import Array
from handlap.sim.face.leaf_readings import read_line
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.face.straightedge import FaceLine
from handlap.sim.job.results import Figures
from handlap.sim.job.scenario import StraightedgeLine, TurnState
from handlap.sim.job.turning import SCHEDULES
from handlap.sim.lapping import column_kernels, gauge
from handlap.sim.lapping.conditions import Stage
from handlap.sim.lapping.lap import LapState, begin_lap, lap_on, stage_layout
from handlap.sim.lapping.poses import START, Layout, Place
from handlap.sim.lapping.resolution import first_quad
from handlap.sim.lapping.sheet import BRUSH_MINUTES, SHEET_MINUTES
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.crew import Crew
from handlap.sim.planning.effort import TURN_MINUTES
from handlap.sim.planning.leg import measure
from handlap.sim.teaching.exercise import Exercise
from handlap.sim.teaching.exercise_levels import LEVELS
from handlap.sim.teaching.exercise_trial import crew_on
from handlap.sim.teaching.stint_orders import MOST_STROKES, Order, letters_of

STATES: tuple[TurnState, ...] = tuple(
    TurnState(0.5 * np.pi * quarter, np.pi * walked) for walked in (0, 1) for quarter in (0, 2, 1, 3)
)
"""Ways of lying that orders lead to: quarters of a turn of the part, on either side of the plate."""
LINE_MINUTES, WEIGH_MINUTES = 1.0, 1.0
"""What a line of leaves, and a weighing, takes (C) [min]."""
SCALE_ERROR = 0.1e-3
"""Standard error of swarf weighed on a letter scale, and its least division [kg]."""
BLOCK_ROWS = 10.0
"""Most strokes that one group of rows stands for [-]."""


@dataclass(frozen=True)
class Costs:
    """What a stint has cost so far: minutes, sheets, strokes, turns, brushings [-]."""

    minutes: float = 0.0
    sheets: int = 0
    strokes: int = 0
    turns: int = 0
    brushings: int = 0


@dataclass(frozen=True)
class StintState:
    """Where a stint stands.

    Attributes
    ----------
    heights : the face now (n,) [m]
    state : of the lap on the paper that lies there; None: no stroke on it yet
    grit : of that paper; None: none lies there
    pending : what is done to the paper before the next stroke, see the kernel's ``EVENT_…``
    place : where work stands
    costs : so far
    checks : how often something was read or weighed [-]
    """

    heights: Array
    state: LapState | None
    grit: Grit | None
    pending: int
    place: Place
    costs: Costs
    checks: int


@dataclass(frozen=True)
class OrderTold:
    """What an order tells: readings of lines, or swarf weighed so far [kg]; nothing for most."""

    readings: tuple[StraightedgeLine, ...] = ()
    swarf: float | None = None


@dataclass(frozen=True)
class StintRig:
    """An exercise on its rig, with the one pair of hands that a stint is worked by."""

    exercise: Exercise
    crew: Crew

    @property
    def before(self) -> Array:
        """The face before the first stroke (n,) [m]."""
        return np.asarray(self.crew.members.before[0], dtype=float)

    @property
    def pace(self) -> float:
        """Strokes a minute."""
        return float(self.crew.members.pace[0])

    def begin(self) -> StintState:
        """Before the first order."""
        return StintState(self.before, None, None, 0, START, Costs(), 0)

    def quad(self, grit: Grit) -> float:
        """Strokes that a group of rows stands for on a paper [-]."""
        crew = self.crew
        stage = Stage(grit, 400, 0, 0, 0, (400,))
        return min(BLOCK_ROWS, first_quad(crew.rig, crew.members.conditions[0], stage))

    def figures(self, heights: Array) -> Figures:
        """Figures of a face (n,), depths from before the stint (1,) [m]."""
        return gauge.figures(self.crew.gauged, self.before, heights[None, :])

    def measured(self, heights: Array) -> float:
        """The figure that the limit is held against [m]."""
        return float(measure(self.figures(heights), self.exercise.scenario.part.limit_by)[0])

    def mass_off(self, heights: Array) -> float:
        """Metal off the face [kg]."""
        part = self.exercise.scenario.part
        return float(part.metal.density * part.outline.area * self.figures(heights).mean_depth[0])

    def heights_at(self, heights: Array, points: Array) -> Array:
        """The face of the moment anywhere: the true face less what came off about there (k,) [m]."""
        grid = self.crew.rig.grid
        off = self.before - heights
        between = LinearNDInterpolator(grid.points, off)(points)
        beyond = NearestNDInterpolator(grid.points, off)(points)
        return np.asarray(
            self.exercise.face.heights_at(points) - np.where(np.isnan(between), beyond, between)
        )


def open_stint(exercise: Exercise) -> StintRig:
    """The rig of an exercise, with hands and paper drawn by its number."""
    seed = (1009 * exercise.level + exercise.seed) % 2**32
    return StintRig(exercise, crew_on(exercise.scenario, exercise.face, members=1, seed=seed))


def carry_out(rig: StintRig, now: StintState, order: Order) -> tuple[StintState, OrderTold]:
    """Carry out an order; the state before is left as it was.

    Raises
    ------
    InputError : for strokes where no paper lies, or more than a stint has
    TippingError : if the hands tip the part off the paper
    """
    if order.kind == "lap":
        if now.grit is None:
            raise InputError("no paper lies on the plate: lay a sheet first, such as sheet P120")
        if now.costs.strokes + order.strokes > MOST_STROKES:
            left = MOST_STROKES - now.costs.strokes
            raise InputError(f"a stint has at most {MOST_STROKES} strokes; {left} are left")
        return _lap(rig, now, order.strokes), OrderTold()
    costs = now.costs
    if order.kind == "sheet":
        grit = next(g for g in rig.exercise.scenario.paper.grits if g.name == order.paper)
        costs = replace(costs, minutes=costs.minutes + SHEET_MINUTES, sheets=costs.sheets + 1)
        # On the paper that lies there a new sheet goes on where the old one was; another kind begins anew.
        same = now.grit is not None and now.grit.name == grit.name
        place = now.place if same else replace(now.place, groups=0)
        state, pending = (now.state, column_kernels.EVENT_SHEET) if same and now.state else (None, 0)
        return replace(now, state=state, grit=grit, pending=pending, place=place, costs=costs), OrderTold()
    if order.kind == "brush":
        costs = replace(costs, minutes=costs.minutes + BRUSH_MINUTES, brushings=costs.brushings + 1)
        return replace(now, pending=now.pending | column_kernels.EVENT_BRUSH, costs=costs), OrderTold()
    if order.kind == "turn":
        costs = replace(costs, minutes=costs.minutes + TURN_MINUTES, turns=costs.turns + 1)
        place = replace(now.place, state=_turned(now.place.state, order.turn), since=0)
        return replace(now, place=place, costs=costs), OrderTold()
    return _look(rig, now, order)


def _turned(state: int, how: str) -> int:
    """Which of :data:`STATES` the part lies in after a turn."""
    at = STATES[state]
    step = SCHEDULES[how].states[1]
    part, operator = at.part + step.part, at.operator + step.operator
    wanted = (round(2.0 * part / np.pi) % 4, round(operator / np.pi) % 2)
    return next(
        i for i, s in enumerate(STATES)
        if (round(2.0 * s.part / np.pi), round(s.operator / np.pi)) == wanted
    )  # fmt: skip


def _lap(rig: StintRig, now: StintState, strokes: int) -> StintState:
    assert now.grit is not None, "no paper lies there"
    crew = rig.crew
    conditions = crew.members.conditions[0]
    layout = lay_block(rig, now.grit, strokes, now.place, now.pending)
    state = now.state or begin_lap(crew.rig, now.heights, conditions, now.grit, layout)
    after = lap_on(crew.rig, replace(state, place=layout.begin), conditions, layout).state
    costs = replace(
        now.costs, minutes=now.costs.minutes + strokes / rig.pace, strokes=now.costs.strokes + strokes
    )
    return replace(now, heights=after.heights, state=after, pending=0, place=after.place, costs=costs)


def lay_block(rig: StintRig, grit: Grit, strokes: int, begin: Place, first_events: int) -> Layout:
    """Strokes with the part lying as it does."""
    return stage_layout(
        rig.crew.rig, Stage(grit, strokes, 0, 0, 0), quad_strokes=rig.quad(grit), seed=rig.crew.seed,
        begin=replace(begin, strokes=0), states=STATES, first_events=first_events,
    )  # fmt: skip


# ---- looking


def _look(rig: StintRig, now: StintState, order: Order) -> tuple[StintState, OrderTold]:
    exercise = rig.exercise
    rng = np.random.default_rng([exercise.seed, exercise.level, 8, now.checks])
    checks = now.checks + 1
    if order.kind == "weigh":
        costs = replace(now.costs, minutes=now.costs.minutes + WEIGH_MINUTES)
        felt = rig.mass_off(now.heights) + SCALE_ERROR * rng.standard_normal()
        swarf = max(0.0, SCALE_ERROR * round(felt / SCALE_ERROR))
        return replace(now, checks=checks, costs=costs), OrderTold(swarf=swarf)
    by_letter = letters_of(exercise.task.lines)
    lines = [by_letter[letter] for letter in order.lines] or list(exercise.task.lines)
    costs = replace(now.costs, minutes=now.costs.minutes + LINE_MINUTES * len(lines))
    return replace(now, checks=checks, costs=costs), OrderTold(readings=_read(rig, now.heights, lines, rng))


def _read(
    rig: StintRig, heights: Array, lines: Sequence[MeasuringLine], rng: np.random.Generator
) -> tuple[StraightedgeLine, ...]:
    """What leaves say along some lines, with the feel of the level."""
    level = LEVELS[rig.exercise.level]
    leaves = 1e-6 * np.array(level.leaves, dtype=float)
    outline = rig.exercise.scenario.part.outline
    return tuple(
        read_line(
            outline, lambda points: rig.heights_at(heights, points),
            FaceLine(line.name, line.start, line.end), leaves, line.at, feel=level.feel, rng=rng,
        )
        for line in lines
    )  # fmt: skip
