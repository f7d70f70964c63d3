"""The pressure law over all cells: softplus of the closing, its sums, and the wear that follows.

Inside, everything is scaled: ``t = (h + g + c0 + cu·u + cv·v)/λ + ln β`` is the closing of a
cell in bedding lengths, shifted by the work the step does (β = k·p0·Δs/λ).  A step of sliding Δs
takes ``λ·ln(1 + eᵗ)`` off the cell; its average pressure is that over k·Δs.

One loop without branches writes the softplus and its derivative, and another one sums them, block by
block, so that the second finds in the nearest cache what the first wrote.  exp(−|t|) is a power of two
times a polynomial of the remainder; ln(1+e) comes from 2·artanh(e/(2+e)).  Both are within 2e-10 of
themselves (tests hold them to the library functions).
"""

from __future__ import annotations

import numpy as np

from handlap.sim.common.jit import IN_ORDER, kernel, times_power_of_two, widest_vectors

LOWEST_LOG = 0.1799
"""Least cutting power for which the polynomial of the logarithm holds."""
BLOCK = 1024
"""Cells whose softplus is written and summed at one go: their arrays stay in the nearer caches."""
FREE_CAP = 40.0
"""Bedding lengths away from the paper beyond which the exponential is taken as flat [-]."""
PER_DOUBLING = float(1.0 / np.log(2.0))
ROUNDING = 1.5 * 2.0**52
"""Added to a number of moderate size it leaves the nearest whole number in the lowest bits."""


@kernel(fastmath=IN_ORDER)
def exp_negative(x):
    """exp(−x) for x ≥ 0, flat beyond 40; branch-free so that loops over it are vectorised."""
    y = min(x, FREE_CAP) * -PER_DOUBLING
    m = y + ROUNDING
    r = y - (m - ROUNDING)
    e = 1.5201922813793251e-05
    e = e * r + 0.00015469291158327577
    e = e * r + 0.0013333922559607798
    e = e * r + 0.009618027253604885
    e = e * r + 0.05550410353451622
    e = e * r + 0.2402265119815796
    e = e * r + 0.6931471807284468
    e = e * r + 0.9999999999616804
    return times_power_of_two(e, m)


@kernel(fastmath=True)
def _softplus(t):
    """ln(1+eᵗ) and its derivative, without branches."""
    e = exp_negative(abs(t))
    inverse = 1.0 / ((2.0 + e) * (1.0 + e))
    z = e * (1.0 + e) * inverse
    w = z * z
    s = 0.2439390734394351
    s = s * w + 0.21398560630495922
    s = s * w + 0.2862020740649018
    s = s * w + 0.3999871124636203
    s = s * w + 0.6666667902645588
    s = s * w + 1.9999999998090048
    upper = (2.0 + e) * inverse
    return max(t, 0.0) + z * s, upper if t >= 0.0 else e * upper


@kernel(fastmath=True)
def softplus_logistic(base, u, v, a0, au, av, soft, logistic):
    """Write ln(1+eᵗ) and its derivative for t = base + a0 + au·u + av·v."""
    widest_vectors()
    for i in range(base.shape[0]):
        soft[i], logistic[i] = _softplus(base[i] + a0 + au * u[i] + av * v[i])


@kernel(fastmath=True)
def _sums(weight, u, v, soft, logistic, reaction, stiffness):
    """Force and moments Σw·s·{1,u,v}, and stiffness Σw·σ·{1,u,v}·{1,u,v} on and under its diagonal, added."""
    widest_vectors()
    f = fu = fv = 0.0
    k = ku = kv = kuu = kuv = kvv = 0.0
    for i in range(weight.shape[0]):
        a = weight[i] * soft[i]
        b = weight[i] * logistic[i]
        bu = b * u[i]
        bv = b * v[i]
        f += a
        fu += a * u[i]
        fv += a * v[i]
        k += b
        ku += bu
        kv += bv
        kuu += bu * u[i]
        kuv += bu * v[i]
        kvv += bv * v[i]
    reaction[0] += f
    reaction[1] += fu
    reaction[2] += fv
    stiffness[0, 0] += k
    stiffness[1, 0] += ku
    stiffness[1, 1] += kuu
    stiffness[2, 0] += kv
    stiffness[2, 1] += kuv
    stiffness[2, 2] += kvv


