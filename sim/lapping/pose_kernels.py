"""The pose of a part: the one at which its paper carries the load and its moments, rigid or bending.

Newton's method on a convex energy, with a search along each step.  The coordinates are the approach, two
tilts, and the amplitudes of the shapes in which a thin part bends; a rigid part is the case of no shapes.

All of it works on all cells in double precision.  A search that began in single precision or on a sample of
the cells made whole plans quicker by factors of 1.00 to 1.09 ("How fast it is" in DEVELOPERS.md), for reading
and laying down the paper's wear is most of a row: such tiers are worth their lines from 1.3 on.
"""

from __future__ import annotations

import numpy as np

from handlap.sim.common.jit import kernel
from handlap.sim.lapping.column_kernels import STATUS_NO_CONVERGENCE, STATUS_OK
from handlap.sim.lapping.pressure_kernels import evaluate, evaluate_flexed

MAX_EVALUATIONS = 400
TOLERANCE = 3e-3
"""Last motion of the pose, in bedding lengths; the removal then errs by its square over 8."""
LEAST_STIFFNESS = 1e-12
"""What is added to the stiffness along every coordinate, over its sum, so that it can be divided by."""


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
def touch(base, u, v, weight, pose):
    """Set the approach so that the proudest loaded cell just touches: base + pose = 0."""
    top = -1e300
    for i in range(weight.shape[0]):
        if weight[i] > 0.0:
            top = max(top, base[i] + pose[1] * u[i] + pose[2] * v[i])
    pose[0] = -top


@kernel()
def _look(near, weight, pose, search):
    """Reactions and contact stiffness at a pose, and what the forces then lack, left in the search.

    Softplus and its derivative are left in ``near``.
    """
    if pose.shape[0] == 3:
        evaluate(
            near.base, near.u, near.v, weight, pose, near.soft, near.logistic, search.reaction,
            search.stiffness,
        )  # fmt: skip
    else:
        evaluate_flexed(
            near.base, search.cells, weight, pose, near.closing, near.soft, near.logistic,
            search.reaction, search.stiffness,
        )  # fmt: skip
    for j in range(pose.shape[0]):
        lacks = search.reaction[j] - search.target[j]
        for k in range(pose.shape[0]):
            lacks += search.elastic[j, k] * pose[k]
        search.lacks[j] = search.free[j] * lacks


@kernel()
def _newton(search):
    """Leave the Newton step from the last look in ``search.step``, by Cholesky.

    Returns the directional derivative of the energy along it.
    """
    factor, step, lacks = search.factor, search.step, search.lacks
    modes = step.shape[0]
    ridge = 0.0
    for j in range(modes):
        ridge += LEAST_STIFFNESS * search.stiffness[j, j]
    ridge += 1e-300
    for j in range(modes):
        for k in range(j + 1):
            # A coordinate that is held moves nothing and is moved by nothing.
            moves = search.free[j] * search.free[k]
            factor[j, k] = moves * (search.stiffness[j, k] + search.elastic[j, k])
        factor[j, j] += ridge + (1.0 - search.free[j])
    for j in range(modes):
        left = factor[j, j]
        for k in range(j):
            left -= factor[j, k] * factor[j, k]
        factor[j, j] = np.sqrt(max(left, ridge))
        for i in range(j + 1, modes):
            left = factor[i, j]
            for k in range(j):
                left -= factor[i, k] * factor[j, k]
            factor[i, j] = left / factor[j, j]
    for j in range(modes):
        left = -lacks[j]
        for k in range(j):
            left -= factor[j, k] * step[k]
        step[j] = left / factor[j, j]
    for j in range(modes - 1, -1, -1):
        left = step[j]
        for k in range(j + 1, modes):
            left -= factor[k, j] * step[k]
        step[j] = left / factor[j, j]
    return _along(search)


@kernel()
def _along(search):
    """Directional derivative of the energy along the step, as of the last look."""
    slope = 0.0
    for j in range(search.step.shape[0]):
        slope += search.lacks[j] * search.step[j]
    return slope


@kernel()
def search_pose(near, weight, cap, pose, search, tolerance):
    """Find the pose (modes,) at which the paper carries the loads; returns (status, evaluations).

    Σ weight·softplus·φ + elastic·pose = target for every coordinate φ that is free, by Newton's method with a
    search along each step for the point where the energy stops falling.

    near : cells, with their closing in ``base``; softplus and derivative are left there as they were before
        the last motion of the pose, which is left in ``search.step``
    cap : furthest that a spot may move at once [bedding lengths]
    search : loads, elasticity and coordinates of the part, see :class:`Search`
    """
    step, trial = search.step, search.trial
    modes = pose.shape[0]
    _look(near, weight, pose, search)
    evaluations = 1
    reach = cap
    while evaluations < MAX_EVALUATIONS:
        slope = _newton(search)
        motion = 0.0
        for j in range(modes):
            motion += abs(step[j]) * search.spread[j]
        if not np.isfinite(motion):
            return STATUS_NO_CONVERGENCE, evaluations
        if motion < tolerance:
            pose += step
            return STATUS_OK, evaluations
        alpha = min(1.0, reach / motion)
        capped = alpha < 1.0
        overshot = False
        while True:
            for j in range(modes):
                trial[j] = pose[j] + alpha * step[j]
            _look(near, weight, trial, search)
            evaluations += 1
            here = _along(search)
            if here <= 0.5 * abs(slope) or evaluations >= MAX_EVALUATIONS:
                break
            # Overshot: the energy rises here.  Between false position and halving.
            overshot = True
            alpha *= max(min(slope / (slope - here), 0.7), 0.1)
        # A face that has worn into facets may have to roll far: longer steps while they hold.
        reach = 2.0 * reach if capped and not overshot else cap
        pose[:] = trial
    return STATUS_NO_CONVERGENCE, evaluations
