"""The outline of a face: its rim and its openings, in the frame of the part.

Frame: u along the long side, v across it, origin at the middle of the bounding box of the
rim; all lengths in metres.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from handlap.sim.common.jit import kernel

Point = tuple[float, float]

Array = NDArray[np.float64]

CIRCLE_SIDES = 96


@kernel()
def polygon_moments(polygon: Array) -> tuple[float, float, float]:
    """Signed area and first moments (about the axes) of a closed polygon (n, 2)."""
    area = 0.0
    moment_u = 0.0
    moment_v = 0.0
    n = polygon.shape[0]
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        cross = polygon[i, 0] * polygon[j, 1] - polygon[j, 0] * polygon[i, 1]
        area += cross
        moment_u += cross * (polygon[i, 0] + polygon[j, 0])
        moment_v += cross * (polygon[i, 1] + polygon[j, 1])
    return area / 2.0, moment_u / 6.0, moment_v / 6.0


def middle_of(polygon: Array) -> Array:
    """Centre of area (2,) of a closed polygon (n, 2), in the unit of its corners.

    >>> middle_of(circle(3.0, -1.0, 2.0)).round(12).tolist()
    [3.0, -1.0]
    """
    area, u, v = polygon_moments(polygon)
    return np.array([u / area, v / area])


@kernel()
def inside_polygon(polygon: Array, u: Array, v: Array) -> NDArray[np.bool_]:
    """Even-odd test of points (n,) against one polygon (m, 2)."""
    result = np.zeros(u.shape[0], dtype=np.bool_)
    m = polygon.shape[0]
    for k in range(u.shape[0]):
        hit = False
        j = m - 1
        for i in range(m):
            if (polygon[i, 1] > v[k]) != (polygon[j, 1] > v[k]):
                at = polygon[j, 0] + (v[k] - polygon[j, 1]) * (polygon[i, 0] - polygon[j, 0]) / (
                    polygon[i, 1] - polygon[j, 1]
                )
                if u[k] < at:
                    hit = not hit
            j = i
        result[k] = hit
    return result


def circle(u: float, v: float, diameter: float) -> Array:
    """Polygon (96, 2) standing for a circle, of exactly its area [m].

    >>> round(abs(polygon_moments(circle(0.0, 0.0, 2.0))[0]), 12) == round(np.pi, 12)
    True
    """
    turn = 2.0 * np.pi * np.arange(CIRCLE_SIDES) / CIRCLE_SIDES
    stretch = np.sqrt(2.0 * np.pi / CIRCLE_SIDES / np.sin(2.0 * np.pi / CIRCLE_SIDES))
    radius = 0.5 * diameter * stretch
    return np.column_stack([u + radius * np.cos(turn), v + radius * np.sin(turn)])


def slot(u: float, v: float, length: float, width: float, angle: float = 0.0) -> Array:
    """Polygon of a slot with round ends; ``length`` is over all [m], ``angle`` from u [rad]."""
    half = 0.5 * (length - width)
    side = CIRCLE_SIDES // 2
    turn = np.pi * (np.arange(side + 1) / side - 0.5)
    cap = 0.5 * width * np.column_stack([np.cos(turn), np.sin(turn)])
    points = np.vstack([cap + [half, 0.0], -cap - [half, 0.0]])
    c, s = np.cos(angle), np.sin(angle)
    found: Array = points @ np.array([[c, s], [-s, c]]) + [u, v]
    return found


def rectangle(length: float, width: float, u: float = 0.0, v: float = 0.0) -> Array:
    """Corners (4, 2) of a rectangle about (u, v), anticlockwise [m]."""
    return np.array(
        [
            [u - length / 2, v - width / 2],
            [u + length / 2, v - width / 2],
            [u + length / 2, v + width / 2],
            [u - length / 2, v + width / 2],
        ]
    )


def _anticlockwise(polygon: ArrayLike) -> Array:
    points = np.ascontiguousarray(polygon, dtype=float)
    return np.ascontiguousarray(points[::-1]) if polygon_moments(points)[0] < 0.0 else points


@dataclass(frozen=True)
class Outline:
    """The rim (n, 2) of a face and its openings, each a closed polygon (m, 2) [m].

    The rim is moved so that the middle of its bounding box is the origin; use
    :meth:`centred` when openings are given in the same frame as an uncentred rim.
    """

    rim: Array
    openings: tuple[Array, ...] = field(default=())

    def __post_init__(self) -> None:
        object.__setattr__(self, "rim", _anticlockwise(self.rim))
        object.__setattr__(self, "openings", tuple(_anticlockwise(o) for o in self.openings))

    @staticmethod
    def rectangular(length: float, width: float, openings: tuple[Array, ...] = ()) -> Outline:
        """A rectangle about the origin [m]."""
        return Outline(rectangle(length, width), openings)

    def centred(self) -> tuple[Outline, Array]:
        """The same outline about the origin, and the shift (2,) that was taken off [m]."""
        shift = 0.5 * (self.rim.min(axis=0) + self.rim.max(axis=0))
        return Outline(self.rim - shift, tuple(o - shift for o in self.openings)), shift

    @property
    def length(self) -> float:
        """Extent along u [m]."""
        return float(np.ptp(self.rim[:, 0]))

    @property
    def width(self) -> float:
        """Extent along v [m]."""
        return float(np.ptp(self.rim[:, 1]))

    @property
    def area(self) -> float:
        """Area of metal, openings taken off [m²]."""
        return float(polygon_moments(self.rim)[0] - sum(polygon_moments(o)[0] for o in self.openings))

    def metal_across(self, u: ArrayLike) -> Array:
        """Width of metal (k,) across the part at places u (k,) along it, openings taken off [m].

        >>> hole = rectangle(0.1, 0.02, 0.05, 0.0)
        >>> Outline.rectangular(0.3, 0.06, (hole,)).metal_across([-0.1, 0.05]).round(9).tolist()
        [0.06, 0.04]
        """
        at = np.asarray(u, dtype=float)[:, None]
        width = np.zeros(at.shape[0])
        for polygon, sign in ((self.rim, 1.0), *((opening, -1.0) for opening in self.openings)):
            start, end = polygon, np.roll(polygon, -1, axis=0)
            run = end[:, 0] - start[:, 0]
            crosses = (start[:, 0] > at) != (end[:, 0] > at)
            slope = (end[:, 1] - start[:, 1]) / np.where(run == 0.0, 1.0, run)
            v = start[:, 1] + (at - start[:, 0]) * slope
            # Polygons run anticlockwise: edges that go back along u lie on the far side of the metal.
            width -= sign * np.where(crosses, v * np.sign(run), 0.0).sum(axis=1)
        return width

    def contains(self, points: ArrayLike) -> NDArray[np.bool_]:
        """Whether points (n, 2) [m] lie on metal (inside the rim and in no opening).

        Points on the rim itself may fall either way.
        """
        p = np.ascontiguousarray(points, dtype=float)
        u, v = np.ascontiguousarray(p[:, 0]), np.ascontiguousarray(p[:, 1])
        inside = np.asarray(inside_polygon(self.rim, u, v))
        for opening in self.openings:
            low, high = opening.min(axis=0), opening.max(axis=0)
            # Most points are far from most openings.
            near = np.flatnonzero(inside & (u >= low[0]) & (u <= high[0]) & (v >= low[1]) & (v <= high[1]))
            inside[near[inside_polygon(opening, u[near], v[near])]] = False
        return inside

    def rim_points(self, spacing: float) -> Array:
        """Points (n, 2) along the rim, corners included, no further apart than ``spacing`` [m]."""
        found = []
        for start, end in zip(self.rim, np.roll(self.rim, -1, axis=0), strict=True):
            n = max(1, int(np.ceil(np.hypot(*(end - start)) / spacing - 1e-9)))
            found.append(start + np.outer(np.arange(n) / n, end - start))
        return np.vstack(found)

    def opening_points(self, spacing: float) -> Array:
        """Points (n, 2) evenly along the edges of the openings, about ``spacing`` apart [m]."""
        found = [np.empty((0, 2))]
        for polygon in self.openings:
            closed = np.vstack([polygon, polygon[:1]])
            run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
            at = np.linspace(0.0, run[-1], max(4, int(np.ceil(run[-1] / spacing))), endpoint=False)
            found.append(
                np.column_stack([np.interp(at, run, closed[:, 0]), np.interp(at, run, closed[:, 1])])
            )
        return np.vstack(found)
