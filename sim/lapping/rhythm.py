"""How often to turn the part, brush the paper and take a new sheet, where nobody has said.

A new sheet is due when metal per minute, its change included, has been greatest.  The others are rules of
proportion: each is a length of work after which the effect in question has grown to a stated share of what
matters.  All are rounded to one beat that a person can keep: looks fall on brushings, turns on brushings or
whole times between two of them, new sheets on brushings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.conditions import Conditions, Stage, law_of
from handlap.sim.lapping.sheet import depth_per_stroke, one_sheet, swept_area
from handlap.sim.materials.grits import Grit

COUNTABLE = (5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 120, 150, 200, 250, 300, 400, 500, 600, 800, 1000)
TURN_DEPTH = 0.25
"""Turn before this many bedding lengths have come off: a slant that one-sided hands cut in the
meantime is then a small part of what the grit smooths over anyway."""
BRUSH_LOADING = 1.0
"""Brush when the paper holds this many loading scales of metal: some 0.6 of the loss is there."""
SETTLED = 0.35
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


def in_step(strokes: float, beat: int) -> int:
    """The largest interval up to ``strokes`` that keeps step with ``beat``: whole beats, or a part of one.

    A part is a countable one that goes into the beat whole times; at least the smallest there is.

    >>> in_step(150, 80), in_step(170, 80), in_step(30, 80), in_step(2, 80)
    (80, 160, 20, 5)
    """
    if strokes >= beat:
        return beat * int(strokes // beat)
    parts = [c for c in COUNTABLE if beat % c == 0]
    return max((c for c in parts if c <= strokes), default=min(parts, default=beat))


def choose_rhythm(scenario: Scenario, conditions: Conditions, grit: Grit) -> Rhythm:
    """Intervals of a scenario on one paper: its own where stated, else by the rules above."""
    paper, states = scenario.paper, len(scenario.turning.states)
    fresh = depth_per_stroke(scenario, conditions, grit)
    pace = float(scenario.hands.strokes_per_minute.value)
    block = countable(MINUTES_BETWEEN_CHECKS * pace)
    on_paper = fresh * scenario.part.outline.area / swept_area(scenario)
    brush, sheet, turn = paper.brush_every, paper.sheet_every, scenario.turning.every
    if brush is None and scenario.wear.ages:
        # The paper is cleaned at every look anyway.
        scale = law_of(scenario, conditions, grit).loading_scale
        brush = in_step(min(block, BRUSH_LOADING * scale / (SETTLED * on_paper)), block)
    if states < 2:
        turn = 0
    elif turn is None:
        turn = in_step(TURN_DEPTH * conditions.bedding_of(grit) / (SETTLED * fresh), brush or block)
    if not scenario.wear.ages:
        return Rhythm(turn, brush or 0, sheet or 0)
    if sheet is None:
        best = one_sheet(scenario, conditions, grit, brush_every=brush or 0, pace=pace).best_change()
        # A change falls on a brushing, so that the bench has one thing to remember; the best is a flat
        # one: rather a little longer on a sheet.
        sheet = brush * int(np.ceil(best / brush)) if brush else countable(best)
        if turn and brush and sheet % (turn * states) == 0:
            # Every sheet would meet the part the same way round, and fresh paper cuts a slant then.
            sheet += brush
    return Rhythm(turn, brush or 0, sheet)


def check_interval(scenario: Scenario, horizon: int | None = None, most: int = 60) -> int:
    """Strokes between looks: as stated, or two minutes' worth.

    A multiple of it where there would be more than ``most`` looks up to the ``horizon``: whoever looks more
    often at the bench is told of some of the looks.
    """
    minutes = countable(MINUTES_BETWEEN_CHECKS * scenario.hands.strokes_per_minute.value)
    every = scenario.check_every or minutes
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
