"""The first block at the bench: how long it has to be before a weighing tells anything."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from handlap.sim.bench.forecast import paper_in_use
from handlap.sim.bench.job_log import Entry
from handlap.sim.bench.log_evidence import CLEANING, MASS_SHARE, ROUNDING
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.ensemble import SCORES, conditions_at
from handlap.sim.lapping.first_cut import STROKES_OF_CUT
from handlap.sim.lapping.rhythm import choose_rhythm
from handlap.sim.lapping.sheet import one_sheet
from handlap.sim.materials import grits
from handlap.sim.materials.mass import SWARF_LOST
from handlap.sim.planning.crew import Progress
from handlap.sim.planning.first_paper import starts_on

DIVISIONS = (0.01e-3, 0.1e-3, 1e-3)
"""Least divisions of the scales people have [kg]."""


@dataclass(frozen=True)
class FirstBlock:
    """A first block that is long enough to weigh, begun on a new sheet.

    ``first_hundred`` : metal that its first hundred strokes take off [kg];
    ``part`` and ``swarf`` : strokes until a weighing of either tells the rate within ``within``,
    by least division of the scale [kg]; ``sheet_every`` : strokes after which a new sheet is laid, 0: never;
    ``chosen`` : the paper is the plan's choice, nobody has said it.
    """

    paper: str
    chosen: bool
    first_hundred: float
    sheet_every: int
    within: float
    divisions: tuple[float, ...]
    part: tuple[int, ...]
    swarf: tuple[int, ...]


def mass_to_weigh(division: float, *, swarf: bool = False, within: float = 0.2) -> float:
    """Metal off at which a weighing tells the rate with this relative standard error [kg] (closed form).

    Parameters
    ----------
    division : least division of the scale [kg]
    swarf : the swarf is weighed, of which a share is lost; else the part, cleaned and dried twice

    Raises
    ------
    ValueError : if ``within`` is not above what a weighing can ever tell

    >>> round(1e3 * mass_to_weigh(0.1e-3), 3)
    0.427
    """
    if within <= MASS_SHARE or not division > 0.0:
        raise ValueError(f"within {within:g}: a weighing never tells more than {MASS_SHARE:g}")
    error = ROUNDING * division if swarf else math.hypot(ROUNDING * division, CLEANING)
    kept = 1.0 - 0.5 * sum(SWARF_LOST) if swarf else 1.0
    return error / math.sqrt(within**2 - MASS_SHARE**2) / kept


def plan_trial(
    scenario: Scenario,
    entries: Sequence[Entry] = (),
    *,
    within: float = 0.2,
    seed: int = 0,
    progress: Progress | None = None,
) -> FirstBlock:
    """How long a first block has to be for the scales people have to tell the rate ``within`` a share [-].

    It is on the paper of ``entries``, what was done so far; before there is any, on the one that a plan
    begins with.
    """
    middle = conditions_at(scenario, np.zeros(len(SCORES)))
    grit = grits.find(paper_in_use(scenario, entries))
    begun = any(entry.paper for entry in entries)
    chosen = not begun and scenario.paper.start is None and len(scenario.paper.grits) > 1
    if chosen:
        grit = starts_on(scenario, seed=seed, tell=progress)
    rhythm = choose_rhythm(scenario, middle, grit)
    pace = float(scenario.hands.strokes_per_minute.value)
    sheet = one_sheet(scenario, middle, grit, brush_every=rhythm.brush_every, pace=pace)
    face = scenario.part.metal.density * scenario.part.outline.area

    def strokes(division: float, swarf: bool) -> int:
        need = mass_to_weigh(division, swarf=swarf, within=within) / face
        return math.ceil(sheet.to_take(need, rhythm.sheet_every)[0])

    return FirstBlock(
        grit.name,
        chosen,
        face * float(np.interp(STROKES_OF_CUT, sheet.strokes, sheet.depth)),
        rhythm.sheet_every,
        within,
        DIVISIONS,
        tuple(strokes(d, swarf=False) for d in DIVISIONS),
        tuple(strokes(d, swarf=True) for d in DIVISIONS),
    )
