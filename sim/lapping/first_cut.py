"""What the first hundred strokes on a new sheet take off: rate, force and ageing together."""

from __future__ import annotations

import numpy as np

from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.conditions import Conditions
from handlap.sim.lapping.rhythm import choose_rhythm
from handlap.sim.lapping.sheet import one_sheet
from handlap.sim.materials.grits import Grit

STROKES_OF_CUT = 100


def first_cut(scenario: Scenario, middle: Conditions, conditions: Conditions, grit: Grit) -> float:
    """Mean depth that the first hundred strokes on a new sheet take off, brushed as the rhythm has it [m].

    Parameters
    ----------
    middle : conditions from which the rhythm follows
    """
    rhythm = choose_rhythm(scenario, middle, grit)
    pace = float(scenario.hands.strokes_per_minute.value)
    sheet = one_sheet(scenario, conditions, grit, brush_every=rhythm.brush_every, pace=pace)
    return float(np.interp(STROKES_OF_CUT, sheet.strokes, sheet.depth))
