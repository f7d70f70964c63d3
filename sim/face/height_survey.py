"""From a table of heights to an ensemble of faces through it.

The face is a plane of any tilt plus bends and a Matérn-5/2 field, whose sizes are not known but
drawn for each face of the ensemble (:mod:`height_prior`).  One face is a draw of bends and
field, bent onto the table (Matheron's rule: J. G. Journel & C. J. Huijbregts, *Mining
Geostatistics*, 1978; from memory), so it can be evaluated at any point.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import LinAlgError, cho_factor, cho_solve

from handlap.sim.common.outline import Array, Outline
from handlap.sim.face.face_prior import distances, matern
from handlap.sim.face.height_prior import (
    ASSUMED_SPREAD,
    ERROR_SPREAD,
    NUGGET,
    Fields,
    plane_and_bends,
    possible_fields,
)

if TYPE_CHECKING:
    from handlap.sim.job.scenario import HeightTable

MemberIndices = np.ndarray[tuple[int, ...], np.dtype[np.intp]]

SAME_POINT = 1e-6
"""Readings nearer to each other than this are taken as repeats of one point [m]."""
WAVES = 500
"""Random waves that make up a field."""
GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0
SOLVING = 6e9
"""Number of systems of n equations that are solved for the faces of an ensemble, times n³; faces of
large tables, which know their field well, share some."""
FEWEST_SYSTEMS = 2


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
    # Only a table of heights asks for what takes a tenth of the time that a survey takes to begin.
    from scipy.spatial import cKDTree

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
    from scipy.spatial import ConvexHull, QhullError, cKDTree

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


@dataclass(frozen=True)
class TableFaces:
    """Faces through a table of heights; evaluate them anywhere with :meth:`at`.

    Attributes
    ----------
    outline : the face
    points, heights, repeats : measured points (n, 2), mean heights (n,) [m], repeats (n,)
    fields : what lies behind each face
    count : number of faces; one alone is the best estimate (of an exact table it goes exactly
        through every point), not a draw
    seed : same seed, same faces
    """

    outline: Outline
    points: Array
    heights: Array
    repeats: Array
    fields: Fields
    count: int
    seed: int

    @cached_property
    def _waves(self) -> tuple[Array, Array, Array]:
        """Random waves that stand for the field (Rahimi & Recht 2007): directions, phases, sizes.

        Wave numbers of a Matérn-5/2 field of length 1 follow Student's law with 5 degrees of freedom.
        They are spread evenly through it, and their directions round the circle: the field is nearer
        to its law than with as many drawn at random.
        """
        rng = np.random.default_rng(self.seed)
        beyond = (np.arange(WAVES) + rng.random(WAVES)) / WAVES
        number = np.sqrt(5.0 * (beyond**-0.4 - 1.0))
        angle = np.pi * (np.arange(WAVES) * GOLDEN + rng.random())
        direction = number * np.array([np.cos(angle), np.sin(angle)])
        phase = 2.0 * np.pi * rng.random(WAVES)
        size = rng.standard_normal((WAVES, self.count)) * self.fields.strength * np.sqrt(2.0 / WAVES)
        return direction, phase, size

    @cached_property
    def _lengths(self) -> list[tuple[float, MemberIndices]]:
        """Each length of the field with the faces that have it."""
        return [(float(x), np.flatnonzero(self.fields.length == x)) for x in np.unique(self.fields.length)]

    def _free_field(self, points: Array, length: float, faces: MemberIndices) -> Array:
        """Fields (n, faces) of one length before they are bent onto the table [m]."""
        if self.count == 1:
            return np.zeros((len(points), 1))
        direction, phase, size = self._waves
        return np.cos(points @ (direction / length) + phase) @ size[:, faces]

    @cached_property
    def _bent(self) -> tuple[Array, Array]:
        """Weights (n, count) of the field at the points, and sizes (6, count) of plane and bends [m]."""
        terms = plane_and_bends(self.points, self.outline)
        weights = np.zeros((len(self.points), self.count))
        sizes = np.zeros((6, self.count))
        target = np.repeat(self.heights[:, None], self.count, axis=1)
        if self.count > 1:
            rng = np.random.default_rng([self.seed, 1])
            noise = self.fields.error / np.sqrt(self.repeats)[:, None]
            target -= noise * rng.standard_normal(target.shape)
            sizes[3:] = self.fields.bend.T * rng.standard_normal((3, self.count))
            target -= terms @ sizes
        for length, faces in self._lengths:
            target[:, faces] -= self._free_field(self.points, length, faces)
            cover = matern(distances(self.points, self.points), length)
            pairs = np.column_stack([self.fields.strength, self.fields.error])[faces]
            for strength, error in np.unique(pairs, axis=0):
                some = faces[(pairs == (strength, error)).all(axis=1)]
                noise = (error / strength) ** 2 / self.repeats
                tight = strength / self.fields.bend[some]
                weights[:, some], more = _bend_onto(cover, noise, terms, target[:, some], tight)
                sizes[:, some] += more
        return weights, sizes

    def at(self, points: ArrayLike) -> Array:
        """Heights (count, k) of all faces at points (k, 2) [m]."""
        p = np.ascontiguousarray(points, dtype=float).reshape(-1, 2)
        weights, sizes = self._bent
        found = np.empty((self.count, len(p)))
        step = max(1, 4_000_000 // max(len(self.points), WAVES))
        for first in range(0, len(p), step):
            run = p[first : first + step]
            heights = plane_and_bends(run, self.outline) @ sizes
            apart = distances(run, self.points)
            for length, faces in self._lengths:
                heights[:, faces] += matern(apart, length) @ weights[:, faces]
                heights[:, faces] += self._free_field(run, length, faces)
            found[:, first : first + step] = heights.T
        return found


def _bend_onto(cover: Array, noise: Array, terms: Array, target: Array, tight: Array) -> tuple[Array, Array]:
    """Weights (n, k) of the field and sizes (6, k) of plane and bends that bend faces onto a table [m].

    Parameters
    ----------
    cover : correlation of the field between the points (n, n) [-]
    noise : variance of each reading over that of the field (n,) [-]
    terms : plane and bends at the points (n, 6) [-]
    target : how far each face is from the table (n, k) [m]
    tight : size of the field over that of each bend (k, 3) [-]
    """
    nugget = NUGGET
    while True:
        try:
            factor = cho_factor(cover + np.diag(np.maximum(noise, nugget)), lower=True)
            break
        except LinAlgError:
            nugget *= 100.0
    solved = cho_solve(factor, np.hstack([terms, target]))
    within, toward = terms.T @ solved[:, :6], terms.T @ solved[:, 6:]
    held = np.hstack([np.zeros((len(tight), 3)), tight**2])
    sizes = np.column_stack([
        np.linalg.lstsq(within + np.diag(h), t, rcond=None)[0] for h, t in zip(held, toward.T, strict=True)
    ])  # fmt: skip
    return solved[:, 6:] - solved[:, :6] @ sizes, sizes


def faces_through(table: HeightTable, outline: Outline, *, count: int, seed: int) -> TableFaces:
    """Weigh what a table leaves possible and prepare faces through it.

    Parameters
    ----------
    table : the measured heights
    outline : the face
    count : number of faces; 1 gives the best estimate
    seed : same seed, same faces
    """
    points, heights, repeats = merge_repeats(table.u, table.v, table.height)
    fields = possible_fields(
        points,
        heights,
        repeats,
        outline,
        error=table.sd,
        spread=ASSUMED_SPREAD if table.sd_assumed else ERROR_SPREAD,
        count=count,
        seed=seed,
        distinct=max(FEWEST_SYSTEMS, int(SOLVING / len(points) ** 3)),
    )
    return TableFaces(outline, points, heights, repeats, fields, count, seed)
