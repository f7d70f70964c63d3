"""Compiled kernels of the survey: the sampler of faces, which lays the straightedge of ``edge_kernels.py``.

What calls them is in :mod:`handlap.sim.face.survey_sampler`; a set of lines is as described there and in
:mod:`handlap.sim.face.edge_kernels`.
"""

from __future__ import annotations

import math

import numpy as np

from handlap.sim.common.jit import kernel
from handlap.sim.face.edge_kernels import find_contact, slope_of
from handlap.sim.face.matrix_kernels import columns_times, dot, factor, rows_times, solve

NOTHING_GOES = -1.0
"""Lower bound that stands for "no leaf goes under" [m]."""

OUTLIER_SHARE = 0.005
OUTLIER_DENSITY = 0.05


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
    rows_times(phi, c, z)
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
    columns_times(phi, weight, out)


@kernel()
def _freeze(phi, edge, position, offsets, point, line, lo, hi, s, ij, gap, careful, weight, jac, goal, omega):
    """Gaussian stand-in for the readings with contacts ij frozen: J, goals and variances."""
    for k in range(point.shape[0]):
        weight[:] = 0.0
        _spread_on_points(position, offsets, ij, line[k], point[k], 1.0, weight)
        columns_times(phi, weight, jac[k])
        low = max(lo[k], 0.0)
        high = min(hi[k], max(1.6 * low, low + 50e-6))
        width = high - low
        omega[k] = s * s + width * width / 12.0
        if careful:
            excess = max(max(low - gap[k], gap[k] - high), 0.0) / (3.0 * s)
            omega[k] *= 1.0 + excess * excess
        goal[k] = 0.5 * (low + high) + dot(weight, edge)


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
    rows_times(jacobian, x, work)
    for k in range(work.shape[0]):
        work[k] += math.sqrt(omega[k]) * rng.standard_normal()
    solve(chol, work)
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
            factor(jz, omega, chol)
            _perturb(jz, omega, chol, rng, v, work)
            rows_times(jz, mean, work)
            for i in range(stations):
                work[i] = goal[i] - work[i]
            solve(chol, work)
            columns_times(jz, work, centre)
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
        factor(jz, omega, chol)
        rows_times(jz, mean, work)
        for i in range(stations):
            work[i] = goal[i] - work[i]
        solve(chol, work)
        columns_times(jz, work, centre)
        _perturb(jz, omega, chol, rng, v, work)
        rows_times(jz, v, work)
        energy = 0.5 * dot(z, z) - ll + 0.5 * dot(v, v)
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
            rows_times(jz, c, work)
            for i in range(stations):
                work[i] = (goal[i] - work[i]) / omega[i]
            for i in range(stations):
                for k in range(shapes):
                    force[k] -= jz[i, k] * work[i]
            rows_times(jz, force, work)
            solve(chol, work)
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
        rows_times(jz, v, work)
        new_energy = 0.5 * dot(new_z, new_z) - new_ll + 0.5 * dot(v, v)
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
