"""Flatness of a set of points: exact minimum zone, and peak-to-valley about least squares.

The minimum zone (ISO 1101, ISO 12781) is the least distance of two parallel planes, near the
nominal normal of the face, that hold all points between them.  It is a best plane in the sense
of Chebyshev: half the width is the least greatest distance of any point from one plane, found
here by exchange of four points (a dual simplex; Stiefel 1959 for the same in one dimension).

Distances are counted along the nominal normal (along h), everywhere.  Counted along the normal
of the tilted planes they are shorter by the factor 1/√(1 + b² + c²): 5·10⁻⁹ less for a slope of
10⁻⁴, 1.5·10⁻⁴ less for one of 1°.  The thinnest slab at *any* angle is another thing: it may
stand upright on a narrow face, and is not flatness.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from handlap.sim.common.outline import Array
from handlap.sim.face.zone_kernels import zones

Indices = NDArray[np.int64]

THIN = 1e-6
"""Points whose cloud is narrower than this share of its length are taken as one line."""


@dataclass(frozen=True)
class MinimumZone:
    """The exact minimum zone of a set of points.

    Attributes
    ----------
    width : distance of the two planes along h [m]
    plane : a, b, c of the middle plane h = a + b·u + c·v [m, -, -]
    high : indices of the points that fix the upper plane, (k,) int
    low : indices of the points that fix the lower plane, (l,) int
    criterion : "triangle, three high" or "triangle, three low" (one point over or under the
        triangle of three others), "crossing" (two lines that cross), "line" (three points on one
        line), "pair" (two points at one place), "none" (a plane fits exactly)
    """

    width: float
    plane: tuple[float, float, float]
    high: Indices
    low: Indices
    criterion: str

    @property
    def contacts(self) -> Indices:
        """Indices of all points that fix the zone, high ones first."""
        return np.concatenate([self.high, self.low])


@dataclass(frozen=True)
class _Frame:
    """Points in coordinates about their middle, of size one; ``m`` terms of a plane among them."""

    m: int
    p1: Array
    p2: Array
    middle: Array
    turn: Array

    def back(self, planes: Array) -> Array:
        """Planes (members, 3) in this frame as a, b, c in u and v."""
        slopes = planes[:, 1:] @ self.turn
        return np.column_stack([planes[:, 0] - slopes @ self.middle, slopes])


def _frame(u: Array, v: Array) -> _Frame:
    points = np.column_stack([u, v])
    low, high = points.min(axis=0), points.max(axis=0)
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    offset = points - middle
    size = float(half.max())
    zero = np.zeros(len(points))
    if size == 0.0:
        return _Frame(1, zero, zero, middle, np.zeros((2, 2)))
    spread = (offset - offset.mean(axis=0)) / size
    axes = np.linalg.eigh(spread.T @ spread)[1].T[::-1]
    along = offset @ axes.T
    if np.ptp(along[:, 1]) <= THIN * np.ptp(along[:, 0]):
        turn = np.array([axes[0] / size, [0.0, 0.0]])
        return _Frame(2, np.ascontiguousarray(along[:, 0] / size), zero, middle, turn)
    if np.ptp(along[:, 1]) < 0.05 * np.ptp(along[:, 0]):
        # A narrow strip askew to u and v: along and across it the terms stay independent.
        turn = axes / np.abs(along).max(axis=0)[:, np.newaxis]
    else:
        turn = np.diag(1.0 / half)
    p = offset @ turn.T
    return _Frame(3, np.ascontiguousarray(p[:, 0]), np.ascontiguousarray(p[:, 1]), middle, turn)


def _checked(u: ArrayLike, v: ArrayLike, heights: ArrayLike, dimensions: int) -> tuple[Array, Array, Array]:
    u = np.ascontiguousarray(u, dtype=np.float64)
    v = np.ascontiguousarray(v, dtype=np.float64)
    heights = np.ascontiguousarray(heights, dtype=np.float64)
    if u.ndim != 1 or u.shape != v.shape or heights.ndim != dimensions or heights.shape[-1] != u.size:
        shape = "(n,)" if dimensions == 1 else "(members, n)"
        raise ValueError(f"u, v must be (n,) and heights {shape}; got {u.shape}, {v.shape}, {heights.shape}")
    if u.size == 0:
        raise ValueError("flatness of no points: give at least one")
    for name, values in (("u", u), ("v", v), ("heights", heights)):
        if not np.isfinite(values).all():
            raise ValueError(f"{name} holds {int((~np.isfinite(values)).sum())} values that are not finite")
    return u, v, heights


def _design(frame: _Frame) -> Array:
    """Terms of a plane (m, n) in the frame."""
    return np.vstack([np.ones_like(frame.p1), frame.p1, frame.p2])[: frame.m]


@dataclass(frozen=True)
class _Solved:
    widths: Array
    planes: Array
    points: Indices
    signs: Array
    weights: Array


def _solve(u: Array, v: Array, heights: Array, frame: _Frame | None = None) -> _Solved:
    frame = frame or _frame(u, v)
    members, n = heights.shape
    design = _design(frame)
    # Off with the tilt first, so that the scale of what is left is that of the flatness.
    tilt = np.linalg.lstsq(design @ design.T, design @ heights.T, rcond=None)[0].T
    rest = heights - tilt @ design
    planes = np.zeros((members, 3))
    points = np.zeros((members, 4), dtype=np.int64)
    signs, weights = np.zeros((members, 4)), np.zeros((members, 4))
    widths, gaps = np.zeros(members), np.zeros(members)
    if n > frame.m:
        zones(frame.p1, frame.p2, rest, frame.m, planes, points, signs, weights, widths, gaps)
        # Rounding aside a gap means that the exchange gave up: take the long way.
        rounding = 1e-9 * widths + 1e-14 * np.abs(heights).max(initial=0.0)
        for i in np.nonzero(~(np.abs(gaps) <= rounding))[0]:
            widths[i], planes[i, : frame.m] = _by_linear_programme(design, rest[i])
    planes[:, : frame.m] += tilt
    return _Solved(widths, frame.back(planes), points, signs, weights)


def _by_linear_programme(design: Array, h: Array) -> tuple[float, Array]:
    """The same by a general solver of linear programmes: slow and sure, a last resort."""
    from scipy.optimize import linprog

    size = float(np.abs(h).max()) or 1.0
    m, n = design.shape
    ones = np.ones((n, 1))
    a = np.vstack([np.hstack([design.T, -ones]), np.hstack([-design.T, -ones])])
    b = np.concatenate([h, -h]) / size
    found = linprog(np.r_[np.zeros(m), 1.0], A_ub=a, b_ub=b, bounds=[(None, None)] * (m + 1))
    plane = found.x[:m] * size
    rest = h - plane @ design
    plane[0] += (rest.max() + rest.min()) / 2.0
    return float(np.ptp(rest)), plane


def minimum_zone_widths(u: ArrayLike, v: ArrayLike, heights: ArrayLike) -> Array:
    """Exact minimum zone of many faces on the same points, by exchange of four points.

    Parameters
    ----------
    u, v : positions (n,) [m]
    heights : (members, n), positive = proud [m]

    Returns
    -------
    widths (members,) [m]

    Raises
    ------
    ValueError : if shapes do not match, there are no points or a value is not finite

    >>> corners = np.array([0.0, 1.0, 0.0, 1.0]), np.array([0.0, 0.0, 1.0, 1.0])
    >>> minimum_zone_widths(*corners, np.array([[0.0, 0.0, 0.0, 2e-6], [0.0, 1e-6, 2e-6, 3e-6]])).round(12)
    array([1.e-06, 0.e+00])
    """
    return _solve(*_checked(u, v, heights, 2)).widths


class PointSet:
    """Points (n,) at u, v [m] whose faces are measured time and again: what depends on them alone is kept."""

    def __init__(self, u: ArrayLike, v: ArrayLike) -> None:
        self._u, self._v, _ = _checked(u, v, np.zeros((0, np.size(u))), 2)
        self._frame = _frame(self._u, self._v)

    def widths(self, heights: ArrayLike) -> Array:
        """Minimum zones (members,) [m] of heights (members, n), as :func:`minimum_zone_widths`."""
        return _solve(*_checked(self._u, self._v, heights, 2), self._frame).widths


def minimum_zone(u: ArrayLike, v: ArrayLike, heights: ArrayLike) -> MinimumZone:
    """Exact minimum zone near the nominal normal, by exchange of four points (ISO 12781).

    Parameters
    ----------
    u, v : positions (n,) [m]
    heights : (n,), positive = proud [m]

    Raises
    ------
    ValueError : if shapes do not match, there are no points or a value is not finite

    >>> zone = minimum_zone([0, 0.3, 0, 0.3], [0, 0, 0.1, 0.1], [0, 0, 0, 20e-6])
    >>> f"{1e6 * zone.width:.3f} µm, {zone.criterion}"
    '10.000 µm, crossing'
    """
    u, v, heights = _checked(u, v, heights, 1)
    solved = _solve(u, v, heights[np.newaxis])
    a, b, c = (float(x) for x in solved.planes[0])
    width = float(solved.widths[0])
    held = solved.weights[0] > 1e-9
    if width <= 1e-14 * float(np.abs(heights).max()):
        held[:] = False
    high = solved.points[0][held & (solved.signs[0] > 0)]
    low = solved.points[0][held & (solved.signs[0] < 0)]
    return MinimumZone(width, (a, b, c), np.sort(high), np.sort(low), _criterion(high.size, low.size))


def _criterion(high: int, low: int) -> str:
    if high + low == 4:
        if high == 2:
            return "crossing"
        return "triangle, three high" if high == 3 else "triangle, three low"
    return {3: "line", 2: "pair"}.get(high + low, "none")


def least_squares_plane(
    u: ArrayLike, v: ArrayLike, heights: ArrayLike, weights: ArrayLike | None = None
) -> tuple[float, float, float]:
    """Plane h = a + b·u + c·v of least squares.

    Parameters
    ----------
    u, v : positions (n,) [m]
    heights : (n,), positive = proud [m]
    weights : (n,), such as the area of each point; zero leaves a point out; without it all
        count alike

    Returns
    -------
    a [m], b [-], c [-]; of points on one line, the plane that does not tilt across it

    Raises
    ------
    ValueError : if shapes do not match, a value is not finite, or no weight is positive

    >>> [round(x, 9) for x in least_squares_plane([0, 1, 0, 1], [0, 0, 1, 1], [1, 3, 2, 4])]
    [1.0, 2.0, 1.0]
    """
    u, v, heights = _checked(u, v, heights, 1)
    frame = _frame(u, v)
    design = _design(frame)
    root = np.ones_like(u)
    if weights is not None:
        weights = np.asarray(weights, dtype=np.float64)
        if weights.shape != u.shape or not np.isfinite(weights).all() or (weights < 0.0).any():
            raise ValueError("weights must be (n,), finite and not negative")
        if not weights.any():
            raise ValueError("no weight is positive")
        root = np.sqrt(weights / weights.max())
    plane = np.zeros((1, 3))
    plane[0, : frame.m] = np.linalg.lstsq((design * root).T, heights * root, rcond=None)[0]
    a, b, c = frame.back(plane)[0]
    return float(a), float(b), float(c)


def least_squares_peak_to_valley(u: ArrayLike, v: ArrayLike, heights: ArrayLike) -> float:
    """Range of the points about the plane of least squares [m]; never less than the minimum zone.

    Parameters as :func:`least_squares_plane`.
    """
    u, v, heights = _checked(u, v, heights, 1)
    a, b, c = least_squares_plane(u, v, heights)
    return float(np.ptp(heights - a - b * u - c * v))
