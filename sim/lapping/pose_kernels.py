"""The pose of a part: the one at which its paper carries the load and its moments, rigid or bending.

Newton's method on a convex energy, with a search along each step.  Its first iterations only have to come
near the answer, so they are worked in single precision, which takes twice as many cells at once and reads
half the memory.

They also work on a sample of the cells where they can.  A sample never carries quite the force and the
moments of all cells; how much it lacks is known exactly from the row before of the same kind.  Where that
hardly changes from row to row (STEADY), the sample is asked for so much less, and leads to the same pose.

The last evaluation is always of all cells in double precision: the heights fall by it, and the balance of
forces rests on it.
"""

from __future__ import annotations

import numpy as np

from handlap.sim.common.jit import kernel, widest_vectors
from handlap.sim.lapping.column_kernels import STATUS_NO_CONVERGENCE, STATUS_OK
from handlap.sim.lapping.pressure_kernels import BLOCK, correct, evaluate, evaluate_single, softplus_logistic

MAX_EVALUATIONS = 400
MOST_SINGLE = 60
"""Evaluations in single precision after which the solver goes on in double, near or not."""
NEAR = 0.08
"""Motion of the pose, in bedding lengths, below which the solver turns to double precision."""
SAMPLE_SHARE, SAMPLE_LEAST, SAMPLE_MOST = 24, 128, 512
"""A sample is one cell in 24, but at least 128 and at most 512 cells [-]."""
STEADY = 4e-3
"""A sample is trusted for the next row if what it lacks, over the load, changed by less than this [-]."""
GOLDEN = 0.6180339887498949
TOLERANCE = 3e-3
"""Last motion of the pose, in bedding lengths; the removal then errs by its square over 8."""


@kernel()
def _newton(sums, f, fu, fv, tilt_free, step):
    """Newton step of the pose from the sums; returns the directional derivative of the energy."""
    g0 = sums[0] - f
    if not tilt_free:
        step[0] = -g0 / max(sums[3], 1e-300)
        step[1] = 0.0
        step[2] = 0.0
        return g0 * step[0]
    g1 = sums[1] - fu
    g2 = sums[2] - fv
    ridge = 1e-12 * (sums[3] + sums[6] + sums[8]) + 1e-300
    # Cholesky of the 3×3 stiffness.
    l00 = np.sqrt(sums[3] + ridge)
    l10 = sums[4] / l00
    l20 = sums[5] / l00
    l11 = np.sqrt(max(sums[6] + ridge - l10 * l10, ridge))
    l21 = (sums[7] - l20 * l10) / l11
    l22 = np.sqrt(max(sums[8] + ridge - l20 * l20 - l21 * l21, ridge))
    y0 = -g0 / l00
    y1 = (-g1 - l10 * y0) / l11
    y2 = (-g2 - l20 * y0 - l21 * y1) / l22
    step[2] = y2 / l22
    step[1] = (y1 - l21 * step[2]) / l11
    step[0] = (y0 - l10 * step[1] - l20 * step[2]) / l00
    return g0 * step[0] + g1 * step[1] + g2 * step[2]


@kernel(fastmath=True)
def reach_of(values):
    """Greatest absolute value; four at a time, for each comparison waits for the one before."""
    a = b = c = d = 0.0
    n = values.shape[0]
    for i in range(0, n - 3, 4):
        a = max(a, abs(values[i]))
        b = max(b, abs(values[i + 1]))
        c = max(c, abs(values[i + 2]))
        d = max(d, abs(values[i + 3]))
    for i in range(n - n % 4, n):
        a = max(a, abs(values[i]))
    return max(max(a, b), max(c, d))


@kernel()
def touch(base, per, offset, u, v, weight, pose):
    """Set the approach so that the proudest loaded cell just touches: per·base + offset + pose = 0."""
    top = -1e300
    for i in range(weight.shape[0]):
        if weight[i] > 0.0:
            top = max(top, per * base[i] + offset + pose[1] * u[i] + pose[2] * v[i])
    pose[0] = -top


