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

from handlap.sim.jit import kernel

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

THIN = 1e-6
"""Points whose cloud is narrower than this share of its length are taken as one line."""
EXACT = 1e-11
"""Relative difference of upper and lower bound at which the exchange is finished."""
JITTER = 1e-9
"""Move of the points, over half their extent, where a regular grid makes the exchange stall."""
STALLED = 12
"""Exchanges without gain after which the points are moved."""
MOST_EXCHANGES = 400


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


@kernel(fastmath=True)
def _extremes(p1, p2, h, y, r):
    """Residuals about plane y into r; index of the greatest and of the least."""
    n = h.shape[0]
    y0, y1, y2 = y[0], y[1], y[2]
    top = -np.inf
    bottom = np.inf
    for i in range(n):
        r[i] = h[i] - y0 - y1 * p1[i] - y2 * p2[i]
        top = max(top, r[i])
        bottom = min(bottom, r[i])
    high, low = 0, 0
    for i in range(n):
        if r[i] == top:
            high = i
            break
    for i in range(n):
        if r[i] == bottom:
            low = i
            break
    return high, low


@kernel()
def _invert(b, k, inverse):
    """Gauss–Jordan with pivoting of the leading k × k of b (destroyed); False if singular."""
    for i in range(k):
        for j in range(k):
            inverse[i, j] = 1.0 if i == j else 0.0
    for c in range(k):
        p = c
        for i in range(c + 1, k):
            if abs(b[i, c]) > abs(b[p, c]):
                p = i
        if abs(b[p, c]) < 1e-14:
            return False
        if p != c:
            for j in range(k):
                b[p, j], b[c, j] = b[c, j], b[p, j]
                inverse[p, j], inverse[c, j] = inverse[c, j], inverse[p, j]
        f = 1.0 / b[c, c]
        for j in range(k):
            b[c, j] *= f
            inverse[c, j] *= f
        for i in range(k):
            if i != c and b[i, c] != 0.0:
                f = b[i, c]
                for j in range(k):
                    b[i, j] -= f * b[c, j]
                    inverse[i, j] -= f * inverse[c, j]
    return True


@kernel()
def _term(p1, p2, i, row):
    if row == 0:
        return 1.0
    return p1[i] if row == 1 else p2[i]


@kernel()
def _farthest(p1, p2, m, points):
    """Indices of m independent points into points[:m], the first of which is given."""
    if m == 1:
        return
    i0 = points[0]
    best = -1.0
    for i in range(p1.shape[0]):
        d = (p1[i] - p1[i0]) ** 2 + (p2[i] - p2[i0]) ** 2
        if d > best:
            best = d
            points[1] = i
    if m == 2:
        return
    du, dv = p1[points[1]] - p1[i0], p2[points[1]] - p2[i0]
    best = -1.0
    for i in range(p1.shape[0]):
        d = abs(du * (p2[i] - p2[i0]) - dv * (p1[i] - p1[i0]))
        if d > best:
            best = d
            points[2] = i


@kernel()
def _start(p1, p2, m, high, low, points, signs, b, inverse):
    """A first reference: independent points, one more, and the signs that make weights ≥ 0."""
    points[0] = high
    _farthest(p1, p2, m, points)
    last = low
    for _ in range(m):
        for j in range(m):
            if points[j] == last:
                last = (last + 1) % p1.shape[0]
    points[m] = last
    # Express the last point by the others: φ_last = Σ x_j·φ_j; then λ = (x, −1).
    for j in range(m):
        for row in range(m):
            b[row, j] = _term(p1, p2, points[j], row)
    if not _invert(b, m, inverse):
        return False
    for j in range(m):
        x = 0.0
        for row in range(m):
            x += inverse[j, row] * _term(p1, p2, last, row)
        signs[j] = 1.0 if x >= 0.0 else -1.0
    signs[m] = -1.0
    return True


