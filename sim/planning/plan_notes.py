"""What seams, overhang and inserts do to a planned job, in words with numbers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from handlap.sim.common import spoken
from handlap.sim.common.outline import inside_polygon
from handlap.sim.job.overhang import overhang_of, overhang_words
from handlap.sim.job.scenario import Plate
from handlap.sim.lapping import gauge
from handlap.sim.lapping.lap import LapRun
from handlap.sim.planning.crew import Crew
from handlap.sim.planning.typical import lap_typical
from handlap.sim.planning.work import Worked

WORTH_SAYING = 0.5e-6
"""Differences below this are not put in words [m]."""


def bench_notes(crew: Crew, worked: Worked, lapped: LapRun) -> tuple[str, ...]:
    """One sentence for each thing on the bench that the most typical member feels.

    ``lapped``: its lap as things are, by :func:`handlap.sim.planning.typical.lap_typical`.
    """
    return (*_layout_notes(crew, worked, lapped), *_insert_notes(crew, worked, lapped))


def _layout_notes(crew: Crew, worked: Worked, run: LapRun) -> list[str]:
    """What edges, gaps, overlaps and lumps do, against one large whole sheet."""
    scenario = crew.scenario
    over = overhang_of(scenario)
    if not over and scenario.paper.strips is None and not scenario.paper.lumps:
        return []
    reach = scenario.part.outline.length + scenario.part.outline.width + 2.0 * scenario.strokes.length
    size = (scenario.plate.length, scenario.plate.width)
    large = (max(size[0], 2.0 * reach), max(size[1], 2.0 * reach))
    whole = replace(scenario, plate=Plate(*large), paper=replace(scenario.paper, strips=None, lumps=()))
    ideal, _ = lap_typical(crew, worked, whole)
    change = ideal.heights[-1] - run.heights[-1]
    grid, outline = crew.rig.grid, scenario.part.outline
    deepest = int(np.argmax(change))
    flatter = gauge.flatness(crew.gauged, ideal.heights[-1])[0]
    flatness = gauge.flatness(crew.gauged, run.heights[-1])[0]
    notes = []
    if over:
        said = overhang_words(over, scenario.paper.strips, scenario.system)
        notes.append(f"{said}; the rest bears more, and the edge digs")
    words = "whole sheet on a true plate" if large != size else "whole sheet"
    notes.append(
        f"against one large {words}, edges, seams and bumps leave the face "
        f"{spoken.say_height(flatness, '.1f')} instead of {spoken.say_height(flatter, '.1f')} flat "
        f"after the same strokes; most more comes off, {spoken.say_height(change[deepest], '.1f')}, "
        f"{spoken.taped(grid.u[deepest], grid.v[deepest], outline.length, outline.width)}"
        if abs(change).max() > WORTH_SAYING
        else f"edges, seams and bumps change the face by less than {spoken.say_height(WORTH_SAYING, '.1f')}"
    )
    return notes


def _insert_notes(crew: Crew, worked: Worked, run: LapRun) -> list[str]:
    """By how much another metal in the face ends proud or low: in the end, and at the stop."""
    scenario = crew.scenario
    if not scenario.part.inserts:
        return []
    grid = crew.rig.grid
    grit = worked.first.grit
    bedding = crew.middle.bedding_of(grit)
    even, _ = lap_typical(crew, worked, replace(scenario, part=replace(scenario.part, inserts=())))
    notes = []
    for insert in scenario.part.inserts:
        inside = inside_polygon(insert.area, grid.u[: grid.n_cells], grid.v[: grid.n_cells])
        if not inside.any():
            continue
        step = run.heights[-1][: grid.n_cells] - even.heights[-1][: grid.n_cells]
        now = float(np.mean(step[inside]) - np.mean(step[~inside]))
        end = bedding * math.log(1.0 / insert.rate_ratio)
        side = "proud" if end >= 0.0 else "low"
        notes.append(
            f"{insert.name} wears at {insert.rate_ratio:.2g} of the rate of the metal around it: "
            f"{spoken.say_height(abs(now), '.1f')} {'proud' if now >= 0.0 else 'low'} at the stop, in the "
            f"end {spoken.say_height(abs(end), '.1f')} {side} on {grit.name} (bedding length times the "
            "logarithm of the ratio)"
        )
    return notes
