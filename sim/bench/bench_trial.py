"""The first block at the bench: how long it has to be before a weighing tells anything."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from handlap.sim.bench.log_evidence import CLEANING, MASS_SHARE, ROUNDING
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.ensemble import SCORES, conditions_at
from handlap.sim.lapping.rhythm import SETTLED
from handlap.sim.lapping.sheet import depth_per_stroke
from handlap.sim.materials.mass import SWARF_LOST

DIVISIONS = (0.01e-3, 0.1e-3, 1e-3)
"""Least divisions of the scales people have [kg]."""


@dataclass(frozen=True)
class Trial:
    """A first block that is long enough to weigh.

    ``part`` and ``swarf`` : strokes until a weighing of either tells the rate within ``within``,
    by least division of the scale [kg].
    """

    paper: str
    mass_per_stroke: float
    """[kg]"""
    within: float
    divisions: tuple[float, ...]
    part: tuple[int, ...]
    swarf: tuple[int, ...]


def trial_strokes(
    mass_per_stroke: float, division: float, *, swarf: bool = False, within: float = 0.2
) -> int:
    """Strokes until a weighing tells the rate with this relative standard error (closed form).

    Parameters
    ----------
    mass_per_stroke : metal off with a stroke [kg]
    division : least division of the scale [kg]
    swarf : the swarf is weighed, of which a share is lost; else the part, cleaned and dried twice

    Raises
    ------
    ValueError : if ``within`` is not above what a weighing can ever tell

    >>> trial_strokes(1.25e-6, 0.1e-3)
    342
    """
    if within <= MASS_SHARE or not (mass_per_stroke > 0.0 and division > 0.0):
        raise ValueError(f"within {within:g}: a weighing never tells more than {MASS_SHARE:g}")
    error = ROUNDING * division if swarf else math.hypot(ROUNDING * division, CLEANING)
    kept = 1.0 - 0.5 * sum(SWARF_LOST) if swarf else 1.0
    need = error / math.sqrt(within**2 - MASS_SHARE**2) / kept
    return math.ceil(need / mass_per_stroke)


def plan_trial(scenario: Scenario, *, within: float = 0.2) -> Trial:
    """How long a first block has to be for the scales people have to tell the rate ``within`` a share [-]."""
    middle = conditions_at(scenario, np.zeros(len(SCORES)))
    grit = scenario.paper.grits[0]
    depth = SETTLED * depth_per_stroke(scenario, middle, grit)
    mass = scenario.part.metal.density * scenario.part.outline.area * depth
    return Trial(
        grit.name,
        mass,
        within,
        DIVISIONS,
        tuple(trial_strokes(mass, d, within=within) for d in DIVISIONS),
        tuple(trial_strokes(mass, d, swarf=True, within=within) for d in DIVISIONS),
    )
