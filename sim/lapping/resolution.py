"""How finely a lap has to be computed, found by measuring its own error.

The step error is the largest difference on the map between a lap and the same lap with rows
that stand for half as many strokes.  It covers the size of the wear step, the ageing of the
paper within it and the sampling of the stroke and the wobble.  The same two laps tell the error of
what is reported, which is another: a seam in the paper may leave one spot of the map far off and the
straightedge's reading right.  Whoever says what is reported holds rows to the error of that, and the map's
worst spot to a looser bound.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.job.results import Errors
from handlap.sim.lapping import gauge
from handlap.sim.lapping.conditions import Conditions, Stage, law_of
from handlap.sim.lapping.gauge import Gauge
from handlap.sim.lapping.lap import run_stage, stage_layout
from handlap.sim.lapping.long_work import Tell, tell_ahead
from handlap.sim.lapping.poses import ROWS_PER_QUAD, Layout
from handlap.sim.lapping.set_up import Rig, set_up
from handlap.sim.lapping.sheet import depth_per_stroke, swept_area

FIRST_DEPTH = 1.0
"""Bedding lengths of metal that one group of four rows may take off in the first trial."""
FEW_SCALES = 1.0
"""Loading scales of metal between two brushings, and dulling scales on a sheet, from which on the rows of the
first trial are cut at each of them."""
MOST_ROWS = 24_000
MOST_ROWS_FLEXIBLE = 6_000
"""Of a part that bends, whose rows cost many times as much; half a minute at the most."""
MOST_WORK_FLEXIBLE = 3.0e8
"""Cells looked at in all evaluations of one lap of a part that bends; foil takes a hundred of them a row."""
LEAST_QUAD = 0.02
"""Strokes of a group of rows below which nothing is laid out more finely [-]."""
HALF_SEEN = 2.0
"""Where paper has steps the error falls like one over the rows, and two laps, one with twice the rows of the
other, differ by half of it."""
COARSE_SEEN = 1.0 / 3.0
"""The error of the cells falls with their square: of what cells twice as long change, a third is left."""
REPORTED = ("flatness", "straightedge", "greatest_depth", "mean_depth")
"""Figures whose error is told."""
ALLOWED = {name: 4.0 if name == "greatest_depth" else 1.0 for name in REPORTED}
"""Tolerances that a figure's error may be.  The deepest spot is one spot of the map, of a depth several times
the limit; an outside micrometer, by which an allowance is kept, may err by twice that (4 µm for 0 to 25 mm:
DIN 863-1, from memory)."""
LEAST_LEFT = 0.25
"""Share of the tolerance that rows get in any case, where the most cells there may be take more."""
SLACK = 0.9
"""Share of what is left that is taken up between a group of rows that is too long and one that is not."""
STEEPEST = 2.0
"""Order in the rows' length of the errors between these two, at the most."""


@dataclass(frozen=True)
class Resolution:
    """Most strokes a group of rows stands for, the error measured there [m], rows of the lap, and the seconds
    of processor time that a row took (for words about what is to come; nothing else depends on it).

    ``pair``: the face (n,) that was lapped, after that lap, and after the one with twice the rows [m].
    """

    quad_strokes: float
    error: float
    rows: int
    pair: tuple[Array, Array, Array]
    seconds_a_row: float = 0.0


