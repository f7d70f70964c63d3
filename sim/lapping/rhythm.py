"""How often to turn the part, brush the paper and take a new sheet, where nobody has said.

Rules of proportion, not optima: each is a length of work after which the effect in question
has grown to a stated share of what matters, rounded to a number a person can count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping import poses
from handlap.sim.lapping.lap import Conditions, Stage
from handlap.sim.materials.grits import Grit

COUNTABLE = (5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 120, 150, 200, 250, 300, 400, 500, 600, 800, 1000)
TURN_DEPTH = 0.25
"""Turn before this many bedding lengths have come off: a slant that one-sided hands cut in the
meantime is then a small part of what the grit smooths over anyway."""
BRUSH_LOADING = 1.0
"""Brush when the paper holds this many loading scales of metal: some 0.6 of the loss is there."""
SHEET_DULLING = 2.0
"""New sheet at this many dulling scales: beyond, 0.86 of the loss is there."""
SETTLED = 0.5
"""Cutting power of paper in use over that of a fresh sheet, for these estimates only."""
MINUTES_BETWEEN_CHECKS = 2.0
"""Length of a block of strokes before a look: common practice."""


@dataclass(frozen=True)
class Rhythm:
    """Strokes between turns, brushings and sheets; 0 = never."""

    turn_every: int
    brush_every: int
    sheet_every: int


def countable(strokes: float) -> int:
    """The nearest count below ``strokes`` that is easy to keep, at least the smallest.

    >>> countable(47.3), countable(2.0), countable(7000.0)
    (40, 5, 1000)
    """
    return max((c for c in COUNTABLE if c <= strokes), default=COUNTABLE[0])


def depth_per_stroke(scenario: Scenario, conditions: Conditions, grit: Grit) -> float:
    """Mean depth that one stroke takes off with fresh paper, k·(W/A)·s [m]."""
    load = scenario.exact.load or conditions.grip.press + scenario.part.weight
    path = poses.path_length(scenario.strokes.pattern, scenario.strokes.length)
    return conditions.rate * grit.rate_factor() * load / scenario.part.outline.area * path


def choose_rhythm(scenario: Scenario, conditions: Conditions, grit: Grit) -> Rhythm:
    """Intervals of a scenario on one paper: its own where stated, else by the rules above."""
    paper, metal = scenario.paper, scenario.part.metal
    fresh = depth_per_stroke(scenario, conditions, grit)
    turn = scenario.turning.every
    if len(scenario.turning.states) < 2:
        turn = 0
    elif turn is None:
        turn = countable(TURN_DEPTH * conditions.bedding_of(grit) / (SETTLED * fresh))
    if not scenario.wear.ages:
        return Rhythm(turn, paper.brush_every or 0, paper.sheet_every or 0)
    outline = scenario.part.outline
    swept = outline.area + scenario.strokes.length * min(outline.width, outline.length)
    on_paper = fresh * outline.area / swept
    block = countable(MINUTES_BETWEEN_CHECKS * scenario.hands.strokes_per_minute.value)
    brush, sheet = paper.brush_every, paper.sheet_every
    if brush is None:
        scale = conditions.ageing * grit.loading_scale(metal, wet=paper.wet)
        # The paper is cleaned at every look anyway.
        brush = min(block, countable(BRUSH_LOADING * scale / (SETTLED * on_paper)))
    if sheet is None:
        scale = conditions.ageing * grit.dulling_scale(metal)
        sheet = countable(SHEET_DULLING * scale / (SETTLED * on_paper))
        # A sheet change falls on a brushing, so that the bench has one thing to remember.
        if brush:
            sheet = max(brush, brush * (sheet // brush))
    return Rhythm(turn, brush, sheet)


def check_interval(scenario: Scenario, horizon: int | None = None, most: int = 60) -> int:
    """Strokes between looks: as stated, or two minutes' worth, or more if ``horizon`` needs it."""
    if scenario.check_every:
        return scenario.check_every
    every = countable(MINUTES_BETWEEN_CHECKS * scenario.hands.strokes_per_minute.value)
    if horizon:
        every *= max(1, int(np.ceil(horizon / (every * most))))
    return every


def stage_of(scenario: Scenario, conditions: Conditions, grit: Grit, strokes: int, check_every: int) -> Stage:
    """A stage of ``strokes`` on one paper, looked at every ``check_every`` of them."""
    rhythm = choose_rhythm(scenario, conditions, grit)
    return Stage(
        grit=grit,
        strokes=strokes,
        turn_every=rhythm.turn_every,
        brush_every=rhythm.brush_every,
        sheet_every=rhythm.sheet_every,
        snapshots=tuple(range(check_every, strokes, check_every)) + (strokes,),
    )
