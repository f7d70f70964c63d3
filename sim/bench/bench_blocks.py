"""A plan as a person works it off: blocks of strokes with what falls due in each, and checks.

All in SI; strokes are counted from the start of each paper.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from handlap.sim.bench.stop_rules import WORSE
from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.said import record, said
from handlap.sim.face.stations import MeasuringLine
from handlap.sim.face.straightedge import ROCKS_BELOW, contact, gaps, sample_line
from handlap.sim.job.results import Band, Plan, PlanCheck, StagePlan
from handlap.sim.planning.leg import STOP_AT


@record()
class WorkBlock:
    """Strokes between two checks on one paper, and what falls due at which stroke of that paper.

    Attributes
    ----------
    first, last : strokes of this paper [-]
    turns, brushings, sheets : strokes after which to turn the part, brush, lay a new sheet
    check : what to expect at the end
    spare : only worked if the goal is not met by then
    """

    first: int = said(name="first_stroke")
    last: int = said(name="last_stroke")
    turns: tuple[int, ...] = said(name="turn_at")
    brushings: tuple[int, ...] = said(name="brush_at")
    sheets: tuple[int, ...] = said(name="new_sheet_at")
    check: PlanCheck
    spare: bool = said(name="only_if_needed")


@dataclass(frozen=True)
class PaperStage:
    """One paper of the plan with its blocks."""

    plan: StagePlan
    blocks: tuple[WorkBlock, ...]


def paper_stages(plan: Plan) -> tuple[PaperStage, ...]:
    """The stages of a plan that are worked, cut at their checks."""
    found = []
    done = 0
    for stage in plan.stages:
        if stage.strokes:
            found.append(PaperStage(stage, _blocks(stage, done)))
        done += stage.strokes
    return tuple(found)


def _blocks(stage: StagePlan, done: int) -> tuple[WorkBlock, ...]:
    blocks = []
    last = 0
    for check in stage.checks:
        end = check.strokes - done
        blocks.append(
            WorkBlock(
                first=last + 1,
                last=end,
                turns=due(stage.turn_every, last, end),
                brushings=due(stage.brush_every, last, end),
                sheets=due(stage.sheet_every, last, end),
                check=check,
                spare=end > stage.strokes,
            )
        )
        last = end
    return tuple(blocks)


def due(every: int, after: int, until: int) -> tuple[int, ...]:
    """Strokes in (after, until] at which something falls due that is done after each ``every``; 0: never.

    >>> due(100, 80, 240), due(0, 0, 100)
    ((100, 200), ())
    """
    if every <= 0:
        return ()
    return tuple(range(every * (after // every + 1), until + 1, every))


def leaf_that_goes(gap: float, leaves: Sequence[float]) -> float:
    """The thickest of some leaves that goes under a gap [m]; 0: none does.

    >>> leaf_that_goes(57e-6, [30e-6, 50e-6, 80e-6])
    5e-05
    """
    return max((leaf for leaf in leaves if leaf <= gap * (1.0 + 1e-9)), default=0.0)


def station_gaps(
    outline: Outline, lines: Sequence[MeasuringLine], grid: Grid, heights: Array
) -> list[tuple[str, float]]:
    """What each station of a known face would show [m], the greatest gap first.

    Parameters
    ----------
    heights : of the face (n,) at the points of ``grid`` [m]
    """
    found: list[tuple[str, float]] = []
    for line in lines:
        if not line.at:
            continue
        position, points = sample_line(outline, line.start, line.end, line.at)
        nearest = [int(np.argmin(np.hypot(grid.u - u, grid.v - v))) for u, v in points]
        z = heights[nearest]
        i, j = contact(position, z, "rest", 0.5 * line.length)
        still = position[j] - position[i] >= ROCKS_BELOW * line.length
        gap = gaps(position, z, "rest" if still else "level", 0.5 * line.length)
        for station, at in enumerate(line.at):
            k = int(np.argmin(np.abs(position - at)))
            found.append((line.label(station), float(gap[k])))
    return sorted(found, key=lambda pair: -pair[1])


def worst_stations(ranked: Sequence[tuple[str, float]], count: int = 3) -> tuple[str, ...]:
    """The first stations of a ranking that lie on different lines."""
    chosen: dict[str, str] = {}
    for label, _ in ranked:
        chosen.setdefault(label.rstrip("0123456789"), label)
    return tuple(chosen.values())[:count]


@dataclass(frozen=True)
class StopMarks:
    """Where the rules for stopping bite.

    Attributes
    ----------
    goal : figure at which a check counts as met [m]
    allowance_strokes : strokes of the job at the first check at which the chance of a spot deeper
        than the allowance exceeds 5 %; None: at none, or no allowance
    allowance_mass : metal off in all at which the deepest spot is about at the allowance [kg]
    worse_strokes : strokes of the job at the first check from which the next block makes it worse
        with a chance over 70 %; None: at none of them
    """

    goal: float
    allowance_strokes: int | None
    allowance_mass: float | None
    worse_strokes: int | None


def stop_marks(plan: Plan) -> StopMarks:
    """The rules for stopping of a plan, in numbers."""
    part = plan.scenario.part
    checks = [check for stage in plan.stages if stage.strokes for check in stage.checks]
    over = None
    mass = None
    if part.allowance is not None:
        over = next((c.strokes for c in checks if c.greatest_depth.p95 > part.allowance), None)
        mass = mass_at_depth(checks, part.allowance)
    worse = next((c.strokes for c in checks if c.worse_next is not None and c.worse_next > WORSE), None)
    return StopMarks(STOP_AT * part.limit, over, mass, worse)


class Looked(Protocol):
    """A look of a plan, as far as the grams by which the deepest spot is known go."""

    @property
    def greatest_depth(self) -> Band:
        """[m]"""

    @property
    def mass(self) -> Band:
        """Metal off since the start of the job [kg]."""


def mass_at_depth(checks: Sequence[Looked], depth: float) -> float | None:
    """Metal off in all [kg] at which the deepest spot is about ``depth`` [m], by the middle values.

    How fast metal goes hardly changes where it goes, so the grams measure the deepest spot
    whatever the rate turns out to be.  Beyond the last check metal is taken to go as it has on
    the whole, which is on the safe side: the first of it comes off few high spots.  None: there
    is no check.
    """
    before = (0.0, 0.0)
    for check in checks:
        now = (check.greatest_depth.p50, check.mass.p50)
        if now[0] >= depth:
            share = (depth - before[0]) / max(now[0] - before[0], 1e-12)
            return before[1] + share * (now[1] - before[1])
        before = now if now[0] > before[0] else before
    return depth * before[1] / before[0] if before[0] > 0.0 else None


def dye_raster(outline: Outline, grid: Grid, lost: Array, columns: int = 26) -> Array:
    """Chance that dye is left, on a coarse raster (rows, columns) from near to far; NaN off the metal.

    Parameters
    ----------
    lost : chance (cells,) that it is gone; or that it has faded, for the chance that it is full
    """
    rows = max(3, round(columns * outline.width / outline.length))
    u = ((np.arange(columns) + 0.5) / columns - 0.5) * outline.length
    v = ((np.arange(rows) + 0.5) / rows - 0.5) * outline.width
    raster = np.full((rows, columns), math.nan)
    cells = slice(0, grid.n_cells)
    for j in range(rows):
        metal = outline.contains(np.column_stack([u, np.full(columns, v[j])]))
        for i in np.flatnonzero(metal):
            nearest = np.argmin(np.hypot(grid.u[cells] - u[i], grid.v[cells] - v[j]))
            raster[j, i] = 1.0 - lost[nearest]
    return raster


def leaf_band(gap: Band, leaves: Sequence[float]) -> tuple[float, float, float]:
    """Thickest leaf that goes at the 5, 50 and 95 % point of a gap [m]; 0: none."""
    low, middle, high = (leaf_that_goes(g, leaves) for g in (gap.p05, gap.p50, gap.p95))
    return low, middle, high
