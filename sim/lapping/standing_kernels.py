"""Where a part stands on plate and paper: what lies under it, and whether it can stand there."""

from __future__ import annotations

import numpy as np

from handlap.sim.common.jit import kernel, widest_vectors
from handlap.sim.lapping.column_kernels import COS, EU, EU_STEADY, EV, EV_STEADY, SIN, X, Y
from handlap.sim.lapping.pose_kernels import reach_of

ON_PAPER = 0.4999
"""Share of a cell that has paper from which the cell counts as standing on it."""
ROUNDING_OF_PLACES = 1e-9
"""Places closer than this, over the half length, differ by rounding alone."""


@kernel(fastmath=True)
def read_ground(pose, u, v, half, frame, ground, over):
    """Height of plate and paper (n,) under every point, bilinear, carried on level beyond the raster."""
    widest_vectors()
    ny, nx = ground.shape
    flat = ground.ravel()
    to_node = 1.0 / frame[2]
    x0 = (pose[X] - frame[0]) * to_node
    y0 = (pose[Y] - frame[1]) * to_node
    c = half * pose[COS] * to_node
    s = half * pose[SIN] * to_node
    for i in range(u.shape[0]):
        a = min(max(x0 + c * u[i] - s * v[i], 0.0), nx - 1.000001)
        b = min(max(y0 + s * u[i] + c * v[i], 0.0), ny - 1.000001)
        ni = np.int32(a)
        nj = np.int32(b)
        k = nj * nx + ni
        low = flat[k] + (a - ni) * (flat[k + 1] - flat[k])
        high = flat[k + nx] + (a - ni) * (flat[k + nx + 1] - flat[k + nx])
        over[i] = low + (b - nj) * (high - low)


@kernel()
def all_on_paper(pose, u_max, v_max, half, strips):
    """Whether the whole bounding box of the face lies on one strip."""
    for s in range(strips.shape[0]):
        inside = True
        for a in (-1.0, 1.0):
            for b in (-1.0, 1.0):
                x = pose[X] + half * (pose[COS] * a * u_max - pose[SIN] * b * v_max)
                y = pose[Y] + half * (pose[SIN] * a * u_max + pose[COS] * b * v_max)
                if x < strips[s, 0] or x > strips[s, 2] or y < strips[s, 1] or y > strips[s, 3]:
                    inside = False
        if inside:
            return True
    return False


@kernel(fastmath=True)
def coverage(pose, u, v, half, cell, strips, cover):
    """Share of a cell about every point (n,) that lies on paper: ramps one cell wide at every edge."""
    widest_vectors()
    per = 1.0 / cell
    c, s = half * pose[COS] * per, half * pose[SIN] * per
    for i in range(u.shape[0]):
        cover[i] = 0.0
    for k in range(strips.shape[0]):
        left, right = (pose[X] - strips[k, 0]) * per, (strips[k, 2] - pose[X]) * per
        near, far = (pose[Y] - strips[k, 1]) * per, (strips[k, 3] - pose[Y]) * per
        for i in range(u.shape[0]):
            x, y = c * u[i] - s * v[i], s * u[i] + c * v[i]
            along = min(max(left + x + 0.5, 0.0), 1.0) + min(max(right - x + 0.5, 0.0), 1.0) - 1.0
            across = min(max(near + y + 0.5, 0.0), 1.0) + min(max(far - y + 0.5, 0.0), 1.0) - 1.0
            cover[i] += max(along, 0.0) * max(across, 0.0)
    for i in range(u.shape[0]):
        cover[i] = min(cover[i], 1.0)


@kernel()
def hold_in_room(pose, hull, rooms, centre):
    """Hold the resultant of a pose in the hull less a cell; 1 if it had left it.

    hull (k, 2) : outward normals; rooms (k,) : how far it may go along them from ``centre`` (2,), all over
        the half length
    """
    share = 1.0
    du, dv = pose[EU] - centre[0], pose[EV] - centre[1]
    for k in range(hull.shape[0]):
        want = hull[k, 0] * du + hull[k, 1] * dv
        if want > rooms[k]:
            share = min(share, rooms[k] / want)
    pose[EU] = centre[0] + share * du
    pose[EV] = centre[1] + share * dv
    return 1 if share < 1.0 else 0


@kernel()
def lay_in_columns(u, v, upright, begins):
    """Leave the cells (cells,) in ``upright`` column by column from the left, in each upwards; returns how
    many columns, which begin at ``begins`` (cells + 1,).

    What differs by rounding alone is in one column.
    """
    order = np.argsort(u)
    key = np.empty(u.shape[0])
    high = 4.0 * max(reach_of(v), ROUNDING_OF_PLACES)
    found = 0
    begins[0] = 0
    for j in range(order.shape[0]):
        if j > 0 and u[order[j]] - u[order[j - 1]] > ROUNDING_OF_PLACES:
            found += 1
            begins[found] = j
        key[order[j]] = found + v[order[j]] / high
    upright[:] = np.argsort(key)
    begins[found + 1] = order.shape[0]
    return found + 1


