"""Work on one paper by one member: lapped from look to look until a rule says stop.

A leg is laid out as far as anybody may go and shared by all members; each of them is lapped no
further than it takes.  Where a member stops is read off between two looks (``between_looks``), so that
stops do not fall on the looks' own intervals.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.outline import Array
from handlap.sim.job.results import Figures
from handlap.sim.job.scenario import LimitBy, Part, TurnState
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.lap import LapState, begin_lap, lap_on, stage_layout
from handlap.sim.lapping.poses import ROWS_PER_QUAD, START, Layout, Place
from handlap.sim.lapping.set_up import Rig
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.between_looks import Look, Met, at_look, first_met, met_by
from handlap.sim.planning.papers import gone_at

Counts = NDArray[Any]
"""Strokes, whole or not."""
STOP_AT = 0.9
"""Work stops when a look shows this share of the limit: leaves and straightedges have errors."""
PAST_BEST = 0.6
"""A face is past its best when the best look lies before this share of the strokes done: it is worked on so
far to see that nothing better follows."""
ALIKE = 0.5e-6
"""Looks that differ by no more are as good as one another [m]: what is reported of a plan errs by as much."""
LOOKS_A_BLOCK, SET_UP = 3, 8
"""Looks that are worked at one go at the most, and how many rows take as long as to set one block up."""
NEVER_AT = 2.0
"""A face is given up that would not get there at so many times its pace.  Figures fall evenly or ever more
slowly once a face is under way: of all members of the built-in jobs that get there, none would have been
given up at once its pace either, from the second look on."""


@dataclass(frozen=True)
class Leg:
    """Work on one paper, as far as anybody may go.

    ``blocks``: rows from look to look; ``stage``: the work that they are laid out from, its strokes the
    ``horizon`` up to which looks and rows are even; beyond it both grow with what is done already.
    ``quad``: strokes of a group of rows up to there.  ``seed``, ``states`` and ``first_events`` as laid out.
    """

    stage: Stage
    blocks: tuple[Layout, ...]
    quad: float
    seed: int
    states: Sequence[TurnState] | None
    first_events: int

    @property
    def grit(self) -> Grit:
        """The paper."""
        return self.stage.grit

    @property
    def horizon(self) -> int:
        """Strokes up to which looks and rows are even [-]."""
        return self.stage.strokes

    @property
    def most(self) -> int:
        """Strokes up to which anybody may go [-]."""
        return self.blocks[-1].end.strokes - self.blocks[0].begin.strokes

    @property
    def rows(self) -> int:
        """Rows up to the horizon [-]."""
        return sum(block.x.size for block in self.blocks if block.begin.strokes < self.horizon)

    def cut_at(self, rig: Rig, number: int, strokes: int) -> Layout:
        """The block of a number up to one stroke within it, the strokes counted from the leg's begin."""
        block, start = self.blocks[number], self.blocks[number].begin.strokes - self.blocks[0].begin.strokes
        looks = (*(k for k in block.snapshot_strokes if k < strokes - start), strokes - start)
        return _lay_block(
            rig, self.stage, start, looks, block.begin, quad_strokes=self.quad, seed=self.seed,
            states=self.states, first_events=0 if number else self.first_events,
        )  # fmt: skip


def look_marks(every: int, horizon: int, most: int) -> tuple[int, ...]:
    """Strokes at looks: ``every`` apart up to the horizon, twice as far apart whenever strokes have doubled.

    >>> look_marks(20, 40, 250)
    (20, 40, 80, 160, 250)
    """
    marks, at, bound = [], 0, horizon
    while at < most:
        at = min(at + every, most)
        marks.append(at)
        if at >= bound:
            every, bound = 2 * every, 2 * bound
    return tuple(marks)


def lay_leg(
    rig: Rig,
    stage: Stage,
    *,
    quad_strokes: float,
    seed: int,
    most: int | None = None,
    begin: Place = START,
    states: Sequence[TurnState] | None = None,
    first_events: int = 0,
) -> Leg:
    """Lay out work on one paper.

    Parameters
    ----------
    stage : rhythm, looks and strokes up to the horizon
    quad_strokes : strokes of a group of rows up to there
    most : strokes up to which anybody may go; without it, the horizon
    begin : where the work stands; strokes and looks of the stage count from there
    states, first_events : as of :func:`handlap.sim.lapping.lap.stage_layout`
    """
    horizon = stage.strokes
    marks = (0, *(stage.snapshots if most is None else look_marks(stage.snapshots[0], horizon, most)))
    blocks: list[Layout] = []
    place = begin
    for start, seen in _grouped(marks, _looks_a_block(marks[1], horizon, quad_strokes)):
        blocks.append(
            _lay_block(
                rig, stage, start, tuple(k - start for k in seen), place, quad_strokes=quad_strokes,
                seed=seed, states=states, first_events=0 if blocks else first_events,
            )
        )  # fmt: skip
        place = blocks[-1].end
    return Leg(stage, tuple(blocks), quad_strokes, seed, states, first_events)


