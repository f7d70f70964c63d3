"""The paper's memory: a raster of what each spot of it has cut, read by the face and written by its cuts.

A spot feels the mean of the paper's power over its stroke (:func:`over_stroke`), and what it cuts lies on the
paper in the same shares (:func:`laid_over_stroke`, the adjoint): volume off the face is volume on the paper.
"""

from __future__ import annotations

import numpy as np

from handlap.sim.common.jit import kernel, widest_vectors
from handlap.sim.lapping.column_kernels import (
    P_FLOOR_DULL,
    P_FLOOR_LOAD,
    P_SCALE_DULL,
    P_SCALE_LOAD,
    P_STEP_X,
    P_STEP_Y,
    P_X0,
    P_Y0,
)
from handlap.sim.lapping.pressure_kernels import exp_negative

LEAST_PAPER = 1e-3
"""Least share of a stroke over paper that is believed of a spot: what is cut lies on paper [-]."""


@kernel(fastmath=True)
def place_on_raster(cosine, sine, u, v, half, paper, nx, node, share_i, share_j):
    """Where spots of a part in the middle of its stroke stand on the paper's raster.

    ``node`` (n,) is the lowest of the three by three nodes around a spot, counted through; ``share_i`` and
    ``share_j`` (n,) how far the spot lies beyond the middle one, −½ to ½.
    """
    widest_vectors()
    to_i, to_j = 1.0 / paper[P_STEP_X], 1.0 / paper[P_STEP_Y]
    x0 = -paper[P_X0] * to_i + 0.5
    y0 = -paper[P_Y0] * to_j + 0.5
    c_i, s_i = half * cosine * to_i, half * sine * to_i
    c_j, s_j = half * cosine * to_j, half * sine * to_j
    for i in range(u.shape[0]):
        at_i = x0 + c_i * u[i] - s_i * v[i]
        at_j = y0 + s_j * u[i] + c_j * v[i]
        ni = np.int32(at_i)
        nj = np.int32(at_j)
        share_i[i] = at_i - ni - 0.5
        share_j[i] = at_j - nj - 0.5
        node[i] = (nj - 1) * nx + ni - 1


@kernel(fastmath=True)
def read_paper(field, nx, node, share_i, share_j, read):
    """A field of the paper under every spot, shared between nine nodes by quadratic B-splines.

    Unlike linear shares these blur alike wherever a spot stands between nodes: by a quarter of the square
    of their spacing.
    """
    widest_vectors()
    flat = field.ravel()
    for i in range(read.shape[0]):
        k = node[i]
        a, b = share_i[i], share_j[i]
        left, middle, right = 0.5 * (0.5 - a) * (0.5 - a), 0.75 - a * a, 0.5 * (0.5 + a) * (0.5 + a)
        near = left * flat[k] + middle * flat[k + 1] + right * flat[k + 2]
        k += nx
        between = left * flat[k] + middle * flat[k + 1] + right * flat[k + 2]
        k += nx
        far = left * flat[k] + middle * flat[k + 1] + right * flat[k + 2]
        low, high = 0.5 * (0.5 - b) * (0.5 - b), 0.5 * (0.5 + b) * (0.5 + b)
        read[i] = low * near + (0.75 - b * b) * between + high * far


@kernel(fastmath=True)
def spread_cut(removed, area, node, share_i, share_j, inverse, square, nx, amount, cut):
    """Share out what was cut over the nodes around every spot, over their cutting power.

    It is the adjoint of the reading.
    ``inverse`` is one over the cutting power that was read at the spot, ``square`` what a node stands for
    [m²], ``amount`` is scratch (n,).
    """
    per_node = 1.0 / square
    for i in range(removed.shape[0]):
        amount[i] = removed[i] * area[i] * inverse[i] * per_node
    lay = cut.ravel()
    for i in range(removed.shape[0]):
        k = node[i]
        a, b = share_i[i], share_j[i]
        left = amount[i] * 0.5 * (0.5 - a) * (0.5 - a)
        middle = amount[i] * (0.75 - a * a)
        right = amount[i] * 0.5 * (0.5 + a) * (0.5 + a)
        near, between, far = 0.5 * (0.5 - b) * (0.5 - b), 0.75 - b * b, 0.5 * (0.5 + b) * (0.5 + b)
        lay[k] += left * near
        lay[k + 1] += middle * near
        lay[k + 2] += right * near
        k += nx
        lay[k] += left * between
        lay[k + 1] += middle * between
        lay[k + 2] += right * between
        k += nx
        lay[k] += left * far
        lay[k + 1] += middle * far
        lay[k + 2] += right * far


