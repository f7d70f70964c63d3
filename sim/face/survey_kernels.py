"""Compiled kernels of the survey: a straightedge on profiles, and the sampler of faces.

They stand in one file because the sampler calls the straightedge (see :mod:`handlap.sim.common.jit`).
The public functions around them are in :mod:`handlap.sim.face.straightedge` and
:mod:`handlap.sim.face.survey_sampler`.

A set of lines is one run of points: ``offsets`` (lines + 1,) says which points belong to which
line, ``position`` (points,) is the distance along it [m] and ``middle`` (lines,) the middle of
the straightedge [m].
"""

from __future__ import annotations

import math

import numpy as np

from handlap.sim.common.jit import kernel

REST, LEVEL, TIPPED_START, TIPPED_END = 0, 1, 2, 3

NOTHING_GOES = -1.0
"""Lower bound that stands for "no leaf goes under" [m]."""

OUTLIER_SHARE = 0.005
OUTLIER_DENSITY = 0.05


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


# ---------------------------------------------------------------- the sampler of faces


@kernel(fastmath=True)
def _rows_times(matrix, x, out):
    for i in range(matrix.shape[0]):
        total = 0.0
        for k in range(matrix.shape[1]):
            total += matrix[i, k] * x[k]
        out[i] = total


@kernel(fastmath=True)
def _columns_times(matrix, x, out):
    out[:] = 0.0
    for i in range(matrix.shape[0]):
        if x[i] != 0.0:
            for k in range(matrix.shape[1]):
                out[k] += x[i] * matrix[i, k]


@kernel(fastmath=True)
def _dot(a, b):
    total = 0.0
    for k in range(a.shape[0]):
        total += a[k] * b[k]
    return total


@kernel(fastmath=True)
def _factor(jacobian, omega, chol):
    """Lower Cholesky factor (m, m) of J·Jᵀ + diag(omega)."""
    m = jacobian.shape[0]
    for i in range(m):
        for j in range(i + 1):
            chol[i, j] = _dot(jacobian[i], jacobian[j])
        chol[i, i] += omega[i]
    for i in range(m):
        for j in range(i + 1):
            total = chol[i, j]
            for k in range(j):
                total -= chol[i, k] * chol[j, k]
            if i == j:
                chol[i, i] = math.sqrt(max(total, 1e-30))
            else:
                chol[i, j] = total / chol[j, j]


@kernel(fastmath=True)
def _solve(chol, x):
    """x becomes (L·Lᵀ)⁻¹·x."""
    m = x.shape[0]
    for i in range(m):
        total = x[i]
        for k in range(i):
            total -= chol[i, k] * x[k]
        x[i] = total / chol[i, i]
    for i in range(m - 1, -1, -1):
        x[i] /= chol[i, i]
        for k in range(i):
            x[k] -= chol[i, k] * x[i]


@kernel()
def normal_cdf(x):
    """Standard normal distribution function of a number."""
    return 0.5 * math.erfc(-x * 0.7071067811865476)


@kernel()
def station_chance(gap, lo, hi, s):
    """Chance that the leaves read [lo, hi] at a true gap, outliers left out."""
    chance = normal_cdf((hi - gap) / s)
    if lo > 0.0:
        chance -= normal_cdf((lo - gap) / s)
    return max(chance, 0.0)


@kernel()
def log_likelihood(c, phi, edge, position, offsets, middle, held, point, line, lo, hi, s, z, ij, gap, stack):
    """ln L of the readings given coefficients c; fills heights z, contacts ij and gaps."""
    _rows_times(phi, c, z)
    for k in range(z.shape[0]):
        z[k] -= edge[k]
    for n in range(middle.shape[0]):
        i, j = find_contact(position, z, offsets[n], offsets[n + 1], middle[n], held[n], stack)
        ij[n, 0] = i
        ij[n, 1] = j
    total = 0.0
    for k in range(point.shape[0]):
        n = line[k]
        i = ij[n, 0]
        slope = slope_of(position, z, offsets[n], offsets[n + 1], i, ij[n, 1])
        gap[k] = z[i] + slope * (position[point[k]] - position[i]) - z[point[k]]
        chance = station_chance(gap[k], lo[k], hi[k], s)
        total += math.log((1.0 - OUTLIER_SHARE) * chance + OUTLIER_SHARE * OUTLIER_DENSITY)
    return total


