"""How many strokes of a lap to follow: to the limit of the face, and some more to see what comes after."""

from __future__ import annotations

import numpy as np

from handlap.sim.face.proud import refuse_proud
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping import gauge
from handlap.sim.lapping.ensemble import SCORES, conditions_at
from handlap.sim.lapping.resolution import first_quad
from handlap.sim.lapping.rhythm import SETTLED, check_interval, stage_of
from handlap.sim.lapping.sheet import depth_per_stroke
from handlap.sim.lapping.simulate import paper_named, refuse_tipping, typical_face
from handlap.sim.planning.leg import STOP_AT, ToGoal, lay_leg, work_leg
from handlap.sim.planning.typical import SPARE
from handlap.sim.planning.work import CLEAR_SHARE

TRIAL_CELLS = 1500
MOST_TRIAL_STROKES = 6_000
FEWEST_LOOKS = 4
"""Looks that a course chosen here has at least, however soon the limit is met."""


def strokes_to_limit(scenario: Scenario, *, paper: str | None = None, seed: int = 0) -> tuple[int, str]:
    """How many strokes the typical face takes to its limit, and a third more to see what follows.

    A coarse lap stops where a plan does: at a look that shows nine tenths of the limit, or at the
    best look there is.

    Returns
    -------
    strokes [-], and in words how they were chosen
    """
    part = scenario.part
    refuse_proud(part)
    grit, conditions = paper_named(scenario, paper), conditions_at(scenario, np.zeros(len(SCORES)))
    rig, gauged = gauge.rig_and_gauge(scenario, cells=TRIAL_CELLS)
    before = typical_face(scenario, rig.grid.points, seed=seed).heights_at(rig.grid.points)
    need = CLEAR_SHARE * float(gauge.flatness(gauged, before)[0])
    fresh = depth_per_stroke(scenario, conditions, grit)
    guess = int(np.clip(need / (SETTLED * fresh), 1, MOST_TRIAL_STROKES))
    every = check_interval(scenario, guess)
    horizon = every * max(FEWEST_LOOKS, guess // every)
    stage = stage_of(scenario, conditions, grit, horizon, every)
    leg = lay_leg(
        rig, stage, quad_strokes=first_quad(rig, conditions, stage), seed=seed, most=MOST_TRIAL_STROKES
    )
    rule = ToGoal(STOP_AT * part.limit, horizon)
    run = work_leg(rig, gauged, leg, conditions, rule, before=before, start=before, limit_by=part.limit_by)
    refuse_tipping(run.tipped, conditions)
    at = int(np.ceil(run.stroke))
    if not (run.stop.reached or run.stop.at_best):
        return at, f"after {at} the typical face still is not at its limit, and still gets better"
    why = "its limit with a tenth to spare" if run.stop.reached else "the best it gets on this paper"
    count = every * max(FEWEST_LOOKS, int(np.ceil(SPARE * at / every)))
    return count, f"some {at} take the typical face to {why}; the rest shows what follows"