@kernel()
def ends_on_paper(cover, upright, begins, ends):
    """Leave the lowest and the highest cell of every column that stand on paper in ``ends`` (2, columns), −1
    for none: most columns are on paper at both ends, so that few cells are looked at."""
    for k in range(ends.shape[1]):
        ends[0, k] = -1
        ends[1, k] = -1
        for j in range(begins[k], begins[k + 1]):
            if cover[upright[j]] >= ON_PAPER:
                ends[0, k] = upright[j]
                break
        if ends[0, k] >= 0:
            j = begins[k + 1] - 1
            while cover[upright[j]] < ON_PAPER:
                j -= 1
            ends[1, k] = upright[j]


@kernel(fastmath=True)
def _covered(u, v, area, cover):
    """Area (cells,) that is on paper, and its moments along u and v."""
    widest_vectors()
    total = cu = cv = 0.0
    for i in range(area.shape[0]):
        a = area[i] * cover[i]
        total += a
        cu += a * u[i]
        cv += a * v[i]
    return total, cu, cv


@kernel()
def hull_corners(u, v, ends, corners):
    """Corners of the convex hull of cells, anticlockwise; returns how many: 2 where all lie on one line.

    By the monotone chain of Andrew (Information Processing Letters 9, 1979), from left to right along the
    lower side and back along the upper one.

    ends (2, columns) : numbers of the lowest and of the highest cell of every column, −1 for none
    corners (2·columns + 1,) : numbers of cells, left here
    """
    found = 0
    columns = ends.shape[1]
    for side in range(2):
        first = max(found - 1, 0)
        for j in range(columns):
            i = ends[side, j if side == 0 else columns - 1 - j]
            if i < 0 or (found > first and corners[found - 1] == i):
                continue
            while found > first + 1:
                a, b = corners[found - 2], corners[found - 1]
                if (u[b] - u[a]) * (v[i] - v[a]) > (v[b] - v[a]) * (u[i] - u[a]):
                    break
                found -= 1
            corners[found] = i
            found += 1
    return found - 1 if found > 1 and corners[found - 1] == corners[0] else found


@kernel()
def _side(u, v, corners, n, k):
    """Outward normal (2) of side ``k`` of a hull of ``n`` corners, and how far the hull reaches along it.

    Of two corners sides 2 and 3 are the ends.
    """
    at, to = corners[k % n], corners[(k + 1) % n]
    du, dv = u[to] - u[at], v[to] - v[at]
    length = max(np.sqrt(du * du + dv * dv), 1e-300)
    nu, nv = dv / length, -du / length
    if n == 2 and k >= 2:
        nu, nv = -du / length, -dv / length
    return nu, nv, nu * u[at] + nv * v[at]


@kernel()
def into_hull(pose, u, v, area, cover, upright, begins, ends, corners, margin):
    """Move the resultant of a pose into the hull of what is on paper, shrunk by ``margin``, a cell.

    Only cells count, which end half a cell beyond their middles: points that are merely followed must
    not change the lap.  What is on paper need not be of one piece, nor its hull look like that of the
    face.  The resultant moves towards the middle of the area (cells,) that is on paper, where there is
    always a pose.  Returns 1 if the wobble carried it outside, 2 if its mean lies outside, 3 if nothing is
    on paper.  ``upright`` and ``begins``: see :func:`lay_in_columns`; ``ends`` and ``corners`` are scratch,
    see :func:`hull_corners`.
    """
    total, cu, cv = _covered(u, v, area, cover)
    if total <= 0.0:
        return 3
    cu /= total
    cv /= total
    ends_on_paper(cover, upright, begins, ends)
    n = hull_corners(u, v, ends, corners)
    if n < 2:
        # On one cell, or on slivers of cells, nothing stands.
        away = 1e300 if n == 0 else np.hypot(pose[EU_STEADY] - u[corners[0]], pose[EV_STEADY] - v[corners[0]])
        pose[EU] = cu
        pose[EV] = cv
        return 2 if away > 0.5 * margin else 1
    share = 1.0
    outside = 0
    # Cells on one line have two sides and two ends.
    for k in range(4 if n == 2 else n):
        nu, nv, support = _side(u, v, corners, n, k)
        centre = nu * cu + nv * cv
        if centre > support:
            # Many cells with little paper each draw the middle off those that stand on it.
            share = 0.0
        support += 0.5 * margin
        room = max(support - margin - centre, 0.0)
        if nu * pose[EU_STEADY] + nv * pose[EV_STEADY] > support:
            outside = 2
        want = nu * pose[EU] + nv * pose[EV] - centre
        if want > room:
            share = min(share, room / want)
            outside = max(outside, 1)
    pose[EU] = cu + share * (pose[EU] - cu)
    pose[EV] = cv + share * (pose[EV] - cv)
    return outside if share == 1.0 else max(outside, 1)
