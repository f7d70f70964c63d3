"""What can be wrong with the corners of a face and of its openings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from handlap.sim.common.outline import Array, inside_polygon, polygon_moments


def _sides(polygon: Array) -> tuple[Array, Array]:
    return polygon, np.roll(polygon, -1, axis=0)


def _turn(a: Array, b: Array, c: Array) -> Array:
    """Twice the area of triangles a, b, c; its sign says on which side of a–b the point c lies."""
    return (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (
        c[..., 0] - a[..., 0]
    )


def crossings(one: Array, other: Array) -> NDArray[np.bool_]:
    """Which sides (n,) of one polygon meet which sides (m,) of another: (n, m), touching included."""
    a, b = (p[:, None, :] for p in _sides(one))
    c, d = (p[None, :, :] for p in _sides(other))
    across = _turn(a, b, c) * _turn(a, b, d) <= 0.0
    back = _turn(c, d, a) * _turn(c, d, b) <= 0.0
    overlap = np.ones_like(across)
    for axis in (0, 1):
        low = np.maximum(np.minimum(a[..., axis], b[..., axis]), np.minimum(c[..., axis], d[..., axis]))
        high = np.minimum(np.maximum(a[..., axis], b[..., axis]), np.maximum(c[..., axis], d[..., axis]))
        overlap &= low <= high
    return across & back & overlap


def outline_fault(corners: ArrayLike) -> str:
    """What is wrong with a closed polygon (n, 2), in words; empty if nothing is.

    >>> outline_fault([[0, 0], [2, 2], [2, 0], [0, 2]])
    'side 1 crosses or touches side 3'
    >>> outline_fault([[0, 0], [2, 0], [2, 2]])
    ''
    """
    polygon = np.ascontiguousarray(corners, dtype=float)
    n = len(polygon)
    start, end = _sides(polygon)
    short = np.flatnonzero(np.hypot(*(end - start).T) == 0.0)
    if short.size:
        return f"corner {short[0] + 1} is given twice running"
    met = crossings(polygon, polygon)
    index = np.arange(n)
    apart = np.abs(index[:, None] - index[None, :])
    met &= (apart > 1) & (apart < n - 1)
    if met.any():
        i, j = np.argwhere(met)[0] + 1
        return f"side {i} crosses or touches side {j}"
    extent = np.ptp(polygon, axis=0)
    if abs(polygon_moments(polygon)[0]) < 1e-6 * extent.max() ** 2:
        return "the corners enclose no area"
    return ""


def _inside(polygon: Array, points: Array) -> NDArray[np.bool_]:
    return inside_polygon(polygon, np.ascontiguousarray(points[:, 0]), np.ascontiguousarray(points[:, 1]))


def _boxes_apart(one: Array, other: Array) -> bool:
    return bool((one.max(axis=0) < other.min(axis=0)).any() or (other.max(axis=0) < one.min(axis=0)).any())


def opening_faults(rim: Array, openings: Sequence[Array]) -> list[tuple[int, str]]:
    """What is wrong with openings (each (m, 2)) in a rim (n, 2): index of the opening, words.

    An opening must lie wholly inside the rim and clear of the other openings.
    """
    found: list[tuple[int, str]] = []
    for i, opening in enumerate(openings):
        if not _inside(rim, opening).all() or crossings(opening, rim).any():
            found.append((i, "inside the edge of the face; draw a notch as corners of part.polygon"))
            continue
        for j in range(i):
            other = openings[j]
            if _boxes_apart(opening, other):
                continue
            nested = _inside(other, opening[:1])[0] or _inside(opening, other[:1])[0]
            if nested or crossings(opening, other).any():
                found.append((i, f"clear of the other openings; it overlaps opening {j + 1}"))
                break
    return found
