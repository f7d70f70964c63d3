"""A log as a lap: what was done at the bench, laid out so that any face can be carried through it.

Work on one paper after another is one run each; within a run the paper keeps its memory from
entry to entry.  Blocks still to come are entries like any other, put behind those of the log.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from itertools import groupby

import numpy as np

from handlap.sim.bench.job_log import Entry
from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import TurnState
from handlap.sim.lapping import kernels
from handlap.sim.lapping.lap import Bench, Conditions, Stage, run_stage, stage_layout
from handlap.sim.lapping.poses import Layout
from handlap.sim.lapping.resolution import choose_resolution
from handlap.sim.lapping.rhythm import choose_rhythm, stage_of
from handlap.sim.materials import grits
from handlap.sim.materials.grits import Grit

TOLERANCE = 1e-6
"""Step error asked of a replayed log [m]; leaves are felt to some 6 µm."""
MOST_ROWS = 1500


@dataclass(frozen=True)
class Run:
    """Work on one paper; ``entries`` (k,) are places in the list of entries, one a snapshot kept."""

    grit: Grit
    layout: Layout
    entries: tuple[int, ...]
    kept: tuple[int, ...]
    """Snapshots of the layout that belong to them."""


@dataclass(frozen=True)
class LogCourse:
    """All runs of a list of entries.

    ``strokes`` (entries,): strokes done after each; ``state`` (entries,): the state of the face
    after it, 0 the start, k the end of the k-th entry that has strokes.
    """

    runs: tuple[Run, ...]
    state: tuple[int, ...]
    strokes: tuple[int, ...]
    error: float
    """Step error measured on one member [m]."""

    @property
    def states(self) -> int:
        """Number of states, the start included [-]."""
        return max(self.state, default=0) + 1


@dataclass(frozen=True)
class _Block:
    place: int
    strokes: int
    turn_every: int
    brushed: bool
    sheet: bool
    brush_every: int


def lay_out_log(
    bench: Bench, entries: Sequence[Entry], middle: Conditions, typical: Array, *, seed: int
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
    for place, entry in enumerate(entries):
        sheet, brushed = sheet or entry.new_sheet, brushed or entry.brushed
        if entry.strokes:
            grit = grits.find(entry.paper)
            every = entry.turn_every
            if every is None:
                every = choose_rhythm(bench.scenario, middle, grit).turn_every
            blocks.append((grit, _Block(place, entry.strokes, every, brushed, sheet, entry.brush_every)))
            sheet = brushed = False
        done += entry.strokes
        state.append(len(blocks))
        at.append(done)
    runs: list[Run] = []
    error, turns = 0.0, 0.0
    for name, group in groupby(blocks, key=lambda pair: pair[0].name):
        own = [block for _, block in group]
        grit = grits.find(name)
        quad, step = _step(bench, typical, middle, grit, own, seed)
        error = max(error, step)
        layout, kept, turns = _lay_out_run(bench, grit, own, quad, seed + len(runs), turns)
        runs.append(Run(grit, layout, tuple(block.place for block in own), kept))
    return LogCourse(tuple(runs), tuple(state), tuple(at), error)


def _step(
    bench: Bench, typical: Array, middle: Conditions, grit: Grit, own: Sequence[_Block], seed: int
) -> tuple[float, float]:
    """Strokes of a group of rows that keep the tolerance, and the error there [m]."""
    strokes = sum(block.strokes for block in own)
    stage = replace(
        stage_of(bench.scenario, middle, grit, strokes, max(block.strokes for block in own)),
        turn_every=own[0].turn_every,
    )
    found = choose_resolution(
        bench, typical, middle, stage, tolerance=TOLERANCE, seed=seed, most_rows=MOST_ROWS
    )
    return found.quad_strokes, found.error


def _lay_out_run(
    bench: Bench, own_grit: Grit, own: Sequence[_Block], quad: float, seed: int, turns: float
) -> tuple[Layout, tuple[int, ...], float]:
    """Layout of a run, which of its snapshots are ends of entries, and turns made so far."""
    states = bench.scenario.turning.states or (TurnState(0.0, 0.0),)
    parts: list[Layout] = []
    ends: list[int] = []
    offset = 0
    for every, group in groupby(own, key=lambda block: block.turn_every):
        blocks = list(group)
        total = sum(block.strokes for block in blocks)
        starts = np.cumsum([0, *(block.strokes for block in blocks)])
        brushings = {
            int(start) + k
            for start, block in zip(starts, blocks, strict=False)
            for k in (range(block.brush_every, block.strokes, block.brush_every) if block.brush_every else ())
        }
        first = int(turns) % len(states)
        stage = Stage(own_grit, total, every, 0, 0, tuple(sorted({*map(int, starts[1:]), *brushings})))
        turned = replace(bench.scenario.turning, states=states[first:] + states[:first])
        there = replace(bench, scenario=replace(bench.scenario, turning=turned))
        layout = stage_layout(there, stage, quad_strokes=quad, seed=seed + len(parts))
        events = layout.events.copy()
        for start, block in zip(starts, blocks, strict=False):
            row = _row_after(layout, int(start))
            events[row] |= kernels.EVENT_BRUSH if block.brushed else 0
            events[row] |= kernels.EVENT_SHEET if block.sheet else 0
        for mark in brushings:
            events[_row_after(layout, mark)] |= kernels.EVENT_BRUSH
        parts.append(replace(layout, events=events))
        ends += [offset + int(end) for end in starts[1:]]
        offset += total
        turns += total / every if every else 0.0
    whole = _joined(parts)
    place = {stroke: k for k, stroke in enumerate(whole.snapshot_strokes)}
    return whole, tuple(place[end] for end in ends), turns


def _row_after(layout: Layout, strokes: int) -> int:
    """First row that lies after so many strokes."""
    return int(np.searchsorted(layout.ends, strokes + 1e-6, side="right"))


def _joined(parts: Sequence[Layout]) -> Layout:
    """Layouts one after the other."""
    offsets = np.cumsum([0.0, *(float(part.ends[-1]) for part in parts)])
    known = np.cumsum([0, *(len(part.standings) for part in parts)])
    moved = [
        replace(
            part,
            standing=part.standing + first,
            ends=part.ends + offset,
            snapshot_strokes=tuple(s + round(offset) for s in part.snapshot_strokes),
        )
        for part, offset, first in zip(parts, offsets, known, strict=False)
    ]
    joined = {
        f.name: np.concatenate([getattr(part, f.name) for part in moved])
        for f in fields(Layout)
        if f.name != "snapshot_strokes"
    }
    return Layout(**joined, snapshot_strokes=sum((part.snapshot_strokes for part in moved), ()))


def replay(bench: Bench, course: LogCourse, before: Array, conditions: Conditions) -> Array:
    """Faces (states, n) of one member at the start and after every entry with strokes [m].

    Parameters
    ----------
    before : its face (n,) before the first stroke [m]

    Raises
    ------
    InputError, TippingError, SolverError : as :func:`handlap.sim.lapping.lap.run_stage`
    """
    found = [np.asarray(before, dtype=float)]
    for run in course.runs:
        stage = Stage(run.grit, round(float(run.layout.ends[-1])), 0, 0, 0)
        lapped = run_stage(bench, found[-1], conditions, stage, run.layout)
        found += [lapped.heights[k] for k in run.kept]
    return np.array(found)
