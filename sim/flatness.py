"""Flatness of a set of points: exact minimum zone, least-squares peak to valley.

The minimum zone is the thinnest slab *near the nominal normal* that holds all points
(ISO 1101, ISO 12781); thickness is counted along the heights.  At the slopes of a lapped face
(1e-4) that differs from the distance square to the slab by parts in 1e8.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from handlap.sim.jit import kernel
from handlap.sim.outline import Array

MAX_EXCHANGES = 2000
JITTER = 1e-9
"""Points are moved by this share of the extent, so that no three on a grid stand in line."""


@kernel()
def _solve4(matrix, right, out):
    """Solve a 4×4 system by elimination with pivoting; returns False when it is singular."""
    a = matrix.copy()
    b = right.copy()
    for k in range(4):
        p = k
        for r in range(k + 1, 4):
            if abs(a[r, k]) > abs(a[p, k]):
                p = r
        if abs(a[p, k]) < 1e-300:
            return False
        if p != k:
            for c in range(4):
                a[k, c], a[p, c] = a[p, c], a[k, c]
            b[k], b[p] = b[p], b[k]
        for r in range(k + 1, 4):
            f = a[r, k] / a[k, k]
            for c in range(k, 4):
                a[r, c] -= f * a[k, c]
            b[r] -= f * b[k]
    for k in range(3, -1, -1):
        s = b[k]
        for c in range(k + 1, 4):
            s -= a[k, c] * out[c]
        out[k] = s / a[k, k]
    return True


@kernel(fastmath=True)
def _farthest(u, v, h, a, b, c):
    """Indices of the highest and the lowest residual over the plane a + b·u + c·v."""
    high = -1e300
    low = 1e300
    for i in range(h.shape[0]):
        r = h[i] - a - b * u[i] - c * v[i]
        high = max(high, r)
        low = min(low, r)
    i_high = 0
    i_low = 0
    for i in range(h.shape[0]):
        r = h[i] - a - b * u[i] - c * v[i]
        if r == high:
            i_high = i
        if r == low:
            i_low = i
    return i_high, i_low


@kernel()
def _start(u, v, basis):
    """Four points that span the set: three corners of a wide triangle and one inside it."""
    n = u.shape[0]
    basis[0] = np.argmin(u + 0.37 * v)
    best = -1.0
    for i in range(n):
        d = (u[i] - u[basis[0]]) ** 2 + (v[i] - v[basis[0]]) ** 2
        if d > best:
            best = d
            basis[1] = i
    best = -1.0
    for i in range(n):
        d = abs(
            (u[basis[1]] - u[basis[0]]) * (v[i] - v[basis[0]])
            - (v[basis[1]] - v[basis[0]]) * (u[i] - u[basis[0]])
        )
        if d > best:
            best = d
            basis[2] = i
    flat = best
    mu = (u[basis[0]] + u[basis[1]] + u[basis[2]]) / 3.0
    mv = (v[basis[0]] + v[basis[1]] + v[basis[2]]) / 3.0
    best = 1e300
    basis[3] = -1
    for i in range(n):
        if i != basis[0] and i != basis[1] and i != basis[2]:
            d = (u[i] - mu) ** 2 + (v[i] - mv) ** 2
            if d < best:
                best = d
                basis[3] = i
    return flat


@kernel()
def _zone(u, v, h, plane, basis, signs):
    """Chebyshev plane by exchanges of one point in a reference of four (dual simplex).

    Returns half the zone's width, or −1 if it did not finish.
    """
    if _start(u, v, basis) < 1e-12 or basis[3] < 0:
        return -2.0
    columns = np.empty((4, 4))
    rows = np.empty((4, 4))
    unit = np.array([0.0, 0.0, 0.0, 1.0])
    y = np.empty(4)
    d = np.empty(4)
    solution = np.empty(4)
    heights = np.empty(4)
    entering = np.empty(4)
    # Signs of the first reference: those of the dependency among its four points.
    for i in range(4):
        columns[0, i] = 1.0
        columns[1, i] = u[basis[i]]
        columns[2, i] = v[basis[i]]
        columns[3, i] = 1.0 if i == 3 else 0.0
    if not _solve4(columns, unit, y):
        return -1.0
    for i in range(4):
        signs[i] = 1.0 if y[i] >= 0.0 else -1.0
    lean = 0.0
    for i in range(4):
        lean += y[i] * h[basis[i]]
    if lean < 0.0:
        for i in range(4):
            signs[i] = -signs[i]
    for _ in range(MAX_EXCHANGES):
        for i in range(4):
            k = basis[i]
            rows[i, 0] = 1.0
            rows[i, 1] = u[k]
            rows[i, 2] = v[k]
            rows[i, 3] = signs[i]
            heights[i] = h[k]
        if not _solve4(rows, heights, solution):
            return -1.0
        plane[0] = solution[0]
        plane[1] = solution[1]
        plane[2] = solution[2]
        half = solution[3]
        i_high, i_low = _farthest(u, v, h, plane[0], plane[1], plane[2])
        above = h[i_high] - plane[0] - plane[1] * u[i_high] - plane[2] * v[i_high]
        below = plane[0] + plane[1] * u[i_low] + plane[2] * v[i_low] - h[i_low]
        enter = i_high if above >= below else i_low
        sign = 1.0 if above >= below else -1.0
        worst = max(above, below)
        if worst <= half * (1.0 + 1e-12) + 1e-18:
            return half
        for i in range(4):
            k = basis[i]
            columns[0, i] = signs[i]
            columns[1, i] = signs[i] * u[k]
            columns[2, i] = signs[i] * v[k]
            columns[3, i] = 1.0
        entering[0] = sign
        entering[1] = sign * u[enter]
        entering[2] = sign * v[enter]
        entering[3] = 1.0
        if not (_solve4(columns, unit, y) and _solve4(columns, entering, d)):
            return -1.0
        leave = -1
        ratio = 1e300
        for i in range(4):
            if d[i] > 1e-14 and max(y[i], 0.0) / d[i] < ratio:
                ratio = max(y[i], 0.0) / d[i]
                leave = i
        if leave < 0:
            return -1.0
        basis[leave] = enter
        signs[leave] = sign
    return -1.0


@kernel()
def _zones(u, v, jitter, heights, halves, planes, bases, signs):
    """Zones of many faces; found on jittered places, then settled on the true ones."""
    rows = np.empty((4, 4))
    right = np.empty(4)
    solution = np.empty(4)
    ju = u + jitter[0]
    jv = v + jitter[1]
    for m in range(heights.shape[0]):
        halves[m] = _zone(ju, jv, heights[m], planes[m], bases[m], signs[m])
        if halves[m] <= 0.0:
            continue
        for i in range(4):
            k = bases[m, i]
            rows[i, 0] = 1.0
            rows[i, 1] = u[k]
            rows[i, 2] = v[k]
            rows[i, 3] = signs[m, i]
            right[i] = heights[m, k]
        # With three contacts in line the true reference is singular: the jittered one stands.
        if _solve4(rows, right, solution) and abs(solution[3] - halves[m]) < 1e-6 * halves[m]:
            halves[m] = solution[3]
            planes[m] = solution[:3]


@dataclass(frozen=True)
class MinimumZone:
    """The thinnest slab near the nominal normal that holds all points.

    Attributes
    ----------
    width : its thickness [m]
    plane : middle plane a + b·u + c·v as (a, b, c) [m, -, -]
    contacts : indices of the points that hold it, two to four [-]
    high : which of them touch the upper side
    """

    width: float
    plane: tuple[float, float, float]
    contacts: tuple[int, ...]
    high: tuple[bool, ...]


def _prepared(u: ArrayLike, v: ArrayLike, heights: ArrayLike) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Scaled places, their jitter, heights with their plane taken off, planes, centre and scale."""
    pu, pv = np.asarray(u, dtype=float), np.asarray(v, dtype=float)
    h = np.atleast_2d(np.asarray(heights, dtype=float))
    if pu.ndim != 1 or pu.shape != pv.shape or h.shape[1] != pu.size:
        raise ValueError(f"places {pu.shape}, {pv.shape} and heights {h.shape} do not belong together")
    if pu.size < 3:
        raise ValueError("flatness needs three points or more")
    centre = np.array([pu.mean(), pv.mean()])
    scale = max(float(np.ptp(pu)), float(np.ptp(pv)), 1e-300)
    jitter = JITTER * np.random.default_rng(12345).uniform(-1.0, 1.0, (2, pu.size))
    su, sv = (pu - centre[0]) / scale, (pv - centre[1]) / scale
    basis = np.column_stack([np.ones_like(su), su, sv])
    planes = np.linalg.lstsq(basis, h.T, rcond=None)[0]
    return su, sv, jitter, np.ascontiguousarray(h - (basis @ planes).T), planes.T, np.array([*centre, scale])


