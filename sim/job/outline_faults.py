"""What can be wrong with the corners of a face and of its openings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from handlap.sim.common.jit import kernel
from handlap.sim.common.outline import Array, inside_polygon, polygon_moments


@kernel()
def _turn(ax: float, ay: float, bx: float, by: float, cx: float, cy: float) -> float:
    """Twice the area of the triangle a, b, c; its sign says on which side of a–b the point c lies."""
    return (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)


@kernel()
def first_meeting(one: Array, other: Array, own: bool) -> tuple[int, int]:
    """First sides of two polygons (n, 2), (m, 2) that meet, touching included: their places, or (-1, -1).

    ``own``: the two are the same polygon, whose neighbouring sides meet anyway.
    """
    n, m = one.shape[0], other.shape[0]
    for i in range(n):
        k = i + 1 if i + 1 < n else 0
        ax, ay, bx, by = one[i, 0], one[i, 1], one[k, 0], one[k, 1]
        left, right = min(ax, bx), max(ax, bx)
        low, high = min(ay, by), max(ay, by)
        dx, dy = other[m - 1, 0], other[m - 1, 1]
        for j in range(-1, m - 1):
            # Side j runs from c to d; the last one, from the last corner to the first, comes first here.
            cx, cy = dx, dy
            dx, dy = other[j + 1, 0], other[j + 1, 1]
            # Most sides are far apart: their boxes tell, at a fraction of the cost.
            if (cx < left and dx < left) or (cx > right and dx > right):
                continue
            if (cy < low and dy < low) or (cy > high and dy > high):
                continue
            side = j if j >= 0 else m - 1
            if own and (abs(i - side) <= 1 or abs(i - side) >= n - 1):
                continue
            if (
                _turn(ax, ay, bx, by, cx, cy) * _turn(ax, ay, bx, by, dx, dy) <= 0.0
                and _turn(cx, cy, dx, dy, ax, ay) * _turn(cx, cy, dx, dy, bx, by) <= 0.0
            ):
                return i, side
    return -1, -1


def outline_fault(corners: ArrayLike) -> str:
    """What is wrong with a closed polygon (n, 2), in words; empty if nothing is.

    >>> outline_fault([[0, 0], [2, 2], [2, 0], [0, 2]])
    'side 1 crosses or touches side 3'
    >>> outline_fault([[0, 0], [2, 0], [2, 2]])
    ''
    """
    polygon = np.ascontiguousarray(corners, dtype=float)
    short = np.flatnonzero(np.hypot(*(np.roll(polygon, -1, axis=0) - polygon).T) == 0.0)
    if short.size:
        return f"corner {short[0] + 1} is given twice running"
    i, j = first_meeting(polygon, polygon, True)
    if i >= 0:
        return f"side {i + 1} crosses or touches side {j + 1}"
    extent = np.ptp(polygon, axis=0)
    if abs(polygon_moments(polygon)[0]) < 1e-6 * extent.max() ** 2:
        return "the corners enclose no area"
    return ""


def _inside(polygon: Array, points: Array) -> NDArray[np.bool_]:
    inside: NDArray[np.bool_] = inside_polygon(
        polygon, np.ascontiguousarray(points[:, 0]), np.ascontiguousarray(points[:, 1])
    )
    return inside


def _boxes_apart(one: Array, other: Array) -> bool:
    return bool((one.max(axis=0) < other.min(axis=0)).any() or (other.max(axis=0) < one.min(axis=0)).any())


def opening_faults(rim: Array, openings: Sequence[Array]) -> list[tuple[int, str]]:
    """What is wrong with openings (each (m, 2)) in a rim (n, 2): index of the opening, words.

    An opening must lie wholly inside the rim and clear of the other openings.
    """
    found: list[tuple[int, str]] = []
    rim, openings = np.ascontiguousarray(rim), [np.ascontiguousarray(opening) for opening in openings]
    for i, opening in enumerate(openings):
        if not _inside(rim, opening).all() or first_meeting(opening, rim, False)[0] >= 0:
            found.append((i, "inside the edge of the face; draw a notch as corners of part.polygon"))
            continue
        for j in range(i):
            other = openings[j]
            if _boxes_apart(opening, other):
                continue
            nested = _inside(other, opening[:1])[0] or _inside(opening, other[:1])[0]
            if nested or first_meeting(opening, other, False)[0] >= 0:
                found.append((i, f"clear of the other openings; it overlaps opening {j + 1}"))
                break
    return found