def _lay_block(
    rig: Rig, stage: Stage, start: int, looks: tuple[int, ...], place: Place, *, quad_strokes: float,
    seed: int, states: Sequence[TurnState] | None, first_events: int,
) -> Layout:  # fmt: skip
    """Rows from one of the stage's strokes up to the last of some looks, counted from there; beyond the
    horizon they grow with what is done already."""
    grown = 1.0 if start < stage.strokes else 2.0 * 2.0 ** np.floor(np.log2(start / stage.strokes))
    return stage_layout(
        rig, replace(stage, strokes=looks[-1], snapshots=looks), quad_strokes=grown * quad_strokes,
        seed=seed, begin=place, states=states, first_events=first_events,
    )  # fmt: skip


def _looks_a_block(every: int, horizon: int, quad_strokes: float) -> int:
    """How many looks to work at one go, ``every`` so many strokes.

    What lies behind the look at which a member stops is worked for nothing, half a block of rows; against
    that, every block has to be set up.  With about half of the rows up to the horizon worked, both together
    are least with so many rows a block as √(``SET_UP`` × rows).

    >>> _looks_a_block(80, 1440, 45.0), _looks_a_block(80, 800, 4.0)
    (3, 1)
    """
    rows = ROWS_PER_QUAD / quad_strokes
    return int(np.clip(round(np.sqrt(SET_UP * rows * horizon) / (rows * every)), 1, LOOKS_A_BLOCK))


def _grouped(marks: Sequence[int], looks: int) -> list[tuple[int, tuple[int, ...]]]:
    """Start of every block, and the looks in it, so many at the most."""
    return [(marks[at], tuple(marks[at + 1 : at + 1 + looks])) for at in range(0, len(marks) - 1, looks)]


@dataclass(frozen=True)
class Stop:
    """Where a member stops: the look at or before which it does, and how far from the one before to it in a
    straight line.

    ``reached``: the goal made it stop; ``at_best``: it stopped at the best look, with worse to follow;
    ``given_up``: it was still on its way down, but too slowly ever to get there.
    """

    look: int
    share: float
    reached: bool
    at_best: bool
    given_up: bool = False

    def of(self, start: float, looks: Array) -> float:
        """A figure at the stop, from that at the start and those at the looks (k,)."""
        before = start if self.look == 0 else float(looks[self.look - 1])
        return before + self.share * (float(looks[self.look]) - before)


class StopRule(Protocol):
    """Says where a member stops."""

    def find(self, strokes: Counts, measured: Array, faces: Sequence[Array], last: bool) -> Stop | None:
        """Where it does, by what the looks so far showed; None: not yet.

        Parameters
        ----------
        strokes, measured, faces : at the looks (k,), (k,) [m], (n,) each
        last : nothing more is worked, so it has to stop somewhere
        """
        ...


def best_look(measured: Array) -> int:
    """The first look as good as the best one, of figures at the looks (k,) [m], NaN after the last of them.

    A face that gets no better wanders by less than its lap errs by: the very least of it falls on any look by
    chance, and what is worked up to there is worked for nothing.  What is at its least at the very end may
    still be on its way down, however slowly: there it is the last look.

    >>> best_look(np.array([30e-6, 20e-6, 10.4e-6, 10.2e-6, 10e-6, 12e-6]))
    2
    """
    least = int(np.nanargmin(measured))
    if least == np.count_nonzero(np.isfinite(measured)) - 1:
        return least
    return int(np.argmax(measured <= measured[least] + ALIKE))


@dataclass(frozen=True)
class TooSlow:
    """When a face comes down too slowly ever to get there.

    At ``NEVER_AT`` times the pace at which its figure fell from half of the strokes done to all of them, it
    would still be above ``limit`` [m], down to which it counts as there, after the ``most`` strokes that
    anybody may do.  ``after``: strokes before which that is not asked, for a face may take a while to get
    under way.  It fails for one on which nothing gives until much more than that has come off.
    """

    limit: float
    after: int
    most: int

    def holds(self, strokes: Counts, measured: Array) -> bool:
        """Whether it is too slow, by strokes and figures at the looks so far (k,) [-, m]."""
        if len(strokes) < 2 or strokes[-1] < self.after:
            return False
        half = min(int(np.searchsorted(strokes, 0.5 * strokes[-1])), len(strokes) - 2)
        fell = max(float(measured[half] - measured[-1]), 0.0)
        still = NEVER_AT * fell * (self.most - strokes[-1]) / (strokes[-1] - strokes[half])
        return bool(measured[-1] - still > self.limit)