@kernel()
def over_stroke(field, taps, line, bell_x, bell_y, window, between, half_way, out):
    """What a spot feels of a field (ny, nx) over a stroke that sways: S·field in the window of the spots.

    ``line`` (2,) : half lengths along rows and along columns [nodes] of a stroke that runs along one of
        them, else zeros: then ``taps`` (k, 3) [nodes, nodes, share] say where it goes
    ``window`` (3, 4) : nodes i0, i1, j0, j1 of the spots, grown by the bells, and grown by the path besides
    """
    i0, i1, j0, j1 = window[0]
    a0, a1, b0, b1 = window[1]
    if line[0] > 0.0:
        _box_along(field, line[0], a0, a1, b0, b1, between)
    elif line[1] > 0.0:
        _box_across(field, line[1], a0, a1, b0, b1, half_way, between)
    else:
        _gather(field, taps, a0, a1, b0, b1, between)
    _blur(between, bell_x, True, i0, i1, b0, b1, half_way)
    _blur(half_way, bell_y, False, i0, i1, j0, j1, out)


@kernel()
def laid_over_stroke(field, taps, line, bell_x, bell_y, window, between, half_way, out):
    """The adjoint of :func:`over_stroke`: what lies in the window of the spots, over the stroke.

    ``field`` must be empty outside that window; ``out`` is written in the grown one.
    """
    i0, i1, _, _ = window[0]
    a0, a1, b0, b1 = window[1]
    o0, o1, q0, q1 = window[2]
    reach = bell_x.shape[0] - 1
    _blur(field, bell_y, False, i0, i1, b0, b1, half_way)
    # Both sides are read as far as the bell reaches.
    clear_window(half_way, a0 - reach, i0, b0, b1)
    clear_window(half_way, i1, a1 + reach, b0, b1)
    _blur(half_way, bell_x, True, a0, a1, b0, b1, between)
    if line[0] > 0.0:
        # … and as far as the stroke does.
        far = int(np.floor(line[0] + 0.5)) + 1
        clear_window(between, o0 - far, a0, b0, b1)
        clear_window(between, a1, o1 + far, b0, b1)
        _box_along(between, line[0], o0, o1, b0, b1, out)
    elif line[1] > 0.0:
        far = int(np.floor(line[1] + 0.5)) + 1
        clear_window(between, a0, a1, q0 - far, b0)
        clear_window(between, a0, a1, b1, q1 + far)
        _box_across(between, line[1], a0, a1, q0, q1, half_way, out)
    else:
        clear_window(out, o0, o1, q0, q1)
        _scatter(between, taps, a0, a1, b0, b1, out)


