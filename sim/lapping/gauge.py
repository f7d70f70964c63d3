"""The figures of a face: flatness, what the straightedge reads, depth removed, taper."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.flatness import PointSet
from handlap.sim.face.straightedge import LineSet, greatest_gap, sample_lines
from handlap.sim.job.results import Figures
from handlap.sim.job.scenario import LimitBy, Scenario
from handlap.sim.lapping.paper_memory import APART, Nodes
from handlap.sim.lapping.set_up import Rig, set_up

LINES = "lines"
"""Name of the run of massless points that stand under the straightedge."""


@dataclass(frozen=True)
class Gauge:
    """What is needed to take the figures of faces on one grid."""

    grid: Grid
    lines: LineSet
    length: float
    width: float

    @cached_property
    def plane_of(self) -> Array:
        """What makes coefficients (3,) of the best plane, weighted by area, of heights (n,)."""
        grid = self.grid
        basis = np.column_stack([np.ones_like(grid.u), grid.u, grid.v])
        weighted = basis * grid.area[:, None]
        return np.asarray(np.linalg.solve(weighted.T @ basis, weighted.T))

    @cached_property
    def on_metal(self) -> PointSet:
        """Points between which the minimum zone is taken: cells and the very edge."""
        stop = self.grid.marks[LINES][0]
        return PointSet(self.grid.u[:stop], self.grid.v[:stop])


def lines_to_follow(outline: Outline) -> tuple[LineSet, dict[str, Array]]:
    """The straightedge lines of a face, and the points (n, 2) [m] a grid has to follow for them."""
    lines = sample_lines(outline)
    return lines, {LINES: lines.points}


def make_gauge(outline: Outline, grid: Grid, lines: LineSet) -> Gauge:
    """A gauge for a grid that follows the points of :func:`lines_to_follow`."""
    return Gauge(grid, lines, outline.length, outline.width)


def rig_and_gauge(
    scenario: Scenario, *, cells: int, follow: Mapping[str, Array] | None = None, nodes: Nodes = APART
) -> tuple[Rig, Gauge]:
    """Part, plate and paper of a scenario on a grid of some ``cells`` cells, and the gauge of that grid.

    ``follow``: runs of points (n, 2) by name that the grid follows besides the lines [m]; ``nodes``: of the
    paper's memory.
    """
    lines, points = lines_to_follow(scenario.part.outline)
    rig = set_up(scenario, cells=cells, follow={**points, **(follow or {})}, nodes=nodes)
    return rig, make_gauge(scenario.part.outline, rig.grid, lines)


def flatness(gauge: Gauge, heights: Array) -> Array:
    """Minimum zone (members,) of faces (members, n), the very edge included [m]."""
    return gauge.on_metal.widths(np.atleast_2d(heights)[:, : gauge.grid.marks[LINES][0]])


def straightedge(gauge: Gauge, heights: Array) -> Array:
    """Greatest gap (members,) under the straightedge over the standard lines [m]."""
    return np.atleast_1d(greatest_gap(gauge.lines, np.atleast_2d(heights)[:, gauge.grid.part(LINES)]))


def mean_depth(gauge: Gauge, removed: Array) -> Array:
    """Area-weighted mean (members,) of depths removed (members, n) [m]."""
    found: Array = np.atleast_2d(removed) @ gauge.grid.area / gauge.grid.area.sum()
    return found


def taper(gauge: Gauge, removed: Array) -> tuple[Array, Array]:
    """End-to-end difference along u and across v of the best plane of the removal [m].

    + = more off at +u (+v).  Area-weighted least squares; ``removed`` (members, n) [m].
    """
    plane = gauge.plane_of @ np.atleast_2d(removed).T
    return plane[1] * gauge.length, plane[2] * gauge.width


def measured(gauge: Gauge, heights: Array, limit_by: LimitBy) -> Array:
    """The figure that a limit is held against, of faces (members, n) [m]."""
    return straightedge(gauge, heights) if limit_by == "straightedge" else flatness(gauge, heights)


def figures(gauge: Gauge, before: Array, heights: Array, *, only: LimitBy | None = None) -> Figures:
    """All figures of faces (members, n) that were ``before`` (members, n) or (n,) [m].

    ``only``: leave out what of flatness and straightedge a limit is not held against, NaN then.
    """
    removed = np.atleast_2d(before) - np.atleast_2d(heights)
    along, across = taper(gauge, removed)
    unknown = np.full(len(removed), np.nan)
    return Figures(
        flatness=unknown if only == "straightedge" else flatness(gauge, heights),
        straightedge=unknown if only == "zone" else straightedge(gauge, heights),
        mean_depth=mean_depth(gauge, removed),
        greatest_depth=removed.max(axis=1),
        taper_along=along,
        taper_across=across,
    )