@dataclass(frozen=True)
class HeldTo:
    """What the rows of a lap are held to besides the map's worst spot.

    ``gauged``: takes the figures that are reported; ``tolerance``: their error, by rows and cells [m], which
    ``ALLOWED`` multiplies; ``spent``: what of it the cells take, by figure [m].
    """

    gauged: Gauge
    tolerance: float
    spent: Mapping[str, float]

    def share(self, before: Array, coarser: Array, finer: Array) -> float:
        """Share of what cells leave of the tolerance that the coarser of two laps takes, worst figure [-].

        At the looks (k, n) of the second half, where members stop: at a single one two laps may agree by
        chance.
        """
        late = range(len(coarser) // 2, len(coarser))
        pairs = [row_errors(self.gauged, (before, coarser[k], finer[k])) for k in late]
        found = {name: max(pair[name] for pair in pairs) for name in REPORTED}

        def left(name: str) -> float:
            allowed = ALLOWED[name] * self.tolerance
            return max(_beside(allowed, self.spent.get(name, 0.0)), LEAST_LEFT * allowed)

        return max(found[name] / left(name) for name in REPORTED)


def first_quad(rig: Rig, conditions: Conditions, stage: Stage) -> float:
    """Strokes of one group of rows [-] to start from; never longer than what lies between events, those set
    aside between which paper hardly ages (see :func:`handlap.sim.lapping.poses.slowed`)."""
    scenario = rig.scenario
    per_stroke = depth_per_stroke(scenario, conditions, stage.grit)
    events = [stage.turn_every] if stage.turn_every else []
    if scenario.wear.ages:
        law = law_of(scenario, conditions, stage.grit)
        on_paper = per_stroke * scenario.part.outline.area / swept_area(scenario)
        scales = (stage.brush_every, law.loading_scale), (stage.sheet_every, law.dulling_scale)
        events += [every for every, scale in scales if every * on_paper > FEW_SCALES * scale]
    looks = np.diff([0, *stage.snapshots, stage.strokes])
    # The middle: a short rest after the last look must not make all groups as short.
    look = float(np.median(looks[looks > 0]))
    return float(min(FIRST_DEPTH * conditions.bedding_of(stage.grit) / per_stroke, look, *events))


def quad_within(quad: float, strokes: int, most_rows: int) -> float:
    """Strokes of a group of rows [-], longer where the strokes would have more than ``most_rows`` rows.

    >>> quad_within(2.0, 300, 200), quad_within(2.0, 300, 1200)
    (6.0, 2.0)
    """
    return max(quad, ROWS_PER_QUAD * strokes / most_rows)


def choose_resolution(
    rig: Rig,
    heights: Array,
    conditions: Conditions,
    stage: Stage,
    *,
    tolerance: float,
    seed: int,
    most_rows: int | None = None,
    tell: Tell | None = None,
    held: HeldTo | None = None,
) -> Resolution:
    """Halve the groups of rows until the step error on the map is within ``tolerance`` [m].

    The error is that of the coarser of the last two laps, which is the one taken.  Stops at
    ``most_rows`` rows with whatever error it has then; if None, at the bound for a rigid part
    or for one that bends.  A part that bends has a bound on the work as well.
    ``tell``: is told beforehand of a lap that takes long; ``held``: what else has to keep a tolerance.  With
    it rows are as long as a power through the last two errors allows, and not only halves of the first;
    ``pair`` is that of the shorter ones then.
    """
    if most_rows is None:
        most_rows = MOST_ROWS if rig.bending is None else MOST_ROWS_FLEXIBLE
    quad = first_quad(rig, conditions, stage)
    layout = stage_layout(rig, stage, quad_strokes=quad, seed=seed)
    looks = run_stage(rig, heights, conditions, stage, layout).heights
    # The first lap may have had to compile the kernels: how long it took says nothing.
    rows, each = layout.x.size, 0.0
    taken_before = 0.0
    while True:
        quad, layout = _finer(rig, stage, layout, quad, seed)
        # What comes after it, in the search and of the work itself, is as long again at the least.
        tell_ahead(tell, 2.0 * each * layout.x.size, "finding how finely to lap", "")
        begun = time.thread_time()
        run = run_stage(rig, heights, conditions, stage, layout)
        each = (time.thread_time() - begun) / layout.x.size
        before, after = looks[-1], run.heights[-1]
        error = float(np.max(np.abs(after - before)))
        laborious = rig.bending is not None and run.evaluations * rig.grid.n_cells > MOST_WORK_FLEXIBLE
        pair = (heights, before, after)
        taken = max(error / tolerance, 0.0 if held is None else held.share(heights, looks, run.heights))
        if taken <= 1.0 or layout.x.size > most_rows or laborious or quad < LEAST_QUAD:
            if held is not None and taken <= 1.0:
                longer = _between(taken_before, taken)
                quad, error, rows = longer * quad, error * longer**STEEPEST, int(np.ceil(rows / longer))
            return Resolution(quad, error, rows, pair, each)
        looks, rows, quad, taken_before = run.heights, layout.x.size, 0.5 * quad, taken


def _between(too_much: float, taken: float) -> float:
    """How many times as long rows may be as those that take a share of the tolerance up to 1, where twice as
    long ones take ``too_much`` (0: not known), along the power of their length that goes through both.

    >>> _between(4.0, 1.0), round(_between(1.5, 0.3), 2), _between(0.0, 0.1)
    (1.0, 1.64, 1.0)
    """
    if too_much <= 1.0 or taken <= 0.0:
        return 1.0
    order = min(max(np.log2(too_much / taken), 1.0), STEEPEST)
    return float(min(max(1.0, SLACK * taken ** (-1.0 / order)), 2.0))


def _finer(rig: Rig, stage: Stage, layout: Layout, quad: float, seed: int) -> tuple[float, Layout]:
    """Fewest strokes of a group with which a lap is still laid out as it is, and the rows of half of them.

    Where brushings, turns and looks cut the rows, half the strokes may be the same rows again, which would
    show no error.
    """
    while True:
        finer = stage_layout(rig, stage, quad_strokes=0.5 * quad, seed=seed)
        if (finer.x.size, finer.slower) != (layout.x.size, layout.slower) or quad < LEAST_QUAD:
            return quad, finer
        quad *= 0.5


def _beside(allowed: float, spent: float) -> float:
    """What one error may be beside another for both to be what is allowed together; nought where it is more.

    Rows and cells have nothing to do with one another, so their errors add by their squares (JCGM 100:2008,
    5.1.2).

    >>> _beside(5.0, 3.0), _beside(5.0, 6.0)
    (4.0, 0.0)
    """
    return math.sqrt(max(allowed**2 - spent**2, 0.0))


def row_errors(gauged: Gauge, pair: tuple[Array, Array, Array]) -> dict[str, float]:
    """Errors that the length of the rows makes in what is reported, by figure [m].

    ``pair``: a face (n,), after a lap, and after the same lap with twice the rows [m].
    """
    before, coarser, finer = pair
    found = gauge.figures(gauged, before, np.array([coarser, finer]))
    return {name: HALF_SEEN * float(abs(np.diff(getattr(found, name))[0])) for name in REPORTED}


def cell_errors(
    rig: Rig,
    gauged: Gauge,
    face_at: Callable[[Array], Array],
    conditions: Conditions,
    stage: Stage,
    *,
    quad_strokes: float,
    seed: int,
    before: Array,
    lapped: Array,
) -> dict[str, float]:
    """Errors that the size of the cells makes in what is reported after a stage, by figure [m].

    The stage is lapped again with cells twice as long.

    Parameters
    ----------
    face_at : heights (n,) of the starting face at points (n, 2) [m]
    before, lapped : heights (n,) before and after the stage on the rig's own grid [m]
    """
    if rig.grid.n_cells < 64:
        return dict.fromkeys(REPORTED, 0.0)
    lines = {gauge.LINES: gauged.lines.points}
    coarse = set_up(rig.scenario, cell=2.0 * rig.grid.cell_size, follow=lines, nodes=rig.nodes)
    coarse_gauge = gauge.make_gauge(rig.scenario.part.outline, coarse.grid, gauged.lines)
    layout = stage_layout(coarse, stage, quad_strokes=quad_strokes, seed=seed)
    start = face_at(coarse.grid.points)
    run = run_stage(coarse, start, conditions, stage, layout)
    there = gauge.figures(coarse_gauge, start, run.heights[-1])
    own = gauge.figures(gauged, before, lapped)
    return {
        name: COARSE_SEEN * float(abs(getattr(there, name)[0] - getattr(own, name)[0])) for name in REPORTED
    }


def errors_of(
    rows: Mapping[str, float],
    cells: Mapping[str, float] | None,
    *,
    tolerance: float,
    step: float,
    count: tuple[int, int],
    strokes: float | None = None,
    asked: float | None = None,
) -> Errors:
    """What the computing errs by.

    Parameters
    ----------
    rows, cells : errors by figure, see above [m]; ``cells`` None: not measured
    tolerance, step : error asked of the map's worst spot, and found there [m]
    count : cells, and rows of the lap [-]
    strokes : error of the strokes to the goal [-]; None: not to be had
    asked : error asked of what is reported [m]; None: rows are held to the map's worst spot alone
    """
    told = {name: math.hypot(rows[name], 0.0 if cells is None else cells[name]) for name in REPORTED}
    return Errors(
        tolerance=tolerance,
        step=step,
        grid=None if cells is None else cells["flatness"],
        cells=count[0],
        rows=count[1],
        strokes=strokes,
        asked=asked,
        **told,
    )
