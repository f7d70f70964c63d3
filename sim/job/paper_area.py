"""Where paper lies on the plate, paper on paper, and whether the plate was measured under it.

Apart from :mod:`handlap.sim.lapping.ground`, so that reading a scenario needs no numerics.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from handlap.sim.common.outline import Array
from handlap.sim.job.scenario import HeightTable, Plate, Strip

ROUNDING = 1e-6
"""Lengths closer than this are the same [m]."""


def papered_area(plate: Plate, strips: Sequence[Strip] | None) -> Array:
    """Rectangles x0, y0, x1, y1 (s, 4) of paper that lie on the plate, cut to it [m].

    Parameters
    ----------
    plate : about the origin
    strips : as laid; None: the whole plate is papered
    """
    a, b = plate.length / 2.0, plate.width / 2.0
    laid = [(-a, -b, a, b)] if strips is None else [(s.x0, s.y0, s.x1, s.y1) for s in strips]
    low, high = np.array([-a, -b]), np.array([a, b])
    cut = np.array([[*np.maximum(s[:2], low), *np.minimum(s[2:], high)] for s in laid]).reshape(-1, 4)
    return cut[(cut[:, 2] > cut[:, 0]) & (cut[:, 3] > cut[:, 1])]


def overlap(strips: Array) -> bool:
    """Whether any two of the strips (s, 4) [m] lie on one another, by more than rounding."""
    for i, (a, b, c, d) in enumerate(strips):
        wide = np.minimum(strips[:i, 2], c) - np.maximum(strips[:i, 0], a)
        high = np.minimum(strips[:i, 3], d) - np.maximum(strips[:i, 1], b)
        if np.any((wide > ROUNDING) & (high > ROUNDING)):
            return True
    return False


def convex_hull(points: Array) -> Array:
    """Corners (k, 2) of the convex hull of points (n, 2), anticlockwise (monotone chain).

    >>> convex_hull(np.array([[0.0, 0.0], [2.0, 0.0], [1.0, 0.5], [2.0, 2.0], [0.0, 2.0]])).tolist()
    [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]
    """
    rows = sorted(set(map(tuple, points.tolist())))

    def chain(ordered: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
        kept: list[tuple[float, ...]] = []
        for p in ordered:
            while len(kept) > 1 and _cross(kept[-2], kept[-1], p) <= 0.0:
                kept.pop()
            kept.append(p)
        return kept[:-1]

    return np.array(chain(rows) + chain(rows[::-1]))


def _cross(a: tuple[float, ...], b: tuple[float, ...], p: tuple[float, ...]) -> float:
    """Twice the area of the triangle a, b, p; above zero where it turns left."""
    return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])


def beyond_measured(table: HeightTable, strips: Array) -> Array:
    """How far each strip (s, 4) reaches out of the convex hull of the readings (s,) [m], zero if not."""
    hull = convex_hull(np.column_stack([table.u, table.v]))
    along = np.roll(hull, -1, axis=0) - hull
    normals = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    reach = np.sum(normals * hull, axis=1)
    corners = strips[:, [0, 1, 2, 1, 2, 3, 0, 3]].reshape(-1, 4, 2)
    out = (corners @ normals.T - reach).max(axis=(1, 2))
    return np.asarray(np.maximum(out, 0.0))