@kernel(fastmath=True)
def wear(h, soft, logistic, u, v, lam, a0, au, av, keep):
    """Take the wear off the heights: λ·softplus, carried on along its derivative by a last small motion.

    It is kept in ``soft`` [m] if ``keep``.
    """
    widest_vectors()
    if keep:
        for i in range(h.shape[0]):
            off = lam * (soft[i] + logistic[i] * (a0 + au * u[i] + av * v[i]))
            soft[i] = off
            h[i] -= off
    else:
        for i in range(h.shape[0]):
            h[i] -= lam * (soft[i] + logistic[i] * (a0 + au * u[i] + av * v[i]))


@kernel()
def evaluate(base, u, v, weight, pose, soft, logistic, reaction, stiffness):
    """Softplus and logistic (n,) at the pose (3,) of a rigid part, its reactions and contact stiffness.

    These are left in ``reaction`` (3,) and, on and under its diagonal, in ``stiffness`` (3, 3).
    """
    reaction[:] = 0.0
    stiffness[:] = 0.0
    for start in range(0, base.shape[0], BLOCK):
        end = min(start + BLOCK, base.shape[0])
        x, y, s, t = u[start:end], v[start:end], soft[start:end], logistic[start:end]
        softplus_logistic(base[start:end], x, y, pose[0], pose[1], pose[2], s, t)
        _sums(weight[start:end], x, y, s, t, reaction, stiffness)


@kernel(fastmath=True)
def close_flexed(base, basis, pose, t):
    """t = base + Σ pose_j·basis_j (n,) for approach, tilts and shapes (modes,) and the rows of ``basis``."""
    widest_vectors()
    a, b, c = pose[0], pose[1], pose[2]
    u, v = basis[1], basis[2]
    for i in range(base.shape[0]):
        t[i] = base[i] + a + b * u[i] + c * v[i]
    # Four at a time: what is summed is read and written a quarter as often.
    fours = pose.shape[0] - (pose.shape[0] - 3) % 4
    for j in range(3, fours, 4):
        a, b, c, d = pose[j], pose[j + 1], pose[j + 2], pose[j + 3]
        p, q, r, s = basis[j], basis[j + 1], basis[j + 2], basis[j + 3]
        for i in range(base.shape[0]):
            t[i] += a * p[i] + b * q[i] + c * r[i] + d * s[i]
    for j in range(fours, pose.shape[0]):
        a = pose[j]
        p = basis[j]
        for i in range(base.shape[0]):
            t[i] += a * p[i]


@kernel(fastmath=True)
def _products(one, other, out):
    """one·other (n,)."""
    widest_vectors()
    for i in range(out.shape[0]):
        out[i] = one[i] * other[i]


@kernel(fastmath=True)
def _reactions(push, basis, reaction):
    """Σ push·φ_j of all rows φ of ``basis`` (4·k, n)."""
    widest_vectors()
    for j in range(0, basis.shape[0], 4):
        p, q, r, s = basis[j], basis[j + 1], basis[j + 2], basis[j + 3]
        a = b = c = d = 0.0
        for i in range(push.shape[0]):
            a += push[i] * p[i]
            b += push[i] * q[i]
            c += push[i] * r[i]
            d += push[i] * s[i]
        reaction[j], reaction[j + 1], reaction[j + 2], reaction[j + 3] = a, b, c, d


@kernel(fastmath=True)
def _tile(hold, basis, j, k, stiffness):
    """Σ hold·φ·ψ of four rows φ of ``basis`` from j on and four rows ψ from k on, each read once for four."""
    widest_vectors()
    p0, p1, p2, p3 = basis[j], basis[j + 1], basis[j + 2], basis[j + 3]
    q0, q1, q2, q3 = basis[k], basis[k + 1], basis[k + 2], basis[k + 3]
    a0 = a1 = a2 = a3 = b0 = b1 = b2 = b3 = 0.0
    c0 = c1 = c2 = c3 = d0 = d1 = d2 = d3 = 0.0
    for i in range(hold.shape[0]):
        x, y, z, w = hold[i] * q0[i], hold[i] * q1[i], hold[i] * q2[i], hold[i] * q3[i]
        p, q, r, s = p0[i], p1[i], p2[i], p3[i]
        a0 += p * x
        a1 += p * y
        a2 += p * z
        a3 += p * w
        b0 += q * x
        b1 += q * y
        b2 += q * z
        b3 += q * w
        c0 += r * x
        c1 += r * y
        c2 += r * z
        c3 += r * w
        d0 += s * x
        d1 += s * y
        d2 += s * z
        d3 += s * w
    row = stiffness[j : j + 4, k : k + 4]
    row[0, 0], row[0, 1], row[0, 2], row[0, 3] = a0, a1, a2, a3
    row[1, 0], row[1, 1], row[1, 2], row[1, 3] = b0, b1, b2, b3
    row[2, 0], row[2, 1], row[2, 2], row[2, 3] = c0, c1, c2, c3
    row[3, 0], row[3, 1], row[3, 2], row[3, 3] = d0, d1, d2, d3


