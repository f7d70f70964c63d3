"""From a table of heights to an ensemble of faces through it.

The face is a plane of any tilt plus a Matérn-5/2 field whose length and strength are fitted
to the table (universal kriging).  One face of the ensemble is a draw of the field, bent onto
the table (Matheron's rule: J. G. Journel & C. J. Huijbregts, *Mining Geostatistics*, 1978;
from memory), so it can be evaluated at any point.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import LinAlgError, cho_factor, cho_solve
from scipy.spatial import ConvexHull, QhullError, cKDTree

from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.face_prior import distances, matern

if TYPE_CHECKING:
    from handlap.sim.job.scenario import HeightTable

SAME_POINT = 1e-6
"""Readings nearer to each other than this are taken as repeats of one point [m]."""
LENGTHS = (0.12, 0.2, 0.3, 0.45, 0.7, 1.0, 1.5)
"""Correlation lengths tried, over the diagonal of the table [-]."""
FIT_POINTS = 500
WAVES = 1500
NUGGET = 1e-10
"""Least noise variance over the variance of the field: keeps the solution stable [-]."""


@dataclass(frozen=True)
class Reach:
    """How far a table covers its face.

    Attributes
    ----------
    beyond : greatest distance of a point of the rim from the hull of the measured points [m]
    spacing : median distance of a measured point to its nearest neighbour [m]
    """

    beyond: float
    spacing: float


def merge_repeats(u: ArrayLike, v: ArrayLike, height: ArrayLike) -> tuple[Array, Array, Array]:
    """Average repeated readings: points (n, 2), mean heights (n,) [m], repeats (n,) [-]."""
    points = np.column_stack([np.asarray(u, dtype=float), np.asarray(v, dtype=float)])
    heights = np.asarray(height, dtype=float)
    owner = np.arange(len(points))
    for i, j in sorted(cKDTree(points).query_pairs(SAME_POINT)):
        owner[j] = min(owner[j], owner[i])
    kept, index = np.unique(owner, return_inverse=True)
    repeats = np.bincount(index).astype(float)
    return points[kept], np.bincount(index, weights=heights) / repeats, repeats


def table_reach(outline: Outline, points: Array) -> Reach:
    """How far measured points (n, 2) [m] leave the rim of a face uncovered."""
    nearest = cKDTree(points).query(points, k=2)[0][:, 1] if len(points) > 1 else np.zeros(1)
    rim = outline.rim_points(max(outline.length, outline.width) / 100.0)
    try:
        hull = points[ConvexHull(points).vertices]
    except QhullError:
        hull = points
    closest = np.full(len(rim), np.inf)
    inside = np.full(len(rim), len(hull) > 2)
    for a, b in zip(hull, np.roll(hull, -1, axis=0), strict=True):
        along, off = b - a, rim - a
        t = np.clip(off @ along / max(float(along @ along), 1e-30), 0.0, 1.0)
        closest = np.minimum(closest, np.hypot(*(off - t[:, None] * along).T))
        # The hull runs anticlockwise: inside is to the left of every side.
        inside &= along[0] * off[:, 1] - along[1] * off[:, 0] >= 0.0
    return Reach(float(np.where(inside, 0.0, closest).max()), float(np.median(nearest)))


def _flat(points: Array, size: float) -> Array:
    return np.column_stack([np.ones(len(points)), points / size])


def fit_field(points: Array, heights: Array, sd: float) -> tuple[float, float]:
    """Correlation length [m] and standard deviation [m] of the field, by restricted likelihood.

    Parameters
    ----------
    points : measured points (n, 2) [m]
    heights : their heights (n,) [m]
    sd : standard deviation of one height [m]
    """
    size = float(np.hypot(*np.ptp(points, axis=0)))
    if len(points) > FIT_POINTS:
        pick = np.sort(np.random.default_rng(0).permutation(len(points))[:FIT_POINTS])
        points, heights = points[pick], heights[pick]
    q, _ = np.linalg.qr(_flat(points, size), mode="complete")
    free = q[:, 3:]
    y = free.T @ heights
    least = max(1e-10, 1e-6 * float(np.ptp(heights)))
    if y.size == 0 or float(np.abs(y).max()) <= least:
        return size, least
    between = distances(points, points)
    best = (-np.inf, size, least)
    for share in LENGTHS:
        value, vector = np.linalg.eigh(free.T @ matern(between, share * size) @ free)
        value = np.maximum(value, 0.0) + NUGGET
        square = (vector.T @ y) ** 2
        profile = float(np.sqrt(np.mean(square / (value + sd**2 / max(float(np.var(y)), 1e-30)))))
        strengths = [profile] if sd == 0.0 else profile * np.exp(np.linspace(-2.5, 2.5, 41))
        for strength in strengths:
            variance = strength**2 * value + sd**2
            score = -0.5 * float(np.sum(np.log(variance) + square / variance))
            if score > best[0]:
                best = (score, share * size, float(strength))
    return best[1], max(best[2], least)


@dataclass(frozen=True)
class TableFaces:
    """Faces through a table of heights; evaluate them anywhere with :meth:`at`.

    Attributes
    ----------
    points, heights, repeats : measured points (n, 2), mean heights (n,) [m], repeats (n,)
    sd : standard deviation of one height [m]
    length, strength : correlation length and standard deviation of the field [m]
    count : number of faces; one alone is the best estimate (with sd 0 it goes exactly through
        every point), not a draw
    seed : same seed, same faces
    """

    points: Array
    heights: Array
    repeats: Array
    sd: float
    length: float
    strength: float
    count: int
    seed: int

    @cached_property
    def _size(self) -> float:
        return float(np.hypot(*np.ptp(self.points, axis=0)))

    @cached_property
    def _waves(self) -> tuple[Array, Array, Array]:
        """Random waves that stand for the field (Rahimi & Recht 2007): directions, phases, sizes."""
        rng = np.random.default_rng(self.seed)
        spread = np.sqrt(5.0 / rng.chisquare(5.0, WAVES)) / self.length
        direction = rng.standard_normal((2, WAVES)) * spread
        phase = 2.0 * np.pi * rng.random(WAVES)
        size = rng.standard_normal((WAVES, self.count)) * self.strength * np.sqrt(2.0 / WAVES)
        return direction, phase, size

    def _free_draw(self, points: Array) -> Array:
        """Field draws (n, count) before they are bent onto the table [m]."""
        if self.count == 1:
            return np.zeros((len(points), 1))
        direction, phase, size = self._waves
        return np.cos(points @ direction + phase) @ size

    @cached_property
    def _weights(self) -> tuple[Array, Array]:
        """Weights (n, count) of the field and (3, count) of the plane."""
        target = self.heights[:, None] - self._free_draw(self.points)
        noise = self.sd / np.sqrt(self.repeats)
        if self.count > 1 and self.sd > 0.0:
            rng = np.random.default_rng([self.seed, 1])
            target = target - noise[:, None] * rng.standard_normal(target.shape)
        cover = self.strength**2 * matern(distances(self.points, self.points), self.length)
        nugget = NUGGET
        while True:
            try:
                diagonal = np.maximum(noise**2, nugget * self.strength**2)
                factor = cho_factor(cover + np.diag(diagonal), lower=True)
                break
            except LinAlgError:
                nugget *= 100.0
        flat = _flat(self.points, self._size)
        solved = cho_solve(factor, np.column_stack([flat, target]))
        plane = np.linalg.lstsq(flat.T @ solved[:, :3], flat.T @ solved[:, 3:], rcond=None)[0]
        return solved[:, 3:] - solved[:, :3] @ plane, plane

    def at(self, points: ArrayLike) -> Array:
        """Heights (count, k) of all faces at points (k, 2) [m]."""
        p = np.ascontiguousarray(points, dtype=float).reshape(-1, 2)
        weights, plane = self._weights
        found = np.empty((self.count, len(p)))
        step = max(1, 4_000_000 // max(len(self.points), WAVES))
        for first in range(0, len(p), step):
            run = p[first : first + step]
            cover = self.strength**2 * matern(distances(run, self.points), self.length)
            heights = cover @ weights + _flat(run, self._size) @ plane + self._free_draw(run)
            found[:, first : first + step] = heights.T
        return found


def faces_through(table: HeightTable, *, count: int, seed: int) -> TableFaces:
    """Fit a table and prepare faces through it.

    Parameters
    ----------
    table : the measured heights
    count : number of faces; 1 gives the best estimate
    seed : same seed, same faces
    """
    points, heights, repeats = merge_repeats(table.u, table.v, table.height)
    length, strength = fit_field(points, heights, table.sd)
    return TableFaces(points, heights, repeats, table.sd, length, strength, count, seed)