@kernel()
def windows_of(cosine, sine, u_max, v_max, half, paper, taps, line, bell_x, bell_y, window):
    """Nodes that a standing reaches, see :func:`over_stroke`."""
    reach_x = half * (abs(cosine) * u_max + abs(sine) * v_max)
    reach_y = half * (abs(sine) * u_max + abs(cosine) * v_max)
    to_i, to_j = 1.0 / paper[P_STEP_X], 1.0 / paper[P_STEP_Y]
    window[0, 0] = int(np.floor((-reach_x - paper[P_X0]) * to_i + 0.5)) - 1
    window[0, 1] = int(np.floor((reach_x - paper[P_X0]) * to_i + 0.5)) + 2
    window[0, 2] = int(np.floor((-reach_y - paper[P_Y0]) * to_j + 0.5)) - 1
    window[0, 3] = int(np.floor((reach_y - paper[P_Y0]) * to_j + 0.5)) + 2
    for k in range(4):
        b = (bell_x.shape[0] if k < 2 else bell_y.shape[0]) - 1
        window[1, k] = window[0, k] + (-b if k % 2 == 0 else b)
        far = int(np.floor(line[k // 2] + 0.5))
        for t in range(taps.shape[0]):
            far = max(far, int(abs(taps[t, k // 2])))
        window[2, k] = window[1, k] + (-far if k % 2 == 0 else far)


@kernel(fastmath=True)
def _box_along(field, reach, i0, i1, j0, j1, out):
    """Mean of a field over ± ``reach`` nodes along its rows, for the nodes of a window, by running sums.

    The field must hold zeros, or what counts, as far as that reaches beyond the window.
    """
    m = int(np.floor(reach - 0.5))
    part = reach - 0.5 - m
    each = 0.5 / reach
    for j in range(j0, j1):
        row = field[j, i0 - m - 1 : i1 + m + 1]
        to = out[j, i0:i1]
        total = 0.0
        for k in range(1, 2 * m + 2):
            total += row[k]
        for i in range(i1 - i0):
            to[i] = each * (total + part * (row[i] + row[i + 2 * m + 2]))
            total += row[i + 2 * m + 2] - row[i + 1]


@kernel(fastmath=True)
def _box_across(field, reach, i0, i1, j0, j1, total, out):
    """The same along its columns; ``total`` (1, nx or more) is scratch."""
    widest_vectors()
    m = int(np.floor(reach - 0.5))
    part = reach - 0.5 - m
    each = 0.5 / reach
    run = total[0, i0:i1]
    run[:] = 0.0
    for j in range(j0 - m, j0 + m + 1):
        row = field[j, i0:i1]
        for i in range(i1 - i0):
            run[i] += row[i]
    for j in range(j0, j1):
        to = out[j, i0:i1]
        before, after = field[j - m - 1, i0:i1], field[j + m + 1, i0:i1]
        for i in range(i1 - i0):
            to[i] = each * (run[i] + part * (before[i] + after[i]))
        leaving = field[j - m, i0:i1]
        for i in range(i1 - i0):
            run[i] += after[i] - leaving[i]


@kernel(fastmath=True)
def _gather(field, taps, i0, i1, j0, j1, out):
    """Sum of a field (ny, nx) over ``taps`` (k, 3), places and weights, around every node of a window."""
    widest_vectors()
    n = i1 - i0
    fours = taps.shape[0] - taps.shape[0] % 4
    for j in range(j0, j1):
        to = out[j, i0:i1]
        to[:] = 0.0
        # Four at a time: what is summed is read and written a quarter as often.
        for k in range(0, fours, 4):
            a, b = i0 + int(taps[k, 0]), i0 + int(taps[k + 1, 0])
            c, d = i0 + int(taps[k + 2, 0]), i0 + int(taps[k + 3, 0])
            one = field[j + int(taps[k, 1]), a : a + n]
            two = field[j + int(taps[k + 1, 1]), b : b + n]
            three = field[j + int(taps[k + 2, 1]), c : c + n]
            four = field[j + int(taps[k + 3, 1]), d : d + n]
            p, q, r, s = taps[k, 2], taps[k + 1, 2], taps[k + 2, 2], taps[k + 3, 2]
            for i in range(n):
                to[i] += p * one[i] + q * two[i] + r * three[i] + s * four[i]
        for k in range(fours, taps.shape[0]):
            a = i0 + int(taps[k, 0])
            p = taps[k, 2]
            one = field[j + int(taps[k, 1]), a : a + n]
            for i in range(n):
                to[i] += p * one[i]


@kernel(fastmath=True)
def _scatter(field, taps, i0, i1, j0, j1, out):
    """The adjoint of :func:`_gather`: what lies in a window is spread over the taps, added to ``out``."""
    widest_vectors()
    for j in range(j0, j1):
        row = field[j, i0:i1]
        for k in range(taps.shape[0]):
            a = i0 + int(taps[k, 0])
            w = taps[k, 2]
            to = out[j + int(taps[k, 1]), a : a + i1 - i0]
            for i in range(i1 - i0):
                to[i] += w * row[i]


@kernel(fastmath=True)
def _blur(field, bell, along_i, i0, i1, j0, j1, out):
    """Weighted sum of a field over ``bell`` (b + 1,), on either side, along one axis, for a window of nodes.

    The bell is even, so that this is its own adjoint.
    """
    widest_vectors()
    for j in range(j0, j1):
        to = out[j, i0:i1]
        row = field[j, i0:i1]
        for i in range(i1 - i0):
            to[i] = bell[0] * row[i]
        for k in range(1, bell.shape[0]):
            w = bell[k]
            low = field[j, i0 - k : i1 - k] if along_i else field[j - k, i0:i1]
            high = field[j, i0 + k : i1 + k] if along_i else field[j + k, i0:i1]
            for i in range(i1 - i0):
                to[i] += w * (low[i] + high[i])


@kernel(fastmath=True)
def clear_window(field, i0, i1, j0, j1):
    """Empty a window of a field."""
    widest_vectors()
    for j in range(j0, j1):
        for i in range(i0, i1):
            field[j, i] = 0.0


@kernel(fastmath=True)
def times_in_window(field, other, i0, i1, j0, j1):
    """Multiply a field by another in a window, in place."""
    widest_vectors()
    for j in range(j0, j1):
        for i in range(i0, i1):
            field[j, i] *= other[j, i]


@kernel(fastmath=True)
def dot_in_window(one, other, i0, i1, j0, j1):
    """Sum of the products of two fields in a window."""
    widest_vectors()
    total = 0.0
    for j in range(j0, j1):
        a = one[j, i0:i1]
        b = other[j, i0:i1]
        for i in range(i1 - i0):
            total += a[i] * b[i]
    return total


@kernel(fastmath=True)
def paper_factor(load, dull, paper, i0, i1, j0, j1, dose, longer, factor, clean, sharp):
    """Cutting power of the paper, fresh = 1, in a window of nodes, halfway through a step.

    ``dose`` (ny, nx) is what fresh paper would have cut there in the step before of the same kind [m],
    which this one is so many times ``longer`` than.  The half step is taken with the power's own fall (a
    linearly implicit midpoint): second order, and it does not overshoot where a step ages paper by several
    scales.  What is left of a clean and a sharp paper then is left in ``clean`` and ``sharp`` (1 to 0).
    """
    widest_vectors()
    fl = paper[P_FLOOR_LOAD]
    fd = paper[P_FLOOR_DULL]
    to_load = 1.0 / paper[P_SCALE_LOAD]
    to_dull = 1.0 / paper[P_SCALE_DULL]
    # Rows of few arrays at a time: the compiler makes sure that none overlap only of so many.
    for j in range(j0, j1):
        loaded, blunt, used = load[j, i0:i1], dull[j, i0:i1], dose[j, i0:i1]
        cleans, sharps, power = clean[j, i0:i1], sharp[j, i0:i1], factor[j, i0:i1]
        for i in range(i1 - i0):
            cleans[i] = exp_negative(loaded[i] * to_load)
        for i in range(i1 - i0):
            sharps[i] = exp_negative(blunt[i] * to_dull)
        for i in range(i1 - i0):
            ql = cleans[i]
            qd = sharps[i]
            by_load = fl + (1.0 - fl) * ql
            by_dull = fd + (1.0 - fd) * qd
            fall = by_load * (1.0 - fd) * qd * to_dull + by_dull * (1.0 - fl) * ql * to_load
            half_use = 0.5 * longer * used[i]
            power[i] = half_use * by_load * by_dull / (1.0 + half_use * fall)
        for i in range(i1 - i0):
            cleans[i] *= exp_negative(power[i] * to_load)
        for i in range(i1 - i0):
            sharps[i] *= exp_negative(power[i] * to_dull)
        for i in range(i1 - i0):
            power[i] = (fl + (1.0 - fl) * cleans[i]) * (fd + (1.0 - fd) * sharps[i])


@kernel(fastmath=True)
def where_papered(read, papered, floor, met_of):
    """From the mean of a stroke (n,) to that over what of it has paper, ``papered``; the first is left in
    ``met_of``."""
    widest_vectors()
    for i in range(read.shape[0]):
        met_of[i] = read[i]
        read[i] = max(read[i] / papered[i], floor)


@kernel(fastmath=True)
def cut_off_paper(removed, area, met_of, least, inverse):
    """What was cut in all, area by depth (cells,), and the depths of cells whose stroke meets less paper than
    ``least``; one over what it meets is left in ``inverse``."""
    widest_vectors()
    off = strayed = 0.0
    for i in range(removed.shape[0]):
        inverse[i] = 1.0 / max(met_of[i], least)
        off += removed[i] * area[i]
        strayed += removed[i] if met_of[i] < least else 0.0
    return off, strayed


@kernel(fastmath=True)
def deposit(load, dull, dose, factor, i0, i1, j0, j1):
    """Lay what was cut on the nodes that cut it, each by its share of the cutting: per area of paper [m].

    Leaves what was laid in ``factor``.
    """
    widest_vectors()
    for j in range(j0, j1):
        used, metal = dose[j, i0:i1], factor[j, i0:i1]
        loaded, blunt = load[j, i0:i1], dull[j, i0:i1]
        for i in range(i1 - i0):
            metal[i] *= used[i]
        for i in range(i1 - i0):
            loaded[i] += metal[i]
        for i in range(i1 - i0):
            blunt[i] += metal[i]