@dataclass(frozen=True)
class ToGoal:
    """Stop where the measured figure comes down to ``goal`` [m]; failing that, at the best look there is.

    ``least``: strokes before which nobody gives up; ``at_look``: at the look that shows it, not between two.
    ``never``: when a face is given up besides that is too slow, and from where on one that is past its best
    may stop as well; None: they are worked to the end, and to ``least``.
    """

    goal: float
    least: int
    at_look: bool = False
    never: TooSlow | None = None

    def find(self, strokes: Counts, measured: Array, faces: Sequence[Array], last: bool) -> Stop | None:
        """See :class:`StopRule`."""
        under = np.flatnonzero(measured <= self.goal)
        if under.size:
            look = int(under[0])
            if look == 0 or self.at_look:
                # Nobody stops before having looked once.
                return Stop(look, 1.0, True, False)
            above = float(measured[look - 1])
            share = (above - self.goal) / (above - float(measured[look]))
            return Stop(look, share, True, False)
        best, least = best_look(measured), int(np.argmin(measured))
        after = self.least if self.never is None else min(self.least, self.never.after)
        past = strokes[-1] >= after and strokes[least] <= PAST_BEST * strokes[-1]
        follows = least < len(strokes) - 1
        slow = self.never is not None and not follows and self.never.holds(strokes, measured)
        if past or last or slow:
            return Stop(best, 1.0, False, follows, given_up=slow and not last)
        return None


def stops_at(
    strokes: Array, measured: Array, worked: NDArray[np.int64], goal: float
) -> tuple[Array, NDArray[np.bool_]]:
    """Where members (members,) stop that stop at a goal [m], and which of them reach it.

    Parameters
    ----------
    strokes, measured : at the looks (looks,), and what was measured there (members, looks) [m]
    worked : looks to which each was worked (members,) [-]
    """
    stops, reached = np.empty(len(measured)), np.empty(len(measured), dtype=bool)
    rule = ToGoal(goal, 0)
    for k, (row, looks) in enumerate(zip(measured, worked, strict=True)):
        found = rule.find(strokes[:looks], row[:looks], (), True)
        assert found is not None
        stops[k], reached[k] = found.of(0.0, strokes), found.reached
    return stops, reached


@dataclass(frozen=True)
class ToScratchesGone:
    """Stop at the first look at which the scratches of the paper before are gone.

    ``before``, ``start``: the face before the paper that made them, and after it (n,) [m]; ``area`` (cells,)
    [m²]; ``stock``: depth over which they go [m].
    """

    before: Array
    start: Array
    area: Array
    stock: float

    def find(self, strokes: Counts, measured: Array, faces: Sequence[Array], last: bool) -> Stop | None:
        """See :class:`StopRule`."""
        cells = slice(0, self.area.size)
        looks = np.array([face[cells] for face in faces])
        gone = gone_at(self.before[cells], self.start[cells], looks, self.area, self.stock)
        if gone is not None:
            return Stop(gone, 1.0, True, False)
        return Stop(len(faces) - 1, 1.0, False, False) if last else None


@dataclass(frozen=True)
class ToTheEnd:
    """All that is laid out is worked."""

    def find(self, strokes: Counts, measured: Array, faces: Sequence[Array], last: bool) -> Stop | None:
        """See :class:`StopRule`."""
        return Stop(len(faces) - 1, 1.0, True, False) if last else None


def measure(figures: Figures, limit_by: LimitBy) -> Array:
    """The figure that the limit is held against [m]."""
    return figures.straightedge if limit_by == "straightedge" else figures.flatness