@kernel()
def _spread_on_points(position, offsets, ij, n, at, amount, weight):
    """Add to weight (points,) the derivative of the gap at point ``at`` of line n, × amount."""
    i, j = ij[n, 0], ij[n, 1]
    first, last = offsets[n], offsets[n + 1]
    weight[at] -= amount
    if j > i:
        t = (position[at] - position[i]) / (position[j] - position[i])
        weight[i] += amount * (1.0 - t)
        weight[j] += amount * t
    else:
        weight[i] += amount
        if last - first >= 2:
            t = (position[at] - position[i]) / (position[last - 1] - position[first])
            weight[last - 1] += amount * t
            weight[first] -= amount * t


@kernel()
def _likelihood_gradient(phi, position, offsets, point, line, lo, hi, s, ij, gap, weight, out):
    """d ln L / dc at the contacts and gaps found by :func:`log_likelihood`."""
    weight[:] = 0.0
    root = 0.3989422804014327
    for k in range(point.shape[0]):
        b = (hi[k] - gap[k]) / s
        slope = -root * math.exp(-0.5 * b * b)
        if lo[k] > 0.0:
            a = (lo[k] - gap[k]) / s
            slope += root * math.exp(-0.5 * a * a)
        chance = station_chance(gap[k], lo[k], hi[k], s)
        total = (1.0 - OUTLIER_SHARE) * chance + OUTLIER_SHARE * OUTLIER_DENSITY
        amount = (1.0 - OUTLIER_SHARE) * slope / (s * total)
        _spread_on_points(position, offsets, ij, line[k], point[k], amount, weight)
    _columns_times(phi, weight, out)


@kernel()
def _freeze(phi, edge, position, offsets, point, line, lo, hi, s, ij, gap, careful, weight, jac, goal, omega):
    """Gaussian stand-in for the readings with contacts ij frozen: J, goals and variances."""
    for k in range(point.shape[0]):
        weight[:] = 0.0
        _spread_on_points(position, offsets, ij, line[k], point[k], 1.0, weight)
        _columns_times(phi, weight, jac[k])
        low = max(lo[k], 0.0)
        high = min(hi[k], max(1.6 * low, low + 50e-6))
        width = high - low
        omega[k] = s * s + width * width / 12.0
        if careful:
            excess = max(max(low - gap[k], gap[k] - high), 0.0) / (3.0 * s)
            omega[k] *= 1.0 + excess * excess
        goal[k] = 0.5 * (low + high) + _dot(weight, edge)


@kernel()
def freeze_anew(
    phi, edge, position, offsets, middle, held, point, line, lo, hi, s,
    log_scale, spread, mean, z, w, jac, goal, omega,
):  # fmt: skip
    """Make the Gaussian stand-in of a chain (jac, goal, omega) anew where the chain is, z and w."""
    ij = np.zeros((middle.shape[0], 2), dtype=np.int64)
    stack = np.empty(position.shape[0] + 1, dtype=np.int64)
    heights, weight, gap = np.empty(position.shape[0]), np.empty(position.shape[0]), np.empty(point.shape[0])
    scale, c = np.empty(z.shape[0]), np.empty(z.shape[0])
    _scales(log_scale, spread, w, scale)
    for k in range(z.shape[0]):
        c[k] = scale[k] * (z[k] + mean[k])
    log_likelihood(
        c, phi, edge, position, offsets, middle, held, point, line, lo, hi, s, heights, ij, gap, stack
    )
    _freeze(phi, edge, position, offsets, point, line, lo, hi, s, ij, gap, True, weight, jac, goal, omega)


@kernel()
def _scales(log_scale, spread, w, scale):
    for k in range(scale.shape[0]):
        total = log_scale[k]
        for h in range(w.shape[0]):
            total += spread[k, h] * w[h]
        scale[k] = math.exp(total)


@kernel()
def _perturb(jacobian, omega, chol, rng, x, work):
    """x (shapes,) becomes a draw from N(0, (I + JᵀΩ⁻¹J)⁻¹)."""
    for k in range(x.shape[0]):
        x[k] = rng.standard_normal()
    _rows_times(jacobian, x, work)
    for k in range(work.shape[0]):
        work[k] += math.sqrt(omega[k]) * rng.standard_normal()
    _solve(chol, work)
    for i in range(jacobian.shape[0]):
        for k in range(x.shape[0]):
            x[k] -= jacobian[i, k] * work[i]


