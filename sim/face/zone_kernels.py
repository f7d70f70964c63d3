"""Best plane of Chebyshev by exchange of four points, compiled; see :mod:`handlap.sim.face.flatness`.

A reference is m + 1 points (m terms of a plane) with signs s and weights w ≥ 0 such that
Σ w·s·φ = 0 and Σ w = 1, φ the terms (1, u, v) of a point: no change of the plane can bring all
of them nearer.  Its level Σ w·s·h bounds half the width from below, the greatest residual about
its plane from above; the point with that residual enters, another leaves so that w stays ≥ 0,
until both bounds meet.
"""

from __future__ import annotations

import numpy as np

from handlap.sim.common.jit import kernel

EXACT = 1e-11
"""Relative difference of upper and lower bound at which the exchange is finished."""
JITTER = 1e-9
"""Move of the points, over half their extent, where a regular grid makes the exchange stall."""
STALLED = 12
"""Exchanges without gain after which the points are moved."""
MOST_EXCHANGES = 400


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
def zones(p1, p2, heights, m, planes, points, signs, weights, widths, gaps):
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