@kernel()
def _exchange(p1, p2, h, m, y, points, signs, weights, r, patience, started):
    """Exchange points until the reference carries the greatest residual; see the module.

    ``y`` (4,) becomes plane and half width; returns 0 when exact, 1 when stalled, 2 when the
    reference is singular.  The weights are those of the dual: Σ w·s·φ = 0, Σ w = 1.
    """
    b = np.empty((4, 4))
    inverse = np.empty((4, 4))
    alpha = np.empty(4)
    k = m + 1
    scale = 0.0
    for i in range(h.shape[0]):
        scale = max(scale, abs(h[i]))
    if not started:
        y[:] = 0.0
        high, low = _extremes(p1, p2, h, y, r)
        if not _start(p1, p2, m, high, low, points, signs, b, inverse):
            return 2
    best = -1.0
    idle = 0
    for _ in range(MOST_EXCHANGES):
        for j in range(k):
            for row in range(m):
                b[row, j] = signs[j] * _term(p1, p2, points[j], row)
            b[m, j] = 1.0
        if not _invert(b, k, inverse):
            return 2
        level = 0.0
        for j in range(k):
            weights[j] = inverse[j, m]
            level += weights[j] * signs[j] * h[points[j]]
        turn = 1.0 if level >= 0.0 else -1.0
        for row in range(m):
            y[row] = 0.0
            for j in range(k):
                y[row] += inverse[j, row] * signs[j] * h[points[j]]
        if turn < 0.0:
            # The same points with all signs turned: the matrix changes sign but for its last row.
            for j in range(k):
                signs[j] = -signs[j]
                for row in range(m):
                    inverse[j, row] = -inverse[j, row]
        level = abs(level)
        y[3] = level
        high, low = _extremes(p1, p2, h, y, r)
        q, s = high, 1.0
        if -r[low] > r[high]:
            q, s = low, -1.0
        if s * r[q] - level <= EXACT * level + 4e-16 * scale:
            return 0
        idle = 0 if level > best * (1.0 + 1e-13) else idle + 1
        best = max(best, level)
        if idle > patience:
            return 1
        least = np.inf
        for j in range(k):
            alpha[j] = inverse[j, m]
            for row in range(m):
                alpha[j] += inverse[j, row] * s * _term(p1, p2, q, row)
            if alpha[j] > 1e-12:
                least = min(least, max(weights[j], 0.0) / alpha[j])
        # Of nearly equal ratios the greatest pivot, so that the reference stays well conditioned.
        leave = -1
        for j in range(k):
            if alpha[j] > 1e-12 and max(weights[j], 0.0) / alpha[j] <= least + 1e-13:
                if leave < 0 or alpha[j] > alpha[leave]:
                    leave = j
        if leave < 0:
            return 2
        points[leave] = q
        signs[leave] = s
    return 1


@kernel()
def _moved(p, m, least_m, factor):
    """The points, each moved by up to JITTER without any pattern; a copy if it is no coordinate."""
    out = p.copy()
    if m >= least_m:
        for i in range(p.shape[0]):
            x = np.sin((i + 1.0) * factor) * 43758.5453
            out[i] += JITTER * (2.0 * (x - np.floor(x)) - 1.0)
    return out


@kernel()
def _zones(p1, p2, heights, m, planes, points, signs, weights, widths, gaps):
    """Minimum zone of every row of heights, on plain points and if need be on moved ones."""
    r = np.empty(heights.shape[1])
    y = np.empty(4)
    for i in range(heights.shape[0]):
        h = heights[i]
        state = _exchange(p1, p2, h, m, y, points[i], signs[i], weights[i], r, STALLED, False)
        if state != 0:
            j1 = _moved(p1, m, 2, 12.9898)
            j2 = _moved(p2, m, 3, 78.2331)
            _exchange(j1, j2, h, m, y, points[i], signs[i], weights[i], r, 10 * STALLED, False)
            _exchange(p1, p2, h, m, y, points[i], signs[i], weights[i], r, STALLED, True)
        high, low = _extremes(p1, p2, h, y, r)
        widths[i] = r[high] - r[low]
        gaps[i] = widths[i] - 2.0 * y[3]
        planes[i, 0] = y[0] + (r[high] + r[low]) / 2.0
        planes[i, 1] = y[1]
        planes[i, 2] = y[2]


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


def _solve(u: Array, v: Array, heights: Array) -> _Solved:
    frame = _frame(u, v)
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
        _zones(frame.p1, frame.p2, rest, frame.m, planes, points, signs, weights, widths, gaps)
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


def minimum_zones(u: ArrayLike, v: ArrayLike, heights: ArrayLike) -> tuple[Array, Array]:
    """As :func:`minimum_zone_widths`, with the middle planes.

    Returns
    -------
    widths (members,) [m]; planes (members, 3): a [m], b, c [-] of h = a + b·u + c·v
    """
    solved = _solve(*_checked(u, v, heights, 2))
    return solved.widths, solved.planes


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


def least_squares_peak_to_valley(
    u: ArrayLike, v: ArrayLike, heights: ArrayLike, weights: ArrayLike | None = None
) -> float:
    """Range of the points about the plane of least squares [m]; never less than the minimum zone.

    Parameters as :func:`least_squares_plane`; points of weight zero count in the range.
    """
    u, v, heights = _checked(u, v, heights, 1)
    a, b, c = least_squares_plane(u, v, heights, weights)
    return float(np.ptp(heights - a - b * u - c * v))