@kernel()
def _slice_spread(spread, mean, z, w, rng):
    """One slice update of every log-amplitude w at fixed coefficients; z follows."""
    n = z.shape[0]
    trial = np.empty(n)
    for h in range(w.shape[0]):
        sum_spread = 0.0
        for k in range(n):
            sum_spread += spread[k, h]
        start = w[h]
        here = -0.5 * start * start - sum_spread * start
        for k in range(n):
            if spread[k, h] != 0.0:
                here -= 0.5 * z[k] * z[k]
        level = here + math.log(1.0 - rng.random())
        left = -1.0 * rng.random()
        right = left + 1.0
        for side in range(2):
            for _ in range(12):
                shift = left if side == 0 else right
                value = -0.5 * (start + shift) ** 2 - sum_spread * (start + shift)
                for k in range(n):
                    if spread[k, h] != 0.0:
                        t = (z[k] + mean[k]) * math.exp(-spread[k, h] * shift) - mean[k]
                        value -= 0.5 * t * t
                if value < level:
                    break
                if side == 0:
                    left -= 1.0
                else:
                    right += 1.0
        for _ in range(60):
            shift = left + (right - left) * rng.random()
            value = -0.5 * (start + shift) ** 2 - sum_spread * (start + shift)
            for k in range(n):
                trial[k] = z[k]
                if spread[k, h] != 0.0:
                    trial[k] = (z[k] + mean[k]) * math.exp(-spread[k, h] * shift) - mean[k]
                    value -= 0.5 * trial[k] * trial[k]
            if value >= level:
                w[h] = start + shift
                z[:] = trial
                break
            if shift < 0.0:
                left = shift
            else:
                right = shift


