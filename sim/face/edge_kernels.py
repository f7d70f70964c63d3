"""Compiled kernels of what is laid on a face: a straightedge on its profiles, and the plane it is cut to.

A set of lines is one run of points: ``offsets`` (lines + 1,) says which points belong to which
line, ``position`` (points,) is the distance along it [m] and ``middle`` (lines,) the middle of
the straightedge [m]. What calls them is in :mod:`handlap.sim.face.straightedge` and ``face_numbers.py``.
"""

from __future__ import annotations

import numpy as np

from handlap.sim.common.jit import kernel

REST, LEVEL, TIPPED_START, TIPPED_END = 0, 1, 2, 3


@kernel()
def find_contact(position, z, first, last, middle, held, stack):
    """The points (i, j) of one profile, first <= i <= j < last, that carry the straightedge."""
    if last - first < 2:
        return first, first
    if held == LEVEL:
        slope = (z[last - 1] - z[first]) / (position[last - 1] - position[first])
        best = first
        for k in range(first + 1, last):
            if z[k] - z[best] > slope * (position[k] - position[best]):
                best = k
        return best, best
    n = 0
    for k in range(first, last):
        while n >= 2:
            i, j = stack[n - 2], stack[n - 1]
            turn = (z[j] - z[i]) * (position[k] - position[i]) - (z[k] - z[i]) * (position[j] - position[i])
            if turn > 0.0:
                break
            n -= 1
        stack[n] = k
        n += 1
    edge = 0
    if held == TIPPED_END:
        edge = n - 2
    elif held == REST:
        while edge < n - 2 and position[stack[edge + 1]] < middle:
            edge += 1
    return stack[edge], stack[edge + 1]


@kernel()
def slope_of(position, z, first, last, i, j):
    """Slope of the straightedge over a profile it touches at points i and j."""
    if j > i:
        return (z[j] - z[i]) / (position[j] - position[i])
    if last - first < 2:
        return 0.0
    return (z[last - 1] - z[first]) / (position[last - 1] - position[first])


@kernel()
def batch_gaps(position, offsets, middle, held, heights, gaps, contacts):
    """Fill gaps (members, points) and contacts (members, lines, 2) of heights (members, points)."""
    stack = np.empty(position.shape[0] + 1, dtype=np.int64)
    for m in range(heights.shape[0]):
        z = heights[m]
        for line in range(middle.shape[0]):
            first, last = offsets[line], offsets[line + 1]
            if last == first:
                continue
            i, j = find_contact(position, z, first, last, middle[line], held[line], stack)
            slope = slope_of(position, z, first, last, i, j)
            contacts[m, line, 0] = i
            contacts[m, line, 1] = j
            for k in range(first, last):
                gaps[m, k] = z[i] + slope * (position[k] - position[i]) - z[k]


@kernel()
def batch_worst(position, offsets, middle, length, rocks_below, heights, worst):
    """Fill worst (members, lines): greatest gap at rest, or held level where it rocks."""
    stack = np.empty(position.shape[0] + 1, dtype=np.int64)
    for m in range(heights.shape[0]):
        z = heights[m]
        for line in range(middle.shape[0]):
            first, last = offsets[line], offsets[line + 1]
            worst[m, line] = 0.0
            if last - first < 2:
                continue
            i, j = find_contact(position, z, first, last, middle[line], REST, stack)
            if position[j] - position[i] < rocks_below * length[line]:
                i, j = find_contact(position, z, first, last, middle[line], LEVEL, stack)
            slope = slope_of(position, z, first, last, i, j)
            greatest = 0.0
            for k in range(first, last):
                gap = z[i] + slope * (position[k] - position[i]) - z[k]
                greatest = max(greatest, gap)
            worst[m, line] = greatest


@kernel()
def clearing_depth(u, v, weight, u0, v0, h):
    """Weighted mean of h less its lower convex hull over (u0, v0): dual simplex on planes.

    The plane under the face that leaves the least mean depth above it touches the lower hull
    over the centroid.  Start from a huge, high triangle and let the lowest point in each time.
    """
    n = h.shape[0]
    low, high, reach = h[0], h[0], 0.0
    total, mean = 0.0, 0.0
    for k in range(n):
        low, high = min(low, h[k]), max(high, h[k])
        reach = max(reach, max(abs(u[k] - u0), abs(v[k] - v0)))
        total += weight[k]
        mean += weight[k] * h[k]
    mean /= total
    tolerance = 1e-9 * (high - low) + 1e-15
    big = 4.0 * reach
    pu = np.array([big, -big, 0.0])
    pv = np.array([-big, -big, 1.5 * big])
    ph = np.full(3, high + 1000.0 * (high - low) + 1e-6)
    value = 0.0
    for _ in range(500):
        det = (pu[1] - pu[0]) * (pv[2] - pv[0]) - (pu[2] - pu[0]) * (pv[1] - pv[0])
        a = ((ph[1] - ph[0]) * (pv[2] - pv[0]) - (ph[2] - ph[0]) * (pv[1] - pv[0])) / det
        b = ((pu[1] - pu[0]) * (ph[2] - ph[0]) - (pu[2] - pu[0]) * (ph[1] - ph[0])) / det
        c = ph[0] - a * pu[0] - b * pv[0]
        value = c
        worst, at = -tolerance, -1
        for k in range(n):
            r = h[k] - a * (u[k] - u0) - b * (v[k] - v0) - c
            if r < worst:
                worst, at = r, k
        if at < 0:
            break
        qu, qv = u[at] - u0, v[at] - v0
        # Barycentric coordinates of the origin and of the new point; ratio test.
        leave, ratio = -1, np.inf
        for i in range(3):
            j, k = (i + 1) % 3, (i + 2) % 3
            own = (pu[j] * pv[k] - pu[k] * pv[j]) / det
            new = ((pu[j] - qu) * (pv[k] - qv) - (pu[k] - qu) * (pv[j] - qv)) / det
            if new > 1e-14 and own / new < ratio:
                leave, ratio = i, own / new
        if leave < 0:
            break
        pu[leave], pv[leave], ph[leave] = qu, qv, h[at]
    return mean - value


@kernel()
def batch_clearing_depth(u, v, weight, heights, depth):
    """Fill depth (members,) with :func:`clearing_depth` of heights (members, n)."""
    total = weight.sum()
    # A hair off the centroid, so that it does not sit on an edge of a symmetric face's hull.
    u0 = (weight * u).sum() / total + 1.3e-7 * (u.max() - u.min())
    v0 = (weight * v).sum() / total + 0.7e-7 * (v.max() - v.min())
    for m in range(heights.shape[0]):
        depth[m] = clearing_depth(u, v, weight, u0, v0, heights[m])
