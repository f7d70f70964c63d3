"""The next line of the job sheet, from what is in the log: so many strokes, and what is due before them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handlap.sim.bench.job_log import JobLog
from handlap.sim.job.scenario import Scenario
from handlap.sim.lapping.ensemble import SCORES, conditions_at
from handlap.sim.lapping.rhythm import check_interval, choose_rhythm
from handlap.sim.materials import grits


@dataclass(frozen=True)
class NextBlock:
    """What the job sheet has next.

    Attributes
    ----------
    strokes : up to the next check [-]
    until : strokes on this paper then, as the sheet counts them [-]
    paper : "" where only a plan could say it: nothing is done yet, and no paper to start on is stated
    new_sheet, brushed : due before them
    brush_every, turn_every : as on the sheet; 0: never
    """

    strokes: int
    until: int
    paper: str = ""
    new_sheet: bool = False
    brushed: bool = False
    brush_every: int = 0
    turn_every: int = 0


def next_block(scenario: Scenario, log: JobLog, paper: str = "") -> NextBlock:
    """The next block on the paper in use, or on ``paper`` where another one is taken.

    The sheet's intervals are those of :mod:`handlap.sim.lapping.rhythm`, which the plan follows too; which
    paper a job begins with takes a plan.
    """
    every = check_interval(scenario)
    name = paper or _paper(scenario, log)
    if not name:
        return NextBlock(every, every, new_sheet=True)
    on_paper = on_sheet = since_brush = 0
    for entry in log.standing:
        other = bool(entry.paper) and entry.paper != name
        on_paper = 0 if other else on_paper
        on_sheet = 0 if other or entry.new_sheet else on_sheet
        since_brush = 0 if other or entry.new_sheet or entry.brushed else since_brush
        if entry.strokes and not other:
            on_paper += entry.strokes
            on_sheet += entry.strokes
            since_brush += entry.strokes
            since_brush = since_brush % entry.brush_every if entry.brush_every else since_brush
    middle = conditions_at(scenario, np.zeros(len(SCORES)))
    rhythm = choose_rhythm(scenario, middle, grits.find(name))
    until = every * (on_paper // every + 1)
    fresh = on_paper == 0 or bool(rhythm.sheet_every and on_sheet >= rhythm.sheet_every)
    due = bool(rhythm.brush_every) and since_brush >= rhythm.brush_every
    return NextBlock(
        strokes=until - on_paper,
        until=until,
        paper=name,
        new_sheet=fresh,
        # A fresh sheet wants no brushing.
        brushed=due and not fresh,
        brush_every=rhythm.brush_every,
        turn_every=rhythm.turn_every,
    )


def _paper(scenario: Scenario, log: JobLog) -> str:
    if log.paper:
        return log.paper
    if scenario.paper.start is not None:
        return scenario.paper.start.name
    return scenario.paper.grits[0].name if len(scenario.paper.grits) == 1 else ""