def _solve(u: ArrayLike, v: ArrayLike, heights: ArrayLike) -> tuple[Array, Array, NDArray[np.int64], Array, Array]:
    su, sv, jitter, h, planes, frame = _prepared(u, v, heights)
    count = h.shape[0]
    halves, tilt = np.zeros(count), np.zeros((count, 3))
    bases, signs = np.zeros((count, 4), dtype=np.int64), np.zeros((count, 4))
    if su.size == 3:
        return halves, planes, np.tile(np.array([0, 1, 2, 2]), (count, 1)), signs, frame
    _zones(su, sv, jitter, h, halves, tilt, bases, signs)
    if np.any(halves < 0.0):
        if np.any(halves == -2.0):
            raise ValueError("flatness needs points that do not all lie on one line")
        raise ArithmeticError("the minimum zone did not settle")
    return halves, planes + tilt, bases, signs, frame


def minimum_zone(u: ArrayLike, v: ArrayLike, h: ArrayLike) -> MinimumZone:
    """Exact minimum zone of points (u, v) with heights h, all (n,) [m].

    >>> minimum_zone([0, 1, 0, 1], [0, 0, 1, 1], [1.0, 0.0, 0.0, 1.0]).width
    1.0

    Raises
    ------
    ValueError : for fewer than three points, or points on one line
    """
    halves, planes, bases, signs, (cu, cv, scale) = _solve(u, v, h)
    a, b, c = planes[0]
    plane = (float(a - b * cu / scale - c * cv / scale), float(b / scale), float(c / scale))
    return MinimumZone(
        2.0 * float(halves[0]), plane, tuple(int(i) for i in bases[0]), tuple(bool(s > 0) for s in signs[0])
    )