def inside_limits(part: Part, figures: Figures) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Who is inside the limit, and who inside the allowance: all, where none is stated."""
    goal = measure(figures, part.limit_by) <= part.limit
    kept = np.ones_like(goal) if part.allowance is None else figures.greatest_depth <= part.allowance
    return goal, kept


@dataclass(frozen=True)
class LegRun:
    """What came of a leg for one member.

    Attributes
    ----------
    strokes : at the looks that were worked (k,) [-]
    figures : there (k,), depths from before the whole job
    faces : there (k, n), single precision [m]; no rows where they were not to be kept
    work, friction : of the arms so far [J], and of the paper as it is then [-] (k,)
    stop : by which look it stopped, and why; ``stroke``: after how many strokes [-]
    end : figures at the stop (1,); ``face`` (n,) [m] and ``worked`` [J] there
    met : where each goal besides is met; None where it is not
    clipped, tipped : shares of rows, see :class:`handlap.sim.lapping.lap.LapRun`
    removed, deposited : metal off the face and on the paper by all rows [m³]
    flexed : mean bending amplitudes from the last look but one to the last (shapes,) [m]
    """

    strokes: NDArray[np.int64]
    figures: Figures
    faces: NDArray[np.float32]
    work: Array
    friction: Array
    stop: Stop
    stroke: float
    end: Figures
    face: Array
    worked: float
    met: tuple[Met | None, ...]
    clipped: float
    tipped: float
    removed: float
    deposited: float | None
    flexed: Array


def work_leg(
    rig: Rig,
    gauged: Gauge,
    leg: Leg,
    conditions: Conditions,
    rule: StopRule,
    *,
    before: Array,
    start: Array,
    state: LapState | None = None,
    limit_by: LimitBy = "straightedge",
    shown: int = 0,
    keep: bool = True,
    figures: bool = True,
    goals: Sequence[float] = (),
) -> LegRun:
    """Work one member until the rule says stop.

    Parameters
    ----------
    before, start : the face (n,) before the whole job, and now [m]
    state : of a paper that is in use already; without one the paper is new
    shown : strokes up to which it is worked in any case, for what others want to see
    limit_by : which figure is measured at the looks
    keep, figures : keep the faces at the looks, and all figures of them; else what is measured, and depths
    goals : figures [m] of which it is told as well where they are met first, as far as the rule looks

    Raises
    ------
    InputError, TippingError, SolverError : as :func:`handlap.sim.lapping.lap.lap_on`
    """
    state = state or begin_lap(rig, start, conditions, leg.grit, leg.blocks[0])
    faces: list[Array] = []
    work, friction = np.zeros(0), np.zeros(0)
    strokes, seen = np.zeros(0, dtype=np.int64), np.zeros(0)
    looks = [Look(0, float(gauge.measured(gauged, start, limit_by)[0]), start, 0.0)]
    met: list[Met | None] = [at_look(looks[0]) if looks[0].seen <= goal else None for goal in goals]
    stop: Stop | None = None
    for number, block in enumerate(leg.blocks):
        begun = state
        run = lap_on(rig, begun, conditions, block)
        # Of what lies behind only figures are kept: every state holds the whole raster of the paper.
        state = run.state
        work, friction = np.append(work, run.work), np.append(friction, run.friction)
        faces.extend(run.heights)
        strokes = np.append(strokes, np.array(run.strokes, dtype=np.int64) - leg.blocks[0].begin.strokes)
        if stop is None:
            seen = np.append(seen, gauge.measured(gauged, run.heights, limit_by))
            for at in range(len(looks) - 1, len(strokes)):
                looks.append(Look(int(strokes[at]), float(seen[at]), faces[at], float(work[at])))
            look_at = partial(_look_at, rig, gauged, leg, conditions, limit_by, number, begun)
            met = [known or first_met(goal, looks, look_at) for goal, known in zip(goals, met, strict=True)]
            stop = rule.find(strokes, seen, faces, number == len(leg.blocks) - 1)
            if stop is not None:
                ended = _ended(stop, looks, look_at)
        if stop is not None and strokes[-1] >= shown:
            break
    assert stop is not None
    return LegRun(
        strokes=strokes,
        figures=gauge.figures(gauged, before, np.array(faces), only=None if figures else limit_by),
        faces=np.array(faces if keep else np.zeros((0, start.size)), dtype=np.float32),
        work=work,
        friction=friction,
        stop=stop,
        stroke=ended.stroke,
        end=gauge.figures(gauged, before, ended.face),
        face=ended.face,
        worked=ended.work,
        met=tuple(met),
        clipped=run.clipped,
        tipped=run.tipped,
        removed=run.removed_volume,
        deposited=run.deposited_volume,
        flexed=run.amplitudes[-1],
    )


def _look_at(
    rig: Rig, gauged: Gauge, leg: Leg, conditions: Conditions, limit_by: LimitBy, number: int,
    begun: LapState, strokes: int,
) -> Look:  # fmt: skip
    """One more look within the block of a number, that a member had ``begun`` in this state."""
    run = lap_on(rig, begun, conditions, leg.cut_at(rig, number, strokes))
    face = run.heights[-1]
    return Look(strokes, float(gauge.measured(gauged, face, limit_by)[0]), face, float(run.work[-1]))


def _ended(stop: Stop, looks: Sequence[Look], look_at: Callable[[int], Look]) -> Met:
    """Where a member stops; ``looks`` from the start on."""
    here = 1 + stop.look
    if stop.share == 1.0:
        return at_look(looks[here])
    return met_by(stop.of(0.0, np.array([look.seen for look in looks[1:]])), looks, here, look_at)