@kernel()
def run_chain(
    phi, edge, position, offsets, middle, held, point, line, lo, hi, s,
    log_scale, spread, mean, guess, rng, z, w, jac, goal, omega, fresh, burn, thin, kept,
):  # fmt: skip
    """Draw faces given the readings; fills kept (draws, shapes) with coefficients [m].

    z (shapes,), w (amplitudes,), jac, goal and omega carry the state of the chain, so that it
    can be run on.  ``fresh`` starts it: damped solves with guessed contacts, then ``burn``
    sweeps with the feel of the leaves tightened from 4·s to s.  Returns the share of
    Hamiltonian steps accepted [-].
    """
    shapes, stations, lines = z.shape[0], point.shape[0], middle.shape[0]
    ij = np.zeros((lines, 2), dtype=np.int64)
    stack = np.empty(position.shape[0] + 1, dtype=np.int64)
    heights, weight = np.empty(position.shape[0]), np.empty(position.shape[0])
    gap, work = np.empty(stations), np.empty(stations)
    scale, c, v = np.empty(shapes), np.empty(shapes), np.empty(shapes)
    force, centre, new_z = np.empty(shapes), np.empty(shapes), np.empty(shapes)
    new_w, prior_w = np.empty(w.shape[0]), np.empty(w.shape[0])
    jz, chol = np.empty((stations, shapes)), np.zeros((stations, stations))
    accepted, tried = 0, 0

    if fresh:
        for sweep in range(8):
            _scales(log_scale, spread, w, scale)
            if sweep < 3:
                ij[:] = guess
            else:
                for k in range(shapes):
                    c[k] = scale[k] * (z[k] + mean[k])
                log_likelihood(
                    c, phi, edge, position, offsets, middle, held, point, line, lo, hi, s,
                    heights, ij, gap, stack,
                )  # fmt: skip
            _freeze(
                phi, edge, position, offsets, point, line, lo, hi, s, ij, gap, sweep > 3,
                weight, jac, goal, omega,
            )  # fmt: skip
            for i in range(stations):
                for k in range(shapes):
                    jz[i, k] = jac[i, k] * scale[k]
            _factor(jz, omega, chol)
            _perturb(jz, omega, chol, rng, v, work)
            _rows_times(jz, mean, work)
            for i in range(stations):
                work[i] = goal[i] - work[i]
            _solve(chol, work)
            _columns_times(jz, work, centre)
            for k in range(shapes):
                z[k] += 0.7 * (centre[k] + (0.5 * v[k] if sweep < 7 else v[k]) - z[k])
            _slice_spread(spread, mean, z, w, rng)

    sweeps = (burn if fresh else 0) + thin * kept.shape[0]
    for sweep in range(sweeps):
        burning = fresh and sweep < burn
        feel = s
        if burning:
            feel = s * max(1.0, 4.0 ** (1.0 - sweep / (0.7 * burn)))
        _scales(log_scale, spread, w, scale)
        for k in range(shapes):
            c[k] = scale[k] * (z[k] + mean[k])
        ll = log_likelihood(
            c, phi, edge, position, offsets, middle, held, point, line, lo, hi, feel,
            heights, ij, gap, stack,
        )  # fmt: skip
        if fresh and (sweep == 0 or sweep == burn // 2):
            _freeze(
                phi, edge, position, offsets, point, line, lo, hi, s, ij, gap, True,
                weight, jac, goal, omega,
            )  # fmt: skip

        # z | w by split Hamiltonian steps about the Gaussian stand-in.
        for i in range(stations):
            for k in range(shapes):
                jz[i, k] = jac[i, k] * scale[k]
        _factor(jz, omega, chol)
        _rows_times(jz, mean, work)
        for i in range(stations):
            work[i] = goal[i] - work[i]
        _solve(chol, work)
        _columns_times(jz, work, centre)
        _perturb(jz, omega, chol, rng, v, work)
        _rows_times(jz, v, work)
        energy = 0.5 * _dot(z, z) - ll + 0.5 * _dot(v, v)
        for i in range(stations):
            energy += 0.5 * work[i] * work[i] / omega[i]
        steps = 3 + int(4.0 * rng.random())
        turn = (1.1 + 0.6 * rng.random()) / steps
        cos_turn, sin_turn = math.cos(turn), math.sin(turn)
        new_z[:] = z
        new_ll = ll
        for step in range(steps + 1):
            _likelihood_gradient(phi, position, offsets, point, line, lo, hi, feel, ij, gap, weight, force)
            for k in range(shapes):
                force[k] *= scale[k]
            for k in range(shapes):
                c[k] = new_z[k] + mean[k]
            _rows_times(jz, c, work)
            for i in range(stations):
                work[i] = (goal[i] - work[i]) / omega[i]
            for i in range(stations):
                for k in range(shapes):
                    force[k] -= jz[i, k] * work[i]
            _rows_times(jz, force, work)
            _solve(chol, work)
            for i in range(stations):
                for k in range(shapes):
                    force[k] -= jz[i, k] * work[i]
            share = 0.5 * turn if step == 0 or step == steps else turn
            for k in range(shapes):
                v[k] += share * force[k]
            if step == steps:
                break
            for k in range(shapes):
                off = new_z[k] - centre[k]
                new_z[k] = centre[k] + off * cos_turn + v[k] * sin_turn
                v[k] = v[k] * cos_turn - off * sin_turn
                c[k] = scale[k] * (new_z[k] + mean[k])
            new_ll = log_likelihood(
                c, phi, edge, position, offsets, middle, held, point, line, lo, hi, feel,
                heights, ij, gap, stack,
            )  # fmt: skip
        _rows_times(jz, v, work)
        new_energy = 0.5 * _dot(new_z, new_z) - new_ll + 0.5 * _dot(v, v)
        for i in range(stations):
            new_energy += 0.5 * work[i] * work[i] / omega[i]
        tried += 1
        if math.log(1.0 - rng.random()) < energy - new_energy:
            z[:] = new_z
            ll = new_ll
            accepted += 1

        _slice_spread(spread, mean, z, w, rng)

        # w | z by elliptical slice.
        for h in range(w.shape[0]):
            prior_w[h] = rng.standard_normal()
        level = ll + math.log(1.0 - rng.random())
        angle = 2.0 * math.pi * rng.random()
        low_angle, high_angle = angle - 2.0 * math.pi, angle
        for _ in range(40):
            for h in range(w.shape[0]):
                new_w[h] = w[h] * math.cos(angle) + prior_w[h] * math.sin(angle)
            _scales(log_scale, spread, new_w, scale)
            for k in range(shapes):
                c[k] = scale[k] * (z[k] + mean[k])
            ll = log_likelihood(
                c, phi, edge, position, offsets, middle, held, point, line, lo, hi, feel,
                heights, ij, gap, stack,
            )  # fmt: skip
            if ll > level:
                w[:] = new_w
                break
            if angle < 0.0:
                low_angle = angle
            else:
                high_angle = angle
            angle = low_angle + (high_angle - low_angle) * rng.random()

        if not burning:
            done = sweep - (burn if fresh else 0)
            if (done + 1) % thin == 0:
                _scales(log_scale, spread, w, scale)
                for k in range(shapes):
                    kept[done // thin, k] = scale[k] * (z[k] + mean[k])
    return accepted / max(tried, 1)
