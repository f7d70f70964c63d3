"""A log as a lap: what was done at the bench, laid out so that any face can be carried through it.

Every entry with strokes is a block of its own; the lap goes on from block to block, so that paper keeps
its memory as long as it is worked on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from handlap.sim.bench.job_log import Entry
from handlap.sim.common.outline import Array
from handlap.sim.job.results import Errors
from handlap.sim.job.scenario import TurnState
from handlap.sim.lapping import column_kernels
from handlap.sim.lapping.conditions import Conditions, Stage
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.lap import LapState, begin_lap, lap_on, stage_layout, states_of
from handlap.sim.lapping.poses import START, Layout, Place
from handlap.sim.lapping.resolution import REPORTED, Resolution, errors_of, row_errors
from handlap.sim.lapping.rhythm import choose_rhythm, stage_of
from handlap.sim.lapping.set_up import Rig
from handlap.sim.materials import grits
from handlap.sim.materials.grits import Grit
from handlap.sim.planning.fineness import LOGGED, find_steps


@dataclass(frozen=True)
class LogBlock:
    """Strokes of one entry; ``begins``: on paper of another kind than the block before."""

    grit: Grit
    layout: Layout
    begins: bool


@dataclass(frozen=True)
class LogCourse:
    """All blocks of a list of entries.

    ``strokes`` (entries,): strokes done after each; ``state`` (entries,): the state of the face
    after it, 0 the start, k the end of the k-th entry that has strokes.
    """

    blocks: tuple[LogBlock, ...]
    state: tuple[int, ...]
    strokes: tuple[int, ...]
    steps: tuple[Resolution, ...]
    """How finely each paper's strokes are followed, measured on one member."""

    @property
    def error(self) -> float:
        """Step error [m]."""
        return max((found.error for found in self.steps), default=0.0)

    @property
    def seconds(self) -> float:
        """Of processor time that a member takes through all of it, about [s]."""
        each = max((found.seconds_a_row for found in self.steps), default=0.0)
        return each * sum(block.layout.x.size for block in self.blocks)

    @property
    def states(self) -> int:
        """Number of states, the start included [-]."""
        return max(self.state, default=0) + 1

    @property
    def papers(self) -> tuple[Grit, ...]:
        """Papers in the order they were begun on."""
        return tuple(block.grit for block in self.blocks if block.begins)


@dataclass(frozen=True)
class _Block:
    strokes: int
    turn_every: int
    brushed: bool
    sheet: bool
    brush_every: int


def lay_out_log(
    rig: Rig, entries: Sequence[Entry], middle: Conditions, typical: Array, *, seed: int
) -> LogCourse:
    """Lay a list of entries out for replay.

    Parameters
    ----------
    entries : those that stand, in order
    middle : conditions at which intervals and step sizes are settled
    typical : a face (n,) on which the step error is measured [m]
    """
    blocks: list[tuple[Grit, _Block]] = []
    state, at, done, sheet, brushed = [], [], 0, False, False
    for entry in entries:
        sheet, brushed = sheet or entry.new_sheet, brushed or entry.brushed
        if entry.strokes:
            grit = grits.find(entry.paper)
            every = entry.turn_every
            if every is None:
                every = choose_rhythm(rig.scenario, middle, grit).turn_every
            blocks.append((grit, _Block(entry.strokes, every, brushed, sheet, entry.brush_every)))
            sheet = brushed = False
        done += entry.strokes
        state.append(len(blocks))
        at.append(done)
    states = states_of(rig.scenario)
    laid: list[LogBlock] = []
    steps: list[Resolution] = []
    place = START
    for name, group in groupby(blocks, key=lambda pair: pair[0].name):
        own = [block for _, block in group]
        grit = grits.find(name)
        found = _step(rig, typical, middle, grit, own, seed)
        # The turning round goes on over a change of paper; places in the stroke are drawn anew.
        place = replace(place, groups=0)
        for number, block in enumerate(own):
            layout = _lay_out(rig, grit, block, found.quad_strokes, place, states, seed + len(steps))
            laid.append(LogBlock(grit, layout, begins=number == 0))
            place = layout.end
        steps.append(found)
    return LogCourse(tuple(laid), tuple(state), tuple(at), tuple(steps))


def _step(
    rig: Rig, typical: Array, middle: Conditions, grit: Grit, own: Sequence[_Block], seed: int
) -> Resolution:
    """How finely the strokes on a paper are followed to keep the tolerance."""
    strokes = sum(block.strokes for block in own)
    stage = replace(
        stage_of(rig.scenario, middle, grit, strokes, max(block.strokes for block in own)),
        turn_every=own[0].turn_every,
    )
    return find_steps(rig, typical, middle, stage, LOGGED, seed=seed)


def _lay_out(
    rig: Rig,
    grit: Grit,
    block: _Block,
    quad: float,
    place: Place,
    states: Sequence[TurnState],
    seed: int,
) -> Layout:
    """Layout of a block; brushings within it count from its start."""
    stage = Stage(grit, block.strokes, block.turn_every, block.brush_every, 0)
    events = column_kernels.EVENT_BRUSH * block.brushed | column_kernels.EVENT_SHEET * block.sheet
    return stage_layout(
        rig, stage, quad_strokes=quad, seed=seed, begin=replace(place, strokes=0), states=states,
        first_events=events,
    )  # fmt: skip


def errors_of_log(rig: Rig, gauged: Gauge, course: LogCourse) -> Errors:
    """What following a log errs by, the worst of all papers; the size of the cells apart."""
    papers = [row_errors(gauged, found.pair) for found in course.steps]
    rows = {name: max((paper[name] for paper in papers), default=0.0) for name in REPORTED}
    count = (rig.grid.n_cells, sum(block.layout.x.size for block in course.blocks))
    return errors_of(rows, None, tolerance=LOGGED.worst, step=course.error, count=count)


def carry(
    rig: Rig, course: LogCourse, before: Array, conditions: Conditions
) -> tuple[Array, LapState | None]:
    """Faces (states, n) of one member at the start and after every entry with strokes [m], and the state from
    which its lap goes on; None: nothing was worked.

    Parameters
    ----------
    before : its face (n,) before the first stroke [m]

    Raises
    ------
    InputError, TippingError, SolverError : as :func:`handlap.sim.lapping.lap.lap_on`
    """
    found = [np.asarray(before, dtype=float)]
    state: LapState | None = None
    for block in course.blocks:
        if state is None or block.begins:
            state = begin_lap(rig, found[-1], conditions, block.grit, block.layout)
        state = lap_on(rig, at_place(state, block.layout.begin), conditions, block.layout).state
        found.append(state.heights)
    return np.array(found), state


def replay(rig: Rig, course: LogCourse, before: Array, conditions: Conditions) -> Array:
    """Faces (states, n) of one member, as :func:`carry`."""
    return carry(rig, course, before, conditions)[0]


def at_place(state: LapState, begin: Place) -> LapState:
    """The state before a block, which counts its strokes from its own start."""
    return replace(state, place=replace(state.place, strokes=begin.strokes))