@kernel(fastmath=True)
def to_single(base, per, weight, single):
    """Leave ``per``·base and weight (n,) in the first and last row of ``single`` (4, n)."""
    widest_vectors()
    near, heavy = single[0], single[3]
    for i in range(near.shape[0]):
        near[i] = per * base[i]
        heavy[i] = weight[i]


@kernel(fastmath=True)
def sample_to_single(base, per, weight, some, stands_for, owed, lam, single):
    """:func:`to_single` of ``some`` cells that stand for so many each, λ·owed (some,) off their base."""
    widest_vectors()
    near, heavy = single[0], single[3]
    for i in range(some.shape[0]):
        near[i] = per * (base[some[i]] - lam * owed[i])
        heavy[i] = stands_for * weight[some[i]]


@kernel()
def some_of(u, v, cell):
    """Cells on which the search for the pose begins, by number: a few evenly spread, or all of a small face.

    u, v : places of the cells (n,); cell : their size in the same unit.  One of every so many in every
    so many raster rows, never above one another: an edge along a column must not be missed or doubled.
    """
    n = u.shape[0]
    wanted = min(max(n // SAMPLE_SHARE, SAMPLE_LEAST), SAMPLE_MOST)
    down = max(int(np.sqrt(n / wanted)), 1)
    along = max(n // (wanted * down), 1)
    which = np.empty(n, dtype=np.int32)
    found = 0
    for i in range(n):
        # Places are whole cells or halves from the middle: a quarter keeps rounding out of it.
        row = int(np.floor(v[i] / cell + 0.25))
        if row % down == 0:
            shift = int(row // down * GOLDEN % 1.0 * along)
            if (int(np.floor(u[i] / cell + 0.25)) + shift) % along == 0:
                which[found] = i
                found += 1
    return which[:found] if 2 * found > wanted else np.arange(n).astype(np.int32)


@kernel(fastmath=True)
def fall_short(single, weight, soft, logistic, step, some, stands_for, f, fu, fv, short, owed):
    """By how much force and moments of ``some`` cells fall short of all cells', over the force.

    At the pose just found, where those of all cells are f, fu, fv.  Left in ``short`` (3,), the softplus
    of these cells in ``owed`` (some,).  Returns the greatest change, or 1 if the sample tells nothing of
    the face because it carries less than half the load, or half as much again.
    """
    widest_vectors()
    u, v = single[1], single[2]
    g = gu = gv = 0.0
    for i in range(some.shape[0]):
        j = some[i]
        s = soft[j] + logistic[j] * (step[0] + step[1] * u[i] + step[2] * v[i])
        owed[i] = s
        a = weight[j] * s
        g += a
        gu += a * u[i]
        gv += a * v[i]
    now = (1.0 - stands_for * g / f, (fu - stands_for * gu) / f, (fv - stands_for * gv) / f)
    change = max(abs(now[0] - short[0]), abs(now[1] - short[1]), abs(now[2] - short[2]))
    short[0], short[1], short[2] = now
    return change if abs(now[0]) < 0.5 else 1.0


@kernel()
def search_pose(
    base, per, offset, u, v, weight, single, scratch, f, fu, fv, short, tilt_free, cap, u_max, v_max,
    pose, step, soft, logistic, due, tolerance,
):  # fmt: skip
    """:func:`solve_pose` for closings per·base + offset.

    It begins in single precision with the cells ``single`` (4, m): all, or a sample whose force and
    moments fall ``short`` (3,).  ``due``: what comes off base before it is used, see :func:`wear_due`.
    Softplus stays as it was before the last motion of the pose, which is left in ``step`` (3,).
    """
    sums = np.empty(9)
    evaluate_single(
        single[0], single[1], single[2], single[3], offset + pose[0], pose[1], pose[2], scratch, sums
    )
    evaluations = 1
    near = False
    reach = cap
    g, gu, gv = f - f * short[0], fu - f * short[1], fv - f * short[2]
    while evaluations < MAX_EVALUATIONS:
        slope = _newton(sums, g, gu, gv, tilt_free, step)
        motion = abs(step[0]) + abs(step[1]) * u_max + abs(step[2]) * v_max
        lost = not np.isfinite(motion)
        if not near and (lost or motion < NEAR or evaluations >= MOST_SINGLE):
            if motion < NEAR:
                pose[0] += step[0]
                pose[1] += step[1]
                pose[2] += step[2]
            evaluate(base, per, u, v, weight, offset + pose[0], pose[1], pose[2], soft, logistic, due, sums)
            evaluations += 1
            g, gu, gv = f, fu, fv
            near = True
            reach = cap
            continue
        if lost:
            return STATUS_NO_CONVERGENCE, evaluations
        if motion < tolerance:
            pose[0] += step[0]
            pose[1] += step[1]
            pose[2] += step[2]
            return STATUS_OK, evaluations
        alpha = min(1.0, reach / motion)
        capped = alpha < 1.0
        low = 0.0
        high = -1.0
        at_low = slope
        while True:
            a0 = pose[0] + alpha * step[0]
            a1 = pose[1] + alpha * step[1]
            a2 = pose[2] + alpha * step[2]
            if near:
                evaluate(base, per, u, v, weight, offset + a0, a1, a2, soft, logistic, due, sums)
            else:
                evaluate_single(
                    single[0], single[1], single[2], single[3], offset + a0, a1, a2, scratch, sums
                )
            evaluations += 1
            here = (sums[0] - g) * step[0]
            if tilt_free:
                here += (sums[1] - gu) * step[1] + (sums[2] - gv) * step[2]
            if here <= 0.5 * abs(slope) or evaluations >= (MAX_EVALUATIONS if near else MOST_SINGLE):
                break
            # Overshot: the energy rises here.  Between false position and halving.
            high = alpha
            guess = low + (high - low) * at_low / (at_low - here)
            alpha = max(min(guess, low + 0.7 * (high - low)), low + 0.1 * (high - low))
        # A face that has worn into facets may have to roll far: longer steps while they hold.
        reach = 2.0 * reach if capped and high < 0.0 else cap
        pose[0] += alpha * step[0]
        pose[1] += alpha * step[1]
        pose[2] += alpha * step[2]
    return STATUS_NO_CONVERGENCE, evaluations


@kernel()
def solve_pose(base, u, v, weight, f, fu, fv, tilt_free, cap, pose, soft, logistic, tolerance):
    """Find the pose (3,) at which Σ weight·softplus = f with moments fu, fv.

    Newton's method on a convex energy, with a search along each step for the point where the
    energy stops falling.  On return ``soft`` already carries the last, linearised correction,
    so that the force balance holds to rounding.  Returns (status, evaluations).
    """
    single = np.empty((4, base.shape[0]), dtype=np.float32)
    single[1] = u
    single[2] = v
    to_single(base, 1.0, weight, single)
    scratch = np.empty((2, BLOCK), dtype=np.float32)
    step = np.empty(3)
    status, evaluations = search_pose(
        base, 1.0, 0.0, u, v, weight, single, scratch, f, fu, fv, np.zeros(3), tilt_free, cap, reach_of(u),
        reach_of(v), pose, step, soft, logistic, np.zeros(4), tolerance,
    )  # fmt: skip
    if status == STATUS_OK:
        correct(soft, logistic, u, v, step[0], step[1], step[2])
    return status, evaluations


@kernel(fastmath=True)
def close_flexed(base, basis, pose, t):
    """t = base + Σ pose_j·basis_j, basis (modes, n)."""
    widest_vectors()
    for i in range(base.shape[0]):
        t[i] = base[i]
    for j in range(pose.shape[0]):
        row = basis[j]
        for i in range(base.shape[0]):
            t[i] += pose[j] * row[i]


@kernel(fastmath=True)
def _flex_sums(weight, basis, soft, logistic, scratch, gradient, stiffness):
    """Reactions Σw·s·φ_j (modes,) and contact stiffness Σw·σ·φ_j·φ_k (modes, modes)."""
    widest_vectors()
    modes = basis.shape[0]
    for j in range(modes):
        row = basis[j]
        total = 0.0
        for i in range(weight.shape[0]):
            total += weight[i] * soft[i] * row[i]
            scratch[i] = weight[i] * logistic[i] * row[i]
        gradient[j] = total
        for k in range(j + 1):
            other = basis[k]
            total = 0.0
            for i in range(weight.shape[0]):
                total += scratch[i] * other[i]
            stiffness[j, k] = total
            stiffness[k, j] = total


@kernel()
def solve_flexible(
    base, basis, weight, target, bending, free, cap, pose, soft, logistic, closing, tolerance
):  # fmt: skip
    """Pose and bending amplitudes (modes,) of a part that bends: :func:`solve_pose` with more coordinates.

    basis (modes, n) : 1, u, v and the bending shapes; target (modes,) : load, moments and the
        loads' work on the shapes; bending (modes, modes) : elastic stiffness; free (modes,) :
        0 holds a coordinate at zero.

    The energy stays convex, so the same search works.  Returns (status, evaluations).
    """
    modes = basis.shape[0]
    gradient = np.empty(modes)
    hessian = np.empty((modes, modes))
    scratch = np.empty(weight.shape[0])
    spread = np.empty(modes)
    for j in range(modes):
        spread[j] = np.max(np.abs(basis[j]))
    close_flexed(base, basis, pose, closing)
    softplus_logistic(closing, 1.0, basis[1], basis[2], 0.0, 0.0, 0.0, soft, logistic)
    _flex_sums(weight, basis, soft, logistic, scratch, gradient, hessian)
    evaluations = 1
    reach = cap
    while evaluations < MAX_EVALUATIONS:
        gradient += bending @ pose - target
        hessian += bending
        for j in range(modes):
            hessian[j, j] *= 1.0 + 1e-12
            hessian[j, j] += 1e-300
            if free[j] == 0.0:
                gradient[j] = 0.0
                hessian[j, :] = 0.0
                hessian[:, j] = 0.0
                hessian[j, j] = 1.0
        step = np.linalg.solve(hessian, -gradient)
        slope = gradient @ step
        motion = np.abs(step) @ spread
        if not np.isfinite(motion):
            return STATUS_NO_CONVERGENCE, evaluations
        if motion < tolerance:
            close_flexed(base, basis, pose, closing)
            for j in range(modes):
                row = basis[j]
                for i in range(soft.shape[0]):
                    soft[i] += logistic[i] * step[j] * row[i]
            pose += step
            return STATUS_OK, evaluations
        alpha = min(1.0, reach / motion)
        capped = alpha < 1.0
        low = 0.0
        high = -1.0
        while True:
            trial = pose + alpha * step
            close_flexed(base, basis, trial, closing)
            softplus_logistic(closing, 1.0, basis[1], basis[2], 0.0, 0.0, 0.0, soft, logistic)
            _flex_sums(weight, basis, soft, logistic, scratch, gradient, hessian)
            evaluations += 1
            here = (gradient + bending @ trial - target) @ (step * free)
            if here <= 0.5 * abs(slope) or evaluations >= MAX_EVALUATIONS:
                break
            high = alpha
            guess = low + (high - low) * slope / (slope - here)
            alpha = max(min(guess, low + 0.7 * (high - low)), low + 0.1 * (high - low))
        reach = 2.0 * reach if capped and high < 0.0 else cap
        pose += alpha * step
    return STATUS_NO_CONVERGENCE, evaluations