def minimum_zone_widths(u: ArrayLike, v: ArrayLike, heights: ArrayLike) -> Array:
    """Minimum zones (members,) of many faces (members, n) on the same points (n,) [m]."""
    return 2.0 * _solve(u, v, heights)[0]


def least_squares_plane(
    u: ArrayLike, v: ArrayLike, h: ArrayLike, weight: ArrayLike | None = None
) -> tuple[float, float, float]:
    """Plane a + b·u + c·v that fits heights (n,) best, points weighted by ``weight`` (n,)."""
    pu, pv, ph = (np.asarray(x, dtype=float) for x in (u, v, h))
    root = np.ones_like(pu) if weight is None else np.sqrt(np.asarray(weight, dtype=float))
    basis = np.column_stack([np.ones_like(pu), pu, pv])
    a, b, c = np.linalg.lstsq(basis * root[:, None], ph * root, rcond=None)[0]
    return float(a), float(b), float(c)


def least_squares_peak_to_valley(
    u: ArrayLike, v: ArrayLike, h: ArrayLike, weight: ArrayLike | None = None
) -> float:
    """Range of heights (n,) about their least-squares plane [m]; never below the minimum zone."""
    a, b, c = least_squares_plane(u, v, h, weight)
    return float(np.ptp(np.asarray(h) - a - b * np.asarray(u) - c * np.asarray(v)))
