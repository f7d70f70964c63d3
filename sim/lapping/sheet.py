"""What one sheet does before it is changed: depth off the face against strokes, and when to change it.

The paper is taken as evenly used: one number for its loading, one for its dulling.  The lap itself
follows both spot by spot; this is for rhythm, for the strokes that clear scratches, and for time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handlap.sim.common.jit import kernel
from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import Scenario
from handlap.sim.job.stroke_path import path_length
from handlap.sim.lapping.conditions import Conditions, law_of, load_of
from handlap.sim.materials.grits import Grit
from handlap.sim.materials.paper_law import rate_factor

SHEET_MINUTES = 3.0
"""What a change of paper is taken to cost (C) [min]."""
BRUSH_MINUTES = 0.25
"""What brushing or rinsing is taken to cost (C) [min]."""
MOST_ON_SHEET = 6000
"""Strokes up to which one sheet is followed."""
STEPS_PER_BRUSHING = 8
STEP = 10.0
"""Strokes of a step of paper that is not brushed."""


def depth_per_stroke(scenario: Scenario, conditions: Conditions, grit: Grit) -> float:
    """Mean depth that one stroke takes off with fresh paper, k·(W/A)·s [m]."""
    path = path_length(scenario.strokes.pattern, scenario.strokes.length)
    rate = conditions.rate * rate_factor(grit, conditions.traits)
    return rate * load_of(scenario, conditions) / scenario.part.outline.area * path


def swept_area(scenario: Scenario) -> float:
    """Area of paper that a stroke goes over, about [m²]."""
    outline = scenario.part.outline
    return outline.area + scenario.strokes.length * min(outline.width, outline.length)


@dataclass(frozen=True)
class Sheet:
    """Mean depth off the face (k,) [m] against strokes (k,) on one sheet, evenly spaced from 0.

    ``brush_every`` strokes (0: never); ``pace`` in strokes a minute.
    """

    strokes: Array
    depth: Array
    brush_every: int
    pace: float

    def minutes(self, strokes: float) -> float:
        """Minutes of strokes and brushing on one sheet [min]."""
        brushings = strokes // self.brush_every if self.brush_every else 0.0
        return strokes / self.pace + BRUSH_MINUTES * brushings

    def best_change(self) -> float:
        """Strokes after which metal per minute, change and brushings included, has been greatest."""
        brushings = self.strokes / self.brush_every if self.brush_every else 0.0
        minutes = SHEET_MINUTES + self.strokes / self.pace + BRUSH_MINUTES * brushings
        return float(self.strokes[int(np.argmax(self.depth / minutes))])

    def to_take(self, need: float, change: float) -> tuple[float, float]:
        """Strokes and minutes that take ``need`` [m] off, a new sheet every ``change`` strokes (0: never).

        Laying the first sheet counts.
        """
        change = min(change, float(self.strokes[-1])) if change else float(self.strokes[-1])
        full = float(np.interp(change, self.strokes, self.depth))
        sheets = int(need // full) if full > 0.0 else 0
        rest = float(np.interp(need - sheets * full, self.depth, self.strokes))
        minutes = sheets * (SHEET_MINUTES + self.minutes(change)) + SHEET_MINUTES + self.minutes(rest)
        return sheets * change + rest, minutes


@kernel()
def _use_up(
    depth: Array,
    cut: float,
    brush_steps: int,
    leaves: float,
    floor_load: float,
    floor_dull: float,
    scale_load: float,
    scale_dull: float,
) -> None:
    """Fill ``depth`` (k,) on paper [m] after 0, 1, … steps that would cut ``cut`` [m] with fresh paper."""
    load = dull = 0.0
    depth[0] = 0.0
    for i in range(1, depth.shape[0]):
        if brush_steps > 0 and i > 1 and (i - 1) % brush_steps == 0:
            load *= leaves
        part = 0.0
        for half in range(2):
            ahead = 0.5 * part if half == 1 else 0.0
            by_load = floor_load + (1.0 - floor_load) * np.exp(-(load + ahead) / scale_load)
            by_dull = floor_dull + (1.0 - floor_dull) * np.exp(-(dull + ahead) / scale_dull)
            part = cut * by_load * by_dull
        load += part
        dull += part
        depth[i] = depth[i - 1] + part


def one_sheet(
    scenario: Scenario, conditions: Conditions, grit: Grit, *, brush_every: int, pace: float
) -> Sheet:
    """One sheet in use, brushed every ``brush_every`` strokes (0: never)."""
    step = brush_every / STEPS_PER_BRUSHING if brush_every else STEP
    count = int(MOST_ON_SHEET / step) + 1
    strokes = np.asarray(step * np.arange(count), dtype=float)
    face = depth_per_stroke(scenario, conditions, grit)
    if not scenario.wear.ages:
        return Sheet(strokes, np.asarray(face * strokes), brush_every, pace)
    law = law_of(scenario, conditions, grit)
    share = scenario.part.outline.area / swept_area(scenario)
    on_paper = np.empty(count)
    _use_up(
        on_paper, step * face * share, STEPS_PER_BRUSHING if brush_every else 0, 1.0 - law.brushing,
        law.loading_floor, law.dulling_floor, law.loading_scale, law.dulling_scale,
    )  # fmt: skip
    return Sheet(strokes, np.asarray(on_paper / share), brush_every, pace)
