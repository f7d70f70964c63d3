"""Scratch of a march, made once for all its rows."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from handlap.sim.common.jit import kernel
from handlap.sim.lapping.pose_kernels import reach_of, some_of
from handlap.sim.lapping.pressure_kernels import BLOCK
from handlap.sim.lapping.record_kernels import Array

VECTORS = 64
"""Numbers that a loop takes at one go at most: four vectors of sixteen."""


class Spots(NamedTuple):
    """Heights and places of some points, and scratch for them: see :class:`Face`."""

    h: Array
    u: Array
    v: Array
    base: Array
    soft: Array
    logistic: Array
    closing: Array


class Raster(NamedTuple):
    """Fields (ny, nx) over the paper's memory while a row is worked; no nodes where it is not followed.

    ``factor``, ``clean`` and ``sharp`` are of the row, ``cut`` is empty between rows, ``per_sheet`` one over
    the share of paper; the rest is scratch.
    """

    factor: Array
    clean: Array
    sharp: Array
    seen: Array
    between: Array
    half_way: Array
    cut: Array
    per_sheet: Array


class Reading(NamedTuple):
    """Where every point (n,) stands on the raster, what it reads there, and what of it is over paper."""

    node: NDArray[np.int32]
    share_i: Array
    share_j: Array
    read: Array
    met_of: Array


class Edge(NamedTuple):
    """For rows that hang over the paper's edge: cover (n,) and scratch of :func:`into_hull`."""

    cover: Array
    upright: NDArray[np.int32]
    begins: NDArray[np.int32]
    ends: NDArray[np.int32]
    corners: NDArray[np.int32]


class Twist(NamedTuple):
    """Area over rate, and its logarithm, of a row that turns the part (n,)."""

    share: Array
    log_rate: Array


class Search(NamedTuple):
    """All cells in single precision and a few of them, see :mod:`handlap.sim.lapping.pose_kernels`.

    ``owed``: softplus of the few; ``stands_for``: cells that each of them stands for; ``reach`` (2,): how far
    cells lie from the middle; ``step``: last motion of the pose; ``nothing``: what all cells lack.
    """

    every: NDArray[np.float32]
    few: NDArray[np.float32]
    some: NDArray[np.int32]
    owed: Array
    stands_for: float
    scratch: NDArray[np.float32]
    reach: Array
    step: Array
    nothing: Array


class Flex(NamedTuple):
    """A thin part's coordinates at cells and beyond, and what its pose is looked for with, by coordinate."""

    cells: Array
    beyond: Array
    free: Array
    target: Array
    elastic: Array


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
def new_search(face, near, cell):
    """All cells, which ``near`` are, in single precision, and a sample of them; ``cell``: size of one."""
    cells = face.cells
    every = np.empty((4, near.u.shape[0]), dtype=np.float32)
    every[1] = near.u
    every[2] = near.v
    some = some_of(face.u[:cells], face.v[:cells], cell)
    few = np.zeros((4, -(-some.size // VECTORS) * VECTORS), dtype=np.float32)
    few[1, : some.size] = face.u[some]
    few[2, : some.size] = face.v[some]
    stands_for = face.area[:cells].sum() / face.area[some].sum()
    reach = np.array([reach_of(face.u[:cells]), reach_of(face.v[:cells])])
    return Search(
        every,
        few,
        some,
        np.zeros(some.size),
        stands_for,
        np.empty((2, BLOCK), dtype=np.float32),
        reach,
        np.zeros(3),
        np.zeros(3),
    )


@kernel()
def new_flex(flexing, on, lam, tilt_free):
    """Coordinates of a thin part, the first ``on`` points apart.

    Rows that lie together in memory are summed by vectors.
    """
    modes = max(3, flexing.basis.shape[0])
    free = np.ones(modes)
    if not tilt_free:
        free[1] = 0.0
        free[2] = 0.0
    elastic = np.zeros((modes, modes))
    elastic[3:, 3:] = flexing.stiffness * lam
    return Flex(
        np.ascontiguousarray(flexing.basis[:, :on]),
        np.ascontiguousarray(flexing.basis[:, on:]),
        free,
        np.zeros(modes),
        elastic,
    )