@kernel()
def evaluate_flexed(base, basis, weight, pose, closing, soft, logistic, reaction, stiffness):
    """:func:`evaluate` of a part that bends, whose coordinates at the cells are the rows of ``basis``.

    basis (4·k, n) : 1, u, v and the shapes, filled up with noughts; ``reaction`` (4·k,) and ``stiffness``
        (4·k, 4·k) likewise; pose (modes,); ``closing`` (n,) is scratch
    """
    close_flexed(base, basis, pose, closing)
    softplus_logistic(closing, basis[1], basis[2], 0.0, 0.0, 0.0, soft, logistic)
    _products(weight, soft, closing)
    _reactions(closing, basis, reaction)
    _products(weight, logistic, closing)
    for j in range(0, basis.shape[0], 4):
        for k in range(0, j + 4, 4):
            _tile(closing, basis, j, k, stiffness)


@kernel(fastmath=True)
def correct_flexed(soft, logistic, basis, step):
    """Carry softplus (n,) on along its derivative by a last small motion (modes,) of a part that bends."""
    widest_vectors()
    for j in range(step.shape[0]):
        row = basis[j]
        for i in range(soft.shape[0]):
            soft[i] += logistic[i] * (step[j] * row[i])


@kernel(fastmath=True)
def only_on_paper(soft, logistic, cover):
    """What hangs over the paper's edge is not worn: softplus and its derivative (n,) times the cover (n,)."""
    widest_vectors()
    for i in range(soft.shape[0]):
        soft[i] *= cover[i]
        logistic[i] *= cover[i]


@kernel(fastmath=True)
def _log_near(r, centre):
    """ln(r/centre) and 1/r for 0.18 ≤ r ≤ 1 and centre² the least of them, without branches (1e-9)."""
    # One division for two.
    inverse = 1.0 / (r * (r + centre))
    z = (r - centre) * r * inverse
    w = z * z
    s = 0.2667325385969362
    s = s * w + 0.15252095632019813
    s = s * w + 0.22579160667294948
    s = s * w + 0.28549594632827596
    s = s * w + 0.40000628476725536
    s = s * w + 0.6666665993589754
    s = s * w + 2.000000000116939
    return z * s, (r + centre) * inverse


@kernel(fastmath=True)
def closing_and_weight(h, share, cover, read, log_scale, lam, beta, to_force, floor, cells, base, weight):
    """Closing of every point and weight of every cell for the step, from heights over the paper.

    ``share`` is the area of a cell over its rate; ``read`` the cutting power of the paper, in whose
    place its inverse is left; ``log_scale`` the logarithm of all else that makes a spot cut faster or
    slower than the rest; ``floor``: least cutting power of the paper.  Its logarithm comes from 2·artanh
    by a polynomial, which the compiler can vectorise; below 0.001 from the library.
    """
    widest_vectors()
    per_lam = 1.0 / lam
    if floor >= 1.0:
        for i in range(h.shape[0]):
            base[i] = h[i] * per_lam + beta + log_scale[i]
        for i in range(cells):
            weight[i] = share[i] * cover[i] * to_force
        return
    if floor > LOWEST_LOG:
        centre = np.sqrt(floor)
        start = np.log(centre) + beta
        for i in range(h.shape[0]):
            logarithm, read[i] = _log_near(read[i], centre)
            base[i] = h[i] * per_lam + start + logarithm + log_scale[i]
    elif floor > LOWEST_LOG**4:
        # Fourth roots stay where the polynomial holds; the logarithm of a fourth root is a quarter.
        centre = np.sqrt(np.sqrt(np.sqrt(floor)))
        start = 4.0 * np.log(centre) + beta
        for i in range(h.shape[0]):
            logarithm, inverse = _log_near(np.sqrt(np.sqrt(read[i])), centre)
            square = inverse * inverse
            read[i] = square * square
            base[i] = h[i] * per_lam + start + 4.0 * logarithm + log_scale[i]
    else:
        for i in range(h.shape[0]):
            base[i] = h[i] * per_lam + beta + np.log(read[i]) + log_scale[i]
            read[i] = 1.0 / read[i]
    for i in range(cells):
        weight[i] = share[i] * cover[i] * to_force * read[i]
