"""The figures of a face: flatness, what the straightedge reads, depth removed, taper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.flatness import minimum_zone_widths
from handlap.sim.face.straightedge import LineSet, greatest_gap, sample_lines
from handlap.sim.job.results import Figures

LINES = "lines"
"""Name of the run of massless points that stand under the straightedge."""


@dataclass(frozen=True)
class Gauge:
    """What is needed to take the figures of faces on one grid."""

    grid: Grid
    lines: LineSet
    length: float
    width: float


def lines_to_follow(outline: Outline) -> tuple[LineSet, dict[str, Array]]:
    """The straightedge lines of a face, and the points (n, 2) [m] a grid has to follow for them."""
    lines = sample_lines(outline)
    return lines, {LINES: lines.points}


def make_gauge(outline: Outline, grid: Grid, lines: LineSet) -> Gauge:
    """A gauge for a grid that follows the points of :func:`lines_to_follow`."""
    return Gauge(grid, lines, outline.length, outline.width)


def flatness(gauge: Gauge, heights: Array) -> Array:
    """Minimum zone (members,) of faces (members, n), the very edge included [m]."""
    stop = gauge.grid.marks[LINES][0]
    at = np.ascontiguousarray(np.atleast_2d(heights)[:, :stop])
    return minimum_zone_widths(gauge.grid.u[:stop], gauge.grid.v[:stop], at)


def straightedge(gauge: Gauge, heights: Array) -> Array:
    """Greatest gap (members,) under the straightedge over the standard lines [m]."""
    return np.atleast_1d(greatest_gap(gauge.lines, np.atleast_2d(heights)[:, gauge.grid.part(LINES)]))


def mean_depth(gauge: Gauge, removed: Array) -> Array:
    """Area-weighted mean (members,) of depths removed (members, n) [m]."""
    return np.atleast_2d(removed) @ gauge.grid.area / gauge.grid.area.sum()


def taper(gauge: Gauge, removed: Array) -> tuple[Array, Array]:
    """End-to-end difference along u and across v of the best plane of the removal [m].

    + = more off at +u (+v).  Area-weighted least squares; ``removed`` (members, n) [m].
    """
    grid = gauge.grid
    basis = np.column_stack([np.ones_like(grid.u), grid.u, grid.v])
    weighted = basis * grid.area[:, None]
    plane = np.linalg.solve(weighted.T @ basis, weighted.T @ np.atleast_2d(removed).T)
    return plane[1] * gauge.length, plane[2] * gauge.width


def figures(gauge: Gauge, before: Array, heights: Array) -> Figures:
    """All figures of faces (members, n) that were ``before`` (members, n) or (n,) [m]."""
    removed = np.atleast_2d(before) - np.atleast_2d(heights)
    along, across = taper(gauge, removed)
    return Figures(
        flatness=flatness(gauge, heights),
        straightedge=straightedge(gauge, heights),
        mean_depth=mean_depth(gauge, removed),
        greatest_depth=removed.max(axis=1),
        taper_along=along,
        taper_across=across,
    )
