"""Scratch of a march, made once for all its rows."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.jit import kernel
from handlap.sim.lapping.pose_kernels import reach_of
from handlap.sim.lapping.record_kernels import Floats

VECTORS = 64
"""Numbers that a loop takes at one go at most: four vectors of sixteen."""


class Spots(NamedTuple):
    """Heights and places of some points, and scratch for them: see :class:`Face`."""

    h: Floats
    u: Floats
    v: Floats
    base: Floats
    soft: Floats
    logistic: Floats
    closing: Floats


class Raster(NamedTuple):
    """Fields (ny, nx) over the paper's memory while a row is worked; no nodes where it is not followed.

    ``factor``, ``clean`` and ``sharp`` are of the row, ``cut`` is empty between rows, ``per_sheet`` one over
    the share of paper; the rest is scratch.
    """

    factor: Floats
    clean: Floats
    sharp: Floats
    seen: Floats
    between: Floats
    half_way: Floats
    cut: Floats
    per_sheet: Floats


class Reading(NamedTuple):
    """Where every point (n,) stands on the raster, what it reads there, and what of it is over paper."""

    node: NDArray[np.int32]
    share_i: Floats
    share_j: Floats
    read: Floats
    met_of: Floats


class Edge(NamedTuple):
    """For rows that hang over the paper's edge: cover (n,) and scratch of :func:`into_hull`."""

    cover: Floats
    upright: NDArray[np.int32]
    begins: NDArray[np.int32]
    ends: NDArray[np.int32]
    corners: NDArray[np.int32]


class Twist(NamedTuple):
    """Area over rate, and its logarithm, of a row that turns the part (n,)."""

    share: Floats
    log_rate: Floats


class Search(NamedTuple):
    """What the pose is looked for with, by coordinate: approach, tilts, and the shapes of a thin part.

    Attributes
    ----------
    cells, beyond (4·k, n) : coordinates of a thin part at the cells and at the points beyond, filled up to
        whole fours with noughts; no rows for a rigid one
    free (modes,) : 0 holds a coordinate at zero; spread (modes,) : furthest that it moves a cell [-]
    target (modes,) : load, moments, and the loads' work on the shapes [N]
    elastic (modes, modes) : stiffness of the part, λ times [N]
    reaction, stiffness : of the paper at the last look, of as many rows as ``cells``
    lacks (modes,) : what the forces then lack; factor (modes, modes) : of the whole stiffness
    step, trial (modes,) : last motion of the pose, and a pose to look at
    """

    cells: Floats
    beyond: Floats
    free: Floats
    spread: Floats
    target: Floats
    elastic: Floats
    reaction: Floats
    stiffness: Floats
    lacks: Floats
    factor: Floats
    step: Floats
    trial: Floats


@kernel()
def some_spots(spots, start, end):
    """The points from ``start`` to ``end``."""
    return Spots(
        spots.h[start:end],
        spots.u[start:end],
        spots.v[start:end],
        spots.base[start:end],
        spots.soft[start:end],
        spots.logistic[start:end],
        spots.closing[start:end],
    )


@kernel()
def new_raster(paper, shape):
    """Fields over the raster of a lap; none where the paper is not followed."""
    raster = shape if paper.ages else (0, 0)
    on_sheet = paper.on_sheet
    per_sheet = np.zeros(raster if paper.ages and on_sheet.shape[0] > 0 else (0, 0))
    for j in range(per_sheet.shape[0]):
        for i in range(per_sheet.shape[1]):
            per_sheet[j, i] = 1.0 / on_sheet[j, i] if on_sheet[j, i] > 0.0 else 0.0
    return Raster(
        np.ones(raster),
        np.ones(raster),
        np.ones(raster),
        np.zeros(raster),
        np.zeros(raster),
        np.zeros(raster),
        np.zeros(raster),
        per_sheet,
    )


@kernel()
def new_reading(n, partly):
    """Readings of n points; ``partly``: whether some of the paper is missing."""
    return Reading(
        np.zeros(n, dtype=np.int32),
        np.zeros(n),
        np.zeros(n),
        np.ones(n),
        np.ones(n if partly else 0),
    )


@kernel()
def new_edge(n, cells):
    """Scratch for the paper's edge."""
    return Edge(
        np.ones(n),
        np.empty(cells, dtype=np.int32),
        np.empty(cells + 1, dtype=np.int32),
        np.empty((2, cells), dtype=np.int32),
        np.empty(2 * cells + 1, dtype=np.int32),
    )


@kernel()
def new_search(near, basis, tilt_free):
    """What the pose of the cells ``near`` is looked for with; basis (modes or 0, n): of a thin part."""
    on = near.u.shape[0]
    modes = max(3, basis.shape[0])
    rows = -(-basis.shape[0] // 4) * 4
    # Rows that lie together in memory are summed by vectors.
    cells, beyond = np.zeros((rows, on)), np.zeros((rows, basis.shape[1] - on if rows > 0 else 0))
    spread, free = np.ones(modes), np.ones(modes)
    spread[1], spread[2] = reach_of(near.u), reach_of(near.v)
    for j in range(basis.shape[0]):
        cells[j] = basis[j, :on]
        beyond[j] = basis[j, on:]
        spread[j] = reach_of(cells[j])
    if not tilt_free:
        free[1:3] = 0.0
    rows = max(3, rows)
    return Search(
        cells,
        beyond,
        free,
        spread,
        np.zeros(modes),
        np.zeros((modes, modes)),
        np.zeros(rows),
        np.zeros((rows, rows)),
        np.zeros(modes),
        np.zeros((modes, modes)),
        np.zeros(modes),
        np.zeros(modes),
    )
