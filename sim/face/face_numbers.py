"""The figures of many faces at once: flatness, straightedge, depth to clear, bows and twist.

Signs: height positive = proud.  A bow is positive where the middle is proud of the ends
(crowned) and negative where it is hollow.  A twist is positive where the corners (+u, +v) and
(−u, −v) are proud.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from handlap.sim.common.grid import Grid
from handlap.sim.common.outline import Array, Outline
from handlap.sim.common.said import record, said
from handlap.sim.face import edge_kernels as kernels
from handlap.sim.face.flatness import least_squares_peak_to_valley, minimum_zone_widths
from handlap.sim.face.straightedge import greatest_gap, sample_lines
from handlap.sim.job.results import Band
from handlap.sim.job.scenario import HeightTable

DOMINANT = 0.6
"""A shape names the face when it holds this share of the sum of squares of bows and twist."""
Word = Literal["hollow", "crowned", "twisted", "mixed", "cannot tell"]


@dataclass(frozen=True)
class Stretch:
    """By what bands are stretched about their median (in log where the figure is positive) [-].

    Calibration on faces from outside the fitted family asks for it.  Flatness and the
    straightedge's worst are stretched further ``down`` than ``up``: what is not known about a
    face adds to its range, so that the draws of a smooth face lie high.  ``depth`` is for the
    depth to clear.
    """

    up: float
    down: float
    depth: float


BY_LEAVES = Stretch(1.15, 1.6, 1.3)
BY_HEIGHTS = Stretch(1.1, 1.2, 1.1)
AS_THEY_ARE = Stretch(1.0, 1.0, 1.0)


def stretch_of(table: HeightTable | None) -> Stretch:
    """By what bands of a face are stretched that was read as a table of heights, or by leaves (None)."""
    if table is None:
        return BY_LEAVES
    return BY_HEIGHTS if table.sd > 0.0 else AS_THEY_ARE


@dataclass(frozen=True)
class FaceNumbers:
    """Numbers of each face of an ensemble, arrays (count,) [m].

    Attributes
    ----------
    flatness : minimum zone near the nominal normal, rim and edges of openings included
    peak_to_valley : about the least-squares plane
    straightedge : worst gap over the six standard lines
    depth_to_clear : mean depth that must come off, at the best tilt, before the lowest spot is
        reached (the greatest depth is then about the flatness)
    bow_along, bow_across : middle over ends, + = crowned, − = hollow
    twist : minimum zone of the twist, + = corners (+u, +v) and (−u, −v) proud
    """

    flatness: Array
    peak_to_valley: Array
    straightedge: Array
    depth_to_clear: Array
    bow_along: Array
    bow_across: Array
    twist: Array


@record()
class FaceBands:
    """Bands of :class:`FaceNumbers`, widened as calibration asks [m]."""

    flatness: Band = said("um")
    straightedge: Band = said("um")
    peak_to_valley: Band = said("um", "peak_to_valley_least_squares_um")
    depth_to_clear: Band = said("um", "mean_depth_to_clear_um")
    bow_along: Band = said("um")
    bow_across: Band = said("um")
    twist: Band = said("um")


def widened(values: Array, up: float, down: float | None = None) -> Array:
    """Positive values (count,) stretched about their median in log, ``down`` below it."""
    below = up if down is None else down
    log = np.log(np.maximum(values, 1e-12))
    off = log - np.median(log)
    found: Array = np.exp(np.median(log) + np.where(off < 0.0, below, up) * off)
    return found


def bend_components(grid: Grid, heights: Array) -> tuple[Array, Array, Array]:
    """Bow along, bow across and twist (count,) of heights (count, n) at a grid's points [m].

    Least squares of a plane and the three quadratic shapes over the area of the cells.  A bow
    counts the middle over the ends (+ = crowned); a twist counts its own minimum zone.

    Source: closed form; a parabolic bow of c gives c, z = e·U·V with U, V in ±1 gives 2·e.
    """
    cells = slice(0, grid.n_cells)
    u = 2.0 * grid.u[cells] / (grid.u_edges[-1] - grid.u_edges[0])
    v = 2.0 * grid.v[cells] / (grid.v_edges[-1] - grid.v_edges[0])
    terms = np.column_stack([np.ones_like(u), u, v, u * u, v * v, u * v])
    root = np.sqrt(grid.area[cells])
    fit = np.linalg.lstsq(terms * root[:, None], (heights[:, cells] * root).T, rcond=None)[0]
    return -fit[3], -fit[4], 2.0 * fit[5]


def depth_to_clear(grid: Grid, heights: Array) -> Array:
    """Mean depth (count,) that comes off before the lowest spot is reached, at the best tilt [m].

    Parameters
    ----------
    grid : points of the face; the mean is over the area of its cells
    heights : heights (count, n) at its points [m]
    """
    h = np.ascontiguousarray(heights)
    depth = np.empty(h.shape[0])
    kernels.batch_clearing_depth(
        np.ascontiguousarray(grid.u), np.ascontiguousarray(grid.v), np.ascontiguousarray(grid.area), h, depth
    )
    return depth


def face_numbers(outline: Outline, grid: Grid, heights: Array, line_heights: Array) -> FaceNumbers:
    """Figures of faces.

    Parameters
    ----------
    outline : the face
    grid : its points, rim included
    heights : heights (count, n) at the grid's points [m]
    line_heights : heights (count, k) at the points of :func:`sample_lines` of the outline [m]
    """
    u, v = np.ascontiguousarray(grid.u), np.ascontiguousarray(grid.v)
    h = np.ascontiguousarray(heights)
    along, across, twist = bend_components(grid, h)
    return FaceNumbers(
        flatness=minimum_zone_widths(u, v, h),
        peak_to_valley=np.array([least_squares_peak_to_valley(u, v, row) for row in h]),
        straightedge=greatest_gap(sample_lines(outline), line_heights),
        depth_to_clear=depth_to_clear(grid, h),
        bow_along=along,
        bow_across=across,
        twist=twist,
    )


def face_bands(numbers: FaceNumbers, stretch: Stretch) -> FaceBands:
    """Bands of the figures, stretched."""

    def signed(values: Array) -> Band:
        middle = float(np.median(values))
        return Band.of(middle + stretch.up * (values - middle))

    return FaceBands(
        flatness=Band.of(widened(numbers.flatness, stretch.up, stretch.down)),
        peak_to_valley=Band.of(widened(numbers.peak_to_valley, stretch.up, stretch.down)),
        straightedge=Band.of(widened(numbers.straightedge, stretch.up, stretch.down)),
        depth_to_clear=Band.of(widened(numbers.depth_to_clear, stretch.depth)),
        bow_along=signed(numbers.bow_along),
        bow_across=signed(numbers.bow_across),
        twist=signed(numbers.twist),
    )


def name_shapes(bow_along: Array, bow_across: Array, twist: Array) -> list[Word]:
    """The word for each of many faces, from their bows and twist (count,) [m].

    Twisted, or bowed, if that holds six tenths of the sum of squares.  A bowed face is hollow
    or crowned by its greater bow, and mixed if the other goes the opposite way by more than
    half as much (a saddle).
    """
    bows = bow_along**2 + bow_across**2
    total = bows + twist**2 + 1e-30
    along = np.abs(bow_along) >= np.abs(bow_across)
    greater = np.where(along, bow_along, bow_across)
    other = np.where(along, bow_across, bow_along)
    words: list[Word] = []
    for k in range(len(twist)):
        if twist[k] ** 2 >= DOMINANT * total[k]:
            words.append("twisted")
        elif bows[k] < DOMINANT * total[k] or other[k] * np.sign(greater[k]) < -0.5 * abs(greater[k]):
            words.append("mixed")
        else:
            words.append("crowned" if greater[k] > 0.0 else "hollow")
    return words
