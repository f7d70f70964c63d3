"""How finely a lap has to be computed, found by measuring its own error.

The step error is the largest difference on the map between a lap and the same lap with rows
that stand for half as many strokes.  It covers the size of the wear step, the ageing of the
paper within it and the sampling of the stroke and the wobble.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handlap.sim.lap import Bench, Conditions, Stage, run_stage, stage_layout
from handlap.sim.outline import Array
from handlap.sim.rhythm import depth_per_stroke

FIRST_DEPTH = 1.0
"""Bedding lengths of metal that one group of four rows may take off in the first trial."""
MOST_ROWS = 24_000


@dataclass(frozen=True)
class Resolution:
    """Most strokes a group of rows stands for, the error measured there [m], rows of the lap."""

    quad_strokes: float
    error: float
    rows: int


def first_quad(bench: Bench, conditions: Conditions, stage: Stage) -> float:
    """Strokes of one group of rows to start from."""
    per_stroke = depth_per_stroke(bench.scenario, conditions, stage.grit)
    return max(1.0, FIRST_DEPTH * conditions.bedding_of(stage.grit) / per_stroke)


def choose_resolution(
    bench: Bench,
    heights: Array,
    conditions: Conditions,
    stage: Stage,
    *,
    tolerance: float,
    seed: int,
    most_rows: int = MOST_ROWS,
) -> Resolution:
    """Halve the groups of rows until the step error on the map is within ``tolerance`` [m].

    The error returned is that of the *coarser* of the last two laps, and the finer one is what
    the resolution stands for, so the figure is on the safe side.  Stops at ``most_rows`` rows
    with whatever error it has then.
    """
    quad = min(first_quad(bench, conditions, stage), float(stage.strokes))
    layout = stage_layout(bench, stage, quad_strokes=quad, seed=seed)
    before = run_stage(bench, heights, conditions, stage, layout).heights[-1]
    while True:
        quad *= 0.5
        layout = stage_layout(bench, stage, quad_strokes=quad, seed=seed)
        after = run_stage(bench, heights, conditions, stage, layout).heights[-1]
        error = float(np.max(np.abs(after - before)))
        rows = layout.x.size
        if error <= tolerance or 2 * rows > most_rows or quad < 0.02:
            return Resolution(quad, error, rows)
        before = after
